"""A thread that writes a run down, batch by batch, and only then lets it be seen.

So whatever the window, the stream or the progress line show is in the record. The end is written with the statement of
the whole run, which is made here, after the output went off.
"""

from __future__ import annotations

import contextlib
import queue
import threading
import traceback
from collections.abc import Callable
from pathlib import Path

from benchapp.errors import BenchError
from benchapp.logbook.errors import LogbookError
from benchapp.logbook.store import RunHeader, RunWriter
from benchapp.measure.snapshot import Batch, RecordLost
from benchapp.result.json_object import statement_object
from benchapp.result.statement import Statement


class Recorder:
    """`take` batches from the thread that measures; `publish` is told of each group that is on the disk.

    `conclude` makes the final statement, or one for each part; it sees all that was published before and the last
    group.
    """

    def __init__(
        self,
        logbook: Path,
        header: RunHeader,
        *,
        publish: Callable[[list[Batch], tuple[Statement, ...]], None],
        conclude: Callable[[list[Batch]], tuple[Statement, ...]],
    ) -> None:
        self._logbook, self._header = logbook, header
        self._publish, self._conclude = publish, conclude
        self.run_id: int | None = None
        self.lost = ""
        self._batches: queue.SimpleQueue[Batch | None] = queue.SimpleQueue()
        self._started = threading.Event()
        self._error: BenchError | None = None
        self._thread = threading.Thread(target=self._write, name="record")

    def start(self) -> None:
        """Begin the record. Raises LogbookError: without a record nothing starts."""
        self._thread.start()
        self._started.wait()
        if self._error is not None:
            self._thread.join()
            raise self._error

    @property
    def alive(self) -> bool:
        """Whether something may still be written."""
        return self._thread.is_alive()

    def join(self, timeout_s: float | None = None) -> None:
        """Wait for the last group."""
        self._thread.join(timeout_s)

    def take(self, batch: Batch) -> None:
        """One batch. Raises RecordLost once the record has failed."""
        # The end is told even where it can no longer be written down: the window must not go on showing a live output.
        if self.lost and batch.snapshot.end is None:
            raise RecordLost(self.lost)
        self._batches.put(batch)

    def close(self) -> None:
        """Nothing more comes."""
        self._batches.put(None)

    def _write(self) -> None:
        try:
            writer = RunWriter(self._logbook, self._header)
        except BenchError as error:
            self._error = error
            return
        except Exception as error:  # noqa: BLE001  the outermost net of the writer: without a record nothing starts
            self._error = LogbookError(f"{self._logbook}: the record cannot be begun ({error!r})")
            return
        finally:
            self._started.set()
        self.run_id = writer.run_id
        with contextlib.closing(writer):
            while (batches := self._waiting()) is not None:
                stated = self._store(writer, batches)
                if not self.lost or batches[-1].snapshot.end is not None:
                    try:
                        self._publish(batches, stated)
                    except Exception:  # noqa: BLE001  what is written but not shown would go on unseen: the run ends
                        self.lost = self.lost or f"the record failed, an internal error: {traceback.format_exc()}"

    def _waiting(self) -> list[Batch] | None:
        """All batches that wait, at least one; None at the end."""
        first = self._batches.get()
        if first is None:
            return None
        batches = [first]
        with contextlib.suppress(queue.Empty):
            while (batch := self._batches.get_nowait()) is not None:
                batches.append(batch)
            self._batches.put(None)
        return batches

    def _store(self, writer: RunWriter, batches: list[Batch]) -> tuple[Statement, ...]:
        """Write a group down; the final statements, where the run has ended."""
        stated: tuple[Statement, ...] = ()
        try:
            if not self.lost:
                for batch in batches:
                    if batch.facts is not None:
                        writer.facts(batch.facts.identities, batch.facts.settings)
                readings = [reading for batch in batches for reading in batch.readings]
                events = [event for batch in batches for event in batch.events]
                writer.append(readings, events, [found for batch in batches for found in batch.temperatures])
            last = batches[-1].snapshot
            if last.end is not None:
                stated = self._conclude(batches)
                if not self.lost:
                    writer.end(last.end, [statement_object(one, {"run_id": writer.run_id}) for one in stated])
        except LogbookError as error:
            self.lost = str(error)
        except Exception:  # noqa: BLE001  the outermost net of the writer: the run must not go on unrecorded
            self.lost = f"the record failed, an internal error: {traceback.format_exc()}"
        if self.lost and stated:
            stated = self._conclude(batches)  # it knows now that the record failed, and is not valid
        return stated
