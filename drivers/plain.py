"""Text from outside as plain text: what would steer a terminal, turn the writing round or break a line is shown."""

from __future__ import annotations

import unicodedata


def plain(text: str) -> str:
    """One line: every character that steers stands as its escape, a line break too."""
    return text if text.isprintable() else "".join(map(_shown, text))


def plain_block(text: str) -> str:
    """Several lines: line breaks and tabulators stay."""
    return text if text.isprintable() else "".join(c if c in "\n\t" else _shown(c) for c in text)


def shortened(text: str, longest: int = 200) -> str:
    """A text for a message: what someone wrote may be a megabyte."""
    return text if len(text) <= longest else text[:longest] + " ..."


def _shown(c: str) -> str:
    if c.isprintable() or unicodedata.category(c) == "Zs":
        return c
    code = ord(c)
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"
