"""Exercises as a booklet: for the embosser, in large print, and spoken; the answers apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from companion.braille import SPACE
from companion.errors import Trouble
from companion.language import (
    ExerciseKind,
    Language,
    booklet_title,
    cells_in_dots,
    exercise_heading,
    exercise_helper,
    exercise_level,
    exercise_question,
    gap_answer,
    helper_label,
    move_answer,
    new_start_answer,
    note_answer,
    notes_answer,
    octave_marks_answer,
    reading_cells,
    reading_dots,
    rhythm_answer,
    shared_question_label,
    spoken_booklet_title,
    spoken_exercise,
    spoken_go_on,
    values_answer,
    version_answer,
    version_in_dots,
    version_name,
    wrong_note_answer,
)
from companion.messages import _
from companion.paper import USUAL, WIDTH, Block, CellGroup, Heading, Only, PageSize, Paragraph, Question, Sheet, save_sheet
from companion.tune import IntervalKind, load
from companion.workbook.exercises import (
    RHYTHM_PITCH,
    Exercise,
    Item,
    exercises,
    marked_places,
    missing_cells,
)

FEWEST_NOTES = 3
#: Exercises whose notes are not sounded in the spoken booklet: they are to be read first, or read only.
SILENT = (ExerciseKind.NOTES, ExerciseKind.MOVES, ExerciseKind.RHYTHM, ExerciseKind.VALUES, ExerciseKind.NEW_TUNES)
#: Exercises whose answers are written, which takes a beginner some seconds a cell; reading takes half of that.
WRITTEN = (ExerciseKind.OCTAVE_MARKS, ExerciseKind.DICTATION, ExerciseKind.GAP, ExerciseKind.NEW_START)
SECONDS_A_CELL = 4.0
LEAST_SECONDS_A_CELL, MOST_SECONDS_A_CELL = 1.0, 30.0


@dataclass(frozen=True)
class Booklet:
    """A title and exercises in order."""

    title: str
    exercises: tuple[Exercise, ...]

    def chosen(self, level: int | None = None, kinds: Sequence[str] = ()) -> Booklet:
        """Only exercises up to a level, and of some kinds. Raises Trouble where none is left."""
        kept = tuple(e for e in self.exercises if (level is None or e.level <= level)
                     and (not kinds or e.kind in kinds))
        if not kept:
            have = ", ".join(_("{kind} (level {level})").format(kind=e.kind, level=e.level) for e in self.exercises)
            raise Trouble(_("No exercise of that kind and level can be made from this tune. It gives: {have}.").format(
                                have=have))
        return Booklet(self.title, kept)


def booklet_of(name: str | Path, *, level: int | None = None, kinds: Sequence[str] = (), practise: Sequence[str] = (),
               width: int = WIDTH, seed: int = 1, part: str | None = None) -> Booklet:
    """Exercises from a tune (file or shipped name). Raises Trouble for kinds that there are not."""
    for kind in kinds:
        if kind not in tuple(ExerciseKind):
            raise Trouble(_("There is no exercise of the kind {kind}. Kinds: {kinds}.").format(
                                kind=kind, kinds=", ".join(ExerciseKind)))
    for move in practise:
        if move not in tuple(IntervalKind):
            raise Trouble(_("{move} is no kind of move. Kinds: {kinds}.").format(move=move, kinds=", ".join(IntervalKind)))
    tune = load(name, part=part)
    if len(tune.line()) < FEWEST_NOTES:
        raise Trouble(_("{name} has fewer than three notes; exercises want a tune.").format(name=name))
    made = Booklet(tune.title or Path(name).stem, tuple(exercises(tune, seed, practise, width)))
    return made.chosen(level, kinds) if level or kinds else made


def question(language: Language, exercise: Exercise, item: Item) -> str:
    """What an item asks for, in words."""
    return exercise_question(language, exercise.kind, item.answer_line[0].pitch)


def shared_question(language: Language, exercise: Exercise) -> str:
    """What is asked for, where all items of an exercise ask for the same; "" where not."""
    asked = {question(language, exercise, i) for i in exercise.items}
    return asked.pop() if len(asked) == 1 else ""


def answer(language: Language, exercise: Exercise, item: Item) -> str:
    """The key of an item, in words."""
    line, place = item.answer_line, item.place
    match exercise.kind:
        case ExerciseKind.NOTES:
            return note_answer(language, line[0].pitch, item.cells[0])
        case ExerciseKind.MOVES:
            return move_answer(language, line[0].pitch, line[1].pitch)
        case ExerciseKind.OCTAVE_MARKS:
            return octave_marks_answer(language, marked_places(line), line)
        case ExerciseKind.WHICH_VERSION:
            differs = next(k for k, (a, b) in enumerate(zip(item.other_line, line, strict=True)) if a.pitch != b.pitch)
            return version_answer(language, place == 1, differs + 1, item.other_line[differs].pitch, line[differs].pitch)
        case ExerciseKind.WRONG_NOTE:
            return wrong_note_answer(language, place, item.other_line[place - 1].pitch, line[place - 1].pitch)
        case ExerciseKind.GAP:
            return gap_answer(language, place, line[place - 1].pitch, missing_cells(item))
        case ExerciseKind.NEW_START:
            return new_start_answer(language, line, item.semitones)
        case ExerciseKind.RHYTHM:
            return rhythm_answer(language, item.written)
        case ExerciseKind.VALUES:
            return values_answer(language, item.written)
        case ExerciseKind.READ | ExerciseKind.BUILT_UP | ExerciseKind.DICTATION | ExerciseKind.NEW_TUNES:
            return notes_answer(language, line)


def booklet_sheet(booklet: Booklet, language: Language, answers: bool = False) -> Sheet:
    """The booklet, or its answers, as pages: words, the cells as they stand under the fingers, and their dots.

    In the pupil's braille stand titles, questions and cells alone.
    """
    blocks: list[Block] = [Paragraph(reading_cells(language), helper=True, only=Only.PRINT)]
    if not answers:
        blocks.append(Paragraph(reading_dots(language), helper=True, only=Only.TEXT))
    named_levels: set[int] = set()
    for k, exercise in enumerate(booklet.exercises, 1):
        blocks.append(Heading(exercise_heading(language, exercise.kind, k, exercise.level), gap=True))
        same = shared_question(language, exercise)
        if not answers:
            if exercise.level not in named_levels:
                named_levels.add(exercise.level)
                blocks.append(Paragraph(exercise_level(language, exercise.level), helper=True))
            blocks.append(Paragraph(exercise_helper(language, exercise.kind, RHYTHM_PITCH, exercise.beats),
                                    helper_label(language), helper=True))
            if same:
                blocks.append(Paragraph(same, shared_question_label(language)))
        for number, item in enumerate(exercise.items, 1):
            text = answer(language, exercise, item) if answers else "" if same else question(language, exercise, item)
            blocks.append(Question(number, text, _groups(language, exercise, item, answers), dots_in_text=not answers))
    return Sheet(booklet_title(language, booklet.title, answers), tuple(blocks))


def _groups(language: Language, exercise: Exercise, item: Item, answers: bool) -> tuple[CellGroup, ...]:
    """The lines of cells of an item, without blank ends; those of two versions apart."""
    lines = tuple(c.strip(SPACE) for c in (item.answer_cells if answers else item.cells))
    if exercise.kind is ExerciseKind.WHICH_VERSION and not answers:
        half = len(lines) // 2
        return tuple(CellGroup(some, version_in_dots(language, is_first, some), version_name(language, is_first))
                     for is_first, some in ((True, lines[:half]), (False, lines[half:])))
    return (CellGroup(lines, cells_in_dots(language, lines)),)


def time_to_answer(exercise: Exercise, item: Item, seconds_a_cell: float = SECONDS_A_CELL) -> float:
    """Seconds that the spoken booklet leaves for an item: for each cell that is written so many, half for one that is read."""
    written = exercise.kind in WRITTEN
    lines = item.answer_cells if written else item.cells
    if exercise.kind is ExerciseKind.GAP:
        lines = (missing_cells(item),)
    cells = sum(c != SPACE for line in lines for c in line)
    return cells * seconds_a_cell / (1 if written else 2)


def spoken_sheet(booklet: Booklet, language: Language, seconds_a_cell: float = SECONDS_A_CELL) -> Sheet:
    """The booklet to be spoken: each exercise, each question, what is to be heard, and time to read or write the answer;
    then it says to go on."""
    blocks: list[Block] = [Paragraph(spoken_booklet_title(language, booklet.title))]
    for k, exercise in enumerate(booklet.exercises, 1):
        same = shared_question(language, exercise)
        blocks += [Paragraph(x) for x in (spoken_exercise(language, exercise.kind, k), same) if x]
        for number, item in enumerate(exercise.items, 1):
            play = () if exercise.kind in SILENT else item.play or ()
            blocks.append(Question(number, "" if same else question(language, exercise, item), play=play,
                                   answer_s=time_to_answer(exercise, item, seconds_a_cell)))
            blocks.append(Paragraph(spoken_go_on(language)))
    return Sheet("", tuple(blocks))


def save_booklet(booklet: Booklet, base: str | Path, language: Language, size: PageSize = USUAL,
                 sound: bool = False, seconds_a_cell: float = SECONDS_A_CELL, braille: str = ".brf") -> list[str]:
    """Write BASE.brf, BASE.html, BASE.txt, the same with -answers, and BASE.wav where sound is wanted.

    size: of a braille page. seconds_a_cell: in the sound, what is left for each cell that is written. braille: ".pef" for
    that in place of .brf, as does a base that ends so. Returns the names written.
    """
    if not LEAST_SECONDS_A_CELL <= seconds_a_cell <= MOST_SECONDS_A_CELL:
        raise Trouble(_("{seconds:g} seconds a cell were given; give {least:g} to {most:g}.").format(
            seconds=seconds_a_cell, least=LEAST_SECONDS_A_CELL, most=MOST_SECONDS_A_CELL))
    base = Path(base)
    if base.suffix.lower() == ".pef":
        braille = ".pef"
    if base.suffix.lower() in (".brf", ".pef", ".html", ".txt", ".wav", ".pdf"):  # .pdf: print the .html
        base = base.with_suffix("")
    sheets: list[tuple[str, Sheet]] = []
    for ending, answers in (("", False), ("-answers", True)):
        made = booklet_sheet(booklet, language, answers)
        sheets += [(ending + suffix, made) for suffix in (braille, ".html", ".txt")]
    if sound:
        sheets.append((".wav", spoken_sheet(booklet, language, seconds_a_cell)))
    names = []
    for ending, sheet in sheets:
        path = base.with_name(base.name + ending)
        save_sheet(sheet, path, language, size=size)
        names.append(str(path))
    return names
