"""After every death of the application the output is off within two seconds."""

import contextlib
import io
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import asdict, replace
from pathlib import Path

import pytest

from benchapp.logbook.query import list_runs
from drivers import guardian_process
from drivers.dialect import pattern
from drivers.guardian import GuardianLost, ProcessGuard, SafePlan, _reap, _wait_for
from sim.bench import SimulatedBench
from sim.clock import ScaledClock
from sim.devices.faulty import Device
from sim.scenario import load_scenario
from sim.server import BenchServer
from tests.faults.victim import Victim, wait_until

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="watches processes through /proc")


@pytest.fixture
def sim() -> Iterator[tuple[SimulatedBench, BenchServer]]:
    bench = SimulatedBench(load_scenario("shunt"), ScaledClock())
    with BenchServer(bench) as server:
        yield bench, server


@pytest.mark.parametrize("how", ["kill", "abort", "process group", "stop"])
def test_the_output_is_off_within_two_seconds_and_nothing_shown_is_lost(
    sim: tuple[SimulatedBench, BenchServer], tmp_path: Path, how: str
) -> None:
    bench, server = sim
    with Victim(server.source, server.voltmeter, tmp_path) as victim:
        wait_until(lambda: victim.streamed() >= 20)
        assert bench.source.output_on
        pid = victim.process.pid
        if how == "process group":
            os.killpg(os.getpgid(pid), signal.SIGKILL)
        else:
            os.kill(pid, {"kill": signal.SIGKILL, "abort": signal.SIGABRT, "stop": signal.SIGSTOP}[how])
        assert wait_until(lambda: not bench.source.output_on) < 2.0
        if how == "stop":
            os.kill(pid, signal.SIGCONT)
            assert victim.process.wait(10) == 3
            assert victim.process.stderr is not None
            assert b"guardian" in victim.process.stderr.read()
        else:
            victim.process.wait(10)
            assert list_runs(victim.logbook)[0].status == "interrupted"
        assert list_runs(victim.logbook)[0].readings >= victim.streamed()
        assert not bench.source.output_on


def test_without_its_guardian_the_application_switches_off(
    sim: tuple[SimulatedBench, BenchServer], tmp_path: Path
) -> None:
    bench, server = sim
    with Victim(server.source, server.voltmeter, tmp_path) as victim:
        wait_until(lambda: victim.streamed() >= 20)
        (guardian,) = victim.children()
        os.kill(guardian, signal.SIGKILL)
        assert wait_until(lambda: not bench.source.output_on) < 2.0
        assert victim.process.wait(10) == 3


def test_a_normal_end_leaves_no_guardian_behind(sim: tuple[SimulatedBench, BenchServer], tmp_path: Path) -> None:
    bench, server = sim
    with Victim(server.source, server.voltmeter, tmp_path) as victim:
        wait_until(lambda: victim.streamed() >= 5)
        (guardian,) = victim.children()
        victim.process.terminate()
        # 4 where so few unsettled readings are not valid: how it ended is what counts here.
        assert victim.process.wait(10) in (0, 4)
        assert not Path(f"/proc/{guardian}").exists()
        assert not bench.source.output_on


def test_no_guardian_no_output(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr("drivers.guardian._PROGRAM", tmp_path / "missing.py")
    plan = SafePlan("here", "127.0.0.1", 1, None, (":OUTP OFF",), "*IDN?", "me", ":OUTP?", ("0",), "\n", "\n")
    with pytest.raises(GuardianLost, match="Nothing was switched on"):
        ProcessGuard().arm(plan)


PLAN = SafePlan("here", "127.0.0.1", 1, None, (":OUTP OFF",), "*IDN?", "me", ":OUTP?", ("0",), "\n", "\n")


def test_late_is_not_hung_and_a_standstill_is() -> None:
    guard = ProcessGuard()
    guard.arm(PLAN)
    for late_s in (0.0, 1.0, 1.2):
        time.sleep(late_s)
        guard.beat()
    time.sleep(1.8)  # the guardian has acted by now, and says so instead of answering
    with pytest.raises(GuardianLost, match="has switched off"):
        guard.beat()
    assert guard._process is not None
    guard._process.kill()
    guard.disarm()


def test_a_beat_in_time_waits_for_nothing() -> None:
    guard = ProcessGuard()
    guard.arm(PLAN)
    guard._wait_for_answer = lambda *_: pytest.fail("it waits")  # type: ignore[method-assign]
    for _ in range(8):
        time.sleep(0.11)
        guard.beat()
    guard.disarm()


def test_a_beat_is_sent_ten_times_a_second_however_often_it_is_called() -> None:
    guard = ProcessGuard()
    guard.arm(PLAN)
    until = time.monotonic() + 0.55
    while time.monotonic() < until:
        guard.beat()
    assert 3 <= guard._number <= 6
    guard.disarm()


@pytest.mark.parametrize("line", [b"zz", b"ok 1", b"ok", b"", b"no such thing"])
def test_only_its_own_word_arms(line: bytes) -> None:
    class Process:
        stdout = io.BytesIO(line + b"\n")

    with pytest.raises(GuardianLost, match="could not be armed"):
        _wait_for(Process(), b"ok 0", "here")  # type: ignore[arg-type]


def test_a_process_that_does_not_leave_is_killed() -> None:
    process = subprocess.Popen(["sleep", "60"], stdin=subprocess.PIPE, stdout=subprocess.PIPE)
    began = time.monotonic()
    _reap(process)
    assert process.returncode == -signal.SIGKILL
    assert 1.9 < time.monotonic() - began < 3.0


def test_a_silent_guardian_is_noticed() -> None:
    guard = ProcessGuard()
    guard.arm(PLAN)
    assert guard._process is not None
    os.kill(guard._process.pid, signal.SIGSTOP)
    began = time.monotonic()
    with contextlib.suppress(GuardianLost):
        while time.monotonic() - began < 6:
            guard.beat()
            time.sleep(0.05)
    assert 1.9 < time.monotonic() - began < 5
    guard._process.kill()
    guard.disarm()


@pytest.mark.parametrize(
    ("reply", "bit", "said", "off"),
    [
        ("", None, "0", True),
        ("", None, "+0.0E+00", True),
        ("", None, "1", False),
        ("", None, "AUS", True),
        ("", 3, "7", True),
        ("", 3, "8", False),
        ("{skip}= {text}", None, "state of it = aus", True),
        ("OUT {value} {skip}", None, "OUT 1 since noon", False),
        ("re2:OUT:(?P<text>[A-Z]+)!", None, "OUT:AUS!", True),
        ("re2:OUT:(?P<text>[A-Z]+)!", None, "OUT:EIN!", False),
        ("{skip}= {text}", None, "no such reply", False),
        ("{value} A", None, "0", False),
        ("", None, "0.4", False),
        ("", None, "nan", False),
        ("", None, "1e999", False),
        ("", 0, "1", False),
        ("", 0, "2", True),
    ],
)
def test_the_guardian_reads_off_as_the_driver_does(reply: str, bit: int | None, said: str, off: bool) -> None:
    if reply.startswith("re2:"):
        pytest.importorskip("re2")
    guardian = guardian_process.Guardian(guardian_process.Orders())
    plan = {**asdict(PLAN), "reply": reply, "bit": bit, "off": ["AUS"], "fd": None}
    assert guardian._arm({**plan, "pattern_program": pattern.__file__}) == ""
    assert guardian._means_off(said) is off


def test_a_guardian_that_could_not_act_is_refused_before_the_output_goes_on() -> None:
    with pytest.raises(GuardianLost, match=r"could not be armed: .*Nothing was switched on"):
        ProcessGuard().arm(replace(PLAN, address="USB0::1::2::NOSUCH::INSTR", host=None, library="@py"))
    with pytest.raises(GuardianLost, match="could not be armed"):
        ProcessGuard().arm(replace(PLAN, reply="re2:(("))


class _Relapsing:
    """A source that goes on once more a while after it was switched off: an ON that was still on its way."""

    def __init__(self, device: Device) -> None:
        self._device = device
        self.clock, self.reply_end = device.clock, device.reply_end
        self.relapses = False

    def process(self, message: str) -> str | None:
        if self.relapses and message.upper().startswith(":OUTP OFF"):
            self.relapses = False
            threading.Timer(0.25, self._device.process, [":OUTP ON"]).start()
        return self._device.process(message)


def test_the_guardian_looks_again_whether_it_has_stayed_off(tmp_path: Path) -> None:
    bench = SimulatedBench(load_scenario("shunt"), ScaledClock())
    relapsing = _Relapsing(bench.source)
    bench.source_faults = relapsing  # type: ignore[assignment]
    with (
        BenchServer(bench) as server,
        Victim(server.source, server.voltmeter, tmp_path) as victim,
    ):
        wait_until(lambda: victim.streamed() >= 5)
        relapsing.relapses = True
        os.kill(victim.process.pid, signal.SIGKILL)
        wait_until(lambda: not relapsing.relapses)
        time.sleep(1.5)
        assert not bench.source.output_on


def test_what_ends_the_application_does_not_end_the_guardian() -> None:
    guard = ProcessGuard()
    guard.arm(PLAN)
    assert guard._process is not None
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        os.kill(guard._process.pid, number)
    time.sleep(0.3)
    guard.beat()
    time.sleep(0.3)
    guard.beat()
    assert guard._process.poll() is None
    guard.disarm()
