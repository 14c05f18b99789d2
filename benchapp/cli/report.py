"""`benchapp report`: a run as a page to read and print, or as data."""

from __future__ import annotations

import argparse
import json
from datetime import datetime
from pathlib import Path

from benchapp.errors import Fault, InputError
from benchapp.files import replacing
from benchapp.logbook.database import default_path
from benchapp.logbook.export import export_csv
from benchapp.report.content import Content, content_of
from benchapp.report.page import page_of
from benchapp.report.pictures import blocks_picture, limits_picture
from benchapp.run.recorded import RecordedRun, open_run

_FORMS = (".html", ".json", ".csv", ".pdf")


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """The command's options."""
    parser = commands.add_parser("report", help="write a run as a report: HTML, PDF, JSON or CSV by the file's name")
    parser.add_argument("run_id", type=int, metavar="RUN", help="its number in the logbook")
    parser.add_argument(
        "--out", type=Path, required=True, metavar="FILE.html", help="where to; .html, .pdf, .json, .csv"
    )
    parser.add_argument("--logbook", type=Path, default=None, help="another logbook than the usual one")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Write it. Raises InputError, LogbookError."""
    path, out = arguments.logbook or default_path(), arguments.out
    if out.suffix.lower() not in _FORMS:
        raise InputError(Fault("no form of a report", out.name, f"End it in one of {', '.join(_FORMS)}", field="--out"))
    recorded = open_run(path, arguments.run_id)
    content = content_of(recorded, datetime.now().astimezone())
    if out.suffix.lower() == ".pdf":
        from benchapp.report.document import document_of

        data = document_of(content, blocks_picture(recorded), limits_picture(recorded))
        with replacing(out, "report", [path]) as stream:
            stream.buffer.write(data)
    else:
        with replacing(out, "report", [path]) as stream:
            if out.suffix.lower() == ".csv":
                export_csv(path, arguments.run_id, stream)
            else:
                stream.write(_text(recorded, content, out.suffix.lower()))
    print(f"{content.number} is in {out}")
    return 0


def _text(recorded: RecordedRun, content: Content, form: str) -> str:
    if form == ".json":
        return json.dumps(content.as_object(), ensure_ascii=False, indent=1) + "\n"
    return page_of(content, blocks_picture(recorded), limits_picture(recorded))
