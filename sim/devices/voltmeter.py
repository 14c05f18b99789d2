"""The simulated voltmeter."""

from __future__ import annotations

import struct
import threading
from collections.abc import Sequence
from typing import Protocol

from sim.clock import Clock
from sim.scpi.core import ScpiDevice
from sim.scpi.errors import ScpiError
from sim.scpi.headers import boolean, choice, number
from sim.world.config import Voltmeter as VoltmeterConfig
from sim.world.noise import VoltmeterNoise

_OVERLOAD = 9.9e37
BUFFER = 1000  # readings
_MEASURING_BIT, _WAITING_BIT = 0x10, 0x20  # STATus:OPERation bits 4 and 5, SCPI-99 vol. 1, 9.3
_HEADROOM = 1.2  # a range reads this far above its name


class Seen(Protocol):
    """What a voltmeter is connected to."""

    def mean_voltage_V(self, start_s: float, end_s: float) -> float:
        """Mean true voltage over [start, end]."""


class Voltmeter(ScpiDevice):
    """An integrating voltmeter: aperture in power-line cycles, ranges that overload, autozero that doubles the time."""

    def __init__(
        self, config: VoltmeterConfig, circuit: Seen, noise: VoltmeterNoise, clock: Clock, lock: threading.RLock
    ) -> None:
        super().__init__("Generic,Voltmeter,0,1.0", clock, lock)
        self._config = config
        self._circuit = circuit
        self._noise = noise
        self._pending: float | None = None
        self.reset()
        low, high = 0.01 / config.line_frequency_Hz, 100 / config.line_frequency_Hz
        function = "[SENSe]:VOLTage[:DC]"
        self.add(
            f"{function}:NPLCycles",
            set_=lambda text: self._set_cycles(number(text, 0.01, 100, 1.0)),
            query=lambda: f"{self._cycles:.6E}",
        )
        self.add(
            f"{function}:APERture",
            set_=lambda text: self._set_cycles(number(text, low, high, low * 100) * config.line_frequency_Hz),
            query=lambda: f"{self.aperture_s:.6E}",
        )
        self.add(f"{function}:RANGe[:UPPer]", set_=self._set_range, query=lambda: f"{self._range_V:.6E}")
        self.add(f"{function}:RANGe:AUTO", set_=self._set_autorange, query=lambda: str(int(self._autorange)))
        self.add("[SENSe]:FUNCtion[:ON]", set_=self._set_function, query=lambda: '"VOLT:DC"')
        self.add("CALibration:ZERO:AUTO", set_=self._set_autozero, query=lambda: str(int(self._autozero)))
        self.add("TRIGger[:SEQuence]:SOURce", set_=self._set_trigger_source, query=lambda: self._trigger_source)
        self.add(
            "TRIGger[:SEQuence]:DELay",
            set_=lambda text: setattr(self, "trigger_delay_s", number(text, 0.0, 3600.0, 0.0)),
            query=lambda: f"{self.trigger_delay_s:.6E}",
        )
        self.add(
            "TRIGger[:SEQuence]:COUNt",
            set_=lambda text: setattr(self, "trigger_count", round(number(text, 1, BUFFER, 1))),
            query=lambda: str(self.trigger_count),
        )
        self.add("STATus:OPERation:CONDition", query=lambda: str(self._operation()))
        self.add("FORMat[:DATA]", set_list=self._set_format, query=lambda: "REAL,64" if self._binary else "ASC,0")
        self.add("INITiate[:IMMediate]", do=self._initiate)
        self.add("ABORt", do=self._abort)
        self.add("*TRG", do=self._trigger)
        self.add("FETCh", query=self._fetch)
        self.add("READ", query=self._read)
        self.add("SYSTem:LFRequency", query=lambda: f"{config.line_frequency_Hz:.6E}")

    def reset(self) -> None:
        """One power-line cycle, autorange, autozero, immediate trigger."""
        self._cycles = 1.0
        self._range_V = self._config.ranges_V[-1]
        self._autorange = True
        self._autozero = True
        self._trigger_source = "IMM"
        self.trigger_delay_s = 0.0
        self.trigger_count = 1
        self._binary = False
        self._abort()

    def complete_at(self) -> float:
        """When the reading under way is done."""
        return self.clock.now() if self._pending is None else self._pending + self._duration_s()

    @property
    def aperture_s(self) -> float:
        """Integration time of one reading."""
        return self._cycles / self._config.line_frequency_Hz

    def _each_s(self) -> float:
        return self.aperture_s * (2 if self._autozero else 1)

    def _duration_s(self) -> float:
        return self._each_s() * self.trigger_count

    def _set_cycles(self, cycles: float) -> None:
        self._cycles = cycles

    def _set_range(self, text: str) -> None:
        wanted = number(text, 0.0, self._config.ranges_V[-1], self._config.ranges_V[-1])
        self._range_V = next(r for r in self._config.ranges_V if r >= wanted * (1 - 1e-9))
        self._autorange = False

    def _set_autorange(self, text: str) -> None:
        self._autorange = boolean(text)

    def _set_autozero(self, text: str) -> None:
        self._autozero = boolean(text)

    def _set_function(self, text: str) -> None:
        if text[:1] not in "\"'" or text[-1:] != text[:1]:
            raise ScpiError(-104)
        if text[1:-1].upper() not in ("VOLT", "VOLT:DC", "VOLTAGE", "VOLTAGE:DC"):
            raise ScpiError(-224)

    def _set_trigger_source(self, text: str) -> None:
        self._trigger_source = choice(text, ("IMMediate", "BUS", "EXTernal"))

    def _set_format(self, parameters: Sequence[str]) -> None:
        kind = choice(parameters[0] if parameters else "", ("ASCii", "REAL"))
        if kind == "REAL" and list(parameters[1:]) != ["64"]:
            raise ScpiError(-224)
        self._binary = kind == "REAL"

    def _abort(self) -> None:
        self._pending = None
        self._readings: list[float] = []  # of the last acquisition
        self.times_s: list[float] = []
        self._armed = self.triggered = False

    def _operation(self) -> int:
        """Measuring, or waiting for a trigger, or neither."""
        if self._pending is not None:
            return _MEASURING_BIT if self.clock.now() < self.complete_at() else 0
        return (_MEASURING_BIT if self.triggered else _WAITING_BIT) if self._armed else 0

    @property
    def armed(self) -> bool:
        """Whether it takes part in a pass: it waits for a trigger, or measures after one."""
        return self._armed

    def take_triggered(self, pulse_s: float) -> float | None:
        """A pulse on the trigger line: one more reading. When it is complete; None where it was not armed."""
        if not self._armed or self._trigger_source != "EXT":
            return None
        start_s = pulse_s + self.trigger_delay_s
        end_s = start_s + self.aperture_s
        self._readings.append(self._measured(start_s))
        self.times_s.append((start_s + end_s) / 2)
        self.triggered = False
        if len(self._readings) >= self.trigger_count:
            self._armed = False
        return end_s

    @property
    def readings_V(self) -> list[float]:
        """Those of the acquisition under way, or of the last one."""
        return self._readings

    def _initiate(self) -> None:
        if self._pending is not None or self._armed:
            raise ScpiError(-213)
        self._readings, self.times_s = [], []
        if self._trigger_source == "IMM":
            self._pending = self.clock.now()
        else:
            self._armed = True

    def _trigger(self) -> None:
        if not self._armed or self._trigger_source != "BUS":
            raise ScpiError(-211)
        self._armed = False
        self._pending = self.clock.now()

    def _fetch(self) -> str:
        if self._pending is not None:
            start = self._pending
            self.wait_until_complete()
            self._pending = None
            self._readings = [self._measured(start + k * self._each_s()) for k in range(self.trigger_count)]
        if self._armed or not self._readings:
            raise ScpiError(-230)
        if self._binary:
            return real64_block(self._readings)
        return ",".join(f"{value:.9E}" for value in self._readings)

    def _read(self) -> str:
        if self._trigger_source == "BUS":
            raise ScpiError(-214)
        self._abort()
        self._initiate()
        return self._fetch()

    def _measured(self, start_s: float) -> float:
        """One reading; with autozero the shorted input is read after the signal."""
        end_s = start_s + self.aperture_s
        with self.lock:
            true_V = self._circuit.mean_voltage_V(start_s, end_s)
            value = self._noise.reading_V(true_V, start_s, end_s, autozero=self._autozero)
        if self._autorange:
            fitting = (r for r in self._config.ranges_V if abs(value) <= r * _HEADROOM)
            self._range_V = next(fitting, self._config.ranges_V[-1])
        if self._config.resolution_V:
            value = round(value / self._config.resolution_V) * self._config.resolution_V
        return _OVERLOAD if abs(value) > self._range_V * _HEADROOM else value


def real64_block(numbers: Sequence[float]) -> str:
    """A definite-length block (IEEE 488.2, 8.7.9) of big-endian doubles, as FORMat REAL,64 wants it."""
    data = struct.pack(f">{len(numbers)}d", *numbers)
    return f"#{len(str(len(data)))}{len(data)}" + data.decode("latin-1")
