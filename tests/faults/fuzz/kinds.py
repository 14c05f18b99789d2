"""The kinds of input, and what takes each. A taker raises `Refused` where the input is refused in words."""

from __future__ import annotations

import contextlib
import io
import os
import random
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from benchapp.bench.limits import HouseLimits, LimitExceeded, limits_file, load_limits
from benchapp.cli.main import main as benchapp
from benchapp.cli.scenarios import loaded
from benchapp.errors import BenchError
from benchapp.quantity import (
    engineering,
    parse,
    parse_area,
    parse_coefficient,
    parse_difference,
    parse_temperature,
)
from benchapp.recipe import build_recipe, entries_from_text, recipe_to_toml
from benchapp.result.card import load_card
from drivers.dialect import Dialect, load_dialect
from drivers.dialect.pattern import Pattern
from drivers.errors import DialectError
from sim.bench import SimulatedBench
from sim.clock import ScaledClock
from sim.scenario import load_scenario
from tests.faults.fuzz.mutate import as_bytes, mutated
from tests.faults.logbooks import damaged, write_logbook

_ROOT = Path(__file__).parents[3]
_STATUSES = {0, 1, 2, 3, 4}
_QUANTITIES = ("100 mA", "10 mV", "250 uohm", "20 ms", "50 Hz", "5 W", "23 degC", "0.2 K", "2.5 mm2", "0.00393 / K",
               "20 ppm/K", "1.5 µΩ", "1e-3 A", "1 m", "0")  # fmt: skip
_RECIPE = """name = "Busbar joint 7"
serial = "J-7"
nominal = "12 uohm"
current = "5 A"
compliance = "1 V"
range = "10 mV"
nplc = 5
line_frequency = "50 Hz"
settle = "20 ms"
signs = "+--+"
blocks = 30
emf_order = 1
estimator = "blocks"
low = "10 uohm"
high = "15 uohm"
confidence = 0.95
"""
_CSV = "# emf_order = 1\n# aperture_s = 0.02\ntime_s,current_A,voltage_V,temperature_C\n" + "".join(
    f"{0.1 * k:.1f},{0.1 * (-1) ** k},{1e-6 * (-1) ** k + 1e-9 * k:.12g},23.{k % 10}\n" for k in range(24)
)


class Refused(Exception):
    """The input was refused in words; the text is what was said."""


class Broken(Exception):
    """A promise was broken without an exception of the program's own."""


@dataclass(frozen=True, slots=True)
class Kind:
    """How many of a hundred thousand inputs are of this kind, and what makes and takes one."""

    name: str
    share: int
    run: Callable[[random.Random], None]


def kinds(folder: Path) -> list[Kind]:
    """All kinds; `folder` takes their files."""
    return [
        Kind("quantities", 20_000, _quantity),
        Kind("recipes", 20_000, _recipe),
        Kind("dialects", 20_000, _Files(folder, "dialect", _dialects(), _take_dialect)),
        Kind("cards", 10_000, _Files(folder, "card", [_read("tests/benchapp/ui/card.toml")], load_card)),
        Kind("limits", 8_000, _limits),
        Kind("scenarios", 8_000, _Files(folder, "scenario", _scenarios(), _take_scenario)),
        Kind("replies", 9_300, _Replies()),
        Kind("csv", 3_000, _Files(folder, "csv", [_CSV], _take_csv)),
        Kind("logbooks", 1_000, _Logbooks(folder)),
        Kind("options", 700, _Options(folder)),
    ]


def _read(name: str) -> str:
    return (_ROOT / name).read_text("utf-8")


def _quantity(dice: random.Random) -> None:
    text = mutated(dice.choice(_QUANTITIES), dice)
    unit = dice.choice(("A", "V", "ohm", "s", "Hz", "W", "m"))
    reader = dice.choice(
        (lambda t: parse(t, unit),) * 4 + (parse_area, parse_coefficient, parse_difference, parse_temperature)
    )
    with _refused():
        engineering(reader(text), unit)


def _recipe(dice: random.Random) -> None:
    text = mutated(_RECIPE, dice)
    with _refused():
        recipe = build_recipe(entries_from_text(text, "recipe.toml"))
        HouseLimits().check(recipe)
        if recipe.current_A > 10.0 * 1.000001 or recipe.compliance_V > 20.0 * 1.000001:
            raise Broken(f"past a house limit: {recipe}")
        again = build_recipe(entries_from_text(recipe_to_toml(recipe), "again"))
        if again != recipe:
            raise Broken(f"the record would not repeat it: {recipe} {again}")


def _limits(dice: random.Random) -> None:
    limits_file().write_bytes(as_bytes(mutated('current = "50 A"\ncompliance = "20 V"\npower = "20 W"\n', dice), dice))
    try:
        with _refused():
            found = load_limits()
            for value in (found.current_A, found.compliance_V, found.power_W):
                if not 0 < value < 1e9:
                    raise Broken(f"no limit: {found}")
    finally:
        limits_file().unlink()


class _Files:
    """A file, mutated, and what reads it."""

    def __init__(self, folder: Path, name: str, texts: list[str], take: Callable[[Path], object]) -> None:
        self._path = folder / f"{name}.{'csv' if name == 'csv' else 'toml'}"
        self._texts, self._take = texts, take

    def __call__(self, dice: random.Random) -> None:
        self._path.write_bytes(as_bytes(mutated(dice.choice(self._texts), dice), dice))
        with _refused():
            self._take(self._path)


def _dialects() -> list[str]:
    own = '[link]\ncommand_gap_s = 0.01\n[cap.level]\nset = ":SOUR:CURR {value}"\nget = ":SOUR:CURR?"\nscale = 1\n'
    overlay = f'kind = "source"\nextends = "scpi"\n{own}[sequence]\nreset = ["*RST"]\nsafe = [":OUTP OFF"]\n'
    return [overlay, overlay, *(path.read_text("utf-8") for path in (_ROOT / "drivers/dialects").glob("*_source.toml"))]


def _take_dialect(path: Path) -> None:
    _play(load_dialect(str(path), "source"))


def _play(dialect: Dialect) -> None:
    """Send a simulated source whatever a dialect sends without a value, and look whether it is on."""
    source = SimulatedBench(load_scenario("shunt"), ScaledClock()).source
    fixed = [*dialect.reset, *dialect.safe, dialect.identify, dialect.errors.query, dialect.sync.query]
    for name, spellings in dialect.capabilities.items():
        for spelling in spellings:
            fixed += [*spelling.before, spelling.get, spelling.off_set, "" if name == "output" else spelling.on_set]
            if spelling.kind == "text":
                fixed.append(spelling.set.replace("{value}", spelling.value))
    for message in fixed:
        for line in message.split("\n"):
            source.process(line)
        if source.output_on:
            raise Broken(f"a dialect file energises: {message!r}")
    level = source.process(":SOUR:CURR?")
    if level is not None and abs(float(level)) > 10.0:
        raise Broken(f"a dialect file sets {level} A")


def _scenarios() -> list[str]:
    return [path.read_text("utf-8") for path in sorted((_ROOT / "sim/scenarios").glob("*.toml"))]


def _take_scenario(path: Path) -> None:
    SimulatedBench(loaded(str(path)), ScaledClock())


class _Replies:
    """What an instrument may answer, against every reply that a shipped dialect knows."""

    def __init__(self) -> None:
        self._patterns: list[Pattern] = []
        for kind in ("source", "voltmeter"):
            for name in _names(kind):
                dialect = load_dialect(name, kind)
                spellings = [one for several in dialect.capabilities.values() for one in several]
                self._patterns += [one.reply for one in spellings if one.reply is not None]

    def __call__(self, dice: random.Random) -> None:
        reply = mutated(dice.choice(("1.00000E-3", "V1 OPR +1.2E-6", "0", "1", '0,"No error"', "ON", "+9.9E37")), dice)
        found = dice.choice(self._patterns).find(reply)
        if found is not None and len(found) > len(reply):
            raise Broken(f"{found!r} was made of {reply!r}")


def _names(kind: str) -> list[str]:
    from drivers.dialect import dialect_names

    return dialect_names(kind)


def _take_csv(path: Path) -> None:
    _command(["analyse", str(path)])


class _Logbooks:
    """A damaged logbook, listed and one of its runs shown."""

    def __init__(self, folder: Path) -> None:
        self._path = folder / "log.sqlite"
        write_logbook(self._path)
        self._whole = self._path.read_bytes()

    def __call__(self, dice: random.Random) -> None:
        _, data = damaged(self._whole, dice.randrange(10**9))
        self._path.write_bytes(data)
        for words in (["list"], [dice.choice(("show", "check")), str(dice.randint(1, 6))]):
            _command(["logbook", "--logbook", str(self._path), *words])


class _Options:
    """A command line with one value that is nearly right."""

    def __init__(self, folder: Path) -> None:
        log, csv = str(folder / "options.sqlite"), folder / "options.csv"
        csv.write_text(_CSV)
        measure = ["measure", "--scenario", "shunt", "--speed", "1000", "--blocks", "1", "--logbook", log]
        self._lines = [
            [*measure, "--current", "100 mA", "--nplc", "1", "--settle", "1 ms", "--signs", "+-", "--name", "Joint"],
            [*measure, "--seed", "7", "--low", "1 uohm", "--high", "2 mohm", "--confidence", "0.95"],
            [*measure, "--length", "1 m", "--section", "2.5 mm2", "--temperature", "23 degC"],
            ["analyse", str(csv), "--low", "1 uohm", "--high", "20 uohm", "--guard-band", "U", "--confidence", "0.99"],
            ["logbook", "--logbook", log, "show", "1"],
            ["logbook", "--logbook", log, "export", "1", "--csv", "-"],
            ["logbook", "--logbook", log, "reanalyse", "1", "--leave-out", "8 s to 11 s: a hand"],
            ["budget", "1", "--logbook", log, "--confidence", "0.9"],
            ["compare", "1", "1", "1", "--logbook", log, "--standard", "1 mohm"],
            ["off", "--source", "TCPIP::127.0.0.1::9::SOCKET"],
            ["instruments", "check", "TCPIP::127.0.0.1::9::SOCKET", "--role", "source"],
        ]

    def __call__(self, dice: random.Random) -> None:
        line = list(dice.choice(self._lines))
        at = dice.randrange(1, len(line))
        # What an argument can be: the system passes no NUL and nothing longer than a page or two.
        line[at] = mutated(line[at], dice).replace("\0", "")[:8000]
        if "--stream" not in line[at]:
            _command(line)


def _command(arguments: list[str]) -> None:
    out, err = io.StringIO(), io.StringIO()
    # What a mutated name makes of a file is made in the trial's own folder, some way down.
    inside = Path(os.environ["BENCHAPP_DATA"]) / "a" / "b" / "c"
    inside.mkdir(parents=True, exist_ok=True)
    with contextlib.chdir(inside), contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            status = benchapp(arguments)
        except SystemExit as ended:  # how argparse refuses
            status = ended.code if isinstance(ended.code, int) else 99
    said = out.getvalue() + err.getvalue()
    if status not in _STATUSES:
        raise Broken(f"exit status {status}")
    if "Traceback" in said or "internal error" in said:
        raise Broken(said[-600:])
    if not said.replace("\n", "").replace("\t", "").isprintable():
        raise Broken(f"steers a terminal: {said[:300]!r}")
    if status == 2 and len(err.getvalue()) > 20_000:
        raise Broken(f"a message of {len(err.getvalue())} characters")


@contextlib.contextmanager
def _refused():  # type: ignore[no-untyped-def]
    try:
        yield
    except LimitExceeded:
        return
    except (BenchError, DialectError) as error:
        text = str(error)
        if not text.replace("\n", "").isprintable():
            raise Broken(f"steers a terminal: {text[:300]!r}") from error
        if len(text) > 20_000:
            raise Broken(f"a message of {len(text)} characters") from error


def own_folders(folder: Path) -> None:
    """Configuration and data of the user's stay out of it."""
    os.environ |= {f"BENCHAPP_{name}": str(folder) for name in ("CONFIG", "DATA", "RUNTIME")}
