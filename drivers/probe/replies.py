"""What a reply to a probe means: its kind, what to try, and whether a trial came back."""

from __future__ import annotations

from drivers.probe.spellings import Candidate

_SMALL_A = 1e-5
TRUE, FALSE = ("1", "+1", "ON", "YES", "TRUE"), ("0", "+0", "OFF", "NO", "FALSE")


def fits(candidate: Candidate, reply: str) -> bool:
    """Whether a reply is of the kind that the candidate's query asks for."""
    word = reply.strip().strip("\"'").upper()
    if candidate.kind == "bool":
        return word in TRUE + FALSE
    if candidate.kind == "text":
        return candidate.value[:3] in word
    try:
        value = float(word)
    except ValueError:
        return False
    return candidate.kind != "bit" or value.is_integer()


def trial_value(candidate: Candidate, before: str) -> str | None:
    """What to set for a trial; None where nothing harmless is left to try."""
    if candidate.trial == "flip":
        return "0" if before.strip().upper() in TRUE else "1"
    if candidate.trial == "small":
        return f"{_SMALL_A:.6E}"
    value = float(before)
    return f"{value / 2:.6E}" if 0 < value < 1e30 else None


def as_asked(candidate: Candidate, wanted: str, after: str, before: str) -> bool:
    """Whether what reads back after a trial is what was asked for, as instruments round."""
    if candidate.kind == "bool":
        return (after.strip().upper() in TRUE) == (wanted == "1")
    value, asked = float(after), float(wanted)
    if candidate.rounds == "up":
        return asked * 0.999 <= value <= asked * 12
    if candidate.rounds == "nearest":
        return abs(value - asked) <= 0.5 * asked and value != float(before)
    return abs(value - asked) <= 1e-3 * abs(asked)
