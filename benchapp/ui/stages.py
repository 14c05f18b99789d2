"""The stages, made together. Their imports cost more than the rest of the window: they come after its first paint."""

from __future__ import annotations

from dataclasses import dataclass

from PySide6.QtWidgets import QWidget

from benchapp.ui.bench.stage import BenchStage
from benchapp.ui.logbook.stage import LogbookStage
from benchapp.ui.measure.read_out import ReadOut
from benchapp.ui.measure.stage import MeasureStage
from benchapp.ui.models import BenchModel, RecipeModel, scenario_texts
from benchapp.ui.run_controller import RunController
from benchapp.ui.specimen.stage import SpecimenStage
from benchapp.ui.theme import Theme
from benchapp.ui.widgets.rail import StageName


@dataclass(frozen=True, slots=True)
class Stages:
    """All stages with the models that they share."""

    recipe: RecipeModel
    bench: BenchModel
    controller: RunController
    specimen: SpecimenStage
    bench_stage: BenchStage
    measure: MeasureStage
    logbook: LogbookStage
    read_out: ReadOut

    def page(self, name: StageName) -> QWidget:
        """The widget of a stage."""
        pages: dict[StageName, QWidget] = {
            StageName.SPECIMEN: self.specimen,
            StageName.BENCH: self.bench_stage,
            StageName.MEASURE: self.measure,
            StageName.LOGBOOK: self.logbook,
        }
        return pages[name]


def make_stages(theme: Theme, controller: RunController, scenario: str) -> Stages:
    """Stages over a simulated bench with the recipe that suits it."""
    recipe, bench = RecipeModel(), BenchModel(scenario)
    recipe.take(scenario_texts(scenario))
    return Stages(
        recipe,
        bench,
        controller,
        SpecimenStage(theme, recipe, bench),
        BenchStage(theme, bench, recipe),
        MeasureStage(theme, controller, recipe, bench),
        LogbookStage(theme, controller.logbook),
        ReadOut(theme),
    )
