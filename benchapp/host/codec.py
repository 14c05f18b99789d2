"""What crosses from one process to another: frozen dataclasses, enums and named tuples as plain JSON, and back.

Only classes that can be reached from the given ones through their annotations are known; nothing that comes in can
name another, so nothing foreign is ever made or executed.
"""

from __future__ import annotations

import datetime
import enum
import inspect
import math
import typing
from collections.abc import Iterable
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any

import numpy as np


class CodecError(Exception):
    """Something crossed that none of the known classes is."""


class Codec:
    """Both directions for a set of classes and all that they hold."""

    def __init__(self, roots: Iterable[type]) -> None:
        self._known: dict[str, type] = {}
        for root in roots:
            self._learn(root)

    def to_plain(self, value: Any) -> Any:
        """As JSON takes it. Raises CodecError."""
        if isinstance(value, np.generic):
            value = value.item()
        if isinstance(value, enum.Enum):
            return {"!": self._name(type(value)), "": value.value}
        if value is None or isinstance(value, bool | int | str):
            return value
        if isinstance(value, float):
            return value if math.isfinite(value) else {"!": "float", "": repr(value)}
        if isinstance(value, datetime.date):
            return {"!": "date", "": value.isoformat()}
        if isinstance(value, Path):
            return {"!": "Path", "": str(value)}
        if is_dataclass(value):
            # By name: what has its default still crosses, so that no default can differ between two versions.
            kept = {field.name: self.to_plain(getattr(value, field.name)) for field in fields(value)}
            return {"!": self._name(type(value)), "": kept}
        if isinstance(value, tuple):
            kind = self._name(type(value)) if hasattr(value, "_fields") else "tuple"
            return {"!": kind, "": [self.to_plain(item) for item in value]}
        if isinstance(value, frozenset):
            return {"!": "frozenset", "": sorted(self.to_plain(item) for item in value)}
        if isinstance(value, list):
            return [self.to_plain(item) for item in value]
        if isinstance(value, np.ndarray):
            return {"!": "array", "": [self.to_plain(item) for item in value.ravel().tolist()], "shape": value.shape}
        if isinstance(value, dict):
            return {"!": "dict", "": [[self.to_plain(key), self.to_plain(item)] for key, item in value.items()]}
        raise CodecError(f"{type(value).__name__} cannot cross")

    def from_plain(self, plain: Any) -> Any:
        """What was sent. Raises CodecError."""
        if isinstance(plain, list):
            return [self.from_plain(item) for item in plain]
        if not isinstance(plain, dict):
            return plain
        try:
            return self._made(plain["!"], plain[""], plain)
        except (KeyError, TypeError, ValueError) as error:
            raise CodecError(f"not understood: {error!r}") from error

    def _made(self, kind: str, held: Any, plain: dict[str, Any]) -> Any:
        if kind == "float":
            return float(held)
        if kind == "date":
            return datetime.date.fromisoformat(held)
        if kind == "Path":
            return Path(held)
        if kind == "tuple":
            return tuple(self.from_plain(item) for item in held)
        if kind == "frozenset":
            return frozenset(self.from_plain(item) for item in held)
        if kind == "dict":
            return {self.from_plain(key): self.from_plain(item) for key, item in held}
        if kind == "array":
            return np.array([self.from_plain(item) for item in held], dtype=float).reshape(plain["shape"])
        known = self._known.get(kind)
        if known is None:
            raise CodecError(f"{kind!r} is not known here")
        if issubclass(known, enum.Enum):
            return known(held)
        if is_dataclass(known):
            return known(**{name: self.from_plain(item) for name, item in held.items()})
        return known(*(self.from_plain(item) for item in held))

    def _name(self, kind: type) -> str:
        if self._known.get(kind.__qualname__) is not kind:
            raise CodecError(f"{kind.__qualname__} cannot cross")
        return kind.__qualname__

    def _learn(self, hint: Any) -> None:
        if inspect.isclass(hint):
            if issubclass(hint, enum.Enum):
                self._known[hint.__qualname__] = hint
            elif is_dataclass(hint) or hasattr(hint, "_fields"):
                if self._known.get(hint.__qualname__) is hint:
                    return
                assert hint.__qualname__ not in self._known, f"two classes of one name: {hint.__qualname__}"
                self._known[hint.__qualname__] = hint
                for inner in typing.get_type_hints(hint).values():
                    self._learn(inner)
            return
        for inner in typing.get_args(hint):
            self._learn(inner)
