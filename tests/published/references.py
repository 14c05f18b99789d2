"""Check values copied from published sources; each entry names its source and how it was obtained."""

import json
from pathlib import Path
from typing import Any

_FILE = Path(__file__).with_name("references.json")


def reference(identifier: str) -> dict[str, Any]:
    """The entry of that id."""
    entries: list[dict[str, Any]] = json.loads(_FILE.read_text("utf-8"))
    return next(entry for entry in entries if entry["id"] == identifier)
