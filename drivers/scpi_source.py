"""A current source on top of link and dialect."""

from __future__ import annotations

import contextlib
from collections.abc import Sequence

from drivers.compliance import Compliance
from drivers.dialect import Dialect, Spelling
from drivers.errors import SettingError
from drivers.guardian import SafePlan
from drivers.instrument import Instrument
from drivers.level import Level, PolarityCommand
from drivers.link import Link, to_float
from drivers.values import place_of
from drivers.wires import host_and_port, visa_library

_ACKNOWLEDGED_WITHIN_S = 0.5


class ScpiSource(Instrument):
    """See `drivers.roles.CurrentSource`. `bipolar`: it takes negative levels itself."""

    bipolar = True
    range_A: float | None = None  # in use, as read back; None where it is not known
    _largest_A = 0.0  # of the run: no level that reads back may lie above it
    _turning: PolarityCommand | None = None
    _asked_A: float | None = None  # by the last step; None where a list of levels runs

    def __init__(self, link: Link, dialect: Dialect) -> None:
        super().__init__(link, dialect)
        self.compliance = Compliance(self)
        self._level = Level(self)

    def open(self) -> None:
        """Switch off before anything else, then identify and reset."""
        self.order_off()
        super().open()

    def configure(self, *, current_A: float, compliance_V: float) -> None:
        """Range before level, compliance before output: the order that every source takes."""
        if self.has("range"):
            self.set("range", abs(current_A))
            self.range_A = self.get_number("range") if self.spelling("range").get else self._range_for(abs(current_A))
            self._level.range_A = self.range_A
        self._largest_A = abs(current_A)
        self.compliance.set(compliance_V)
        self.set("level", 0.0)
        self._prepare_step()

    def _prepare_step(self) -> None:
        """Fix how a step is made: in one message with its answers where the instrument takes that, else one by one."""
        self._turning = PolarityCommand(self) if self.has("polarity") else None
        level = self._level.spelling
        self._limiting = self.spelling("limiting") if self.has("limiting") else None
        asked = [self.dialect.sync_query] if self.dialect.sync_query else []
        if self._limiting is not None:
            asked.append(self._limiting.get)
        self._queries = asked
        plain = self.dialect.sync.mode in ("query", "none") and not self.dialect.errors.acknowledges
        self._in_one = bool(self.compound and asked and plain and not level.before and not level.settle_s)
        self._step_messages: dict[float, str] = {}
        self._read_back_A: set[float] = set()
        self._usual_reply = ""  # of a step that the compliance did not limit

    def step(self, current_A: float) -> bool:
        """One message with its own completion answer; several where the instrument takes one unit only.

        Each level reads back once, at its first step: a source that clamps is told before a reading is taken.
        """
        if self._turning is not None:
            if self._turning.turned_by(current_A):
                self.set("level", 0.0)  # the contacts inside move without current
                self._turning.turn(current_A)
            current_A = abs(current_A)
        self._asked_A = current_A
        limited = self._step_in_one(current_A) if self._in_one else self._step_by_parts(current_A)
        if not limited and current_A not in self._read_back_A:
            self._compare_level(())
            self._read_back_A.add(current_A)
        return limited

    def _step_in_one(self, current_A: float) -> bool:
        message = self._step_messages.get(current_A)
        if message is None:
            level = self._level.spelling.set.replace("{value}", self._level.text(current_A))
            message = self._step_messages[current_A] = ";".join([level, *self._queries])
        reply = self.link.query(message)
        if reply == self._usual_reply:
            return False
        limited = self._is_limited(message, reply.split(";"))
        if not limited:
            self._usual_reply = reply
        return limited

    def _step_by_parts(self, current_A: float) -> bool:
        spelling = self._level.spelling
        messages, _ = self._rendered("level", spelling, current_A)
        for message in messages:
            self.send(message)
        if spelling.settle_s:
            self.link.pause(spelling.settle_s)
        self._synchronise(self.link.timeout_s)
        return self._limiting is not None and self.get_bool("limiting")

    def _is_limited(self, message: str, replies: list[str]) -> bool:
        """Whether the answers to a step say that the compliance limits."""
        if len(replies) != len(self._queries):
            self.check_errors(message)
            raise SettingError(
                f"{len(replies)} answers to {len(self._queries)} queries",
                resource=self.link.resource,
                command=message,
                remedy="Name a dialect with compound = false.",
            )
        return self._limiting is not None and self.read_bool(self._limiting, replies[-1])

    def output_on(self) -> None:
        """Switch on; the readback proves it. Before it the whole set-up is looked at once more.

        Another setting, of this role or of the other one of the same instrument, may have moved level, compliance or
        output. Raises SettingError.
        """
        if self.read_output():
            raise SettingError(
                "the output is on though only settings were sent",
                resource=self.link.resource,
                command=self.spelling("output").get,
                remedy="It was switched off. Look in its dialect for a setting that energises, and leave it out.",
            )
        self._asked_A = 0.0
        self._compare_level(())
        self.compliance.compare()
        self.set("output", True)

    def look_after(self) -> list[str]:
        """In the middle of a run: what its error queue holds. Raises SettingError where level or compliance are others
        than was asked, as after a hand on its panel, or the output is off by itself.
        """
        found = self.reported()
        self._compare_level(found)
        self.compliance.compare()
        if not self.get_bool("output"):
            raise SettingError(
                "the output is off though nobody switched it off: the source has lost its settings, or protects itself",
                resource=self.link.resource,
                command=self.spelling("output").get,
                remedy="Look for a dip of the mains, an interlock or a trip; then measure again.",
            )
        return found

    def forget_level(self) -> None:
        """The level is another's from now on: a list steps it."""
        self._asked_A = None

    @property
    def tells_compliance(self) -> bool:
        """Whether it can say that the compliance limits."""
        return self._limiting is not None

    def _compare_level(self, reported: Sequence[str]) -> None:
        """The level of the last step reads back as it was asked. Raises SettingError."""
        spelling = self._level.spelling
        if self._asked_A is None or not spelling.get or not spelling.verify:
            return
        found = self._level.ask()
        digit_A = min(self._level.last_digit_A, self._largest_A / 2)
        beyond = abs(found) > self._largest_A * (1 + spelling.rtol) + digit_A
        if beyond or not self._level.agrees(self._asked_A, found):
            more = f"; it {reported[0].partition(' ')[2]}" if reported else ""
            raise SettingError(
                f"a level of {self._asked_A:.6g} A was asked and {found:.6g} A reads back{more}",
                resource=self.link.resource,
                command=spelling.get,
                remedy="Choose a current within its range and limits.",
            )

    def value_text(self, spelling: Spelling, value: float | bool | str) -> str:
        """A value as this source takes it; its level may be in counts."""
        if spelling.counts and not isinstance(value, bool | str):
            return self._level.text(value)
        return super().value_text(spelling, value)

    def _agrees(self, spelling: Spelling, value: float | bool | str, reply: str) -> bool:
        if spelling.counts:
            read = to_float(self.extract(spelling, reply), self.link, spelling.get)
            return self._level.agrees(float(value), self._level.of(read))
        return super()._agrees(spelling, value, reply)

    def _range_for(self, current_A: float) -> float:
        """The range that a table gives for a current; else the current itself, as it was set."""
        spelling = self.spelling("range")
        return spelling.table[place_of(current_A, spelling)] if spelling.kind == "index" else current_A

    def safe(self) -> bool:
        """The safe sequence, on a new connection where the old one is gone; True where the output is proved off."""
        if self._switched_off():
            return True
        with contextlib.suppress(Exception):
            self.link.reopen()
        return self._switched_off()

    def _switched_off(self) -> bool:
        self.order_off()
        try:
            return self.read_output() is False
        except Exception:  # noqa: BLE001  whatever stands in the way of proving it, it is not proved
            return False

    def safe_plan(self) -> SafePlan:
        """How to switch this source off from outside, by its own socket or by a new connection."""
        target = host_and_port(self.link.resource)
        output = self.spelling("output")
        return SafePlan(
            address=self.link.resource,
            host=None if target is None else target[0],
            port=None if target is None else target[1],
            fd=None if self.dialect.hangs_up else self.link.fileno(),
            safe=self.off_messages(),
            identify=self.link.identity_query,
            identity=self.link.identity,
            query=output.get,
            off=(output.off.upper(), *(text.upper() for text in self.dialect.format.false)),
            terminator=self.dialect.write_termination,
            end=self.dialect.read_termination,
            reply="" if output.reply is None else output.reply.source,
            prompt=self.dialect.prompt.strip(),
            bit=output.bit if output.kind == "bit" else None,
            mask=output.mask,
            serial=self.dialect.serial,
            hangs_up=self.dialect.hangs_up,
            library="" if target is not None else visa_library(self.link.resource),
        )

    def off_messages(self) -> tuple[str, ...]:
        """The safe sequence; the output's own off message always stands in it, because the readback asks about that."""
        chosen = self._chosen.get("output")
        spellings = self.dialect.capabilities["output"] if chosen is None else (chosen,)
        own = [off for spelling in spellings for off in _off_of(spelling)]
        return (*self.dialect.safe, *(message for message in own if message not in self.dialect.safe))

    def read_output(self) -> bool | None:
        """Whether the output is on, as it reads back; None where it cannot be asked. Raises InstrumentError."""
        only = self.dialect.capabilities["output"]
        if len(only) == 1:
            self._chosen.setdefault("output", only[0])  # nothing to choose from: it is not probed with a wrong query
        return self.get_bool("output") if self.spelling("output").get else None

    def order_off(self) -> None:
        """Send all that switches it off, message by message, whatever each of them meets."""
        for message in self.off_messages():
            with contextlib.suppress(Exception):  # no fault, of whatever kind, keeps the next message back
                self.link.write(message, at_once=True)
                if self.dialect.errors.acknowledges:
                    # What is answered must be heard, or every answer from now on is one behind.
                    self.link.read(message, _ACKNOWLEDGED_WITHIN_S)


def _off_of(spelling: Spelling) -> list[str]:
    if spelling.off_set:
        return [spelling.off_set]
    return [spelling.set.replace("{value}", spelling.off)] if spelling.set else []
