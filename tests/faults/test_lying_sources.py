"""A few of each kind of source that does not do what it is told; `make lying-sources` tries a hundred."""

import pytest

from tests.faults.lying_sources import KINDS, lied


@pytest.mark.parametrize("name", KINDS)
@pytest.mark.parametrize("seed", [1001, 1002, 1003])
def test_each_ends_in_the_right_word(name: str, seed: int) -> None:
    result = lied(name, seed)
    assert (result["told"], result["wrong"], result["off"]) == (True, False, True), result
