"""TOML tables of the user's: read whole, with the faults of the file itself in words; and the words of a value back."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from benchapp.errors import Fault, InputError
from drivers.toml import TomlError, parse_toml, read_toml


def read_table(path: Path) -> dict[str, Any]:
    """The table in a file. Raises InputError that names file and line."""
    try:
        return read_toml(path)
    except TomlError as error:
        raise _fault(error, str(path)) from error


def parse_table(text: str, file: str) -> dict[str, Any]:
    """The table in a text; `file` says in messages where it stands. Raises InputError."""
    try:
        return parse_toml(text)
    except TomlError as error:
        raise _fault(error, file) from error


def _fault(error: TomlError, file: str) -> InputError:
    problem, _, remedy = str(error).rpartition(". ")
    return InputError(Fault(problem, "", remedy, file=file))


def quoted(text: str) -> str:
    """A text as TOML writes it."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in escaped) + '"'
