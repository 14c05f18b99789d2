"""What a reply to a probe means."""

import pytest

from drivers.probe.replies import as_asked, fits, trial_value
from drivers.probe.spellings import Candidate

NUMBER, SWITCH, WORD, BIT = (Candidate(":X", kind=kind) for kind in ("number", "bool", "text", "bit"))


@pytest.mark.parametrize(
    ("candidate", "reply", "is_one"),
    [
        (NUMBER, " +1.5E-3", True),
        (NUMBER, "ready", False),
        (NUMBER, "", False),
        (SWITCH, "on", True),
        (SWITCH, "+0", True),
        (SWITCH, "2", False),
        (BIT, "16", True),
        (BIT, "16.5", False),
        (BIT, "inf", False),
        (BIT, "no", False),
    ],
)
def test_a_reply_is_of_the_kind_that_was_asked_for(candidate: Candidate, reply: str, is_one: bool) -> None:
    assert fits(candidate, reply) is is_one


def test_what_is_tried_is_harmless() -> None:
    flip, small, half = (Candidate(":X", trial=trial) for trial in ("flip", "small", "half"))
    assert [trial_value(flip, before) for before in ("ON", "0")] == ["0", "1"]
    assert float(str(trial_value(small, "5"))) == 1e-5
    assert [trial_value(half, before) for before in ("4", "0", "-1", "9.9e37")] == ["2.000000E+00", None, None, None]


def test_a_trial_comes_back_as_instruments_round() -> None:
    assert as_asked(SWITCH, "1", "ON", "0")
    assert not as_asked(SWITCH, "1", "0", "0")
    assert as_asked(NUMBER, "2.0", "2.001", "4")
    assert not as_asked(NUMBER, "2.0", "2.01", "4")
    up, near = (Candidate(":X", rounds=rounds) for rounds in ("up", "nearest"))
    assert as_asked(up, "2.0", "10", "4")
    assert not as_asked(up, "2.0", "1", "4")
    assert not as_asked(up, "2.0", "30", "4")
    assert as_asked(near, "2.0", "2.9", "4")
    assert not as_asked(near, "2.0", "4", "4")  # it did not move
    assert not as_asked(near, "2.0", "3.5", "4")
