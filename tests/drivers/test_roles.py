"""A source and a voltmeter that speak no SCPI and inherit nothing: the roles are the seam."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import pytest

from benchapp.analysis.estimate import estimate_readings
from benchapp.bench.bench import Bench
from benchapp.bench.limits import HouseLimits
from benchapp.bench.plan import BenchPlan
from benchapp.events import EndReason, RunStatus
from benchapp.measure.control import Control
from benchapp.measure.sequencer import Sequencer
from benchapp.measure.snapshot import Batch
from benchapp.recipe import Recipe, StopRule
from drivers.guardian import NoGuard, ProcessGuard, SafePlan
from drivers.instrument import Setting
from drivers.roles import CurrentSource, Voltmeter
from sim.clock import VirtualClock

_R = 2.5e-4


@dataclass
class Circuit:
    """What both are connected to."""

    current_A: float = 0.0
    on: bool = False
    log: list[str] = field(default_factory=list)

    def voltage_V(self) -> float:
        """Across the part, with an EMF."""
        return (self.current_A if self.on else 0.0) * _R + 1e-6


class DialBox:
    """A source that is driven by calls, not by messages."""

    range_A: float | None = None
    tells_compliance = False

    def __init__(self, circuit: Circuit) -> None:
        self.identity = "dial box"
        self.settings: Sequence[Setting] = ()
        self.notices: Sequence[str] = ()
        self._circuit = circuit

    def open(self) -> None:
        self._circuit.on = False

    def watch(self, on_wait: Callable[[], None]) -> None:
        self._on_wait = on_wait

    def on_reopen(self, act: Callable[[], None]) -> None:
        """It cannot be lost."""

    def configure(self, *, current_A: float, compliance_V: float) -> None:
        self._circuit.log.append(f"at most {current_A} A, {compliance_V} V")

    def step(self, current_A: float) -> bool:
        self._circuit.current_A = current_A
        return False

    def output_on(self) -> None:
        self._circuit.on = True
        self._circuit.log.append("on")

    def look_after(self) -> Sequence[str]:
        return ()

    def safe(self) -> bool:
        self._circuit.on = False
        self._circuit.log.append("off")
        return True

    def safe_plan(self) -> SafePlan | None:
        return None

    def close(self) -> None:
        self._circuit.log.append("closed")


class Needle:
    """A voltmeter that is looked at."""

    range_V: float | None = None

    def __init__(self, circuit: Circuit, clock: VirtualClock) -> None:
        self.identity = "needle"
        self.settings: Sequence[Setting] = ()
        self.notices: Sequence[str] = ()
        self._circuit, self._clock = circuit, clock

    def open(self) -> None:
        """Nothing to do."""

    def watch(self, on_wait: Callable[[], None]) -> None:
        """It never waits."""

    def configure(self, *, nplc: float, line_frequency_Hz: float, range_V: float | None) -> None:
        self._aperture_s = nplc / line_frequency_Hz

    def read(self) -> float:
        self._clock.sleep(self._aperture_s)
        return self._circuit.voltage_V()

    def reported(self) -> Sequence[str]:
        return ()

    def close(self) -> None:
        """Nothing to do."""


def _run(guard: NoGuard | ProcessGuard) -> tuple[Circuit, list[Batch], EndReason]:
    circuit, clock = Circuit(), VirtualClock()

    def source(address: str) -> CurrentSource:
        return DialBox(circuit)

    def voltmeter(address: str) -> Voltmeter:
        return Needle(circuit, clock)

    plan = BenchPlan("the box", "the needle", None, None, source_driver=source, voltmeter_driver=voltmeter)
    batches: list[Batch] = []
    end = Sequencer(
        Bench(plan),
        Recipe(1.0, range_V=1e-3, stop=StopRule(10)),
        HouseLimits(),
        clock=clock,
        control=Control(),
        publish=batches.append,
        guard=guard,
        real_time=clock.now,
    ).run()
    return circuit, batches, end.reason


def test_a_run_without_a_word_of_scpi() -> None:
    circuit, batches, reason = _run(NoGuard())
    assert reason is EndReason.RULE
    assert circuit.log == ["at most 1.0 A, 1.0 V", "on", "off", "closed"]
    readings = [row[1:] for batch in batches for row in batch.readings]
    estimate, _ = estimate_readings(*zip(*readings, strict=True))
    assert estimate.resistance_ohm == pytest.approx(_R)
    assert batches[-1].snapshot.status is RunStatus.DONE
    assert not batches[-1].snapshot.output_on


def test_a_source_that_nobody_could_switch_off_from_outside_is_not_switched_on() -> None:
    circuit, batches, reason = _run(ProcessGuard())
    assert reason is EndReason.INSTRUMENT
    assert "on" not in circuit.log
    end = batches[-1].snapshot.end
    assert end is not None
    assert "safe plan" in end.text
