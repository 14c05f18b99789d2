"""One part of several in turns: its estimate, whose interval rests on what the turns differ by."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from benchapp.analysis.analyst import Floats, analyse
from benchapp.analysis.estimate import Estimate, Estimator, estimate_readings
from benchapp.analysis.student import coverage_factor
from benchapp.analysis.turns import PartReadings, TurnValue, mean_of_turns, turn_values


def analyse_part(
    readings: Floats,
    part: PartReadings,
    *,
    emf_order: int = 1,
    middle_A: float | None = None,
    aperture_s: float = math.nan,
    estimator: Estimator | None = None,
) -> tuple[Estimate, list[TurnValue]]:
    """`readings` (3, n) are the part's: time_s, current_A, voltage_V. With LEAST_TURNS or more, R is the mean of the
    turns, and U the wider one of what their scatter and the readings within them give; with fewer it is that of a run
    that was paused between the turns.
    """
    pauses = sorted({*part.pauses} - {0})
    estimate, _ = analyse(
        *readings, emf_order=emf_order, middle_A=middle_A, pauses=pauses, aperture_s=aperture_s, estimator=estimator
    )
    # That the readings pause between two turns needs no word.
    estimate = replace(estimate, flags=tuple(flag for flag in estimate.flags if flag.code != "time-gap"))

    def of_turn(stretch: Floats, paused: list[int]) -> float:
        found, _ = estimate_readings(
            *stretch, emf_order=emf_order, middle_A=middle_A, pauses=paused, estimator=estimator
        )
        return found.resistance_ohm

    turns = turn_values(readings, part, of_turn)
    mean = mean_of_turns(np.array([turn.resistance_ohm for turn in turns]))
    if mean is None or not mean.standard_uncertainty_ohm > 0:
        return estimate, turns
    k = coverage_factor(mean.degrees_of_freedom, estimate.coverage_probability)
    U = k * mean.standard_uncertainty_ohm
    found = replace(estimate, resistance_ohm=mean.resistance_ohm)
    if estimate.expanded_uncertainty_ohm < U or not estimate.standard_uncertainty_ohm > 0:
        found = replace(
            found,
            standard_uncertainty_ohm=mean.standard_uncertainty_ohm,
            expanded_uncertainty_ohm=U,
            coverage_factor=k,
            degrees_of_freedom=mean.degrees_of_freedom,
            repeatability_95_ohm=U,
        )
    return found, turns
