"""What is typed: a bar code goes whole to the number field, whatever has the focus; a single key does what it says.

A reader is a keyboard that types a code within 1 to 120 ms a key and ends it with Return, Tab or a control character.
Outside text fields each plain key is therefore held back until it is known to stand alone; inside them a code is known
by its pace, and taken out of the field again. Return and Space press no button that confirms.
"""

from __future__ import annotations

import itertools
import time
from collections.abc import Callable

from PySide6.QtCore import QEvent, QObject, Qt, QTimer, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import (
    QAbstractSpinBox,
    QApplication,
    QDialog,
    QDialogButtonBox,
    QLineEdit,
    QMessageBox,
    QPlainTextEdit,
    QPushButton,
    QTextEdit,
    QWidget,
)

from benchapp.ui.widgets.controls import KeyButton

_ALONE_S = 0.17  # a key with none after it within this time stands alone
_READER_S = 0.04  # half of the keys faster than that: faster than anybody types
_EVENLY = 0.15  # a slow reader types evenly: its gaps are off by less than this part of the median, on average
_LEAST_CODE = 4
_ENTERS = (Qt.Key.Key_Return, Qt.Key.Key_Enter)
_TEXT_FIELDS = (QLineEdit, QPlainTextEdit, QTextEdit, QAbstractSpinBox)
_MODIFIED = Qt.KeyboardModifier.ControlModifier | Qt.KeyboardModifier.AltModifier | Qt.KeyboardModifier.MetaModifier


class Keyboard(QObject):
    """An event filter of the application, from `start` to `stop`. `act` is asked what a single key means outside text
    fields; it says whether it did something.

    Signals:
        code: a bar code, without what ends it.
    """

    code = Signal(str)

    def __init__(self, act: Callable[[str], bool]) -> None:
        super().__init__()
        self._act = act
        self._held: list[tuple[QKeyEvent, QWidget]] = []
        self._begun = ""  # of a code, before what is held
        self._in_field: list[tuple[float, str]] = []  # what was typed into a text field without a break
        self._before: tuple[QLineEdit, str] | None = None
        self._last_s = -1.0
        self._resending = False
        self._timer = QTimer(self)
        self._timer.setSingleShot(True)
        self._timer.setInterval(round(1000 * _ALONE_S))
        self._timer.timeout.connect(self._alone)

    def start(self) -> None:
        """Watch all that is typed."""
        application = QApplication.instance()
        assert application is not None
        application.installEventFilter(self)

    def stop(self) -> None:
        """Watch no more."""
        self._timer.stop()
        application = QApplication.instance()
        if application is not None:
            application.removeEventFilter(self)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Keys that go to a widget; what comes from here again is let through."""
        kind = event.type()
        if kind not in (QEvent.Type.KeyPress, QEvent.Type.ShortcutOverride) or not isinstance(watched, QWidget):
            return False
        if self._resending or not isinstance(event, QKeyEvent) or event.key() == Qt.Key.Key_Escape:
            return False
        if self._held and self._held[-1][0].key() in _ENTERS and _is_control(event):
            self._timer.stop()
            self._alone()  # the code has ended: what a hand presses now is its own
        if kind == QEvent.Type.ShortcutOverride:
            if self._in_code and event.modifiers() & Qt.KeyboardModifier.ControlModifier:
                event.accept()  # a control character in a code is no shortcut
                return True
            return False
        return self._pressed(watched, event)

    @property
    def _in_code(self) -> bool:
        return bool(self._held or self._in_field) and time.monotonic() - self._last_s < _ALONE_S

    def _pressed(self, watched: QWidget, event: QKeyEvent) -> bool:
        now = time.monotonic()
        control = _is_control(event)
        if self._held and (event.text() or control):
            self._hold(event, watched, now)  # whatever comes now is a part of it
            return True
        if control:
            return self._ended(now, event, watched) if self._in_code else event.key() in _ENTERS and _confirm(watched)
        field = _text_field(watched)
        if field is not None:
            return self._typed_into(field, event, now)
        if isinstance(watched, QDialog) and event.key() in _ENTERS:
            return True  # from a text field in it: confirms nothing
        if not event.text() or event.isAutoRepeat():
            return False
        self._hold(event, watched, now)
        return True

    def _hold(self, event: QKeyEvent, watched: QWidget, now: float) -> None:
        if event.type() == QEvent.Type.KeyPress:
            self._held.append((event.clone(), watched))
        self._last_s = now
        self._timer.start()

    # Outside text fields.

    def _alone(self) -> None:
        """No key came after it in time."""
        held, self._held = self._held, []
        begun, self._begun = self._begun, ""
        if begun or len(held) > 1:
            self._tell(begun + "".join(" " if _is_control(event) else event.text() for event, _ in held))
        elif held:
            self._single(*held[0])

    def _single(self, event: QKeyEvent, target: QWidget) -> None:
        if not _alive(target):
            return
        popup = QApplication.activePopupWidget() is not None
        if not popup and QApplication.activeModalWidget() is None and self._act(event.text()):
            return
        presses = event.key() in (*_ENTERS, Qt.Key.Key_Space)
        if presses and isinstance(target, QPushButton) and not (isinstance(target, KeyButton) and target.typed):
            return
        self._resending = True
        try:
            QApplication.sendEvent(target, event)
        finally:
            self._resending = False

    # Inside text fields.

    def _typed_into(self, field: QWidget, event: QKeyEvent, now: float) -> bool:
        ends = event.key() in (*_ENTERS, Qt.Key.Key_Tab, Qt.Key.Key_Backtab)
        if now - self._last_s > _ALONE_S or (self._before is not None and self._before[0] is not field):
            self._in_field = []
            self._before = (field, field.text()) if isinstance(field, QLineEdit) else None
        self._last_s = now
        if ends:
            return self._ended(now, event, field) if self._in_field else False
        if event.text():
            self._in_field.append((now, event.text()))
        return False

    def _ended(self, now: float, event: QKeyEvent, watched: QWidget) -> bool:
        """A character that ends a code, or parts one; whether it was one, which is taken out of the field again."""
        typed, self._in_field = self._in_field, []
        if not _by_reader([*(at for at, _ in typed), now]):
            return False
        if self._before is not None:
            field, before = self._before
            field.setText(before)
            field.textEdited.emit(before)
        self._begun = "".join(letter for _, letter in typed)
        self._hold(event, watched, now)
        return True

    def _tell(self, text: str) -> None:
        popup = QApplication.activePopupWidget()
        if popup is not None:
            popup.close()
        code = " ".join("".join(letter if letter.isprintable() else " " for letter in text).split())
        if code:
            self.code.emit(code)


def _by_reader(times: list[float]) -> bool:
    """Whether keys came as from a reader: fast, or slower and evenly."""
    gaps = sorted(after - before for before, after in itertools.pairwise(times))
    if len(gaps) < _LEAST_CODE or gaps[-1] > _ALONE_S:
        return False
    median = gaps[len(gaps) // 2]
    return median < _READER_S or sum(abs(gap - median) for gap in gaps) / len(gaps) < _EVENLY * median


def _is_control(event: QKeyEvent) -> bool:
    return bool(event.modifiers() & _MODIFIED)


def _text_field(watched: QWidget) -> QWidget | None:
    return watched if isinstance(watched, _TEXT_FIELDS) and watched.isEnabled() else None


def _alive(widget: QWidget) -> bool:
    try:
        return widget.isVisible()
    except RuntimeError:  # deleted meanwhile
        return False


def _confirm(watched: QWidget) -> bool:
    """Ctrl+Return in a dialog: its main button."""
    dialog = watched.window()
    if not isinstance(dialog, QDialog):
        return False
    button: QPushButton | None
    if isinstance(dialog, QMessageBox):
        button = dialog.defaultButton()
    else:
        box = dialog.findChild(QDialogButtonBox)
        named = None if box is None else box.button(QDialogButtonBox.StandardButton.Ok)
        button = named or next((one for one in dialog.findChildren(QPushButton) if one.isDefault()), None)
    if button is None or not button.isEnabled():
        return False
    button.click()
    return True
