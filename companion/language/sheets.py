"""Sheets of the course in words: headings, lines beside cells, questions and answers, and a pupil's week."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from enum import StrEnum
from fractions import Fraction

from companion.course import Fact, Group, Item, QuestionKind, Stage, Way, letter_of
from companion.language.braille import say_dots
from companion.language.course import stage_title
from companion.language.interface import Language
from companion.language.questions import answer_said, fact_name, group_said, question_text
from companion.messages import N_


class SheetHeading(StrEnum):
    """Headings of sheets of the course."""

    FOR_THE_ADULT = "for the adult"
    NEEDED = "needed"
    TERMS = "terms"
    FOR_THE_PUPIL = "for the pupil"
    CELLS = "cells"
    KNOWN_WHEN = "known when"
    TROUBLES = "troubles"
    WHAT_IT_SAYS = "what it says"
    ANSWERS = "answers"
    NOTES = "notes"
    RESTS = "rests"
    OCTAVE_MARKS = "octave marks"
    SIGNS = "signs"


_HEADINGS = {
    SheetHeading.FOR_THE_ADULT: N_("For the adult"), SheetHeading.NEEDED: N_("You need"),
    SheetHeading.TERMS: N_("Words"), SheetHeading.FOR_THE_PUPIL: N_("Say to the pupil"),
    SheetHeading.CELLS: N_("The cells"), SheetHeading.KNOWN_WHEN: N_("It is known when"),
    SheetHeading.TROUBLES: N_("What may go wrong"), SheetHeading.WHAT_IT_SAYS: N_("What it says, for the helper"),
    SheetHeading.ANSWERS: N_("Answers, for the helper"), SheetHeading.NOTES: N_("Notes"),
    SheetHeading.RESTS: N_("Rests"), SheetHeading.OCTAVE_MARKS: N_("Octave marks"), SheetHeading.SIGNS: N_("Signs"),
}
_NOTES_AS = {Fraction(1): N_("Notes as crotchets"), Fraction(2): N_("Notes as minims"),
             Fraction(4): N_("Notes as semibreves"), Fraction(1, 4): N_("Notes as semiquavers")}
_KINDS = {
    QuestionKind.HIGHER_OR_LOWER: N_("Higher or lower"), QuestionKind.SING_THE_MOVE: N_("Sing the move"),
    QuestionKind.NAME_THE_CELL: N_("Name the cell"), QuestionKind.WRITE_THE_CELL: N_("Write the cell"),
    QuestionKind.SING_THE_CELL: N_("Sing the cell"), QuestionKind.WRITE_WHAT_YOU_HEAR: N_("Write what you hear"),
    QuestionKind.READ_AND_SING: N_("Read and sing"), QuestionKind.WHOLE_TUNE: N_("The whole tune"),
    QuestionKind.SING_AT_SIGHT: N_("Sing at sight"),
    QuestionKind.WHICH_BAR: N_("Which bar"), QuestionKind.HOW_OFTEN: N_("How often"),
    QuestionKind.WHERE_IT_TURNS: N_("Where it turns"), QuestionKind.FIND_THE_WRONG_CELL: N_("Find the wrong cell"),
    QuestionKind.SAY_THE_OCTAVE: N_("Say the octave"), QuestionKind.MARK_OR_NO_MARK: N_("Mark or no mark"),
    QuestionKind.HOW_MANY_BEATS: N_("How many beats"), QuestionKind.CLAP_THE_RHYTHM: N_("Clap the rhythm"),
    QuestionKind.THINK_AND_SING: N_("Think and sing"), QuestionKind.WHICH_WAY: N_("Which way"),
    QuestionKind.OTHER_NOTE: N_("The other note"), QuestionKind.UPPER_OR_LOWER: N_("Upper or lower"),
    QuestionKind.FROM_THE_BACK: N_("From the back"), QuestionKind.SING_FROM_ANOTHER: N_("Sing from another note"),
}
_TASKS = {
    Way.BY_EAR: N_("Listen, and show with the hand."), Way.EAR_TO_VOICE: N_("Sing higher, lower and the same."),
    Way.CELL_TO_NAME: N_("Read the cells."), Way.NAME_TO_CELL: N_("Write the cells."),
    Way.CELL_TO_VOICE: N_("Read, then sing."), Way.VOICE_TO_CELL: N_("Write what you hear."),
    Way.AT_SIGHT: N_("Sing at sight what nobody has heard."), Way.CELL_TO_HAND: N_("Read, then clap."),
}


def sheet_heading(language: Language, heading: SheetHeading) -> str:
    return language.message(_HEADINGS[heading])


def notes_as_heading(language: Language, value: Fraction) -> str:
    """ "Notes as crotchets"."""
    return language.message(_NOTES_AS[value])


def cell_words(language: Language, known: Fact) -> str:
    """Beside a cell: "dots 1 4 5; in a book the letter d"."""
    letter = letter_of(known)
    if letter is None:
        return say_dots(language, known.cells)
    return language.message("{dots}; in a book the letter {letter}").format(dots=say_dots(language, known.cells), letter=letter)


def pitch_only_note(language: Language) -> str:
    return language.message("Reading exercise: pitch only, so how high and not how long. Every note is written as a quaver.")


def tune_in_braille(language: Language) -> str:
    return language.message("The tune in braille.")


def row_line(language: Language, n: int, notes: Sequence[Fact]) -> str:
    """What a row of notes says: "Line 1: C, D, E."."""
    return language.message("Line {n}: {notes}.").format(n=n, notes=", ".join(fact_name(language, f) for f in notes))


def bar_line(language: Language, group: Group) -> str:
    """What a bar says, sign by sign."""
    return language.message("Bar {n}: {what}.").format(n=group.bar, what=group_said(language, group))


def by_ear_lines(language: Language, tune: str, how: str) -> tuple[str, str]:
    """A tune that is only sung, and, for the helper, how it goes."""
    return (language.message("The tune to sing by ear: {tune}.").format(tune=tune),
            language.message("How it goes: {how}.").format(how=how))


def numbered_question(language: Language, n: int, item: Item) -> str:
    return language.message("{n}. {question}").format(n=n, question=question_text(language, item))


def choice_line(language: Language, n: int) -> str:
    """Beside one of several rows of cells to choose from."""
    return language.message("Number {n}.").format(n=language.number(n))


def sound_for_question(language: Language, n: int, what: str) -> str:
    """For the helper: what to sing or play at a question."""
    return language.message("For question {n}: {what}.").format(n=n, what=what)


def numbered_answer(language: Language, n: int, item: Item) -> str:
    return language.message("{n}. {answer}.").format(n=n, answer=language.capitalised(answer_said(language, item)))


def key_title(language: Language, upto: Stage | None) -> str:
    if upto is None:
        return language.message("Key to the whole course")
    return language.message("Key to stage {number}: {title}").format(number=upto.key, title=stage_title(language, upto))


def drills_title(language: Language, stage: Stage) -> str:
    return language.message("Drills for stage {number}: {title}").format(number=stage.key, title=stage_title(language, stage))


def kind_name(language: Language, kind: QuestionKind) -> str:
    """ "Name the cell"."""
    return language.message(_KINDS[kind])


def kind_title(language: Language, kind: QuestionKind, about: str) -> str:
    """ "Name the cell: Heron"."""
    return language.message("{kind}: {about}").format(kind=language.message(_KINDS[kind]), about=about)


# --- a week ---

def week_title(language: Language, pupil: str, stage: Stage) -> str:
    return language.message("A week for {pupil}, stage {number}: {title}").format(
        pupil=pupil, number=stage.key, title=stage_title(language, stage))


def task_line(language: Language, way: Way) -> str:
    """What to do on a day, by what is still to be shown."""
    return language.message(_TASKS[way])


def sing_bar(language: Language, n: int) -> str:
    return language.message("Sing bar {n}.").format(n=n)


def sing_row(language: Language, n: int) -> str:
    return language.message("Sing line {n}.").format(n=n)


def last_day_task(language: Language, tune: str) -> str:
    """On the last day: sing a tune to somebody; a rest where there is none to be sung ("")."""
    return language.message("Sing for somebody: {tune}.").format(tune=tune) if tune else language.message("A day of rest.")


def day_line(language: Language, day: date, tasks: Sequence[str], due: int) -> str:
    """A day of the week: what to do, and how much is to be repeated."""
    what = [*tasks, *([language.message("To repeat: {n}.").format(n=language.number(due))] if due else [])]
    return language.message("{weekday} {day}: {tasks}").format(weekday=language.weekday(day), day=day.day,
                                                              tasks=" ".join(what))


def set_line(language: Language, tunes: Sequence[str]) -> str:
    return language.message("Set by the teacher: {tunes}.").format(tunes=", ".join(tunes))


def minutes_line(language: Language, minutes: int) -> str:
    return language.capitalised(language.message("{n} minutes a day. Stop when the voice tires.").format(
        n=language.number(minutes)))
