"""A standard resistor in series with the specimen: what the second voltmeter sees of the current."""

from __future__ import annotations

from sim.world.circuit import Circuit
from sim.world.config import CurrentShunt


class ShuntCircuit:
    """The circuit as it looks between the sense terminals of the resistor."""

    def __init__(self, circuit: Circuit, shunt: CurrentShunt) -> None:
        self._circuit, self._shunt = circuit, shunt

    def mean_voltage_V(self, start_s: float, end_s: float) -> float:
        """Mean true voltage over [start, end], with an EMF of its own wiring."""
        emf_V = self._shunt.emf_V + self._shunt.emf_drift_V_per_s * (start_s + end_s) / 2
        return self._shunt.resistance_ohm * self._circuit.mean_current_A(start_s, end_s) + emf_V
