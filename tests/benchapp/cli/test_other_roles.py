"""Thermometer and switch beside a run, over sockets."""

import json
import threading
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from benchapp.cli.main import main
from benchapp.paths import runtime_folder
from drivers.lock import AddressLock
from sim.clock import ScaledClock
from sim.devices.switch import Switch
from sim.devices.thermometer import Thermometer
from sim.server import InstrumentServer


@pytest.fixture
def beside(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[Switch, list[frozenset[int]], str, str]]:
    monkeypatch.setenv("BENCHAPP_CONFIG", str(tmp_path))
    monkeypatch.setenv("BENCHAPP_DATA", str(tmp_path))
    seen: list[frozenset[int]] = []
    clock, lock = ScaledClock(40), threading.RLock()
    switch = Switch(4, seen.append, clock, lock)
    servers = [
        InstrumentServer(switch),
        InstrumentServer(Thermometer(lambda: 26.0, np.random.default_rng(1), clock, lock)),
    ]
    yield switch, seen, servers[0].address, servers[1].address
    for server in servers:
        server.close()


RUN = ("measure", "--scenario", "shunt", "--speed", "40", "--blocks", "10", "--json", "-")


def test_the_thermometer_corrects_and_the_switch_connects(
    beside: tuple[Switch, list[frozenset[int]], str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    switch, seen, switch_address, thermometer_address = beside
    assert main([*RUN, "--seed", "5"]) == 0
    plain = json.loads(capsys.readouterr().out)["resistance_ohm"]
    options = ["--reference-temperature", "20 degC", "--temperature-coefficient", "0.004 / K", "--seed", "5"]
    options += ["--thermometer", thermometer_address, "--switch", switch_address, "--channel", "3"]
    assert main([*RUN, *options]) == 0
    found = json.loads(capsys.readouterr().out)["resistance_ohm"]
    assert found == pytest.approx(plain / (1 + 0.004 * 6), rel=2e-4)
    assert {3} in seen
    assert not switch.closed
    assert main(["logbook", "export", "2", "--json", "-"]) == 0
    assert "specimen at 26.0" in json.loads(capsys.readouterr().out)["record"]["bench"]["note"]


@pytest.mark.parametrize(
    ("extra", "status", "word"),
    [
        (("--channel", ""), 2, "--channel"),
        (("--channel", "9"), 3, "-222"),
        (("--channel", "1", "--switch-dialect", "none"), 2, "switch-dialect"),
    ],
)
def test_what_is_wrong_is_said(
    beside: tuple[Switch, list[frozenset[int]], str, str],
    capsys: pytest.CaptureFixture[str],
    extra: tuple[str, ...],
    status: int,
    word: str,
) -> None:
    assert main([*RUN, "--switch", beside[2], *extra]) == status
    assert word in capsys.readouterr().err


def test_a_switch_that_another_run_holds_is_refused_by_name_and_left_alone(
    beside: tuple[Switch, list[frozenset[int]], str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    """Opening all its channels would open a circuit that carries current."""
    switch, seen, address, _ = beside
    lock = AddressLock(address, runtime_folder())
    lock.take("run 7 (process 1)")
    try:
        assert main([*RUN, "--switch", address, "--channel", "3"]) == 3
    finally:
        lock.release()
    assert "in use by run 7" in capsys.readouterr().err
    assert seen == []
    assert not switch.closed
