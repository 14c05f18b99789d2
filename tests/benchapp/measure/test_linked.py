"""In step by trigger lines: the same value as stepped by the host, and no pass that has slipped is believed."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from benchapp.events import EndReason, EventKind
from benchapp.measure.control import Control
from benchapp.measure.linked_passes import LinkedPasses, _fit
from benchapp.measure.snapshot import Batch
from benchapp.recipe import StopRule
from drivers.dialect import load_dialect
from drivers.errors import ReplyError, SettingError
from drivers.link import Link
from drivers.linked import LinkedPair, LinkedReading, PassFailed
from drivers.registry import make_link
from drivers.scpi_source import ScpiSource
from drivers.scpi_voltmeter import ScpiVoltmeter
from sim.bench import SimulatedBench
from sim.clock import ScaledClock, VirtualClock
from sim.devices.voltmeter import Voltmeter
from sim.loopback import Loopback
from sim.scenario import Scenario, load_scenario
from sim.server import InstrumentServer
from sim.world.config import Lines
from tests.benchapp.simulated import Rehearsal, recipe_of

SHUNT = load_scenario("shunt")
LEDGER = replace(SHUNT, source_dialect="ledger", voltmeter_dialect="ledger")  # counts steps and readings, keeps times


def linked(scenario: Scenario = SHUNT, seed: int = 3, **changes: object) -> Rehearsal:
    rehearsal = Rehearsal(scenario, seed)
    rehearsal.run(recipe_of(scenario, stepping="lines", **changes))
    return rehearsal


def notices(rehearsal: Rehearsal) -> list[str]:
    return [event.text for event in rehearsal.events if event.kind is EventKind.NOTICE]


@pytest.mark.parametrize("scenario", [SHUNT, LEDGER], ids=["standard", "ledger"])
@pytest.mark.parametrize("signs", ["+-", "+--+", "++--"])
def test_both_modes_agree_within_the_combined_interval(signs: str, scenario: Scenario) -> None:
    misses = 0
    for seed in range(25):
        lines = linked(scenario, seed=seed, signs=signs).estimate
        host = Rehearsal(SHUNT, 1000 + seed)
        host.run(recipe_of(SHUNT, signs=signs))
        other = host.estimate
        both = math.hypot(lines.repeatability_95_ohm, other.repeatability_95_ohm)
        misses += abs(lines.resistance_ohm - other.resistance_ohm) > both
    assert misses <= 4  # of 25 at 5 %


@pytest.mark.parametrize("signs", ["+-", "+--+"])
@pytest.mark.parametrize(
    ("scenario", "lines", "words"),
    [
        (LEDGER, Lines(lost_at=30), "pulse was lost"),
        (LEDGER, Lines(bounce_at=30), "it slipped"),
        (SHUNT, Lines(lost_at=30), "pulse was lost"),
        (SHUNT, Lines(bounce_at=30), "not over after"),  # the source is through one reading too soon
    ],
)
def test_a_suspect_pass_is_discarded_whole_and_made_again(
    signs: str, scenario: Scenario, lines: Lines, words: str
) -> None:
    rehearsal = linked(replace(scenario, lines=lines), signs=signs)
    assert [text for text in notices(rehearsal) if text.startswith("polarity-slip") and words in text]
    clean = linked(signs=signs)
    assert rehearsal.estimate.resistance_ohm == pytest.approx(
        clean.estimate.resistance_ohm, abs=3 * clean.estimate.repeatability_95_ohm
    )
    assert abs(rehearsal.estimate.resistance_ohm - rehearsal.truth) < 2e-8


def test_lines_that_are_not_there_end_the_run_with_the_output_off() -> None:
    rehearsal = linked(replace(SHUNT, lines=Lines(lost_at=1)))
    # The first pulse of each pass is the only one that counts on here: later passes start at later pulses.
    assert rehearsal.last.end is not None
    assert not rehearsal.sim.source.output_on
    dead = replace(SHUNT, lines=Lines(step_delay_s=1e9))
    rehearsal = linked(dead)
    assert rehearsal.last.end is not None
    assert rehearsal.last.end.reason is EndReason.INSTRUMENT
    assert "trigger lines" in rehearsal.last.end.text
    assert not rehearsal.sim.source.output_on


def test_settling_is_waited_for_by_the_voltmeter_itself() -> None:
    rehearsal = linked(LEDGER)
    assert (":TRIG:DEL 2.00000000E-02") in [message for _, way, message in rehearsal.sent if way == ">"]
    steps = [b.time_s - a.time_s for a, b in zip(rehearsal.readings, rehearsal.readings[1:], strict=False)]
    usual = sorted(steps)[len(steps) // 2]
    assert usual == pytest.approx(0.040 + 0.00015, rel=1e-6)
    assert 1 / usual > 0.95 / (0.040 + 0.00015)


def test_instruments_without_lines_say_what_is_lacking() -> None:
    scenario = load_scenario("foreign_pair")
    rehearsal = linked(scenario)
    assert rehearsal.last.end is not None
    assert "no steps by trigger lines" in rehearsal.last.end.text
    assert 'stepping = "host"' in rehearsal.last.end.text
    assert not rehearsal.sim.source.output_on


def test_compliance_ends_a_linked_run() -> None:
    rehearsal = linked(compliance_V=0.02)
    assert rehearsal.last.end is not None
    assert rehearsal.last.end.reason is EndReason.COMPLIANCE
    assert not rehearsal.sim.source.output_on


def test_an_order_to_stop_is_heard_within_a_pass() -> None:
    def stop(batch: Batch, control: Control) -> None:
        if batch.snapshot.readings:
            control.stop("enough")

    rehearsal = Rehearsal(SHUNT, 3, on_batch=stop)
    end = rehearsal.run(recipe_of(SHUNT, stepping="lines", stop=StopRule(None)))
    assert (end.reason, end.output_off) == (EndReason.OPERATOR, True)
    assert not rehearsal.sim.source.output_on


def test_without_counts_and_times_the_readings_lie_evenly_over_the_pass() -> None:
    rehearsal = linked()
    sent = [message for _, way, message in rehearsal.sent if way == ">"]
    assert not [message for message in sent if "LEDG" in message]
    assert ":FETC?" in sent
    assert ":TRIG:IMM" in sent
    steps = [b.time_s - a.time_s for a, b in zip(rehearsal.readings, rehearsal.readings[1:], strict=False)]
    within = sorted(steps)[: len(steps) // 2]
    assert within[0] == pytest.approx(0.040 + 0.00015, rel=0.02)
    assert within[-1] == pytest.approx(within[0], rel=0.02)


def test_a_pass_is_two_seconds_long_and_its_times_are_those_of_the_readings() -> None:
    rehearsal = linked(LEDGER, stop=StopRule(100))
    assert ":TRIG:COUN 5.00000000E+01" in [message for _, way, message in rehearsal.sent if way == ">"]
    times_s = [reading.time_s for reading in rehearsal.readings]
    assert times_s[0] == pytest.approx(0.030, abs=0.008)  # settled, and half an aperture
    assert times_s == sorted(times_s)
    assert times_s[-1] < rehearsal.last.time_s
    # The list is programmed once for all passes.
    assert len([m for _, way, m in rehearsal.sent if way == ">" and m.startswith(":SOUR:LIST:CURR ")]) == 1


def test_a_pass_that_is_over_too_soon_is_not_believed() -> None:
    """A voltmeter that keeps a pulse for later starts its next reading before the circuit has settled."""
    rehearsal = Rehearsal(SHUNT, 3)
    voltmeter = rehearsal.sim.voltmeter
    assert isinstance(voltmeter, Voltmeter)
    whole = voltmeter.take_triggered
    voltmeter.take_triggered = lambda pulse_s: whole(pulse_s - 0.5 * voltmeter.trigger_delay_s)  # type: ignore[method-assign]
    rehearsal.sim.lines._done_by = lambda pulse_s: pulse_s + 0.03  # type: ignore[method-assign]
    end = rehearsal.run(recipe_of(SHUNT, stepping="lines"))
    assert end.reason is EndReason.INSTRUMENT
    assert "too early" in end.text
    assert rehearsal.readings == []


def test_a_pass_is_told_as_it_grows_where_the_voltmeter_counts() -> None:
    counts = [batch.snapshot.pending for batch in _batches(LEDGER)]
    assert max(counts) > 10
    assert counts[-1] == 0
    assert {batch.snapshot.pending for batch in _batches(SHUNT)} == {0}


def _batches(scenario: Scenario) -> list[Batch]:
    return linked(scenario).batches


def test_readings_that_come_too_early_are_not_believed() -> None:
    pair = LinkedPair.__new__(LinkedPair)
    pair._period_s = 0.04
    with pytest.raises(PassFailed, match="too early"):
        pair._judge([LinkedReading(0, 0.0, 0.0), LinkedReading(1, 0.04, 0.0), LinkedReading(2, 0.05, 0.0)])


def test_a_buffer_drained_in_binary_gives_the_same_readings() -> None:
    plain = linked()
    binary = Rehearsal(replace(SHUNT, voltmeter_dialect="binary"), 3)
    binary.run(recipe_of(SHUNT, stepping="lines"))
    assert any("a block of" in message for _, _, message in binary.sent)
    got, wanted = ([r.voltage_V for r in run.readings] for run in (binary, plain))
    assert got == pytest.approx(wanted, abs=1e-11)  # ASCII has ten digits


def test_a_binary_block_over_a_socket() -> None:
    bench = SimulatedBench(SHUNT, ScaledClock(10))
    assert isinstance(bench.voltmeter, Voltmeter)
    bench.voltmeter.readings_V[:] = [10.0 * k for k in range(40)]  # 0x0A bytes among them
    bench.voltmeter.process(":FORM REAL,64")
    server = InstrumentServer(bench.voltmeter)
    try:
        link = make_link(server.address, load_dialect("binary", "voltmeter"))
        data = link.query_block(":FETC?")
        assert np.frombuffer(data, ">f8")[:4].tolist() == [0.0, 10.0, 20.0, 30.0]
        assert len(data) == 320
        assert link.query("*IDN?") == "Generic,Voltmeter,0,1.0"
        with pytest.raises(ReplyError, match="begins no block"):
            link.query_block("*IDN?")
        link.close()
    finally:
        server.close()


def test_what_is_lacking_is_named_up_to_three(tmp_path: Path) -> None:
    for lacking, told in (
        (("start",), "source start not known"),
        (("start", "abort", "arm"), "source arm, source start, source abort not known"),
        (("start", "abort", "arm", "mode"), "source mode, source arm, source start and more not known"),
    ):
        dialect = load_dialect("scpi", "source")
        less = {name: spellings for name, spellings in dialect.capabilities.items() if name not in lacking}
        source = ScpiSource(Link(lambda: Loopback(SimulatedBench(SHUNT, VirtualClock()).source), "S"), dialect)
        source.dialect = replace(dialect, capabilities=less)
        voltmeter = ScpiVoltmeter(
            Link(lambda: Loopback(SimulatedBench(SHUNT, VirtualClock()).voltmeter), "V"),
            load_dialect("scpi", "voltmeter"),
        )
        with pytest.raises(SettingError) as caught:
            LinkedPasses(source, voltmeter, recipe_of(SHUNT), now=lambda: 0.0, sleep=lambda _: None)
        assert told in str(caught.value)


def test_a_drift_of_the_emf_is_no_slip() -> None:
    I = np.array([1.0, -1.0] * 4)
    R, rest = _fit(I, 1e-3 * I + 5e-6 + 2e-5 * np.arange(8))
    assert pytest.approx(1e-3, rel=1e-9) == R
    assert rest < 1e-24


def test_five_bad_passes_in_a_row_end_the_run() -> None:
    rehearsal = linked(replace(SHUNT, lines=Lines(step_delay_s=1e9)))
    assert len([text for text in notices(rehearsal) if text.startswith("polarity-slip")]) == 5
    assert rehearsal.last.end is not None
    assert "5 passes in a row" in rehearsal.last.end.text


@pytest.mark.parametrize("by", [1, -1])
def test_voltages_of_the_neighbours_currents_are_noticed(by: int) -> None:
    passes = LinkedPasses.__new__(LinkedPasses)
    passes._levels = [1.0, 1.0, -1.0, -1.0] * 6
    V = 1e-3 * np.roll(passes._levels, by) + 2e-6
    readings = [LinkedReading(k, 0.1 * k, float(v)) for k, v in enumerate(V)]
    with pytest.raises(PassFailed, match="belong to other currents"):
        passes._compare_signs(readings)
    passes._compare_signs([replace(r, voltage_V=1e-3 * passes._levels[r.index]) for r in readings])
