"""One instrument that is source and voltmeter: one connection, one reset, the same run."""

import pytest

from benchapp.analysis.estimate import estimate_readings
from benchapp.bench.bench import Bench
from benchapp.bench.plan import BenchPlan
from benchapp.events import EndReason
from benchapp.measure.snapshot import Batch
from drivers.dialect import load_dialect
from sim.bench import SimulatedBench
from sim.clock import VirtualClock
from sim.loopback import Loopback
from sim.scenario import load_scenario
from sim.scpi.core import ScpiDevice
from tests.benchapp.simulated import recipe_of, run_on

_OF_THE_METER = (":SENS:VOLT:DC", ":SENS:FUNC", ":READ", ":TRIG", ":CAL")


class CombinedInstrument:
    """Both simulated instruments behind one parser; the compliance is spelt on the measuring side."""

    reply_end = "\n"

    def __init__(self, bench: SimulatedBench) -> None:
        assert isinstance(bench.source, ScpiDevice)
        assert isinstance(bench.voltmeter, ScpiDevice)
        self._source, self._voltmeter = bench.source, bench.voltmeter
        self.clock = bench.clock
        self.resets = 0

    def process(self, message: str) -> str | None:
        replies = []
        for unit in message.split(";"):
            if unit == "*RST":
                self.resets += 1
                self._voltmeter.process("*RST")
            if unit.startswith(":SENS:VOLT:PROT:TRIP"):
                reply: str | None = str(int(self._source.limiting))
            elif unit.startswith(":SENS:VOLT:PROT"):
                reply = self._source.process(unit.replace(":SENS:VOLT:PROT", ":SOUR:VOLT:LIM"))
            elif unit.startswith(_OF_THE_METER):
                reply = self._voltmeter.process(unit)
            else:
                reply = self._source.process(unit)
            if reply is not None:
                replies.append(reply)
        return ";".join(replies) if replies else None


def test_one_instrument_measures() -> None:
    scenario = load_scenario("shunt")
    clock = VirtualClock()
    bench = SimulatedBench(scenario, clock, 3)
    box = CombinedInstrument(bench)
    wires: list[Loopback] = []

    def connect() -> Loopback:
        wires.append(Loopback(box))
        return wires[-1]

    plan = BenchPlan(
        "BOX",
        "BOX",
        load_dialect("scpi_combined", "source"),
        load_dialect("scpi_combined", "voltmeter"),
        connect,
        connect,
    )
    batches: list[Batch] = []
    end = run_on(Bench(plan), recipe_of(scenario), clock, batches.append)
    assert (end.reason, end.output_off, bench.source.output_on) == (EndReason.RULE, True, False)
    readings = [row[1:] for batch in batches for row in batch.readings]
    estimate, _ = estimate_readings(*zip(*readings, strict=True))
    assert estimate.resistance_ohm == pytest.approx(bench.circuit.resistance_ohm(), rel=1e-4)
    assert len(wires) == 1
    assert box.resets == 1
