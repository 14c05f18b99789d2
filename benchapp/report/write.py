"""A report in the form that its file's name asks for."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path

from benchapp.errors import Fault, InputError
from benchapp.files import replacing
from benchapp.logbook.export import export_csv
from benchapp.report.content import Content, content_of, stated_of
from benchapp.report.page import page_of
from benchapp.report.pictures import blocks_picture, limits_picture
from benchapp.result.statement import Statement
from benchapp.run.recorded import RecordedRun, open_run

FORMS = (".pdf", ".html", ".json", ".csv")


def write_report(logbook: Path, run_id: int, out: Path, part: str = "") -> str:
    """Write run `run_id`, or one of its parts; the report's number. Raises InputError, LogbookError, and then nothing
    is written.
    """
    form = out.suffix.lower()
    if form not in FORMS:
        raise InputError(Fault("no form of a report", out.name, f"End it in one of {', '.join(FORMS)}", field="--out"))
    recorded = open_run(logbook, run_id)
    stated = stated_of(recorded, part)
    content = content_of(recorded, datetime.now().astimezone(), part)
    data = b"" if form == ".csv" else _data(recorded, content, stated, form)
    with replacing(out, "report", [logbook]) as stream:
        if form == ".csv":
            export_csv(logbook, run_id, stream)
        else:
            stream.buffer.write(data)
    return content.number


def _data(recorded: RecordedRun, content: Content, stated: Statement, form: str) -> bytes:
    if form == ".json":
        return (json.dumps(content.as_object(), ensure_ascii=False, indent=1) + "\n").encode()
    blocks, limits = blocks_picture(recorded, stated), limits_picture(recorded, stated)
    if form == ".html":
        return page_of(content, blocks, limits).encode()
    from benchapp.report.document import document_of

    return document_of(content, blocks, limits)
