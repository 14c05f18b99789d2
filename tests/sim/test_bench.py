"""The circuit against closed forms, and the two instruments over it."""

import json
import math
import socket
import subprocess
import sys

import numpy as np
import pytest

from sim.bench import SimulatedBench
from sim.clock import VirtualClock
from sim.loopback import Loopback
from sim.scenario import Scenario, ScenarioError, load_scenario, scenario_names
from sim.server import BenchServer
from sim.world.config import Source, Specimen, ThermalEmf, Voltmeter, Wiring


def scenario(**parts: object) -> Scenario:
    quiet = {
        "specimen": Specimen(1e-3),
        "wiring": Wiring(),
        "thermal_emf": ThermalEmf(),
        "source": Source(latency_s=0.0),
        "voltmeter": Voltmeter(noise_V_per_rt_Hz=0.0),
    }
    return Scenario(name="test", title="", seed=1, recipe={}, **(quiet | parts))  # type: ignore[arg-type]


def bench(**parts: object) -> SimulatedBench:
    return SimulatedBench(scenario(**parts), VirtualClock())


def read(b: SimulatedBench) -> float:
    reply = b.voltmeter.process("READ?")
    assert reply is not None
    return float(reply)


def switch_on(b: SimulatedBench, level: float = 1.0) -> None:
    b.source.process(f"VOLT:LIM 10;:CURR {level};:OUTP ON")
    b.voltmeter.process("VOLT:RANG 0.01;:CAL:ZERO:AUTO OFF")


def test_ohm_s_law_and_emf() -> None:
    b = bench(thermal_emf=ThermalEmf(offset_V=1e-6, drift_V_per_s=1e-7))
    switch_on(b)
    assert read(b) == pytest.approx(1e-3 + 1e-6 + 1e-7 * 0.01, rel=1e-9)


def test_settling_is_integrated_over_the_aperture() -> None:
    b = bench(wiring=Wiring(settling_time_constant_s=0.005))
    switch_on(b)
    tau, T = 0.005, 0.02
    assert read(b) == pytest.approx(1e-3 * (1 - tau / T * (1 - math.exp(-T / tau))), rel=1e-8)


def test_a_client_that_does_not_wait_for_the_source_reads_wrong() -> None:
    b = bench(source=Source(latency_s=0.005))
    switch_on(b)
    b.clock.sleep(1.0)
    b.source.process("CURR -1")
    assert read(b) == pytest.approx(-1e-3 * 15 / 20 + 1e-3 * 5 / 20)
    assert b.source.process("CURR 1;*OPC?") == "1"
    assert read(b) == pytest.approx(1e-3)


def test_compliance_limits_the_current_and_is_told() -> None:
    b = bench(wiring=Wiring(source_leads_ohm=0.999))
    switch_on(b)
    assert b.source.process("STAT:QUES:COND?") == "0"
    b.source.process("VOLT:LIM 0.5")
    assert b.source.process("STAT:QUES:COND?") == "1"
    assert read(b) == pytest.approx(0.5e-3)


def test_self_heating_raises_R_by_alpha_P_Rth() -> None:
    b = bench(specimen=Specimen(1e-3, 4e-3, 100.0, 2.0))
    switch_on(b)
    b.clock.sleep(60.0)
    # Steady: rise = I^2 R Rth with R = R0 (1 + alpha rise).
    rise = 1e-3 * 100 / (1 - 1e-3 * 100 * 4e-3)
    assert read(b) == pytest.approx(1e-3 * (1 + 4e-3 * rise), rel=1e-7)
    assert b.circuit.resistance_ohm() == pytest.approx(1e-3 * (1 + 4e-3 * rise), rel=1e-7)


def test_whole_cycles_reject_mains_pick_up() -> None:
    b = bench(voltmeter=Voltmeter(noise_V_per_rt_Hz=0.0, mains_pickup_V=1e-4))
    switch_on(b, 0.0)
    assert abs(read(b)) < 1e-12
    b.voltmeter.process("VOLT:NPLC 0.5")
    assert max(abs(read(b)) for _ in range(9)) > 1e-5


def test_autozero_takes_the_zero_away_and_twice_the_time() -> None:
    b = bench(voltmeter=Voltmeter(noise_V_per_rt_Hz=0.0, zero_offset_V=5e-6))
    switch_on(b, 0.0)
    assert read(b) == pytest.approx(5e-6)
    b.voltmeter.process("CAL:ZERO:AUTO ON")
    before = b.clock.now()
    assert read(b) == 0.0
    assert b.clock.now() - before == pytest.approx(0.04)


def test_white_noise_has_the_bandwidth_of_the_aperture() -> None:
    b = bench(voltmeter=Voltmeter(noise_V_per_rt_Hz=1e-8))
    switch_on(b, 0.0)
    values = [read(b) for _ in range(2000)]
    assert np.std(values) == pytest.approx(1e-8 / math.sqrt(2 * 0.02), rel=0.06)


def test_flicker_noise_grows_towards_low_frequency() -> None:
    b = bench(voltmeter=Voltmeter(noise_V_per_rt_Hz=1e-8, flicker_corner_Hz=10.0))
    switch_on(b, 0.0)
    values = np.array([read(b) for _ in range(4096)])
    spectrum = np.abs(np.fft.rfft(values - values.mean())) ** 2
    assert spectrum[1:9].mean() > 20 * spectrum[-400:].mean()


def test_ranges_overload() -> None:
    b = bench(specimen=Specimen(0.02))
    switch_on(b)
    assert read(b) == 9.9e37
    b.voltmeter.process("VOLT:RANG:AUTO ON")
    assert read(b) == pytest.approx(0.02)


def test_triggers_out_of_turn() -> None:
    b = bench()
    switch_on(b)
    for message, code in [("FETC?", -230), ("*TRG", -211), ("INIT;INIT", -213), ("TRIG:SOUR BUS;:READ?", -214)]:
        b.voltmeter.process("ABOR;*CLS")
        assert b.voltmeter.process(message) is None
        reply = b.voltmeter.process("SYST:ERR?")
        assert reply is not None
        assert reply.startswith(str(code))


@pytest.mark.parametrize(
    ("message", "code"),
    [("CURR 1 MA", -138), ("CURR 11", -222), ("CURR abc", -104), ("OUTP MAYBE", -104), ("VOLT:PROT 1", -113)],
)
def test_the_source_is_strict(message: str, code: int) -> None:
    b = bench()
    b.source.process(message)
    reply = b.source.process("SYST:ERR?")
    assert reply is not None
    assert reply.startswith(str(code))


def test_the_same_seed_gives_the_same_run_and_another_does_not() -> None:
    def values(seed: int) -> list[float]:
        b = SimulatedBench(load_scenario("busbar_joint"), VirtualClock(), seed)
        switch_on(b, 0.0)
        return [read(b) for _ in range(5)]

    assert values(1) == values(1)
    assert values(1) != values(2)


def test_a_reply_that_is_not_there_is_a_time_out() -> None:
    b = bench()
    wire = Loopback(b.source)
    wire.send(b"CURR?\nOUTP?\n")
    assert [wire.receive(1.0), wire.receive(1.0)] == [b"0.000000000E+00", b"0"]
    with pytest.raises(TimeoutError):
        wire.receive(2.5)
    assert b.clock.now() == 2.5


def test_sockets_answer() -> None:
    with BenchServer(bench()) as server:
        host, port = server.source.split("::")[1:3]
        with socket.create_connection((host, int(port)), timeout=5) as client:
            client.sendall(b"*IDN?\r\nOUTP?")
            client.sendall(b"\n")
            received = b""
            while received.count(b"\n") < 2:
                received += client.recv(100)
    assert received == b"Generic,Current Source,0,1.0\n0\n"


@pytest.mark.parametrize("name", scenario_names())
def test_shipped_scenarios_load(name: str) -> None:
    assert load_scenario(name).recipe["current"]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("x = [", "no TOML"),
        ("titel = 1", "titel: unknown"),
        ("", "specimen: missing"),
        ("[specimen]\nohm = 1", "specimen.ohm: unknown"),
        ("[specimen]", "specimen.resistance_ohm: missing"),
        ("[specimen]\nresistance_ohm = '1'", "no number"),
    ],
)
def test_bad_scenarios_are_refused(tmp_path: object, text: str, message: str) -> None:
    path = f"{tmp_path}/bench.toml"
    with open(path, "w") as stream:
        stream.write(text)
    with pytest.raises(ScenarioError, match=message):
        load_scenario(path)


def test_simulate_prints_its_addresses_first() -> None:
    command = [sys.executable, "-m", "benchapp.cli.main", "simulate", "--scenario", "shunt"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        addresses = json.loads(process.stdout.readline())
        assert set(addresses) == {"source", "voltmeter"}
        assert json.loads(process.stdout.readline())["scenario"] == "shunt"
        process.terminate()
        assert process.wait(10) == 0


def test_sense_leads_divide_against_the_input_and_add_thermal_noise() -> None:
    # Johnson noise of 1 kohm at 296.15 K: sqrt(4 k T R) = 4.04 nV/sqrt(Hz) (textbook formula, CODATA k).
    b = bench(wiring=Wiring(sense_leads_ohm=1e3), voltmeter=Voltmeter(noise_V_per_rt_Hz=0.0, input_resistance_ohm=1e7))
    switch_on(b)
    values = [read(b) for _ in range(2000)]
    assert np.mean(values) == pytest.approx(1e-3 * 1e7 / (1e7 + 1e3), rel=1e-6)
    assert np.std(values) == pytest.approx(4.044e-9 / math.sqrt(2 * 0.02), rel=0.06)
