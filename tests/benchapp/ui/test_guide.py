"""The guide: complete, searchable, and open at the field that one asks about."""

import re

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from pytestqt.qtbot import QtBot

from benchapp.bench.output import OutputState
from benchapp.recipe import RECIPE_KEYS
from benchapp.ui.guide.chapters import found_by, guide_folder, section_of_field, sections
from benchapp.ui.widgets.rail import StageName
from benchapp.ui.window import MainWindow


@pytest.mark.parametrize("key", RECIPE_KEYS)
def test_every_field_is_explained(key: str) -> None:
    section = section_of_field(key)
    assert section is not None
    assert re.search(rf"\*\*[^*]+\*\*\s+\(`{key}`\)", section.text)


@pytest.mark.parametrize(
    "word", ["arcs", "discharge", "burns", "licensed", "lock out", "battery", "local codes", "hot"]
)
def test_the_cautions_are_there_in_full(word: str) -> None:
    assert any(section.chapter == "Cautions" for section in found_by(word))


@pytest.mark.parametrize("kind", ["shunt", "contact", "busbar joint", "weld", "cable", "bond wire"])
def test_each_kind_of_specimen_has_its_line(kind: str) -> None:
    assert any(kind in section.text for section in sections() if section.chapter == "One job from end to end")


def test_its_pictures_are_there() -> None:
    named = [name for section in sections() for name in re.findall(r"!\[[^]]+\]\(([^)]+)\)", section.text)]
    assert len(named) >= 3
    assert all((guide_folder() / name).is_file() for name in named)


def test_it_is_found_by_words(window: MainWindow, qtbot: QtBot) -> None:
    window.show_guide()
    guide = window._guide
    assert guide is not None
    whole = guide.count.text()
    QTest.keyClicks(guide.search, "inductive arcs")
    assert guide.shown is not None
    assert guide.shown.chapter == "Cautions"
    assert guide.text.extraSelections()
    guide.search.setText("no such word anywhere")
    assert guide.shown is None
    assert "Nothing" in guide.text.toPlainText()
    guide.search.clear()
    assert guide.count.text() == whole
    guide.close()


def test_a_field_leads_into_it(window: MainWindow, qtbot: QtBot) -> None:
    window.show_stage(StageName.SPECIMEN)
    field = window.specimen.field("settle")
    field.setFocus()
    qtbot.waitUntil(field.hasFocus)
    QTest.keyClick(field, Qt.Key.Key_F1)
    qtbot.waitUntil(lambda: window._guide is not None and window._guide.isVisible())
    assert window._guide is not None
    assert window._guide.shown == section_of_field("settle")
    window._guide.close()


def test_escape_closes_it_only_where_the_output_is_off(window: MainWindow, qtbot: QtBot) -> None:
    window.show_guide()
    guide = window._guide
    assert guide is not None
    guide.activateWindow()
    qtbot.waitUntil(guide.isActiveWindow)
    window._output = OutputState.ON  # as it was read
    window._escape()
    assert guide.isVisible()
    window._output = OutputState.OFF
    window._escape()
    assert not guide.isVisible()
