"""A thread that follows what has been written down and states the result so far: no step of the run waits for it."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Sequence

import numpy as np

from benchapp.analysis.analyst import Analyst
from benchapp.events import Event
from benchapp.logbook.replay import corrected_currents
from benchapp.recipe import Recipe
from benchapp.result.statement import Statement, Terms, make_statement
from benchapp.run.history import History
from benchapp.run.stating import state_run
from benchapp.run.terms import circumstances_of

_EVERY_S = 0.1
_LOOKS_APART_S = 0.5
_REST = 40  # times as long as its work took: at most a fortieth of a core, because Python has one interpreter
_CURRENTS = 2000  # the last ones, to see what is not tested


class Watcher:
    """`start`, then `stop` at the end; `publish` takes what is stated each time.

    With parts on a scanner, and in an examined run, all is stated anew each time, ever more rarely as the run grows.
    """

    def __init__(
        self,
        recipe: Recipe,
        terms: Callable[[], Terms],
        history: History,
        events: Sequence[Event],
        publish: Callable[[tuple[Statement, ...]], None],
    ) -> None:
        self._analyst = Analyst(recipe.emf_order, recipe.middle_A, recipe.aperture_s, recipe.estimator)
        self._recipe = recipe
        self._terms, self._history, self._events, self._publish = terms, history, events, publish
        self._readings = self._blocks = self._cuts = 0
        self._no_look_before = 0.0
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._follow, name="analyst", daemon=True)

    def start(self) -> None:
        """Begin to follow."""
        self._thread.start()

    def stop(self) -> None:
        """State no more; returns when the last statement is out."""
        self._stop.set()
        self._thread.join()

    def _follow(self) -> None:
        while not self._stop.wait(_EVERY_S):
            began = time.monotonic()
            if self._take():
                self._state(began)
                spent = time.monotonic() - began
                self._stop.wait(max(0.0, _REST * spent - _EVERY_S))

    def _take(self) -> bool:
        """Pass on what is new; whether anything is."""
        count = self._history.readings.count
        if count == self._readings:
            return False
        readings = self._corrected(self._history.readings.since(self._readings)[:, : count - self._readings])
        blocks = self._history.blocks.since(self._blocks)
        # A cut may be there before the readings that it stands before: it is taken up with them.
        cuts = [cut for cut in self._history.cuts[self._cuts :] if cut <= count]
        self._analyst.take(readings, blocks, [cut - self._readings for cut in cuts])
        self._cuts += len(cuts)
        self._blocks += blocks.shape[1]
        self._readings = count
        return True

    def _corrected(self, readings: np.ndarray) -> np.ndarray:
        """With the currents for the reference temperature, where the recipe names one."""
        if not self._recipe.corrects_temperature:
            return readings
        found = readings.copy()
        found[1] = corrected_currents(self._recipe, readings[0], readings[1], self._history.temperatures.since(0))
        return found

    def _state(self, now: float) -> None:
        if self._recipe.channels or self._recipe.examine:
            told = self._history.temperatures.since(0)
            rows = self._history.readings.since(0)
            events = [event for event in list(self._events) if event.reading <= rows.shape[1]]
            self._publish(state_run(self._recipe, rows, events, told, self._terms(), None, final=False))
            return
        look = self._analyst.wants_to_look and now >= self._no_look_before
        estimate = self._analyst.estimate(look=look)
        if look:
            self._no_look_before = now + _LOOKS_APART_S
        currents = self._history.readings.since(max(0, self._readings - _CURRENTS))[1]
        beside = circumstances_of(self._events, None)
        self._publish((make_statement(estimate, currents, self._terms(), beside, final=False),))
