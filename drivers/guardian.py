"""The application's side of the guardian: start it, arm it before the output goes on, beat while all is well."""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import sys
import time
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any, Protocol

from drivers.errors import InstrumentError

_PROGRAM = Path(__file__).with_name("guardian_process.py")
_BEAT_EVERY_S = 0.1
_TOO_LATE_S = 0.8  # the guardian acts after 1.6 s; later than this it must say that it has not, before we go on
_ANSWER_WITHIN_S = 2.0
_LINE_PROGRAM = Path(__file__).with_name("serial_line.py")
_PATTERN_PROGRAM = Path(__file__).with_name("dialect") / "pattern.py"
_LOOK_S = 0.01


class GuardianLost(InstrumentError):
    """The guardian is gone, or has acted: the run must end with the output off."""


@dataclass(frozen=True, slots=True)
class SafePlan:
    """All that is needed to switch a source off from outside.

    `host` is None where the link is no socket; `fd` is the application's own socket, which the guardian inherits.
    `reply` is the pattern of the answer to `query`, "" for the answer as it stands; `off` are the words that mean off,
    beside the number 0; with `bit` it is that bit of a number, with `mask` all of those. `library` opens the address
    where it is no socket; `serial` are settings of a serial line. `hangs_up`: it takes one exchange a connection.
    `lock` is held with us as long as the guardian lives; `mark` is a file that it takes away once the output is proved
    off.
    """

    address: str
    host: str | None
    port: int | None
    fd: int | None
    safe: tuple[str, ...]
    identify: str
    identity: str
    query: str
    off: tuple[str, ...]
    terminator: str
    end: str
    lock: int | None = None
    mark: str = ""
    reply: str = ""
    bit: int | None = None
    library: str = "@py"
    prompt: str = ""
    mask: int = 0
    serial: dict[str, int] = field(default_factory=dict)
    hangs_up: bool = False


class Guard(Protocol):
    """What the sequencer needs. `needs_plan`: without a plan nothing may be switched on."""

    @property
    def needs_plan(self) -> bool:
        """Whether somebody must be able to switch off from outside."""

    def arm(self, plan: SafePlan) -> None:
        """Be ready to carry out the plan. Raises GuardianLost; then no output goes on."""

    def beat(self) -> None:
        """Say that the sequencer is alive; cheap, to be called at least ten times a second. Raises GuardianLost."""

    def disarm(self) -> None:
        """The output is proved off."""


class NoGuard:
    """For a bench inside the application's own process, which ends with it."""

    needs_plan = False

    def arm(self, plan: SafePlan) -> None:
        """Nothing to guard."""

    def beat(self) -> None:
        """Nothing to guard."""

    def disarm(self) -> None:
        """Nothing to guard."""


class ProcessGuard:
    """A guardian process. Used by the sequencer's thread."""

    needs_plan = True

    def __init__(self) -> None:
        self._process: subprocess.Popen[bytes] | None = None
        self._address = ""
        self._next_beat_s = 0.0
        self._last_beat_s = 0.0
        self._last_answer_s = 0.0
        self._number = 0

    def arm(self, plan: SafePlan) -> None:
        """Start a guardian for this plan; an earlier one leaves only when the new one is armed."""
        before = self._process
        self._address = plan.address
        _no_core_file()
        process = _spawn(plan)
        try:
            _wait_for(process, b"there", plan.address)
            _order(
                process,
                {
                    "order": "arm",
                    **asdict(plan),
                    "pattern_program": str(_PATTERN_PROGRAM),
                    "line_program": str(_LINE_PROGRAM),
                },
            )
            _wait_for(process, b"ok 0", plan.address)
        except BaseException:
            process.kill()
            _reap(process)
            raise
        assert process.stdin is not None
        assert process.stdout is not None
        for stream in (process.stdin, process.stdout):
            os.set_blocking(stream.fileno(), False)
        self._process = process
        self._last_beat_s = self._last_answer_s = time.monotonic()
        self._next_beat_s = self._last_beat_s + _BEAT_EVERY_S
        if before is not None:
            _leave(before)

    def beat(self) -> None:
        """Nothing but a look at the clock until the next beat is due."""
        now = time.monotonic()
        if now < self._next_beat_s:
            return
        self._beat(now)

    def _beat(self, now: float) -> None:
        process = self._process
        if process is None:
            return
        late_s, self._last_beat_s = now - self._last_beat_s, now
        self._next_beat_s = now + _BEAT_EVERY_S
        if self._answers(process):
            self._last_answer_s = now
        self._number += 1
        assert process.stdin is not None
        try:
            os.write(process.stdin.fileno(), b'{"order": "beat", "number": %d}\n' % self._number)
        except OSError as error:
            raise self._lost("the guardian process does not listen") from error
        if late_s > _TOO_LATE_S or now - self._last_answer_s > _ANSWER_WITHIN_S:
            # Starved is not hung: where it answers this very beat, it has not acted, and it goes on trusting us.
            self._wait_for_answer(process, late_s)
        self._last_beat_s = time.monotonic()

    def _answers(self, process: subprocess.Popen[bytes]) -> bytes:
        """What it has said since; empty where nothing. Raises GuardianLost where it has acted, or is gone."""
        assert process.stdout is not None
        try:
            answers = os.read(process.stdout.fileno(), 65536)
        except BlockingIOError:
            return b""
        if b"acting" in answers:
            raise self._lost("the guardian has switched off")
        if not answers or process.poll() is not None:
            raise self._lost("the guardian process is gone")
        return answers

    def _wait_for_answer(self, process: subprocess.Popen[bytes], late_s: float) -> None:
        until = time.monotonic() + _ANSWER_WITHIN_S
        said = b""
        while b"ok %d\n" % self._number not in said:
            said += self._answers(process)
            if time.monotonic() > until:
                raise self._lost(f"the guardian process does not answer; the program was late by {late_s:.1f} s")
            time.sleep(_LOOK_S)
        self._last_answer_s = time.monotonic()

    def disarm(self) -> None:
        """Let the guardian leave."""
        if self._process is not None:
            _leave(self._process)
            self._process = None

    def _lost(self, why: str) -> GuardianLost:
        return GuardianLost(why, resource=self._address, remedy="The output was switched off; start the run again.")


def _spawn(plan: SafePlan) -> subprocess.Popen[bytes]:
    """In a session of its own, so that what ends our process group does not end it."""
    needs_packages = plan.host is None or plan.reply.startswith("re2:")
    isolated = ["-I"] if needs_packages else ["-I", "-S"]
    options: dict[str, Any] = {}
    if os.name == "posix":
        inherited = tuple(fd for fd in (plan.fd, plan.lock) if fd is not None)
        options = {"start_new_session": True, "pass_fds": inherited}
    else:
        options = {"creationflags": getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0)}
    return subprocess.Popen(
        [sys.executable, *isolated, str(_PROGRAM)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        bufsize=0,
        **options,
    )


def _wait_for(process: subprocess.Popen[bytes], word: bytes, address: str) -> None:
    """Read one line; a guardian that cannot start closes its end."""
    assert process.stdout is not None
    line = process.stdout.readline().strip()
    if line != word:
        remedy = "Nothing was switched on. Check that Python can start programs here."
        why = f": {line[3:].decode('utf-8', 'replace')}" if line.startswith(b"no ") else ""
        raise GuardianLost(f"the guardian process could not be armed{why}", resource=address, remedy=remedy)


def _order(process: subprocess.Popen[bytes], order: dict[str, Any]) -> None:
    assert process.stdin is not None
    process.stdin.write(json.dumps(order).encode("ascii") + b"\n")


def _leave(process: subprocess.Popen[bytes]) -> None:
    with contextlib.suppress(OSError):
        _order(process, {"order": "disarm"})
    _reap(process)


def _reap(process: subprocess.Popen[bytes]) -> None:
    for stream in (process.stdin, process.stdout):
        if stream is not None:
            with contextlib.suppress(OSError):
                stream.close()
    try:
        process.wait(2.0)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait(2.0)


def _no_core_file() -> None:
    """Writing a large core file would delay every sign of our death by seconds."""
    with contextlib.suppress(ImportError, OSError, ValueError):
        import resource

        _, hard = resource.getrlimit(resource.RLIMIT_CORE)
        resource.setrlimit(resource.RLIMIT_CORE, (0, hard))
