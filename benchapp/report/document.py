"""The report as a PDF, set by Typst from the same content as the page; the same run gives the same bytes."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

from assets import asset
from benchapp.errors import Fault, InputError
from benchapp.report.content import Content

_TEMPLATE = Path(__file__).with_name("document.typ")


def document_of(content: Content, blocks_svg: str, limits_svg: str) -> bytes:
    """The PDF. Raises InputError where it cannot be set, as where Typst is not installed."""
    try:
        import typst
    except ImportError as error:
        remedy = "Install it (pip install typst), or write .html"
        raise InputError(Fault("a PDF is set by Typst, which is not installed", "", remedy, field="--out")) from error
    told = content.as_object()
    # Typst counts bytes, and a minus sign is three of them.
    told["certain_bytes"] = len(content.digits[: content.certain].encode())
    told["blocks_svg"], told["limits_svg"] = blocks_svg, limits_svg
    try:
        found: bytes = typst.compile(
            str(_TEMPLATE),
            root=str(_TEMPLATE.parent),
            font_paths=[str(Path(str(asset("fonts", "B612-Regular.otf"))).parent)],
            ignore_system_fonts=True,
            sys_inputs={"content": json.dumps(told, ensure_ascii=True)},
            timestamp=int(datetime(2000, 1, 1, tzinfo=UTC).timestamp()),
        )
    except (RuntimeError, typst.TypstError) as error:
        raise InputError(Fault(f"the PDF cannot be set: {error}", "", "Write .html", field="--out")) from error
    return found
