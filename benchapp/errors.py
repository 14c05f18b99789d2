"""The application's errors. Each says what is wrong, where, with which value, and what to do about it.

BenchError
    InputError         what the user wrote: file, field, value, remedy; all faults of one input at once
        QuantityError  one quantity that cannot be read
"""

from __future__ import annotations

from dataclasses import dataclass

from drivers.plain import plain, shortened


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with the input. `field` and `file` are empty where they are not known yet."""

    problem: str
    value: str
    remedy: str
    field: str = ""
    file: str = ""

    def __str__(self) -> str:
        where = ": ".join(shortened(part, 4096) for part in (self.file, self.field) if part)
        value = shortened(self.value)
        shown = f" (got {value!r})" if value else ""
        return plain(
            f"{where + ': ' if where else ''}{shortened(self.problem, 1000)}{shown}. {shortened(self.remedy, 1000)}"
        )


_MOST_TOLD = 50


class BenchError(Exception):
    """Root of what the application raises on purpose. `exit_status` is the command line's."""

    exit_status = 1


class InputError(BenchError):
    """Bad input, as one or more faults."""

    exit_status = 2

    def __init__(self, *faults: Fault) -> None:
        more = [f"and {len(faults) - _MOST_TOLD} more"] if len(faults) > _MOST_TOLD else []
        super().__init__("\n".join([*map(str, faults[:_MOST_TOLD]), *more]))
        self.faults = faults


class QuantityError(InputError):
    """A text that is no quantity of the wanted kind."""
