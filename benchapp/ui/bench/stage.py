"""The Bench stage: a simulated bench in two clicks, one's own instruments as plainly; the wiring beside it."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QComboBox,
    QFrame,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from benchapp.bench.identify import Identified, identify
from benchapp.bench.limits import limits_file, load_limits
from benchapp.errors import InputError
from benchapp.host.order import BenchChoice
from benchapp.quantity import engineering
from benchapp.run.seen import RunSeen
from benchapp.ui.bench.wiring import WiringDrawing, WiringState
from benchapp.ui.models import BenchModel, RecipeModel, about_scenario, scenario_texts
from benchapp.ui.output_watch import Target
from benchapp.ui.theme import MARGIN, Theme
from benchapp.ui.widgets.controls import Heading, KeyButton, faint, plain_label, title
from benchapp.ui.widgets.output_plate import OutputState
from drivers.dialect import dialect_names, load_dialect
from drivers.errors import DialectError
from drivers.plugins import plugin_names
from sim.scenario import scenario_names

if TYPE_CHECKING:
    from benchapp.ui.bench.instrument_dialog import InstrumentDialog

_OWN = "my own instruments"
_ROLES = (  # role, kind of dialect, name, what it is there for where a bench may do without
    ("source", "source", "source", ""),
    ("voltmeter", "voltmeter", "voltmeter", ""),
    ("current_voltmeter", "voltmeter", "current", "a second voltmeter, or none"),
    ("scanner", "switch", "scanner", "for several parts, or none"),
    ("thermometer", "thermometer", "temperature", "a thermometer, or none"),
)


class BenchStage(QWidget):
    """Edits the BenchModel and asks the instruments who they are.

    Signals:
        done: the operator goes on to the check.
        identified: a source that has answered, as a Target: its output can be read from now on.
        answered: what an instrument said, from the thread that asked.
    """

    done = Signal()
    identified = Signal(object)
    answered = Signal(object)

    def __init__(self, theme: Theme, bench: BenchModel, recipe: RecipeModel, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme, self._model, self._recipe = theme, bench, recipe
        self._wiring_state = WiringState()
        self.identities: dict[str, str] = {}  # by role, as they answered
        self._asked: dict[str, tuple[str, str]] = {}  # address and dialect of whom was asked last
        self._shown_choice = bench.choice
        self._wiring = WiringDrawing(theme)
        row = QHBoxLayout()
        row.setSpacing(24)
        row.addWidget(self._wiring, 1)
        row.addWidget(self._build_side())
        self._title_note = faint()
        head = QHBoxLayout()
        head.addWidget(title("Bench"))
        head.addSpacing(16)
        head.addWidget(self._title_note)
        head.addStretch(1)
        column = QVBoxLayout(self)
        column.setContentsMargins(MARGIN, 10, MARGIN, MARGIN)
        column.addLayout(head)
        column.addLayout(row, 1)
        bench.changed.connect(self.refresh)
        recipe.changed.connect(self.refresh)
        self.answered.connect(self._show_answer)
        self.refresh()

    # Building.

    def _build_side(self) -> QWidget:
        side = QWidget()
        side.setFixedWidth(340)
        column = QVBoxLayout(side)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(8)
        card = QFrame()
        card.setObjectName("card")
        inside = QVBoxLayout(card)
        inside.setContentsMargins(16, 8, 16, 12)
        self._chooser = QComboBox()
        self._chooser.setAccessibleName("bench")
        for name in scenario_names():
            self._chooser.addItem(f"simulated: {name.replace('_', ' ')}", name)
        self._chooser.addItem(_OWN, "")
        self._about = faint()
        self._about.setWordWrap(True)
        inside.addWidget(Heading("Which bench"))
        inside.addWidget(self._chooser)
        inside.addWidget(self._about)
        self._own = QScrollArea()
        self._own.setWidget(self._build_addresses())
        self._own.setWidgetResizable(True)
        self._own.setFrameShape(QFrame.Shape.NoFrame)
        self._own.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self._own.setStyleSheet("QScrollArea, QScrollArea > QWidget > QWidget#addresses { background: transparent; }")
        inside.addWidget(self._own, 100)
        inside.addWidget(Heading("House limits"))
        self._limits = faint()
        self._limits.setWordWrap(True)
        inside.addWidget(self._limits)
        inside.addStretch(1)
        self._message = faint()
        self._message.setWordWrap(True)
        inside.addWidget(self._message)
        column.addWidget(card, 1)
        self._go = KeyButton(self._theme, "To the check", "Ctrl+Return", self.done.emit, self, main=True)
        column.addWidget(self._go)
        self._chooser.currentIndexChanged.connect(self._chosen)
        return side

    def _build_addresses(self) -> QWidget:
        box = QWidget()
        box.setObjectName("addresses")
        grid = QGridLayout(box)
        grid.setContentsMargins(0, 0, 6, 0)
        grid.setVerticalSpacing(4)
        self._lines: dict[str, QLineEdit] = {}
        self._dialects: dict[str, QComboBox] = {}
        self._identities: dict[str, QLabel] = {}
        for index, (role, kind, label, purpose) in enumerate(_ROLES):
            line = QLineEdit()
            line.setPlaceholderText(purpose or f"TCPIP::192.168.0.{5 + index}::5025::SOCKET")
            line.setAccessibleName(f"address of the {label}")
            line.textEdited.connect(self._changed(role))
            dialect = QComboBox()
            dialect.setEditable(True)
            dialect.addItems([*dialect_names(kind), *plugin_names(kind)])
            dialect.setAccessibleName(f"dialect of the {label}: a name or a .toml file")
            dialect.currentTextChanged.connect(self._changed(f"{role}_dialect"))
            identity = faint("" if purpose else "not asked yet")
            identity.setWordWrap(True)
            identity.setVisible(not purpose)
            top = 3 * index
            grid.addWidget(plain_label(label.capitalize()), top, 0)
            grid.addWidget(line, top, 1)
            grid.addWidget(faint("dialect"), top + 1, 0)
            grid.addWidget(dialect, top + 1, 1)
            grid.addWidget(identity, top + 2, 0, 1, 2)
            self._lines[role], self._dialects[role], self._identities[role] = line, dialect, identity
        self._by_hand = QLineEdit()
        self._by_hand.setAccessibleName("compliance, set by hand on the source")
        self._by_hand.setPlaceholderText("what its front panel says")
        self._by_hand.textEdited.connect(self._changed("compliance_by_hand"))
        self._by_hand_label = plain_label("by hand, V")
        grid.addWidget(self._by_hand_label, 3 * len(_ROLES), 0)
        grid.addWidget(self._by_hand, 3 * len(_ROLES), 1)
        self._ask = KeyButton(self._theme, "Identify", "Ctrl+Y", self.ask, self)
        grid.addWidget(self._ask, 3 * len(_ROLES) + 1, 0, 1, 2)
        self._examine = KeyButton(self._theme, "Check or probe …", "", self.examine, self)
        grid.addWidget(self._examine, 3 * len(_ROLES) + 2, 0, 1, 2)
        return box

    def _changed(self, key: str) -> Callable[[str], None]:
        def changed(text: str) -> None:
            self._model.change(**{key: text})

        return changed

    # What the operator does.

    def choose_scenario(self, name: str) -> None:
        """Take a simulated bench, as the chooser does; "" for one's own instruments."""
        self._chooser.setCurrentIndex(self._chooser.findData(name))

    def _chosen(self) -> None:
        name = str(self._chooser.currentData())
        self._model.change(scenario=name)
        # A simulated bench brings the recipe that suits it.
        if name:
            self._recipe.take(scenario_texts(name))

    def ask(self) -> None:
        """Ask the instruments, each in a thread of its own; the window waits for none."""
        choice = self._model.choice
        for role, kind, _, purpose in _ROLES:
            address, dialect = getattr(choice, role).strip(), getattr(choice, f"{role}_dialect").strip()
            if purpose and not address:
                self._identities[role].setVisible(False)
                continue
            self._identities[role].setVisible(True)
            self._identities[role].setText("asking …")
            self._asked[role] = (address, dialect)
            threading.Thread(
                target=self._ask_one, args=(role, kind, address, dialect), name=f"ask {role}", daemon=True
            ).start()

    def _spoken_to(self, role: str) -> tuple[str, str]:
        choice = self._model.choice
        return getattr(choice, role).strip(), getattr(choice, f"{role}_dialect").strip()

    def _forget_answer(self, role: str) -> None:
        """What was heard from another address says nothing of this one."""
        del self._asked[role]
        self.identities.pop(role, None)
        self._identities[role].setText("not asked yet")
        fields = {"source": ("source", "source_answers"), "voltmeter": ("voltmeter", "voltmeter_answers")}.get(role)
        if fields is not None:
            told, answers = fields
            state: dict[str, Any] = {told: "not asked yet", answers: None}
            self._wiring_state = replace(self._wiring_state, **state)

    def examine(self) -> InstrumentDialog:
        """Check or probe one of them, in a dialog that leaves the window usable."""
        from benchapp.ui.bench.instrument_dialog import InstrumentDialog

        self._dialog = InstrumentDialog(self._model.choice, self)
        self._dialog.dialect_saved.connect(self._use_dialect)
        self._dialog.show()
        return self._dialog

    def _use_dialect(self, role: str, path: str) -> None:
        self._dialects[role].setCurrentText(path)

    def _ask_one(self, role: str, kind: str, address: str, dialect: str) -> None:
        self.answered.emit(replace(identify(kind, address, dialect), role=role))

    def _show_answer(self, answer: Identified) -> None:
        if self._asked.get(answer.role) != self._spoken_to(answer.role):
            return  # it answers for an address that is not there any longer
        good = not answer.fault
        if good:
            self.identities[answer.role] = answer.identity
        text = f"{answer.identity}, answers in {engineering(answer.seconds, 's', 2)}" if good else answer.fault
        self._identities[answer.role].setText(text)
        short = "answers" if good else "no answer"
        if good and answer.role == "source":
            self.identified.emit(Target(self._model.choice.source.strip(), self._model.choice.source_dialect.strip()))
        if answer.role == "source":
            self._wiring_state = replace(self._wiring_state, source=short, source_answers=good)
        elif answer.role == "voltmeter":
            self._wiring_state = replace(self._wiring_state, voltmeter=short, voltmeter_answers=good)
        self._wiring.show_state(self._wiring_state)

    # Showing.

    def refresh(self) -> None:
        """Everything from the models."""
        choice: BenchChoice = self._model.choice
        index = self._chooser.findData(choice.scenario)
        if index != self._chooser.currentIndex():
            self._chooser.blockSignals(True)
            self._chooser.setCurrentIndex(index)
            self._chooser.blockSignals(False)
        simulated = bool(choice.scenario)
        self._own.setVisible(not simulated)
        self._about.setText(about_scenario(choice.scenario) if simulated else "")
        self._title_note.setText("simulated, nothing can be harmed" if simulated else "real instruments")
        for role, line in self._lines.items():
            text = getattr(choice, role)
            if line.text() != text:
                line.setText(text)
            if self._asked.get(role, self._spoken_to(role)) != self._spoken_to(role):
                self._forget_answer(role)
            dialect = getattr(choice, f"{role}_dialect")
            if self._dialects[role].currentText() != dialect:
                self._dialects[role].setCurrentText(dialect)
        by_hand = not simulated and _set_by_hand(choice.source_dialect.strip())
        for widget in (self._by_hand_label, self._by_hand):
            widget.setVisible(by_hand)
        if not by_hand and choice.compliance_by_hand:
            self._model.change(compliance_by_hand="")  # what was confirmed of another source holds no more
        elif self._by_hand.text() != choice.compliance_by_hand:
            self._by_hand.setText(choice.compliance_by_hand)
        self._go.setEnabled(choice.complete)
        self._show_limits()
        name = "" if self._recipe.recipe is None else self._recipe.recipe.name
        told = "simulated" if simulated else "not asked yet"
        known = None if not simulated else True
        state = replace(self._wiring_state, specimen=name)
        if choice != self._shown_choice:
            self._shown_choice = choice
            state = replace(state, reading="", current="", sign=0)
        if simulated or state.source == "simulated":
            state = replace(state, source=told, voltmeter=told, source_answers=known, voltmeter_answers=known)
        self._wiring_state = state
        self._wiring.show_state(state)

    def _show_limits(self) -> None:
        try:
            limits = load_limits()
        except InputError as error:
            self._limits.setText(str(error))
            return
        self._limits.setText(
            f"{engineering(limits.current_A, 'A', 3)}, {engineering(limits.compliance_V, 'V', 3)},"
            f" {engineering(limits.power_W, 'W', 3)} in the specimen. Raised only in {limits_file()}"
        )

    def show_message(self, text: str) -> None:
        """What became of an order outside a run."""
        self._message.setText(text)

    def show_output(self, output: OutputState) -> None:
        """The output as it reads, in a run or not."""
        if output is not self._wiring_state.output:
            self._wiring_state = replace(self._wiring_state, output=output)
            self._wiring.show_state(self._wiring_state)

    def show_session(self, session: RunSeen, output: OutputState) -> None:
        """Let the drawing follow a run."""
        if not self.isVisible():
            return
        last = session.history.readings.since(max(0, session.history.readings.count - 1))
        sign, current, reading = 0, "", ""
        if last.shape[1]:
            level = float(last[1, -1])
            sign = (level > 0) - (level < 0)
            current = engineering(level, "A", 4) if output is OutputState.ON else ""
            reading = engineering(float(last[2, -1]), "V", 4)
        self._wiring_state = replace(
            self._wiring_state, output=output, sign=sign, current=current.replace("-", "−"),
            reading=reading.replace("-", "−"),
        )  # fmt: skip
        self._wiring.show_state(self._wiring_state)


@lru_cache(maxsize=32)
def _set_by_hand(dialect: str) -> bool:
    """Whether a source with this dialect has its compliance on the front panel only."""
    try:
        spellings = load_dialect(dialect or "scpi", "source").capabilities["compliance"]
        return any(spelling.by_hand for spelling in spellings)
    except (DialectError, KeyError):
        return False
