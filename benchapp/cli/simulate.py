"""`benchapp simulate`: a simulated bench on sockets, for any program to measure on."""

from __future__ import annotations

import argparse
import json
import signal
import tempfile
import threading
from pathlib import Path

import numpy as np

from benchapp.cli.output import opened
from benchapp.cli.scenarios import add_scenario_options, loaded
from benchapp.logbook.database import default_path
from benchapp.plan.learnt import learn
from benchapp.plan.rehearsal import bench_text
from benchapp.run.recorded import open_run
from sim.bench import SimulatedBench
from sim.clock import ScaledClock
from sim.scenario import DEFAULT_SCENARIO, Scenario
from sim.server import BenchServer


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Describe the command."""
    parser = commands.add_parser(
        "simulate",
        help="put a simulated bench on sockets of this machine",
        description="Put a simulated source and voltmeter on sockets of this machine until interrupted. The first line"
        ' of output is {"source": ADDR, "voltmeter": ADDR}, with further ones where there are;'
        " the second is what is on the bench. With --from-run it is a bench with the noise, the EMF, the settling and"
        " the pace of the bench of a recorded run.",
    )
    parser.add_argument("--from-run", metavar="RUN", type=int, help="a bench like that of this run in the logbook")
    parser.add_argument("--logbook", metavar="FILE", type=Path, help="the record (the user's own logbook)")
    parser.add_argument("--out", metavar="FILE", help="with --from-run: write that bench there (.toml), and end")
    add_scenario_options(parser, default=DEFAULT_SCENARIO)
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Serve until SIGINT or SIGTERM."""
    if arguments.from_run is not None:
        return _from_run(arguments)
    return _serve(arguments, loaded(arguments.scenario))


def _from_run(arguments: argparse.Namespace) -> int:
    path = arguments.logbook or default_path()
    recorded = open_run(path, arguments.from_run)
    columns = recorded.record.readings
    t, I, V = (np.array(column) for column in (columns.time_s, columns.current_A, columns.voltage_V))
    learnt = learn(recorded.recipe, t, I, V, f"run {arguments.from_run}")
    title = f"A bench like that of run {arguments.from_run}: {recorded.recipe.name or 'no name'}"
    text = bench_text(learnt, recorded.recipe, title)
    if arguments.out is not None:
        with opened(arguments.out, "--out", [path]) as stream:
            stream.write(text)
        return 0
    with tempfile.TemporaryDirectory() as folder:
        written = Path(folder) / f"run_{arguments.from_run}.toml"
        written.write_text(text, "utf-8")
        scenario = loaded(str(written))
    return _serve(arguments, scenario)


def _serve(arguments: argparse.Namespace, scenario: Scenario) -> int:
    stop = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: stop.set())
    bench = SimulatedBench(scenario, ScaledClock(arguments.speed), arguments.seed)
    with BenchServer(bench) as server:
        addresses = {"source": server.source, "voltmeter": server.voltmeter}
        if server.current_voltmeter:
            addresses["current_voltmeter"] = server.current_voltmeter
        if server.polarity_switch:
            addresses["polarity_switch"] = server.polarity_switch
        if server.thermometer:
            addresses["thermometer"] = server.thermometer
        print(json.dumps(addresses), flush=True)
        about = {"scenario": scenario.name, "title": scenario.title, "resistance_ohm": scenario.specimen.resistance_ohm}
        about["lesson"] = scenario.lesson
        about["dialects"] = {"source": scenario.source_dialect, "voltmeter": scenario.voltmeter_dialect}
        print(json.dumps(about, ensure_ascii=False), flush=True)
        while not stop.wait(0.5):
            pass
    return 0
