"""The Check stage: the wiring with each test where it looks, the tests in a row each, and what was read."""

from __future__ import annotations

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QFrame, QHBoxLayout, QVBoxLayout, QWidget

from benchapp.check.finding import Finding, State
from benchapp.check.take import DEFAULT_PART, trial_recipe
from benchapp.errors import BenchError
from benchapp.quantity import engineering
from benchapp.result.words import plural
from benchapp.ui.check.drawing import CheckDrawing, Drawn
from benchapp.ui.check.finding_list import FindingList
from benchapp.ui.check.model import GOOD_FOR_S, Checked, CheckModel
from benchapp.ui.models import BenchModel, RecipeModel
from benchapp.ui.plots.check_plot import CheckPlot
from benchapp.ui.theme import MARGIN, Theme, font
from benchapp.ui.widgets.controls import KeyButton, faint, plain_label, scrolled, title

_MORE_PART = 0.1
_SIDE_WIDTH = 428


class CheckStage(QWidget):
    """Shows the CheckModel and asks for what it would do.

    Signals:
        check_wanted: a check at this part of the recipe's current.
        start_wanted: the run itself.
        bench_wanted: back to the bench.
    """

    check_wanted = Signal(float)
    start_wanted = Signal()
    bench_wanted = Signal()

    def __init__(
        self, theme: Theme, model: CheckModel, recipe: RecipeModel, bench: BenchModel, parent: QWidget | None = None
    ) -> None:
        super().__init__(parent)
        self._theme, self._model, self._recipe, self._bench = theme, model, recipe, bench
        self.note = faint()
        self.note.setFont(font(13))
        head = QHBoxLayout()
        head.addWidget(title("Check"))
        head.addSpacing(16)
        head.addWidget(self.note)
        head.addStretch(1)
        self.drawing, self.plot = CheckDrawing(theme), CheckPlot(theme)
        self.conclusion = plain_label()
        self.conclusion.setWordWrap(True)
        rule = faint("Never more than 1 % of the recipe's current and 0.1 A unless you ask for it. Esc ends it.")
        rule.setWordWrap(True)
        left = QVBoxLayout()
        left.setSpacing(8)
        left.addLayout(head)
        left.addWidget(self.drawing, 5)
        left.addWidget(self.plot, 3)
        left.addWidget(self.conclusion)
        left.addWidget(rule)
        row = QHBoxLayout(self)
        row.setContentsMargins(MARGIN, 10, MARGIN, MARGIN)
        row.setSpacing(24)
        row.addLayout(left, 1)
        row.addLayout(self._build_side())
        for changed in (model.changed, recipe.changed, bench.changed, theme.changed):
            changed.connect(self.refresh)
        self.refresh()

    def _build_side(self) -> QVBoxLayout:
        card = QFrame()
        card.setObjectName("card")
        card.setFixedWidth(_SIDE_WIDTH)
        self.summary = plain_label()
        self.summary.setFont(font(16, bold=True))
        self.summary.setWordWrap(True)
        self.rows = FindingList(self._theme)
        inside = QVBoxLayout(card)
        inside.setContentsMargins(16, 10, 10, 10)
        inside.addWidget(self.summary)
        inside.addWidget(scrolled(self.rows, "tests"), 1)
        self.main = KeyButton(self._theme, "Check", "Ctrl+Return", self.main_pressed, self, main=True, typed=False)
        self.again = KeyButton(self._theme, "Check again", "Ctrl+R", self._check, self, typed=False)
        self.more = KeyButton(self._theme, "Check at 10 %", "Ctrl+Shift+R", self._check_more, self, typed=False)
        self.over = KeyButton(self._theme, "Pass over", "", self._pass_over, self, typed=False)
        self.back = KeyButton(self._theme, "Back to the bench", "", self.bench_wanted.emit, self)
        self.back.show_keys("Ctrl+2")
        self.held = plain_label()
        self.held.setWordWrap(True)
        buttons = QHBoxLayout()
        buttons.setSpacing(8)
        for button in (self.again, self.more, self.over, self.back):
            buttons.addWidget(button)
        side = QVBoxLayout()
        side.setSpacing(8)
        side.addWidget(card, 1)
        side.addWidget(self.main)
        side.addLayout(buttons)
        side.addWidget(self.held)
        return side

    # What the operator does.

    def main_pressed(self) -> None:
        """Check, or start what has been checked: what the main button says."""
        if self._model.good:
            self.start_wanted.emit()
        else:
            self._check()

    def _check(self) -> None:
        self.check_wanted.emit(DEFAULT_PART)

    def _check_more(self) -> None:
        self.check_wanted.emit(_MORE_PART)

    def _pass_over(self) -> None:
        self._model.pass_over(self._model.doubts)

    # Showing.

    def show_message(self, text: str) -> None:
        """Something that happened outside a check."""
        self.held.setText(text)

    def refresh(self) -> None:
        """All of it from the models."""
        last, model = self._model.last, self._model
        findings = () if last is None else last.findings
        self.rows.show_findings(findings)
        self.drawing.show_drawn(self._drawn(findings))
        self.plot.show_trace(None if last is None else last.trace)
        self.note.setText(self._at_what(last))
        self.summary.setText(self._summary(last))
        self.summary.setStyleSheet(self._summary_style(last))
        self.conclusion.setText("" if last is None else _conclusion(findings))
        self._update_buttons(findings)
        self.held.setText(
            f"Start is held: a run would not be valid ({', '.join(model.shut)})"
            if model.shut
            else f"Start is held: a run may be doubtful ({', '.join(model.doubts)}); it can be passed over"
            if model.doubts
            else f"good for {GOOD_FOR_S / 60:.0f} min, or until a lead is touched"
            if model.good
            else ""
        )

    def _update_buttons(self, findings: tuple[Finding, ...]) -> None:
        model = self._model
        ready = self._recipe.recipe is not None and self._bench.choice.complete and not model.under_way
        weak = any(one.name == "signal" and one.code == "open-lead" for one in findings)
        self.main.setText(
            "Checking …" if model.under_way else "Start" if model.good else "Check again" if model.last else "Check"
        )
        self.main.setEnabled(ready)
        self.again.setVisible(model.good)
        self.more.setVisible(weak and not model.under_way)
        self.over.setVisible(bool(model.doubts) and not model.shut)
        self.over.setText(f"Pass over: {model.doubts[0]}" if len(model.doubts) == 1 else "Pass over all")

    def _at_what(self, last: Checked | None) -> str:
        recipe = self._recipe.recipe
        if recipe is None:
            return "the recipe has faults: mend them on the Specimen stage"
        try:
            trial_A = trial_recipe(recipe, DEFAULT_PART if last is None else last.part).current_A
        except BenchError as error:
            return str(error)
        part, whole = engineering(trial_A, "A", 3), engineering(recipe.current_A, "A", 3)
        share = f"{trial_A / recipe.current_A * 100:.3g} %"
        took = "" if last is None else f"; took {last.took_s:.1f} s"
        return f"at {part}, {share} of {whole}{took}"

    def _summary(self, last: Checked | None) -> str:
        if self._model.under_way:
            return "The output is on for a few seconds"
        if last is None:
            return "Not checked yet"
        if last.fault:
            return last.fault
        failed = sum(one.state is State.FAILS for one in last.findings)
        waits = sum(one.state is State.WAITS for one in last.findings)
        made = sum(one.state is not State.NOT_TESTED for one in last.findings)
        if not failed:
            return f"{plural(made, 'test')} made, all passed; the output is off"
        told = f"{failed} of {made} failed"
        return f"{told}, {waits} wait for it" if waits else told

    def _summary_style(self, last: Checked | None) -> str:
        """In the colour of what failed, or of what passed."""
        colours = self._theme.colours
        if last is None or last.fault or self._model.under_way:
            return ""
        failed = any(one.state is State.FAILS for one in last.findings)
        if self._model.shut:
            return f"color: {colours.failed}"
        return "" if failed else f"color: {colours.passed}"

    def _drawn(self, findings: tuple[Finding, ...]) -> Drawn:
        by_name = {one.name: one for one in findings}
        told = by_name["instruments"].figure if "instruments" in by_name else ""
        names = dict(part.split(": ", 1) for part in told.split("; ") if ": " in part)
        last = self._model.last
        current = "" if last is None or last.trace is None else f"± {engineering(last.trace.trial_A, 'A', 3)}"
        noise = by_name["noise"].figure.split(";")[0] if "noise" in by_name else ""
        recipe = self._recipe.recipe
        return Drawn(
            "" if recipe is None else recipe.name,
            names.get("source", "not asked yet"),
            names.get("voltmeter", "not asked yet"),
            current if findings else "",
            f"noise {noise}" if noise else "",
            findings,
        )


def _conclusion(findings: tuple[Finding, ...]) -> str:
    """What the signal says, in a sentence."""
    signal = next((one for one in findings if one.name == "signal"), None)
    if signal is None:
        return ""
    if signal.state is State.OK:
        return f"A voltage follows the current: {signal.figure}"
    return f"No voltage that follows the current: {signal.figure}"
