"""What a session says: every action has its key's line, every level its advice, plurals as they are said."""

from __future__ import annotations

import dataclasses

from companion.diary import Action
from companion.ear import LevelAdvice
from companion.language import English, LessonSentence, Variety, key_line, level_line, sung_line_place, title_and_phrases
from companion.language.lesson import KEY_LINES, phrase_words
from companion.language.microphone import LEVELS
from companion.tune import load

BRITISH = English(Variety.BRITISH)


def test_every_action_has_a_line_and_names_its_keys() -> None:
    assert set(KEY_LINES) == set(Action)
    assert key_line(BRITISH, Action.NEXT, ["n", "pagedown"]) == "n or pagedown: the next phrase."


def test_every_level_has_its_advice_in_at_most_two_sentences() -> None:
    assert set(LEVELS) == set(LevelAdvice)
    assert level_line(BRITISH, LevelAdvice.GOOD) == "Good. The voice is clear."
    assert level_line(BRITISH, LevelAdvice.NO_SOUND) == BRITISH.message(LessonSentence.MUTED)
    assert all(level_line(BRITISH, advice).count(".") <= 2 for advice in LevelAdvice)


def test_one_and_several() -> None:
    assert title_and_phrases(BRITISH, "Kite", 1) == "Kite. One phrase."
    assert title_and_phrases(BRITISH, "Kite", 3) == "Kite. 3 phrases."
    assert sung_line_place(BRITISH, 2, 5) == "Line 2: 5 notes."


def test_a_phrase_goes_by_its_words_or_its_notes() -> None:
    line = load("snail-wall").phrase(1)
    assert phrase_words(BRITISH, line) == "Snail on the wall, creep up slow"
    wordless = [dataclasses.replace(n, syllable="") for n in line]
    assert phrase_words(BRITISH, wordless) == "seven notes"
