"""TOML tables of the user's: read whole, with the faults of the file itself in words; and the words of a value back."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from benchapp.errors import Fault, InputError

_MOST_BYTES = 1_000_000


def read_table(path: Path) -> dict[str, Any]:
    """The table in a file. Raises InputError that names file and line."""
    try:
        if path.stat().st_size > _MOST_BYTES:
            remedy = "Name the file that was meant"
            raise InputError(Fault("is larger than any such file", "", remedy, file=str(path)))
        text = path.read_text("utf-8")
    except OSError as error:
        raise InputError(Fault(f"cannot be read: {error.strerror}", "", "Check the path", file=str(path))) from error
    except UnicodeDecodeError as error:
        raise InputError(Fault("this is no UTF-8 text", "", "Save it as UTF-8", file=str(path))) from error
    return parse_table(text, str(path))


def parse_table(text: str, file: str) -> dict[str, Any]:
    """The table in a text; `file` says in messages where it stands. Raises InputError."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(Fault(f"this is no TOML: {error}", "", "Correct that line", file=file)) from error


def quoted(text: str) -> str:
    """A text as TOML writes it."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in escaped) + '"'
