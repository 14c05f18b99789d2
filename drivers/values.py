"""Values as a dialect has them written, and whether what reads back is what was asked for."""

from __future__ import annotations

import math

import numpy as np

from drivers.dialect import Format, Spelling
from drivers.dialect.model import ENCODINGS

_TOLERANCE = 1e-4
_ROUNDING = 12.0  # a range may be the next decade above what was asked


def value_text(value: float | bool | str, spelling: Spelling, numbers: Format) -> str:
    """A value, in SI units, as the instrument takes it."""
    if spelling.kind in ("bool", "bit"):
        return spelling.on if value else spelling.off
    if spelling.kind == "index":
        return str(spelling.index_base + place_of(float(value), spelling))
    if spelling.kind == "number":
        return numbers.number(float(value) * spelling.scale)
    return spelling.value


def place_of(value: float, spelling: Spelling) -> int:
    """The place in the table of the smallest entry that holds the value; with `rounds` "down" of the largest below it.

    Raises ValueError where the table has none.
    """
    size = abs(value)
    if spelling.rounds == "down":
        return spelling.table.index(max(entry for entry in spelling.table if entry <= size * (1 + 1e-9)))
    return spelling.table.index(min(entry for entry in spelling.table if entry >= size * (1 - 1e-9)))


def number_of(read: float, spelling: Spelling) -> float:
    """A number that was read, in SI units; NaN for an index that is not in the table."""
    if spelling.kind != "index":
        return read / spelling.scale
    if not math.isfinite(read):
        return math.nan
    place = round(read) - spelling.index_base
    return spelling.table[place] if 0 <= place < len(spelling.table) else math.nan


def agrees(wanted: float, read: float, spelling: Spelling) -> bool:
    """Whether a number that was read is what was asked for, as the instrument is allowed to round."""
    if spelling.kind == "index":
        return math.isfinite(read) and round(read) == spelling.index_base + place_of(wanted, spelling)
    got = read / spelling.scale
    if spelling.rounds == "up":
        return wanted * (1 - _TOLERANCE) <= got <= wanted * _ROUNDING
    if spelling.rounds == "down":
        return wanted / _ROUNDING <= got <= wanted * (1 + _TOLERANCE)
    if spelling.rounds == "nearest":
        return abs(got - wanted) <= 0.5 * abs(wanted)
    return abs(got - wanted) <= max(spelling.rtol * abs(wanted), spelling.atol)


def block_numbers(data: bytes, encoding: str) -> list[float]:
    """The numbers of a binary block; bytes at its end that make no number are left out."""
    kind = np.dtype(ENCODINGS[encoding])
    whole = len(data) // kind.itemsize * kind.itemsize
    return [float(number) for number in np.frombuffer(data[:whole], dtype=kind)]
