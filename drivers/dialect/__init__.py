"""Dialects: how families of instruments spell what a bench needs. TOML files; data, never code.

`model` says what a dialect is, `reader` loads and validates one, `pattern` reads replies. The shipped files stand in
`drivers/dialects/`; the guide walks through writing one.
"""

from drivers.dialect.model import KINDS, REQUIRED, Dialect, Errors, Format, Spelling, Sync
from drivers.dialect.reader import dialect_names, is_shipped, load_dialect

__all__ = [
    "KINDS",
    "REQUIRED",
    "Dialect",
    "Errors",
    "Format",
    "Spelling",
    "Sync",
    "dialect_names",
    "is_shipped",
    "load_dialect",
]
