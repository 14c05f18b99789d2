"""What the uncertainty is made of: one bar a contribution, the largest first; under it the decision."""

from __future__ import annotations

from PySide6.QtCore import QRectF, QSize, Qt
from PySide6.QtGui import QPainter, QPaintEvent
from PySide6.QtWidgets import QLabel, QSizePolicy, QVBoxLayout, QWidget

from benchapp.analysis.budget import Budget, Contribution
from benchapp.quantity import engineering
from benchapp.result.decision import Decision, percent
from benchapp.result.statement import Statement
from benchapp.result.validity import Validity
from benchapp.result.words import SCOPES, coverage_in_words, verdict_in_words
from benchapp.ui.theme import Theme, font
from benchapp.ui.widgets.controls import faint, plain_label
from benchapp.ui.widgets.painting import Painted, elided, text_at

_PITCH = 34
_LEAST_PITCH = 24
_MOST = 7
_LEAST = 2  # rows, where a caution takes the room


class ContributionBars(Painted):
    """Name and share over a bar as long as the contribution's part of the combined uncertainty."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, parent)
        self._rows: list[Contribution] = []
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Preferred)
        self.setAccessibleName("contributions to the uncertainty")

    def show_budget(self, budget: Budget | None) -> None:
        """The largest contributions; as many rows as there is room for, the smaller ones together in the last."""
        rows = [] if budget is None else [c for c in budget.contributions if c.contribution > 0]
        self._rows = rows
        self.setAccessibleDescription("; ".join(f"{c.name} {c.share:.0%}" for c in rows))
        self.setMinimumHeight(min(_LEAST, max(1, len(rows))) * _LEAST_PITCH)
        self.setMaximumHeight(min(_MOST, max(1, len(rows))) * _PITCH)
        self.updateGeometry()
        self.update()

    def sizeHint(self) -> QSize:
        """As many rows as there are."""
        return QSize(250, min(_MOST, max(1, len(self._rows))) * _PITCH)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Bars in the accent colour on a faint ground."""
        with QPainter(self) as painter:
            rows = _folded(self._rows, max(1, min(_MOST, self.height() // _LEAST_PITCH)))
            pitch = min(_PITCH, self.height() / max(1, len(rows)))
            bar = 7 if pitch > 30 else 3
            for index, c in enumerate(rows):
                top = index * pitch
                right = f"{engineering(c.contribution, 'ohm', 2)}"
                text_at(painter, 0, top + 13, elided(c.name, self.width() - 90, 13), 13, self.colour("ink"))
                text_at(
                    painter, self.width(), top + 13, right, 13, self.colour("faint"), align=Qt.AlignmentFlag.AlignRight
                )
                painter.fillRect(QRectF(0, top + 17, self.width(), bar), self.colour("zone"))
                length = max(1.0, self.width() * min(1.0, c.share**0.5))
                painter.fillRect(QRectF(0, top + 17, length, bar), self.colour("accent"))


def _folded(rows: list[Contribution], most: int) -> list[Contribution]:
    """At most so many rows: the smaller ones together in the last."""
    if len(rows) <= most:
        return rows
    rest = rows[most - 1 :]
    u = sum(c.contribution**2 for c in rest) ** 0.5
    together = Contribution(f"{len(rest)} smaller ones", u, share=sum(c.share for c in rest))
    return [*rows[: most - 1], together]


class BudgetView(QWidget):
    """Bars, the combination in a line, the decision in words."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._bars = ContributionBars(theme)
        self._sum = _wrapped()
        self._decision = _wrapped()
        self._hint = faint("Accuracy data (menu) adds what the instruments contribute.")
        self._hint.setWordWrap(True)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 4, 0, 0)
        column.setSpacing(8)
        column.addWidget(self._bars, 10)
        column.addWidget(self._sum)
        column.addWidget(self._decision)
        column.addStretch(1)
        column.addWidget(self._hint)

    def show_statement(self, stated: Statement | None) -> None:
        """What a statement says; None for what does not exist yet."""
        budget = None if stated is None else stated.budget
        self._bars.show_budget(budget)
        self._hint.setVisible(budget is None or len(budget.contributions) < 2)
        if stated is None or budget is None:
            self._sum.setText("The budget stands here from the fifth block on.")
            self._decision.setText("")
            return
        self._sum.setText(f"{_sum_text(budget)}, {coverage_in_words(stated)}, {SCOPES[stated.scope]}")
        text = verdict_in_words(stated)
        if stated.validity is Validity.VALID and stated.decision is not None:
            text = "\n".join(filter(None, (text, decision_text(stated.decision))))
        self._decision.setText(text[:1].upper() + text[1:])


def _sum_text(budget: Budget) -> str:
    degrees = "∞" if budget.degrees_of_freedom == float("inf") else f"{budget.degrees_of_freedom:.0f}"
    return (
        f"u {engineering(budget.standard_uncertainty, 'ohm', 2)}, ν {degrees}, k {budget.coverage_factor:.2f}\n"
        f"U {engineering(budget.expanded_uncertainty, 'ohm', 2)}"
    )


def decision_text(decision: Decision) -> str:
    """Probability, risk and ratio on short lines."""
    lines = []
    if decision.conformity_probability == decision.conformity_probability:
        lines.append(f"Within the limits: {percent(decision.conformity_probability)}")
    if decision.specific_risk == decision.specific_risk:
        lines.append(f"Risk of a wrong verdict: {percent(decision.specific_risk)}")
    if decision.tolerance_ratio == decision.tolerance_ratio:
        low = ", too low (4:1)" if decision.warning else ""
        lines.append(f"Tolerance to interval: {decision.tolerance_ratio:.3g} : 1{low}")
    return "\n".join(lines)


def _wrapped() -> QLabel:
    label = plain_label()
    label.setWordWrap(True)
    label.setFont(font(13))
    return label
