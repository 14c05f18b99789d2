"""Some cells of the fault matrix; `make fault-matrix` tries 10,000 of all."""

from pathlib import Path

import pytest

from benchapp.events import EndReason
from tests.faults.matrix import KINDS, ROLES, Cell, messages, plan
from tests.faults.virtual import TRANSPORTS


def test_the_promises_hold(tmp_path: Path) -> None:
    cells = plan(messages(tmp_path))
    assert len(cells) > 10_000
    seen = set()
    for transport, role, kind, at in cells[:250]:
        (tmp_path / "log.sqlite").unlink()
        cell = Cell(transport, role, kind, at, tmp_path)
        assert not cell.broken(role, kind), f"{cell.what}: {cell.broken(role, kind)}"
        seen |= {transport, role, kind}
    assert seen == {*TRANSPORTS, *ROLES, *KINDS}


@pytest.mark.parametrize("kind", ["cut short", "garbage", "not a number", "empty", "another's"])
def test_an_unusual_answer_to_a_step_is_never_taken_for_the_usual_one(tmp_path: Path, kind: str) -> None:
    clean = Cell("socket", "source", "", 0, tmp_path)
    sent = clean.lines["source"].messages
    steps = [number for number, message in enumerate(sent, 1) if message.startswith(":SOUR:CURR ") and "OPC" in message]
    (tmp_path / "log.sqlite").unlink()
    cell = Cell("socket", "source", kind, steps[4], tmp_path)
    assert cell.end.reason is EndReason.INSTRUMENT, cell.end
    assert not cell.sim.source.output_on
