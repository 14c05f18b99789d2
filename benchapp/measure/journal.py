"""What a run has to tell: readings, blocks, events and its state, gathered and handed over in batches."""

from __future__ import annotations

from collections.abc import Callable

from benchapp.analysis.running_blocks import ClosedBlock, RunningBlocks
from benchapp.events import Event, EventKind, Reading, RunEnd, RunStatus, Temperature
from benchapp.measure.progress import expected_blocks, time_to_go_s
from benchapp.measure.snapshot import Batch, RunFacts, RunSnapshot
from benchapp.measure.states import go
from benchapp.recipe import Recipe

BATCH_S = 0.016  # readings are handed over at least this often


class Journal:
    """Used by the thread that measures. `publish` takes the batches; what it raises goes through.

    `start_s` is the bench time at which the output went on, None before; `fault` what went wrong, empty before.
    """

    def __init__(
        self,
        recipe: Recipe,
        publish: Callable[[Batch], None],
        *,
        now: Callable[[], float],
        real_time: Callable[[], float],
        output_on: Callable[[], bool],
    ) -> None:
        self._recipe, self._publish = recipe, publish
        self._now, self._real_time, self._output_on = now, real_time, output_on
        self.running = RunningBlocks(recipe.emf_order, recipe.middle_A)
        self.start_s: float | None = None
        self.fault = ""
        self.index = 0
        self.blocks = 0
        self.pending = 0
        self.part = ""  # that is connected, of several on a scanner
        self.correction = 1.0  # of the currents, for blocks at the reference temperature
        self._status = RunStatus.IDLE
        self._readings: list[Reading] = []
        self._blocks: list[ClosedBlock] = []
        self._events: list[Event] = []
        self._cuts: list[int] = []
        self._temperatures: list[Temperature] = []
        self._last_hand_over = real_time()

    def reading(self, time_s: float, level_A: float, voltage_V: float) -> Reading:
        """The next reading; it will be told whatever is found out about it."""
        reading = Reading(self.index, time_s, level_A, voltage_V)
        self.index += 1
        self._readings.append(reading)
        return reading

    def closes_block(self, reading: Reading) -> bool:
        """Whether the reading closes a block, which is told with it."""
        block = self.running.push(reading.time_s, self.correction * reading.current_A, reading.voltage_V)
        if self.running.was_cut:
            self._cuts.append(reading.number)
        if block is None:
            return False
        self._blocks.append(block)
        self.blocks += 1
        return True

    def cut(self) -> None:
        """The next reading starts a new stretch."""
        self.running.pause()
        self._cuts.append(self.index)

    def enter(self, status: RunStatus, end: RunEnd | None = None) -> None:
        """Another state, told at once."""
        self._status = go(self._status, status)
        self.event(EventKind.STATE, str(status))
        self.hand_over(end)

    def event(self, kind: EventKind, text: str) -> None:
        """Something happened now."""
        self._events.append(Event(self._time_s(), self.index, kind, text))

    def connected(self, part: str) -> None:
        """Another part is in the circuit: no block spans that."""
        self.part = part
        if self.index:
            self.cut()
        self.event(EventKind.PART, part)

    def temperature(self, time_s: float, celsius: float) -> None:
        """What the thermometer told, and when on the run's clock."""
        self._temperatures.append(Temperature(time_s, celsius))

    @property
    def waiting(self) -> bool:
        """Whether there are readings that were not handed over."""
        return bool(self._readings)

    def hand_over_when_due(self) -> None:
        """A batch, where the last one is a while ago."""
        if self._real_time() - self._last_hand_over >= BATCH_S:
            self.hand_over()

    def grow(self, count: int) -> None:
        """So many readings of a pass are there; none of them counts before the pass is whole."""
        self.pending = count
        self.hand_over_when_due()

    def hand_over(self, end: RunEnd | None = None, facts: RunFacts | None = None) -> None:
        """All that was gathered, as one batch."""
        batch = Batch(
            self._snapshot(end), self._readings, self._blocks, self._events, self._cuts, facts, self._temperatures
        )
        self._readings, self._blocks, self._events, self._cuts, self._temperatures = [], [], [], [], []
        self._last_hand_over = self._real_time()
        self._publish(batch)

    def _time_s(self) -> float:
        """Bench time since the output went on; 0 before."""
        return 0.0 if self.start_s is None else self._now() - self.start_s

    def _snapshot(self, end: RunEnd | None) -> RunSnapshot:
        time_s = self._time_s()
        expected = expected_blocks(self._recipe, self.running, time_s, self.index)
        return RunSnapshot(
            status=self._status,
            time_s=time_s,
            readings=self.index,
            blocks=self.blocks,
            output_on=self._output_on(),
            blocks_expected=expected,
            time_to_go_s=time_to_go_s(expected, self.blocks, time_s),
            last_fault=self.fault,
            end=end,
            pending=self.pending,
            part=self.part,
        )
