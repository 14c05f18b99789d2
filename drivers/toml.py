"""A user's TOML file, read whole: whatever is wrong with the file itself is said in words."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from drivers.plain import shortened

MOST_BYTES = 1_000_000


class TomlError(ValueError):
    """A file or text that is no table: what is wrong, and what to do."""


def read_toml(path: Path) -> dict[str, Any]:
    """The table in a file. Raises TomlError."""
    try:
        if path.stat().st_size > MOST_BYTES:
            raise TomlError("is larger than any such file. Name the file that was meant")
        text = path.read_text("utf-8")
    except OSError as error:
        raise TomlError(f"cannot be read: {error.strerror}. Check the path") from error
    except UnicodeDecodeError as error:
        raise TomlError("this is no UTF-8 text. Save it as UTF-8") from error
    except ValueError as error:  # a path that no system takes
        raise TomlError(f"cannot be read: {error}. Check the path") from error
    return parse_toml(text)


def parse_toml(text: str) -> dict[str, Any]:
    """The table in a text. Raises TomlError."""
    try:
        return tomllib.loads(text)
    except RecursionError as error:
        raise TomlError("this is no TOML: brackets within brackets without end. Correct that line") from error
    except ValueError as error:  # also a number of thousands of digits
        raise TomlError(f"this is no TOML: {shortened(str(error))}. Correct that line") from error
