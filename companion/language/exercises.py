"""What is said of exercises: titles, instructions, questions and keys. The exercises are made in `workbook`."""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum

from companion.braille import needs_octave, to_dots
from companion.language.braille import say_dots
from companion.language.interface import Language
from companion.language.scores import notes_said
from companion.messages import N_
from companion.tune import Direction, IntervalKind, LineNote, Note, Pitch, direction_of, interval_kind


class ExerciseKind(StrEnum):
    """Kinds of exercises, in the order in which they are set. The values are those of the option `--kind`.

    They stand here because both their words, below, and `workbook`, which comes after this package, need them.
    """

    NOTES = "notes"
    MOVES = "moves"
    READ = "read"
    BUILT_UP = "built up"
    OCTAVE_MARKS = "octave marks"
    WHICH_VERSION = "which version"
    WRONG_NOTE = "wrong note"
    DICTATION = "dictation"
    GAP = "gap"
    NEW_START = "new start"
    RHYTHM = "rhythm"
    VALUES = "values"
    NEW_TUNES = "new tunes"


_LEVELS = {
    1: N_("Level 1: every note a quaver; the tune stays, or goes by step, to the next note up or down."),
    2: N_("Level 2: every note a quaver; steps, and skips, which pass over one note."),
    3: N_("Level 3: every note a quaver; steps, skips, and leaps, which pass over two notes or more."),
    4: N_("Level 4: all moves, and how long notes are: values, dots, rests and the time signature."),
    5: N_("Level 5: all moves and all signs: sharps, flats, keys, ties and more."),
}

_TITLES = {
    ExerciseKind.NOTES: N_("Single notes"),
    ExerciseKind.MOVES: N_("The tune's own moves"),
    ExerciseKind.READ: N_("The tune, pitch only"),
    ExerciseKind.BUILT_UP: N_("The tune built up from steps"),
    ExerciseKind.OCTAVE_MARKS: N_("Octave marks put back"),
    ExerciseKind.WHICH_VERSION: N_("Two versions"),
    ExerciseKind.WRONG_NOTE: N_("A wrong note to find"),
    ExerciseKind.DICTATION: N_("Dictation, bar by bar"),
    ExerciseKind.GAP: N_("A gap to fill"),
    ExerciseKind.NEW_START: N_("Starting elsewhere"),
    ExerciseKind.RHYTHM: N_("The rhythm alone"),
    ExerciseKind.VALUES: N_("The tune with its values"),
    ExerciseKind.NEW_TUNES: N_("New tunes from the same moves"),
}

#: {pitch} and {beats}: of the rhythm alone, the note on which all is written and the beats of a bar.
_HELPER = {
    ExerciseKind.NOTES: N_("Put the pupil's finger on the cells. The pupil names the note. Then play it, and the pupil "
                           "sings it."),
    ExerciseKind.MOVES: N_("Lift the pupil's hand where the tune goes up, lower it where it goes down, keep it still "
                           "where it stays."),
    ExerciseKind.READ: N_("Every note is written as a quaver here. Only which note it is counts, not how long it is."),
    ExerciseKind.BUILT_UP: N_("These lines are made of the tune. Its skips and leaps come one by one; where it has none, some "
                              "are put in."),
    ExerciseKind.OCTAVE_MARKS: N_("Play the notes from the recording, or those that the answers name. A mark is written "
                                  "before the first note, before any jump of five letters or more, such "
                                  "as C to A, and before a jump of three or four letters into another octave."),
    ExerciseKind.WHICH_VERSION: N_("Play the notes from the recording, or those that the answers name, twice. The pupil "
                                   "reads both versions and says which was heard."),
    ExerciseKind.WRONG_NOTE: N_("Play the notes from the recording, or those that the answers name. The finger stops "
                                "where what is written is not what is heard."),
    ExerciseKind.DICTATION: N_("Play the notes from the recording, or those that the answers name, as often as is asked "
                               "for. The pupil writes every note as a quaver; the first one is given."),
    ExerciseKind.GAP: N_("Play the notes from the recording, or those that the answers name, the missing one too."),
    ExerciseKind.NEW_START: N_("All moves stay as they are; only the first note is another."),
    ExerciseKind.RHYTHM: N_("All notes are {pitch} here, so that only how long they are counts. Count {beats} to a bar."),
    ExerciseKind.VALUES: N_("Two bars of the tune at a time, as they are written. Count {beats} to a bar."),
    ExerciseKind.NEW_TUNES: N_("Play the notes, which the answers name, only after they have been sung."),
}

#: {pitch} and {octave}: of the note on which the line begins.
_QUESTIONS = {
    ExerciseKind.NOTES: N_("Which note is this?"),
    ExerciseKind.MOVES: N_("Read the two notes. Does the tune go up, go down or stay? Then sing them."),
    ExerciseKind.READ: N_("Read the notes aloud, then sing them."),
    ExerciseKind.BUILT_UP: N_("Read the notes aloud, then sing them."),
    ExerciseKind.OCTAVE_MARKS: N_("Listen, then write the notes with their octave marks, which are left out here."),
    ExerciseKind.WHICH_VERSION: N_("Which version do you hear, the first or the second? Read both, then listen."),
    ExerciseKind.WRONG_NOTE: N_("Find the one note that is written wrongly. Listen, and follow with the finger."),
    ExerciseKind.DICTATION: N_("Listen, then write what you hear. It begins on {pitch}, {octave}."),
    ExerciseKind.GAP: N_("Listen, then write the note that is missing. A full cell stands in its place."),
    ExerciseKind.NEW_START: N_("Write this tune so that it begins on {pitch}, {octave}."),
    ExerciseKind.RHYTHM: N_("Clap the rhythm, then name each value."),
    ExerciseKind.VALUES: N_("Read each note with its value, then sing them in time."),
    ExerciseKind.NEW_TUNES: N_("Read this new tune, then sing it."),
}

_MOVES = {
    (IntervalKind.SEMITONE, Direction.UP): N_("{first} to {second}: it goes up by a semitone."),
    (IntervalKind.SEMITONE, Direction.DOWN): N_("{first} to {second}: it goes down by a semitone."),
    (IntervalKind.STEP, Direction.UP): N_("{first} to {second}: it goes up by a step."),
    (IntervalKind.STEP, Direction.DOWN): N_("{first} to {second}: it goes down by a step."),
    (IntervalKind.SKIP, Direction.UP): N_("{first} to {second}: it goes up by a skip."),
    (IntervalKind.SKIP, Direction.DOWN): N_("{first} to {second}: it goes down by a skip."),
    (IntervalKind.LEAP, Direction.UP): N_("{first} to {second}: it goes up by a leap."),
    (IntervalKind.LEAP, Direction.DOWN): N_("{first} to {second}: it goes down by a leap."),
    (IntervalKind.LEVEL, Direction.LEVEL): N_("{first} to {second}: it stays on one note."),
}


def exercise_level(language: Language, level: int) -> str:
    """What a level (1 to 5) asks for."""
    return language.message(_LEVELS[level])


def exercise_title(language: Language, kind: ExerciseKind) -> str:
    """The title of an exercise."""
    return language.message(_TITLES[kind])


def exercise_heading(language: Language, kind: ExerciseKind, place: int, level: int) -> str:
    """ "3. Dictation, bar by bar, level 2"."""
    return language.message("{place}. {title}, level {level}").format(
        place=place, title=exercise_title(language, kind), level=level)


def exercise_helper(language: Language, kind: ExerciseKind, pitch: Pitch, beats: int) -> str:
    """What the helper does. pitch, beats: for the rhythm alone, the note it is written on and the beats of a bar."""
    return language.message(_HELPER[kind]).format(pitch=language.pitch_class(pitch), beats=language.number(beats))


def exercise_question(language: Language, kind: ExerciseKind, start: Pitch) -> str:
    """What the pupil does. start: the pitch on which the answer begins."""
    return language.message(_QUESTIONS[kind]).format(pitch=language.pitch_class(start),
                                                     octave=language.octave(start.octave))


def note_answer(language: Language, pitch: Pitch, cells: str) -> str:
    """ "C, fourth octave: dot 5, then 1 4 5."."""
    return language.message("{pitch}, {octave}: {dots}.").format(
        pitch=language.pitch_class(pitch), octave=language.octave(pitch.octave), dots=say_dots(language, cells))


def move_answer(language: Language, first: Pitch, second: Pitch) -> str:
    """ "C to E: it goes up by a skip."."""
    semitones = second.midi - first.midi
    return language.message(_MOVES[interval_kind(semitones), direction_of(semitones)]).format(
        first=language.pitch_class(first), second=language.pitch_class(second))


def note_names(language: Language, line: Sequence[LineNote]) -> str:
    """ "C in the fourth octave, D, E": the notes of a line, with the octave where it changes by a mark."""
    out, before = [], None
    for n in line:
        name = language.pitch_class(n.pitch)
        if needs_octave(before, n.pitch) and 0 <= n.pitch.octave <= 8:
            name = language.message("{pitch} in the {octave}").format(pitch=name, octave=language.octave(n.pitch.octave))
        out.append(name)
        before = n.pitch
    return ", ".join(out)


def notes_answer(language: Language, line: Sequence[LineNote]) -> str:
    """ "C in the fourth octave, D, E."."""
    return language.message("{notes}.").format(notes=note_names(language, line))


def octave_marks_answer(language: Language, places: Sequence[int], line: Sequence[LineNote]) -> str:
    """ "Marks before the first and fourth notes: C in the fourth octave, ...". places: counted from 1."""
    template = language.plural("Marks before the {places} note: {notes}.", "Marks before the {places} notes: {notes}.",
                               len(places))
    return template.format(places=language.listed([language.ordinal(k) for k in places]),
                           notes=note_names(language, line))


def version_answer(language: Language, is_first: bool, place: int, other: Pitch, right: Pitch) -> str:
    """ "The first. The other differs at the third note: D in place of E.". place: of the note, counted from 1."""
    template = (language.message("The first. The other differs at the {place} note: {other} in place of {right}.")
                if is_first else
                language.message("The second. The other differs at the {place} note: {other} in place of {right}."))
    return template.format(place=language.ordinal(place), other=language.pitch_class(other),
                           right=language.pitch_class(right))


def wrong_note_answer(language: Language, place: int, written: Pitch, right: Pitch) -> str:
    """ "The third note: D is written, E is right."."""
    return language.message("The {place} note: {written} is written, {right} is right.").format(
        place=language.ordinal(place), written=language.pitch_class(written), right=language.pitch_class(right))


def gap_answer(language: Language, place: int, pitch: Pitch, cells: str) -> str:
    """ "The third note is E: dots 1 2 4."."""
    return language.message("The {place} note is {pitch}: {dots}.").format(
        place=language.ordinal(place), pitch=language.pitch_class(pitch), dots=say_dots(language, cells))


def new_start_answer(language: Language, line: Sequence[LineNote], semitones: int) -> str:
    """ "D in the fourth octave, E. All notes are two semitones higher."."""
    count = abs(semitones)
    template = (language.plural("{notes}. All notes are {n} semitone higher.",
                                "{notes}. All notes are {n} semitones higher.", count) if semitones > 0 else
                language.plural("{notes}. All notes are {n} semitone lower.",
                                "{notes}. All notes are {n} semitones lower.", count))
    return template.format(notes=note_names(language, line), n=language.number(count))


def rhythm_answer(language: Language, notes: Sequence[Note]) -> str:
    """ "Crotchet, quaver tied to a crotchet, quaver rest.": the values of written notes and rests."""
    values: list[str] = []
    held = False
    for n in notes:
        if n.pitch is None and n.whole_bar:
            values.append(language.message("full bar rest"))
        elif n.pitch is None:
            values.append(language.message("{value} rest").format(value=language.value(n.base, n.dots)))
        elif held:
            values[-1] = language.message("{value} tied to {next}").format(value=values[-1],
                                                                           next=language.a_value(n.base, n.dots))
        elif n.tuplet and n.tuplet.place == "start":
            values.append(language.message("triplet of {note}").format(note=language.value(n.base, n.dots)))
        else:
            values.append(language.value(n.base, n.dots))
        held = n.tie
    return language.capitalised(language.message("{values}.").format(values=", ".join(values)))


def values_answer(language: Language, notes: Sequence[Note]) -> str:
    """ "C crotchet in the fourth octave, D quaver, quaver rest.": notes with their values."""
    return language.capitalised(language.message("{values}.").format(values=", ".join(notes_said(language, notes))))


def cells_in_dots(language: Language, lines: Sequence[str]) -> str:
    """ "Cells 5-124-15; 15.": lines of cells in dot numbers."""
    return language.message("Cells {dots}.").format(dots="; ".join(map(to_dots, lines)))


def version_in_dots(language: Language, is_first: bool, lines: Sequence[str]) -> str:
    """ "First: 5-124-15."."""
    template = language.message("First: {dots}.") if is_first else language.message("Second: {dots}.")
    return template.format(dots="; ".join(map(to_dots, lines)))


def version_name(language: Language, is_first: bool) -> str:
    """ "First"."""
    return language.message("First") if is_first else language.message("Second")


def booklet_title(language: Language, title: str, answers: bool) -> str:
    """ "Lantern: exercises"."""
    template = language.message("{title}: answers") if answers else language.message("{title}: exercises")
    return template.format(title=title)


def reading_cells(language: Language) -> str:
    """For a helper who reads no braille: how cells are drawn in print."""
    return language.message("Large dots are raised. The numbers name them, cell by cell.")


def reading_dots(language: Language) -> str:
    """What the numbers of cells in plain text are."""
    return language.message("Cells are given by their dots, a hyphen from one cell to the next: 5-124 is dot 5, then dots 1 2 4.")


def helper_label(language: Language) -> str:
    """ "For the helper", the label of what is for nobody else."""
    return language.message("For the helper")


def shared_question_label(language: Language) -> str:
    """ "Each time", the label of a question that all items of an exercise share."""
    return language.message("Each time")


def spoken_booklet_title(language: Language, title: str) -> str:
    """ "Lantern. Exercises."."""
    return language.message("{title}. Exercises.").format(title=title)


def spoken_exercise(language: Language, kind: ExerciseKind, place: int) -> str:
    """ "Exercise 3. Dictation, bar by bar."."""
    return language.message("Exercise {place}. {title}.").format(place=place, title=exercise_title(language, kind))


def spoken_go_on(language: Language) -> str:
    """Said when the time for an answer is over."""
    return language.message("Go on.")
