"""Words under the notes."""

from __future__ import annotations

import pytest

from companion.errors import Trouble
from companion.transcribe.lyrics import lay, lay_lines, syllables_of
from companion.tune import parted


def test_words_are_laid_syllable_by_syllable() -> None:
    assert [s.text if s else None for s in syllables_of("Lan-tern glow _ now__")] == \
        ["Lan", "tern", "glow", None, "now", None, None]
    assert [s.place for s in syllables_of("Lan-tern glow") if s] == ["begin", "end", "single"]
    assert [parted(w) for w in ("lantern", "snail", "little", "stone", "away", "sleeping")] == \
        [["lan", "tern"], ["snail"], ["lit", "tle"], ["stone"], ["a", "way"], ["sleep", "ing"]]
    assert [parted(w) for w in ("table", "river", "hello", "it's", "I", "Mr.")] == \
        [["ta", "ble"], ["ri", "ver"], ["hel", "lo"], ["it's"], ["I"], ["Mr."]]
    even = lay(12, "la " * 12)
    assert (even.bare, even.left_over) == (0, ())
    assert all(s and s.text == "la" for s in even.under)
    few = lay(12, "la la")
    assert (few.syllables, few.bare) == (2, 10)
    assert lay(12, "la " * 12 + "left over").left_over == ("left", "over")
    held = lay(12, "moon _ " + "la " * 10).under
    assert held[0] is not None
    assert held[0].extends
    assert held[1] is None


def test_words_of_other_languages_are_parted_by_their_own_rules() -> None:
    """Syllables as German and Italian dictionaries part them."""
    assert [parted(w, "de") for w in ("Laterne", "Wasser", "Abend", "Mond", "Maikäfer")] == \
        [["La", "ter", "ne"], ["Was", "ser"], ["A", "bend"], ["Mond"], ["Mai", "kä", "fer"]]
    assert [parted(w, "it") for w in ("stella", "cantare")] == [["stel", "la"], ["can", "ta", "re"]]
    assert [s.text if s else None for s in lay(3, "Laterne", "de").under] == ["La", "ter", "ne"]
    with pytest.raises(Trouble, match=r"Words in the language xx cannot be parted; give one of .*de, .*or part the words"):
        parted("word", "xx")


def test_each_line_of_words_goes_under_its_own_phrase() -> None:
    laid = lay_lines([3, 2], "La la / moon is high up")
    assert [s.text if s else None for s in laid.under] == ["La", "la", None, "moon", "is"]
    assert [(p.syllables, p.bare, p.left_over, p.start) for p in laid.parts] == [(2, 1, (), 0), (4, 0, ("high", "up"), 3)]
    assert not laid.even
    assert lay_lines([3, 2], "la la la / la la").even
    # As many lines as phrases, else they go on from one to the next.
    assert lay_lines([3, 2], "la la la la la").parts == ()
    assert [s.text if s else None for s in lay_lines([1, 4], "a b / c d / e").under] == list("abcde")
    assert lay_lines([1, 4], "a b / c d e").even  # as many in all
