"""Evidence, capability by capability: queries with a nonsense sibling as control, then settings that read back.

A setting is tried only where the output is proved off, and is put back; the compliance is only ever lowered. Left to
the user's hand: output ON, the unit of the level, whether a compliance clamps or trips, READ? on a box that also
sources.
"""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable
from dataclasses import dataclass, field

from drivers.errors import InstrumentError, LinkTimeout
from drivers.link import Habits, Link
from drivers.probe.errors import ErrorChannel
from drivers.probe.replies import FALSE, as_asked, fits, trial_value
from drivers.probe.spellings import BY_ROLE, Candidate, nonsense_sibling
from drivers.wires import Wire

_TIMEOUT_S = 0.4
Progress = Callable[[str, int, int], None]
_TERMINATIONS = ("\n", "\r\n", "\r")


@dataclass(frozen=True, slots=True)
class Finding:
    """One capability: the spelling that was found, "proved" or "unverified", and why one may believe it."""

    name: str
    candidate: Candidate
    status: str
    evidence: str


@dataclass(slots=True)
class Report:
    """What a probe has found out, and what it could not."""

    role: str
    identity: str = ""
    write_termination: str = "\n"
    echo: bool = False
    greeting: str = ""
    compound: bool = False
    error_mode: str = "none"
    error_query: str = ""
    completes: bool = False
    also_sources: bool = False
    findings: list[Finding] = field(default_factory=list)
    missing: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    seconds: float = 0.0
    messages: int = 0


def probe(
    open_wire: Callable[[str], Wire],
    resource: str,
    role: str,
    *,
    may_read: bool = False,
    transcript: Callable[[str, str, str], None] | None = None,
    progress: Progress = lambda doing, done, of: None,
) -> Report:
    """Probe an instrument in a role; `open_wire` connects anew with the given read termination. Raises InstrumentError.

    `may_read`: READ? is allowed even where the instrument also sources. `progress` hears what is being done, how many
    things are done and of how many; it may raise to end the probe.
    """
    prober = Probe(open_wire, resource, role, may_read=may_read, transcript=transcript, progress=progress)
    try:
        return prober.run()
    finally:
        prober.close()


class Probe:
    """One probe under way."""

    def __init__(
        self,
        open_wire: Callable[[str], Wire],
        resource: str,
        role: str,
        *,
        may_read: bool = False,
        transcript: Callable[[str, str, str], None] | None = None,
        progress: Progress = lambda doing, done, of: None,
    ) -> None:
        self._open_wire, self._resource = open_wire, resource
        self._progress, self._steps = progress, len(BY_ROLE[role]) + 2
        self._may_read = may_read
        self._transcript = transcript
        self.report = Report(role)
        self._link: Link | None = None
        self._sent = 0

    def close(self) -> None:
        """Hang up."""
        if self._link is not None:
            self._link.close()

    def run(self) -> Report:
        """All steps in their order."""
        start = time.monotonic()
        report = self.report
        self._progress("line end and identity", 0, self._steps)
        link = self._connect()
        self._progress("how it refuses", 1, self._steps)
        self._errors = ErrorChannel(link, _TIMEOUT_S)
        report.error_mode, report.error_query = self._errors.mode, self._errors.query
        report.notes += [f"stood in its error queue, and is gone now: {entry}" for entry in self._errors.old]
        report.compound = self._takes_two()
        report.completes = (self._errors.ask("*OPC?") or "").strip().lstrip("+") == "1"
        if self._errors.mode == "none":
            report.notes.append("it refuses nothing that can be noticed: nothing can be proved, and nothing was set")
            report.missing = list(BY_ROLE[report.role])
        else:
            self._find_all()
        report.seconds, report.messages = time.monotonic() - start, self._sent
        return report

    # The connection.

    def _connect(self) -> Link:
        last: Exception | None = None
        for end in _TERMINATIONS:
            link = self._linked(end)
            self._link = link
            self._hear_greeting(link)
            try:
                answer = link.query("*IDN?", 2 * _TIMEOUT_S)
                if answer.strip().upper() == "*IDN?":
                    self.report.echo = True
                    answer = link.read("*IDN?", _TIMEOUT_S)
            except LinkTimeout as error:
                last = error
                link.close()
                continue
            self.report.identity, self.report.write_termination = answer, end
            if self.report.echo:
                return self._echoing(end)
            if link.identify() != answer:
                # What came first was said unasked, and everything is one answer behind.
                self.report.greeting = answer
                link.pause(_TIMEOUT_S)
                link.drop()
                self.report.identity = link.identify()
            return link
        raise InstrumentError(
            "does not answer *IDN? with any usual line end",
            resource=self._resource,
            remedy="Check the address; an instrument without SCPI needs a dialect written by hand.",
        ) from last

    def _hear_greeting(self, link: Link) -> None:
        """What it says unasked when it is connected to is no answer."""
        with contextlib.suppress(LinkTimeout):
            self.report.greeting = link.read("nothing", _TIMEOUT_S)

    def _echoing(self, end: str) -> Link:
        assert self._link is not None
        self._link.close()
        self._link = self._linked(end, Habits(echo=True, greeting=bool(self.report.greeting)))
        self._link.identify()
        return self._link

    def _linked(self, end: str, habits: Habits | None = None) -> Link:
        return Link(
            lambda: self._open_wire("\r" if end == "\r" else "\n"),
            self._resource,
            write_termination=end,
            timeout_s=_TIMEOUT_S,
            transcript=self._count,
            habits=habits,
        )

    def _count(self, resource: str, direction: str, message: str) -> None:
        self._sent += direction == ">"
        if self._transcript is not None:
            self._transcript(resource, direction, message)

    def _takes_two(self) -> bool:
        reply = self._errors.ask("*IDN?;*IDN?") or ""
        self._errors.refused()
        identity = self.report.identity
        return reply.replace(" ", "") == f"{identity};{identity}".replace(" ", "")

    # Capabilities.

    def _find_all(self) -> None:
        report = self.report
        known = {name: self._known(candidates) for name, candidates in BY_ROLE[report.role].items() if name != "read"}
        report.also_sources = report.role == "voltmeter" and self._answers(Candidate(":OUTP", "bool")) is not None
        off = report.role == "voltmeter" or self._is_off(known["output"])
        if report.also_sources:
            output = [Candidate(":OUTP", "bool")]
            off = self._is_off(output)
        if not off:
            report.notes.append("the output could not be proved off: nothing was set")
        stood = {c.header: self._errors.ask(c.query) for found in known.values() for c in found if c.trial}
        for done, (name, candidates) in enumerate(known.items(), 2):
            self._progress(name, done, self._steps)
            self._judge(name, candidates, may_set=off)
        if off:
            self._put_all_back(stood)
        if report.role == "voltmeter":
            self._progress("read", self._steps - 1, self._steps)
            self._judge_read()

    def _known(self, candidates: tuple[Candidate, ...]) -> list[Candidate]:
        """Those that are answered in the right kind; all of them are tried, not only up to the first."""
        return [candidate for candidate in candidates if self._answers(candidate) is not None]

    def _answers(self, candidate: Candidate) -> str | None:
        reply = self._errors.ask(candidate.query)
        refused = self._errors.refused()
        if reply is None or refused or reply == self._errors.query:
            return None
        return reply if fits(candidate, reply) else None

    def _sibling_refused(self, candidate: Candidate) -> bool:
        reply = self._errors.ask(nonsense_sibling(candidate.query))
        refused = self._errors.refused()
        if self._errors.mode == "reply":
            return reply == self._errors.query
        return reply is None and refused

    def _is_off(self, candidates: list[Candidate]) -> bool:
        return any(self._reads_off(c) and self._sibling_refused(c) for c in candidates)

    def _reads_off(self, candidate: Candidate) -> bool:
        reply = self._answers(candidate)
        return reply is not None and reply.strip().upper() in FALSE

    def _judge(self, name: str, candidates: list[Candidate], *, may_set: bool) -> None:
        best: Finding | None = None
        for candidate in candidates:
            finding = self._evidence(name, candidate, may_set=may_set)
            if best is None or (finding.status == "proved" and best.status != "proved"):
                best = finding
        if best is None:
            self.report.missing.append(name)
        else:
            self.report.findings.append(best)

    def _evidence(self, name: str, candidate: Candidate, *, may_set: bool) -> Finding:
        if not self._sibling_refused(candidate):
            return Finding(name, candidate, "unverified", "answered, but so is nonsense beside it")
        if name == "output":
            return Finding(name, candidate, "unverified", "its query is proved; switching on is left to the user")
        if not candidate.trial:
            return Finding(name, candidate, "proved", "answered in the right kind; nonsense beside it is refused")
        if not may_set:
            return Finding(name, candidate, "unverified", "answered; not set, because the output is not proved off")
        worked, evidence = self._try_set(name, candidate)
        if name == "level":
            return Finding(name, candidate, "unverified", f"{evidence}; its unit is left to the user")
        if name == "compliance":
            return Finding(name, candidate, "unverified", f"{evidence}; whether it clamps or trips is left to the user")
        return Finding(name, candidate, "proved" if worked else "unverified", evidence)

    def _try_set(self, name: str, candidate: Candidate) -> tuple[bool, str]:
        """Set, read back, put back; whether that went as it should, and what was seen."""
        before = self._errors.ask(candidate.query)
        if before is None:
            return False, "did not answer again"
        wanted = trial_value(candidate, before)
        if wanted is None:
            return False, f"stands at {before}, where no change can be tried"
        others = self._snapshot(name)
        self._send(f"{candidate.header} {wanted}")
        refused = self._errors.refused()
        after = self._errors.ask(candidate.query)
        if not self._still_off():
            return False, "setting it switched the output on: it was switched off again"
        moved = [key for key, value in self._snapshot(name).items() if value != others.get(key)]
        self._send(f"{candidate.header} {before.split(',')[0]}")
        self._errors.refused()
        restored = self._errors.ask(candidate.query)
        if refused or after is None:
            return False, "the setting was refused"
        if not as_asked(candidate, wanted, after, before):
            return False, f"{wanted} was accepted and reads back as {after}"
        if restored != before:
            return False, f"could not be put back to {before}; it stands at {restored}"
        beside = f"; moved {', '.join(moved)} too" if moved else ""
        return not moved, f"set to {wanted}, read back {after}, put back{beside}"

    def _put_all_back(self, stood: dict[str, str | None]) -> None:
        """A setting may have moved another, as a range switches autorange off: what moved goes back, Booleans last."""
        for header, value in sorted(stood.items(), key=lambda item: item[0].endswith((":AUTO", ":STAT"))):
            if value is not None and self._errors.ask(f"{header}?") != value:
                self._send(f"{header} {value.split(',')[0]}")
                if self._errors.refused() or self._errors.ask(f"{header}?") != value:
                    self.report.notes.append(f"{header} stood at {value} and could not be put back")

    def _still_off(self) -> bool:
        if self.report.role == "voltmeter" and not self.report.also_sources:
            return True
        if self._reads_off(Candidate(":OUTP", "bool")):
            return True
        self._send(":OUTP OFF")
        return False

    def _snapshot(self, without: str) -> dict[str, str]:
        """What the others stand at; settings that belong together may move each other."""
        coupled = {
            "nplc": {"aperture"}, "aperture": {"nplc"}, "range": {"autorange", "level"}, "autorange": {"range"},
            "level": {"range", "autorange"},
        }  # fmt: skip
        left_out = {without, *coupled.get(without, set()), "read", "limiting"}
        found = {}
        for name, candidates in BY_ROLE[self.report.role].items():
            if name not in left_out and (reply := self._errors.ask(candidates[0].query)) is not None:
                found[name] = reply
            self._errors.refused()
        return found

    def _judge_read(self) -> None:
        candidate = BY_ROLE["voltmeter"]["read"][0]
        if self.report.also_sources and not self._may_read:
            note = "not tried: the instrument also sources, and a reading may switch its output on"
            self.report.findings.append(Finding("read", candidate, "unverified", note))
            return
        try:
            assert self._link is not None
            reply: str | None = self._link.query(candidate.query, 5.0)
        except LinkTimeout:
            reply = None
        refused = self._errors.refused()
        if reply is None or refused or not fits(candidate, reply):
            self.report.missing.append("read")
        else:
            self.report.findings.append(Finding("read", candidate, "proved", f"answered {reply}"))

    def _send(self, message: str) -> None:
        assert self._link is not None
        self._link.write(message)
        if self._errors.mode == "reply":
            # Such an instrument may acknowledge settings too.
            with contextlib.suppress(LinkTimeout):
                self._link.read(message, _TIMEOUT_S / 2)
