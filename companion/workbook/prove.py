"""Every key proved: an exercise is solved from what the pupil is given, by our own reader and match.

The reader (`braille.decode`) reads the cells of the question and of the key; what is sounded is made into
sound, tracked, and held by `match` against what the key says. A key that this does not bear out is a fault.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

from companion.braille import decode
from companion.braille import signs as S
from companion.match import Match, Verdict, match_take
from companion.tune import LineNote, Tune, direction_of
from companion.workbook.booklet import QUARTER_S
from companion.workbook.exercises import GAP, Exercise, Item, demands, level_of, without_marks


def read_line(cells: Sequence[str]) -> Tune:
    """The tune that cells stand for, by our own reader; a heading of key and time is one of the lines."""
    return decode(list(cells)).tune


def heard(line: Sequence[LineNote], against: Sequence[LineNote]) -> Match:
    """Notes made into the sound that the booklet gives, tracked, and held against other notes."""
    from companion.audio import line_sound
    from companion.ear import track

    sound = line_sound(line, 0.0, QUARTER_S)
    return match_take(track(sound), against)


def prove(exercise: Exercise, item: Item, sound: bool = True) -> str:
    """ "" where the key of an item is borne out, else one sentence what is amiss. sound: by ear as well."""
    wanted = [n.midi for n in item.answer_line]
    if item.answer_cells:
        read = read_line(item.answer_cells)
        if [n.midi for n in read.line()] != wanted:
            return f"{exercise.title}: the key's cells read {[n.midi for n in read.line()]}, not {wanted}."
        if exercise.kind == "rhythm" and [(n.quarters, n.rest_after) for n in read.line()] != [
                (n.quarters, n.rest_after) for n in item.answer_line]:
            return f"{exercise.title}: the key's values read otherwise."
    asked = _level(exercise, item)
    if asked > exercise.level:
        return f"{exercise.title}: level {exercise.level} is named, level {asked} is asked for."
    return _by_kind(exercise, item, wanted, sound)


def _level(exercise: Exercise, item: Item) -> int:
    """The level that an item asks for, from its cells alone as the reader reads them."""
    rhythm = exercise.kind == "rhythm"
    needs: set[str] = set()
    for cells in (item.cells, item.answer_cells):
        if not cells or any(GAP in c for c in cells) or (exercise.kind == "octave marks" and cells == item.cells):
            continue
        if exercise.kind == "which version" and cells == item.cells:
            for half in (cells[:len(cells) // 2], cells[len(cells) // 2:]):
                needs |= demands(read_line(half), True)
            continue
        needs |= demands(read_line(cells), not rhythm)
    return level_of(frozenset(needs))


def _by_kind(exercise: Exercise, item: Item, wanted: list[int], sound: bool) -> str:
    kind = exercise.kind
    if kind == "moves":
        a, b = wanted
        way = {"up": "goes up", "down": "goes down", "level": "stays"}[direction_of(b - a)]
        if way not in item.answer:
            return f"{exercise.title}: the key says otherwise than the notes go ({item.answer})."
    if kind == "octave marks" and (tuple(without_marks(c) for c in item.answer_cells) != item.cells
                                   or item.cells == item.answer_cells):
        return f"{exercise.title}: the question is not the key without its marks."
    if kind in ("which version", "wrong note"):
        shown = [n.midi for n in item.other_line]
        differ = [k for k, (x, y) in enumerate(itertools.zip_longest(shown, wanted), 1) if x != y]
        if len(differ) != 1 or (kind == "wrong note" and differ != [item.place]):
            return f"{exercise.title}: the two versions differ at {differ}, the key says {item.place}."
        if kind == "wrong note" and [n.midi for n in read_line(item.cells).line()] != shown:
            return f"{exercise.title}: the cells do not show the version with the wrong note."
        if kind == "which version":
            half = len(item.cells) // 2
            first, second = ([n.midi for n in read_line(c).line()] for c in (item.cells[:half], item.cells[half:]))
            if (first if item.place == 1 else second) != wanted or (second if item.place == 1 else first) != shown:
                return f"{exercise.title}: the key names the other version."
    if kind == "gap":
        if sum(c.count(GAP) for c in item.cells) != 1:
            return f"{exercise.title}: there is not one gap."
        before = "".join(item.cells).split(GAP)[0]
        if not "".join(item.answer_cells).startswith(before.rstrip(S.SPACE)):
            return f"{exercise.title}: what stands before the gap is not as in the key."
    if kind == "new start":
        shown = [n.midi for n in read_line(item.cells).line()]
        if len({y - x for x, y in zip(shown, wanted, strict=True)}) != 1:
            return f"{exercise.title}: the moves are not those of the tune."
    if sound and item.play is not None and len(item.play) > 1 and kind != "rhythm":
        return _by_ear(exercise, item)
    return ""


def _by_ear(exercise: Exercise, item: Item) -> str:
    """What is sounded, held against the key; and where there is another version, against that."""
    assert item.play is not None
    match = heard(item.play, item.answer_line)
    wrong = [m for m in match.moves if m.verdict != Verdict.RIGHT]
    if wrong:
        return (f"{exercise.title}: what is sounded is not heard as the key "
                f"(move from note {wrong[0].start}: {wrong[0].verdict}).")
    if item.other_line:
        other = heard(item.play, item.other_line)
        if other.closeness >= match.closeness:
            return f"{exercise.title}: by ear the other version is as near ({other.closeness})."
    return ""
