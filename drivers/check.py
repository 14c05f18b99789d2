"""Does a dialect hold for this instrument? Each capability tried with the output off, told in a table."""

from __future__ import annotations

from dataclasses import dataclass

from drivers.dialect import REQUIRED, Dialect
from drivers.errors import InstrumentError
from drivers.instrument import Instrument
from drivers.scpi_source import ScpiSource
from drivers.scpi_voltmeter import ScpiVoltmeter

_SMALL_A = 1e-6
# What only a linked run uses, and only as a whole.
_LINKED = {
    "mode", "list", "step_source", "arm", "start", "abort", "taken", "armed", "samples", "trigger", "count", "drain",
    "clear", "delay",
}  # fmt: skip
_NOT_TRIED = {
    "output": "on is not tried here: it would energise; off was proved",
    "limiting": "answers; what it says while the compliance limits is not tried here",
}


@dataclass(frozen=True, slots=True)
class Checked:
    """One capability: "works", "unverified", "missing" or "fails", and what was seen."""

    name: str
    state: str
    seen: str


def check(instrument: ScpiSource | ScpiVoltmeter) -> list[Checked]:
    """Every capability of the opened instrument's dialect, what it needs first. The output is off before and after."""
    dialect = instrument.dialect
    names = sorted(dialect.capabilities, key=lambda name: (name not in REQUIRED[dialect.kind], name))
    found = []
    if isinstance(instrument, ScpiSource):
        if not instrument.safe():
            return [Checked("output", "fails", "the output cannot be proved off: nothing else was tried")]
        found = [_checked(instrument, name) for name in names]
        instrument.safe()
    else:
        found = [_checked(instrument, name) for name in names]
    return found


def _checked(instrument: Instrument, name: str) -> Checked:
    try:
        if not instrument.has(name):
            return Checked(name, "missing", f"not answered: {_tried(instrument.dialect, name)}")
        return _tried_out(instrument, name)
    except InstrumentError as error:
        return Checked(name, "fails", error.problem)


def _tried_out(instrument: Instrument, name: str) -> Checked:
    spelling = instrument.spelling(name)
    if name == "read":
        assert isinstance(instrument, ScpiVoltmeter)
        instrument.configure(nplc=1.0, line_frequency_Hz=50.0, range_V=None)
        return Checked(name, "works", f"reads {instrument.read():.6g} V")
    if name in _LINKED:
        return Checked(name, "unverified", "for runs in step by trigger lines; tried by such a run")
    if name in _NOT_TRIED:
        seen = instrument.get_bool(name)
        state = "fails" if name == "output" and seen else "unverified"
        return Checked(name, state, _NOT_TRIED[name])
    if spelling.fixed or spelling.by_hand:
        how = f"fixed at {spelling.fixed:g} V" if spelling.fixed else "set by hand, and confirmed for each run"
        return Checked(name, "unverified", f"its dialect says: {how}")
    if not spelling.settable:
        return Checked(name, "unverified", "can be asked, not set")
    if spelling.kind in ("number", "index"):
        return _number(instrument, name)
    if spelling.kind == "bool":
        before = instrument.get_bool(name)
        instrument.set(name, not before)
        return _told(name, instrument, instrument.set(name, before).read_back)
    return _told(name, instrument, instrument.set(name, "").read_back)


def _number(instrument: Instrument, name: str) -> Checked:
    """A level as small as can be; of anything else, what stands there, set again."""
    spelling = instrument.spelling(name)
    if not spelling.get:
        return Checked(name, "unverified", "cannot be asked, so it was not set")
    value = _SMALL_A if name == "level" else instrument.get_number(name)
    setting = instrument.set(name, value)
    if name == "level":
        instrument.set(name, 0.0)
    return _told(name, instrument, setting.read_back)


def _told(name: str, instrument: Instrument, read_back: str) -> Checked:
    status = instrument.spelling(name).status
    if not read_back:
        return Checked(name, "unverified", "was set; cannot be read back")
    if status == "unverified" or (name == "compliance" and instrument.spelling(name).limits == "unknown"):
        what = "clamp or trip is not known" if name == "compliance" else "its dialect calls it unverified"
        return Checked(name, "unverified", f"reads back {read_back}; {what}")
    return Checked(name, "works", f"reads back {read_back}")


def _tried(dialect: Dialect, name: str) -> str:
    return ", ".join(spelling.get or spelling.set for spelling in dialect.capabilities[name])
