"""Every flag has words for people, and none has the words of another."""

from benchapp.result.flag_words import FLAG_WORDS
from benchapp.result.validity import EFFECTS

LONGEST = 30


def test_every_flag_has_words_of_its_own() -> None:
    assert FLAG_WORDS.keys() == EFFECTS.keys()
    assert len({words.short for words in FLAG_WORDS.values()}) == len(FLAG_WORDS)
    assert all(len(words.short) <= LONGEST for words in FLAG_WORDS.values())
    assert all(words.heading[0].isupper() and not words.heading.endswith(".") for words in FLAG_WORDS.values())
