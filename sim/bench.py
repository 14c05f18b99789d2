"""A simulated bench put together: one circuit behind two instruments."""

from __future__ import annotations

import threading

import numpy as np

from sim.clock import Clock
from sim.devices.current_source import CurrentSource
from sim.devices.faulty import FaultyInstrument
from sim.devices.lantern import LanternVoltmeter
from sim.devices.ledger import LedgerSource, LedgerVoltmeter
from sim.devices.lines import TriggerLines
from sim.devices.quill import QuillSource
from sim.devices.switch import Switch
from sim.devices.thermometer import Thermometer
from sim.devices.voltmeter import Voltmeter
from sim.scenario import Scenario
from sim.scpi.errors import ScpiError
from sim.world.air import above_start_K
from sim.world.circuit import Circuit
from sim.world.config import Wiring
from sim.world.junctions import JunctionSet
from sim.world.noise import VoltmeterNoise
from sim.world.shunt import ShuntCircuit
from sim.world.thermal_emf import EmfSource


class SimulatedBench:
    """Source, voltmeter and circuit of a scenario, on one clock; `seed` replaces the scenario's own."""

    def __init__(self, scenario: Scenario, clock: Clock, seed: int | None = None) -> None:
        emf_rng, noise_rng, circuit_rng, current_rng, air_rng = (
            np.random.default_rng(s) for s in np.random.SeedSequence(scenario.seed if seed is None else seed).spawn(5)
        )
        lock = threading.RLock()
        self.scenario = scenario
        self.clock = clock
        junctions = JunctionSet(scenario.ambient, scenario.junctions, scenario.touches)
        self.circuit = Circuit(
            scenario.specimen,
            scenario.wiring,
            EmfSource(scenario.thermal_emf, emf_rng, junctions),
            scenario.source,
            contact_steps=scenario.contact_steps,
            ambient=scenario.ambient,
            parts=scenario.parts,
            rng=circuit_rng,
        )
        self.source: CurrentSource | QuillSource
        self.voltmeter: Voltmeter | LanternVoltmeter
        sources: dict[str, type[CurrentSource | QuillSource]] = {"quill": QuillSource, "ledger": LedgerSource}
        self.source = sources.get(scenario.source_dialect, CurrentSource)(scenario.source, self.circuit, clock, lock)
        noise = VoltmeterNoise(scenario.voltmeter, scenario.wiring, noise_rng)
        voltmeters: dict[str, type[Voltmeter | LanternVoltmeter]] = {
            "lantern": LanternVoltmeter,
            "ledger": LedgerVoltmeter,
        }
        voltmeter = voltmeters.get(scenario.voltmeter_dialect, Voltmeter)
        self.voltmeter = voltmeter(scenario.voltmeter, self.circuit, noise, clock, lock)
        if isinstance(self.source, CurrentSource) and isinstance(self.voltmeter, Voltmeter):
            self.lines = TriggerLines(self.source, self.voltmeter, scenario.lines, clock)
        self.current_voltmeter: Voltmeter | None = None
        if scenario.current_shunt.resistance_ohm:
            seen = ShuntCircuit(self.circuit, scenario.current_shunt)
            own = VoltmeterNoise(scenario.current_voltmeter, Wiring(), current_rng)
            self.current_voltmeter = Voltmeter(scenario.current_voltmeter, seen, own, clock, lock)
        self.polarity_switch: Switch | None = None
        if scenario.polarity_switch.there and isinstance(self.source, CurrentSource):
            self.source.least_A = 0.0
            self.source.polarity = 0.0  # it stands open
            self.polarity_switch = Switch(2, self._turn, clock, lock)
        self.scanner: Switch | None = None
        if scenario.parts:
            self.scanner = Switch(len(scenario.parts), self._connect, clock, lock)
        self.thermometer: Thermometer | None = None
        if scenario.thermometer.there:
            self.thermometer = Thermometer(self._air_C, air_rng, clock, lock)
        self.thermometer_inside = scenario.thermometer.there == 2 and isinstance(self.voltmeter, Voltmeter)
        if self.thermometer_inside and self.thermometer is not None:
            asked = self.thermometer.second_input
            self.voltmeter.add("MEASure:TEMPerature", query_with=asked, query=_no_channel)  # type: ignore[union-attr]  # as just asked
        self.source_faults = FaultyInstrument(self.source, scenario.source_faults)
        self.voltmeter_faults = FaultyInstrument(self.voltmeter, scenario.voltmeter_faults)

    def _turn(self, closed: frozenset[int]) -> None:
        """The contacts have moved; both closed would short the leads, and no current reaches the part."""
        assert isinstance(self.source, CurrentSource)
        self.source.turn({frozenset({1}): 1.0, frozenset({2}): -1.0}.get(closed, 0.0))

    def _connect(self, closed: frozenset[int]) -> None:
        """Other parts are in the circuit; a source that is on drives its level through them at once."""
        self.circuit.connect(closed, self.clock.now())
        self.source.drive()

    def _air_C(self) -> float:
        """What the thermometer is in, with its own error."""
        thermometer = self.scenario.thermometer
        return thermometer.air_C + thermometer.error_K + above_start_K(self.scenario.ambient, 0.0, self.clock.now())


def _no_channel() -> str:
    raise ScpiError(-109)
