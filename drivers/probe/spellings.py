"""What is worth trying: the spellings of SCPI-99 volume 2 and the usual extensions, by role and capability."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Candidate:
    """A header with what it holds. `trial` is how a set is tried: "half" of what is there, "small", "flip", none."""

    header: str
    kind: str = "number"
    trial: str = ""
    rounds: str = "exact"
    value: str = ""

    @property
    def query(self) -> str:
        """The header as a query."""
        return f"{self.header}?"


SOURCE: dict[str, tuple[Candidate, ...]] = {
    "output": (Candidate(":OUTP", "bool"),),
    "compliance": (
        Candidate(":SOUR:VOLT:LIM", trial="half"),
        Candidate(":SOUR:VOLT:PROT", trial="half"),
        Candidate(":SENS:VOLT:PROT", trial="half"),
    ),
    "range": (Candidate(":SOUR:CURR:RANG", trial="half", rounds="up"),),
    "autorange": (Candidate(":SOUR:CURR:RANG:AUTO", "bool", "flip"),),
    "level": (Candidate(":SOUR:CURR", trial="small"), Candidate(":CURR", trial="small")),
    "limiting": (
        Candidate(":STAT:QUES:COND", "bit"),
        Candidate(":SOUR:VOLT:PROT:TRIP", "bool"),
        Candidate(":SENS:VOLT:PROT:TRIP", "bool"),
    ),
}
VOLTMETER: dict[str, tuple[Candidate, ...]] = {
    "function": (Candidate(":SENS:FUNC", "text", value="VOLT"), Candidate(":FUNC", "text", value="VOLT")),
    "nplc": (
        Candidate(":SENS:VOLT:DC:NPLC", trial="half", rounds="nearest"),
        Candidate(":SENS:VOLT:NPLC", trial="half", rounds="nearest"),
    ),
    "aperture": (
        Candidate(":SENS:VOLT:DC:APER", trial="half", rounds="nearest"),
        Candidate(":SENS:VOLT:APER", trial="half", rounds="nearest"),
    ),
    "range": (
        Candidate(":SENS:VOLT:DC:RANG", trial="half", rounds="up"),
        Candidate(":SENS:VOLT:RANG", trial="half", rounds="up"),
    ),
    "autorange": (
        Candidate(":SENS:VOLT:DC:RANG:AUTO", "bool", "flip"),
        Candidate(":SENS:VOLT:RANG:AUTO", "bool", "flip"),
    ),
    "autozero": (
        Candidate(":CAL:ZERO:AUTO", "bool", "flip"),
        Candidate(":SENS:ZERO:AUTO", "bool", "flip"),
        Candidate(":SYST:AZER", "bool", "flip"),
    ),
    "trigger_source": (Candidate(":TRIG:SOUR", "text", value="IMM"),),
    "read": (Candidate(":READ", "number"),),
}
BY_ROLE = {"source": SOURCE, "voltmeter": VOLTMETER}
NONSENSE = "ZQXJ"


def nonsense_sibling(query: str) -> str:
    """The same path with a last node that no instrument has: who answers it answers anything."""
    path, _, _ = query.rpartition(":")
    return f"{path}:{NONSENSE}?" if path else f":{NONSENSE}?"
