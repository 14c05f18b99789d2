"""The circuit against closed forms, and the two instruments over it."""

import json
import math
import socket
import subprocess
import sys
import threading

import numpy as np
import pytest

from sim.bench import SimulatedBench
from sim.clock import VirtualClock
from sim.devices.faulty import FaultyInstrument, HangUp
from sim.loopback import Loopback
from sim.scenario import Scenario, ScenarioError, load_scenario, scenario_names
from sim.scpi.core import ScpiDevice
from sim.server import BenchServer
from sim.world.circuit import Circuit
from sim.world.config import Ambient, Faults, Junction, Source, Specimen, ThermalEmf, Touch, Voltmeter, Wiring
from sim.world.junctions import JunctionSet
from sim.world.thermal_emf import EmfSource


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


def test_a_junction_follows_the_air_with_its_lag() -> None:
    air = Ambient(amplitude_K=2.0, period_s=100.0)
    still = JunctionSet(air, [Junction(1e-5, above_air_K=3.0, lag_s=0.0)], [])
    assert still.temperature_K(0, 25.0) == pytest.approx(5.0)  # the crest of the cycle
    slow = JunctionSet(air, [Junction(1e-5, lag_s=1000.0)], [])
    assert abs(slow.temperature_K(0, 50.0)) < 0.05
    pair = JunctionSet(air, [Junction(1e-5, lag_s=7.0), Junction(-1e-5, lag_s=7.0)], [])
    assert pair.mean_V(10.0, 10.02) == pytest.approx(0.0, abs=1e-18)


def test_a_hand_warms_its_junction_and_the_warmth_goes() -> None:
    touched = JunctionSet(Ambient(), [Junction(4e-5)], [Touch(10.0, 2.0, 0, warmth_K=5.0, time_constant_s=1.0)])
    assert touched.mean_V(9.0, 9.02) == 0.0
    assert touched.mean_V(12.0, 12.0001) == pytest.approx(4e-5 * 5 * (1 - np.exp(-2)), rel=1e-3)
    assert touched.mean_V(20.0, 20.02) < 1e-7


def test_inductance_adds_its_flux_change_and_nothing_else() -> None:
    wiring = Wiring(source_leads_ohm=0.0, settling_time_constant_s=0.01, inductance_H=1e-3)
    source = Source(latency_s=0.0)
    circuit = Circuit(
        Specimen(0.1),
        wiring,
        EmfSource(ThermalEmf(), np.random.default_rng(1)),
        source,
        rng=np.random.default_rng(2),
    )
    circuit.step_at(1.0, 2.0)
    # The whole change passes within the window: L * 2 A over a second, beside R * I.
    charge = 2.0 * (1.0 - 0.01 * (1 - np.exp(-100))) * 0.1
    assert circuit.mean_voltage_V(0.999, 2.0) * 1.001 == pytest.approx(charge + 1e-3 * 2.0, rel=1e-6)


def test_absorption_comes_late_and_whole() -> None:
    wiring = Wiring(source_leads_ohm=0.0, absorption=0.01, absorption_time_constant_s=0.1)
    circuit = Circuit(
        Specimen(1.0), wiring, EmfSource(ThermalEmf(), np.random.default_rng(1)), Source(), rng=np.random.default_rng(2)
    )
    circuit.step_at(0.0, 1.0)
    assert circuit.mean_voltage_V(0.0, 1e-4) == pytest.approx(0.99, rel=1e-4)
    assert circuit.mean_voltage_V(1.0, 1.01) == pytest.approx(1.0, rel=1e-6)


@pytest.mark.parametrize(
    ("faults", "replies"),
    [
        (Faults(stall_after=1), ["x", None, None]),
        (Faults(garbage_every=2), ["x", "\x7f?#~", "x"]),
        (Faults(twice_every=3), ["x", "x", "x\nx"]),
    ],
)
def test_an_instrument_misbehaves_as_told(faults: Faults, replies: list[str | None]) -> None:
    device = ScpiDevice("x", VirtualClock(), threading.RLock())
    faulty = FaultyInstrument(device, faults)
    assert [faulty.process("*IDN?") for _ in replies] == replies


def test_it_hangs_up_clamps_and_complains() -> None:
    b = bench()
    leaving = FaultyInstrument(b.source, Faults(drop_after=1))
    assert leaving.process("*IDN?")
    with pytest.raises(HangUp):
        leaving.process("*IDN?")
    FaultyInstrument(b.source, Faults(clamp=0.5)).process(":SOUR:CURR 1.0")
    assert float(b.source.process(":SOUR:CURR?") or "nan") == 0.5
    FaultyInstrument(b.source, Faults(errors_every=1)).process("*IDN?")
    assert (b.source.process("SYST:ERR?") or "").startswith("-310")
