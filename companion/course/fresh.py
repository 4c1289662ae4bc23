"""New bars for each sitting: the rhythms, words and signs of a stage's tune with other notes, never the last ones.

A bar that comes again is remembered and no longer read, so what is read, written and heard is made anew of the
signs that are known. All chance comes from the `random.Random` that is passed in.
"""

from __future__ import annotations

import itertools
import random
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from companion.course.facts import QUAVER
from companion.course.tune_material import Group, Material, make_group
from companion.tune import STEPS, Bar, Barline, Grace, Note, Pitch, Tune

EASIEST, HARDEST = 1, 4  # levels of difficulty
ROW_NOTES = {1: (3, 4), 2: (4, 5), 3: (5, 7), 4: (6, 8)}  # notes in a row without bars, by level
WIDEST = {1: 2, 2: 3, 3: 4, 4: 7}  # widest move, in letters, by level; never wider than the tune's own
LAST_ONES = 40  # bars that are never met again so soon
NARROWEST = 4  # letters from the lowest note to the highest, a fifth, which every voice has: a narrower tune is widened to it
TRIES = 40  # for one bar, before there is none
MOST_SAME = 2  # equal notes in a row
STEPWISE = 0.6  # share of moves to the next letter (half of the moves and more in folk tunes: Dowling 1978)


@dataclass(frozen=True)
class Wanted:
    """What a new bar should be like.

    known: the signs that may be in it. new: those of which it has at least one, where the tune has them at all. avoid:
    cells of bars that were met lately, oldest first. level: EASIEST to HARDEST.
    """

    known: frozenset[str]
    new: frozenset[str] = frozenset()
    avoid: Collection[str] = ()
    level: int = EASIEST


def fresh_material(m: Material, name: str, wanted: Wanted, count: int, rng: random.Random) -> Material:
    """So many new bars in the manner of a tune, each different, as material for drills, all under one name.

    Where all bars of a level have been met, they are longer; where those have been met too, they are met again, the last
    ones last. Fewer where the signs that are known allow no more; the tune itself where none can be made.
    """
    made: list[Tune] = []
    lately = list(wanted.avoid)
    source = _Source.of(m, wanted)
    for _unused in range(count):
        tries = [replace(wanted, avoid=frozenset(lately), level=level) for level in range(wanted.level, HARDEST + 1)]
        tries.append(replace(wanted, avoid=frozenset(lately[-LAST_ONES:]), level=HARDEST))
        group = next((g for w in tries if (g := fresh_group(m, name, w, rng, source)) is not None), None)
        if group is None:
            break
        lately.append(group.cells)
        made.append(group.piece)
    return replace(m, name=name, made=tuple(made), known=wanted.known) if made else m


def tune_at_sight(m: Material, name: str, wanted: Wanted, rng: random.Random) -> Material:
    """A longer tune in the manner of a tune, of bars that nobody has met, as material for drills; the tune itself where none
    can be made."""
    source, hardest = _Source.of(m, wanted), replace(wanted, level=HARDEST)
    for _unused in range(TRIES):
        parts = [g for _n in range(PARTS_AT_SIGHT) if (g := fresh_group(m, name, hardest, rng, source)) is not None]
        if len(parts) < PARTS_AT_SIGHT or any(b.backward_repeat or b.ending for g in parts for b in g.piece.bars):
            continue
        pitches = [n.pitch for g in parts for n in (g.line[0], g.line[-1])]
        joins = [abs(b.diatonic - a.diatonic) for a, b in itertools.pairwise(pitches)][1::2]
        group = make_group(name, _joined_pieces([g.piece for g in parts], "bars" in m.leave_out), m.leave_out)
        if max(joins) <= WIDEST_JOIN and group.signs <= wanted.known and group.cells not in wanted.avoid:
            return replace(m, name=name, made=(group.piece,))
    return m


PARTS_AT_SIGHT = 2
WIDEST_JOIN = 3  # letters between the parts of a tune, a fourth


def _joined_pieces(pieces: Sequence[Tune], in_rows: bool) -> Tune:
    """Small tunes as one; their notes in one row where no bars are shown."""
    bars = [b for piece in pieces for b in piece.bars]
    if in_rows:
        bars = [replace(bars[0], notes=tuple(n for b in bars for n in b.notes))]
    first, *rest = (replace(b, number=i, barline=Barline.PLAIN) for i, b in enumerate(bars, 1))
    return replace(pieces[0], bars=(first, *(replace(b, key=None, time=None) for b in rest)))


def fresh_group(m: Material, name: str, wanted: Wanted, rng: random.Random, source: _Source | None = None) -> Group | None:
    """One new bar or two, None where none was found. source: what they are made of, where it is known already."""
    source = source or _Source.of(m, wanted)
    there = wanted.new & (source.signs | MADE_HERE)
    target = rng.choice(sorted(there)) if there else ""  # one of them in turn, so that the rarer ones come too
    for n in range(TRIES if len(source.pitches) > 1 else 0):
        if there and n > TRIES / 2:
            target = rng.choice(sorted(there))
        bars = _bars(m, source, wanted, target, rng)
        if sum(n.pitch is not None for bar in bars for n in bar.notes) < FEWEST:
            continue
        piece = _with_notes(m, bars, source, wanted.level, rng, again=target == "bar repeated")
        if piece is None or len({n.pitch for bar in piece.bars for n in bar.notes if n.pitch}) < 2:
            continue
        group = make_group(name, piece, m.leave_out)
        if (group.cells not in wanted.avoid and group.signs <= wanted.known and len(group.line) >= FEWEST
                and (not target or target in group.signs)):
            return group
    return None


#: Signs that are put into a bar whatever the tune has.
MADE_HERE = frozenset({"tie", "final double bar", "bar repeated", "repeat to here"})
FEWEST = 3  # notes: with fewer there is nothing to be read but one move


def _bars(m: Material, source: _Source, wanted: Wanted, target: str, rng: random.Random) -> tuple[Bar, ...]:
    """The bars of a new piece, whose pitches come later."""
    if "values" not in m.leave_out:
        return _rhythm(m, source, wanted, target, rng)
    if "bars" in m.leave_out or "bar line" not in wanted.known:
        return (_row(rng.randint(*ROW_NOTES[wanted.level])),)
    first, second = _row(rng.randint(2, 2 + wanted.level)), _row(rng.randint(2, 2 + wanted.level))
    return (first, replace(second, number=2, barline=Barline.FINAL if target == "final double bar" else Barline.PLAIN))


@dataclass(frozen=True)
class _Source:
    """What new bars are made of. pitches: that may be used, lowest first. widest: move of the tune, in letters. beats: what
    fills one, or a few. signs: of the tune and of its bars."""

    pitches: tuple[Pitch, ...]
    widest: int
    beats: tuple[tuple[Note, ...], ...]
    signs: frozenset[str]

    @staticmethod
    def of(m: Material, wanted: Wanted) -> _Source:
        own = m.pitches
        key, steps = m.shown.key, [s for s in STEPS if s in wanted.known]
        scale = {Pitch(s, o, key.alter(s)) for s in steps for o in range(own[0].octave, own[-1].octave + 1)}
        top = max(own[-1].diatonic, own[0].diatonic + NARROWEST)
        inside = {p for p in scale if own[0].diatonic <= p.diatonic <= top}
        line = m.shown.line()
        widest = max((abs(b.pitch.diatonic - a.pitch.diatonic) for a, b in itertools.pairwise(line)), default=1)
        return _Source(tuple(sorted(inside | set(own), key=lambda p: (p.midi, p.diatonic))), widest,
                       tuple(_beats(m.shown)), m.signs | frozenset().union(*(g.signs for g in m.groups)))


# --- rhythm ---

def _row(n: int) -> Bar:
    """So many quavers in a row; their pitches come later."""
    return Bar(number=1, notes=tuple(Note(pitch=Pitch("C", 4), base=QUAVER) for _unused in range(n)))


def _rhythm(m: Material, source: _Source, wanted: Wanted, target: str, rng: random.Random) -> tuple[Bar, ...]:
    """A bar of the tune, or two, with whatever stands at their notes, or filled anew with the tune's beats."""
    whole = [i for i, bar in enumerate(m.shown.bars) if any(n.pitch for n in bar.notes)]
    at = rng.choice(whole)
    bar = _plain(m.shown.bars[at])
    following = _plain(m.shown.bars[at + 1]) if at + 1 in whole else None
    if target in ("repeat from here", "repeat to here", "ending", "bar repeated"):
        return _repeated(bar, _plain(m.shown.bars[rng.choice(whole)]), target)
    bar = _refilled(bar, source.beats, rng)
    two = "bar line" in wanted.known and (sum(n.pitch is not None for n in bar.notes) < FEWEST
                                          or target in LONG_SLUR or (wanted.level > 2 and rng.random() < 0.5))
    bars: tuple[Bar, ...] = (bar,)
    if two and following is not None:
        bars = (bar, replace(_refilled(following, source.beats, rng), number=2))
    elif two and not any(n.syllables for n in bar.notes):
        bars = (bar, replace(_refilled(bar, source.beats, rng), number=2))
    return _tied(bars, rng) if target == "tie" else _held_together(bars) if target in LONG_SLUR else bars


LONG_SLUR = ("long slur begins", "long slur ends")


def _held_together(bars: tuple[Bar, ...]) -> tuple[Bar, ...]:
    """All notes under one slur; in the tune it holds a phrase, of which a bar or two are a part."""
    places = [(i, k) for i, bar in enumerate(bars) for k, n in enumerate(bar.notes) if n.pitch]
    return tuple(replace(bar, notes=tuple(replace(n, slur_starts=int((i, k) == places[0]), slur_stops=int((i, k) == places[-1]))
                                          for k, n in enumerate(bar.notes))) for i, bar in enumerate(bars))


def _tied(bars: tuple[Bar, ...], rng: random.Random) -> tuple[Bar, ...]:
    """One note tied to the next, within a bar or over the bar line."""
    places = [(i, k) for i, bar in enumerate(bars) for k in range(len(bar.notes))]
    pairs = [a for a, b in itertools.pairwise(places)
             if all(bars[i].notes[k].pitch is not None for i, k in (a, b)) and not bars[a[0]].notes[a[1]].slur_starts]
    if not pairs:
        return bars
    at, place = rng.choice(pairs)
    notes = tuple(replace(n, tie=k == place) for k, n in enumerate(bars[at].notes))
    return (*bars[:at], replace(bars[at], notes=notes), *bars[at + 1:])


def _plain(bar: Bar) -> Bar:
    """A bar without what belongs to its place in the tune; grace notes are no part of a rhythm."""
    return Bar(number=1, notes=tuple(n for n in bar.notes if n.grace is Grace.NONE))


def _joined(note: Note) -> bool:
    """Whether a note belongs to its neighbours, or has something that belongs to its place."""
    return bool(note.tie or note.slur_starts or note.slur_stops or note.tuplet or note.before or note.syllables or note.marks
                or note.base < QUAVER)


def _beats(tune: Tune) -> list[tuple[Note, ...]]:
    """What fills a beat, or a few, in a tune, and is joined to nothing: a crotchet, two quavers, a rest; in six-eight a
    dotted crotchet, three quavers."""
    parts: list[tuple[Note, ...]] = []
    beat = next((b.time.beat for b in tune.bars if b.time), Fraction(1))
    for bar in tune.bars:
        under_way: list[Note] = []
        for note in _plain(bar).notes:
            under_way.append(note)
            if (sum((n.quarters for n in under_way), Fraction(0)) / beat).denominator == 1:
                if not any(map(_joined, under_way)) and not any(n.whole_bar for n in under_way):
                    parts.append(tuple(under_way))
                under_way = []
    return parts


def _refilled(bar: Bar, beats: Sequence[tuple[Note, ...]], rng: random.Random) -> Bar:
    """A bar as long as this one, filled with other beats where nothing is joined in it; half of the time as it is."""
    if any(map(_joined, bar.notes)) or rng.random() < 0.4:
        return bar
    left = sum((n.quarters for n in bar.notes), Fraction(0))
    notes: list[Note] = []
    while left > 0:
        fitting = [b for b in beats if sum((n.quarters for n in b), Fraction(0)) <= left]
        if not fitting:
            return bar
        chosen = rng.choice(fitting)
        notes += chosen
        left -= sum((n.quarters for n in chosen), Fraction(0))
    return replace(bar, notes=tuple(notes))


def _repeated(bar: Bar, other: Bar, target: str) -> tuple[Bar, ...]:
    """Bars that are sung again, by the sign that is wanted."""
    bar, other = (replace(b, notes=_untied(b.notes)) for b in (bar, other))
    if target == "bar repeated":
        return (bar, replace(bar, number=2))
    if target == "ending":
        return (bar, replace(other, number=2, ending=(1,), ending_stop=True, backward_repeat=2),
                replace(bar, number=3, ending=(2,), ending_stop=True))
    if target == "repeat from here":
        return (other, replace(bar, number=2, forward_repeat=True, backward_repeat=2))
    return (replace(bar, backward_repeat=2),)


def _untied(notes: tuple[Note, ...]) -> tuple[Note, ...]:
    return (*notes[:-1], replace(notes[-1], tie=False)) if notes and notes[-1].tie else notes


# --- pitches ---

def _with_notes(m: Material, bars: Sequence[Bar], source: _Source, level: int, rng: random.Random,
                again: bool = False) -> Tune | None:
    """The rhythm with new pitches, standing alone with its key and time; None where they lead nowhere.

    again: the second bar is the first once more.
    """
    walk = _walk(source, level, rng)
    out: list[Bar] = []
    pitch: Pitch | None = None
    tied, slurred = False, 0
    for i, bar in enumerate(bars):
        if i and again:
            out.append(replace(bar, notes=out[0].notes))
            continue
        made: list[Note] = []
        for note in bar.notes:
            if note.pitch is None:
                made.append(note)
                tied = False
                continue
            if not tied or pitch is None:
                before, pitch = pitch, next(walk, None)
                if pitch == before and slurred:  # a slur joins different notes; between equal ones it would be a tie
                    pitch = next((p for p in itertools.islice(walk, MOST_SAME) if p != before), None)
                if pitch is None:
                    return None
            made.append(replace(note, pitch=pitch))
            tied = note.tie
            slurred += note.slur_starts - note.slur_stops
        out.append(replace(bar, notes=tuple(made)))
    if tied:
        out[-1] = replace(out[-1], notes=_untied(out[-1].notes))
    time = next((b.time for b in m.shown.bars if b.time), None)
    out[0] = replace(out[0], key=m.shown.key, time=time)
    return Tune(title="", bars=_slurs_closed(out), phrase_starts=())


def _slurs_closed(bars: Sequence[Bar]) -> tuple[Bar, ...]:
    """Slurs that begin or end outside of the bars are left out."""
    places = [(i, k) for i, bar in enumerate(bars) for k in range(len(bar.notes))]
    opened: list[tuple[int, int]] = []
    loose: set[tuple[int, int, bool]] = set()
    for i, k in places:
        note = bars[i].notes[k]
        for _unused in range(note.slur_stops):
            if opened:
                opened.pop()
            else:
                loose.add((i, k, False))
        opened += [(i, k)] * note.slur_starts
    loose |= {(i, k, True) for i, k in opened}
    out = []
    for i, bar in enumerate(bars):
        notes = [replace(n, slur_starts=0 if (i, k, True) in loose else n.slur_starts,
                         slur_stops=0 if (i, k, False) in loose else n.slur_stops) for k, n in enumerate(bar.notes)]
        out.append(replace(bar, notes=tuple(notes)))
    return tuple(out)


def _walk(source: _Source, level: int, rng: random.Random) -> Iterator[Pitch]:
    """Pitches one after the other: more steps than wider moves, none wider than the level and the tune have."""
    most = max(1, min(WIDEST[level], source.widest))
    pitch = rng.choice(source.pitches)
    same = 1
    while True:
        yield pitch
        near = [p for p in source.pitches if abs(p.diatonic - pitch.diatonic) <= most
                and (p == pitch or p.midi != pitch.midi) and (p != pitch or same < MOST_SAME)]
        steps = [p for p in near if abs(p.diatonic - pitch.diatonic) == 1]
        wide = [p for p in near if abs(p.diatonic - pitch.diatonic) != 1]
        some = steps if steps and (not wide or rng.random() < STEPWISE) else wide
        if not some:
            return
        chosen = rng.choice(some)
        same = same + 1 if chosen == pitch else 1
        pitch = chosen


def difficulty(right: Sequence[bool]) -> int:
    """The level for what comes next, from answers to earlier bars, oldest first.

    The weighted up-down method (Kaernbach 1991): up by 1 part after a right answer, down by 5 after a wrong one, so that it
    settles where 5 of 6 are right, 83 %.
    """
    level = float(EASIEST)
    for one in right:
        level = min(HARDEST, max(EASIEST, level + (UP if one else -DOWN)))
    return int(level)


UP, DOWN = 0.2, 1.0

