import pytest
from scipy.stats import t

from benchapp.analysis.student import t_quantile


@pytest.mark.parametrize("probability", [0.9, 0.975, 0.995, 0.9985, 0.999999])
@pytest.mark.parametrize("degrees", [1, 5, 30, 199, 200, 500, 10_000, 1_000_000])
def test_agrees_with_a_general_library(probability: float, degrees: int) -> None:
    assert t_quantile(probability, degrees) == pytest.approx(t.ppf(probability, degrees), rel=3e-8)
