"""The unit in which a source counts: only proved on the source itself may it carry a current near the house limits.

A dialect's `scale` says that an instrument counts in milliamperes, say. Where that is wrong the current is a thousand
times what was asked, and nothing that is read back tells, because the answer goes through the same scale. So a scale
that this bench has not proved goes no higher than is harmless in both units, until a specimen of known resistance has
shown that the current is as asked.
"""

from __future__ import annotations

import hashlib
import json
import os
from dataclasses import dataclass
from pathlib import Path

from benchapp.bench.limits import HouseLimits, LimitExceeded
from benchapp.files import replacing
from benchapp.paths import data_folder
from benchapp.quantity import engineering
from benchapp.recipe import Recipe
from drivers.dialect import is_shipped
from drivers.roles import CurrentSource
from drivers.scpi_source import ScpiSource

_HARMLESS = 0.01  # of the house limit
TOO_MUCH = 10.0  # times the voltage that the nominal resistance allows: units differ by a thousand


@dataclass(frozen=True, slots=True)
class Units:
    """What has been proved, in a file of the user's data folder."""

    path: Path

    def is_proved(self, source: CurrentSource) -> bool:
        """Whether the units of this source, with this spelling, need no doubt."""
        if not isinstance(source, ScpiSource):
            return True
        level, compliance = source.spelling("level"), source.spelling("compliance")
        if level.scale == 1.0 and compliance.scale == 1.0 and not level.counts:
            return True
        shipped = is_shipped(source.dialect) and level.status == "confirmed" and source.dialect.identity is not None
        return shipped or _key(source) in self._read()

    def prove(self, source: ScpiSource) -> None:
        """Remember that level and compliance were seen to be as asked."""
        kept = {**self._read(), _key(source): source.identity}
        os.makedirs(self.path.parent, exist_ok=True)
        with replacing(self.path, "the proved units") as stream:
            stream.write(json.dumps(kept, indent=1))

    def trial_A(self, source: CurrentSource, recipe: Recipe, limits: HouseLimits) -> float | None:
        """The current with which a run must prove the unit before it goes higher; None where it need not.

        It is proved over the specimen, whose nominal resistance is known, or over the resistor that measures it.

        Raises LimitExceeded where it must and cannot.
        """
        if self.is_proved(source):
            return None
        assert isinstance(source, ScpiSource)
        compliance_scale = source.spelling("compliance").scale
        if recipe.compliance_V * compliance_scale > limits.compliance_V:
            raise LimitExceeded(
                f"compliance: that its unit is 1/{compliance_scale:g} V stands only in the dialect, and"
                f" {recipe.compliance_V * compliance_scale:g} V would exceed the house limit."
                f" Lower it, or {_remedy(source)}",
                "compliance",
            )
        trial_A = harmless_A(source, limits)
        if recipe.current_A <= trial_A:
            return None
        if recipe.nominal_ohm is None and recipe.current_shunt_ohm is None:
            raise LimitExceeded(
                f"current: that the level's unit is 1/{source.spelling('level').scale:g} A stands only in the dialect;"
                f" above {engineering(trial_A, 'A')} it must be proved. Give the specimen's"
                f" nominal resistance, measure the current, or"
                f" {_remedy(source)}",
                "current",
            )
        return trial_A

    def _read(self) -> dict[str, str]:
        try:
            kept = json.loads(self.path.read_text("utf-8"))
        except (OSError, ValueError):
            return {}
        return kept if isinstance(kept, dict) else {}


def user_units() -> Units:
    """Those of this user."""
    return Units(data_folder() / "proved_units.json")


def harmless_A(source: ScpiSource, limits: HouseLimits) -> float:
    """The largest current that stays within the limits whichever unit the source counts in."""
    return min(_HARMLESS * limits.current_A, limits.current_A / source.spelling("level").scale)


def _remedy(source: ScpiSource) -> str:
    return (
        f"prove it once on a resistor of known value: benchapp instruments check {source.link.resource} --role source"
        f' --dialect {source.dialect.path or source.dialect.id} --energise "..." --resistance "..." --voltmeter ADDR'
    )


def _key(source: ScpiSource) -> str:
    level, compliance = source.spelling("level"), source.spelling("compliance")
    of_level = [level.set, level.scale, *([level.counts] if level.counts else [])]
    told = [source.link.resource, source.identity, *of_level, compliance.set, compliance.scale]
    return hashlib.sha256(json.dumps(told).encode()).hexdigest()
