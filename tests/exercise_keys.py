"""Every key proved: an exercise is solved from what the pupil is given, by our own reader and match.

The reader (`braille.decode`) reads the cells of the question and of the key; what is sounded is made into
sound, tracked, and matched against what the key says. A key that this does not bear out is a fault.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence

from companion.audio import line_sound
from companion.braille import SPACE, decode
from companion.ear import track
from companion.language import English, ExerciseKind
from companion.match import Match, Verdict, match_take
from companion.paper.forms import QUARTER_S
from companion.tune import Direction, LineNote, Tune, direction_of
from companion.workbook import Exercise, Item
from companion.workbook.booklet import answer
from companion.workbook.exercises import GAP, demands, level_of, without_marks

WITH_VALUES = (ExerciseKind.RHYTHM, ExerciseKind.VALUES)
WAYS = {Direction.UP: "goes up", Direction.DOWN: "goes down", Direction.LEVEL: "stays"}


def read_line(cells: Sequence[str]) -> Tune:
    """The tune that cells stand for, by our own reader; a heading of key and time is one of the lines."""
    return decode(list(cells)).tune


def heard(line: Sequence[LineNote], against: Sequence[LineNote]) -> Match:
    """Notes made into the sound that the booklet gives, tracked, and matched against other notes."""
    sound = line_sound(line, 0.0, QUARTER_S)
    return match_take(track(sound), against)


def prove(exercise: Exercise, item: Item, sound: bool = True, said: str | None = None) -> str:
    """ "" where the key of an item is borne out, else what is amiss. sound: by ear as well. said: another key in words."""
    wanted = [n.midi for n in item.answer_line]
    if item.answer_cells:
        read = read_line(item.answer_cells)
        if [n.midi for n in read.line()] != wanted:
            return f"{exercise.kind}: the key's cells read {[n.midi for n in read.line()]}, not {wanted}."
        if exercise.kind in WITH_VALUES and [(n.quarters, n.rest_after) for n in read.line()] != [
                (n.quarters, n.rest_after) for n in item.answer_line]:
            return f"{exercise.kind}: the key's values read otherwise."
    asked = level(exercise, item)
    if asked > exercise.level:
        return f"{exercise.kind}: level {exercise.level} is named, level {asked} is asked for."
    amiss = CHECKS.get(exercise.kind, lambda item, wanted, said: "")(
        item, wanted, said or answer(English(), exercise, item))
    if amiss:
        return f"{exercise.kind}: {amiss}"
    if sound and item.play is not None and len(item.play) > 1 and exercise.kind not in WITH_VALUES:
        return by_ear(exercise, item)
    return ""


def level(exercise: Exercise, item: Item) -> int:
    """The level that an item asks for, from its cells alone as the reader reads them."""
    rhythm = exercise.kind in WITH_VALUES
    needs = set()
    for cells in (item.cells, item.answer_cells):
        if not cells or any(GAP in c for c in cells) or (
                exercise.kind is ExerciseKind.OCTAVE_MARKS and cells == item.cells):
            continue
        if exercise.kind is ExerciseKind.WHICH_VERSION and cells == item.cells:
            for half in versions(item):
                needs |= demands(read_line(half), True)
            continue
        needs |= demands(read_line(cells), not rhythm)
    return level_of(frozenset(needs))


def versions(item: Item) -> tuple[Sequence[str], Sequence[str]]:
    half = len(item.cells) // 2
    return item.cells[:half], item.cells[half:]


def _moves(item: Item, wanted: list[int], said: str) -> str:
    way = WAYS[direction_of(wanted[1] - wanted[0])]
    return "" if way in said else f"the key says otherwise than the notes go ({said})."


def _rhythm(item: Item, wanted: list[int], said: str) -> str:
    """The values that are said, against those that the reader finds in the cells; each rest is a value too."""
    names = {4: "semibreve", 2: "minim", 1: "crotchet", 0.5: "quaver", 0.25: "semiquaver"}
    read = []
    for _, _, n in read_line(item.cells).written():
        triplet = "triplet of " if n.tuplet and n.tuplet.actual == 3 and n.tuplet.place == "start" else ""
        value = triplet + "dotted " * n.dots + names[float(n.base)]
        read.append("full bar rest" if n.whole_bar else f"{value} rest" if n.pitch is None else value)
    return "" if said.lower() == ", ".join(read) + "." else f"the key says {said}, the cells {read}."


def _octave_marks(item: Item, wanted: list[int], said: str) -> str:
    without = tuple(without_marks(c) for c in item.answer_cells)
    return "" if without == item.cells != item.answer_cells else "the question is not the key without its marks."


def _differing(item: Item, wanted: list[int]) -> list[int]:
    return [k for k, (x, y) in enumerate(itertools.zip_longest([n.midi for n in item.other_line], wanted), 1) if x != y]


def _wrong_note(item: Item, wanted: list[int], said: str) -> str:
    if _differing(item, wanted) != [item.place]:
        return f"the versions differ at {_differing(item, wanted)}, the key says {item.place}."
    shown = [n.midi for n in read_line(item.cells).line()]
    return "" if shown == [n.midi for n in item.other_line] else "the cells do not show the version with the wrong note."


def _which_version(item: Item, wanted: list[int], said: str) -> str:
    if len(_differing(item, wanted)) != 1:
        return f"the two versions differ at {_differing(item, wanted)}."
    shown = [n.midi for n in item.other_line]
    first, second = ([n.midi for n in read_line(c).line()] for c in versions(item))
    named = "The first." if item.place == 1 else "The second."
    right, other = (first, second) if item.place == 1 else (second, first)
    return "" if (right, other) == (wanted, shown) and said.startswith(named) else "the key names the other version."


def _gap(item: Item, wanted: list[int], said: str) -> str:
    if sum(c.count(GAP) for c in item.cells) != 1:
        return "there is not one gap."
    before = "".join(item.cells).split(GAP)[0]
    starts_alike = "".join(item.answer_cells).startswith(before.rstrip(SPACE))
    return "" if starts_alike else "what stands before the gap is not as in the key."


def _new_start(item: Item, wanted: list[int], said: str) -> str:
    shown = [n.midi for n in read_line(item.cells).line()]
    moved = {y - x for x, y in zip(shown, wanted, strict=True)}
    return "" if moved == {item.semitones} else "the moves are not those of the tune."


CHECKS: dict[ExerciseKind, Callable[[Item, list[int], str], str]] = {
    ExerciseKind.MOVES: _moves, ExerciseKind.RHYTHM: _rhythm, ExerciseKind.OCTAVE_MARKS: _octave_marks,
    ExerciseKind.WRONG_NOTE: _wrong_note, ExerciseKind.WHICH_VERSION: _which_version, ExerciseKind.GAP: _gap,
    ExerciseKind.NEW_START: _new_start,
}


def by_ear(exercise: Exercise, item: Item) -> str:
    """What is sounded, matched against the key; and where there is another version, against that."""
    assert item.play is not None
    match = heard(item.play, item.answer_line)
    wrong = [m for m in match.moves if m.verdict != Verdict.RIGHT]
    if wrong:
        return (f"{exercise.kind}: what is sounded is not heard as the key "
                f"(move from note {wrong[0].start}: {wrong[0].verdict}).")
    if item.other_line:
        other = heard(item.play, item.other_line)
        if other.closeness >= match.closeness:
            return f"{exercise.kind}: by ear the other version is as near ({other.closeness})."
    return ""
