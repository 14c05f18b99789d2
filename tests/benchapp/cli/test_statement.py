"""What is told beside the number: decision, conductor, thermometer readings, Monte Carlo, circuit."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from benchapp.cli.main import main

CARD = """
[voltmeter]
calibrated = 2020-01-01
temperature_ppm_per_K = 5
drift_ppm_per_year = 10
[[voltmeter.range]]
range = "10 mV"
reading_ppm = 50
[circuit]
temperature = "27 degC"
insulation = "1 Gohm"
settling_time_constant = "2 ms"
thermal_resistance = 15
temperature_coefficient = "0.00393 / K"
asymmetry_ppm = 10
"""
# 1 mohm at 1 A with an EMF of 5 uV and a little noise that is the same each time.
_NOISE = np.random.default_rng(11).normal(0, 8e-9, 48)


@pytest.fixture
def readings(tmp_path: Path) -> Path:
    path = tmp_path / "run.csv"
    rows = [f"{k * 0.1:.1f},{(-1) ** k},{1e-3 * (-1) ** k + 5e-6 + _NOISE[k]}" for k in range(48)]
    path.write_text("time_s,current_A,voltage_V\n" + "\n".join(rows) + "\n")
    return path


def analysed(capsys: pytest.CaptureFixture[str], path: Path, *options: str) -> dict[str, Any]:
    assert main(["analyse", str(path), "--json", "-", *options]) == 0
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


def test_decision_with_its_risk(capsys: pytest.CaptureFixture[str], readings: Path) -> None:
    card = readings.with_name("accuracy.toml")
    card.write_text(
        '[[voltmeter.range]]\nrange = "10 mV"\nreading_ppm = 0.001\n'
        '[[source.range]]\nrange = "1 A"\nreading_ppm = 0.001\n'
    )
    known = ("--accuracy", str(card))
    U = analysed(capsys, readings, *known)["expanded_uncertainty_ohm"]
    R = analysed(capsys, readings, *known)["resistance_ohm"]
    limits: tuple[str, ...] = ("--low", f"{R - 5 * U:.15f} ohm", "--high", f"{R + 0.5 * U:.15f} ohm")
    by_scatter = analysed(capsys, readings, *limits)
    assert by_scatter["scope"] == "repeatability"
    assert by_scatter["decision"]["conformity_probability"] is None
    limits += known
    decision = analysed(capsys, readings, *limits)["decision"]
    assert decision["verdict"] == "undecided"
    assert decision["leans_to"] == "pass"
    assert 0.8 < decision["conformity_probability"] < 0.92
    assert decision["specific_risk"] is None
    assert decision["tolerance_ratio"] == pytest.approx(2.75, rel=1e-3)
    assert "below 4:1" in decision["warning"]
    simple = analysed(capsys, readings, *limits, "--rule", "simple")["decision"]
    assert simple["verdict"] == "pass"
    assert simple["specific_risk"] == pytest.approx(1 - decision["conformity_probability"])
    assert main(["analyse", str(readings), *limits]) == 0
    assert "leaning to pass" in capsys.readouterr().out


def test_conductor(capsys: pytest.CaptureFixture[str], readings: Path) -> None:
    options: tuple[str, ...] = ("--length", "0.14 m", "--area", "2.5 mm2", "--conductor", "class 2, 2.5 mm2")
    unknown = analysed(capsys, readings, *options)["material"]
    assert unknown["within_class"] is None  # nobody said at which temperature the value holds
    at = ("--temperature", "20 degC", "--reference-temperature", "20 degC", "--temperature-coefficient", "0.00393 / K")
    options = (*options, *at)
    material = analysed(capsys, readings, *options)["material"]
    assert material["resistance_per_length_ohm_per_m"] == pytest.approx(1e-3 / 0.14, rel=1e-4)
    assert material["class_limit_ohm_per_m"] == pytest.approx(7.41e-3)
    assert material["within_class"] is True
    assert material["percent_iacs"] == pytest.approx(100 * 1 / 58e6 / (1e-3 * 2.5e-6 / 0.14), rel=1e-4)
    assert main(["analyse", str(readings), *options]) == 0
    assert "IEC 60228" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("options", "word"),
    [
        (("--area", "2.5 mm2"), "--length"),
        (("--length", "1 m", "--conductor", "class 9, 2 mm2"), "no such conductor"),
        (("--length", "1 m", "--conductor", "thick"), "conductor class"),
        (("--length", "0 m"), "not above 0"),
        (("--length", "1 m", "--area", "2 m"), "no area"),
    ],
)
def test_wrong_geometry(
    capsys: pytest.CaptureFixture[str], readings: Path, options: tuple[str, ...], word: str
) -> None:
    assert main(["analyse", str(readings), *options]) == 2
    assert word in capsys.readouterr().err


@pytest.mark.parametrize("reading", ["23 degC", "108.9585 ohm", "0.911 mV", "0 mV at 23 degC"])
def test_temperature_by_thermometer(capsys: pytest.CaptureFixture[str], readings: Path, reading: str) -> None:
    plain = analysed(capsys, readings)["resistance_ohm"]
    options = ("--reference-temperature", "20 degC", "--temperature-coefficient", "0.00393 / K")
    found = analysed(capsys, readings, "--temperature", reading, *options)
    assert found["resistance_ohm"] == pytest.approx(plain / (1 + 0.00393 * 3), rel=1e-4)


def test_circuit_and_ageing_enter_the_budget(
    capsys: pytest.CaptureFixture[str], readings: Path, tmp_path: Path
) -> None:
    (tmp_path / "card.toml").write_text(CARD)
    found = analysed(capsys, readings, "--instrument-card", str(tmp_path / "card.toml"))
    rows = {row["name"]: row["contribution_ohm"] for row in found["budget"]}
    R = found["resistance_ohm"]
    assert rows["voltmeter temperature"] == pytest.approx(R * 20e-6 / 3**0.5)
    assert rows["voltmeter calibration age"] > R * 60e-6 / 3**0.5
    assert rows["current asymmetry"] == pytest.approx(R * 5e-6 / 3**0.5)
    assert rows["self-heating"] == pytest.approx(R * 0.00393 * 15 * 1e-3 / 3**0.5, rel=1e-4)
    assert rows["leakage"] == pytest.approx(R * 1e-12 / 3**0.5, rel=1e-3)
    assert "residual settling" in rows


def test_monte_carlo_stands_beside_the_budget(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("BENCHAPP_DATA", str(tmp_path / "data"))
    assert main(["measure", "--scenario", "shunt", "--speed", "40", "--blocks", "40", "--json", "-"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert main(["budget", str(told["run_id"]), "--json"]) == 0
    mc = json.loads(capsys.readouterr().out)["monte_carlo"]
    assert mc["validated"] is True
    assert mc["low_ohm"] < told["resistance_ohm"] < mc["high_ohm"]
    assert main(["budget", str(told["run_id"])]) == 0
    assert "validates the budget" in capsys.readouterr().out
