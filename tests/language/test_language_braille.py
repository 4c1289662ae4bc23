"""Music braille in sentences: notes, cells, what a page says, what is amiss on it."""

from fractions import Fraction

import pytest

from companion.braille import Meaning, MeaningKind, Problem, ProblemCode, decode, encode, note_cells, signs
from companion.language import English
from companion.language.braille import (
    _PROBLEMS,
    problem_lines,
    reading_json,
    reading_lines,
    say_dots,
    say_meaning,
    say_note,
    say_problem,
    say_written,
)
from companion.tune import Grace, Key, Mark, Note, Pitch, Time, load

BRITISH, AMERICAN = English(), English("american")


def test_cells_are_said_by_their_dots() -> None:
    assert say_dots(BRITISH, "⠙") == "dots 1 4 5"
    assert say_dots(BRITISH, "⠐⠙⠄") == "dot 5, then 1 4 5, then 3"
    assert say_dots(BRITISH, "⠙⠀") == "dots 1 4 5, then no dots"
    assert say_dots(BRITISH, "") == ""


def test_a_note_and_its_cells() -> None:
    cells = note_cells(Pitch("C", 4), Fraction(1, 2))
    assert say_note(BRITISH, Pitch("C", 4), cells, Fraction(1, 2)) == "C, fourth octave: dot 5, then 1 4 5"
    assert say_note(BRITISH, Pitch("B", 5, -1), "⠺", Fraction(1), 1) == \
        "B flat, fifth octave, dotted crotchet: dots 2 4 5 6"
    assert say_note(AMERICAN, Pitch("C", 4), "⠹", Fraction(1)) == "C, fourth octave, quarter note: dots 1 4 5 6"
    assert say_note(BRITISH, None, "⠧", Fraction(1)) == "Crotchet rest: dots 1 2 3 6"


def test_written_notes() -> None:
    c = Pitch("C", 4, 1)
    assert say_written(BRITISH, Note(pitch=c, base=Fraction(1), dots=1)) == "C sharp, dotted crotchet"
    assert say_written(AMERICAN, Note(pitch=c, base=Fraction(1), dots=1)) == "C sharp, dotted quarter note"
    assert say_written(BRITISH, Note(pitch=c, base=Fraction(1)), pitch_only=True) == "C sharp"
    assert say_written(BRITISH, Note(pitch=c, base=Fraction(1, 2), grace=Grace.SHORT)) == "C sharp, grace note"
    assert say_written(BRITISH, Note(pitch=None, base=Fraction(2))) == "minim rest"
    assert say_written(AMERICAN, Note(pitch=None, base=Fraction(4), whole_bar=True)) == "full measure rest"


@pytest.mark.parametrize(("meaning", "said"), [
    (Meaning(MeaningKind.SIGN, Mark.TRILL.sign), "trill"),
    (Meaning(MeaningKind.SIGN, signs.BY_NAME["long slur begins"]), "long slur begins"),
    (Meaning(MeaningKind.GROUP, numbers=(5,)), "group of 5"),
    (Meaning(MeaningKind.ENDING, numbers=(1, 2)), "ending 1 and 2"),
    (Meaning(MeaningKind.WORDS, text="poco a poco"), "words: poco a poco"),
    (Meaning(MeaningKind.KEY, key=Key(-1)), "1 flat"),
    (Meaning(MeaningKind.KEY, key=Key(3)), "3 sharps"),
    (Meaning(MeaningKind.KEY, key=Key(0)), "no sharps or flats"),
    (Meaning(MeaningKind.TIME, time=Time((3, 2), 8)), "3 + 2 8 time"),
    (Meaning(MeaningKind.TIME, time=Time((2,), 2, "cut")), "cut time"),
    (Meaning(MeaningKind.BAR_REPEAT), "bar repeated"),
    (Meaning(MeaningKind.BAR_REPEAT, numbers=(3,)), "bar repeated, 3 times"),
    (Meaning(MeaningKind.BARS_OF_REST, numbers=(5,)), "5 bars of rest"),
    (Meaning(MeaningKind.LYRICS), "words"),
    (Meaning(MeaningKind.HEADING, text="Snail {x}"), "heading: Snail {x}"),
])
def test_what_cells_say(meaning: Meaning, said: str) -> None:
    assert say_meaning(BRITISH, meaning) == said


def test_every_problem_has_a_sentence() -> None:
    for code in ProblemCode:
        assert (code in _PROBLEMS) != (code is ProblemCode.BEATS)
    assert say_problem(BRITISH, Problem(1, 1, ProblemCode.BEATS, bar=2, beats=Fraction(7, 2), wanted=Fraction(4))) == \
        "Bar 2 has 3 and a half beats; 4 are wanted."
    assert say_problem(BRITISH, Problem(1, 1, ProblemCode.BEATS, bar=2, beats=Fraction(1), wanted=Fraction(1))) == \
        "Bar 2 has 1 beat; 1 is wanted."
    assert say_problem(AMERICAN, Problem(1, 1, ProblemCode.BEATS, bar=2, beats=Fraction(2), wanted=Fraction(4))) == \
        "Measure 2 has 2 beats; 4 are wanted."
    order = Problem(1, 1, ProblemCode.OUT_OF_ORDER, (Mark.STACCATO.sign, signs.Role.OCTAVE))
    assert say_problem(BRITISH, order) == "The staccato stands after the octave mark; it belongs before it."


def test_a_page_in_british_and_american_lines() -> None:
    reading = decode(encode(load("snail-wall")).lines)
    british, american = reading_lines(BRITISH, reading), reading_lines(AMERICAN, reading)
    notes = "C, fourth octave, {0}; C, fourth octave, {0}; D, fourth octave, {0}; E, fourth octave, {0}."
    assert british[2] == f"Bar 1, Snail on the wall: {notes.format('quaver')}"
    assert american[2] == f"Measure 1, Snail on the wall: {notes.format('eighth note')}"
    assert british[-1] == "Nothing amiss was found."
    assert reading_json(BRITISH, reading) == reading_json(AMERICAN, reading)


def test_problems_are_counted_and_placed() -> None:
    reading = decode(["⠹⠱⠫⠻"])
    assert problem_lines(BRITISH, reading.problems) == [
        "1 thing to look at:", "Line 1, cell 1: The first note of the tune wants an octave mark."]
    assert reading_json(BRITISH, reading)["problems"] == [
        {"line": 1, "column": 1, "say": "The first note of the tune wants an octave mark."}]
