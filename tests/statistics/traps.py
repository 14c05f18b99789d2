"""How often each trap is found, how often it is named as another, and how often a clean run is alarmed.

sigma = 1, R*I = 1000. "5 U" and the like are in units of the mean half-width of clean runs of that length.

    python -m tests.statistics.traps [RUNS]
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor

import numpy as np

from benchapp.analysis.estimate import estimate_readings
from benchapp.analysis.traps.detect import find_traps
from tests.statistics.estimators import KINDS, currents

_R = 1000.0
_DT = 0.1
Change = Callable[[np.random.Generator, np.ndarray, np.ndarray, np.ndarray, float], np.ndarray]


def _mid_step(at: float, size: float) -> Change:
    def change(rng: np.random.Generator, t: np.ndarray, I: np.ndarray, V: np.ndarray, U: float) -> np.ndarray:
        stepped: np.ndarray = V + I * np.where(np.arange(len(V)) >= at * len(V), size * U / (1 - at), 0.0)
        return stepped

    return change


def _heating(size: float) -> Change:
    def change(rng: np.random.Generator, t: np.ndarray, I: np.ndarray, V: np.ndarray, U: float) -> np.ndarray:
        x = np.arange(len(V)) / len(V)
        rise = 1 - np.exp(-x / 0.3)
        heated: np.ndarray = V + I * rise * size * U / rise.mean()
        return heated

    return change


def _pulse(rng: np.random.Generator, t: np.ndarray, I: np.ndarray, V: np.ndarray, U: float) -> np.ndarray:
    V = V.copy()
    V[rng.integers(5, len(V) - 5)] += 30.0
    return V


def _jump(rng: np.random.Generator, t: np.ndarray, I: np.ndarray, V: np.ndarray, U: float) -> np.ndarray:
    return V + np.where(np.arange(len(V)) >= rng.integers(8, len(V) - 8), 30.0, 0.0)


def _slip(rng: np.random.Generator, t: np.ndarray, I: np.ndarray, V: np.ndarray, U: float) -> np.ndarray:
    V, start = V.copy(), int(rng.integers(3, len(V) - 23))
    V[start : start + 20] -= _R * I[start : start + 20]
    V[start : start + 20] += _R * I[start - 1 : start + 19]
    return V


def _unsettled(size: float) -> Change:
    def change(rng: np.random.Generator, t: np.ndarray, I: np.ndarray, V: np.ndarray, U: float) -> np.ndarray:
        first = np.concatenate([[True], I[1:] != I[:-1]])
        slow: np.ndarray = V - I * first * size * U / first.mean()
        return slow

    return change


def _noisier(rng: np.random.Generator, t: np.ndarray, I: np.ndarray, V: np.ndarray, U: float) -> np.ndarray:
    late = np.arange(len(V)) >= len(V) / 2
    noisy: np.ndarray = V + late * rng.standard_normal(len(V)) * np.sqrt(8.0)
    return noisy


def _hum(rng: np.random.Generator, t: np.ndarray, I: np.ndarray, V: np.ndarray, U: float) -> np.ndarray:
    hum: np.ndarray = V + 5 * np.sin(2 * np.pi * rng.uniform(0.8, 4.6) * t + rng.uniform(0, 6.28))
    return hum


def _memory(rng: np.random.Generator, t: np.ndarray, I: np.ndarray, V: np.ndarray, U: float) -> np.ndarray:
    state, x = np.zeros(len(V)), rng.standard_normal()
    for k in range(len(V)):
        x = 0.9 * x + np.sqrt(1 - 0.81) * rng.standard_normal()
        state[k] = x
    return V + I * 2 * state


TRAPS: dict[str, tuple[str, str, Change]] = {
    "pulse 30 sigma": ("+-", "outlier", _pulse),
    "EMF jump 30 sigma": ("+-", "outlier", _jump),
    "slip of 20 readings": ("+-", "polarity-slip", _slip),
    "slip, + - - +": ("+--+", "polarity-slip", _slip),
    "exchanged leads": ("+-", "sense-reversed", lambda rng, t, I, V, U: V - 2 * _R * I),
    "open lead": ("+-", "open-lead", lambda rng, t, I, V, U: V - _R * I),
    "step at 0.5, 3 U": ("+-", "step", _mid_step(0.5, 3.0)),
    "step at 0.5, 5 U": ("+-", "step", _mid_step(0.5, 5.0)),
    "late step, 2 U": ("+-", "step", _mid_step(0.8, 2.0)),
    "heating 0.3 T, 8.5 U": ("+-", "self-heating", _heating(8.5)),
    "unsettled + + - -, 5 U": ("++--", "not-settled", _unsettled(5.0)),
    "unsettled + - - +, 5 U": ("+--+", "not-settled", _unsettled(5.0)),
    "resolution 8 sigma": ("+-", "resolution-limited", lambda rng, t, I, V, U: np.round(V / 8) * 8),
    "noise x 3": ("+-", "range-changed", _noisier),
    "line 5 sigma": ("+-", "mains-pickup", _hum),
    "R-noise, memory 0.9": ("+-", "correlated-noise", _memory),
}


def _codes(signs: str, kind: str, n: int, runs: int, name: str, U: float) -> Counter[str]:
    rng = np.random.default_rng([sum(map(ord, signs + kind + name)), n, 7])
    found: Counter[str] = Counter()
    change = TRAPS[name][2] if name else None
    for _ in range(runs):
        t = np.arange(n, dtype=np.float64) * _DT
        I = currents(signs, n, rng)
        V = _R * I + KINDS[kind](rng, n) + rng.standard_normal(n)
        if change is not None:
            V = change(rng, t, I, V, U)
        estimate, blocks = estimate_readings(t.tolist(), I.tolist(), V.tolist(), middle_A=0.0)
        flags = find_traps(t, I, V, blocks, estimate)
        found[flags[-1].code if flags else "none"] += 1
        found["U"] += 0
    return found


def _mean_half_width(signs: str, n: int) -> float:
    rng = np.random.default_rng([99, n])
    halves = []
    for _ in range(60):
        t, I = np.arange(n) * _DT, currents(signs, n, rng)
        V = _R * I + rng.standard_normal(n)
        estimate, _ = estimate_readings(t.tolist(), I.tolist(), V.tolist(), middle_A=0.0)
        halves.append(estimate.repeatability_95_ohm)
    return float(np.mean(halves))


def main(runs: int) -> None:
    """Print false alarms, then detection and what else a trap was named."""
    with ProcessPoolExecutor() as pool:
        print(f"false alarms over all codes, {5 * runs} clean runs a cell (goal 2 %)")
        for signs in ("+-", "+--+", "++--"):
            for n in (48, 120, 400):
                jobs = {kind: pool.submit(_codes, signs, kind, n, 5 * runs, "", 0.0) for kind in KINDS}
                rates = {kind: 1 - job.result()["none"] / (5 * runs) for kind, job in jobs.items()}
                print(
                    f"  {signs:<5}{n:>5}  " + "  ".join(f"{kind} {rate:.1%}" for kind, rate in rates.items()),
                    flush=True,
                )
        print(f"detection in white noise and in a walk of 3 sigma, {runs} runs a cell: found, and named as what else")
        for name, (signs, code, _) in TRAPS.items():
            for n in (48, 120, 400):
                U = _mean_half_width(signs, n)
                cells = []
                for kind in ("white", "walk 3"):
                    counts = pool.submit(_codes, signs, kind, n, runs, name, U).result()
                    del counts["U"]
                    any_found = 1 - counts["none"] / runs
                    others = ", ".join(
                        f"{c} {k / runs:.0%}" for c, k in counts.most_common(3) if c not in (code, "none")
                    )
                    cells.append(f"{kind}: any {any_found:.0%}, named {counts[code] / runs:.0%} ({others or '-'})")
                print(f"  {name:<24}{n:>5}  " + "; ".join(cells), flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100)
