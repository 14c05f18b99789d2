"""`benchapp measure`: one run from the command line."""

from __future__ import annotations

import argparse
import contextlib
import os
import signal
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

from benchapp.bench.ammeter import check_measured_current
from benchapp.bench.limits import load_limits
from benchapp.bench.plan import BenchPlan, check_scanner, plan_bench
from benchapp.cli.auxiliary_options import add_auxiliary_options, auxiliary_plan
from benchapp.cli.budget_options import add_budget_options, budget_plan, read_option
from benchapp.cli.checking import checked, may_start
from benchapp.cli.checking import in_words as findings_in_words
from benchapp.cli.decision_options import add_decision_options, add_require_option, exit_with_all
from benchapp.cli.geometry_options import add_geometry_options, geometry
from benchapp.cli.off import tell_of_left_behind
from benchapp.cli.output import opened
from benchapp.cli.progress import Progress
from benchapp.cli.scenarios import add_scenario_options, loaded
from benchapp.cli.stream import ReadingStream
from benchapp.cli.transcript import TranscriptFile
from benchapp.clock import ScaledClock
from benchapp.errors import Fault, InputError
from benchapp.host.order import plan_on
from benchapp.host.serve import served
from benchapp.logbook.database import default_path
from benchapp.quantity import parse_positive
from benchapp.recipe import Recipe, build_recipe, entries_from_toml
from benchapp.recipe_rules import STOP_KEYS
from benchapp.recipe_values import Entry
from benchapp.result.json_object import run_object, to_line
from benchapp.result.words import in_words
from benchapp.run.session import Session, prepare_process
from sim.bench import SimulatedBench
from sim.clock import ScaledClock as SimulatedClock
from sim.scenario import Scenario
from sim.server import BenchServer

_OPTIONS = {
    "name": ("...", "what is measured"),
    "serial": ("...", "its serial number"),
    "nominal": ('"250 uohm"', "its nominal resistance: sets range and prefix"),
    "current": ('"100 mA"', "test current; its sign follows --signs"),
    "compliance": ('"1 V"', "largest voltage of the source (1 V)"),
    "range": ('"10 mV"', "range of the voltmeter (from the nominal value, else automatic)"),
    "nplc": ("1", "aperture in power-line cycles (1)"),
    "line-frequency": ('"50 Hz"', "mains frequency (50 Hz)"),
    "settle": ('"20 ms"', "wait after each change of the current (20 ms)"),
    "signs": ('"++--"', "sequence of the current's signs, such as +- or +0-0 (++--)"),
    "emf-order": ("1", "order of the thermal EMF in a block: 0, 1, 2 (1)"),
    "blocks": ("N", "stop after so many blocks (30, where no stop is named)"),
    "duration": ('"60 s"', "stop after a time"),
    "until": (
        '"0.2 uohm"',
        "target uncertainty: stop once the stated U is that small; ohm, %% or ppm",
    ),
    "estimator": (
        "sliding",
        "sliding, blocks, state-space or robust (blocks with --until, state-space for irregular signs, else sliding)",
    ),
    "cycles": ("N", "of an examined run (9)"),
    "channels": ('"S = 1, X = 2"', "parts on a scanner (--switch), each with its channel, connected in turns"),
    "rounds": ("N", "how often each part is connected (5)"),
    "turn-readings": ("N", "readings each time (24, or the next multiple of the sequence)"),
    "channel-settle": ('"0.2 s"', "wait after a part's contacts have closed, at zero current (0.2 s)"),
    "standard": ('"1 mohm"', "certified value of the first part: the others are stated by their ratio to it"),
    "standard-uncertainty": ('"5 nohm"', "expanded uncertainty (k = 2) of its certificate, drift since then included"),
    "standard-coefficient": ('"5 ppm/K"', "its temperature coefficient"),
    "standard-away": ('"0.5 K"', "how far its temperature may be from that of its certificate"),
    "current-shunt": ('"10 mohm"', "measure the current over this resistor, by --current-voltmeter"),
    "temperature-lag": (
        '"30 s"',
        "correct each reading to the reference temperature; the part lags so",
    ),
    "stepping": ("host", "host, or lines: the instruments step each other by trigger lines (host)"),
    "limits": ("dry-circuit", "a preset: dry-circuit allows 20 mV and 100 mA, for contact resistance"),
}
_THROUGH = ("reference-temperature", "temperature-coefficient")
_DECISION = ("low", "high", "rule", "guard-band", "confidence")


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Describe the command."""
    parser = commands.add_parser(
        "measure",
        help="measure a resistance by current reversal",
        description="Measure by a recipe file, by options, or both (options win). The instruments are named by their"
        " VISA addresses, or simulated. Progress goes to standard error. Exit, the first that applies: 2 bad"
        " input; 3 instrument trouble, or an output that is not proved off; 4 stopped for safety (overload, compliance,"
        " house limit), without a result, or with one that is not valid; 1 a verdict other than the required one; 0."
        " A --json FILE is written whenever a block has closed, whatever the exit.",
    )
    add_run_options(parser)
    add_require_option(parser)
    parser.add_argument(
        "--check", action="store_true", help="check leads and contacts first, and start only where a run can be valid"
    )
    parser.add_argument("--operator", metavar="...", help="who measures; written down with the run")
    parser.add_argument("--logbook", metavar="FILE", type=Path, help="the record (the user's own logbook)")
    parser.add_argument("--json", metavar="FILE", help='the result as JSON, "-" for standard output')
    parser.add_argument("--stream", metavar="FILE", help='each reading as a JSON line, "-" for standard output')
    add_geometry_options(parser)
    parser.add_argument("--transcript", metavar="FILE", type=Path, help="the full conversation with the instruments")
    parser.set_defaults(run=run)


def add_run_options(parser: argparse.ArgumentParser) -> None:
    """Recipe, instruments, and what is known beside: what every command that drives a bench takes."""
    parser.add_argument("recipe", nargs="?", metavar="RECIPE.toml", type=Path, help="recipe file")
    add_scenario_options(parser, default=None)
    parser.add_argument("--source", metavar="ADDR", help='address such as "TCPIP::127.0.0.1::5025::SOCKET"')
    parser.add_argument("--voltmeter", metavar="ADDR")
    parser.add_argument("--source-dialect", metavar="NAME_OR_FILE", help="how the source spells its commands (scpi)")
    parser.add_argument("--voltmeter-dialect", metavar="NAME_OR_FILE", help="the same for the voltmeter (scpi)")
    parser.add_argument(
        "--current-voltmeter", metavar="ADDR", help="reads over a standard resistor: see --current-shunt"
    )
    parser.add_argument("--current-voltmeter-dialect", metavar="NAME_OR_FILE", help="its dialect (scpi)")
    parser.add_argument(
        "--compliance-by-hand",
        metavar="1 V",
        help="confirms what was set on the front panel",
    )
    for name, (example, text) in _OPTIONS.items():
        parser.add_argument(f"--{name}", metavar=example.strip('"'), help=text)
    parser.add_argument(
        "--examine",
        action="store_const",
        const=True,
        help="let the run look for settling, warming, dependence on the current and unlike polarities",
    )
    parser.add_argument("--third-level", action="store_const", const=True, help="and at a quarter of the current")
    parser.add_argument(
        "--unattended",
        action="store_const",
        const=True,
        help="go on to the planned end where the terminal or the window that began the run is gone (else it ends)",
    )
    add_decision_options(parser)
    add_budget_options(parser)
    add_auxiliary_options(parser)


def run(arguments: argparse.Namespace) -> int:
    """Measure once."""
    scenario = loaded(arguments.scenario) if arguments.scenario else None
    recipe = build_recipe(entries_of(arguments, scenario))
    beside = auxiliary_plan(arguments, turns=bool(recipe.channels))
    temperature_C = None if recipe.corrects_temperature else beside.temperature_C()
    tell_of_left_behind(arguments.source or "")
    known = budget_plan(
        arguments,
        recipe.confidence,
        temperature_C,
        recipe.settle_s,
        recipe.aperture_s,
        through_run=recipe.corrects_temperature,
    )
    conductor = geometry(arguments)
    read = [arguments.logbook or default_path(), arguments.recipe, arguments.instrument_card]
    kept = TranscriptFile(arguments.transcript, read) if arguments.transcript else contextlib.nullcontext()
    note = f"simulated bench {scenario.name}" if scenario else ""
    if temperature_C is not None:
        note = f"{note}; specimen at {temperature_C:.2f} degC".strip("; ")
    # The switch comes first and goes last: it never opens a circuit that carries current.
    with (
        beside.connected([arguments.source or "", arguments.voltmeter or ""]),
        kept as transcript,
        bench_of(arguments, scenario, recipe) as bench,
        beside.turned(bench) as plan,
    ):
        clock = ScaledClock(arguments.speed)
        if arguments.check:
            found = checked(plan, recipe, known, clock)
            print("\n".join(findings_in_words(found)), file=sys.stderr)
            if not may_start(found):
                return 4
        session = Session(
            plan,
            recipe,
            load_limits(),
            clock=clock,
            logbook=arguments.logbook or default_path(),
            bench_note=note,
            transcript=transcript,
            known=known,
            geometry=conductor,
            operator=arguments.operator or "",
        )
        prepare_process()
        return measure(
            session,
            json_target=arguments.json,
            stream_target=arguments.stream,
            required=arguments.require,
            read=[arguments.recipe, arguments.instrument_card],
        )


def measure(
    session: Session,
    *,
    json_target: str | None,
    stream_target: str | None,
    required: str | None = None,
    read: Sequence[Path | None] = (),
) -> int:
    """Run a session to its end, told on standard error; the exit status. `read` are files that no target may be."""
    inputs = [session.logbook, *read]
    progress = Progress(session)
    with contextlib.ExitStack() as stack:
        result = stack.enter_context(opened(json_target, "--json", inputs)) if json_target else None
        stream = ReadingStream(session, stream_target) if stream_target else contextlib.nullcontext()
        with stream, until_the_end(session):
            while not session.ended:
                session.wait_for_change(0.1)
                progress.show()
        progress.show(final=True)
        stated, end = session.statements, session.end
        assert end is not None
        print(f"{end.reason}: {end.text.rstrip('.')}. Run {session.run_id} is in {session.logbook}", file=sys.stderr)
        if not any(one.estimate.blocks for one in stated):
            return end.exit_status or 4
        if result is not None:
            result.write(to_line(run_object(stated, {"run_id": session.run_id})) + "\n")
        if json_target != "-" and stream_target != "-":
            for one in stated:
                print(in_words(session.recipe.name or f"run {session.run_id}", one))
    return end.exit_status or exit_with_all(stated, required)


@contextlib.contextmanager
def until_the_end(session: Session) -> Iterator[None]:
    """Start; on every way out, signals among them, order the stop and wait until the output is off."""

    def stop(number: int, _frame: object) -> None:
        session.control.stop(f"stopped by {signal.Signals(number).name}")

    names = [name for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)]
    before = {name: signal.signal(getattr(signal, name), stop) for name in names}
    if session.recipe.unattended and "SIGHUP" in names:
        signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        session.start()
        try:
            with served(session, f"the terminal of process {os.getpid()}"):
                yield
        finally:
            session.control.stop("ended by the program")
            session.wait()
    finally:
        for name, handler in before.items():
            signal.signal(getattr(signal, name), handler)


@contextlib.contextmanager
def bench_of(arguments: argparse.Namespace, scenario: Scenario | None, recipe: Recipe) -> Iterator[BenchPlan]:
    """The instruments: at the addresses, or simulated ones that live as long as the run."""
    dialects = arguments.source_dialect, arguments.voltmeter_dialect
    addresses = arguments.source, arguments.voltmeter
    if scenario is None:
        remedy = "Write both --source and --voltmeter, or --scenario for a simulated bench"
        missing = [f"--{n}" for n, a in zip(("source", "voltmeter"), addresses, strict=True) if not a]
        if missing:
            raise InputError(*(Fault("missing", "", remedy, field=option) for option in missing))
        second = arguments.current_voltmeter or ""
        check_measured_current(second, recipe)
        check_scanner((arguments.switch or "") if recipe.channels else "", recipe)
        yield plan_bench(
            *addresses,
            *dialects,
            current_voltmeter=second,
            current_voltmeter_dialect=arguments.current_voltmeter_dialect,
            thermometer=(arguments.thermometer or "") if recipe.corrects_temperature else "",
            thermometer_dialect=arguments.thermometer_dialect,
            scanner=(arguments.switch or "") if recipe.channels else "",
            scanner_dialect=arguments.switch_dialect,
            compliance_by_hand_V=read_option(arguments.compliance_by_hand, _volts, "--compliance-by-hand"),
        )
        return
    if any(addresses) or arguments.current_voltmeter:
        raise InputError(Fault("stands beside an address", scenario.name, "Choose one of them", field="--scenario"))
    with BenchServer(SimulatedBench(scenario, SimulatedClock(arguments.speed), arguments.seed)) as server:
        spoken = (dialects[0] or scenario.source_dialect, dialects[1] or scenario.voltmeter_dialect)
        yield plan_on(server, recipe, *spoken)


def _volts(text: str) -> float:
    return parse_positive(text, "V")


def entries_of(arguments: argparse.Namespace, scenario: Scenario | None) -> dict[str, Entry]:
    """What the bench suggests, overruled by the recipe file, overruled by options; one stop rule replaces another."""
    layers: list[dict[str, Entry]] = []
    if scenario is not None:
        layers.append({key: Entry(value, key, f"scenario {scenario.name}") for key, value in scenario.recipe.items()})
    if arguments.recipe is not None:
        layers.append(entries_from_toml(arguments.recipe))
    names = (*_OPTIONS, *_DECISION, "examine", "third-level", "unattended")
    options = ((name, getattr(arguments, name.replace("-", "_"))) for name in names)
    layers.append({n.replace("-", "_"): Entry(text, f"--{n}") for n, text in options if text is not None})
    if any("temperature_lag" in layer for layer in layers):
        # With a lag they belong to the recipe: each reading is corrected by them.
        through = ((name, getattr(arguments, name.replace("-", "_"))) for name in _THROUGH)
        layers.append({n.replace("-", "_"): Entry(text, f"--{n}") for n, text in through if text is not None})
    return layered(layers)


def layered(layers: Sequence[dict[str, Entry]]) -> dict[str, Entry]:
    """The last layer wins; a stop rule replaces another, and so do parts on a scanner, which come in rounds."""
    entries: dict[str, Entry] = {}
    for layer in layers:
        if any(key in layer for key in (*STOP_KEYS, "channels", "examine")):
            entries = {key: entry for key, entry in entries.items() if key not in STOP_KEYS}
        if "examine" in layer:
            entries.pop("signs", None)  # its cycle has its own
        entries |= layer
    return entries
