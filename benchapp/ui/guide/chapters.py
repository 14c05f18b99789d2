"""The guide's files as chapters and sections, and which of them hold some words."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from assets import asset

_SECTION = re.compile(r"^## (.+)$", re.MULTILINE)
_CHAPTER = re.compile(r"^# (.+)$", re.MULTILINE)


@dataclass(frozen=True, slots=True)
class Section:
    """One section: its chapter, its heading, its text in Markdown."""

    chapter: str
    heading: str
    text: str

    def holds(self, words: str) -> bool:
        """Whether every word stands in it, in whatever case."""
        hay = f"{self.chapter} {self.heading} {self.text}".lower()
        return all(word in hay for word in words.lower().split())


def guide_folder() -> Path:
    """Where chapters and pictures are."""
    return Path(str(asset("guide", "01-method.md"))).parent


@lru_cache(maxsize=1)
def sections() -> tuple[Section, ...]:
    """All of them, in their order."""
    found = []
    for path in sorted(guide_folder().glob("*.md")):
        text = path.read_text("utf-8")
        chapter = _CHAPTER.search(text)
        assert chapter is not None, f"{path.name} has no heading"
        parts = _SECTION.split(text)
        for heading, body in zip(parts[1::2], parts[2::2], strict=True):
            found.append(Section(chapter[1].strip(), heading.strip(), body.strip()))
    return tuple(found)


def found_by(words: str) -> list[Section]:
    """Sections that hold every word; those with one in the heading first."""
    among = [one for one in sections() if one.holds(words)]
    return sorted(among, key=lambda one: not any(word in one.heading.lower() for word in words.lower().split()))


def section_of_field(key: str) -> Section | None:
    """The section that explains a field of a recipe."""
    return next((one for one in sections() if f"(`{key}`)" in one.text), None)
