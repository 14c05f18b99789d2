import math

import numpy as np
import pytest

from benchapp.analysis.stretch import stretch_statistics


def test_only_what_lies_inside_counts() -> None:
    t = np.arange(10.0)
    R = np.array([0.0, 1, 2, 3, 4, 5, 6, 7, 8, 9])
    found = stretch_statistics(t, R, 2.0, 5.0)
    assert (found.blocks, found.mean_ohm) == (4, 3.5)
    assert found.deviation_ohm == pytest.approx(math.sqrt(5 / 3))
    assert stretch_statistics(t, R, 20.0, 30.0).blocks == 0
