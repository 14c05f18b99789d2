from dataclasses import replace
from pathlib import Path

import pytest

from benchapp.bench.energised import Energised
from benchapp.bench.limits import HouseLimits
from benchapp.events import EndReason, EventKind, RunStatus
from benchapp.measure.control import Control
from benchapp.measure.snapshot import Batch, RecordLost
from benchapp.recipe import StopRule
from benchapp.result.budget import BudgetPlan
from benchapp.result.card import load_card
from drivers.errors import LinkClosed
from drivers.guardian import NoGuard, SafePlan
from sim.devices.current_source import CurrentSource
from sim.scenario import load_scenario
from sim.world.config import Faults
from tests.benchapp.simulated import Rehearsal, benches_in_order, recipe_of


@pytest.mark.parametrize("name", benches_in_order())
def test_a_run_of_thirty_blocks_finds_the_truth(name: str) -> None:
    rehearsal = Rehearsal(load_scenario(name))
    end = rehearsal.run(recipe_of(rehearsal.scenario))
    estimate = rehearsal.estimate
    truth = rehearsal.truth
    assert (end.reason, end.output_off, rehearsal.sim.source.output_on) == (EndReason.RULE, True, False)
    assert estimate.blocks == (rehearsal.scenario.recipe.get("blocks") or 30)
    # Wider than the 95 % interval, so that one fixed seed says nothing by luck: coverage has tests of its own.
    assert abs(estimate.resistance_ohm - truth) < 4 * estimate.standard_uncertainty_ohm
    assert rehearsal.states == ["checking", "settling", "running", "done"]


def test_each_reversal_waits_for_the_source_then_settles_then_reads() -> None:
    rehearsal = Rehearsal()
    rehearsal.run(recipe_of(rehearsal.scenario, stop=StopRule(2), signs="+--+"))
    sent = [message for _, way, message in rehearsal.sent if way == ">"]
    run = [m for m in sent[sent.index(":OUTP ON") :] if "CURR" in m or "READ" in m]
    plus, minus = ":SOUR:CURR 5.00000000E+00;*OPC?", ":SOUR:CURR -5.00000000E+00;*OPC?"
    shapes = [m.removesuffix(";:STAT:QUES:COND?") for m in run]
    # Before the run each sign is held for eight readings, and each level reads back once, at its first step.
    asked = ":SOUR:CURR?"
    assert shapes[:20] == [plus, asked, *[":READ?"] * 8, minus, asked, *[":READ?"] * 8]
    assert shapes[20:29] == [plus, ":READ?", minus, ":READ?", ":READ?", plus, ":READ?", ":READ?", minus]
    assert [r.current_A for r in rehearsal.readings] == [5, -5, -5, 5] * 2


def test_time_counts_from_output_on_at_the_middle_of_the_reading() -> None:
    rehearsal = Rehearsal()
    rehearsal.run(recipe_of(rehearsal.scenario, stop=StopRule(1)))
    # Latency 4 ms, settling 20 ms, half an aperture of 20 ms.
    assert rehearsal.readings[0].time_s == pytest.approx(0.034, abs=1e-9)
    assert rehearsal.readings[1].time_s - rehearsal.readings[0].time_s == pytest.approx(0.044, abs=1e-9)


def test_stop_after_a_time() -> None:
    rehearsal = Rehearsal()
    rehearsal.run(recipe_of(rehearsal.scenario, stop=StopRule(None, duration_s=2.0)))
    assert rehearsal.readings[-2].time_s < 2.0 <= rehearsal.readings[-1].time_s


def test_stop_at_an_uncertainty_not_before_ten_blocks() -> None:
    rehearsal = Rehearsal()
    rehearsal.run(recipe_of(rehearsal.scenario, stop=StopRule(None, until_ohm=1.0)))
    assert rehearsal.estimate.blocks == 10
    rehearsal = Rehearsal()
    rehearsal.run(recipe_of(rehearsal.scenario, stop=StopRule(None, until_ohm=3e-9)))
    assert rehearsal.estimate.blocks > 10
    assert rehearsal.estimate.repeatability_95_ohm <= 3e-9


def stop_after(readings: int, rehearsal: Rehearsal) -> None:
    def on_batch(batch: Batch, control: Control) -> None:
        if batch.snapshot.readings >= readings:
            control.stop("enough")

    rehearsal.on_batch = on_batch


def test_the_operator_s_stop_ends_with_a_result() -> None:
    rehearsal = Rehearsal()
    stop_after(10, rehearsal)
    end = rehearsal.run(recipe_of(rehearsal.scenario, stop=StopRule(None)))
    assert (end.reason, end.text, end.output_off) == (EndReason.OPERATOR, "enough", True)
    assert end.exit_status == 0
    assert not rehearsal.sim.source.output_on


def test_no_block_spans_a_pause_and_the_current_rests() -> None:
    rehearsal = Rehearsal()
    paused: list[float] = []

    def on_batch(batch: Batch, control: Control) -> None:
        if batch.snapshot.readings >= 4 and not paused:
            paused.append(batch.snapshot.time_s)
            control.pause()
            control.mark("door opened")
            control.resume()

    rehearsal.on_batch = on_batch
    rehearsal.run(recipe_of(rehearsal.scenario, stop=StopRule(5)))
    pause = next(event for event in rehearsal.events if event.kind is EventKind.PAUSE)
    assert [e.text for e in rehearsal.events if e.kind is EventKind.MARK] == ["door opened"]
    spans = [(block.time_s, block.readings) for batch in rehearsal.batches for block in batch.blocks]
    assert len(spans) == 5
    assert pause.reading + 3 * 5 >= len(rehearsal.readings)
    assert rehearsal.states == ["checking", "settling", "running", "paused", "running", "done"]


@pytest.mark.parametrize("stepping", ["host", "lines"])
def test_no_current_flows_in_a_pause(stepping: str) -> None:
    # The simulated source is strict: while a list steps it, a level reaches the output only after the list is left.
    rehearsal = Rehearsal()
    source = rehearsal.sim.source
    assert isinstance(source, CurrentSource)
    flowing: list[float] = []

    def on_batch(batch: Batch, control: Control) -> None:
        if batch.snapshot.status is RunStatus.RUNNING and batch.snapshot.readings >= 4 and not flowing:
            flowing.append(source._level_A)
            control.pause()
        elif batch.snapshot.status is RunStatus.PAUSED:
            flowing.append(source._level_A)
            control.resume()

    rehearsal.on_batch = on_batch
    end = rehearsal.run(recipe_of(rehearsal.scenario, stop=StopRule(40), stepping=stepping))
    assert abs(flowing[0]) == 5.0
    assert flowing[1:] == [0.0]
    assert end.reason is EndReason.RULE
    assert {abs(reading.current_A) for reading in rehearsal.readings} == {5.0}


def test_an_output_that_goes_off_in_a_pause_ends_the_run() -> None:
    rehearsal = Rehearsal()
    left: list[float] = []

    def on_batch(batch: Batch, control: Control) -> None:
        if batch.snapshot.status is RunStatus.RUNNING and batch.snapshot.readings >= 4 and not left:
            left.append(0.0)
            control.pause()
        elif batch.snapshot.status is RunStatus.PAUSED:
            rehearsal.sim.source.process(":OUTP OFF")
            left.append(rehearsal.clock.now())

    rehearsal.on_batch = on_batch
    end = rehearsal.run(recipe_of(rehearsal.scenario))
    assert (end.reason, end.output_off) == (EndReason.INSTRUMENT, True), end
    assert rehearsal.clock.now() - left[1] < 1.3


def test_every_batch_tells_how_many_readings_and_blocks_there_are() -> None:
    rehearsal = Rehearsal()
    rehearsal.run(recipe_of(rehearsal.scenario, stop=StopRule(7)))
    readings = blocks = 0
    for batch in rehearsal.batches:
        readings, blocks = readings + len(batch.readings), blocks + len(batch.blocks)
        assert (batch.snapshot.readings, batch.snapshot.blocks) == (readings, blocks)
    assert blocks == 7


def test_the_voltmeter_chooses_its_range_where_the_recipe_names_none() -> None:
    rehearsal = Rehearsal()
    rehearsal.run(recipe_of(rehearsal.scenario, stop=StopRule(2), range_V=None, nominal_ohm=None))
    sent = [text for _, way, text in rehearsal.sent if way == ">" and "RANG:AUTO" in text and "VOLT" in text]
    assert any(text.endswith((" ON", " 1")) for text in sent)
    assert rehearsal.facts.range_V is None


def test_compliance_reached_stops_for_safety() -> None:
    rehearsal = Rehearsal()
    end = rehearsal.run(recipe_of(rehearsal.scenario, compliance_V=0.05))
    assert (end.reason, end.exit_status, end.output_off) == (EndReason.COMPLIANCE, 4, True)


def test_overload_stops_for_safety_and_is_in_the_record() -> None:
    rehearsal = Rehearsal()
    end = rehearsal.run(recipe_of(rehearsal.scenario, range_V=1e-3))
    assert (end.reason, end.exit_status) == (EndReason.OVERLOAD, 4)
    assert rehearsal.readings[-1].voltage_V > 1e30
    assert [flag.code for flag in rehearsal.estimate.flags] == ["overload"]


def test_house_limits_hold_before_a_command_leaves_and_while_measuring() -> None:
    rehearsal = Rehearsal(limits=HouseLimits(current_A=1.0))
    end = rehearsal.run(recipe_of(rehearsal.scenario))
    assert (end.reason, rehearsal.sent) == (EndReason.LIMIT, [])
    rehearsal = Rehearsal(limits=HouseLimits(power_W=0.005))
    end = rehearsal.run(recipe_of(rehearsal.scenario, nominal_ohm=1e-6, range_V=0.01))
    assert end.reason is EndReason.LIMIT
    assert "power in the specimen" in end.text
    assert not rehearsal.sim.source.output_on


def test_an_instrument_that_falls_silent_is_trouble_and_the_output_is_off() -> None:
    rehearsal = Rehearsal()

    def on_batch(batch: Batch, control: Control) -> None:
        if batch.snapshot.readings == 7:
            rehearsal.sim.voltmeter.process("TRIG:SOUR BUS")

    rehearsal.on_batch = on_batch
    end = rehearsal.run(recipe_of(rehearsal.scenario))
    assert (end.reason, end.exit_status, end.output_off) == (EndReason.INSTRUMENT, 3, True)
    assert "no answer" in end.text
    assert len(rehearsal.readings) >= 7


@pytest.mark.parametrize("at", [1, 2, 3, 4, 9])
def test_a_record_that_fails_or_a_bug_ends_with_the_output_off(at: int) -> None:
    for error, reason in ((RecordLost("disk full"), EndReason.RECORD), (ZeroDivisionError(), EndReason.BUG)):
        rehearsal = Rehearsal()
        calls: list[Batch] = []

        def on_batch(batch: Batch, control: Control, error: Exception = error, calls: list[Batch] = calls) -> None:
            calls.append(batch)
            if len(calls) == at:
                raise error

        rehearsal.on_batch = on_batch
        end = rehearsal.run(recipe_of(rehearsal.scenario))
        assert (end.reason, rehearsal.sim.source.output_on) == (reason, False)


def test_emf_order_zero_and_plus_zero_sequences() -> None:
    for signs, order in (("+0", 1), ("+-", 0), ("+0-0", 1), ("++--", 2)):
        rehearsal = Rehearsal()
        rehearsal.run(replace(recipe_of(rehearsal.scenario), signs=signs, emf_order=order, stop=StopRule(10)))
        truth = rehearsal.sim.circuit.resistance_ohm()
        assert rehearsal.estimate.resistance_ohm == pytest.approx(truth, rel=1e-3)


@pytest.mark.parametrize("messages", range(0, 40, 3))
def test_an_order_to_stop_during_the_set_up_never_energises(messages: int) -> None:
    rehearsal = Rehearsal()

    def count(*line: str) -> None:
        rehearsal.sent.append(line)  # type: ignore[arg-type]
        if len(rehearsal.sent) > messages:
            rehearsal.control.stop()

    end = rehearsal.run(recipe_of(rehearsal.scenario), transcript=count)
    assert (end.reason, end.output_off) == (EndReason.OPERATOR, True)
    assert not [text for _, way, text in rehearsal.sent if way == ">" and ":OUTP" in text and "ON" in text]
    assert rehearsal.readings == []


class _Watching(NoGuard):
    """Notes how the output stood whenever it was called."""

    def __init__(self) -> None:
        self.rehearsal: Rehearsal | None = None
        self.armed: list[bool] = []
        self.disarmed: list[bool] = []

    def arm(self, plan: SafePlan) -> None:
        assert self.rehearsal is not None
        self.armed.append(self.rehearsal.sim.source.output_on)

    def disarm(self) -> None:
        assert self.rehearsal is not None
        self.disarmed.append(self.rehearsal.sim.source.output_on)


def test_the_guardian_is_armed_before_the_output_goes_on_and_let_go_after_it_is_off() -> None:
    guard = _Watching()
    guard.rehearsal = rehearsal = Rehearsal(guard=guard)
    rehearsal.run(recipe_of(rehearsal.scenario, stop=StopRule(3)))
    assert (guard.armed, guard.disarmed) == ([False], [False])
    assert rehearsal.readings


def test_an_output_that_a_hand_switches_off_ends_the_run() -> None:
    """The look once a second finds it, whatever the readings are like."""
    done: list[float] = []

    def turn(batch: Batch, _: Control) -> None:
        if not done and batch.readings and batch.readings[-1].time_s > 2.5:
            rehearsal.sim.source.process(":OUTP OFF")
            done.append(batch.readings[-1].time_s)

    rehearsal = Rehearsal(on_batch=turn)
    end = rehearsal.run(recipe_of(rehearsal.scenario, stop=StopRule(None, duration_s=20.0)))
    assert (end.reason, end.output_off) == (EndReason.INSTRUMENT, True), end
    assert rehearsal.readings[-1].time_s - done[0] < 1.3


def _looks(rehearsal: Rehearsal) -> int:
    """How often the output was read back while the current flowed."""
    sent = [message for _, way, message in rehearsal.sent if way == ">"]
    on = sent.index(":OUTP ON")
    off = len(sent) - 1 - sent[::-1].index(":OUTP OFF")
    return sum(message == ":OUTP?" for message in sent[on:off])


@pytest.mark.parametrize("stepping", ["host", "lines"])
def test_the_source_is_looked_at_once_a_second(stepping: str) -> None:
    rehearsal = Rehearsal()
    end = rehearsal.run(recipe_of(rehearsal.scenario, stop=StopRule(None, duration_s=20.0), stepping=stepping))
    assert end.reason is EndReason.RULE
    # A pass of two seconds is not broken up; one more is the readback of ON itself, one the last look.
    assert _looks(rehearsal) in (range(18, 24) if stepping == "host" else range(8, 14))


def test_in_a_pause_the_source_is_looked_at_once_a_second() -> None:
    rehearsal = Rehearsal()
    began: list[float] = []

    def on_batch(batch: Batch, control: Control) -> None:
        if batch.snapshot.readings >= 4 and not began:
            began.append(rehearsal.clock.now())
            control.pause()

    original = rehearsal.control.take

    def take() -> object:
        order = original()
        if order is None and began and rehearsal.clock.now() - began[0] > 10.0:
            rehearsal.control.resume()
        return order

    rehearsal.control.take = take  # type: ignore[method-assign, assignment]
    rehearsal.on_batch = on_batch
    rehearsal.run(recipe_of(rehearsal.scenario, stop=StopRule(3)))
    assert _looks(rehearsal) in range(9, 14)


def test_readings_that_come_fast_are_handed_over_in_batches() -> None:
    rehearsal = Rehearsal()
    rehearsal.run(recipe_of(rehearsal.scenario, nplc=0.05, settle_s=0.0, signs="+" * 8 + "-" * 8, stop=StopRule(40)))
    assert len(rehearsal.readings) > 300
    with_readings = [batch for batch in rehearsal.batches if batch.readings]
    assert len(with_readings) < len(rehearsal.readings) / 3
    spans = [batch.readings[-1].time_s - batch.readings[0].time_s for batch in with_readings]
    assert max(spans) < 0.04


class _Counting(NoGuard):
    """Counts the beats."""

    def __init__(self) -> None:
        self.beats = 0

    def beat(self) -> None:
        self.beats += 1


def test_a_long_settling_shows_life_in_every_slice() -> None:
    guard = _Counting()
    rehearsal = Rehearsal(guard=guard)
    rehearsal.run(recipe_of(rehearsal.scenario, settle_s=1.0, signs="+-", stop=StopRule(2)))
    changes = 2 + len(rehearsal.readings)
    assert guard.beats > 18 * changes  # a slice is 50 ms


def test_the_clock_of_the_run_is_that_of_its_readings() -> None:
    rehearsal = Rehearsal()
    rehearsal.run(recipe_of(rehearsal.scenario, stop=StopRule(5)))
    for batch in rehearsal.batches:
        if batch.readings:
            assert abs(batch.snapshot.time_s - batch.readings[-1].time_s) < 0.1


def test_a_voltmeter_that_complains_is_heard() -> None:
    scenario = replace(load_scenario("shunt"), voltmeter_faults=Faults(error_at=120))
    rehearsal = Rehearsal(scenario)
    rehearsal.run(recipe_of(scenario, stop=StopRule(60)))
    complaints = [event.text for event in rehearsal.events if event.kind is EventKind.COMPLAINT]
    assert len(complaints) == 1
    assert complaints[0].startswith("voltmeter: voltmeter reports -310")


def test_a_target_out_of_reach_ends_the_run_at_the_tenth_block_or_before_the_output_goes_on(tmp_path: Path) -> None:
    path = tmp_path / "card.toml"
    path.write_text('[voltmeter]\n[[voltmeter.range]]\nrange = "10 mV"\nreading_ppm = 500\n')
    known = BudgetPlan(load_card(path))
    for nominal_ohm, blocks in ((250e-6, 0), (None, 10)):
        rehearsal = Rehearsal()
        recipe = recipe_of(rehearsal.scenario, nominal_ohm=nominal_ohm, stop=StopRule(None, until_ohm=1e-9))
        end = rehearsal.run(recipe, known=known)
        assert end.reason is EndReason.UNREACHABLE
        assert rehearsal.last.blocks == blocks
        assert (":OUTP ON" in [message for _, _, message in rehearsal.sent]) is bool(blocks)


def test_what_stood_in_an_error_queue_is_told_before_the_run() -> None:
    rehearsal = Rehearsal()
    assert isinstance(rehearsal.sim.source, CurrentSource)
    rehearsal.sim.source.raise_error(-310)
    rehearsal.run(recipe_of(rehearsal.scenario, stop=StopRule(2)))
    told = [event for event in rehearsal.events if event.kind is EventKind.NOTICE]
    assert len(told) == 1
    assert told[0].text.startswith("source: found in the error queue: -310")
    assert told[0].time_s == 0.0


class _RefusesOn:
    """A source whose output may have gone on when it failed."""

    identity = "box"

    def on_reopen(self, act: object) -> None:
        """Nothing is lost."""

    def safe_plan(self) -> None:
        return None

    def watch(self, on_wait: object) -> None:
        """It waits for nothing."""

    def output_on(self) -> None:
        raise LinkClosed("gone", resource="box", remedy="")

    def safe(self) -> bool:
        return True


def test_an_output_that_was_ordered_on_counts_as_on_until_it_is_proved_off() -> None:
    energised = Energised(_RefusesOn(), NoGuard())  # type: ignore[arg-type]
    with pytest.raises(LinkClosed):
        energised.switch_on()
    assert energised.on
    assert energised.switch_off()
    assert not energised.on
