"""Answers judged: typed names and cells in any form, numbers, choices, and sung takes.

An answer is right, not that way, or not sure. What is found is a `Judged`: facts only, which
`companion.language.questions` puts into words that teach: what the given answer is, and how the wanted one lies to it.
"""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from pathlib import Path

from companion.braille import Problem, decode, needs_octave
from companion.braille import signs as S
from companion.course.drill import Item, QuestionKind, Wants, card, pace_of
from companion.course.facts import (
    PLAIN,
    QUAVER,
    Fact,
    FactKind,
    by_cells,
    ending_name,
    fact,
    interval_steps,
    letter_of,
    mirrored,
    note_name,
    octave_name,
    placed_name,
    rest_name,
)
from companion.course.rhythm import Rhythm, RhythmFinding, judge_rhythm
from companion.course.vocabulary import Vocabulary
from companion.ear import PitchTrack, Sound, find_claps, hear_pitch, own_beat, read_sound
from companion.errors import NothingSung, Trouble
from companion.match import PARAMETERS, Doubt, HeardNote, Length, Match, Size, Verdict, match_take
from companion.tune import STEPS, Direction, IntervalKind, direction_of, interval_kind

#: What a helper presses for an answer that was spoken aloud.
HEARD_RIGHT, HEARD_WRONG = "+", "-"
FAR = 3  # notes: farther apart, "so many notes higher" helps no more, and the other octave may be nearer


class Finding(StrEnum):
    """What was found of an answer, and so what is said back."""

    RIGHT = "right"
    RIGHT_BY_HELPER = "right by helper"  # it was spoken or sung aloud, and the helper says that it was right
    WRONG = "wrong"  # the right answer is told
    NOT_KNOWN = "not known"  # the pupil says so: the answer is told, and how to remember it
    NOT_READ = "not read"  # typed: what could not be read
    LENGTH_WANTED = "length wanted"  # given: a right note, but its length was asked for too
    NOTE_WANTED = "note wanted"  # a length was given, and the note was asked for too
    OCTAVE_WANTED = "octave wanted"  # given: a right note, but its octave was asked for too
    OTHER_NAME = "other name"  # given: what was named instead
    LETTER_READ = "letter read"  # the cell was named by the letter that it is in a book
    LETTER_WRITTEN = "letter written"  # the letter of the note's name was written
    OTHER_NOTE = "other note"  # given: another note's cell was written
    OTHER_VALUE = "other value"  # given: the same note with another value was written
    OTHER_CELL = "other cell"  # given: another sign was written, None where the cell is no sign that is known
    OTHER_CELLS = "other cells"  # given: so many cells are something else, None where they are nothing that is known
    MORE_MARKS = "more marks"  # right, with more octave marks than needed
    AMISS = "amiss"  # the notes are right, problem is amiss in how they are written
    BAR_DIFFERS = "bar differs"  # difference: where
    OTHER_OCTAVE = "other octave"  # given: the mark of the octave that was said
    OTHER_SIZE = "other size"  # misread: the direction is right, and the move is not as wide as written
    OTHER_LENGTH = "other length"  # misread: a note is not as long as written
    SUNG = "sung"  # match: what was heard
    NOTHING_SUNG = "nothing sung"
    SING_FIRST = "sing first"  # something was typed where singing is wanted
    OTHER_KEY = "other key"  # the moves are right, begun on the written note and not on the one that was given
    CLAPPED = "clapped"  # rhythm: what was heard
    CLAP_FIRST = "clap first"  # something was typed where clapping is wanted
    TROUBLE = "trouble"  # trouble: why the recording could not be heard


class Misreading(StrEnum):
    """What of a sung answer was misread, where its directions are right."""

    SIZE = "size"
    LENGTH = "length"


@dataclass(frozen=True)
class Misread:
    """A move (by its place from 0) whose size, or a note whose length was misread, surely or (not sure) perhaps.

    sung: what was sung instead of the written kind of move. longer: the note was longer, or the move wider, than written.
    """

    what: Misreading
    verdict: Verdict
    at: int
    sung: IntervalKind | None = None
    longer: bool = False


#: The line has just been asked for, and is often of four notes: in so few a misread one looks like another line.
ASKED = replace(PARAMETERS, weighed_from=5)
LONG_LINE, OF_A_LONG_LINE = 8, 0.9  # moves; share of them that are surely right where none is wrong
#: Semitones off that are doubtful, and that are a misreading: a step read for a skip is 2 off, and so may be a shy
#: voice's skip of 4; by 2.5 two neighbouring kinds of move are no longer confused by how a voice sings.
SIZE_DOUBT, SIZE_MISREAD = 2.0, 2.5
#: How many times as long as its neighbour, measured by the written values, is doubtful and is a misreading. Of 251 lines
#: sung as written no note was more than 2.1 times as long (tests/benchmarks/course_sung.py).
LENGTH_DOUBT, LENGTH_MISREAD, LAST_MISREAD = 2.2, 2.7, 4.0


class Change(StrEnum):
    """How a written bar first differs from the one that was heard."""

    TOO_MUCH = "too much"
    MISSING = "missing"
    OTHER = "other"


@dataclass(frozen=True)
class Difference:
    """Where a written bar first differs: after `right` cells that are right.

    wanted, wanted_cells: the sign that comes next there, None where it is nothing that is known. written,
    written_cells: what was written there instead.
    """

    change: Change
    right: int
    wanted: Fact | None = None
    wanted_cells: str = ""
    written: Fact | None = None
    written_cells: str = ""


@dataclass(frozen=True)
class Judged:
    """An answer judged; `finding` says which of the other values belong to it.

    cards: a verdict for each thing remembered. given: the fact that was given instead of the wanted one. cells: what
    was typed, as cells. mirrored: the two sides of the cell changed over. apart: how many notes the wanted one lies
    above the given one, below if negative; 0 where that helps nobody.
    """

    verdict: Verdict
    finding: Finding
    cards: Mapping[str, Verdict] = field(default_factory=dict)
    typed: str = ""
    given: Fact | None = None
    cells: str = ""
    mirrored: bool = False
    apart: int = 0
    difference: Difference | None = None
    problem: Problem | None = None
    match: Match | None = None
    trouble: Trouble | None = None
    misread: Misread | None = None
    rhythm: Rhythm | None = None


def check(item: Item, text: str, vocabulary: Vocabulary, before: Judged | None = None) -> Judged:
    """Judge a typed answer. "+" and "-" are a helper's word for an answer that was spoken or sung aloud.

    What cannot be read is not sure. Where singing is wanted, text is the name of a recording. before: what was found of
    the answer just before, where more was asked for: "C", and then "crotchet".
    """
    text = text.strip()
    if text == HEARD_RIGHT:
        found = Judged(Verdict.RIGHT, Finding.RIGHT_BY_HELPER)
    elif text == HEARD_WRONG:
        found = Judged(Verdict.WRONG, Finding.WRONG)
    elif item.wants in (Wants.SUNG, Wants.CLAPPED):
        return _check_recording(item, text)
    elif item.wants is Wants.NAME and before is not None and before.finding in _ASKED_ON:
        found = _check_name(item, text, vocabulary, before.given)
    else:
        found = _CHECKS[item.wants](item, text, vocabulary)
    if found.verdict == Verdict.UNSURE:
        return found
    return replace(found, cards=dict.fromkeys(item.cards, found.verdict))


def not_known(item: Item) -> Judged:
    """The pupil says that the answer is not known: it is taught, and comes back soon."""
    return Judged(Verdict.WRONG, Finding.NOT_KNOWN, dict.fromkeys(item.cards, Verdict.WRONG))


#: Findings after which the rest of a name may be given alone.
_ASKED_ON = (Finding.LENGTH_WANTED, Finding.OCTAVE_WANTED)


def _right_or_wrong(right: bool) -> Judged:
    return Judged(Verdict.RIGHT, Finding.RIGHT) if right else Judged(Verdict.WRONG, Finding.WRONG)


def _not_read(text: str) -> Judged:
    return Judged(Verdict.UNSURE, Finding.NOT_READ, typed=text)


# --- names ---

def _check_name(item: Item, text: str, vocabulary: Vocabulary, before: Fact | None = None) -> Judged:
    wanted = item.wanted_fact
    asks_length = wanted.kind is FactKind.NOTE and wanted.value is not None
    readings = _names(wanted, text, vocabulary)
    if item.kind is QuestionKind.OTHER_NOTE and any(map(interval_steps, readings)):
        return _not_read(text)  # "a third" is the sign, and no A
    if (value := vocabulary.value(text)) and not any(_is_named(f, wanted) for f in readings):
        if wanted.kind is FactKind.REST:
            readings = (fact(rest_name(*value)),)  # nothing but rests is asked: "a minim" is a minim rest
        elif asks_length and before is not None:
            readings = (fact(note_name(before.step, *value)),)
        elif asks_length:
            return Judged(Verdict.UNSURE, Finding.NOTE_WANTED)
    if before is not None and wanted.kind is FactKind.PLACED and (place := vocabulary.octave(text)) in range(1, 8):
        readings = (fact(placed_name(before.step, place or 0)),)
    return _named(wanted, readings, text)


def _named(wanted: Fact, readings: tuple[Fact, ...], text: str) -> Judged:
    """A name judged, by the facts that it may mean."""
    if any(_is_named(f, wanted) for f in readings):
        return Judged(Verdict.RIGHT, Finding.RIGHT)
    given = next((f for f in readings if f.kind is wanted.kind), next(iter(readings), None))
    if given is None or (wanted.kind is FactKind.KEY and given.kind is FactKind.ACCIDENTAL):
        return _not_read(text)
    same_step = given.is_note and given.step == wanted.step
    if wanted.kind is FactKind.NOTE and wanted.value is not None and same_step and given.value is None:
        return Judged(Verdict.UNSURE, Finding.LENGTH_WANTED, given=fact(given.step))
    if wanted.kind is FactKind.PLACED and same_step and given.kind is FactKind.NOTE:
        return Judged(Verdict.UNSURE, Finding.OCTAVE_WANTED, given=fact(given.step))
    if wanted.kind is given.kind is FactKind.NOTE and given.step.lower() == letter_of(wanted):
        return Judged(Verdict.WRONG, Finding.LETTER_READ, given=given)
    return Judged(Verdict.WRONG, Finding.OTHER_NAME, given=given, apart=_apart(given, wanted))


def _names(wanted: Fact, text: str, vocabulary: Vocabulary) -> tuple[Fact, ...]:
    """The facts that a typed name may mean, where one of the wanted kind is asked for."""
    if wanted.kind is FactKind.OCTAVE and (place := vocabulary.octave(text)) in range(1, len(S.OCTAVE_WORDS)):
        return (fact(octave_name(place or 0)),)  # "4" or "fourth" for "fourth octave"
    if wanted.kind is FactKind.ENDING and (number := vocabulary.number(text)) in range(1, 10):
        return (fact(ending_name(int(number or 0))),)
    # Numbers alone are dots typed where a name is wanted, unless numbers are what the cells say.
    if wanted.kind is not FactKind.TIME and re.fullmatch(r"[\d\s.,-]+", text):
        return ()
    return vocabulary.facts(text)


def _is_named(given: Fact, wanted: Fact) -> bool:
    """Whether a name is the right one; a note's octave may be named where it is not asked for, its length may not
    be left out where it is."""
    if wanted.kind is FactKind.NOTE and wanted.value is not None and given.is_note and given.value is None:
        return False
    more = given.kind is FactKind.PLACED and wanted.kind is FactKind.NOTE and wanted.value is None
    return given.cells == wanted.cells or (more and given.step == wanted.step)


def _apart(a: Fact, b: Fact) -> int:
    """How many notes `a` lies above `b`, below if negative, by their letters; 0 for no notes and for far ones."""
    if not (a.is_note and b.is_note):
        return 0
    apart = STEPS.index(a.step) - STEPS.index(b.step)
    return apart if abs(apart) <= FAR else 0


# --- cells ---

def _check_cells(item: Item, text: str, vocabulary: Vocabulary) -> Judged:
    readings = [_without_key(r, item) for r in vocabulary.cells(text)]
    if not readings:
        return _not_read(text)
    if any(_are_wanted(r, item) for r in readings):
        return Judged(Verdict.RIGHT, Finding.RIGHT)
    if not _meant_as_cells(item, text, readings, vocabulary):
        return _not_read(text)
    wanted_length = len(item.to_write)
    # Of several readings the likeliest is meant: one of cells that are something, and of as many as are wanted.
    given = min(readings, key=lambda r: (not all(known_as(c, item.known) for c in r), len(r) != wanted_length))
    if item.fact is not None and wanted_length == 1 and len(given) == 1:
        return _one_cell(item.fact, given, item.known)
    if item.group is not None:
        return _other_writing(item, readings) or Judged(Verdict.WRONG, Finding.BAR_DIFFERS,
                                                        difference=_difference(item, given))
    return Judged(Verdict.WRONG, Finding.OTHER_CELLS, given=known_as(given, item.known), cells=given)


def _are_wanted(cells: str, item: Item) -> bool:
    """Whether these are the cells that are wanted; dots have no way to type a space."""
    return _bare(cells) == _bare(item.to_write) or (S.SPACE not in cells and cells == item.to_write.replace(S.SPACE, ""))


def _meant_as_cells(item: Item, text: str, readings: list[str], vocabulary: Vocabulary) -> bool:
    """Whether a text that can be read as cells is an answer in cells: not the name that was said, where its cells are
    wanted, nor letters that could be braille, and are more likely words."""
    if len(text) > 1 and item.fact is not None and any(f.cells == item.to_write for f in vocabulary.facts(text)):
        return False
    return vocabulary.surely_cells(text) or any(_alike(r, item.to_write) for r in readings)


def _without_key(cells: str, item: Item) -> str:
    """What was written without the key and time before it, which are given in the question and may be written too."""
    before = item.group.before if item.group is not None else ""
    return _bare(cells.removeprefix(before)) if before else cells


def _alike(written: str, wanted: str) -> bool:
    """Whether written cells look like an attempt at the wanted ones: as long, and half of them in their places."""
    a, b = _bare(written), _bare(wanted)
    return len(b) > 1 and abs(len(a) - len(b)) <= 1 and sum(x == y for x, y in zip(a, b, strict=False)) * 2 >= len(b)


def known_as(cells: str, known: frozenset[str] | None = None) -> Fact | None:
    """What some cells are: a note or a sign that is known, None where they are none."""
    found = by_cells(cells, known)
    return found[0] if found else None


def _bare(cells: str) -> str:
    return cells.strip(S.SPACE)


def _other_writing(item: Item, readings: list[str]) -> Judged | None:
    """A bar that says the same notes in other cells, as the decoder reads it: right where nothing is amiss in it
    (a mark too many, say), else what is amiss. None where the notes differ."""
    if not any(o in item.to_write for o in S.OCTAVES.values()):
        return None  # a row without marks is no music that the decoder could read
    wanted = _decoded(item.to_write)
    for cells in readings:
        found = _decoded(cells)
        if found[0] != wanted[0]:
            continue
        if found[1] is not None:
            return Judged(Verdict.WRONG, Finding.AMISS, problem=found[1])
        longer = len(cells) > len(item.to_write)
        return Judged(Verdict.RIGHT, Finding.MORE_MARKS if longer else Finding.RIGHT)
    return None


def _decoded(cells: str) -> tuple[tuple[object, ...], Problem | None]:
    """The notes of each bar as (pitch, quarters ...), and the first thing amiss in them."""
    reading = decode([cells])
    notes: tuple[object, ...] = tuple(tuple((n.pitch, n.quarters, n.tie, n.slur_starts, n.slur_stops, n.marks) for n in bar.notes)
                  for bar in reading.tune.bars)
    # A key that is still there is another one than the bar's, which was taken away.
    return (reading.tune.key.fifths, notes), reading.problems[0] if reading.problems else None


def _one_cell(wanted: Fact, given: str, known: frozenset[str] | None = None) -> Judged:
    """One cell where another was wanted."""
    wrong = Judged(Verdict.WRONG, Finding.OTHER_CELL, cells=given, mirrored=mirrored(wanted.cells) == given)
    found = by_cells(given, known)
    is_note = wanted.kind is FactKind.NOTE
    if is_note and wanted.quarters == QUAVER and S.LETTERS.get(wanted.step.lower()) == given:
        return replace(wrong, finding=Finding.LETTER_WRITTEN)
    note = next((f for f in found if f.kind is FactKind.NOTE), None)
    if note is not None and is_note and note.step != wanted.step:
        return replace(wrong, finding=Finding.OTHER_NOTE, given=note, apart=_apart(wanted, note))
    if note is not None and is_note:
        return replace(wrong, finding=Finding.OTHER_VALUE, given=note)
    return replace(wrong, given=found[0] if found else None)


def _difference(item: Item, given: str) -> Difference:
    """Where a written bar first differs from what was heard."""
    wanted, given = _bare(item.to_write), _bare(given)
    at = next((i for i, (a, b) in enumerate(zip(wanted, given, strict=False)) if a != b),
              min(len(wanted), len(given)))
    if at == len(wanted):
        return Difference(Change.TOO_MUCH, at, written_cells=given[at:at + 2])
    rest = wanted[at:]
    name = next((name for name, cells in _LONGEST_FIRST if rest.startswith(cells)), None)
    sign = fact(name) if name else known_as(rest[0], item.signs) or known_as(rest[0], item.known)
    cells = sign.cells if name and sign else rest[0]
    if at == len(given):
        return Difference(Change.MISSING, at, sign, cells)
    return Difference(Change.OTHER, at, sign, cells, known_as(given[at], item.known), given[at])


#: Signs of several cells, which no single cell tells.
_LONGEST_FIRST = sorted(((n, c) for n, c in PLAIN.items() if n != "bar line" and len(c) > 1),
                        key=lambda pair: -len(pair[1]))


# --- numbers, choices, directions ---

def _check_number(item: Item, text: str, vocabulary: Vocabulary) -> Judged:
    value = vocabulary.number(text)
    return _not_read(text) if value is None else _right_or_wrong(value == item.number)


def _check_choice(item: Item, text: str, vocabulary: Vocabulary) -> Judged:
    value = vocabulary.number(text)
    return _right_or_wrong(value == item.number) if value in range(1, len(item.choices) + 1) else _not_read(text)


def _check_direction(item: Item, text: str, vocabulary: Vocabulary) -> Judged:
    given = vocabulary.direction(text)
    return _not_read(text) if given is None else _right_or_wrong(given == item.direction)


def _check_route(item: Item, text: str, vocabulary: Vocabulary) -> Judged:
    given = vocabulary.route(text)
    return _not_read(text) if given is None else _right_or_wrong(given == item.route)


def _check_octave(item: Item, text: str, vocabulary: Vocabulary) -> Judged:
    value = vocabulary.octave(text)
    if value is None:
        return _not_read(text)
    if value == item.wanted_fact.number:
        return Judged(Verdict.RIGHT, Finding.RIGHT)
    return Judged(Verdict.WRONG, Finding.OTHER_OCTAVE, given=fact(octave_name(value)))


def _check_yes(item: Item, text: str, vocabulary: Vocabulary) -> Judged:
    given = vocabulary.yes(text)
    return _not_read(text) if given is None else _right_or_wrong(given == item.needs_mark)


_CHECKS: dict[Wants, Callable[[Item, str, Vocabulary], Judged]] = {
    Wants.NAME: _check_name, Wants.CELLS: _check_cells, Wants.NUMBER: _check_number, Wants.PLACE: _check_number,
    Wants.CHOICE: _check_choice, Wants.DIRECTION: _check_direction, Wants.OCTAVE: _check_octave,
    Wants.YES_OR_NO: _check_yes, Wants.ROUTE: _check_route,
}


class MarkRule(StrEnum):
    """Why a note needs an octave mark or none (MBC 2015, 3.2.2)."""

    ALWAYS = "always"  # a sixth or more
    OTHER_OCTAVE = "other octave"  # a fourth or fifth into another octave
    SAME_OCTAVE = "same octave"  # a fourth or fifth within an octave
    NEVER = "never"  # less than a fourth


def mark_rule(item: Item) -> tuple[int, MarkRule]:
    """The interval of the two notes of a question, counted with both ends (a third is 3), and the rule for it."""
    a, b = item.played[0].pitch, item.played[1].pitch
    size = abs(b.diatonic - a.diatonic) + 1
    if size >= 6:
        return size, MarkRule.ALWAYS
    if size >= 4:
        return size, MarkRule.OTHER_OCTAVE if needs_octave(a, b) else MarkRule.SAME_OCTAVE
    return size, MarkRule.NEVER


# --- sung ---

def _check_recording(item: Item, text: str) -> Judged:
    """A sung or clapped answer in a file that was named; not sure where it is no file, or one that cannot be heard."""
    if not _is_file(text):
        return Judged(Verdict.UNSURE, Finding.SING_FIRST if item.wants is Wants.SUNG else Finding.CLAP_FIRST)
    try:
        return check_take(item, text) if item.wants is Wants.SUNG else check_claps(item, read_sound(text))
    except Trouble as trouble:
        return Judged(Verdict.UNSURE, Finding.TROUBLE, trouble=trouble)


def _is_file(text: str) -> bool:
    """Whether what was typed names a file; what can be no name (too long, a null in it) names none."""
    try:
        return bool(text) and Path(text).is_file()
    except (OSError, ValueError):
        return False


def check_take(item: Item, take: str | Path | PitchTrack) -> Judged:
    """Judge a sung answer by the same match as every take: a sound file, a pitch-track file, or a track.

    Right is every move right in direction, size and length (of a long line nine tenths, and none wrong: somewhere in it the
    sound is nearly always unclear); not that way is a move surely the other way, or one
    grossly misread (see `misread`); anything else is not sure. Every move is remembered by its kind. Raises Trouble
    where a file cannot be read.
    """
    track = hear_pitch(take) if isinstance(take, str | Path) else take
    try:
        match = match_take(track, item.sung, ASKED)
    except NothingSung:
        return Judged(Verdict.UNSURE, Finding.NOTHING_SUNG)
    if item.kind is QuestionKind.SING_FROM_ANOTHER and _in_written_key(item, match):
        return Judged(Verdict.UNSURE, Finding.OTHER_KEY, match=match)
    match = _with_turned(match)
    counts = match.counts
    enough = math.ceil(OF_A_LONG_LINE * len(match.moves)) if len(match.moves) >= LONG_LINE else len(match.moves)
    verdict = Verdict.WRONG if counts[Verdict.WRONG] else Verdict.RIGHT if counts[Verdict.RIGHT] >= enough else Verdict.UNSURE
    if verdict == Verdict.RIGHT and item.kind is not QuestionKind.SING_THE_MOVE:
        found = misread(item, match)
        if found is not None:
            cards = dict.fromkeys(item.cards, found.verdict) if found.verdict != Verdict.UNSURE else {}
            finding = {Misreading.SIZE: Finding.OTHER_SIZE, Misreading.LENGTH: Finding.OTHER_LENGTH}[found.what]
            return Judged(found.verdict, finding, cards, match=match, misread=found)
    if verdict == Verdict.UNSURE and 2 * counts[Verdict.RIGHT] >= len(match.moves) and _has_values(item):
        # What cannot be told of a move says nothing against a length that is plain elsewhere in the line.
        surely = [m for _unused, m in _misread_lengths(match) if m.verdict is Verdict.WRONG]
        if surely:
            return Judged(Verdict.WRONG, Finding.OTHER_LENGTH, dict.fromkeys(item.cards, Verdict.WRONG), match=match,
                          misread=surely[0])
    return Judged(verdict, Finding.SUNG, _sung_cards(item, match, verdict), match=match)


#: What a tracker's errors are off by: an octave, an octave and a fifth, and the fifth of their difference; within so much.
TRACKER_OFF = ((12.0, 1.5), (19.0, 1.5), (24.0, 1.5), (7.0, 0.45))
SURELY = 0.95  # probability of the other direction, and that these parts of the sound are the two notes


def _with_turned(match: Match) -> Match:
    """The match with what it left open for fear of an error of the tracker, where no such error explains it.

    A short line has few notes to tell the singer's key from, so that "C, down to A flat" for "C, up to E" looks like a slip
    of a fifth to the match. Here what was written is read, not remembered, and by 8 or 10 semitones no tracker errs.
    """
    moves = []
    for move, evidence in itertools.zip_longest(match.moves, match.evidence):
        if evidence is not None and evidence.doubt is Doubt.OCTAVE and move.sung_semitones is not None:
            off = abs(move.sung_semitones - move.wanted_semitones)
            heard = direction_of(move.sung_semitones)
            chance = {Direction.UP: evidence.up, Direction.DOWN: evidence.down, Direction.LEVEL: 0.0}[heard]
            if heard is not move.wanted and move.wanted is not Direction.LEVEL and min(chance, evidence.placed) >= SURELY \
                    and all(abs(off - error) > within for error, within in TRACKER_OFF):
                move = replace(move, verdict=Verdict.WRONG, heard=heard, sure=chance)
        moves.append(move)
    return replace(match, moves=tuple(moves))


KEY_WITHIN = 1.2  # semitones: a voice that begins so near to a note means that one


def _in_written_key(item: Item, match: Match) -> bool:
    """Whether a line that was to be sung from another note was sung from the written one, in whatever octave."""
    assert item.group is not None
    if match.shift_semitones is None:
        return False
    moved = item.sung[0].midi - item.group.line[0].midi

    def off(wanted: float) -> float:
        apart = (match.shift_semitones or 0.0) - wanted
        return abs((apart + 6) % 12 - 6)

    return off(-moved) <= KEY_WITHIN < off(0)


def check_claps(item: Item, sound: Sound, led: bool = False) -> Judged:
    """Judge a clapped or tapped answer from its recording. led: the recording begins with the bar that was counted in."""
    claps, first_s, quarter_s = find_claps(sound), None, pace_of(item)
    beat_s = float(item.pulse.beat) * quarter_s if item.pulse is not None else quarter_s
    if led and item.pulse is not None:
        begins = own_beat(sound, item.pulse.counts, beat_s)
        first_s = None if begins is None else begins + item.pulse.counts * beat_s
        # Hands that clap the counted bar too are not asked for it; the first clap may come a little before its beat.
        claps = claps.since((first_s if first_s is not None else item.pulse.counts * beat_s) - EARLY * beat_s)
        if first_s is not None:
            first_s += float(item.sung[0].onset_quarters) * quarter_s
    found = judge_rhythm(claps, item.sung, quarter_s, first_s, beat_s)
    return Judged(found.verdict, Finding.NOTHING_SUNG if found.finding is RhythmFinding.NO_CLAPS else Finding.CLAPPED,
                  dict.fromkeys(item.cards, found.verdict) if found.verdict is not Verdict.UNSURE else {}, rhythm=found)


EARLY = 0.45  # of a beat before the first one is still meant for it


def misread(item: Item, match: Match) -> Misread | None:
    """The size or length that was sung least like the written one, None where all are near enough.

    Directions are right. What the match is sure of counts; it holds a note against several around it, so in a line of
    few notes, where it cannot tell, only what no reading of the right cell explains is a misreading. A learner's voice
    makes moves smaller and larger and holds notes as breath allows: between that and near enough it is not sure.
    """
    return _misread_surely(item, match) or _misread_grossly(item, match)


GAP_S = 0.04  # of silence between two notes on one pitch, from which they are told apart: the shortest consonant


def _has_values(item: Item) -> bool:
    """Whether lengths are shown: where all are quavers they are not yet taught."""
    values = {n.quarters for n in item.sung}
    return len(values) > 1 or next(iter(values)) != QUAVER


def _misread_surely(item: Item, match: Match) -> Misread | None:
    """The first size or length that the match is sure of."""
    for at, move in enumerate(match.moves):
        if move.size is Size.WRONG and move.sung_semitones is not None:
            return Misread(Misreading.SIZE, Verdict.WRONG, at, interval_kind(round(move.sung_semitones)),
                           longer=abs(move.sung_semitones) > abs(move.wanted_semitones))
    run_together = _run_together(match)
    for at, note in enumerate(match.notes if _has_values(item) else ()):
        if note.length in (Length.TOO_LONG, Length.TOO_SHORT) and not (run_together[at] or run_together[at + 1]):
            return Misread(Misreading.LENGTH, Verdict.WRONG, at, longer=note.length is Length.TOO_LONG)
    return None


def _misread_grossly(item: Item, match: Match) -> Misread | None:
    """The size or length that is farthest from the written one, by the moves and the neighbours alone."""
    found: list[tuple[float, Misread]] = []
    for at, move in enumerate(match.moves):
        if move.sung_semitones is None or not move.wanted_semitones:
            continue
        off, kind = abs(move.sung_semitones) - abs(move.wanted_semitones), interval_kind(round(move.sung_semitones))
        if abs(off) >= SIZE_DOUBT and kind is not interval_kind(move.wanted_semitones):
            verdict = Verdict.WRONG if abs(off) >= SIZE_MISREAD else Verdict.UNSURE
            found.append((abs(off) / SIZE_MISREAD, Misread(Misreading.SIZE, verdict, at, kind, off > 0)))
    if _has_values(item):
        found += _misread_lengths(match)
    return max(found, key=lambda pair: (pair[1].verdict == Verdict.WRONG, pair[0]))[1] if found else None


def _misread_lengths(match: Match) -> list[tuple[float, Misread]]:
    """Lengths that differ from their neighbours' as no written ones do here. How long a note lasts is the time to the
    next one, with the rest between; the last one's is its own sound, which may be cut short or held, so that only its
    neighbours are asked. Notes on one pitch are taken one by one, and together: where a voice goes on, nothing tells where
    the second begins."""
    notes, found = match.notes, []
    for together in (False, True):
        for (_unused, a), (at, b) in itertools.pairwise(_lasting(match, together)):
            if a and b and a > 0 and b > 0:
                times = b / a
                apart = max(times, 1 / times)
                if apart >= LENGTH_DOUBT:
                    verdict = Verdict.WRONG if apart >= LENGTH_MISREAD else Verdict.UNSURE
                    found.append((apart / LENGTH_MISREAD, Misread(Misreading.LENGTH, verdict, at, longer=times > 1)))
    last, before = notes[-1], [x for _unused, x in _lasting(match, True) if x]
    if before and last.duration_s and last.duration_s / float(last.written.quarters) >= LAST_MISREAD * before[-1]:
        found.append((1.0, Misread(Misreading.LENGTH, Verdict.UNSURE, len(notes) - 1, longer=True)))
    return found


def _lasting(match: Match, together: bool) -> list[tuple[int, float | None]]:
    """(place, seconds a crotchet) of each note but the last, those on one pitch perhaps together; None where it is not known when
    they began or ended, or that what was sung there are these notes."""
    sure = [m.verdict is Verdict.RIGHT for m in match.moves]
    run_together = _run_together(match)
    out: list[tuple[int, float | None]] = []
    at = 0
    while at < len(match.notes) - 1:
        end = at + 1
        while together and end < len(match.notes) - 1 and match.notes[end].written.midi == match.notes[at].written.midi \
                and not match.notes[end - 1].written.rest_after:
            end += 1
        begins, ends = match.notes[at].onset_s, match.notes[end].onset_s
        lasted = sum(float(n.written.quarters + n.written.rest_after) for n in match.notes[at:end])
        known = all(sure[at:end]) and not (run_together[at] or run_together[end])
        out.append((at, (ends - begins) / lasted if begins is not None and ends is not None and known else None))
        at = end
    return out


def _run_together(match: Match) -> list[bool]:
    """Of n notes, n + 1 flags: whether before each of them, and after the last, one runs on into the next (see `_runs_on`)."""
    return [False, *(_runs_on(a, b) for a, b in itertools.pairwise(match.notes)), False]


def _runs_on(a: HeardNote, b: HeardNote) -> bool:
    """Whether a note goes on without a gap on the same pitch, so that nothing tells where the second begins."""
    if a.written.midi != b.written.midi or a.onset_s is None or b.onset_s is None or a.duration_s is None:
        return False
    return b.onset_s - a.onset_s - a.duration_s < GAP_S


def _sung_cards(item: Item, match: Match, verdict: Verdict) -> dict[str, Verdict]:
    """What is remembered of a sung answer: the question as a whole, and every move by its kind."""
    moves = {card(m.kind, item.way) for m in match.moves}
    cards: dict[str, Verdict] = {c: verdict for c in item.cards if c not in moves} if verdict != Verdict.UNSURE else {}
    for m in match.moves:
        if m.verdict != Verdict.UNSURE:
            name = card(m.kind, item.way)
            # One wrong move of a kind outweighs right ones in the same take.
            if cards.get(name) != Verdict.WRONG:
                cards[name] = m.verdict
    return cards
