"""Budgets and decisions against worked examples of the guides."""

import math

import pytest

from benchapp.analysis.budget import (
    Contribution,
    combine,
    degrees_from_reliability,
    from_half_width,
    welch_satterthwaite,
)
from benchapp.analysis.decision import Verdict, conformity_probability, global_risk, judge_limits, leans_to
from benchapp.analysis.student import chi_square_quantile, coverage_factor, normal_quantile
from tests.published.references import reference


def test_effective_degrees_of_freedom_of_the_end_gauge() -> None:
    # JCGM 100:2008, H.1.6 with (G.2b): nu_eff = 16.7, truncated to 16, t_99 = 2.92.
    entry = reference("gum-h1-welch")
    inputs = entry["inputs"]
    parts = [
        Contribution(f"u{k}", u, 1.0, nu) for k, (u, nu) in enumerate(zip(inputs["u_i_nm"], inputs["dof"], strict=True))
    ]
    # 16.76 from the unrounded u_c; the guide prints 16.7.
    assert welch_satterthwaite(parts) == pytest.approx(entry["expected"]["nu_eff"], abs=0.07)
    truncated = math.floor(welch_satterthwaite(parts))
    assert coverage_factor(truncated, 0.99) == pytest.approx(entry["expected"]["t99"], abs=5e-3)
    # Interpolated, as G.4.1 allows as well: between the factors of the whole numbers on either side.
    assert coverage_factor(17, 0.99) < combine(parts, 0.99).coverage_factor < coverage_factor(16, 0.99)


def test_degrees_of_freedom_from_reliability() -> None:
    # JCGM 100:2008, G.4.2, (G.3).
    entry = reference("gum-g4.2-reliability")
    for relative, nu in zip(entry["inputs"]["relative_uncertainty_of_u"], entry["expected"]["nu"], strict=True):
        assert degrees_from_reliability(relative) == pytest.approx(nu)


def test_standard_resistor_of_the_accreditation_guide() -> None:
    """EA-4/02, S3: (10 000.178 +- 0.017) ohm; partly read, partly from memory, recomputed."""
    entry = reference("ea402-s3-resistor")
    ratios = entry["inputs"]["observed_ratios"]
    mean = sum(ratios) / 5
    s = math.sqrt(sum((r - mean) ** 2 for r in ratios) / 4)
    standard, drift = 10000.053, 0.020
    value = (standard + drift) * mean
    parts = [
        Contribution("standard", from_half_width(5e-3, "normal"), mean),
        Contribution("drift", from_half_width(10e-3, "rectangular"), mean),
        Contribution("temperature of the standard", from_half_width(2.75e-3, "rectangular"), mean),
        Contribution("temperature of the unknown", from_half_width(5.5e-3, "rectangular"), -1.0),
        Contribution("bridge", from_half_width(1e-6, "triangular"), value),
        Contribution("scatter", s / math.sqrt(5), standard + drift, 4),
    ]
    budget = combine(parts, 0.9545)
    expected = entry["expected"]
    assert mean == pytest.approx(expected["r_mean"], abs=1e-12)
    assert s / math.sqrt(5) == pytest.approx(expected["s_mean_r"], rel=2e-3)
    assert value == pytest.approx(expected["R_X_unrounded_ohm"], abs=1e-9)
    assert budget.standard_uncertainty == pytest.approx(expected["u_unrounded_ohm"], abs=1e-9)
    assert 1e3 * budget.expanded_uncertainty == pytest.approx(expected["U_mohm"], abs=0.5)
    assert budget.contributions[0].name == "drift"
    assert sum(c.share for c in budget.contributions) == pytest.approx(1.0)


def test_coverage_factors_of_table_g2() -> None:
    # JCGM 100:2008, Table G.2; partly read, partly from memory, recomputed.
    assert coverage_factor(10, 0.95) == pytest.approx(2.23, abs=5e-3)
    assert coverage_factor(16, 0.99) == pytest.approx(2.92, abs=5e-3)
    assert coverage_factor(1, 0.95) == pytest.approx(12.71, abs=5e-3)


def test_chi_square_quantiles() -> None:
    # Table of chi-square quantiles, as in the NIST/SEMATECH e-Handbook.
    entry = reference("chi-square-quantiles")
    for nu, *row in entry["expected"]["table"]["rows"]:
        for probability, value in zip(entry["inputs"]["cumulative_p"], row, strict=True):
            assert chi_square_quantile(probability, nu) == pytest.approx(value, abs=1e-5)


def test_conformity_probability() -> None:
    # JCGM 106:2012, 7.3 and 7.4, Table 1, and the Zener diode of clause 7; from memory, unchecked.
    entry = reference("jcgm106-conformance-prob-table")
    for p, z in zip(entry["inputs"]["p_c"], entry["expected"]["z"], strict=True):
        assert normal_quantile(p) == pytest.approx(z, abs=5e-3)
        assert conformity_probability(0.0, 1.0, None, z) == pytest.approx(p, abs=2e-3)
    zener = reference("jcgm106-zener-one-sided")["inputs"]
    expected = reference("jcgm106-zener-one-sided")["expected"]
    p = conformity_probability(zener["y_V"], zener["u_V"], None, zener["T_U_V"])
    assert p == pytest.approx(expected["p_conform"], abs=5e-3)
    assert 1 - p == pytest.approx(expected["specific_risk"], abs=5e-3)


def test_specific_risk_of_guard_bands() -> None:
    # ILAC-G8:09/2019, Table 1, U = 2u; partly read, partly from memory, recomputed.
    for multiple, risk in ((3.0, 1e-9), (1.5, 1.35e-3), (1.0, 2.275e-2), (0.83, 4.85e-2), (0.0, 0.5)):
        at_the_guard = conformity_probability(-multiple * 2.0, 1.0, None, 0.0)
        assert 1 - at_the_guard == pytest.approx(risk, rel=0.02)


def test_non_binary_statement() -> None:
    # ILAC-G8:09/2019, 4.2.3, with one upper limit of 100 and a guard band of 2.
    entry = reference("ilac-g8-nonbinary")
    for y, words in zip(entry["inputs"]["y"], entry["expected"]["statement"], strict=True):
        verdict = judge_limits(y, 2.0, None, 100.0, 1.0)
        if words.startswith("conditional"):
            assert verdict is Verdict.UNDECIDED
            assert f"conditional {leans_to(y, None, 100.0)}" == words
        else:
            assert verdict == words


def test_simple_acceptance_has_no_undecided() -> None:
    assert judge_limits(99.9, 2.0, None, 100.0, 0.0) is Verdict.PASS
    assert judge_limits(100.1, 2.0, None, 100.0, 0.0) is Verdict.FAIL


@pytest.mark.parametrize("nu", [2, 5, 11, 29])
def test_one_contribution_keeps_its_degrees_of_freedom(nu: int) -> None:
    for u in (1.0, 4.739249952918056e-09, 0.1):
        budget = combine([Contribution("repeatability", u, 1.0, nu)])
        assert budget.degrees_of_freedom == pytest.approx(nu)
        assert budget.coverage_factor == pytest.approx(coverage_factor(nu))


def test_global_risk_of_a_resistor_process() -> None:
    # JCGM 106:2012, 9.5, formulas (19) and (20); values by the formulas, not printed in the guide.
    entry = reference("jcgm106-global-risk-resistor")
    i = entry["inputs"]
    for w, consumer, producer in entry["expected"]["table"]["rows"]:
        risk = global_risk(
            low=i["T_L_ohm"],
            high=i["T_U_ohm"],
            process_mean=i["y0_ohm"],
            process_deviation=i["u0_ohm"],
            standard_uncertainty=i["u_m_ohm"],
            guard_band=w,
        )
        assert risk.consumer == pytest.approx(consumer, abs=1e-7)
        assert risk.producer == pytest.approx(producer, abs=1e-7)


def test_ten_resistors_against_one_standard() -> None:
    # JCGM 100:2008, 5.2.2: what is common to all adds up, 1 ohm, and not 0.32 ohm.
    i, expected = (reference("gum-5.2.2-ten-resistors")[k] for k in ("inputs", "expected"))
    common = combine([Contribution("standard", i["u_R_S_ohm"], i["n"])])
    assert common.standard_uncertainty == pytest.approx(expected["u_c_ohm_correlated"], abs=5e-3)


def test_voltmeter_of_the_guide() -> None:
    # JCGM 100:2008, 4.3.7 and 5.1.5, from memory in the collection.
    entry = reference("gum-4.3.7-dvm")
    a = 14e-6 * entry["inputs"]["V_mean"] + 2e-6 * entry["inputs"]["range_V"]
    parts = [
        Contribution("scatter", entry["inputs"]["u_typeA_V"], 1.0, entry["inputs"]["n"] - 1),
        Contribution("limits", from_half_width(a, "rectangular")),
    ]
    assert combine(parts).standard_uncertainty == pytest.approx(entry["expected"]["u_c_V"], rel=0.02)


def test_end_gauge_whole() -> None:
    # JCGM 100:2008, H.1, table H.1: contributions in nm, with the parts of d combined first.
    expected = reference("gum-h1-end-gauge")["expected"]
    d = combine([Contribution("d", 5.8, 1, 24), Contribution("d1", 3.9, 1, 5), Contribution("d2", 6.7, 1, 8)])
    assert d.standard_uncertainty == pytest.approx(expected["u_d_nm"], abs=0.05)
    assert d.degrees_of_freedom == pytest.approx(expected["nu_eff_d"], abs=0.5)
    length = 50.000623e6
    whole = combine(
        [
            Contribution("l_S", 25, 1, 18),
            Contribution("d", d.standard_uncertainty, 1, d.degrees_of_freedom),
            Contribution("dalpha", 0.58e-6, length * 0.1, 50),
            Contribution("dtheta", 0.029, length * 11.5e-6, 2),
        ],
        0.99,
    )
    assert whole.standard_uncertainty == pytest.approx(expected["u_c_nm"], abs=0.5)
    # The example truncates nu_eff to 16; we interpolate, as G.4.1 allows, so its k belongs to the whole number below.
    truncated = coverage_factor(math.floor(whole.degrees_of_freedom), 0.99)
    assert truncated == pytest.approx(expected["k99"], abs=5e-3)
    assert truncated * whole.standard_uncertainty == pytest.approx(expected["U99_nm"], abs=1)
    assert coverage_factor(17, 0.99) < whole.coverage_factor < truncated
