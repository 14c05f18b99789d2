"""Options for the conductor: its length, cross-section and class."""

from __future__ import annotations

import argparse
import functools
import math
import re

from benchapp.analysis.conductor import Conductor
from benchapp.cli.budget_options import read_option
from benchapp.errors import Fault, InputError
from benchapp.quantity import parse_area, parse_positive
from benchapp.result.material import Geometry


def add_geometry_options(parser: argparse.ArgumentParser) -> None:
    """--length, --area and --conductor."""
    parser.add_argument("--length", metavar="1 m", help="between the sense leads: states resistance per length")
    parser.add_argument("--area", metavar="2.5 mm2", help="cross-section: states resistivity and conductivity")
    parser.add_argument("--length-uncertainty", metavar='"0.5 mm"', help="standard uncertainty of it (0)")
    parser.add_argument("--area-uncertainty", metavar='"0.01 mm2"', help="of the cross-section (0)")
    parser.add_argument(
        "--conductor",
        metavar='"class 2, 2.5 mm2"',
        help='class of IEC 60228 to compare with, such as "class 5, 4 mm2, coated" or "class 2, 16 mm2, aluminium"',
    )


def geometry(arguments: argparse.Namespace) -> Geometry | None:
    """What the options say of the conductor. Raises InputError."""
    length = read_option(arguments.length, lambda text: parse_positive(text, "m"), "--length")
    area = read_option(arguments.area, parse_area, "--area")
    conductor = None if arguments.conductor is None else _conductor(arguments.conductor)
    if length is None and (area is not None or conductor is not None):
        raise InputError(Fault("missing", "", 'Write for example "1 m"', field="--length"))
    if length is None:
        return None
    for name, value in (("--length", length), ("--area", area)):
        if value is not None and not value > 0:
            raise InputError(Fault("not above 0", str(value), "Write what was measured", field=name))
    not_below_0 = functools.partial(parse_positive, unit="m", or_zero=True)
    u_length = read_option(arguments.length_uncertainty, not_below_0, "--length-uncertainty")
    u_area = read_option(arguments.area_uncertainty, parse_area, "--area-uncertainty")
    return Geometry(length, area, u_length or 0.0, u_area or 0.0, conductor)


def _conductor(text: str) -> Conductor:
    match = re.fullmatch(r"\s*class\s*(\d)\s*,\s*([\d.]+)\s*mm2\s*(?:,\s*(plain|coated|aluminium)\s*)?", text)
    remedy = 'Write for example "class 2, 2.5 mm2" or "class 5, 4 mm2, coated"'
    if match is None:
        raise InputError(Fault("no conductor class", text, remedy, field="--conductor"))
    found = Conductor(float(match[2]), int(match[1]), match[3] == "coated", match[3] == "aluminium")
    if math.isnan(found.largest_ohm_per_m):
        raise InputError(Fault("IEC 60228 has no such conductor", text, remedy, field="--conductor"))
    return found
