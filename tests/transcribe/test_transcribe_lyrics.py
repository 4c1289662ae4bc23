"""Words under the notes."""

from __future__ import annotations

from companion.transcribe.lyrics import lay, parted, syllables_of


def test_words_are_laid_syllable_by_syllable() -> None:
    assert [s.text if s else None for s in syllables_of("Lan-tern glow _ now__")] == \
        ["Lan", "tern", "glow", None, "now", None, None]
    assert [s.place for s in syllables_of("Lan-tern glow") if s] == ["begin", "end", "single"]
    assert [parted(w) for w in ("lantern", "snail", "little", "stone", "away", "sleeping")] == \
        [["lan", "tern"], ["snail"], ["lit", "tle"], ["stone"], ["a", "way"], ["slee", "ping"]]
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
