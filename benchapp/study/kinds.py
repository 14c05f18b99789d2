"""The kinds of study: which runs each needs, and what it concludes from them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from benchapp.errors import Fault, InputError
from benchapp.recipe import Recipe, StopRule
from benchapp.study.comparison import comparison
from benchapp.study.conclusion import Conclusion, Floats, StudyRun
from benchapp.study.levels import LINEARITY_LEVELS, POWER_LEVELS, linearity, power
from benchapp.study.noise_floor import noise_floor
from benchapp.study.reconnection import LEAST, reconnection
from benchapp.study.settling import DWELL, settling
from benchapp.study.stability import stability
from benchapp.study.temperature import temperature


@dataclass(frozen=True, slots=True)
class Step:
    """One run: its recipe, and what a person has to do before it; empty for nothing."""

    recipe: Recipe
    before: str = ""


@dataclass(frozen=True, slots=True)
class Kind:
    """`question` is what it answers; `steps` from the recipe and how often all of it is repeated; `conclude` from the
    runs and their blocks; `axes` are those of its picture.
    """

    question: str
    about: str
    steps: Callable[[Recipe, int], list[Step]]
    conclude: Callable[[list[StudyRun], list[Floats]], Conclusion]
    axes: tuple[str, str]
    repeats: int = 1


def _plain(recipe: Recipe) -> Recipe:
    """Without what a study does not vary."""
    return replace(recipe, examine=False, third_level=False, channels=(), wanted_estimator=None, stepping="host")


def _once(recipe: Recipe, repeats: int, **changes: object) -> list[Step]:
    one = _plain(recipe)
    duration_s = one.stop.duration_s or 30.0
    stop = StopRule(None, duration_s=duration_s * repeats)
    return [Step(replace(one, stop=stop, **changes))]  # type: ignore[arg-type]


def _at_levels(levels: Sequence[float]) -> Callable[[Recipe, int], list[Step]]:
    def steps(recipe: Recipe, repeats: int) -> list[Step]:
        one = _plain(recipe)
        # The range is that of the largest current: another one would have a gain of its own.
        range_V = one.range_V
        return [Step(replace(one, current_A=one.current_A * level, range_V=range_V)) for level in (*levels,) * repeats]

    return steps


def _by_hand(words: tuple[str, ...], *, odd: bool = False) -> Callable[[Recipe, int], list[Step]]:
    """Runs with a hand on the leads before each; `odd`: once more the first at the end."""

    def steps(recipe: Recipe, repeats: int) -> list[Step]:
        count = len(words) * repeats + odd
        return [Step(_plain(recipe), words[index % len(words)]) for index in range(count)]

    return steps


def _with_thermometer(recipe: Recipe, repeats: int) -> list[Step]:
    if not recipe.corrects_temperature:
        remedy = 'Write temperature_lag, reference_temperature and temperature_coefficient, about right: "10 s" will do'
        fault = Fault("a study of the temperature reads a thermometer", "", remedy, field="temperature_lag")
        raise InputError(fault)
    return _once(recipe, repeats)


KINDS = {
    "settling": Kind(
        "How long to wait after each reversal?",
        "long dwells without a delay: the time constant, and the delay that it needs",
        lambda recipe, repeats: _once(recipe, repeats, signs="+" * DWELL + "-" * DWELL, settle_s=0.0),
        lambda runs, blocks: settling(runs),
        ("time since the change, s", "R, ohm"),
    ),
    "power": Kind(
        "Does the current warm the part?",
        "at the current and at half of it: R at zero power, and how R rises",
        _at_levels(POWER_LEVELS),
        lambda runs, blocks: power(runs),
        ("current over the largest, squared", "R, ohm"),
        2,
    ),
    "linearity": Kind(
        "Is the voltage in proportion to the current?",
        "at the current, a half and a tenth of it: a voltage that follows the sign, and how R rises",
        _at_levels(LINEARITY_LEVELS),
        lambda runs, blocks: linearity(runs),
        ("current over the largest", "R, ohm"),
        2,
    ),
    "temperature": Kind(
        "How does R follow its temperature?",
        "with a thermometer, while the temperature goes up and down: coefficient and lag",
        _with_thermometer,
        lambda runs, blocks: temperature(runs, blocks, runs[0].recipe.reference_C or 20.0),
        ("temperature, degC", "R, ohm"),
        10,
    ),
    "stability": Kind(
        "Does R drift, and how much?",
        "over a long time: the drift of R",
        _once,
        stability,
        ("time, s", "R, ohm"),
        20,
    ),
    "noise-floor": Kind(
        "How noisy is the bench, and which aperture suits it?",
        "the noise of the bench, and which aperture and sequence suit it",
        lambda recipe, repeats: _once(recipe, repeats, signs="++--"),
        lambda runs, blocks: noise_floor(runs),
        ("frequency, Hz", "variance of a reading, V\u00b2"),
        2,
    ),
    "comparison": Kind(
        "What is the part, against a standard?",
        "a standard and the part in turns, connected by hand: their ratio",
        _by_hand(("Connect the standard", "Connect the part"), odd=True),
        lambda runs, blocks: comparison(runs),
        ("time, s", "R over the first"),
        4,
    ),
    "reconnection": Kind(
        "How does R scatter when the part is connected anew?",
        "the part connected anew before each run: how R scatters by it",
        _by_hand(("Take the part off and connect it anew",)),
        lambda runs, blocks: reconnection(runs),
        ("connection", "R, ohm"),
        LEAST + 2,
    ),
}
