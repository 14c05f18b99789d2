"""The pictures of a report as SVG, in black and grey: R per block, and the value on its limits."""

from __future__ import annotations

import math
from collections.abc import Callable
from html import escape
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from benchapp.quantity import engineering, prefix_power, scaled_text, unit_text
from benchapp.result.statement import Statement
from benchapp.result.validity import Validity
from benchapp.run.recorded import RecordedRun

Floats = NDArray[np.float64]
Scale = Callable[[float], float]
_W, _H = 680, 190
_LEFT, _RIGHT, _TOP, _BOTTOM = 78, 12, 12, 30
_MOST_DOTS = 700
_FONT = 'font-family="B612, sans-serif"'


def blocks_picture(run: RecordedRun, stated: Statement) -> str:
    """R of each block over time with the stated value and ± U; more blocks than columns as their outline."""
    if len(run.parts) > 1:
        return ""  # its blocks are those of all parts in turns
    rows = run.history.blocks.since(0)
    t, R = np.array(rows[0], dtype=float), np.array(rows[1], dtype=float)
    keep = np.isfinite(R)
    t, R = t[keep], R[keep]
    if not len(t):
        return _svg(_W, 40, _text(10, 24, "No block was completed.", 11))
    centre, U = stated.resistance_ohm, stated.expanded_uncertainty_ohm
    low, high = float(R.min()), float(R.max())
    if math.isfinite(U):
        low, high = min(low, centre - U), max(high, centre + U)
    span = (high - low) or abs(high) * 1e-6 or 1e-12
    low, high = low - 0.06 * span, high + 0.06 * span
    end_s = float(t[-1]) or 1.0

    def x(time_s: float) -> float:
        return _LEFT + time_s / end_s * (_W - _LEFT - _RIGHT)

    def y(ohm: float) -> float:
        return _TOP + (high - ohm) / (high - low) * (_H - _TOP - _BOTTOM)

    parts = _axes(low, high, end_s, x, y)
    if math.isfinite(U) and stated.validity is not Validity.NOT_VALID:
        top, bottom = y(centre + U), y(centre - U)
        parts.append(
            f'<rect x="{_LEFT}" y="{top:.2f}" width="{_W - _LEFT - _RIGHT}" height="{bottom - top:.2f}" fill="#ddd"/>'
            f'<line x1="{_LEFT}" y1="{y(centre):.2f}" x2="{_W - _RIGHT}" y2="{y(centre):.2f}" stroke="#000"'
            ' stroke-width="1.5"/>'
        )
    if len(t) <= _MOST_DOTS:
        parts += [f'<circle cx="{x(a):.2f}" cy="{y(b):.2f}" r="1.6" fill="#333"/>' for a, b in zip(t, R, strict=True)]
    else:
        parts.append(_outline(t, R, x, y))
    return _svg(_W, _H, "".join(parts))


def _outline(t: Floats, R: Floats, x: Scale, y: Scale) -> str:
    """Least and largest of each column, filled: no block is lost."""
    edges = np.linspace(0, len(t), _MOST_DOTS + 1).astype(int)
    columns = [(t[a:b].mean(), R[a:b].min(), R[a:b].max()) for a, b in pairwise(edges) if b > a]
    there = [f"{x(time):.2f},{y(top):.2f}" for time, _, top in columns]
    back = [f"{x(time):.2f},{y(low):.2f}" for time, low, _ in reversed(columns)]
    return f'<polygon points="{" ".join([*there, *back])}" fill="#888" stroke="#333" stroke-width="0.5"/>'


def _axes(low: float, high: float, end_s: float, x: Scale, y: Scale) -> list[str]:
    power = prefix_power(max(abs(low), abs(high)))
    parts = []
    step = _step((high - low) / 4)
    places = max(0, power - math.floor(math.log10(step) + 1e-9))
    k = math.ceil(low / step)
    while k * step <= high:
        at = y(k * step)
        parts.append(f'<line x1="{_LEFT}" y1="{at:.2f}" x2="{_W - _RIGHT}" y2="{at:.2f}" stroke="#ccc"/>')
        parts.append(_text(_LEFT - 6, at + 4, scaled_text(k * step, power, places), 10, "end"))
        k += 1
    parts.append(_text(4, _TOP + 8, unit_text("ohm", power), 10))
    step = _step(end_s / 5)
    k = 0
    while k * step <= end_s * (1 + 1e-9):
        at = x(k * step)
        parts.append(f'<line x1="{at:.2f}" y1="{_TOP}" x2="{at:.2f}" y2="{_H - _BOTTOM}" stroke="#ccc"/>')
        parts.append(_text(at, _H - _BOTTOM + 15, f"{k * step:g}", 10, "middle"))
        k += 1
    parts.append(_text(_W - _RIGHT, _H - 3, "time in s", 10, "end"))
    parts.append(f'<path d="M{_LEFT} {_TOP}V{_H - _BOTTOM}H{_W - _RIGHT}" fill="none" stroke="#000" stroke-width="1"/>')
    return parts


def limits_picture(run: RecordedRun, stated: Statement) -> str:
    """The interval on the tolerance; empty without limits, and of a run that is not valid."""
    recipe = run.recipe
    R, U = stated.resistance_ohm, stated.expanded_uncertainty_ohm
    ends = [end for end in (recipe.low_ohm, recipe.high_ohm) if end is not None]
    if not ends or stated.validity is Validity.NOT_VALID or not math.isfinite(U):
        return ""
    low, high = (recipe.low_ohm if recipe.low_ohm is not None else 0.0), ends[-1]
    low, high = min(low, R - U), max(high, R + U)
    room = 0.2 * (high - low) or abs(R) * 0.1
    low, high = low - room, high + room
    width, height = 420, 64

    def x(ohm: float) -> float:
        return (ohm - low) / (high - low) * width

    left = x(recipe.low_ohm) if recipe.low_ohm is not None else 0.0
    right = x(recipe.high_ohm) if recipe.high_ohm is not None else width
    parts = [
        f'<rect x="{left:.2f}" y="8" width="{right - left:.2f}" height="30" fill="#e4e4e4"/>',
        f'<line x1="0" y1="38" x2="{width}" y2="38" stroke="#888" stroke-width="1.5"/>',
        f'<rect x="{x(R - U):.2f}" y="17" width="{max(1.5, x(R + U) - x(R - U)):.2f}" height="12" fill="#000"/>',
        f'<line x1="{x(R):.2f}" y1="6" x2="{x(R):.2f}" y2="40" stroke="#fff" stroke-width="6"/>',
        f'<line x1="{x(R):.2f}" y1="4" x2="{x(R):.2f}" y2="42" stroke="#000" stroke-width="3"/>',
    ]
    for end in ends:
        parts.append(f'<line x1="{x(end):.2f}" y1="2" x2="{x(end):.2f}" y2="42" stroke="#000" stroke-width="2.5"/>')
        at = min(max(x(end), 34), width - 34)
        parts.append(_text(at, 57, engineering(end, "ohm", 6), 10, "middle"))
    return _svg(width, height, "".join(parts))


def _step(rough: float) -> float:
    decade = 10.0 ** math.floor(math.log10(rough))
    return next(factor for factor in (1, 2, 5, 10) if factor * decade >= rough * 0.999) * decade


def _text(x: float, y: float, text: str, size: float, anchor: str = "start") -> str:
    return f'<text x="{x:.2f}" y="{y:.2f}" font-size="{size}" {_FONT} text-anchor="{anchor}">{escape(text)}</text>'


def _svg(width: float, height: float, inside: str) -> str:
    head = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" height="{height}">'
    return f"{head}{inside}</svg>"
