"""Some cells of the fault matrix; `make fault-matrix` prints all of them."""

from pathlib import Path

import pytest

from tests.faults.matrix import cell, phases


@pytest.fixture(scope="module")
def places(tmp_path_factory: pytest.TempPathFactory) -> dict[tuple[str, str], int]:
    return phases(tmp_path_factory.mktemp("clean"))


@pytest.mark.parametrize(
    ("role", "kind", "phase"),
    [
        ("source", "hangs up", "mid-run"),
        ("source", "garbage", "switch on"),
        ("source", "twice", "first reading"),
        ("source", "error", "mid-run"),
        ("voltmeter", "hangs up", "identify"),
        ("voltmeter", "garbage", "mid-run"),
        ("voltmeter", "twice", "set up"),
        ("voltmeter", "mute", "mid-run"),
    ],
)
def test_the_promises_hold(
    role: str,
    kind: str,
    phase: str,
    places: dict[tuple[str, str], int],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("BENCHAPP_CONFIG", str(tmp_path))
    outcome = cell(role, kind, phase, places[role, phase], tmp_path)
    assert outcome.output_off, outcome
    assert outcome.record_complete, outcome
    assert outcome.message_helps, outcome
