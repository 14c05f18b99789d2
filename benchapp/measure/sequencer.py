"""The run: set up, output on, settle, reverse and read until the stop rule says so, output off.

It works in one thread, which alone touches the instruments. Whatever happens, `run` returns how it ended, and the
output is off by then or the end says that this could not be proved.
"""

from __future__ import annotations

import contextlib
import time
import traceback
from collections.abc import Callable

from benchapp.analysis.running_blocks import OVERLOAD_V
from benchapp.analysis.student import coverage_factor
from benchapp.bench.ammeter import Ammeter
from benchapp.bench.bench import Bench
from benchapp.bench.energised import Energised
from benchapp.bench.limits import HouseLimits, LimitExceeded
from benchapp.bench.output import OutputState
from benchapp.bench.specimen_thermometer import SpecimenThermometer
from benchapp.bench.units import Units, user_units
from benchapp.clock import Clock
from benchapp.events import EndReason, EventKind, Reading, RunEnd, RunStatus
from benchapp.measure.control import Control, OrderKind
from benchapp.measure.holding import hold_signs, still_moving
from benchapp.measure.journal import Journal
from benchapp.measure.linked_passes import LinkedPasses
from benchapp.measure.snapshot import Batch, RecordLost, RunFacts
from benchapp.measure.stop_rules import MIN_BLOCKS_FOR_UNCERTAINTY, StopWatch
from benchapp.measure.turning import Turning
from benchapp.measure.unit_trial import refuse_wrong_unit
from benchapp.quantity import engineering
from benchapp.recipe import Recipe
from benchapp.result.budget import BudgetPlan
from drivers.errors import InstrumentError
from drivers.guardian import Guard
from drivers.linked import PassFailed
from drivers.roles import CurrentSource, Voltmeter

_LOOK_S = 1.0
_BAD_PASSES = 5
_SLICE_S = 0.05  # the longest sleep without a look at the orders


class RunStopped(Exception):
    """Control flow: the run ends here, for this reason."""

    def __init__(self, reason: EndReason, text: str) -> None:
        super().__init__(text)
        self.reason = reason
        self.text = text


class Sequencer:
    """One run of a recipe on a bench. `publish` takes the batches; what it raises ends the run. `seen` is told of the
    output at once, past the batches.
    """

    def __init__(
        self,
        bench: Bench,
        recipe: Recipe,
        limits: HouseLimits,
        *,
        clock: Clock,
        control: Control,
        publish: Callable[[Batch], None],
        guard: Guard,
        known: BudgetPlan | None = None,
        real_time: Callable[[], float] = time.monotonic,
        units: Units | None = None,
        seen: Callable[[OutputState], None] = lambda state: None,
    ) -> None:
        self._seen = seen
        self._units = units or user_units()
        self._trial_A: float | None = None  # to prove the source's unit with, before the current goes higher
        self._guard = guard
        self._bench = bench
        self._recipe = recipe
        self._limits = limits
        self._clock = clock
        self._control = control
        self._known = known or BudgetPlan(confidence=recipe.confidence)
        self._watch = StopWatch(recipe.stop, recipe.current_A, self._known)
        self._energised: Energised | None = None
        self._ammeter: Ammeter | None = None
        self._thermometer: SpecimenThermometer | None = None
        self._turning: Turning | None = None
        self._level_A = 0.0
        self._last_look_s = 0.0
        self._journal = Journal(recipe, publish, now=clock.now, real_time=real_time, output_on=self._output_on)

    def run(self) -> RunEnd:
        """The whole run; never raises."""
        try:
            reason, text = self._measure()
        except RunStopped as stopped:
            reason, text = stopped.reason, stopped.text
        except LimitExceeded as error:
            reason, text = EndReason.LIMIT, str(error)
        except InstrumentError as error:
            reason, text = EndReason.INSTRUMENT, str(error)
        except RecordLost as error:
            reason, text = EndReason.RECORD, str(error)
        except BaseException:  # noqa: BLE001  the outermost net of the run thread: output off, then tell
            reason, text = EndReason.BUG, traceback.format_exc()
        return self._finish(reason, text)

    # The phases.

    def _measure(self) -> tuple[EndReason, str]:
        source, voltmeter = self._set_up()
        self._journal.enter(RunStatus.SETTLING)
        assert self._energised is not None
        self._end_if_stopped()  # the last look before the output goes on: OFF during the set-up means off
        self._energised.switch_on()
        self._prove_unit(source, voltmeter)
        if self._turning is not None:
            self._journal.connected(self._turning.name)
        self._hold_signs(source, voltmeter)
        first_C = None if self._thermometer is None else self._thermometer.first_C()
        start_s = self._journal.start_s = self._last_look_s = self._clock.now()
        if first_C is not None:
            self._journal.temperature(0.0, first_C)
        if self._recipe.stepping == "lines":
            self._journal.enter(RunStatus.RUNNING)
            text = self._run_passes(source, voltmeter, start_s)
        else:
            self._step(source, self._recipe.level_A(0))
            self._journal.enter(RunStatus.RUNNING)
            text = self._reverse_and_read(source, voltmeter, start_s)
        self._look_after(source, voltmeter)
        source.step(0.0)
        return EndReason.RULE, text

    def _prove_unit(self, source: CurrentSource, voltmeter: Voltmeter) -> None:
        """Where only a dialect says what the source counts in: a small current first, seen over what is known."""
        if self._trial_A is None:
            return
        known_ohm, over = self._recipe.nominal_ohm, voltmeter
        if self._ammeter is not None:
            known_ohm, over = self._ammeter.shunt_ohm, self._ammeter.voltmeter
        assert known_ohm is not None
        refuse_wrong_unit(self._trial_A, known_ohm, lambda level_A: self._step(source, level_A), over)

    def _hold_signs(self, source: CurrentSource, voltmeter: Voltmeter) -> None:
        """Each sign held for several readings, to see whether the voltage stands; told where it does not."""
        recipe = self._recipe

        def read(level_A: float) -> tuple[float, float]:
            voltage_V, current_A = self._read(voltmeter, level_A)
            if self._ammeter is not None:
                self._limits.check_measured(abs(current_A))
            if abs(voltage_V) < OVERLOAD_V:  # the run itself tells of an overload
                self._limits.check_power(abs(voltage_V * level_A))
            self._on_wait()
            return voltage_V, current_A

        ends_A = recipe.ends_A
        text = still_moving(hold_signs(ends_A, recipe.aperture_s, lambda level_A: self._step(source, level_A), read))
        if text:
            self._journal.event(EventKind.UNSETTLED, text)

    def _set_up(self) -> tuple[CurrentSource, Voltmeter]:
        self._journal.enter(RunStatus.CHECKING)
        coverage_factor(1)  # loads scipy now; a third of a second while the current flows would be a gap in the run
        self._limits.check(self._recipe)
        try:
            source, voltmeter = self._bench.open(self._on_wait)
        finally:
            self._energised = self._bench.energised(self._guard, self._seen)
            if self._energised is not None:
                self._energised.look()
        self._ammeter = self._bench.ammeter(self._recipe)
        self._thermometer = self._bench.specimen_thermometer(self._recipe)
        self._trial_A = self._units.trial_A(source, self._recipe, self._limits)
        self._bench.configure(self._recipe, self._on_wait)
        scanner = self._bench.scanner_for(self._recipe)
        if scanner is not None:
            self._turning = Turning(scanner, self._recipe)
            self._turning.connect()
        facts = RunFacts(
            self._bench.identities(),
            self._bench.settings(),
            self._bench.notices(),
            source.tells_compliance,
            voltmeter.range_V,
            source.range_A,
            None if self._bench.current_voltmeter is None else self._bench.current_voltmeter.range_V,
        )
        self._watch = StopWatch(self._recipe.stop, self._recipe.current_A, facts.in_use(self._known))
        text = "" if self._recipe.nominal_ohm is None else self._watch.unreachable(self._recipe.nominal_ohm)
        if text:
            raise RunStopped(EndReason.UNREACHABLE, text)
        for text in facts.notices:
            self._journal.event(EventKind.NOTICE, text)
        self._journal.hand_over(facts=facts)
        return source, voltmeter

    def _reverse_and_read(self, source: CurrentSource, voltmeter: Voltmeter, start_s: float) -> str:
        recipe, clock, orders, ammeter = self._recipe, self._clock, self._control, self._ammeter
        while True:
            self._guard.beat()
            if not orders.idle():
                self._obey(source)
            if self._turning is not None and self._turning.is_over(self._journal.index):
                if self._turning.was_last:
                    return self._turning.was_last
                self._next_turn(source, voltmeter, self._turning)
            level = recipe.level_A(self._journal.index)
            if level != self._level_A:
                self._step(source, level)
            before = clock.now()
            if ammeter is None:
                voltage_V, current_A = voltmeter.read(), level
            else:
                voltage_V, current_A = self._read(voltmeter, level)
            text = self._accept((before + clock.now()) / 2 - start_s, current_A, voltage_V)
            if text:
                return text
            self._journal.hand_over_when_due()
            if clock.now() - self._last_look_s >= _LOOK_S:
                self._look_after(source, voltmeter)

    def _next_turn(self, source: CurrentSource, voltmeter: Voltmeter, turning: Turning) -> None:
        """Another part, connected at zero current; each sign is held for it when it comes for the first time."""

        def to_zero() -> float | None:
            self._step(source, 0.0)
            self._look_at(source)  # the level is read back
            return None if self._ammeter is None else self._read(voltmeter, 0.0)[1]

        turning.move(to_zero)
        self._wait(self._recipe.channel_settle_s)
        self._journal.connected(turning.name)
        if turning.first_time:
            self._hold_signs(source, voltmeter)

    def _read(self, voltmeter: Voltmeter, level_A: float) -> tuple[float, float]:
        """A voltage, and the current that belongs to it: as it is measured, else as it was set."""
        if self._ammeter is None:
            return voltmeter.read(), level_A
        voltage_V, current_A = self._ammeter.read_beside(voltmeter)
        if not abs(current_A) < OVERLOAD_V:
            text = "the voltmeter over the resistor that measures the current is outside its range"
            raise RunStopped(EndReason.OVERLOAD, f"{text}. Check the value of the resistor and its sense leads")
        return voltage_V, current_A

    def _accept(self, time_s: float, current_A: float, voltage_V: float) -> str:
        """Take one reading into the run; why the stop rule is reached, or nothing."""
        reading = self._journal.reading(time_s, current_A, voltage_V)
        self._check(reading)
        if self._thermometer is not None:
            self._journal.correction = self._recipe.at_reference(self._thermometer.specimen_C(time_s))
        text = self._watch.at_time(time_s) or self._watch.at_reading(self._journal.index, self._recipe.cycle.readings)
        if self._journal.closes_block(reading):
            running = self._journal.running
            text = self._watch.at_block(running) or text
            if self._journal.blocks == MIN_BLOCKS_FOR_UNCERTAINTY:
                hopeless = self._watch.unreachable(running.moments.mean)
                if hopeless:
                    raise RunStopped(EndReason.UNREACHABLE, hopeless)
        return text

    def _run_passes(self, source: CurrentSource, voltmeter: Voltmeter, start_s: float) -> str:
        """Linked passes until the stop rule; a pass that is not to be believed is discarded whole and made again."""
        passes = LinkedPasses(source, voltmeter, self._recipe, now=self._clock.now, sleep=self._wait)
        bad = 0
        while True:
            self._guard.beat()
            if not self._control.idle():
                self._obey(source, passes)
            try:
                found = passes.one(self._journal.grow)
            except PassFailed as failure:
                bad += 1
                self._journal.pending = 0
                self._told_of(failure, passes, bad)
                continue
            bad = 0
            self._journal.pending = 0
            self._journal.cut()  # the arming in between is no part of the sequence
            for reading in found:
                text = self._accept(reading.time_s - start_s, reading.current_A, reading.voltage_V)
                if text:
                    self._journal.hand_over()
                    passes.leave()
                    return text
            self._journal.hand_over()
            if self._clock.now() - self._last_look_s >= _LOOK_S:
                self._look_after(source, voltmeter)

    def _told_of(self, failure: PassFailed, passes: LinkedPasses, bad: int) -> None:
        if passes.limited:
            text = f"{failure}: the current does not flow as set. Check the source leads"
            raise RunStopped(EndReason.COMPLIANCE, text)
        self._journal.event(EventKind.NOTICE, f"polarity-slip: a pass was discarded and is measured again: {failure}")
        self._journal.hand_over()
        if bad >= _BAD_PASSES:
            text = f"{bad} passes in a row could not be believed; the last: {failure}. Check the trigger lines"
            raise RunStopped(EndReason.INSTRUMENT, text)
        passes.again()

    def _look_after(self, source: CurrentSource, voltmeter: Voltmeter) -> None:
        """Is the output still on, and does an instrument complain? Once a second it costs nothing."""
        self._guard.beat()  # after a standstill it is the guardian that has switched off, and that is to be told
        self._look_at(source)
        if self._thermometer is not None and self._journal.start_s is not None:
            found = self._thermometer.look(self._clock.now() - self._journal.start_s)
            if found is not None:
                self._journal.temperature(*found)
        for text in voltmeter.reported():
            self._journal.event(EventKind.COMPLAINT, f"voltmeter: {text}")
        if self._ammeter is not None:
            for text in self._ammeter.voltmeter.reported():
                self._journal.event(EventKind.COMPLAINT, f"current voltmeter: {text}")

    def _look_at(self, source: CurrentSource) -> None:
        assert self._energised is not None
        texts = source.look_after()
        self._energised.still_on()
        for text in texts:
            self._journal.event(EventKind.COMPLAINT, f"source: {text}")
        self._last_look_s = self._clock.now()

    def _step(self, source: CurrentSource, level_A: float) -> None:
        """Change the current, wait for the source's own answer, then let the circuit settle."""
        limited = source.step(level_A)
        self._level_A = level_A
        if limited:
            text = (
                f"the source is at its compliance of {engineering(self._recipe.compliance_V, 'V', 3)}: the current does"
                " not flow as set. Check the source leads, or raise the compliance"
            )
            raise RunStopped(EndReason.COMPLIANCE, text)
        self._wait(self._recipe.settle_s)

    def _check(self, reading: Reading) -> None:
        if not abs(reading.voltage_V) < OVERLOAD_V:
            self._journal.running.push(reading.time_s, reading.current_A, reading.voltage_V)
            text = "the voltmeter is outside its range. Choose a higher range, and check the sense leads"
            raise RunStopped(EndReason.OVERLOAD, text)
        if self._ammeter is not None:
            self._limits.check_measured(abs(reading.current_A))
        self._limits.check_power(abs(reading.voltage_V * reading.current_A))

    def _finish(self, reason: EndReason, text: str) -> RunEnd:
        off = self._energised is None or self._energised.switch_off(self._show_life)
        with contextlib.suppress(Exception):
            self._bench.close(contacts=off)
        if not off:
            text += " THE OUTPUT COULD NOT BE PROVED OFF: switch the source off by hand."
        end = RunEnd(reason, text, off)
        good = reason in (EndReason.RULE, EndReason.OPERATOR, EndReason.UNREACHABLE) and off
        if not good:
            self._journal.event(EventKind.FAULT, text)
            self._journal.fault = text
        with contextlib.suppress(RecordLost):
            self._journal.enter(RunStatus.DONE if reason is EndReason.RULE else RunStatus.STOPPED, end)
        return end

    def _show_life(self) -> None:
        """While we switch off ourselves the guardian need not."""
        with contextlib.suppress(InstrumentError):
            self._guard.beat()

    # Orders and waiting.

    def _obey(self, source: CurrentSource, passes: LinkedPasses | None = None) -> None:
        self._end_if_stopped()
        while (order := self._control.take()) is not None:
            if order.kind is OrderKind.PAUSE:
                if passes is not None:
                    passes.suspend()  # while a list steps the source, a level of 0 would not reach the output
                self._pause(source)
            elif order.kind is OrderKind.MARK:
                self._journal.event(EventKind.MARK, order.text)

    def _end_if_stopped(self) -> None:
        if self._control.stop_text is not None:
            raise RunStopped(EndReason.OPERATOR, self._control.stop_text)

    def _pause(self, source: CurrentSource) -> None:
        """Current to zero until resumed; no block spans it."""
        self._journal.event(EventKind.PAUSE, "paused")
        self._journal.cut()
        source.step(0.0)
        self._level_A = 0.0
        self._journal.enter(RunStatus.PAUSED)
        while (order := self._control.take()) is None or order.kind is not OrderKind.RESUME:
            self._guard.beat()
            self._end_if_stopped()
            if self._clock.now() - self._last_look_s >= _LOOK_S:
                self._look_at(source)  # a pause may be long, and the output is on
            if order is None:
                self._clock.sleep(_SLICE_S)
            elif order.kind is OrderKind.MARK:
                self._journal.event(EventKind.MARK, order.text)
        self._journal.enter(RunStatus.RUNNING)

    def _wait(self, seconds: float) -> None:
        left = seconds
        while left > 0:
            part = min(_SLICE_S, left)
            self._clock.sleep(part)
            left -= part
            if left > 0:
                self._on_wait()
        # The shortest wait shows life too, or a run made of short ones would look dead to the guardian.
        self._guard.beat()
        self._end_if_stopped()

    def _on_wait(self) -> None:
        """In every slice of a wait: show life, hand over what is there, and end the run where that is ordered."""
        self._guard.beat()
        if self._journal.waiting:
            self._journal.hand_over()
        self._end_if_stopped()

    def _output_on(self) -> bool:
        return self._energised is not None and self._energised.on
