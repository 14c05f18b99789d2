"""Do the traps hold where the currents are not two clean levels, and for faults that look like others?

sigma = 1 in voltage at R*I = 1000. Each cell: how often with the right name, the commonest other name, how
often nothing.

    python -m tests.statistics.levels [RUNS]
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor

import numpy as np

from benchapp.analysis.analyst import analyse

_R, _DT, _N = 1000.0, 0.1, 240
Floats = np.ndarray
Fault = Callable[[np.random.Generator, Floats, Floats, Floats], Floats]
_NOTICES = {"time-gap", "current-asymmetry", "outlier-limited"}


def _read_back(rng: np.random.Generator, n: int) -> tuple[Floats, Floats]:
    I = np.resize([1.0, -1.0], n)
    return I, I * (1 + 1e-5 * rng.standard_normal(n))


def _of(sequence: list[float]) -> Callable[[np.random.Generator, int], tuple[Floats, Floats]]:
    def make(rng: np.random.Generator, n: int) -> tuple[Floats, Floats]:
        I = np.resize(sequence, n)
        return I, I

    return make


def _zero_off(rng: np.random.Generator, n: int) -> tuple[Floats, Floats]:
    I = np.resize([1.0, 0.0, -1.0, 0.0], n)
    return I, np.where(I == 0.0, 1e-6 * rng.standard_normal(n), I)


def _dwell_read_back(rng: np.random.Generator, n: int) -> tuple[Floats, Floats]:
    I = np.resize([1.0] * 8 + [-1.0] * 8, n)
    return I, I * (1 + 1e-5 * rng.standard_normal(n))


def _pairs_read_back(rng: np.random.Generator, n: int) -> tuple[Floats, Floats]:
    I = np.resize([1.0, 1.0, -1.0, -1.0], n)
    return I, I * (1 + 1e-5 * rng.standard_normal(n))


CURRENTS = {
    "+-": _of([1.0, -1.0]),
    "read back, 1e-5": _read_back,
    "zero reads 1e-6": _zero_off,
    "levels 6 % apart": _of([1.0, -1.0] * 4 + [0.94, -0.94] * 4),
    "three levels": _of([1.0, -1.0] * 6 + [0.5, -0.5] * 6 + [0.25, -0.25] * 6),
    "8 a polarity, read back": _dwell_read_back,
    "++--, read back": _pairs_read_back,
}


def _clean(rng: np.random.Generator, t: Floats, I: Floats, V: Floats) -> Floats:
    return V


def _heating(rng: np.random.Generator, t: Floats, I: Floats, V: Floats) -> Floats:
    heated: Floats = V + 3.0 * I * (1 - np.exp(-t / (0.3 * t[-1])))
    return heated


def _slip(rng: np.random.Generator, t: Floats, I: Floats, V: Floats) -> Floats:
    V, half = V.copy(), len(V) // 2
    V[half:] += _R * (np.roll(I, 1) - I)[half:]
    return V


def _open(rng: np.random.Generator, t: Floats, I: Floats, V: Floats) -> Floats:
    return V - _R * I


def _pulse(rng: np.random.Generator, t: Floats, I: Floats, V: Floats) -> Floats:
    V = V.copy()
    V[rng.integers(20, len(V) - 20)] += 30.0
    return V


def _contact(size: float) -> Fault:
    def fault(rng: np.random.Generator, t: Floats, I: Floats, V: Floats) -> Floats:
        stepped: Floats = V + size * _R * I * (np.arange(len(V)) >= rng.integers(60, len(V) - 60))
        return stepped

    return fault


def _unsettled(rng: np.random.Generator, t: Floats, I: Floats, V: Floats) -> Floats:
    big = np.abs(I) > 0.01
    first = np.concatenate([[True], np.abs(np.diff(I)) > 0.1]) & big
    slow: Floats = V - 3.0 * first * I
    return slow


def _absorbed(rng: np.random.Generator, t: Floats, I: Floats, V: Floats) -> Floats:
    """A slow part of each change, with a time constant of four readings."""
    slow, state = np.zeros(len(V)), 0.0
    for k in range(1, len(V)):
        state = state * np.exp(-1 / 4) + (I[k] - I[k - 1])
        slow[k] = state
    return V - 1.5 * slow


def _restless(rng: np.random.Generator, t: Floats, I: Floats, V: Floats) -> Floats:
    x, state = rng.standard_normal(), np.zeros(len(V))
    for k in range(len(V)):
        x = 0.95 * x + np.sqrt(1 - 0.95**2) * rng.standard_normal()
        state[k] = x
    return V + 3.0 * I * state


def _drifting_gain(rng: np.random.Generator, t: Floats, I: Floats, V: Floats) -> Floats:
    drifted: Floats = V * (1 + 1e-3 * t / t[-1])
    return drifted


_TEN = _of([1.0] * 10 + [-1.0] * 10)
CELLS: list[tuple[str, str, Fault]] = [
    *((currents, code, fault) for currents in CURRENTS for code, fault in (
        ("none", _clean), ("self-heating", _heating), ("polarity-slip", _slip), ("open-lead", _open),
        ("outlier", _pulse),
    )),
    ("+-", "step", _contact(0.05)),
    ("+-", "step", _contact(0.5)),
    ("+-", "correlated-noise", _restless),
    ("+-", "drift-excess", _drifting_gain),
    ("++--, read back", "not-settled", _unsettled),
    ("8 a polarity, read back", "not-settled", _absorbed),
    ("ten a polarity", "not-settled", _absorbed),
]  # fmt: skip


def cell(currents: str, code: str, number: int, runs: int, n: int = _N) -> Counter[str]:
    """The names that a cell's runs get; "none" where nothing is flagged, "no result" where none comes out."""
    fault = CELLS[number][2]
    make = _TEN if currents == "ten a polarity" else CURRENTS[currents]
    rng = np.random.default_rng([number, n, 5])
    found: Counter[str] = Counter()
    for _ in range(runs):
        true_I, told_I = make(rng, n)
        t = np.arange(n) * _DT
        V = fault(rng, t, true_I, _R * true_I + rng.standard_normal(n))
        estimate, _ = analyse(t.tolist(), told_I.tolist(), V.tolist())
        codes = [flag.code for flag in estimate.flags if flag.code not in _NOTICES]
        found["no result" if not estimate.blocks else codes[-1] if codes else "none"] += 1
    return found


def main(runs: int) -> None:
    """Print the cells, then false alarms by length."""
    print(f"{runs} runs a cell of {_N} readings: named right, commonest other name (goal at most 5 %), nothing said")
    with ProcessPoolExecutor() as pool:
        jobs = [(c, code, pool.submit(cell, c, code, k, runs)) for k, (c, code, _) in enumerate(CELLS)]
        for currents, code, job in jobs:
            counts = job.result()
            others = [(name, k) for name, k in counts.most_common() if name not in (code, "none")]
            wrong = f"{others[0][0]} {others[0][1] / runs:.1%}" if others else "-"
            print(f"  {currents:<24}{code:<18}{counts[code] / runs:>7.1%}  {wrong:<28}{counts['none'] / runs:>7.1%}")
        print("false alarms by length, + - (goal 2 %)")
        for n, count in ((24, 5 * runs), (1000, 2 * runs), (10_000, runs), (100_000, runs), (1_000_000, runs // 10)):
            parts = [pool.submit(cell, "+-", "none", 0, max(1, count // 2), n + part) for part in range(2)]
            counts = sum((part.result() for part in parts), Counter())
            total = counts.total()
            told = ", ".join(f"{name} {k}" for name, k in counts.most_common() if name != "none") or "-"
            print(f"  {n:>9} readings, {total} runs: {1 - counts['none'] / total:.1%} ({told})", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
