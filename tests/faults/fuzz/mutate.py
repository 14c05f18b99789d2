"""Texts that are nearly right: what a slip or malice makes of a good one."""

from __future__ import annotations

import random

_NASTY = (
    "1e999999999", "-1e999999999", "9" * 400, "0." + "0" * 400 + "1", "99999999999999999999", "-0", "nan", "inf",
    "1e299", "1e-320", "0x7f", "1_000", "\0", "\x1b[2J", "\u202e", "\ufeff", "\ud800", "\r", "\n", "\n\n", "[" * 3000,
    "{" * 3000, "(" * 3000, "{value}", "{skip}", "{text}", "re2:(a*)*b", "%s", "{0}", "'", '"', '"""', "#", "=", "[]",
    "{}", "true", "false", "1979-05-27T07:32:00Z", "µ", "Ω", "٣", "½", "10 MV", "1 A A", "5 kA", "1 A**9**9**9", "*RST",
    ":OUTP ON", ":SOUR:CURR 9", ";", ";:OUTP 1;", "MAX", "#HFF", "../up", "x" * 70_000, "é" * 300, ",", ";;",
)  # fmt: skip


def mutated(text: str, dice: random.Random) -> str:
    """One to four changes of a text."""
    for _ in range(dice.choice((1, 1, 1, 2, 2, 3, 4))):
        text = dice.choice(_CHANGES)(text, dice)
    return text[:300_000]


def as_bytes(text: str, dice: random.Random) -> bytes:
    """A text as a file has it; now and then with a byte that no UTF-8 has."""
    data = bytearray(text.encode("utf-8", "surrogatepass"))
    if data and dice.random() < 0.03:
        data[dice.randrange(len(data))] = dice.randrange(256)
    return bytes(data)


def _insert(text: str, dice: random.Random) -> str:
    at = dice.randint(0, len(text))
    return text[:at] + dice.choice(_NASTY) + text[at:]


def _replace_value(text: str, dice: random.Random) -> str:
    """What stands behind an equals sign, a comma or a space becomes something else."""
    places = [k for k, c in enumerate(text) if c in "=, \t"]
    if not places:
        return text + dice.choice(_NASTY)
    at = dice.choice(places) + 1
    end = min((k for k in (text.find(c, at + 1) for c in ",\n") if k > 0), default=len(text))
    new = dice.choice(_NASTY)
    return text[:at] + (f'"{new}"' if dice.random() < 0.5 else new) + text[end:]


def _delete(text: str, dice: random.Random) -> str:
    at = dice.randint(0, len(text))
    return text[:at] + text[at + dice.choice((1, 2, 8, 40)) :]


def _double(text: str, dice: random.Random) -> str:
    at = dice.randint(0, len(text))
    piece = text[at : at + dice.choice((1, 3, 20, 100))]
    return text[:at] + piece * dice.choice((2, 2, 3, 50)) + text[at + len(piece) :]


def _change(text: str, dice: random.Random) -> str:
    if not text:
        return text
    at = dice.randrange(len(text))
    return (
        text[:at]
        + chr(dice.choice((dice.randrange(128), dice.randrange(0x300), dice.randrange(0x10000))))
        + text[at + 1 :]
    )


def _swap_lines(text: str, dice: random.Random) -> str:
    lines = text.split("\n")
    a, b = dice.randrange(len(lines)), dice.randrange(len(lines))
    lines[a], lines[b] = lines[b], lines[a]
    return "\n".join(lines)


def _swap_values(text: str, dice: random.Random) -> str:
    """Two lines change what stands behind their equals signs."""
    lines = [line.partition("=") for line in text.split("\n")]
    a, b = dice.randrange(len(lines)), dice.randrange(len(lines))
    lines[a], lines[b] = (*lines[a][:2], lines[b][2]), (*lines[b][:2], lines[a][2])
    return "\n".join("".join(line) for line in lines)


def _cut(text: str, dice: random.Random) -> str:
    return text[: dice.randint(0, len(text))]


_CHANGES = (_insert, _insert, _replace_value, _replace_value, _replace_value, _delete, _double, _change, _change,
            _swap_lines, _swap_values, _cut)  # fmt: skip
