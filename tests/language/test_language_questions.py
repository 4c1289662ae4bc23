"""Questions of the course in words, what is said back to an answer, and what a helper is told."""

import random
import re

import pytest
from course_pupil import AMERICAN, BRITISH, answered, judged, said

from companion.braille import to_ascii
from companion.course import (
    Drill,
    Finding,
    Order,
    QuestionKind,
    fact,
    find_stage,
    heard_tune,
    make,
    material,
    name_cell,
    say_octave,
    write_cell,
)
from companion.language import answer_said, how_it_goes, question_text, right_answer, sound_for_helper
from companion.lesson import sound_of_question
from companion.match import Verdict
from companion.tune import STEPS

ROW = material("three-quavers", ("values", "octave marks", "bars"))
FULL = material("round-again")


def test_a_wrong_name_is_told_what_it_is_and_where_it_lies() -> None:
    # The direction of the wording is the brief's: "That cell is E. D is one note lower: 1 5."
    found = answered(name_cell(fact("E")), "D")
    assert found.verdict == Verdict.WRONG
    assert found.say == "That cell is E, dots 1 2 4. D is one note lower: dots 1 5."


def test_the_letter_trap_is_taught_both_ways() -> None:
    assert said(name_cell(fact("C")), "d") == \
        "That cell is C, dots 1 4 5. In a book it is the letter d; the note is one letter earlier."
    assert said(write_cell(fact("C")), "14") == \
        "That is the letter c. The note C has the next letter, d: dots 1 4 5."
    for step in STEPS:
        letter = step.lower()
        found = answered(write_cell(fact(step)), letter)
        assert found.verdict == Verdict.WRONG
        assert "the letter" in found.say, step


@pytest.mark.parametrize(("name", "text", "say"), [
    ("C", "124", "That cell is E. The two sides of the cell changed over. C is two notes lower: dots 1 4 5."),
    ("D", "124", "That cell is E. D is one note lower: dots 1 5."),
    ("C crotchet", "145", "That is C as a quaver. For C crotchet, add dot 6: dots 1 4 5 6."),
    ("C", "1456", "That is C crotchet. For C, take away dot 6: dots 1 4 5."),
    ("C minim", "1456", "That is C crotchet. For C minim, add dot 3 and take away dot 6: dots 1 3 4 5."),
    ("sharp", "126", "That cell is flat. Sharp is dots 1 4 6."),
    ("tie", "14", "That is slur. Tie is dot 4, then 1 4."),
    ("C", "26", "That is dots 2 6. C is dots 1 4 5."),
])
def test_wrong_cells_teach(name: str, text: str, say: str) -> None:
    found = answered(write_cell(fact(name)), text)
    assert (found.verdict, found.say) == (Verdict.WRONG, say)


def test_a_dictation_tells_where_it_goes_astray() -> None:
    item = make(Drill(QuestionKind.WRITE_WHAT_YOU_HEAR, order=Order.UP, count=1), ROW, random.Random(1))[0]
    assert to_ascii(item.answer) == "DEFE"
    assert judged(item, "DEFE").verdict == Verdict.RIGHT
    assert said(item, "DEEE") == "The first two cells are right. Next comes E, dots 1 2 4. You wrote D."
    assert said(item, "DEF") == "The first three cells are right. Something is missing after it: D, dots 1 5."
    assert said(item, "DEFED").endswith("something follows that was not sung: dots 1 4 5.")
    marked = make(Drill(QuestionKind.WRITE_WHAT_YOU_HEAR, order=Order.UP, count=1), FULL, random.Random(1))[0]
    assert to_ascii(marked.answer) == '"HIJH'
    assert said(marked, "HIJG").startswith("First comes fourth octave, dot 5.")
    # Other cells that say the same: a mark too many is no fault, a missing one is told.
    assert (judged(marked, '"H"IJH').verdict, said(marked, '"H"IJH')) == (
        Verdict.RIGHT, "Right. It can be written with fewer marks.")
    assert judged(marked, "HIJH").verdict == Verdict.WRONG
    assert said(marked, "HIJH").startswith("The notes are right. ")
    assert "octave mark" in said(marked, "HIJH")


def test_american_names_in_what_is_said() -> None:
    assert said(write_cell(fact("C crotchet")), "145", AMERICAN) == \
        "That is C as an eighth note. For C quarter note, add dot 6: dots 1 4 5 6."
    assert "quarter note" in said(name_cell(fact("C crotchet")), "D crotchet", AMERICAN)


def test_silent_questions_and_what_a_helper_is_told_instead() -> None:

    assert sound_of_question(name_cell(fact("C"))) is None
    assert sound_for_helper(BRITISH, name_cell(fact("C"))) == ""
    mark = make(Drill(QuestionKind.MARK_OR_NO_MARK, ("C, fourth octave", "A, fourth octave"), count=1), None, random.Random(1))[0]
    assert sound_of_question(mark) is None
    assert sound_for_helper(BRITISH, mark) == ""
    item = make(Drill(QuestionKind.HIGHER_OR_LOWER, ("C", "G"), count=3), None, random.Random(1))[0]
    assert re.fullmatch(r"For the helper: sing any note, then (a higher one|a lower one|the same one again)\.",
                        sound_for_helper(BRITISH, item))
    bar = make(Drill(QuestionKind.WRITE_WHAT_YOU_HEAR, order=Order.UP, count=1), ROW, random.Random(1))[0]
    assert sound_for_helper(BRITISH, bar) == (
        "For the helper: give the note C and wait a moment; then sing or play the line: C; up to D, E; down to D.")
    turn = make(Drill(QuestionKind.WHERE_IT_TURNS, ("C", "D", "E"), count=1), None, random.Random(1))[0]
    assert re.fullmatch(r"For the helper: sing any note, then go (up|down)(, (up|down))+\.", sound_for_helper(BRITISH, turn))
    tick = sound_for_helper(BRITISH, heard_tune(find_stage(1).material, by_ear=True))
    assert tick.startswith("For the helper: sing Tick on any note; lower: tock; higher: tick; lower: tock; higher: now, ")
    assert not re.search(r"\b[A-G]\b", tick)  # no names of notes before they were taught


def test_a_helper_is_told_how_a_sung_answer_should_go() -> None:
    read = make(Drill(QuestionKind.READ_AND_SING, order=Order.UP, count=1), ROW, random.Random(1))[0]
    assert how_it_goes(BRITISH, read) == "For the helper: C; up to D, E; down to D."
    assert said(read, "+") == "Right. C; up to D, E; down to D."
    assert said(read, "-").startswith("It says C; up to D, E; down to D. Read it again,")
    move = make(Drill(QuestionKind.SING_THE_MOVE, ("C", "G"), count=1), None, random.Random(1))[0]
    assert "Read" not in said(move, "-")  # nothing is read there
    assert {"higher": "goes up", "lower": "goes down", "same": "stays"}[move.answer] in how_it_goes(BRITISH, move)
    assert how_it_goes(BRITISH, name_cell(fact("C"))) == "The word key helps only where the answer is sung or clapped."


def test_dots_are_no_name_and_an_octave_may_be_a_number() -> None:
    for text in ("1 5", "15", "145"):
        found = answered(name_cell(fact("E")), text)
        assert (found.verdict, found.say) == (Verdict.UNSURE, f"I could not read '{text}'. Give a name, such as D.")
    for text in ("4", "fourth", "4th", "fourth octave"):
        assert judged(name_cell(fact("fourth octave")), text).verdict == Verdict.RIGHT
    assert judged(name_cell(fact("fourth octave")), "5").verdict == Verdict.WRONG
    octave = say_octave(fact("C, fifth octave"))
    assert said(octave, "-") == "The mark is dots 4 6: fifth octave."
    assert said(octave, "5") == "Right. Fifth octave, dots 4 6."


# --- questions ---

@pytest.mark.parametrize(("name", "asked", "american"), [
    ("C", "Write the note C.", "Write the note C."), ("C crotchet", "Write C as a crotchet.", "Write C as a quarter note."),
    ("E quaver", "Write E as a quaver.", "Write E as an eighth note."),
    ("E dotted quaver", "Write E as a dotted quaver.", "Write E as a dotted eighth note."),
    ("C, fourth octave", "Write C, fourth octave, with its octave mark.", "Write C, fourth octave, with its octave mark."),
    ("quaver rest", "Write a quaver rest.", "Write an eighth note rest."), ("2 flats", "Write a key with 2 flats.", None),
    ("time 3 4", "Write the time signature 3 4.", None), ("full bar rest", "Write the sign for full bar rest.",
                                                         "Write the sign for full measure rest."),
])
def test_a_fact_is_asked_for_in_both_varieties(name: str, asked: str, american: str | None) -> None:
    assert question_text(BRITISH, write_cell(fact(name))) == asked
    assert question_text(AMERICAN, write_cell(fact(name))) == (american or asked)


def test_every_kind_is_asked_and_answered_in_words() -> None:
    for kind in QuestionKind:
        for item in make(Drill(kind, count=3), FULL, random.Random(2)):
            for language in (BRITISH, AMERICAN):
                for text in (question_text(language, item), right_answer(language, item)):
                    assert text[0].isupper()
                    assert text[-1] in ".?"
                    assert "{" not in text
            assert answer_said(BRITISH, item)
            words = f"{question_text(AMERICAN, item)} {right_answer(AMERICAN, item)} {answer_said(AMERICAN, item)}"
            assert not re.search(r"crotchet|quaver|minim|semibreve|\bbar\b(?! line)", re.sub("double bar", "", words)), words


def test_every_finding_has_something_to_say() -> None:
    from companion.language.replies import REPLIES

    assert set(REPLIES) == set(Finding)


def test_what_was_typed_is_said_again_as_it_was_typed() -> None:
    assert said(name_cell(fact("C crotchet")), "bar nothing", AMERICAN) == \
        "I could not read 'bar nothing'. Give a name, such as D."
