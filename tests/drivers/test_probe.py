"""No finding called proved is wrong, nothing is energised, everything is put back: over the whole zoo.

python -m tests.drivers.test_probe      prints the table
"""

import time
from collections.abc import Callable
from pathlib import Path

import pytest

from drivers.dialect import REQUIRED, load_dialect
from drivers.errors import InstrumentError
from drivers.probe import Report, dialect_text, probe
from sim.bench import SimulatedBench
from sim.clock import VirtualClock
from sim.loopback import Loopback
from sim.scenario import load_scenario
from tests.drivers.zoo import Box, opener, zoo

CASES = zoo()


def _probed(make: Callable[[], Box], role: str) -> tuple[Box, Report]:
    box = make()
    return box, probe(opener(box), "ADDR", role)


@pytest.mark.parametrize(("name", "role", "make", "works"), CASES, ids=[case[0] for case in CASES])
def test_a_probe_is_right_and_harmless(
    name: str, role: str, make: Callable[[], Box], works: set[str], tmp_path: Path
) -> None:
    box, report = _probed(make, role)
    proved = {finding.name for finding in report.findings if finding.status == "proved"}
    assert proved <= works
    was_on = box.start[":OUTP"] == "1" if ":OUTP" in box.start else False
    assert not box.energised
    if box.clamp != 1.0:  # it takes no value whole, so none can be put back: that is told
        assert any("could not be put back" in note for note in report.notes)
    elif not was_on:
        assert box.settings == box.start
    sent = [message for message in box.log if message.startswith(":OUTP ")]
    assert all(message == ":OUTP OFF" for message in sent)
    if "one" in name.split() and role == "voltmeter":
        assert not any(message.startswith((":READ?", ":INIT")) for message in box.log)
    text = dialect_text(report, "probed")
    path = tmp_path / "probed.toml"
    path.write_text(text)
    found = {finding.name for finding in report.findings}
    if set(REQUIRED[role]) <= found:
        dialect = load_dialect(str(path), role)
        assert all(spelling.status for spellings in dialect.capabilities.values() for spelling in spellings)


def test_the_strict_voltmeter_is_proved_whole() -> None:
    _, report = _probed(CASES[1][2], "voltmeter")
    proved = {finding.name for finding in report.findings if finding.status == "proved"}
    assert proved == {"function", "nplc", "range", "autorange", "autozero", "trigger_source", "read"}
    assert (report.error_mode, report.compound, report.completes) == ("queue", True, True)


def test_what_is_left_to_the_user_stays_unverified() -> None:
    _, report = _probed(CASES[0][2], "source")
    unverified = {finding.name: finding.evidence for finding in report.findings if finding.status == "unverified"}
    assert "switching on" in unverified["output"]
    assert "unit" in unverified["level"]
    assert "clamps or trips" in unverified["compliance"]


def test_a_source_with_its_output_on_is_left_alone() -> None:
    case = next(case for case in CASES if case[0] == "output on already")
    box, report = _probed(case[2], "source")
    assert box.settings == box.start
    assert any("could not be proved off" in note for note in report.notes)


def test_no_scpi_at_all_is_said() -> None:
    box = Box("quiet", {}, identify="WHO")
    with pytest.raises(InstrumentError, match="dialect written by hand"):
        probe(opener(box), "ADDR", "source")


def test_the_simulated_voltmeter_is_left_as_it_was() -> None:
    bench = SimulatedBench(load_scenario("shunt"), VirtualClock())
    queries = (":SENS:VOLT:DC:RANG:AUTO?", ":SENS:VOLT:DC:NPLC?", ":CAL:ZERO:AUTO?", ":TRIG:SOUR?")
    before = [bench.voltmeter.process(query) for query in queries]
    report = probe(lambda end: Loopback(bench.voltmeter), "ADDR", "voltmeter")
    assert [bench.voltmeter.process(query) for query in queries] == before
    assert {f.name for f in report.findings if f.status == "proved"} >= {"nplc", "range", "autorange", "read"}


def main() -> None:
    """Print the table: instrument, what was proved, unverified, missed and wrong, seconds and messages."""
    print(f"{'instrument':<30}{'role':<11}{'proved':>7}{'unver.':>8}{'missed':>8}{'wrong':>7}{'s':>7}{'messages':>10}")
    for name, role, make, works in CASES:
        start = time.perf_counter()
        _, report = _probed(make, role)
        seconds = time.perf_counter() - start
        proved = {f.name for f in report.findings if f.status == "proved"}
        unverified = {f.name for f in report.findings if f.status == "unverified"}
        missed = works - proved - unverified
        print(
            f"{name:<30}{role:<11}{len(proved & works):>7}{len(unverified):>8}{len(missed):>8}"
            f"{len(proved - works):>7}{seconds:>7.2f}{report.messages:>10}"
        )


if __name__ == "__main__":
    main()
