"""Sources that do not do what they are told, each in the way of its kind: does every run end in the right word?

python -m tests.faults.lying_sources [RUNS OF EACH KIND]
"""

from __future__ import annotations

import re
import sys
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from benchapp.recipe import StopRule
from sim.devices.current_source import CurrentSource
from sim.scenario import load_scenario
from tests.benchapp.simulated import Rehearsal, recipe_of
from tests.trials import Result, run_trial

_SHUNT, _MEASURED = load_scenario("shunt"), load_scenario("gain_error")
_RUNS = 100
_LEVEL = re.compile(r":SOUR:CURR ([-+0-9.E]+)")


@dataclass(frozen=True, slots=True)
class Kind:
    """How it lies, by its own numbers; and whether a run says so. `measured`: a second voltmeter reads the current."""

    spoil: Callable[[Rehearsal, np.random.Generator], None]
    told: Callable[[Rehearsal], bool]
    measured: bool = False


def _source(rehearsal: Rehearsal) -> CurrentSource:
    assert isinstance(rehearsal.sim.source, CurrentSource)
    return rehearsal.sim.source


def _clamps(rehearsal: Rehearsal, rng: np.random.Generator) -> None:
    """Takes no more than a part of the current that is asked, without a word."""
    source = _source(rehearsal)
    most_A, process = 5.0 * rng.uniform(0.2, 0.98), source.process

    def clamped(message: str) -> str | None:
        def less(match: re.Match[str]) -> str:
            value = float(match[1])
            return f":SOUR:CURR {max(-most_A, min(most_A, value)):.8E}"

        return process(_LEVEL.sub(less, message))

    rehearsal.sim.source_faults.device = _Says(source, clamped)


def _clamps_one_sign(rehearsal: Rehearsal, rng: np.random.Generator) -> None:
    source = _source(rehearsal)
    least_A, process = -5.0 * rng.uniform(0.2, 0.98), source.process

    def clamped(message: str) -> str | None:
        return process(_LEVEL.sub(lambda m: f":SOUR:CURR {max(least_A, float(m[1])):.8E}", message))

    rehearsal.sim.source_faults.device = _Says(source, clamped)


def _after(count: int, act: Callable[[], None], source: CurrentSource) -> Callable[[str], str | None]:
    left = [count]

    def counted(message: str) -> str | None:
        left[0] -= 1
        if left[0] == 0:
            act()
        return source.process(message)  # which may be another one by now

    return counted


def _loses_its_range(rehearsal: Rehearsal, rng: np.random.Generator) -> None:
    """In mid-run it falls to a lower range, and the level with it."""
    source = _source(rehearsal)
    part = rng.uniform(0.01, 0.9)

    def fall() -> None:
        source._fixed_A *= part
        source._level_A = source._fixed_A
        process = source.process
        source.process = lambda message: process(  # type: ignore[method-assign]
            _LEVEL.sub(lambda m: f":SOUR:CURR {part * float(m[1]):.8E}", message)
        )

    rehearsal.sim.source_faults.device = _Says(source, _after(int(rng.integers(60, 120)), fall, source))


def _loses_its_settings(rehearsal: Rehearsal, rng: np.random.Generator) -> None:
    source = _source(rehearsal)
    rehearsal.sim.source_faults.device = _Says(source, _after(int(rng.integers(60, 120)), source.reset, source))


def _is_turned_by_hand(rehearsal: Rehearsal, rng: np.random.Generator) -> None:
    """Somebody moves the level at the front panel: each step moves it by so much from then on."""
    source = _source(rehearsal)
    more = rng.choice([-1, 1]) * rng.uniform(0.01, 0.3)

    def turn() -> None:
        process = source.process
        source.process = lambda message: process(  # type: ignore[method-assign]
            _LEVEL.sub(lambda m: f":SOUR:CURR {(1 + more) * float(m[1]):.8E}", message)
        )

    rehearsal.sim.source_faults.device = _Says(source, _after(int(rng.integers(60, 120)), turn, source))


def _is_opened_by_hand(rehearsal: Rehearsal, rng: np.random.Generator) -> None:
    """Somebody raises its voltage limit at the front panel."""
    source = _source(rehearsal)

    def raise_it() -> None:
        source._compliance_V *= float(rng.uniform(1.2, 10))

    rehearsal.sim.source_faults.device = _Says(source, _after(int(rng.integers(60, 120)), raise_it, source))


def _acts_late(rehearsal: Rehearsal, rng: np.random.Generator) -> None:
    """Answers "complete" at once, and changes its current later."""
    source = _source(rehearsal)
    source._config = replace(source._config, latency_s=float(rng.uniform(0.03, 0.15)))
    source.wait_until_complete = lambda: None  # type: ignore[method-assign]


def _gives_another(rehearsal: Rehearsal, rng: np.random.Generator) -> None:
    """Reads back what was asked; only the measured current can tell."""
    error = float(rng.choice([-1, 1]) * rng.uniform(2e-4, 0.3))
    circuit = rehearsal.sim.circuit
    circuit._source = replace(circuit._source, gain_error=error, asymmetry=0.0, gain_drift_per_s=0.0)


def _drifts(rehearsal: Rehearsal, rng: np.random.Generator) -> None:
    circuit = rehearsal.sim.circuit
    rate = float(rng.choice([-1, 1]) * rng.uniform(1e-4, 1e-3))
    circuit._source = replace(circuit._source, gain_error=0.0, asymmetry=0.0, gain_drift_per_s=rate)


class _Says:
    """A device whose messages go through another function first."""

    def __init__(self, device: CurrentSource, process: Callable[[str], str | None]) -> None:
        self._process = process
        self.clock, self.reply_end = device.clock, device.reply_end

    def process(self, message: str) -> str | None:
        return self._process(message)


def _ends_with(words: str) -> Callable[[Rehearsal], bool]:
    return lambda rehearsal: rehearsal.last.end is not None and words in rehearsal.last.end.text


def _flagged(*codes: str) -> Callable[[Rehearsal], bool]:
    return lambda rehearsal: bool({flag.code for flag in rehearsal.statement().flags} & set(codes))


KINDS: dict[str, Kind] = {
    "clamps": Kind(_clamps, _ends_with("reads back")),
    "clamps at one sign": Kind(_clamps_one_sign, _ends_with("reads back")),
    "loses its range": Kind(_loses_its_range, _ends_with("reads back")),
    "loses its settings": Kind(_loses_its_settings, lambda r: _ends_with("is off")(r) or _ends_with("reads back")(r)),
    "is turned by hand": Kind(_is_turned_by_hand, _ends_with("reads back")),
    "has its compliance raised by hand": Kind(_is_opened_by_hand, _ends_with("reads back")),
    "acts later than it says": Kind(_acts_late, _flagged("not-settled", "polarity-slip", "open-lead")),
    "gives another current": Kind(_gives_another, _flagged("source-gain", "current-differs"), measured=True),
    "drifts": Kind(_drifts, _flagged("source-gain", "current-differs"), measured=True),
}


def lied(name: str, seed: int) -> Result:
    """One run on one such source: whether it was told, whether a number stood as valid, whether the output is off."""
    kind = KINDS[name]
    scenario = _MEASURED if kind.measured else _SHUNT
    rehearsal = Rehearsal(scenario, seed)
    kind.spoil(rehearsal, np.random.default_rng(seed))
    end = rehearsal.run(recipe_of(scenario, stop=StopRule(60)))
    stated = rehearsal.statement() if rehearsal.readings else None
    truth, right = scenario.specimen.resistance_ohm, True
    if kind.measured and stated is not None:
        right = abs(stated.resistance_ohm - truth) < 3 * stated.expanded_uncertainty_ohm
    valid = stated is not None and str(stated.validity) == "valid"
    return {
        "kind": name,
        "told": kind.told(rehearsal),
        "wrong": valid and not (kind.measured and right),
        "off": end.output_off and not rehearsal.sim.source.output_on,
        "end": str(end.reason),
    }


def main() -> int:
    """Print the table."""
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else _RUNS
    names = list(KINDS)
    results = run_trial(
        "lying-sources", runs * len(names), lambda n: lied(names[n % len(names)], n // len(names)), at_once=20
    )
    print(f"{'the source':<28}{'told':>12}{'valid and wrong':>18}{'output off':>12}  ends")
    for name in names:
        own = [result for result in results if result["kind"] == name]
        told, wrong, off = (sum(result[key] for result in own) for key in ("told", "wrong", "off"))
        ends = ", ".join(f"{count} {end}" for end, count in Counter(r["end"] for r in own).items())
        print(f"{name:<28}{told:>5} of {len(own):<4}{wrong:>18}{off:>8} of {len(own)}  {ends}")
    return 0 if all(r["told"] and r["off"] and not r["wrong"] for r in results) else 1


if __name__ == "__main__":
    sys.exit(main())
