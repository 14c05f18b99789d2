"""Some cells of the fault matrix; `make fault-matrix` tries 10,000 of all."""

from pathlib import Path

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
