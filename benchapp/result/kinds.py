"""Whether a value read from a file is of the kind that its dataclass names: a stranger's file may hold anything."""

from __future__ import annotations

import dataclasses
import functools
import types
import typing
from typing import Any


def misfit(value: Any, hint: Any, where: str = "") -> str:
    """Where a value is of another kind than its annotation, as "decision.low_ohm"; empty where all fits.

    Knows dataclasses, unions, tuples and plain classes; of other containers only the kind is looked at.
    """
    origin = typing.get_origin(hint)
    if hint is Any:
        return ""
    if origin in (typing.Union, types.UnionType):
        found = [misfit(value, one, where) for one in typing.get_args(hint)]
        return "" if "" in found else max(found, key=len)
    if origin is tuple:
        return _in_tuple(value, typing.get_args(hint), where)
    if hint is float:
        fits = isinstance(value, int | float) and not isinstance(value, bool)
    elif hint is int:
        fits = isinstance(value, int) and not isinstance(value, bool)
    else:
        fits = isinstance(value, origin or hint)
    if not fits:
        return where or "the whole"
    if dataclasses.is_dataclass(hint):
        cls: Any = hint
        for name, kind in _hints(cls).items():
            if wrong := misfit(getattr(value, name), kind, f"{where}.{name}" if where else name):
                return wrong
    return ""


def _in_tuple(value: Any, hints: tuple[Any, ...], where: str) -> str:
    if not isinstance(value, tuple):
        return where or "the whole"
    kinds = hints[:1] * len(value) if hints[-1:] == (Ellipsis,) else hints
    if len(kinds) != len(value):
        return where or "the whole"
    return next((wrong for one, kind in zip(value, kinds, strict=True) if (wrong := misfit(one, kind, where))), "")


@functools.cache
def _hints(cls: Any) -> dict[str, Any]:
    return {field.name: typing.get_type_hints(cls)[field.name] for field in dataclasses.fields(cls)}
