"""`benchapp simulate`: a simulated bench on sockets, for any program to measure on."""

from __future__ import annotations

import argparse
import json
import signal
import threading

from benchapp.cli.scenarios import add_scenario_options, loaded
from sim.bench import SimulatedBench
from sim.clock import ScaledClock
from sim.scenario import DEFAULT_SCENARIO
from sim.server import BenchServer


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Describe the command."""
    parser = commands.add_parser(
        "simulate",
        help="put a simulated bench on sockets of this machine",
        description="Put a simulated source and voltmeter on sockets of this machine until interrupted. The first line"
        ' of output is {"source": ADDR, "voltmeter": ADDR}, with further ones where there are;'
        " the second is what is on the bench.",
    )
    add_scenario_options(parser, default=DEFAULT_SCENARIO)
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Serve until SIGINT or SIGTERM."""
    scenario = loaded(arguments.scenario)
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
