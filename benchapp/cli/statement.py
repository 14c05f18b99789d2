"""What a command says of a result: the number, its budget, the decision, the conductor."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from benchapp.analysis.budget import Budget
from benchapp.analysis.estimate import Estimate
from benchapp.cli.output import in_words
from benchapp.result.decision import Decision, decision_in_words, decision_object
from benchapp.result.json_object import budget_rows, result_object
from benchapp.result.material import Geometry, material_in_words, material_object


@dataclass(frozen=True, slots=True)
class Statement:
    """One result with all that is told beside it; None where it was not asked for."""

    estimate: Estimate
    budget: Budget | None
    decision: Decision | None
    geometry: Geometry | None = None

    def as_object(self, identity: dict[str, Any], verdict: str | None) -> dict[str, Any]:
        """For JSON."""
        told = {
            **result_object(identity, self.estimate, verdict),
            "budget": budget_rows(self.budget),
            "decision": decision_object(self.decision),
        }
        if self.geometry is not None:
            told["material"] = material_object(self.estimate, self.geometry)
        return told

    def in_words(self, name: str) -> str:
        """For people."""
        lines = [in_words(name, self.estimate)]
        if self.decision is not None:
            lines += [f"  {line}" for line in decision_in_words(self.decision)]
        if self.geometry is not None:
            lines += [f"  {line}" for line in material_in_words(material_object(self.estimate, self.geometry))]
        return "\n".join(lines)
