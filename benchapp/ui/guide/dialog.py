"""The guide beside the work: contents at the left, found by words, one section at the right."""

from __future__ import annotations

from PySide6.QtCore import Qt, QUrl
from PySide6.QtGui import (
    QKeySequence,
    QShortcut,
    QTextBlockFormat,
    QTextCharFormat,
    QTextCursor,
    QTextDocument,
    QTextFormat,
)
from PySide6.QtWidgets import (
    QDialog,
    QHBoxLayout,
    QLineEdit,
    QListWidget,
    QListWidgetItem,
    QTextBrowser,
    QTextEdit,
    QVBoxLayout,
    QWidget,
)

from benchapp.ui.guide.chapters import Section, found_by, guide_folder, section_of_field, sections
from benchapp.ui.theme import Theme, font
from benchapp.ui.widgets.controls import faint

_SECTION = Qt.ItemDataRole.UserRole


class GuideDialog(QDialog):
    """Not modal: it may stay open beside the work."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme = theme
        self.setWindowTitle("Guide")
        self.resize(1000, 680)
        self.search = QLineEdit()
        self.search.setPlaceholderText("words to look for (Ctrl+L)")
        self.search.setAccessibleName("search the guide")
        self.search.textChanged.connect(self._look_for)
        self.count = faint()
        self.contents = QListWidget()
        self.contents.setAccessibleName("contents")
        self.contents.currentItemChanged.connect(self._show_current)
        self.contents.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.contents.setMinimumWidth(300)
        self.text = QTextBrowser()
        self.text.setAccessibleName("guide")
        self.text.setOpenLinks(False)
        self.text.setSearchPaths([str(guide_folder())])
        left = QVBoxLayout()
        left.addWidget(self.search)
        left.addWidget(self.count)
        left.addWidget(self.contents, 1)
        row = QHBoxLayout(self)
        row.addLayout(left, 1)
        row.addWidget(self.text, 3)
        find = QShortcut(QKeySequence("Ctrl+L"), self)
        find.activated.connect(self.search.setFocus)
        theme.changed.connect(self._mark_words)
        self._look_for("")

    def show_field(self, key: str) -> None:
        """What the guide says of a field of the recipe."""
        section = section_of_field(key)
        if section is None:
            return
        self.search.clear()
        self._choose(section)
        self.text.find(f"({key})") or self.text.find(key)
        self.text.ensureCursorVisible()

    @property
    def shown(self) -> Section | None:
        """The section in view."""
        item = self.contents.currentItem()
        found = None if item is None else item.data(_SECTION)
        return found if isinstance(found, Section) else None

    def _look_for(self, words: str) -> None:
        found = found_by(words) if words.strip() else list(sections())
        self.count.setText(f"{len(found)} of {len(sections())} sections" if words.strip() else "all sections")
        self.contents.clear()
        chapter = ""
        for section in found:
            if section.chapter != chapter and not words.strip():
                head = QListWidgetItem(section.chapter)
                head.setFlags(Qt.ItemFlag.NoItemFlags)
                head.setFont(font(14, bold=True))
                head.setForeground(self._theme.colours.colour("ink"))
                self.contents.addItem(head)
            chapter = section.chapter
            item = QListWidgetItem(section.heading)
            item.setData(_SECTION, section)
            self.contents.addItem(item)
        first = next((row for row in range(self.contents.count()) if self.contents.item(row).data(_SECTION)), -1)
        self.contents.setCurrentRow(first)

    def _choose(self, section: Section) -> None:
        for row in range(self.contents.count()):
            if self.contents.item(row).data(_SECTION) == section:
                self.contents.setCurrentRow(row)

    def _show_current(self) -> None:
        section = self.shown
        if section is None:
            self.text.setPlainText("Nothing holds all of these words." if self.search.text().strip() else "")
            return
        self.text.document().setBaseUrl(QUrl.fromLocalFile(f"{guide_folder()}/"))
        self.text.setMarkdown(f"## {section.heading}\n\n{section.text}")
        self._space_out()
        self._mark_words()

    def _space_out(self) -> None:
        """Room between the paragraphs, and between the lines."""
        block = self.text.document().begin()
        while block.isValid():
            form = block.blockFormat()
            code = form.hasProperty(QTextFormat.Property.BlockCodeLanguage) or block.text().startswith("    ")
            if not code and form.nonBreakableLines() is False:
                form.setBottomMargin(10)
                form.setLineHeight(125, QTextBlockFormat.LineHeightTypes.ProportionalHeight.value)
                QTextCursor(block).setBlockFormat(form)
            block = block.next()
        self.text.moveCursor(QTextCursor.MoveOperation.Start)

    def _mark_words(self) -> None:
        """What was looked for stands out."""
        marks = []
        form = QTextCharFormat()
        form.setBackground(self._theme.colours.colour("band"))
        for word in self.search.text().split():
            cursor = QTextCursor(self.text.document())
            while True:
                cursor = self.text.document().find(word, cursor, QTextDocument.FindFlag(0))
                if cursor.isNull():
                    break
                mark = QTextEdit.ExtraSelection()
                mark.cursor, mark.format = cursor, form
                marks.append(mark)
        self.text.setExtraSelections(marks)
        if marks:
            first = QTextCursor(marks[0].cursor)
            first.clearSelection()
            self.text.setTextCursor(first)
            self.text.ensureCursorVisible()
