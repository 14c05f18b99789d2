"""What can go wrong with the record."""

from __future__ import annotations

from benchapp.errors import BenchError


class LogbookError(BenchError):
    """The logbook cannot be used: file and remedy in the message."""

    exit_status = 2
