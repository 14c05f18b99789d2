"""Resistance of wires and cables: conductor classes, wire gauges, resistivity and conductivity."""

from __future__ import annotations

import math
from dataclasses import dataclass

from benchapp.analysis.temperature import COPPER_RESISTIVITY20_OHM_M, percent_iacs, resistivity

# IEC 60228:2004, tables 1 to 3: largest resistance at 20 degC in ohm/km, annealed copper, by nominal area in mm2:
# class 1 plain, class 1 metal-coated, class 2 plain, class 2 metal-coated, classes 5 and 6 plain, metal-coated.
_LARGEST: dict[float, tuple[float | None, ...]] = {
    0.5: (36.0, 36.7, 36.0, 36.7, 39.0, 40.1),
    0.75: (24.5, 24.8, 24.5, 24.8, 26.0, 26.7),
    1.0: (18.1, 18.2, 18.1, 18.2, 19.5, 20.0),
    1.5: (12.1, 12.2, 12.1, 12.2, 13.3, 13.7),
    2.5: (7.41, 7.56, 7.41, 7.56, 7.98, 8.21),
    4.0: (4.61, 4.7, 4.61, 4.7, 4.95, 5.09),
    6.0: (3.08, 3.11, 3.08, 3.11, 3.3, 3.39),
    10.0: (1.83, 1.84, 1.83, 1.84, 1.91, 1.95),
    16.0: (1.15, 1.16, 1.15, 1.16, 1.21, 1.24),
    25.0: (0.727, None, 0.727, 0.734, 0.78, 0.795),
    35.0: (0.524, None, 0.524, 0.529, 0.554, 0.565),
    50.0: (0.387, None, 0.387, 0.391, 0.386, 0.393),
    70.0: (0.268, None, 0.268, 0.27, 0.272, 0.277),
    95.0: (0.193, None, 0.193, 0.195, 0.206, 0.21),
    120.0: (0.153, None, 0.153, 0.154, 0.161, 0.164),
    150.0: (0.124, None, 0.124, 0.126, 0.129, 0.132),
    185.0: (0.101, None, 0.0991, 0.1, 0.106, 0.108),
    240.0: (0.0775, None, 0.0754, 0.0762, 0.0801, 0.0817),
    300.0: (0.062, None, 0.0601, 0.0607, 0.0641, 0.0654),
    400.0: (0.0465, None, 0.047, 0.0475, 0.0486, 0.0495),
    500.0: (None, None, 0.0366, 0.0369, 0.0384, 0.0391),
    630.0: (None, None, 0.0283, 0.0286, 0.0287, 0.0292),
}
# The same for aluminium and its alloys, classes 1 (round, solid) and 2 (stranded); cited from memory.
_LARGEST_ALUMINIUM: dict[float, float] = {
    10.0: 3.08,
    16.0: 1.91,
    25.0: 1.20,
    35.0: 0.868,
    50.0: 0.641,
    70.0: 0.443,
    95.0: 0.320,
    120.0: 0.253,
    150.0: 0.206,
    185.0: 0.164,
    240.0: 0.125,
    300.0: 0.100,
    400.0: 0.0778,
    500.0: 0.0605,
    630.0: 0.0469,
}
CLASSES = (1, 2, 5, 6)
AREAS_MM2 = tuple(_LARGEST)


@dataclass(frozen=True, slots=True)
class Conductor:
    """A conductor of a class of IEC 60228: nominal area in mm2, class 1, 2, 5 or 6, bare or metal-coated copper, or
    aluminium of class 1 or 2.
    """

    area_mm2: float
    number: int
    coated: bool = False
    aluminium: bool = False

    @property
    def largest_ohm_per_m(self) -> float:
        """What the class allows at 20 degC; NaN where the standard has no such conductor."""
        if self.aluminium:
            known = self.number in (1, 2) and not self.coated
            return _LARGEST_ALUMINIUM.get(self.area_mm2, math.nan) / 1000 if known else math.nan
        column = {1: 0, 2: 2, 5: 4, 6: 4}.get(self.number)
        row = _LARGEST.get(self.area_mm2)
        value = None if row is None or column is None else row[column + self.coated]
        return math.nan if value is None else value / 1000


def wire_diameter(gauge: int) -> float:
    """Diameter in m of an American wire gauge; -3 is 0000 (ASTM B258: a geometric series of 39 steps)."""
    return float(0.127e-3 * 92.0 ** ((36 - gauge) / 39))


def wire_resistance(gauge: int, resistivity_ohm_m: float = COPPER_RESISTIVITY20_OHM_M) -> float:
    """Ohm per metre of a solid wire of that gauge; annealed copper at 20 degC unless told otherwise."""
    return resistivity_ohm_m / (math.pi * wire_diameter(gauge) ** 2 / 4)


@dataclass(frozen=True, slots=True)
class Material:
    """Resistivity and conductivity from a resistance at 20 degC and the geometry, with the standard uncertainty."""

    resistivity_ohm_m: float
    standard_uncertainty_ohm_m: float
    percent_iacs: float


def material(
    resistance_ohm: float,
    u_resistance_ohm: float,
    *,
    area_m2: float,
    length_m: float,
    u_area_m2: float = 0.0,
    u_length_m: float = 0.0,
) -> Material:
    """Rho = R A / l (ASTM B193), its uncertainty by JCGM 100, and the conductivity in % IACS (IEC 60028)."""
    rho = resistivity(resistance_ohm, area_m2, length_m)
    relative = math.hypot(u_resistance_ohm / resistance_ohm, u_area_m2 / area_m2, u_length_m / length_m)
    return Material(rho, rho * relative, percent_iacs(rho))
