"""What may stand in the voltages of an examined run, as columns (cycles, n) of one unit each: ohms times ampere."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchapp.analysis.examined.cycle import HELD_UP_TO_S, SKIPPED, Cycle

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Starts:
    """Of merged cycles: when each cycle of the run began, in s, and into which merged one it went."""

    begin_s: Floats
    group: NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Readings:
    """Whole cycles: times in s, currents in A and voltages in V as (cycles, n), and what a dwell makes of each.

    `level` is the current as part of the working one, without its sign; `change_A` the last change of the current,
    `position` how many readings came before it in its dwell, `since_s` the time from the dwell's first reading;
    `gap_s` the time from the dwell before to this one; `number` that of each cycle in the run. `starts` is there where
    each cycle is the mean of several.
    """

    time_s: Floats
    current_A: Floats
    voltage_V: Floats
    level: Floats
    change_A: Floats
    position: Floats
    since_s: Floats
    aperture_s: float
    number: NDArray[np.intp]
    gap_s: Floats
    starts: Starts | None = None

    @property
    def working_A(self) -> float:
        """The largest current."""
        return float(np.abs(self.current_A).max())

    @property
    def working(self) -> NDArray[np.bool_]:
        """Readings at the working current."""
        return np.asarray(self.level == 1.0)


def readings_of(
    rows: Floats,
    cycle: Cycle,
    aperture_s: float,
    numbers: NDArray[np.intp] | None = None,
    pauses: Sequence[int] | NDArray[np.intp] = (),
) -> Readings | None:
    """Whole cycles of a run, `rows` (3, m): time, current, voltage; None where there are fewer than two.

    `numbers` are those of the readings in the run, where some are missing; `pauses` those of readings that come first
    after a pause. Before the first reading each sign was held, the lower one last, where an aperture is no longer than
    HELD_UP_TO_S.
    """
    numbers = np.arange(rows.shape[1]) if numbers is None else numbers
    of_cycle = numbers // cycle.readings
    there = np.bincount(of_cycle) if len(of_cycle) else np.empty(0, dtype=np.intp)
    complete = there == cycle.readings
    for number in pauses:
        # At a cycle's very start a pause changes only what the first dwell comes from.
        if number < len(complete) * cycle.readings:
            complete[number // cycle.readings] = False
    which = np.flatnonzero(complete)
    cycles = len(which)
    if cycles < 2:
        return None
    t, I, V = rows[:, complete[of_cycle]].reshape(3, cycles, cycle.readings)
    signs = np.where(which % 2, -1.0, 1.0)
    nominal = (signs[:, None] * cycle.parts).reshape(-1)
    new_cycle = np.arange(len(nominal)) % cycle.readings == 0
    starts = np.flatnonzero(np.concatenate([[True], np.diff(nominal) != 0]) | new_cycle)
    lengths = np.diff([*starts.tolist(), len(nominal)])
    flat_t, flat_I = t.reshape(-1), I.reshape(-1)
    means = np.add.reduceat(flat_I, starts) / lengths  # a measured current has noise of its own
    largest_A = float(np.abs(means).max())
    changes = np.diff(means, prepend=0.0)
    # What came before a cycle is the last dwell of the one before it, whether that counts or not.
    firsts = np.flatnonzero(starts % cycle.readings == 0)
    before_A = signs * float(cycle.parts[-1]) * -largest_A
    if which[0] == 0:
        before_A[0] = -largest_A if aperture_s <= HELD_UP_TO_S else 0.0
    apart = np.concatenate([[True], np.diff(which) > 1])
    changes[firsts] = means[firsts] - np.where(apart, before_A, means[firsts] - changes[firsts])

    def spread(values: Floats) -> Floats:
        return np.repeat(values, lengths).reshape(cycles, cycle.readings)

    since = t - spread(flat_t[starts])
    position = (np.arange(len(nominal)) - np.repeat(starts, lengths)).reshape(cycles, cycle.readings)
    level = np.abs(nominal).reshape(cycles, cycle.readings)
    gap = spread(np.diff(flat_t[starts], prepend=flat_t[0]))
    return Readings(t, I, V, level, spread(changes), position.astype(float), since, aperture_s, which, gap)


def resistance_columns(r: Readings) -> dict[str, Floats]:
    """R at each level, and the part of the voltage that does not change its sign.

    At zero a measured current shows what its voltmeter is off by, there as at each other level: R is there, too.
    """
    found = {"R": r.current_A * (r.working | (r.level == 0.0))}
    for name, part in (("R half", 0.5), ("R quarter", 0.25)):
        if (r.level == part).any():
            found[name] = r.current_A * (r.level == part)
    return {**found, "even": np.abs(r.current_A)}


def position_columns(r: Readings) -> dict[str, Floats]:
    """A settling of its own for each of the first readings of a dwell."""
    return {f"position {k}": r.change_A / 2 * (r.position == k) for k in range(SKIPPED)}


def late_column(r: Readings) -> Floats:
    """What is still settling after the readings that have a settling of their own."""
    return r.change_A / 2 * ((r.position >= SKIPPED) & (r.position < 2 * SKIPPED))


def settling_columns(r: Readings, tau_s: float) -> dict[str, Floats]:
    """What all changes so far have left behind with one time constant, mean over the aperture; at each level, because
    what settles is the voltage over the resistance of that level.
    """
    left = _left_behind(r, tau_s)
    low, none = (r.level < 1.0) & (r.level > 0.0), r.level == 0.0
    before = r.working_A * _fading(r, tau_s)  # by what there was before the first reading
    found = {"settling": left * r.working, "settling below": left * low, "settling at zero": left * none}
    return {**found, "settling before": before}


def _left_behind(r: Readings, tau_s: float) -> Floats:
    flat_since, flat_change = r.since_s.reshape(-1), r.change_A.reshape(-1)
    starts = np.flatnonzero(r.position.reshape(-1) == 0)
    kept, left = np.exp(-r.gap_s.reshape(-1)[starts] / tau_s), 0.0
    before = np.empty(len(starts))
    for number, (decay, change) in enumerate(zip(kept, flat_change[starts], strict=True)):
        left = left * decay + change
        before[number] = left
    lengths = np.diff([*starts.tolist(), len(flat_since)])
    mean = tau_s / r.aperture_s * -np.expm1(-r.aperture_s / tau_s)
    left_A: Floats = np.repeat(before, lengths) * np.exp(-flat_since / tau_s) * mean
    return left_A.reshape(r.since_s.shape)


def warmth(r: Readings, tau_s: float) -> tuple[Floats, Floats]:
    """The power in units of that at the working current, as a part with one time constant follows it from cold, and
    what is left of a warmth that it had at the start; both (cycles, n).
    """
    if r.starts is not None:
        (steady, begin), fading = _steady_warmth(r, tau_s), _fading(r, tau_s)
        return steady - begin * fading, fading
    t, power = r.time_s.reshape(-1), (r.current_A.reshape(-1) / r.working_A) ** 2
    elapsed = np.diff(t, prepend=t[0] - (t[1] - t[0]))
    kept = np.exp(-elapsed / tau_s)
    warm, found = 0.0, np.empty(len(t))
    for number, (keep, now) in enumerate(zip(kept.tolist(), power.tolist(), strict=True)):
        middle = now + (warm - now) * keep**0.5
        warm = now + (warm - now) * keep
        found[number] = middle
    return found.reshape(r.level.shape), np.exp(-(t - t[0]) / tau_s).reshape(r.level.shape)


def _fading(r: Readings, tau_s: float) -> Floats:
    """exp(-t / tau) from the first reading on; of merged cycles the mean over theirs."""
    if r.starts is None:
        return np.asarray(np.exp(-(r.time_s - r.time_s[0, 0]) / tau_s))
    of_each = np.exp(-r.starts.begin_s / tau_s)
    mean = np.bincount(r.starts.group, of_each) / np.bincount(r.starts.group)
    within: Floats = np.exp(-(r.time_s - r.time_s[:, :1]) / tau_s)
    return mean[:, None] * within


def _steady_warmth(r: Readings, tau_s: float) -> tuple[Floats, float]:
    """The power as a part with one time constant follows it, cycle after cycle the same; and what it is before one."""
    assert r.starts is not None
    t = (r.time_s - r.time_s[:, :1]).mean(axis=0)
    power = (r.current_A[0] / r.working_A) ** 2
    whole_s = float(np.median(np.diff(r.starts.begin_s)))
    kept = np.exp(-np.diff(t, prepend=t[-1] - whole_s) / tau_s)

    def follow(warm: float) -> tuple[list[float], float]:
        found = []
        for keep, now in zip(kept.tolist(), power.tolist(), strict=True):
            found.append(now + (warm - now) * keep**0.5)
            warm = now + (warm - now) * keep
        return found, warm

    # After one cycle from w it is at e + k w: in the steady state it comes back to where it began.
    begin = follow(0.0)[1] / max(1e-300, -float(np.expm1(-whole_s / tau_s)))
    return np.broadcast_to(np.array(follow(begin)[0]), r.level.shape), begin
