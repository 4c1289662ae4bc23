"""Exercises from any tune, easiest first, each with its key. Facts only: the words are in `language`.

What an exercise asks for is counted from its own notes (`demands`), and the level that it names is the lowest
that teaches all of it. Levels 1 to 3 are pitch only, every note a quaver, in a key without signs where the
tune allows; 4 adds values, rests and dots; 5 accidentals, keys, ties and the rest. What one kind asks for is parted by
level, so that every tune gives levels 1 to 4: its phrases made of steps alone, their skips and leaps put back one by one,
then their values. No line of cells is read twice.
"""

from __future__ import annotations

import itertools
import random
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction

from companion.braille import FINAL_BAR, SPACE, dots_of, encode, needs_octave, note_cells
from companion.language import ExerciseKind
from companion.tune import Bar, IntervalKind, Key, LineNote, Note, Pitch, Time, Tune, interval_kind, spell, transpose


class Demand(StrEnum):
    """What reading a tune may ask for: kinds of moves (as in `IntervalKind`), and signs by group."""

    LEVEL = IntervalKind.LEVEL
    SEMITONE = IntervalKind.SEMITONE
    STEP = IntervalKind.STEP
    SKIP = IntervalKind.SKIP
    LEAP = IntervalKind.LEAP
    VALUES = "values"
    DOTS = "dots"
    RESTS = "rests"
    TIME = "time"
    ACCIDENTALS = "accidentals"
    KEY = "key"
    TIES = "ties"
    SLURS = "slurs"
    MARKS = "marks"
    REPEATS = "repeats"
    TRIPLETS = "triplets"
    WORDS = "words"


#: The level that each of them needs; all that are not named need level 5.
_LEVEL_OF = {
    Demand.LEVEL: 1, Demand.SEMITONE: 1, Demand.STEP: 1, Demand.SKIP: 2, Demand.LEAP: 3,
    Demand.VALUES: 4, Demand.DOTS: 4, Demand.RESTS: 4, Demand.TIME: 4,
}
HIGHEST_LEVEL = 5
QUAVER = Fraction(1, 2)
#: What a note asks for beside its pitch.
_NOTE_DEMANDS: tuple[tuple[Demand, Callable[[Note], bool]], ...] = (
    (Demand.VALUES, lambda n: n.base != QUAVER or n.pitch is None),
    (Demand.DOTS, lambda n: n.dots > 0),
    (Demand.RESTS, lambda n: n.pitch is None),
    (Demand.TIES, lambda n: n.tie),
    (Demand.SLURS, lambda n: n.slur_starts > 0),
    (Demand.MARKS, lambda n: bool(n.marks or n.grace or n.before)),
    (Demand.TRIPLETS, lambda n: n.tuplet is not None),
    (Demand.WORDS, lambda n: bool(n.syllables)),
)
GAP = "⠿"  # a full cell stands where a note is left out
MOST_ITEMS = 8  # of one kind and level: a set that can be done in one sitting; phrases to be read are all there
MOST_NOTES = 10  # in one item
WIDEST_NEW = 9  # semitones, a sixth: new tunes have no wider leap, whatever the tune has
RHYTHM_PITCH = Pitch("B", 4)
NEW_TUNES, NEW_TUNE_NOTES, NEW_TUNE_TRIES = 4, 8, 200
#: From where the first phrase may be written anew, in semitones.
NEW_STARTS = (-5, -4, -3, -2, 2, 3, 4, 5, 7)
MOST_NEW_STARTS = 3


@dataclass(frozen=True)
class Item:
    """One question and its key.

    cells: what is under the fingers, lines of Unicode cells. play: what is sounded, None for nothing.
    answer_cells: the key in cells. answer_line: the notes that the answer stands for.
    place: number of the note in question, counted from 1; of two versions the number of the right one; else 0.
    other_line: the version that is not right, where there are two. semitones: of a new start, how much higher.
    written: of a rhythm, its notes and rests as they are written.
    """

    cells: tuple[str, ...]
    play: tuple[LineNote, ...] | None
    answer_cells: tuple[str, ...]
    answer_line: tuple[LineNote, ...]
    demands: frozenset[Demand]
    place: int = 0
    other_line: tuple[LineNote, ...] = ()
    semitones: int = 0
    written: tuple[Note, ...] = ()


@dataclass(frozen=True)
class Exercise:
    """Questions of one kind. beats: of a bar of the tune."""

    kind: ExerciseKind
    items: tuple[Item, ...]
    beats: int = 0

    @property
    def demands(self) -> frozenset[Demand]:
        """What all its items ask for."""
        return frozenset().union(*(i.demands for i in self.items))

    @property
    def level(self) -> int:
        """The lowest level, 1 to 5, that teaches all that is asked for."""
        return level_of(self.demands)


def level_of(demands: frozenset[Demand]) -> int:
    """The lowest level, 1 to 5, that teaches all of these."""
    return max((_LEVEL_OF.get(d, HIGHEST_LEVEL) for d in demands), default=1)


def demands(tune: Tune, pitch_only: bool = False) -> frozenset[Demand]:
    """What reading a tune asks for. pitch_only: moves, key and accidentals alone."""
    out = {Demand(interval_kind(b.midi - a.midi)) for a, b in itertools.pairwise(tune.line())}
    notes = [note for _, _, note in tune.written()]
    if tune.key.fifths:
        out.add(Demand.KEY)
    if any(n.pitch is not None and n.pitch.alter != tune.key.alter(n.pitch.step) for n in notes):
        out.add(Demand.ACCIDENTALS)
    if not pitch_only:
        out |= {demand for demand, asks in _NOTE_DEMANDS if any(map(asks, notes))}
        if any(b.forward_repeat or b.backward_repeat or b.ending or b.after for b in tune.bars):
            out.add(Demand.REPEATS)
        if any(b.time for b in tune.bars):
            out.add(Demand.TIME)
    return frozenset(out)


def plain_tune(tune: Tune) -> Tune:
    """The tune as sung, repeats unfolded, moved to where it needs no key signature (C major, A minor), as near
    as it lies, spelled in that key."""
    moved = transpose(tune, semitones_to_key(tune.key, 0))
    return moved if moved.key.fifths == 0 else tune


def semitones_to_key(key: Key, fifths: int) -> int:
    """The nearest way, in semitones, from one key to the one with so many fifths: -6 to 5."""
    return (7 * (fifths - key.fifths) + 6) % 12 - 6


def quavers(pitches: Sequence[Pitch], title: str = "", key: Key | None = None) -> Tune:
    """Pitches as a line of quavers with no bars in it."""
    notes = tuple(Note(pitch=p, base=QUAVER) for p in pitches)
    return Tune(title=title, bars=(Bar(number=1, notes=notes, key=key or Key()),), phrase_starts=(1,))


def music_cells(tune: Tune, width: int = 40) -> tuple[str, ...]:
    """The lines of music of a tune, with no title; a heading of key and time only where it has one."""
    return tuple(line.rstrip(SPACE) for line in encode(tune, width=width, title=False, words=False).lines)


def exercises(tune: Tune, seed: int = 1, practise: Sequence[str] = (), width: int = 40) -> list[Exercise]:
    """All kinds of exercises that a tune is good for, lowest level first (see `ExerciseKind`); each kind parted by level.

    practise: kinds of moves ("step", "skip", "leap" ...) that the pupil's diary asks for; the new tunes then
    are made of these. width: cells in a line. The same seed gives the same exercises.
    """
    rng = random.Random(seed)
    plain = plain_tune(tune)
    beats = sum(tune.time.upper)
    lines = _Lines(width)
    # In this order, as each takes its chances from the same generator, and lines to read from what is left.
    made = {
        ExerciseKind.NOTES: _notes(plain),
        ExerciseKind.MOVES: _moves(plain, lines),
        ExerciseKind.READ: _read(plain, lines),
        ExerciseKind.BUILT_UP: _built_up(plain, lines),
        ExerciseKind.OCTAVE_MARKS: _octave_marks(plain, lines),
        ExerciseKind.WHICH_VERSION: _which_version(plain, rng, lines),
        ExerciseKind.WRONG_NOTE: _wrong_note(plain, rng, lines),
        ExerciseKind.DICTATION: _dictation(plain, width),
        ExerciseKind.GAP: _gap(plain, rng, lines),
        ExerciseKind.NEW_START: _new_start(plain, lines),
        ExerciseKind.RHYTHM: _rhythm(tune, lines),
        ExerciseKind.VALUES: _values(plain, lines),
        ExerciseKind.NEW_TUNES: _new_tunes(plain, rng, practise, lines),
    }
    out = []
    for kind, items in made.items():
        for level in range(1, HIGHEST_LEVEL + 1):
            here = [i for i in items if level_of(i.demands) == level]
            if here:
                out.append(Exercise(kind, tuple(here if kind in _WHOLE else here[:MOST_ITEMS]), beats))
    return sorted(out, key=lambda e: e.level)


#: Kinds that go through the whole tune, however long it is.
_WHOLE = (ExerciseKind.READ, ExerciseKind.VALUES)


class _Lines:
    """Lines of cells, each given out once. width: cells in a line."""

    def __init__(self, width: int) -> None:
        self.width = width
        self._given: set[tuple[str, ...]] = set()

    def new(self, *tunes: Tune) -> tuple[tuple[str, ...], ...] | None:
        """The cells of one tune or more; None where any of them has been given already."""
        cells = tuple(music_cells(t, self.width) for t in tunes)
        if any(c in self._given for c in cells) or len(set(cells)) < len(cells):
            return None
        self._given.update(cells)
        return cells

    def is_new(self, cells: tuple[str, ...]) -> bool:
        """Whether cells have not been given yet; they then are."""
        if cells in self._given:
            return False
        self._given.add(cells)
        return True


def _phrases(tune: Tune) -> list[tuple[LineNote, ...]]:
    """Phrases of two notes and more. One of more notes than can be remembered is asked for in equal parts."""
    out = []
    for _, notes in itertools.groupby(tune.line(), lambda n: n.phrase):
        phrase = tuple(notes)
        size = -(-len(phrase) // -(-len(phrase) // MOST_NOTES))
        out += [phrase[i:i + size] for i in range(0, len(phrase), size)]
    return [p for p in out if len(p) >= 2]


def _pitch_item(pitches: Sequence[Pitch], key: Key) -> tuple[Tune, frozenset[Demand]]:
    """Pitches as quavers, and what reading them asks for."""
    made = quavers(pitches, key=key)
    return made, demands(made, pitch_only=True)


def _pitches(line: Sequence[LineNote]) -> list[Pitch]:
    return [n.pitch for n in line]


def _notes(tune: Tune) -> list[Item]:
    """Single notes, those that come most often first."""
    distinct: dict[Pitch, int] = {}
    for n in tune.line():
        distinct[n.pitch] = distinct.get(n.pitch, 0) + 1
    items = []
    for pitch in sorted(distinct, key=lambda p: (-distinct[p], p.midi))[:MOST_ITEMS]:
        made, needs = _pitch_item([pitch], Key())
        # The sign stands before a note in its own right here: no key has been read.
        cells = (note_cells(pitch, QUAVER, accidental=pitch.alter or None),)
        items.append(Item(cells, made.line(), cells, made.line(), needs))
    return items


def _moves(tune: Tune, lines: _Lines) -> list[Item]:
    """Two notes each: the moves of the tune, by kind, size, and how often they come."""
    seen: dict[tuple[Pitch, Pitch], int] = {}
    for a, b in itertools.pairwise(tune.line()):
        seen[a.pitch, b.pitch] = seen.get((a.pitch, b.pitch), 0) + 1
    order = (IntervalKind.LEVEL, IntervalKind.STEP, IntervalKind.SEMITONE, IntervalKind.SKIP, IntervalKind.LEAP)

    def rank(move: tuple[Pitch, Pitch]) -> tuple[int, int, int]:
        semitones = move[1].midi - move[0].midi
        return order.index(interval_kind(semitones)), abs(semitones), -seen[move]

    items = []
    for move in sorted(seen, key=rank):
        made, needs = _pitch_item(move, tune.key)
        if found := lines.new(made):
            items.append(Item(found[0], made.line(), found[0], made.line(), needs))
    return items


def _read(tune: Tune, lines: _Lines) -> list[Item]:
    """The tune phrase by phrase, to be read aloud; a phrase that comes again is read once."""
    items = []
    for phrase in _phrases(tune):
        made, needs = _pitch_item(_pitches(phrase), tune.key)
        if found := lines.new(made):
            items.append(Item(found[0], None, found[0], made.line(), needs))
    return items


def _built_up(tune: Tune, lines: _Lines) -> list[Item]:
    """Phrases made of steps alone, then their skips and leaps put back one by one, skips first.

    Where the tune has no skip or no leap, notes between are left out of its steps, or an octave is leapt at the end.
    """
    steps = [[n.pitch.diatonic for n in phrase] for phrase in _phrases(tune)]
    items = _made_of(itertools.chain.from_iterable(map(_restored, steps)), tune.key, lines)
    levels = {level_of(i.demands) for i in items} | {level_of(_pitch_item(_pitches(p), tune.key)[1]) for p in _phrases(tune)}
    if 1 not in levels:
        items += _made_of(map(_by_steps, steps), tune.key, lines)
    if 2 not in levels:
        some = _made_of((_without_passing(line, 1) for line in steps), tune.key, lines)
        items += ([i for i in some if level_of(i.demands) == 2] or _made_of(map(_as_skips, steps), tune.key, lines))
    if 3 not in levels:
        items += (_made_of((_without_passing(line, 2) for line in steps), tune.key, lines)
                  or _made_of(([*line[:-1], line[-1] + 7] for line in steps), tune.key, lines))
    return items


def _by_steps(line: Sequence[int]) -> list[int]:
    """A line of diatonic numbers with each move made a step."""
    return _summed(line[0], [_sign(b - a) for a, b in itertools.pairwise(line)])


def _restored(line: Sequence[int]) -> Iterator[list[int]]:
    """A line by steps alone, then with one more of its wide moves each time, skips first; the last is left out."""
    sizes = [b - a for a, b in itertools.pairwise(line)]
    wide = sorted((k for k, size in enumerate(sizes) if abs(size) > 1), key=lambda k: abs(sizes[k]))
    for back in range(len(wide)):
        yield _summed(line[0], [s if k in wide[:back] else _sign(s) for k, s in enumerate(sizes)])


def _summed(first: int, sizes: Sequence[int]) -> list[int]:
    return list(itertools.accumulate(sizes, initial=first))


def _as_skips(line: Sequence[int]) -> list[int]:
    """A line with its wide moves, or else its first move, made skips."""
    sizes = [b - a for a, b in itertools.pairwise(line)]
    widest = max(map(abs, sizes))
    first = next((k for k, size in enumerate(sizes) if size), 0)
    return _summed(line[0], [(_sign(size) or 1) * 2 if abs(size) > 1 or (widest < 2 and k == first) else size
                             for k, size in enumerate(sizes)])


def _without_passing(line: Sequence[int], between: int) -> list[int]:
    """A line of diatonic numbers with so many notes left out in each run of steps one way that is long enough."""
    out, k = [line[0]], 0
    while k < len(line) - 1:
        ahead = [b - a for a, b in itertools.pairwise(line[k:k + between + 2])]
        run = len(ahead) == between + 1 and len(set(ahead)) == 1 and abs(ahead[0]) == 1
        k += between + 1 if run else 1
        out.append(line[k])
    return out


def _made_of(some: Iterable[Sequence[int]], key: Key, lines: _Lines) -> list[Item]:
    """An item of each line of diatonic numbers, as they are in a key; none of a line that was read before."""
    items = []
    for diatonic in some:
        letters = [("CDEFGAB"[d % 7], d // 7) for d in diatonic]
        made, needs = _pitch_item([Pitch(step, octave, key.alter(step)) for step, octave in letters], key)
        found = lines.new(made) if len(diatonic) > 1 else None
        if found:
            items.append(Item(found[0], None, found[0], made.line(), needs))
    return items


def without_marks(cells: str) -> str:
    """Music cells of a line of quavers with every octave mark taken away. Their cells (of dots 4, 5 and 6 alone)
    stand for nothing else in such a line."""
    return "".join(c for c in cells if c == SPACE or not set(dots_of(c)) <= set("456"))


def _octave_marks(tune: Tune, lines: _Lines) -> list[Item]:
    """Phrases whose octave marks are left out; after the first two, only those with several marks."""
    items: list[Item] = []
    for phrase in _phrases(tune):
        made, needs = _pitch_item(_pitches(phrase), tune.key)
        if len(marked_places(made.line())) < 2 and len(items) >= 2:
            continue
        cells = music_cells(made, lines.width)
        bare = tuple(map(without_marks, cells))
        if lines.is_new(bare):
            items.append(Item(bare, made.line(), cells, made.line(), needs))
    return items


def marked_places(line: Sequence[LineNote]) -> list[int]:
    """The places, counted from 1, of the notes before which an octave mark stands."""
    before = [None, *_pitches(line)]
    return [k for k, (last, n) in enumerate(zip(before, line, strict=False), 1) if needs_octave(last, n.pitch)]


def _with_one_note_changed(phrase: Sequence[LineNote], rng: random.Random, key: Key) -> tuple[list[Pitch], int] | None:
    """The phrase with one note in the middle changed by a step or two so that a move goes another way; its place."""
    choice = list(range(1, len(phrase)))
    rng.shuffle(choice)
    kinds = {interval_kind(b.midi - a.midi) for a, b in itertools.pairwise(phrase)}
    for i in choice:
        before, note = phrase[i - 1].midi, phrase[i].midi
        after = phrase[i + 1].midi if i + 1 < len(phrase) else None
        near = {n.midi for n in phrase} | {note + d for d in (-4, -3, -2, 2, 3, 4)}
        others = sorted(p for p in near if _diatonic(p, key) and 2 <= abs(p - note) <= 5
                        and _sign(p - before) != _sign(note - before)
                        and (after is None or abs(after - p) <= WIDEST_NEW))
        # Rather a move of a kind that the phrase has than one that asks for more.
        own = [p for p in others if interval_kind(p - before) in kinds and (after is None or interval_kind(after - p) in kinds)]
        if others:
            pitches = _pitches(phrase)
            pitches[i] = spell(rng.choice(own or others), key)
            return pitches, i + 1
    return None


def _sign(n: int) -> int:
    return (n > 0) - (n < 0)


def _diatonic(midi: int, key: Key) -> bool:
    pitch = spell(midi, key)
    return pitch.alter == key.alter(pitch.step)


#: Scale steps by which a phrase is moved where its line has been read already.
_ELSEWHERE = (0, 1, -1, 2, -2, 3, -3)


def _elsewhere(phrase: Sequence[LineNote], key: Key) -> Iterator[tuple[LineNote, ...]]:
    """A phrase as it is, and then moved along the scale of its key, a step or more."""
    for steps in _ELSEWHERE:
        pitches = []
        for p in _pitches(phrase):
            diatonic = p.diatonic + steps
            step = "CDEFGAB"[diatonic % 7]
            pitches.append(Pitch(step, diatonic // 7, key.alter(step) + p.alter - key.alter(p.step)))
        if all(abs(p.alter) < 2 for p in pitches):
            yield quavers(pitches, key=key).line()


def _with_a_wrong_note(phrase: Sequence[LineNote], rng: random.Random,
                       key: Key) -> tuple[Tune, Tune, int, frozenset[Demand]] | None:
    """A phrase, a version in which one note is wrong, the place of that note, and what both demand."""
    changed = _with_one_note_changed(phrase, rng, key) if len(phrase) > 2 else None
    if changed is None:
        return None
    right, needs = _pitch_item(_pitches(phrase), key)
    wrong, needs_too = _pitch_item(changed[0], key)
    return right, wrong, changed[1], needs | needs_too


def _which_version(tune: Tune, rng: random.Random, lines: _Lines) -> list[Item]:
    """Two versions to read; one of them is sounded."""
    items = []
    for phrase in _phrases(tune):
        for moved in _elsewhere(phrase, tune.key):
            made = _with_a_wrong_note(moved, rng, tune.key)
            found = made and lines.new(*made[:2])
            if made and found:
                right, wrong, _, needs = made
                first = rng.random() < 0.5
                cells, other = found
                items.append(Item((*cells, *other) if first else (*other, *cells), right.line(), cells, right.line(), needs,
                                  place=1 if first else 2, other_line=wrong.line()))
                break
    return items


def _wrong_note(tune: Tune, rng: random.Random, lines: _Lines) -> list[Item]:
    """A version with one wrong note to read, while the right one is sounded."""
    items = []
    for phrase in _phrases(tune):
        for moved in _elsewhere(phrase, tune.key):
            made = _with_a_wrong_note(moved, rng, tune.key)
            found = made and lines.new(made[1])
            if made and found:
                right, wrong, at, needs = made
                items.append(Item(found[0], right.line(), music_cells(right, lines.width), right.line(), needs, place=at,
                                  other_line=wrong.line()))
                break
    return items


def _bars(tune: Tune) -> list[tuple[LineNote, ...]]:
    """The notes of each bar that has two and more, as sung."""
    out: dict[int, list[LineNote]] = {}
    for n in tune.line():
        out.setdefault(n.sources[0][0], []).append(n)
    return [tuple(v) for v in out.values() if len(v) >= 2]


def _dictation(tune: Tune, width: int) -> list[Item]:
    """Bar by bar, each once; the first note is given."""
    items = []
    for pitches in dict.fromkeys(tuple(_pitches(bar)) for bar in _bars(tune)):
        made, needs = _pitch_item(pitches, tune.key)
        start = note_cells(pitches[0], QUAVER, accidental=None)
        items.append(Item((start,), made.line(), music_cells(made, width), made.line(), needs))
    return items


def _gap(tune: Tune, rng: random.Random, given: _Lines) -> list[Item]:
    """Phrases in which a note after the first is left out."""
    items = []
    for phrase in _phrases(tune):
        if len(phrase) < 3:
            continue
        at = rng.randrange(1, len(phrase))
        made, needs = _pitch_item(_pitches(phrase), tune.key)
        page = encode(made, width=given.width, title=False, words=False)
        link = next((k for k in page.links if k.note == at + 1), None)
        if link is None:
            continue
        lines = list(page.lines)
        row, start, end = lines[link.line - 1], link.column - 1, link.column - 1 + link.cells
        closing = FINAL_BAR if row[start:end].endswith(FINAL_BAR) else ""
        lines[link.line - 1] = row[:start] + GAP + closing + row[end:]
        cells = tuple(x.rstrip(SPACE) for x in lines)
        if given.is_new(cells):
            items.append(Item(cells, made.line(), tuple(x.rstrip(SPACE) for x in page.lines), made.line(), needs,
                              place=at + 1))
    return items


def missing_cells(item: Item) -> str:
    """The cells of the note that is left out of a line with a gap, its octave mark with them where one is due."""
    before, missing = item.answer_line[item.place - 2].pitch, item.answer_line[item.place - 1].pitch
    return note_cells(missing, QUAVER, octave=needs_octave(before, missing), accidental=None)


def _new_start(tune: Tune, lines: _Lines) -> list[Item]:
    """The first phrases from other notes: of those near, the ones that need the fewest signs."""
    items: list[Item] = []
    for k in range(MOST_NEW_STARTS):
        phrases = _phrases(tune)
        for moved in _elsewhere(phrases[k % len(phrases)], tune.key) if phrases else ():
            original, needs = _pitch_item(_pitches(moved), tune.key)
            if found := lines.new(original):
                semitones, pitches, key = _starts(moved, tune)[k]
                made, needs_too = _pitch_item(pitches, key)
                items.append(Item(found[0], made.line(), music_cells(made, lines.width), made.line(),
                                  needs | needs_too, semitones=semitones))
                break
    return items


def _starts(phrase: Sequence[LineNote], tune: Tune) -> list[tuple[int, list[Pitch], Key]]:
    """A phrase so many semitones higher, its pitches there and the key that they are written in; fewest signs first."""
    choices = []
    for semitones in NEW_STARTS:
        midi = [n.midi + semitones for n in phrase]
        key = Key()
        if any(spell(m, key).alter for m in midi):
            key = transpose(tune, semitones).key
            signs = 1 + abs(key.fifths)
        else:
            signs = 0
        choices.append((signs, abs(semitones), semitones, [spell(m, key) for m in midi], key))
    return [(semitones, pitches, key) for _, _, semitones, pitches, key in sorted(choices, key=lambda c: c[:2])]


def _rhythm(tune: Tune, lines: _Lines) -> list[Item]:
    """The values alone, all on one note, two bars at a time, each rhythm once; ties and triplets as they are written."""
    return _by_two_bars(tune, lines, lambda n: Note(
        pitch=RHYTHM_PITCH if n.pitch else None, base=n.base, dots=n.dots, whole_bar=n.whole_bar, tie=n.tie,
        tuplet=n.tuplet), Key())


def _values(tune: Tune, lines: _Lines) -> list[Item]:
    """The tune with its values, two bars at a time."""
    return _by_two_bars(tune, lines, lambda n: Note(
        pitch=n.pitch, base=n.base, dots=n.dots, whole_bar=n.whole_bar, tie=n.tie, tuplet=n.tuplet), tune.key)


def _by_two_bars(tune: Tune, lines: _Lines, plain: Callable[[Note], Note], key: Key) -> list[Item]:
    """Two bars at a time without repeats, marks and words. Where each has a tie or a tuplet, the first is given without.

    A tie over the end of two bars is left out. Bars of several times are given apart.
    """
    items: list[Item] = []
    groups = [tune.bars[i:i + 2] for i in range(0, len(tune.bars), 2)]
    groups = [g for g in groups if not any(b.time for b in g[1:])]
    for simple in (False, True):
        if simple and any(level_of(i.demands) < HIGHEST_LEVEL for i in items):
            break
        for group in groups:
            made = _two_bars(group, tune, plain, key, simple)
            if made is None:
                continue
            if (found := lines.new(made)) is not None:
                notes = tuple(n for _, _, n in made.written())
                items.append(Item(found[0], made.line(), found[0], made.line(), demands(made), written=notes))
    return items


def _two_bars(group: Sequence[Bar], tune: Tune, plain: Callable[[Note], Note], key: Key, simple: bool) -> Tune | None:
    """simple: without ties, each tuplet as one note. None where fewer than two notes are sung, or a tuplet is no triplet."""
    bars = []
    for k, bar in enumerate(group):
        notes = [plain(n) for n in bar.notes if not n.grace]
        if any(n.tuplet and n.tuplet.actual != 3 for n in notes):
            return None
        if simple:
            if len({(n.base, n.dots) for n in notes if n.tuplet}) > 1:
                return None
            notes = _without_ties(notes)
        if notes and k + 1 == len(group):
            notes[-1] = replace(notes[-1], tie=False)
        bars.append(Bar(number=k + 1, notes=tuple(notes), key=key if k == 0 else None,
                        time=_time_at(tune, group[0]) if k == 0 else None))
    made = Tune(title="", bars=tuple(bars), phrase_starts=(1,))
    return made if len(made.line()) > 1 else None


def _without_ties(notes: Sequence[Note]) -> list[Note]:
    """Notes without ties, and each triplet as its first note, as long as all three."""
    return [replace(n, tie=False, tuplet=None, base=n.base * n.tuplet.normal if n.tuplet else n.base)
            for n in notes if not n.tuplet or n.tuplet.place == "start"]


def _time_at(tune: Tune, bar: Bar) -> Time:
    """The time signature of a bar."""
    time = tune.time
    for b in tune.bars:
        time = b.time or time
        if b is bar:
            break
    return time


def _new_tunes(tune: Tune, rng: random.Random, practise: Sequence[str], lines: _Lines) -> list[Item]:
    """Short tunes in the tune's range made of its own moves (or those kinds that are asked for)."""
    line = tune.line()
    low, high = min(n.midi for n in line), max(n.midi for n in line)
    scale = [m for m in range(low, high + 1) if _diatonic(m, tune.key)]
    if len(scale) < 3:
        return []
    home = line[-1].midi if line[-1].midi in scale else scale[0]
    made: dict[tuple[int, ...], Item] = {}
    for _ in range(NEW_TUNE_TRIES):
        if len(made) == NEW_TUNES:
            break
        midi = tuple(_walk(line, tune.key, scale, home, practise, rng))
        if len(midi) == NEW_TUNE_NOTES and midi[-1] == home and len(set(midi)) >= 3 and midi not in made:
            new, needs = _pitch_item([spell(m, tune.key) for m in midi], tune.key)
            if found := lines.new(new):
                made[midi] = Item(found[0], new.line(), found[0], new.line(), needs)
    return list(made.values())


def _walk(line: Sequence[LineNote], key: Key, scale: Sequence[int], home: int, practise: Sequence[str],
          rng: random.Random) -> list[int]:
    """A walk over a scale (MIDI numbers), its moves drawn from those of a line, at most NEW_TUNE_NOTES long.

    It begins on `home` more often than not; half of its moves, where they can be, are of the kinds in `practise`. It
    is shorter where nothing near may follow: no move of another kind, none above WIDEST_NEW, no third equal note.
    """
    moves = [(b.pitch.diatonic - a.pitch.diatonic, interval_kind(b.midi - a.midi)) for a, b in itertools.pairwise(line)]
    allowed = {kind for _, kind in moves} | set(practise)
    midi = [home if rng.random() < 0.6 else rng.choice(scale)]
    while len(midi) < NEW_TUNE_NOTES:
        last = midi[-1]
        near = [m for m in scale if interval_kind(m - last) in allowed and abs(m - last) <= WIDEST_NEW
                and midi[-2:] != [m, m]]
        if not near:
            break
        wanted = [m for m in near if interval_kind(m - last) in practise]
        steps, kind = rng.choice(moves)
        same = [m for m in near if interval_kind(m - last) == kind
                and spell(m, key).diatonic - spell(last, key).diatonic == steps]
        midi.append(rng.choice(wanted) if wanted and rng.random() < 0.5 else rng.choice(same or near))
    return midi
