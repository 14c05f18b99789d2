"""Where a command writes: a file or "-" for standard output, and a result in words."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Iterator
from typing import TextIO

from benchapp.analysis.estimate import Estimate
from benchapp.errors import Fault, InputError
from benchapp.quantity import concise, engineering


@contextlib.contextmanager
def opened(target: str, option: str) -> Iterator[TextIO]:
    """Standard output for "-", else the file, line by line on disk. Raises InputError where it cannot be written."""
    if target == "-":
        yield sys.stdout
        sys.stdout.flush()
        return
    try:
        stream = open(target, "w", encoding="utf-8", newline="\n", buffering=1)  # noqa: SIM115  (closed below)
    except OSError as error:
        fault = Fault(f"cannot be written: {error.strerror}", target, "Choose a path that can be written", field=option)
        raise InputError(fault) from error
    with stream:
        yield stream


def in_words(name: str, estimate: Estimate, verdict: str | None = None) -> str:
    """A result for people, on a few lines."""
    lines = [
        f"{name}: R = {concise(estimate.resistance_ohm, estimate.standard_uncertainty_ohm, 'ohm')}, {estimate.state}",
        f"  95 % interval ± {engineering(estimate.expanded_uncertainty_ohm, 'ohm', 2)}"
        f" (k = {estimate.coverage_factor:.2f}, {estimate.blocks} blocks, {estimate.readings} readings)",
        f"  thermal EMF {engineering(estimate.thermal_emf_V, 'V')},"
        f" slope {engineering(estimate.thermal_emf_slope_V_per_s, 'V', 3)}/s",
    ]
    if verdict is not None:
        lines.append(f"  verdict: {verdict}")
    lines += [f"  {flag.severity}: {flag.text}" for flag in estimate.flags]
    return "\n".join(lines)
