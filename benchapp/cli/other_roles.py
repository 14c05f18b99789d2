"""Thermometer and switch around a run: the specimen's temperature, and the channel that it is connected by."""

from __future__ import annotations

import argparse
import contextlib
import statistics
from collections.abc import Iterator
from dataclasses import replace

from benchapp.bench.bench import BenchPlan
from benchapp.errors import Fault, InputError
from drivers.dialect import Dialect, load_dialect
from drivers.errors import AddressError, DialectError, InstrumentError
from drivers.polarity import Polarity, UnipolarSource
from drivers.registry import make_link
from drivers.scpi_switch import ScpiSwitch
from drivers.scpi_thermometer import ScpiThermometer
from drivers.wires import check_address

_TEMPERATURES = 3


def add_role_options(parser: argparse.ArgumentParser) -> None:
    """--thermometer and --switch with their dialects."""
    parser.add_argument("--thermometer", metavar="ADDR", help="tells the specimen's temperature before the run")
    parser.add_argument("--thermometer-dialect", metavar="NAME_OR_FILE", default="scpi")
    parser.add_argument("--switch", metavar="ADDR", help="connects the specimen for the run")
    parser.add_argument("--switch-dialect", metavar="NAME_OR_FILE", default="scpi")
    parser.add_argument("--channel", metavar="N", help="the switch's channel with the specimen")
    parser.add_argument(
        "--polarity-switch",
        metavar="ADDR",
        help="turns the current of a unipolar source, at zero current",
    )
    parser.add_argument("--polarity-channels", metavar='"1,2"', help="its channels for one polarity and the other")


def measured_temperature(arguments: argparse.Namespace) -> float | None:
    """The mean of three temperatures in degrees Celsius; None without a thermometer. Raises InstrumentError."""
    if not arguments.thermometer:
        return None
    dialect = _dialect(arguments.thermometer_dialect, "thermometer")
    thermometer = ScpiThermometer(make_link(_address(arguments.thermometer, "--thermometer"), dialect), dialect)
    try:
        thermometer.open()
        thermometer.configure()
        return statistics.fmean(thermometer.read_C() for _ in range(_TEMPERATURES))
    finally:
        thermometer.close()


@contextlib.contextmanager
def connected(arguments: argparse.Namespace) -> Iterator[None]:
    """The channel closed as long as the run goes on; open again on every way out, after the output went off."""
    if not arguments.switch:
        yield
        return
    if not arguments.channel:
        raise InputError(Fault("missing", "", "Write the channel's number, as in --channel 3", field="--channel"))
    dialect = _dialect(arguments.switch_dialect, "switch")
    switch = ScpiSwitch(make_link(_address(arguments.switch, "--switch"), dialect), dialect)
    try:
        switch.open()
        switch.connect(arguments.channel)
        try:
            yield
        finally:
            with contextlib.suppress(InstrumentError):
                switch.open_all()
    finally:
        switch.close()


@contextlib.contextmanager
def turned(arguments: argparse.Namespace, plan: BenchPlan) -> Iterator[BenchPlan]:
    """The plan with the polarity switch in it, which is open again on every way out."""
    if not arguments.polarity_switch:
        yield plan
        return
    channels = [text.strip() for text in (arguments.polarity_channels or "").split(",")]
    if len(channels) != 2 or not all(channels):
        remedy = 'Write the two channels, as in --polarity-channels "1,2"'
        raise InputError(Fault("not two channels", arguments.polarity_channels or "", remedy, "--polarity-channels"))
    dialect = _dialect(arguments.switch_dialect, "switch")
    switch = ScpiSwitch(make_link(_address(arguments.polarity_switch, "--polarity-switch"), dialect), dialect)
    try:
        switch.open()
        try:
            yield replace(plan, source_driver=UnipolarSource, polarity=Polarity(switch, *channels))
        finally:
            with contextlib.suppress(InstrumentError):
                switch.open_all()
    finally:
        switch.close()


def _dialect(name: str, kind: str) -> Dialect:
    try:
        return load_dialect(name, kind)
    except DialectError as error:
        problem, _, remedy = str(error).rpartition(". ")
        raise InputError(Fault(problem, "", remedy, field=f"--{kind}-dialect")) from error


def _address(address: str, option: str) -> str:
    try:
        check_address(address)
    except AddressError as error:
        problem, _, remedy = str(error).partition(". ")
        raise InputError(Fault(problem, "", remedy, field=option)) from error
    return address
