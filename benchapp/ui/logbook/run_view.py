"""One recorded run, exactly as it was live: the same panel, plots, strip and table."""

from __future__ import annotations

from PySide6.QtWidgets import QFrame, QHBoxLayout, QVBoxLayout, QWidget

from benchapp.events import EndReason, EventKind
from benchapp.quantity import engineering
from benchapp.result.validity import Validity
from benchapp.result.words import VALIDITIES, interval_in_words, short_verdict, value_in_words
from benchapp.run.recorded import RecordedRun
from benchapp.ui.logbook.run_list import local_time
from benchapp.ui.measure.result_panel import ResultPanel
from benchapp.ui.measure.run_strip import RunStrip
from benchapp.ui.measure.side_pages import ShownRun, SidePages
from benchapp.ui.measure.why_panel import WhyPanel, why_of
from benchapp.ui.plots.run_plots import RunPlots
from benchapp.ui.presentation import emf_slope, nominal_power, present, trapped_stretches
from benchapp.ui.theme import Theme, font
from benchapp.ui.widgets.controls import plain_label


class RunView(QWidget):
    """Set `show_run`, and `overlay` for a second one on the same axis."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.panel = ResultPanel(theme)
        self.plots = RunPlots(theme)
        self.strip = RunStrip(theme)
        self.pages = SidePages(theme)
        self.why = WhyPanel(theme)
        self._facts = plain_label()
        self._facts.setWordWrap(True)
        self._facts.setFont(font(12))
        self.plots.view_changed.connect(self.strip.show_view)
        card = QFrame()
        card.setObjectName("card")
        card.setFixedWidth(292)
        inside = QVBoxLayout(card)
        inside.setContentsMargins(16, 8, 16, 12)
        inside.addWidget(self.pages, 1)
        inside.addWidget(self._facts)
        left = QVBoxLayout()
        left.setSpacing(2)
        left.addWidget(self.why)
        left.addWidget(self.plots, 1)
        left.addWidget(self.strip)
        body = QHBoxLayout()
        body.setSpacing(24)
        body.addLayout(left, 1)
        body.addWidget(card)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.panel)
        column.addLayout(body, 1)

    def show_run(self, run: RecordedRun) -> None:
        """The run as it was."""
        summary, recipe, snapshot = run.record.summary, run.recipe, run.snapshot
        planned = summary.status == EndReason.RULE
        stated = snapshot.statement
        shown = present(
            stated,
            recipe,
            power=nominal_power(recipe),
            status=snapshot.status,
            planned_end=planned,
        )
        marks = [event for event in run.events if event.kind in (EventKind.MARK, EventKind.PAUSE)]
        self.panel.show_head(recipe, f"Run {summary.run_id}, {local_time(summary.started)}")
        self.panel.show_result(shown)
        self.plots.start(recipe)
        self.plots.show_history(run.history, recipe, emf_slope(stated), marks)
        self.plots.show_stated(stated)
        self.plots.show_trapped(trapped_stretches(() if stated is None else stated.flags))
        self.strip.show_run(run.history.readings.since(0), marks, snapshot, engineering(recipe.current_A, "A", 3))
        self.pages.show_run(ShownRun(snapshot, run.history, run.parts, shown))
        unverified = [f"{role} {s.name}" for role, s in run.record.settings if not s.verified]
        facts = [f"{role}: {identity}" for role, identity in run.record.instruments.items()]
        facts.append(f"not verified: {', '.join(unverified)}" if unverified else "every setting was read back")
        not_valid = stated is not None and stated.validity is Validity.NOT_VALID
        why = why_of(stated, recipe, run.history) if stated is not None and not_valid else None
        self.why.show_why(why)
        self.plots.fold_emf(why is not None)
        # What stands above the plots is not said again.
        said = "" if why is None else f"{why.text} {why.remedy}"
        told = summary.end_text and summary.end_text.rstrip(".") not in said
        facts.append(f"{summary.status}: {summary.end_text}" if told else summary.status)
        reasons = () if stated is None else stated.reasons[1:] if not_valid else stated.reasons
        facts += [f"{VALIDITIES[reason.validity]}: {reason.text}" for reason in reasons]
        facts += [
            f"stated once more: {again.part} {value_in_words(again)}, ".replace(":  ", ": ")
            + f"{interval_in_words(again)}; {short_verdict(again) or 'no verdict'}"
            for again in run.later
        ]
        self._facts.setText("\n".join(facts))

    def overlay(self, other: RecordedRun | None) -> None:
        """The running mean of another run on the same axes; None takes it away."""
        self.plots.resistance.overlay(None if other is None else other.history.blocks.since(0))
