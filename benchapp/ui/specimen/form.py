"""The recipe as a form: what one usually fills in, and the rest folded under one line that says what differs."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QCheckBox, QFrame, QGridLayout, QLabel, QScrollArea, QVBoxLayout, QWidget

from benchapp.ui.models import RecipeModel
from benchapp.ui.specimen.fields import RARE, USUAL, Field, Group, unusual
from benchapp.ui.theme import Theme
from benchapp.ui.widgets.choice_edit import ChoiceEdit
from benchapp.ui.widgets.controls import Heading, KeyButton, faint, plain_label
from benchapp.ui.widgets.quantity_edit import QuantityEdit

_WIDE = ("name", "serial", "channels")


class RecipeForm(QScrollArea):
    """Edits the RecipeModel. A field that a plan has filled carries a mark until somebody types into it."""

    def __init__(self, theme: Theme, model: RecipeModel, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme, self._model = theme, model
        self.fields: dict[str, QuantityEdit | ChoiceEdit] = {}
        self._notes: dict[str, tuple[QLabel, str]] = {}
        inside = QWidget()
        inside.setObjectName("form")
        column = QVBoxLayout(inside)
        column.setContentsMargins(0, 0, 8, 0)
        column.setSpacing(2)
        for group in USUAL:
            column.addWidget(self._group(group))
        self.examined = QCheckBox("The run examines itself: settling, warming, polarities, levels")
        self.examined.toggled.connect(self._examine)
        column.addSpacing(4)
        column.addWidget(self.examined)
        column.addSpacing(6)
        self.more = KeyButton(theme, "More", "", self.toggle_rare, self)
        self.more.show_keys("Ctrl+D")
        column.addWidget(self.more)
        self._rare = QWidget()
        rare = QVBoxLayout(self._rare)
        rare.setContentsMargins(0, 0, 0, 0)
        rare.setSpacing(2)
        for group in RARE:
            rare.addWidget(self._group(group))
        self._rare.setVisible(False)
        column.addWidget(self._rare)
        column.addStretch(1)
        self.setWidget(inside)
        self.setWidgetResizable(True)
        self.setFrameShape(QFrame.Shape.NoFrame)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setStyleSheet("QScrollArea, QScrollArea > QWidget > QWidget#form { background: transparent; }")

    def _group(self, group: Group) -> QWidget:
        box = QWidget()
        column = QVBoxLayout(box)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(2)
        column.addWidget(Heading(group.heading))
        grid = QGridLayout()
        grid.setVerticalSpacing(3)
        grid.setHorizontalSpacing(12)
        grid.setColumnMinimumWidth(0, 132)
        grid.setColumnStretch(2, 1)
        for line, field in enumerate(group.fields):
            edit = self._field(field)
            text = plain_label(field.label)
            text.setBuddy(edit)
            grid.addWidget(text, line, 0)
            wide = field.key in _WIDE
            edit.setFixedWidth(356 if wide else 170)
            grid.addWidget(edit, line, 1, 1, 2 if wide else 1)
            remark = faint(field.note)
            remark.setWordWrap(True)
            self._notes[field.key] = (remark, field.note)
            if not wide:
                grid.addWidget(remark, line, 2)
        column.addLayout(grid)
        return box

    def _field(self, field: Field) -> QuantityEdit | ChoiceEdit:
        edit: QuantityEdit | ChoiceEdit
        if field.choices:
            edit = ChoiceEdit(field.label, field.hint, field.choices)
        else:
            edit = QuantityEdit(field.label, field.hint)
            edit.textChanged.connect(self._typed(field.key))
        edit.textEdited.connect(self._typed(field.key))
        self.fields[field.key] = edit
        return edit

    def _typed(self, key: str) -> Callable[[str], None]:
        def typed(text: str) -> None:
            self._model.set_text(key, text)

        return typed

    def _examine(self, on: bool) -> None:
        if on != self._model.examined:
            self._model.set_examined(on=on)

    @property
    def key_with_focus(self) -> str:
        """The key whose field has the keyboard; empty where none has."""
        return next((key for key, edit in self.fields.items() if edit.hasFocus()), "")

    def toggle_rare(self) -> None:
        """Fold or unfold what is rarely used."""
        self._rare.setVisible(self._rare.isHidden())
        self._show_fold()

    def refresh(self) -> None:
        """Fields and marks from the model."""
        faults = self._model.faults
        for key, edit in self.fields.items():
            text = self._model.texts.get(key, "")
            if edit.text() != text:
                edit.setText(text)
            # What is yet to be filled in is no fault of what was typed.
            fault = "" if key == "current" and not text else faults.get(key, "")
            edit.set_fault(fault)
            label, note = self._notes[key]
            label.setText(fault or note)
            label.setStyleSheet(f"color: {self._theme.colours.failed}" if fault else "")
            if isinstance(edit, QuantityEdit):
                edit.set_planned(key in self._model.planned)
        if any(faults.get(field.key) for group in RARE for field in group.fields):
            self._rare.setVisible(True)
        self.examined.setChecked(self._model.examined)
        self._show_fold()

    def _show_fold(self) -> None:
        rare = [field for group in RARE for field in group.fields]
        other = unusual(self._model.texts)
        if not self._rare.isHidden():
            self.more.setText("Fold what is rarely used")
        elif not other:
            self.more.setText(f"{len(rare)} more, all at their usual values")
        else:
            told = ", ".join(other[:2]) + (f" and {len(other) - 2} more" if len(other) > 2 else "")
            self.more.setText(f"{len(rare)} more, not as usual: {told}")
