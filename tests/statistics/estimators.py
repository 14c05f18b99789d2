"""Coverage of the stated interval over kinds of EMF, lengths and sign sequences, with bias and width.

R*I = 1000 sigma, sigma = 1; each kind has seeds of its own. "sd" is the deviation of the estimate over the Cramer-Rao
bound of white noise with a constant and a drifting EMF unknown. Bias, sd and coverage are those of the default; beside
them stand the coverage of consecutive blocks, of the state-space and of the robust estimate, and of a naive interval.
The second table stops each run where consecutive blocks reach a target, as a recipe with `until` does.

    python -m tests.statistics.estimators [RUNS]
"""

from __future__ import annotations

import math
import sys
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import numpy as np

from benchapp.analysis.blocks import middle_of
from benchapp.analysis.estimate import Estimator, estimate_readings
from benchapp.analysis.running_blocks import RunningBlocks

_R = 1000.0
_SIGNS = ("+-", "+--+", "++--", "random")
_LENGTHS = (24, 48, 120, 400, 2000, 10_000)
Generator = Callable[[np.random.Generator, int], np.ndarray]


def _flicker(rng: np.random.Generator, n: int) -> np.ndarray:
    """1/f noise by relaxation processes, one an octave, of one sigma each."""
    total = np.zeros(n)
    for octave in range(1, 14):
        keep = math.exp(-1 / 2.0**octave)
        steps = rng.standard_normal(n) * math.sqrt(1 - keep**2)
        steps[0] = rng.standard_normal()
        state = 0.0
        for k in range(n):
            state = keep * state + steps[k]
            total[k] += state
    return total


KINDS: dict[str, Generator] = {
    "white": lambda rng, n: np.zeros(n),
    "drift": lambda rng, n: np.arange(n) * 0.5,
    "exponential": lambda rng, n: 200 * np.exp(-np.arange(n) / (0.3 * n)),
    "walk 0.5": lambda rng, n: np.cumsum(rng.standard_normal(n)) * 0.5,
    "walk 3": lambda rng, n: np.cumsum(rng.standard_normal(n)) * 3.0,
    "flicker": _flicker,
    "sway": lambda rng, n: 20 * np.sin(2 * math.pi * np.arange(n) / rng.uniform(40, 300) + rng.uniform(0, 6.28)),
}


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell of the table."""

    bias_over_U: float
    sd_over_bound: float
    coverage: float
    others: tuple[float, ...]
    naive: float


def currents(signs: str, n: int, rng: np.random.Generator) -> np.ndarray:
    """The currents of a run, in ampere."""
    if signs == "random":
        return rng.choice([-1.0, 1.0], n)
    return np.array([1.0 if signs[k % len(signs)] == "+" else -1.0 for k in range(n)])


_OTHERS = (Estimator.BLOCKS, Estimator.STATE_SPACE, Estimator.ROBUST)


def cell(kind: str, n: int, signs: str, runs: int) -> Cell:
    """Many runs of one kind."""
    rng = np.random.default_rng([sum(map(ord, kind + signs)), n])
    t = np.arange(n) * 0.1
    errors, halves, bounds, naive_hits = [], [], [], 0
    hits = dict.fromkeys(_OTHERS, 0)
    for _ in range(runs):
        I = currents(signs, n, rng)
        V = _R * I + KINDS[kind](rng, n) + rng.standard_normal(n)
        columns = (t.tolist(), I.tolist(), V.tolist())
        middle = middle_of(-1.0, 1.0)
        found, _ = estimate_readings(*columns, middle_A=middle)
        for estimator in _OTHERS:
            other, _ = estimate_readings(*columns, middle_A=middle, estimator=estimator)
            hits[estimator] += abs(other.resistance_ohm - _R) <= other.repeatability_95_ohm
        errors.append(found.resistance_ohm - _R)
        halves.append(found.repeatability_95_ohm)
        design = np.column_stack([I, np.ones(n), t])
        bounds.append(math.sqrt(np.linalg.inv(design.T @ design)[0, 0]))
        naive_hits += _naive(V, I)
    error, half = np.array(errors), np.array(halves)
    return Cell(
        float(error.mean() / half.mean()),
        float(error.std() / np.mean(bounds)),
        float((np.abs(error) <= half).mean()),
        tuple(hits[estimator] / runs for estimator in _OTHERS),
        naive_hits / runs,
    )


def _naive(V: np.ndarray, I: np.ndarray) -> bool:
    """Overlapping three-reading blocks where the sign alternates, s over root n."""
    d = (V[:-2] - 2 * V[1:-1] + V[2:]) / (I[:-2] - 2 * I[1:-1] + I[2:] + 1e-30)
    d = d[(I[:-2] == -I[1:-1]) & (I[2:] == -I[1:-1])]
    if len(d) < 3:
        return False
    return bool(abs(d.mean() - _R) <= 1.96 * d.std(ddof=1) / math.sqrt(len(d)))


def stopped(kind: str, target: float, signs: str, runs: int) -> tuple[float, float]:
    """Coverage of runs that stop at a target, in sigma, and their mean length. Ten blocks at least."""
    rng = np.random.default_rng([sum(map(ord, kind + signs)), int(1000 * target)])
    hits, lengths = 0, []
    for _ in range(runs):
        n = 2000
        I = currents(signs, n, rng)
        V = _R * I + KINDS[kind](rng, n) + rng.standard_normal(n)
        running = RunningBlocks()
        for k in range(n):
            block = running.push(k * 0.1, float(I[k]), float(V[k]))
            if block is not None and running.count >= 10 and block.half_width_ohm <= target:
                break
        t = np.arange(k + 1) * 0.1
        found, _ = estimate_readings(
            t.tolist(), I[: k + 1].tolist(), V[: k + 1].tolist(), middle_A=0.0, estimator=Estimator.BLOCKS
        )
        hits += abs(found.resistance_ohm - _R) <= found.repeatability_95_ohm
        lengths.append(found.readings)
    return hits / runs, float(np.mean(lengths))


def main(runs: int) -> None:
    """Print the table."""
    print(f"{runs} runs a cell up to 120 readings, fewer for longer; s.e. of a coverage {21.8 / math.sqrt(runs):.1f}")
    print(
        f"{'signs':<8}{'readings':>9}{'kind':>14}{'bias/U':>9}{'sd/bound':>10}{'coverage':>10}"
        f"{'blocks':>9}{'state sp.':>10}{'robust':>8}{'naive':>8}"
    )
    with ProcessPoolExecutor() as pool:
        for signs in _SIGNS:
            for n in _LENGTHS:
                count = max(24, round(runs * min(1.0, 120 / n)))
                jobs = {kind: pool.submit(cell, kind, n, signs, count) for kind in KINDS}
                for kind, job in jobs.items():
                    c = job.result()
                    print(
                        f"{signs:<8}{n:>9}{kind:>14}{c.bias_over_U:>9.2f}{c.sd_over_bound:>10.3f}"
                        f"{c.coverage:>10.1%}{c.others[0]:>9.1%}{c.others[1]:>10.1%}{c.others[2]:>8.1%}{c.naive:>8.1%}",
                        flush=True,
                    )

        print(f"\nstop at a target, {runs} runs a cell")
        print(f"{'signs':<8}{'target':>8}{'kind':>14}{'coverage':>10}{'readings':>10}")
        for signs in _SIGNS[:3]:
            for target in (0.6, 0.3):
                pairs = {kind: pool.submit(stopped, kind, target, signs, runs) for kind in KINDS}
                for kind, pair in pairs.items():
                    covered, length = pair.result()
                    print(f"{signs:<8}{target:>8.1f}{kind:>14}{covered:>10.1%}{length:>10.0f}", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 600)
