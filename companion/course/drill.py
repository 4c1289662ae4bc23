"""Drills: questions made from facts and from tunes, each with what it wants for an answer.

A way is what is asked for what: a cell to its name, a name to its cell, a cell to the voice, a voice to
cells, or by ear alone. Each fact is remembered once for each way (see `recall`). All chance comes from the
`random.Random` that is passed in. How a question is put into words is in `companion.language.questions`.
"""

from __future__ import annotations

import itertools
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction

from companion.braille import needs_octave
from companion.braille import signs as S
from companion.course.facts import QUAVER, Fact, FactKind, fact, interval_steps, mirrored, octave_name, placed_name
from companion.course.rhythm import FEWEST_NOTES
from companion.course.tune_material import Group, Material, Pulse, make_group, note_fact, page_signs, pulse_of, shown_lines
from companion.errors import Trouble
from companion.match import move_kind
from companion.messages import _
from companion.tune import (
    STEPS,
    Bar,
    Barline,
    Direction,
    DirectionKind,
    Jump,
    Key,
    LineNote,
    Note,
    Pitch,
    ScoreDirection,
    Tune,
    direction_of,
    transpose,
)


class Way(StrEnum):
    """What is given and what is asked for. The values are those kept in the diary and written in stages."""

    BY_EAR = "by ear"
    EAR_TO_VOICE = "ear to voice"
    CELL_TO_NAME = "cell to name"
    NAME_TO_CELL = "name to cell"
    CELL_TO_VOICE = "cell to voice"
    VOICE_TO_CELL = "voice to cell"
    AT_SIGHT = "at sight"
    CELL_TO_HAND = "cell to hand"


class Wants(StrEnum):
    """The form of the answer to a question. The values are those of the JSON that programs read."""

    NAME = "name"
    CELLS = "cells"
    NUMBER = "number"
    PLACE = "place"  # of a note in a row, counted from 1
    CHOICE = "choice"  # of the cells shown, counted from 1
    DIRECTION = "direction"
    OCTAVE = "octave"
    YES_OR_NO = "yes or no"
    ROUTE = "route"  # the bars of a tune in the order in which they are sung, counted from 1
    SUNG = "sung"
    CLAPPED = "clapped"


class QuestionKind(StrEnum):
    """Kinds of question, in the order in which they are listed. The values are what is typed and written in stages."""

    HIGHER_OR_LOWER = "higher or lower"
    SING_THE_MOVE = "sing the move"
    NAME_THE_CELL = "name the cell"
    WRITE_THE_CELL = "write the cell"
    SING_THE_CELL = "sing the cell"
    WRITE_WHAT_YOU_HEAR = "write what you hear"
    READ_AND_SING = "read and sing"
    WHOLE_TUNE = "the whole tune"
    SING_AT_SIGHT = "sing at sight"
    WHICH_BAR = "which bar"
    HOW_OFTEN = "how often"
    WHERE_IT_TURNS = "where it turns"
    FIND_THE_WRONG_CELL = "find the wrong cell"
    SAY_THE_OCTAVE = "say the octave"
    MARK_OR_NO_MARK = "mark or no mark"
    HOW_MANY_BEATS = "how many beats"
    CLAP_THE_RHYTHM = "clap the rhythm"
    THINK_AND_SING = "think and sing"
    WHICH_WAY = "which way"
    OTHER_NOTE = "the other note"
    UPPER_OR_LOWER = "upper or lower"
    FROM_THE_BACK = "from the back"
    SING_FROM_ANOTHER = "sing from another note"

    @property
    def way(self) -> Way:
        return _FORMS[self][0]

    @property
    def wants(self) -> Wants:
        return _FORMS[self][1]


_FORMS: dict[QuestionKind, tuple[Way, Wants]] = {
    QuestionKind.HIGHER_OR_LOWER: (Way.BY_EAR, Wants.DIRECTION),
    QuestionKind.SING_THE_MOVE: (Way.EAR_TO_VOICE, Wants.SUNG),
    QuestionKind.NAME_THE_CELL: (Way.CELL_TO_NAME, Wants.NAME),
    QuestionKind.WRITE_THE_CELL: (Way.NAME_TO_CELL, Wants.CELLS),
    QuestionKind.SING_THE_CELL: (Way.CELL_TO_VOICE, Wants.SUNG),
    QuestionKind.WRITE_WHAT_YOU_HEAR: (Way.VOICE_TO_CELL, Wants.CELLS),
    QuestionKind.READ_AND_SING: (Way.CELL_TO_VOICE, Wants.SUNG),
    QuestionKind.WHOLE_TUNE: (Way.CELL_TO_VOICE, Wants.SUNG),
    QuestionKind.SING_AT_SIGHT: (Way.AT_SIGHT, Wants.SUNG),
    QuestionKind.WHICH_BAR: (Way.BY_EAR, Wants.CHOICE),
    QuestionKind.HOW_OFTEN: (Way.BY_EAR, Wants.NUMBER),
    QuestionKind.WHERE_IT_TURNS: (Way.BY_EAR, Wants.PLACE),
    QuestionKind.FIND_THE_WRONG_CELL: (Way.CELL_TO_NAME, Wants.PLACE),
    QuestionKind.SAY_THE_OCTAVE: (Way.CELL_TO_NAME, Wants.OCTAVE),
    QuestionKind.MARK_OR_NO_MARK: (Way.NAME_TO_CELL, Wants.YES_OR_NO),
    QuestionKind.HOW_MANY_BEATS: (Way.CELL_TO_NAME, Wants.NUMBER),
    QuestionKind.CLAP_THE_RHYTHM: (Way.CELL_TO_HAND, Wants.CLAPPED),
    QuestionKind.THINK_AND_SING: (Way.CELL_TO_VOICE, Wants.SUNG),
    QuestionKind.WHICH_WAY: (Way.CELL_TO_NAME, Wants.ROUTE),
    QuestionKind.OTHER_NOTE: (Way.CELL_TO_NAME, Wants.NAME),
    QuestionKind.UPPER_OR_LOWER: (Way.BY_EAR, Wants.DIRECTION),
    QuestionKind.FROM_THE_BACK: (Way.CELL_TO_NAME, Wants.NAME),
    QuestionKind.SING_FROM_ANOTHER: (Way.CELL_TO_VOICE, Wants.SUNG),
}
#: Questions in which nothing is read: their facts are only pitches to be sounded.
BY_EAR_ALONE = (QuestionKind.HIGHER_OR_LOWER, QuestionKind.SING_THE_MOVE, QuestionKind.WHERE_IT_TURNS)


class Order(StrEnum):
    """The order in which facts are asked. The values are what is typed and written in stages."""

    UP = "up"
    DOWN = "down"
    UP_AND_DOWN = "up and down"
    MIXED = "mixed"


USUAL_COUNT = 6
#: Answers that programs read, for a direction and for yes or no.
_DIRECTION_ANSWERS = {Direction.UP: "higher", Direction.DOWN: "lower", Direction.LEVEL: "same"}
_YES_ANSWERS = {True: "yes", False: "no"}
#: What is remembered under a name of its own, not under a fact, and the kind of question that asks for it.
COUNTING_A_NOTE, WHERE_IT_TURNS = "counting a note", QuestionKind.WHERE_IT_TURNS.value
WHEN_TO_MARK, COUNTING_BEATS = "when to mark", "counting beats"
THE_WAY, OTHER_NOTE, TWO_VOICES, FROM_THE_BACK, FROM_ANOTHER = "ways", "below intervals", "two voices", "slate", "other keys"
OWN_CARDS = {THE_WAY: QuestionKind.WHICH_WAY, OTHER_NOTE: QuestionKind.OTHER_NOTE, TWO_VOICES: QuestionKind.UPPER_OR_LOWER,
             FROM_THE_BACK: QuestionKind.FROM_THE_BACK, FROM_ANOTHER: QuestionKind.SING_FROM_ANOTHER,
             COUNTING_A_NOTE: QuestionKind.HOW_OFTEN, WHERE_IT_TURNS: QuestionKind.WHERE_IT_TURNS,
             WHEN_TO_MARK: QuestionKind.MARK_OR_NO_MARK, COUNTING_BEATS: QuestionKind.HOW_MANY_BEATS}
LENGTH_OF = "length of "  # then a fact: what is remembered of how long it is


@dataclass(frozen=True)
class Drill:
    """What a stage asks for: a kind, the facts it is about (of the tune's notes if none), order and count."""

    kind: QuestionKind
    facts: tuple[str, ...] = ()
    order: Order = Order.MIXED
    count: int = USUAL_COUNT

    @property
    def way(self) -> Way:
        return self.kind.way


@dataclass(frozen=True)
class Item:
    """One question and its right answer.

    cells: what is shown (Unicode, "" for nothing; several lines are parted by newlines). first: MIDI number of the note that
    is sounded first, None for none. played: a line that is sounded; below: another, sounded with it. sung: the line to be
    sung or clapped. about: names of the facts it is about; cards: what is remembered by it. choices: the cells of each.
    title: of the tune to be sung whole. group: the bar it is made from. bars: of a whole tune, the number and the cells of
    each. pulse: the beat that is counted in, None for none. known: the signs that the pupil has met, so that nothing else is
    named in an answer; None for all.

    The right answer, by what is wanted: fact (NAME, OCTAVE), to_write (CELLS), direction (DIRECTION, and the move to
    be sung), number (NUMBER, PLACE, CHOICE), needs_mark (YES_OR_NO), route (ROUTE), sung (SUNG, CLAPPED).
    """

    kind: QuestionKind
    cells: str = ""
    first: int | None = None
    played: tuple[LineNote, ...] = ()
    sung: tuple[LineNote, ...] = ()
    about: tuple[str, ...] = ()
    cards: tuple[str, ...] = ()
    signs: frozenset[str] = frozenset()
    choices: tuple[str, ...] = ()
    title: str = ""
    group: Group | None = None
    bars: tuple[tuple[int, str], ...] = ()
    pulse: Pulse | None = None
    known: frozenset[str] | None = None
    fact: Fact | None = None
    to_write: str = ""
    direction: Direction | None = None
    number: Fraction = Fraction(0)
    needs_mark: bool = False
    route: tuple[int, ...] = ()
    below: tuple[LineNote, ...] = ()

    @property
    def way(self) -> Way:
        return self.kind.way

    @property
    def wants(self) -> Wants:
        return self.kind.wants

    @property
    def wanted_fact(self) -> Fact:
        """The fact that is asked for or about; only of questions that have one."""
        assert self.fact is not None
        return self.fact

    @property
    def wanted_direction(self) -> Direction:
        """Which way the second note lies; only of questions about a move by ear."""
        assert self.direction is not None
        return self.direction

    @property
    def answer(self) -> str:
        """The right answer as programs read it: a name of a fact, cells, a number, "higher", "yes"; "" for a line
        that is sung."""
        if self.wants is Wants.CELLS:
            return self.to_write
        if self.direction is not None:
            return _DIRECTION_ANSWERS[self.direction]
        if self.wants is Wants.ROUTE:
            return " ".join(map(str, self.route))
        if self.wants is Wants.YES_OR_NO:
            return _YES_ANSWERS[self.needs_mark]
        if self.wants in (Wants.NUMBER, Wants.PLACE, Wants.CHOICE):
            return f"{float(self.number):g}"
        return self.fact.name if self.fact is not None else ""


def shown_besides(item: Item) -> frozenset[str]:
    """What a right answer has shown besides what it is remembered for: who reads a bar and sings it has read its notes, and
    sung and heard its moves; who writes a bar down has heard its moves and written its notes."""
    moves = [move_kind(b.midi - a.midi) for a, b in itertools.pairwise(item.sung or item.played)]
    if item.kind is QuestionKind.WRITE_WHAT_YOU_HEAR and item.group is not None:
        names = [card(note_fact(n), Way.NAME_TO_CELL) for n in item.group.notes if n.pitch]
        return frozenset([*names, *(card(m, Way.BY_EAR) for m in moves)])
    if item.wants is not Wants.SUNG:
        return frozenset()
    ways = (Way.BY_EAR, Way.EAR_TO_VOICE, *((Way.CELL_TO_VOICE,) if item.cells else ()))
    read = [n.pitch.step for n in item.sung] if item.cells else []
    return frozenset([*(card(m, way) for m in moves for way in ways), *(card(n, Way.CELL_TO_VOICE) for n in read)])


def smaller(item: Item, rng: random.Random) -> Item | None:
    """A part of a question that was missed twice: one note of a bar, or a note without its length; None of the smallest."""
    if item.group is not None:
        notes = [n for n in item.group.notes if n.pitch and not n.grace]
        return name_cell(fact(note_fact(rng.choice(notes)))) if notes else None
    f = item.fact
    if f is None or not f.is_note or item.kind is QuestionKind.SING_THE_CELL or f.name == f.step:
        return None
    return write_cell(fact(f.step)) if item.wants is Wants.CELLS else name_cell(fact(f.step))


#: Seconds that a question of a kind takes a beginner, from its first word to the end of what is said back: counted from the
#: words that are spoken (150 a minute) and the notes that are sounded, with a breath to think.
_SECONDS = {
    QuestionKind.HIGHER_OR_LOWER: 10, QuestionKind.SING_THE_MOVE: 12, QuestionKind.NAME_THE_CELL: 8,
    QuestionKind.WRITE_THE_CELL: 10, QuestionKind.SING_THE_CELL: 14, QuestionKind.WRITE_WHAT_YOU_HEAR: 25,
    QuestionKind.READ_AND_SING: 15, QuestionKind.WHOLE_TUNE: 30,
    QuestionKind.SING_AT_SIGHT: 20, QuestionKind.WHICH_BAR: 20, QuestionKind.HOW_OFTEN: 15,
    QuestionKind.WHERE_IT_TURNS: 15, QuestionKind.FIND_THE_WRONG_CELL: 20, QuestionKind.SAY_THE_OCTAVE: 8,
    QuestionKind.MARK_OR_NO_MARK: 14, QuestionKind.HOW_MANY_BEATS: 8, QuestionKind.CLAP_THE_RHYTHM: 15,
    QuestionKind.THINK_AND_SING: 18, QuestionKind.WHICH_WAY: 30, QuestionKind.OTHER_NOTE: 14, QuestionKind.UPPER_OR_LOWER: 20,
    QuestionKind.FROM_THE_BACK: 12, QuestionKind.SING_FROM_ANOTHER: 18,
}
_SECONDS_A_NOTE = 1.5  # that is read, heard or sung


def seconds_of(item: Item) -> float:
    """About how many seconds a question takes."""
    return _SECONDS[item.kind] + _SECONDS_A_NOTE * (len(item.sung) + len(item.played) + sum(map(len, item.choices)) / 2)


QUARTER_S, QUICK_QUARTER_S = 0.6, 1.0  # seconds a crotchet: a calm step; a slow one, where notes are quicker than quavers
QUAVERS_S = 1.1  # where all is quavers: learners' notes last half a second each


def pace_of(item: Item) -> float:
    """Seconds a crotchet at which a question is counted in, sounded and clapped."""
    values = {n.quarters for n in (*item.played, *item.sung)}
    if item.pulse is None and values and max(values) <= QUAVER:
        return QUAVERS_S
    return QUICK_QUARTER_S if values and min(values) < QUAVER * Fraction(2, 3) else QUARTER_S


@dataclass(frozen=True)
class TuneToHear:
    """The tune of a stage, to be sounded; not a question. names_known: whether names of notes have been taught."""

    title: str
    line: tuple[LineNote, ...]
    names_known: bool = True


def heard_tune(material: Material, by_ear: bool = False) -> TuneToHear:
    """The tune of a stage, to be sounded. by_ear: nobody knows names of notes yet."""
    return TuneToHear(material.tune.title, material.tune.line(), not by_ear)


def card(about: str, way: Way) -> str:
    """The name of what is remembered: a fact and a way."""
    return f"{about} | {way}"


def split_card(name: str) -> tuple[str, Way | None]:
    """The fact and the way of what is remembered; None for a way that there is not."""
    about, _unused, way = name.partition(" | ")
    return about, next((w for w in Way if w == way), None)


def line_of(pitches: Sequence[Pitch], base: Fraction = Fraction(1)) -> tuple[LineNote, ...]:
    """Pitches as a line to be sounded or sung, each `base` crotchets long."""
    return Tune("", (Bar(number=1, notes=tuple(Note(pitch=p, base=base) for p in pitches)),),
                phrase_starts=()).line()


def question_kind(name: str) -> QuestionKind:
    """A kind of question by its name. Raises Trouble for one that there is not."""
    try:
        return QuestionKind(name)
    except ValueError:
        raise Trouble(_("There is no drill {kind!r}. There are: {kinds}.").format(
                            kind=name, kinds=', '.join(QuestionKind))) from None


def make(drill: Drill, material: Material | None, rng: random.Random) -> list[Item]:
    """The questions of one drill, at most `drill.count`; none where the tune has nothing for this kind.

    Raises Trouble for a kind that needs a tune where none is given.
    """
    if material is None and not drill.facts:
        raise Trouble(_("The drill {kind!r} needs a tune or facts to be made from; name one.").format(
                            kind=str(drill.kind)))
    items = _MAKERS[drill.kind](drill, material, rng)
    return items[:drill.count]


def check_count(count: int) -> None:
    """Raises Trouble for a number of questions that no sitting has."""
    if not 1 <= count <= MOST_QUESTIONS:
        raise Trouble(_("The count was {count}; give 1 to {most}.").format(count=count, most=MOST_QUESTIONS))


def drill_items(kind: QuestionKind, material: Material | None, facts: Sequence[str] = (), order: Order = Order.MIXED,
                count: int = USUAL_COUNT, seed: int | None = None) -> list[Item]:
    """The questions of a single drill. Raises Trouble where there is nothing to ask, or a name is no fact's."""
    for name in facts:
        try:
            fact(name)
        except (KeyError, ValueError):
            raise Trouble(_("{name!r} names no note or sign. Notes are named C or C crotchet, signs sharp or tie; "
                            "companion sheet key lists them.").format(name=name)) from None
    check_count(count)
    items = make(Drill(kind, tuple(facts), order, count), material, random.Random(seed))
    if not items:
        raise Trouble(_("There is nothing in this tune for the drill {kind!r}; choose another tune or drill.").format(
                            kind=str(kind)))
    return items


MOST_QUESTIONS = 100  # of a single drill


def _ordered(names: Sequence[str], drill: Drill, rng: random.Random) -> list[str]:
    """Names in the drill's order, again and again until there are enough; none of none."""
    up = list(names)
    if not up:
        return []
    if drill.order is Order.UP:
        return [up[i % len(up)] for i in range(drill.count)]
    if drill.order is Order.DOWN:
        return [up[::-1][i % len(up)] for i in range(drill.count)]
    if drill.order is Order.UP_AND_DOWN:
        there = [*up, *up[-2::-1]]
        return [there[i % len(there)] for i in range(max(drill.count, 1))]
    out: list[str] = []
    while len(out) < drill.count:
        some = rng.sample(up, len(up))
        if out and len(some) > 1 and some[0] == out[-1]:
            some.append(some.pop(0))  # the same fact twice running tells its answer away
        out += some
    return out[:drill.count]


def _facts(drill: Drill, material: Material | None) -> tuple[str, ...]:
    return drill.facts or (material.note_facts if material else ())


def _placed(drill: Drill, material: Material | None) -> list[Pitch]:
    """Pitches for what is heard: those of the drill's facts ("C", "C, fifth octave"), else the tune's."""
    if not drill.facts:
        return list(material.pitches) if material else []
    return [Pitch(f.step, f.number if f.kind is FactKind.PLACED else 4) for f in map(fact, drill.facts) if f.is_note]


def _directions(drill: Drill, rng: random.Random) -> list[Direction]:
    """All three directions in turn, mixed."""
    wanted = ([Direction.UP, Direction.DOWN, Direction.LEVEL] * drill.count)[:drill.count]
    rng.shuffle(wanted)
    return wanted


def _higher_or_lower(drill: Drill, material: Material | None, rng: random.Random) -> list[Item]:
    pitches = _placed(drill, material)
    return [heard_move(*_pair(pitches, w, rng)) for w in _directions(drill, rng)] if pitches else []


def _pair(pitches: Sequence[Pitch], way: Direction, rng: random.Random) -> tuple[Pitch, Pitch]:
    """Two pitches of which the second lies that way."""
    pairs = [(a, b) for a in pitches for b in pitches if direction_of(b.midi - a.midi) == way]
    return rng.choice(pairs) if pairs else (pitches[0], pitches[0])


def heard_move(a: Pitch, b: Pitch) -> Item:
    """Two notes are sounded: is the second higher, lower or the same?"""
    name = move_kind(b.midi - a.midi)
    return Item(QuestionKind.HIGHER_OR_LOWER, direction=direction_of(b.midi - a.midi), played=line_of([a, b]),
                about=(name,), cards=(card(name, Way.BY_EAR),))


def _sing_move(drill: Drill, material: Material | None, rng: random.Random) -> list[Item]:
    pitches = _placed(drill, material)
    return [sung_move(*_pair(pitches, w, rng)) for w in _directions(drill, rng)] if pitches else []


def sung_move(a: Pitch, b: Pitch) -> Item:
    """A note is sounded: sing it, then a higher, a lower or the same one."""
    name = move_kind(b.midi - a.midi)
    return Item(QuestionKind.SING_THE_MOVE, direction=direction_of(b.midi - a.midi), first=a.midi,
                sung=line_of([a, b]), about=(name,), cards=(card(name, Way.EAR_TO_VOICE),))


def _name_cell(drill: Drill, material: Material | None, rng: random.Random) -> list[Item]:
    return [name_cell(fact(n)) for n in _ordered(_facts(drill, material), drill, rng)]


def name_cell(f: Fact) -> Item:
    """A cell is shown: which note, or what does it say?"""
    return Item(QuestionKind.NAME_THE_CELL, fact=f, cells=f.cells, about=(f.name,),
                cards=(card(f.name, Way.CELL_TO_NAME),), signs=f.signs)


def _write_cell(drill: Drill, material: Material | None, rng: random.Random) -> list[Item]:
    return [write_cell(fact(n)) for n in _ordered(_facts(drill, material), drill, rng)]


def write_cell(f: Fact) -> Item:
    """A name is said: write its cell."""
    return Item(QuestionKind.WRITE_THE_CELL, fact=f, to_write=f.cells, about=(f.name,),
                cards=(card(f.name, Way.NAME_TO_CELL),), signs=f.signs)


def _sing_cell(drill: Drill, material: Material | None, rng: random.Random) -> list[Item]:
    names = [n for n in _facts(drill, material) if fact(n).is_note]
    places = dict(zip(names, _placed(replace(drill, facts=tuple(names)), None), strict=True))
    out = []
    before: str | None = None
    for name in _ordered(names, drill, rng):
        start = before if before is not None and before != name else rng.choice([n for n in names if n != name]
                                                                               or names)
        out.append(sing_cell(start, name, places[start], places[name]))
        before = name
    return out


def sing_cell(start: str, name: str, a: Pitch, b: Pitch) -> Item:
    """Two cells are shown, the first note is sounded: sing both."""
    first, second = fact(start), fact(name)
    cells = first.cells + second.cells
    if second.kind is FactKind.PLACED and not needs_octave(a, b):
        cells = first.cells + second.cells[len(S.OCTAVES[b.octave]):]  # a mark only where the rule wants one
    return Item(QuestionKind.SING_THE_CELL, fact=second, cells=cells, first=a.midi, sung=line_of([a, b]),
                about=(name,), signs=first.signs | second.signs,
                cards=(card(name, Way.CELL_TO_VOICE), card(move_kind(b.midi - a.midi), Way.CELL_TO_VOICE)))


def _needed(material: Material | None) -> Material:
    if material is None:
        raise Trouble(_("This drill is made from a tune; name one with --tune."))
    return material


def _groups(material: Material | None, least: int = 2) -> list[Group]:
    """The bars of a tune with at least so many notes, each different one once."""
    seen: dict[str, Group] = {}
    for g in _needed(material).groups:
        if len(g.line) >= least:
            seen.setdefault(g.cells, g)
    return list(seen.values())


def _cycle(groups: Sequence[Group], drill: Drill, rng: random.Random) -> list[Group]:
    if not groups:
        return []
    if drill.order is Order.MIXED:
        return list(itertools.islice(itertools.cycle(rng.sample(groups, len(groups))), drill.count))
    some = list(groups) if drill.order is not Order.DOWN else list(groups)[::-1]
    return list(itertools.islice(itertools.cycle(some), drill.count))


def _read_and_sing(drill: Drill, material: Material | None, rng: random.Random) -> list[Item]:
    return [read_and_sing(g) for g in _cycle(_groups(material), drill, rng)]


def read_and_sing(g: Group) -> Item:
    """A bar is read silently; its first note is sounded, then it is sung."""
    return Item(QuestionKind.READ_AND_SING, cells=g.page, first=g.line[0].midi, sung=g.line,
                about=(g.name,), cards=(card(g.name, Way.CELL_TO_VOICE),), signs=g.signs, group=g, pulse=g.pulse)


def _at_sight(drill: Drill, material: Material | None, rng: random.Random) -> list[Item]:
    """The longest bars that there are: those of a tune made for it, or of any tune."""
    groups = sorted(_groups(material), key=lambda g: -len(g.line))[:drill.count]
    return [replace(read_and_sing(g), kind=QuestionKind.SING_AT_SIGHT, cards=(card(g.name, Way.AT_SIGHT),)) for g in groups]


def _whole(drill: Drill, material: Material | None, rng: random.Random) -> list[Item]:
    return [whole_tune(_needed(material))] * drill.count


def whole_card(material: Material) -> str:
    """What is remembered of a whole tune."""
    return f"{material.name} whole"


def whole_tune(material: Material) -> Item:
    """A whole tune is read from its sheet, then sung with nothing sounded but its first note."""
    line = material.shown.line()
    return Item(QuestionKind.WHOLE_TUNE, title=material.tune.title, cells="\n".join(material.lines()),
                first=line[0].midi, sung=line, about=(material.name,),
                cards=(card(whole_card(material), Way.CELL_TO_VOICE),), signs=material.signs,
                pulse=pulse_of(material.shown, material.leave_out),
                bars=tuple((g.bar, g.with_key if i == 0 else g.cells) for i, g in enumerate(material.groups)))


def _take_down(drill: Drill, material: Material | None, rng: random.Random) -> list[Item]:
    return [Item(QuestionKind.WRITE_WHAT_YOU_HEAR, to_write=g.cells, first=g.line[0].midi, played=g.line,
                 about=(g.name,), cards=(card(g.name, Way.VOICE_TO_CELL),), signs=g.signs, group=g, pulse=g.pulse)
            for g in _cycle([g for g in _groups(material) if not g.ends_in_silence], drill, rng)]


def _which_bar(drill: Drill, material: Material | None, rng: random.Random) -> list[Item]:
    groups = _groups(material)
    out = []
    for g in _cycle(groups, drill, rng) if len(groups) > 1 else []:
        # The other bar is the one most like it that sounds different.
        others = [o for o in groups if _sounds(o) != _sounds(g)]
        if not others:
            continue
        other = min(others, key=lambda o: (abs(len(o.line) - len(g.line)), rng.random()))
        pair = [g, other]
        rng.shuffle(pair)
        out.append(Item(QuestionKind.WHICH_BAR, number=Fraction(pair.index(g) + 1), played=g.line, about=(g.name,),
                        cards=(card(g.name, Way.BY_EAR),), signs=g.signs | other.signs,
                        choices=(pair[0].with_key, pair[1].with_key), group=g, pulse=g.pulse))
    return out


def _sounds(g: Group) -> list[tuple[int, Fraction]]:
    return [(n.midi, n.quarters) for n in g.line]


def _how_often(drill: Drill, material: Material | None, rng: random.Random) -> list[Item]:
    out = []
    for g in _cycle(_groups(material, 3), drill, rng):
        note = rng.choice(g.line)
        count = sum(n.midi == note.midi for n in g.line)
        out.append(Item(QuestionKind.HOW_OFTEN, number=Fraction(count), first=note.midi, played=g.line,
                        about=(g.name,), cards=(card(COUNTING_A_NOTE, Way.BY_EAR),),
                        signs=frozenset({note.pitch.step}), group=g))
    return out


def _where_it_turns(drill: Drill, material: Material | None, rng: random.Random) -> list[Item]:
    pitches = _placed(drill, material)
    out = []
    for _unused in range(drill.count if len(pitches) > 2 else 0):
        up = rng.random() < 0.5
        row = pitches if up else pitches[::-1]
        top = rng.randint(1, min(len(row) - 1, 4))
        start = rng.randint(0, len(row) - 1 - top)
        there = row[start:start + top + 1]
        back = there[-2::-1][:rng.randint(1, max(1, min(top, 3)))]
        out.append(Item(QuestionKind.WHERE_IT_TURNS, number=Fraction(top + 1), played=line_of([*there, *back]),
                        about=(WHERE_IT_TURNS,), cards=(card(WHERE_IT_TURNS, Way.BY_EAR),)))
    return out


def _wrong_cell(drill: Drill, material: Material | None, rng: random.Random) -> list[Item]:
    out = []
    for g in _cycle(_groups(material, 3), drill, rng):
        spoilt = spoil(g, _needed(material).pitches, rng)
        if spoilt is None:
            continue
        other, place = spoilt
        out.append(Item(QuestionKind.FIND_THE_WRONG_CELL, number=Fraction(place), cells=other.with_key, played=g.line,
                        about=(g.name,), cards=(card(g.name, Way.CELL_TO_NAME),), signs=g.signs, group=g, pulse=g.pulse))
    return out


def spoil(g: Group, pitches: Sequence[Pitch], rng: random.Random) -> tuple[Group, int] | None:
    """A bar with one note a step off, and which note (from 1); None where none can be. pitches: that may stand there."""
    written = [(i, k) for i, bar in enumerate(g.piece.bars) for k, n in enumerate(bar.notes) if n.pitch and not n.grace]
    # A tied note and its second half are one, and what is sung again is written once.
    places = [p for p, (i, k) in enumerate(written) if not g.piece.bars[i].notes[k].tie
              and not (k and g.piece.bars[i].notes[k - 1].tie)] if len(written) == len(g.line) else []
    rng.shuffle(places)
    for place in places:
        i, k = written[place]
        pitch = g.piece.bars[i].notes[k].pitch
        near = [p for p in pitches if pitch and abs(p.diatonic - pitch.diatonic) == 1 and p.octave == pitch.octave]
        rng.shuffle(near)
        for p in near:
            other = _with_pitch(g, i, k, p)
            if other.signs <= g.signs | {p.step} and other.cells != g.cells:
                return other, place + 1
    return None


def _with_pitch(g: Group, bar: int, note: int, pitch: Pitch) -> Group:
    """The same with another pitch at one note."""
    notes = tuple(replace(n, pitch=pitch) if k == note else n for k, n in enumerate(g.piece.bars[bar].notes))
    bars = tuple(replace(b, notes=notes) if i == bar else b for i, b in enumerate(g.piece.bars))
    return make_group(g.name, replace(g.piece, bars=bars), g.leave_out)


def _say_octave(drill: Drill, material: Material | None, rng: random.Random) -> list[Item]:
    names = [n for n in drill.facts if fact(n).kind is FactKind.PLACED]
    if not names and material is not None:
        names = [placed_name(p.step, p.octave) for p in material.pitches if not p.alter]
    return [say_octave(fact(n)) for n in _ordered(names, drill, rng)]


def say_octave(f: Fact) -> Item:
    """A note is shown with its octave mark: which octave?"""
    mark = fact(octave_name(f.number))
    return Item(QuestionKind.SAY_THE_OCTAVE, fact=mark, cells=f.cells, about=(mark.name,),
                cards=(card(mark.name, Way.CELL_TO_NAME),), signs=f.signs)


def _mark(drill: Drill, material: Material | None, rng: random.Random) -> list[Item]:
    pitches = _placed(drill, material)
    pairs = [(a, b) for a in pitches for b in pitches if abs(a.diatonic - b.diatonic) >= 2]
    yes = [p for p in pairs if needs_octave(*p)]
    no = [p for p in pairs if not needs_octave(*p)]
    rng.shuffle(yes)
    rng.shuffle(no)
    some = [p for pair in itertools.zip_longest(yes, no) for p in pair if p is not None][:drill.count]
    rng.shuffle(some)
    return [Item(QuestionKind.MARK_OR_NO_MARK, needs_mark=needs_octave(a, b), about=(WHEN_TO_MARK,),
                 played=line_of([a, b]), cards=(card(WHEN_TO_MARK, Way.NAME_TO_CELL),),
                 signs=frozenset({a.step, b.step, octave_name(a.octave), octave_name(b.octave)}))
            for a, b in some]


def _beats(drill: Drill, material: Material | None, rng: random.Random) -> list[Item]:
    if drill.facts:
        return [beats_of(fact(n)) for n in _ordered(drill.facts, drill, rng)]
    return [Item(QuestionKind.HOW_MANY_BEATS, number=g.quarters, cells=g.cells, about=(g.name,),
                 cards=(card(COUNTING_BEATS, Way.CELL_TO_NAME),), signs=g.signs, group=g)
            for g in _cycle([g for g in _groups(material, 1) if len(g.piece.bars) == 1], drill, rng)]


def beats_of(f: Fact) -> Item:
    """How many crotchets long a note or rest is."""
    return Item(QuestionKind.HOW_MANY_BEATS, fact=f, number=f.quarters, cells=f.cells, about=(f.name,),
                cards=(card(f"{LENGTH_OF}{f.name}", Way.CELL_TO_NAME),), signs=f.signs)


# --- rhythm, inner hearing, two voices, ways through a tune ---

def _clap(drill: Drill, material: Material | None, rng: random.Random) -> list[Item]:
    groups = [g for g in _groups(material, FEWEST_NOTES) if g.pulse]
    # Where all notes are as long as the next there is little to be read.
    varied = [g for g in groups if len({n.quarters + n.rest_after for n in g.line[:-1]}) > 1]
    return [clap_the_rhythm(g) for g in _cycle(varied or groups, drill, rng)]


def clap_the_rhythm(g: Group) -> Item:
    """A bar is read in silence; a bar is counted in, then its rhythm is clapped over a soft beat."""
    return Item(QuestionKind.CLAP_THE_RHYTHM, cells=g.page, sung=g.line, about=(g.name,),
                cards=(card(g.name, Way.CELL_TO_HAND),), signs=g.signs, group=g, pulse=g.pulse)


FEWEST_THOUGHT, SUNG_FIRST = 4, 2  # notes of a line that is thought in part; those that are sung before


def _think(drill: Drill, material: Material | None, rng: random.Random) -> list[Item]:
    return [think_and_sing(g) for g in _cycle(_groups(material, FEWEST_THOUGHT), drill, rng)]


def think_and_sing(g: Group) -> Item:
    """The first two notes of a line are sung, those after them only thought, and the last one sung."""
    *first, before = g.line[:SUNG_FIRST]
    last = g.line[-1]
    thought = last.onset_quarters - before.onset_quarters - before.quarters
    sung = (*first, replace(before, rest_after=thought), replace(last, number=before.number + 1))
    return Item(QuestionKind.THINK_AND_SING, cells=g.page, first=g.line[0].midi, sung=sung, about=(g.name,),
                cards=(card(g.name, Way.CELL_TO_VOICE),), signs=g.signs, group=g, pulse=g.pulse)


KEYS_APART = (-5, -4, -3, 3, 4, 5)  # semitones to the note that a line is begun on instead: far enough to be told


def _from_another(drill: Drill, material: Material | None, rng: random.Random) -> list[Item]:
    return [sing_from_another(g, rng.choice(KEYS_APART)) for g in _cycle(_groups(material), drill, rng)]


def sing_from_another(g: Group, semitones: int) -> Item:
    """A bar is read; another note than its first is sounded, and the bar is sung from there."""
    line = transpose(g.piece, semitones).line()
    return Item(QuestionKind.SING_FROM_ANOTHER, cells=g.page, first=line[0].midi, sung=line, about=(FROM_ANOTHER,),
                cards=(card(FROM_ANOTHER, Way.CELL_TO_VOICE),), signs=g.signs, group=g, pulse=g.pulse)


def _upper_or_lower(drill: Drill, material: Material | None, rng: random.Random) -> list[Item]:
    moving = [g for g in _groups(material, 3) if len({n.midi for n in g.line}) > 1]
    return [upper_or_lower(g, rng.random() < 0.5) for g in _cycle(moving, drill, rng)]


APART = 5  # letters between the lowest note of the upper voice and the highest of the lower one: they never cross


def upper_or_lower(g: Group, upper: bool) -> Item:
    """A bar is read, then heard with a second voice that goes the other way: is the one that was read the upper or the
    lower one?"""
    key, places = g.piece.key, [n.pitch.diatonic for n in g.line]
    turned = [-p for p in places]
    by = min(places) - max(turned) - APART if upper else max(places) - min(turned) + APART
    other = tuple(replace(n, pitch=_on_letter(t + by, key)) for n, t in zip(g.line, turned, strict=True))
    return Item(QuestionKind.UPPER_OR_LOWER, cells=g.with_key, direction=Direction.UP if upper else Direction.DOWN,
                played=g.line if upper else other, below=other if upper else g.line, about=(TWO_VOICES,),
                cards=(card(TWO_VOICES, Way.BY_EAR),), signs=g.signs, group=g, pulse=g.pulse)


def _on_letter(diatonic: int, key: Key) -> Pitch:
    """The pitch of a key at so many letters above C0."""
    octave, step = divmod(diatonic, len(STEPS))
    return Pitch(STEPS[step], octave, key.alter(STEPS[step]))


def _other_note(drill: Drill, material: Material | None, rng: random.Random) -> list[Item]:
    facts = [fact(n) for n in drill.facts]
    notes = [f for f in facts if f.kind is FactKind.PLACED]
    intervals = [f for f in facts if interval_steps(f)]
    pairs = [(n, i) for n in notes for i in intervals]
    some = itertools.cycle(rng.sample(pairs, len(pairs)))
    return [other_note(n, i) for n, i in itertools.islice(some, drill.count if pairs else 0)]


def other_note(written: Fact, interval: Fact) -> Item:
    """A note is shown with the sign of an interval after it: which note sounds below it?"""
    below = Pitch(written.step, written.number).diatonic - interval_steps(interval) + 1
    f = fact(STEPS[below % len(STEPS)])
    return Item(QuestionKind.OTHER_NOTE, fact=f, cells=written.cells + interval.cells, about=(OTHER_NOTE,),
                cards=(card(OTHER_NOTE, Way.CELL_TO_NAME),), signs=written.signs | interval.signs)


def _from_the_back(drill: Drill, material: Material | None, rng: random.Random) -> list[Item]:
    # Notes alone are asked for, and of one cell: an octave mark before a note would lie after it.
    return [from_the_back(f) for f in map(fact, _ordered(_facts(drill, material), drill, rng)) if f.step and len(f.cells) == 1]


def from_the_back(f: Fact) -> Item:
    """A cell is shown as it lies on a slate, from the back: which note is it?"""
    return Item(QuestionKind.FROM_THE_BACK, fact=f, cells=mirrored(f.cells), about=(FROM_THE_BACK,),
                cards=(card(FROM_THE_BACK, Way.CELL_TO_NAME),), signs=f.signs)


ROUTE_BARS = (3, 4, 5)
#: Kinds that are what their stage brings, whatever signs stand in them.
NEW_IN_THEMSELVES = (QuestionKind.WHICH_WAY, QuestionKind.OTHER_NOTE, QuestionKind.UPPER_OR_LOWER, QuestionKind.FROM_THE_BACK,
                     QuestionKind.SING_FROM_ANOTHER)


def _which_way(drill: Drill, material: Material | None, rng: random.Random) -> list[Item]:
    m = _needed(material)
    known = m.known if m.known is not None else m.signs
    bars = [replace(b, forward_repeat=False, backward_repeat=0, ending=(), ending_stop=False, barline=Barline.PLAIN, after=(),
                    key=None, time=None, notes=tuple(replace(n, before=(), tie=False, syllables=()) for n in b.notes))
            for g in m.groups for b in g.piece.bars if any(n.pitch for n in b.notes)]
    bars = list({tuple(n.pitch for n in b.notes): b for b in bars}.values())
    ways = [w for w in Route if w.signs <= known]
    out = []
    for n in range(drill.count if len(bars) >= ROUTE_BARS[0] and ways else 0):
        some = rng.sample(bars, min(len(bars), rng.choice(ROUTE_BARS)))
        # What was taught last comes every other time.
        out.append(which_way(some, ways[-1] if n % 2 == 0 else ways[n // 2 % len(ways)], m, rng))
    return out


class Route(StrEnum):
    """Ways through a tune."""

    REPEATED = "repeated"  # from the beginning
    FROM_HERE = "from here"  # from a sign
    ENDINGS = "endings"
    TO_THE_END_WORD = "da capo"  # from the beginning to "fine"
    FROM_THE_SIGN = "dal segno"  # the same from the segno

    @property
    def signs(self) -> frozenset[str]:
        """The signs that show it."""
        back, from_here = S.sign_of(S.Role.BACKWARD).name, S.sign_of(S.Role.FORWARD).name
        words = S.sign_of(S.Role.WORD_SIGN).name
        return frozenset({Route.REPEATED: (back,), Route.FROM_HERE: (from_here, back), Route.ENDINGS: ("ending", back),
                          Route.TO_THE_END_WORD: (words,), Route.FROM_THE_SIGN: (words, Jump.SEGNO.value)}[self])


def which_way(bars: Sequence[Bar], route: Route, m: Material, rng: random.Random) -> Item:
    """Some bars with signs that send the reader back: in which order are they sung? bars: at least three, all different."""
    some = [replace(b, number=n) for n, b in enumerate(bars, 1)]
    middle = rng.randrange(1, len(some) - 1)

    def jump(kind: Jump) -> tuple[ScoreDirection, ...]:
        return (ScoreDirection(DirectionKind.JUMP, kind.value),)

    if route is Route.REPEATED:
        some[middle] = replace(some[middle], backward_repeat=2)
    elif route is Route.FROM_HERE:
        some[middle] = replace(some[middle], forward_repeat=True)
        some[-1] = replace(some[-1], backward_repeat=2)
    elif route is Route.ENDINGS:
        some[-2] = replace(some[-2], ending=(1,), ending_stop=True, backward_repeat=2)
        some[-1] = replace(some[-1], ending=(2,), ending_stop=True)
    else:
        back = Jump.DA_CAPO_AL_FINE if route is Route.TO_THE_END_WORD else Jump.DAL_SEGNO_AL_FINE
        if route is Route.FROM_THE_SIGN:
            sign = rng.randrange(middle + 1)
            first, *rest = some[sign].notes
            some[sign] = replace(some[sign], notes=(replace(first, before=jump(Jump.SEGNO)), *rest))
        some[middle] = replace(some[middle], after=jump(Jump.FINE))
        some[-1] = replace(some[-1], after=jump(back))
    some[0] = replace(some[0], key=m.shown.key, time=m.shown.time)
    some[-1] = replace(some[-1], barline=Barline.FINAL if not some[-1].backward_repeat else Barline.PLAIN)
    tune = Tune("", tuple(some), phrase_starts=())
    left_out = m.leave_out | {"words", "bar repeats"}
    return Item(QuestionKind.WHICH_WAY, cells="\n".join(shown_lines(tune, left_out)), route=visited(tune), about=(THE_WAY,),
                cards=(card(THE_WAY, Way.CELL_TO_NAME),), signs=page_signs(tune, left_out))


def visited(tune: Tune) -> tuple[int, ...]:
    """The numbers of the bars in the order in which they are sung."""
    out: list[int] = []
    before = (-1, -1)
    for note in tune.line():
        bar, place = note.sources[0]
        if bar != before[0] or place <= before[1]:
            out.append(tune.bars[bar].number)
        before = (bar, place)
    return tuple(out)


_MAKERS: dict[QuestionKind, Callable[[Drill, Material | None, random.Random], list[Item]]] = {
    QuestionKind.HIGHER_OR_LOWER: _higher_or_lower, QuestionKind.SING_THE_MOVE: _sing_move,
    QuestionKind.NAME_THE_CELL: _name_cell, QuestionKind.WRITE_THE_CELL: _write_cell,
    QuestionKind.SING_THE_CELL: _sing_cell, QuestionKind.WRITE_WHAT_YOU_HEAR: _take_down,
    QuestionKind.READ_AND_SING: _read_and_sing, QuestionKind.WHOLE_TUNE: _whole, QuestionKind.SING_AT_SIGHT: _at_sight,
    QuestionKind.WHICH_BAR: _which_bar, QuestionKind.HOW_OFTEN: _how_often,
    QuestionKind.WHERE_IT_TURNS: _where_it_turns, QuestionKind.FIND_THE_WRONG_CELL: _wrong_cell,
    QuestionKind.SAY_THE_OCTAVE: _say_octave, QuestionKind.MARK_OR_NO_MARK: _mark,
    QuestionKind.HOW_MANY_BEATS: _beats, QuestionKind.CLAP_THE_RHYTHM: _clap, QuestionKind.THINK_AND_SING: _think,
    QuestionKind.WHICH_WAY: _which_way, QuestionKind.OTHER_NOTE: _other_note, QuestionKind.UPPER_OR_LOWER: _upper_or_lower,
    QuestionKind.FROM_THE_BACK: _from_the_back, QuestionKind.SING_FROM_ANOTHER: _from_another,
}
