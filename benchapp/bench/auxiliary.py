"""Thermometer, switch and polarity switch around a run: the specimen's temperature, and the channel that connects it.

For the command line and the window alike. What is connected is opened again on every way out.
"""

from __future__ import annotations

import contextlib
import statistics
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from benchapp.bench.locks import locked
from benchapp.bench.plan import BenchPlan
from benchapp.errors import Fault, InputError
from benchapp.recipe_values import is_channel
from drivers.dialect import Dialect, load_dialect
from drivers.errors import AddressError, DialectError, InstrumentError
from drivers.lock import canonical
from drivers.polarity import Polarity, UnipolarSource
from drivers.registry import make_link
from drivers.scpi_switch import ScpiSwitch
from drivers.scpi_thermometer import ScpiThermometer
from drivers.wires import check_address

_TEMPERATURES = 3


@dataclass(frozen=True, slots=True)
class AuxiliaryPlan:
    """Where the auxiliary instruments are and how they speak; empty where there is none.

    `channel` is the switch's with the specimen; `polarity_channels` are those for one polarity and the other.
    """

    thermometer: str = ""
    thermometer_dialect: str = "scpi"
    switch: str = ""
    switch_dialect: str = "scpi"
    channel: str = ""
    polarity_switch: str = ""
    polarity_channels: str = ""
    turns: bool = False  # the run itself moves the switch, from part to part

    def check(self) -> None:
        """Raise InputError with all that is missing or wrong."""
        faults = []
        for field, address in (
            ("--thermometer", self.thermometer),
            ("--switch", self.switch),
            ("--polarity-switch", self.polarity_switch),
        ):
            try:
                if address:
                    check_address(address)
            except AddressError as error:
                problem, _, remedy = str(error).partition(". ")
                faults.append(Fault(problem, "", remedy, field=field))
        if self.turns and self.channel:
            remedy = "Leave --channel out: the recipe's channels say what is connected"
            faults.append(Fault("stands beside parts in turns", self.channel, remedy, field="--channel"))
        if self.turns and self.switch and self.switch == self.polarity_switch:
            remedy = "Name another switch: one of the two would open what the other one has closed"
            faults.append(Fault("is the scanner, too", self.switch, remedy, field="--polarity-switch"))
        if self.channel and not is_channel(self.channel):
            faults.append(Fault("no channel", self.channel, "Write its number, as in --channel 3", field="--channel"))
        if self.switch and not self.channel and not self.turns:
            faults.append(Fault("missing", "", "Write the channel's number, as in --channel 3", field="--channel"))
        both = self._both_channels()
        if self.polarity_switch and not (len(both) == 2 and all(map(is_channel, both))):
            remedy = 'Write the two channels, as in --polarity-channels "1,2"'
            faults.append(Fault("not two channels", self.polarity_channels, remedy, "--polarity-channels"))
        if faults:
            raise InputError(*faults)

    def _both_channels(self) -> list[str]:
        return [text.strip() for text in self.polarity_channels.split(",") if text.strip()]

    def temperature_C(self) -> float | None:
        """The mean of three temperatures in degrees Celsius; None without a thermometer. Raises InstrumentError."""
        if not self.thermometer:
            return None
        dialect = _dialect(self.thermometer_dialect, "thermometer")
        with locked("a thermometer of a run", self.thermometer):
            thermometer = ScpiThermometer(make_link(self.thermometer, dialect), dialect)
            try:
                thermometer.open()
                thermometer.configure()
                return statistics.fmean(thermometer.read_C() for _ in range(_TEMPERATURES))
            finally:
                thermometer.close()

    @contextlib.contextmanager
    def connected(self, run: Sequence[str] = ()) -> Iterator[None]:
        """The channel closed as long as the run goes on; open again on every way out, after the output went off.

        `run` are the addresses that the run locks itself: one of them may be the switch, too.
        """
        if not self.switch or self.turns:
            yield
            return
        with _switch(self.switch, self.switch_dialect, run) as switch:
            switch.connect(self.channel)
            yield

    @contextlib.contextmanager
    def turned(self, plan: BenchPlan) -> Iterator[BenchPlan]:
        """The plan with the polarity switch in it, which is open again on every way out."""
        address, channels = self.polarity_switch, self._both_channels()
        if not address:
            address, channels = plan.polarity_switch, ["1", "2"]
        if not address:
            yield plan
            return
        run = [plan.source, plan.voltmeter, *([self.switch] if self.switch else [])]
        with _switch(address, self.switch_dialect, run) as switch:
            polarity = Polarity(switch, *channels)
            yield replace(plan, source_driver=UnipolarSource, polarity=polarity)


@contextlib.contextmanager
def _switch(address: str, dialect_name: str, run: Sequence[str]) -> Iterator[ScpiSwitch]:
    """A switch, opened, for us alone; all its channels are open again when it is left.

    Another program that opened them would open a circuit that carries current.
    """
    dialect = _dialect(dialect_name, "switch")
    ours = canonical(address) in map(canonical, filter(None, run))
    with contextlib.nullcontext() if ours else locked("a switch of a run", address):
        switch = ScpiSwitch(make_link(address, dialect), dialect)
        try:
            switch.open()
            try:
                yield switch
            finally:
                with contextlib.suppress(InstrumentError):
                    switch.open_all()
        finally:
            switch.close()


def _dialect(name: str, kind: str) -> Dialect:
    try:
        return load_dialect(name, kind)
    except DialectError as error:
        problem, _, remedy = str(error).rpartition(". ")
        raise InputError(Fault(problem, "", remedy, field=f"--{kind}-dialect")) from error
