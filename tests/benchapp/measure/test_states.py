import itertools

import pytest

from benchapp.events import RunStatus
from benchapp.measure.states import TRANSITIONS, StateError, go


@pytest.mark.parametrize(("before", "after"), list(itertools.product(RunStatus, RunStatus)))
def test_only_the_ways_of_the_table_can_be_gone(before: RunStatus, after: RunStatus) -> None:
    if after in TRANSITIONS[before]:
        assert go(before, after) is after
    else:
        with pytest.raises(StateError):
            go(before, after)


def test_every_state_that_has_not_ended_can_be_stopped() -> None:
    for state in RunStatus:
        assert (RunStatus.STOPPED in TRANSITIONS[state]) is not state.ended
