"""The stages, made together. Their imports cost more than the rest of the window: they come after its first paint."""

from __future__ import annotations

from dataclasses import dataclass

from PySide6.QtWidgets import QWidget

from benchapp.ui.bench.stage import BenchStage
from benchapp.ui.check.model import CheckModel
from benchapp.ui.check.stage import CheckStage
from benchapp.ui.logbook.stage import LogbookStage
from benchapp.ui.measure.read_out import ReadOut
from benchapp.ui.measure.stage import MeasureStage
from benchapp.ui.models import BenchModel, RecipeModel, scenario_texts
from benchapp.ui.run_controller import RunController
from benchapp.ui.specimen.stage import SpecimenStage
from benchapp.ui.study.stage import StudyStage
from benchapp.ui.theme import Theme
from benchapp.ui.widgets.rail import StageName


@dataclass(frozen=True, slots=True)
class Stages:
    """All stages with the models that they share."""

    recipe: RecipeModel
    bench: BenchModel
    check: CheckModel
    controller: RunController
    specimen: SpecimenStage
    bench_stage: BenchStage
    check_stage: CheckStage
    measure: MeasureStage
    study: StudyStage
    logbook: LogbookStage
    read_out: ReadOut

    def page(self, name: StageName) -> QWidget:
        """The widget of a stage."""
        pages: dict[StageName, QWidget] = {
            StageName.SPECIMEN: self.specimen,
            StageName.BENCH: self.bench_stage,
            StageName.CHECK: self.check_stage,
            StageName.MEASURE: self.measure,
            StageName.STUDY: self.study,
            StageName.LOGBOOK: self.logbook,
        }
        return pages[name]


def make_stages(theme: Theme, controller: RunController, scenario: str) -> Stages:
    """Stages over a simulated bench with the recipe that suits it."""
    recipe, bench = RecipeModel(), BenchModel(scenario)
    recipe.take(scenario_texts(scenario))
    check = CheckModel(recipe, bench)
    return Stages(
        recipe,
        bench,
        check,
        controller,
        SpecimenStage(theme, recipe, bench, controller),
        BenchStage(theme, bench, recipe),
        CheckStage(theme, check, recipe, bench),
        MeasureStage(theme, controller, recipe, bench, check),
        StudyStage(theme, controller.logbook, recipe),
        LogbookStage(theme, controller.logbook),
        ReadOut(theme),
    )
