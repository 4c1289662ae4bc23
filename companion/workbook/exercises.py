"""Exercises from any tune, easiest first, each with its key.

What an exercise asks for is counted from its own notes (`demands`), and the level that it names is the lowest
that teaches all of it. Levels 1 to 3 are pitch only, every note a quaver, in a key without signs where the
tune allows; 4 adds values, rests and dots; 5 accidentals, keys, ties and the rest.
"""

from __future__ import annotations

import itertools
import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from companion.braille import encode, needs_octave, note_cells, say_dots
from companion.braille import signs as S
from companion.language.cues import number, ordinal
from companion.transcribe.doubts import pitch_words
from companion.tune import VALUES, Bar, Key, LineNote, Note, Pitch, Tune, interval_kind, spell, transpose

LEVELS = {
    1: "every note a quaver; the tune stays, or goes by step, to the next note up or down",
    2: "every note a quaver; steps, and skips, which pass over one note",
    3: "every note a quaver; steps, skips, and leaps, which pass over two notes or more",
    4: "all moves, and how long notes are: values, dots, rests and the time signature",
    5: "all moves and all signs: sharps, flats, keys, ties and more",
}
#: What each thing that an exercise may ask for needs.
LEVEL_OF = {"level": 1, "semitone": 1, "step": 1, "skip": 2, "leap": 3, "values": 4, "dots": 4, "rests": 4,
            "time": 4, "accidentals": 5, "key": 5, "ties": 5, "slurs": 5, "marks": 5, "repeats": 5,
            "triplets": 5, "words": 5}
GAP = S.cells("123456")  # a full cell stands where a note is left out
MOST_ITEMS = 8  # of one kind: a set that can be done in one sitting
MOST_NOTES = 10  # in one item
WIDEST_NEW = 9  # semitones, a sixth: new tunes have no wider leap, whatever the tune has
PLAY = "Play the notes from the recording, or those that the answers name"
RHYTHM_PITCH = Pitch("B", 4)
KINDS = ("notes", "moves", "read", "octave marks", "which version", "wrong note", "dictation", "gap", "new start",
         "rhythm", "new tunes")


@dataclass(frozen=True)
class Item:
    """One question. ask: what to do, in words. cells: what is under the fingers, lines of Unicode cells.

    play: what is sounded, None for nothing. answer: in words. answer_cells: in cells, () where the answer is none.
    answer_line: the notes that the answer stands for. place: number of the note in question, 0 for none.
    """

    ask: str
    cells: tuple[str, ...]
    play: tuple[LineNote, ...] | None
    answer: str
    answer_cells: tuple[str, ...]
    answer_line: tuple[LineNote, ...]
    place: int = 0
    demands: frozenset[str] = frozenset()
    other_line: tuple[LineNote, ...] = ()


@dataclass(frozen=True)
class Exercise:
    """Questions of one kind. level: of LEVELS, the lowest that teaches all that is asked for."""

    kind: str
    title: str
    helper: str
    items: tuple[Item, ...]
    demands: frozenset[str] = field(default=frozenset())

    @property
    def level(self) -> int:
        return level_of(self.demands)


def level_of(demands: frozenset[str]) -> int:
    return max((LEVEL_OF[d] for d in demands), default=1)


def demands(tune: Tune, pitch_only: bool = False) -> frozenset[str]:
    """What reading a tune asks for: kinds of moves, and signs by group (keys of LEVEL_OF)."""
    out: set[str] = {interval_kind(b.midi - a.midi) for a, b in itertools.pairwise(tune.line())}
    if tune.key.fifths:
        out.add("key")
    for bar in tune.bars:
        for note in bar.notes:
            if note.pitch is not None and note.pitch.alter != tune.key.alter(note.pitch.step):
                out.add("accidentals")
            if pitch_only:
                continue
            out |= {"values"} if note.base != Fraction(1, 2) or note.pitch is None else set()
            out |= {"dots"} if note.dots else set()
            out |= {"rests"} if note.pitch is None else set()
            out |= {"ties"} if note.tie else set()
            out |= {"slurs"} if note.slur_starts else set()
            out |= {"marks"} if note.marks or note.grace or note.before else set()
            out |= {"triplets"} if note.tuplet else set()
            out |= {"words"} if note.syllables else set()
        if not pitch_only and (bar.forward_repeat or bar.backward_repeat or bar.ending or bar.after):
            out.add("repeats")
    if not pitch_only and any(b.time for b in tune.bars):
        out.add("time")
    return frozenset(out)


def plain_tune(tune: Tune) -> Tune:
    """The tune as sung, repeats unfolded, moved to where it needs no key signature (C major, A minor), as near
    as it lies, spelled in that key."""
    moved = transpose(tune, transpose_semitones(tune.key, 0))
    return moved if moved.key.fifths == 0 else tune


def transpose_semitones(key: Key, fifths: int) -> int:
    """The nearest way, in semitones, from one key to the one with so many fifths: -6 to 5."""
    return (7 * (fifths - key.fifths) + 6) % 12 - 6


def quavers(pitches: Sequence[Pitch], title: str = "", key: Key | None = None) -> Tune:
    """Pitches as a line of quavers with no bars in it."""
    notes = tuple(Note(pitch=p, base=Fraction(1, 2)) for p in pitches)
    return Tune(title=title, bars=(Bar(number=1, notes=notes, key=key or Key()),), phrase_starts=(1,))


def music_cells(tune: Tune, pitch_only: bool, width: int = 40) -> tuple[str, ...]:
    """The lines of music of a tune, with no title; a heading of key and time only where it has one."""
    bare = replace(tune, bars=tuple(replace(b, notes=tuple(replace(n, syllables=()) for n in b.notes))
                                    for b in tune.bars), quarter_bpm=None)
    lines = encode(bare, width=width, pitch_only=False, title=False, words=False).lines
    if pitch_only:
        lines = encode(quavers([n.pitch for n in tune.line()], key=tune.key), width=width, title=False,
                       words=False).lines
    return tuple(line.rstrip(S.SPACE) for line in lines)


def names(line: Sequence[LineNote]) -> str:
    """ "C, D, E": the letters of a line, with the octave said where it changes by a mark."""
    out, before = [], None
    for n in line:
        mark = f" in the {S.OCTAVE_WORDS[n.pitch.octave]}" if needs_octave(before, n.pitch) and \
            0 <= n.pitch.octave <= 8 else ""
        out.append(pitch_words(n.pitch) + mark)
        before = n.pitch
    return ", ".join(out)


def value_names(line: Sequence[LineNote]) -> str:
    """ "crotchet, quaver, quaver": the values of a line, rests said where they stand."""
    from companion.transcribe.doubts import value_words

    out = []
    for n in line:
        ticks = n.quarters * 4
        out.append(value_words(int(ticks)).split(" ", 1)[1] if ticks.denominator == 1
                   else next((v[0] for b, v in VALUES.items() if b == n.quarters), "a shorter value"))
        if n.rest_after and n is not line[-1]:
            rest = n.rest_after * 4
            out.append((value_words(int(rest)).split(" ", 1)[1] if rest.denominator == 1 else "short")
                       + " rest")
    return ", ".join(out)


def exercises(tune: Tune, seed: int = 1, practise: Sequence[str] = (), width: int = 40) -> list[Exercise]:
    """All kinds of exercises that a tune is good for, lowest level first (see KINDS).

    practise: kinds of moves ("step", "skip", "leap" ...) that the pupil's diary asks for; the new tunes then
    are made of these. width: cells in a line. The same seed gives the same exercises.
    """
    rng = random.Random(seed)
    plain = plain_tune(tune)
    made = [
        _notes(plain), _moves(plain), _read(plain, width), _octave_marks(plain, width),
        _which(plain, rng, width), _wrong(plain, rng, width), _dictation(plain, width), _gap(plain, rng, width),
        _new_start(plain, width), _rhythm(tune, width), _new_tunes(plain, rng, practise, width),
    ]
    out = [replace(e, items=e.items[:MOST_ITEMS], demands=frozenset().union(
        *(i.demands for i in e.items[:MOST_ITEMS]))) for e in made if e.items]
    return sorted(out, key=lambda e: (e.level, KINDS.index(e.kind)))


def _phrases(tune: Tune) -> list[tuple[LineNote, ...]]:
    line = tune.line()
    count = max((n.phrase for n in line), default=0)
    out = []
    for p in range(1, count + 1):
        notes = tuple(n for n in line if n.phrase == p)
        # A phrase of more notes than can be remembered is asked for in equal parts.
        size = -(-len(notes) // -(-len(notes) // MOST_NOTES)) if notes else 1
        out += [notes[i:i + size] for i in range(0, len(notes), size)]
    return [p for p in out if len(p) >= 2]


def _pitch_item(pitches: Sequence[Pitch], key: Key) -> tuple[Tune, frozenset[str]]:
    made = quavers(pitches, key=key)
    return made, demands(made, pitch_only=True)


def _notes(tune: Tune) -> Exercise:
    line = tune.line()
    distinct: dict[Pitch, int] = {}
    for n in line:
        distinct[n.pitch] = distinct.get(n.pitch, 0) + 1
    items = []
    for pitch in sorted(distinct, key=lambda p: (-distinct[p], p.midi))[:MOST_ITEMS]:
        made, needs = _pitch_item([pitch], Key())
        # The sign stands before a note in its own right here: no key has been read.
        cells = note_cells(pitch, Fraction(1, 2), accidental=pitch.alter or None)
        items.append(Item("Which note is this?", (cells,), made.line(),
                          f"{pitch_words(pitch)}, {S.OCTAVE_WORDS[pitch.octave]}: {say_dots(cells)}.", (cells,),
                          made.line(), demands=needs))
    return Exercise("notes", "Single notes", "Put the pupil's finger on the cells. The pupil names the note. Then "
                    "play it, and the pupil sings it.", tuple(items))


def _moves(tune: Tune) -> Exercise:
    seen: dict[tuple[Pitch, Pitch], int] = {}
    for a, b in itertools.pairwise(tune.line()):
        seen[a.pitch, b.pitch] = seen.get((a.pitch, b.pitch), 0) + 1
    order = ("level", "step", "semitone", "skip", "leap")
    items = []
    for one, two in sorted(seen, key=lambda m: (order.index(interval_kind(m[1].midi - m[0].midi)),
                                            abs(m[1].midi - m[0].midi), -seen[m]))[:MOST_ITEMS]:
        made, needs = _pitch_item([one, two], tune.key)
        kind = interval_kind(two.midi - one.midi)
        way = "stays on one note" if kind == "level" else \
            f"goes {'up' if two.midi > one.midi else 'down'} by a {kind}"
        items.append(Item("Read the two notes. Does the tune go up, go down or stay? Then sing them.",
                          music_cells(made, True), made.line(), f"{pitch_words(one)} to {pitch_words(two)}: it {way}.",
                          music_cells(made, True), made.line(), demands=needs))
    return Exercise("moves", "The tune's own moves", "Lift the pupil's hand where the tune goes up, lower it where it "
                    "goes down, keep it still where it stays.", tuple(items))


def _read(tune: Tune, width: int) -> Exercise:
    items = []
    for phrase in _phrases(tune):
        made, needs = _pitch_item([n.pitch for n in phrase], tune.key)
        cells = music_cells(made, True, width)
        items.append(Item("Read the notes aloud, then sing them.", cells, None, f"{names(made.line())}.", cells,
                          made.line(), demands=needs))
    return Exercise("read", "The tune, pitch only", "Every note is written as a quaver here. Only which note it is "
                    "counts, not how long it is.", tuple(items))


def without_marks(cells: str) -> str:
    """Music cells of a line of quavers with every octave mark taken away. Their cells (one of dots 4, 5 and 6)
    stand for nothing else in such a line."""
    marks = {c for octave in range(1, 8) for c in S.OCTAVES[octave]}
    return "".join(c for c in cells if c not in marks)


def _octave_marks(tune: Tune, width: int) -> Exercise:
    items: list[Item] = []
    for phrase in _phrases(tune):
        made, needs = _pitch_item([n.pitch for n in phrase], tune.key)
        cells = music_cells(made, True, width)
        marked = _marked(made.line())
        if len(marked) < 2 and len(items) >= 2:
            continue
        bare = tuple(without_marks(c) for c in cells)
        where = " and ".join(ordinal(k) for k in marked)
        items.append(Item("Listen, then write the notes with their octave marks, which are left out here.", bare,
                          made.line(), f"Marks before the {where} note{'s' if len(marked) > 1 else ''}: "
                          f"{names(made.line())}.", cells, made.line(), demands=needs))
    return Exercise("octave marks", "Octave marks put back", f"{PLAY}. A mark is written before "
                    "the first note, before any jump of a sixth or more, and before a jump of a fourth or fifth into "
                    "another octave.", tuple(items))


def _marked(line: Sequence[LineNote]) -> list[int]:
    before, out = None, []
    for k, n in enumerate(line, 1):
        if needs_octave(before, n.pitch):
            out.append(k)
        before = n.pitch
    return out


def _turned(phrase: Sequence[LineNote], rng: random.Random, key: Key) -> tuple[list[Pitch], int] | None:
    """The phrase with one note in the middle changed by a step or two so that a move goes another way; its place."""
    choice = list(range(1, len(phrase)))
    rng.shuffle(choice)
    kinds = {interval_kind(b.midi - a.midi) for a, b in itertools.pairwise(phrase)}
    for i in choice:
        before, note = phrase[i - 1], phrase[i]
        way = (note.midi > before.midi) - (note.midi < before.midi)
        others = sorted(p for p in {n.midi for n in phrase} | {note.midi + d for d in (-4, -3, -2, 2, 3, 4)}
                        if _diatonic(p, key) and 2 <= abs(p - note.midi) <= 5
                        and ((p > before.midi) - (p < before.midi)) != way)
        if i + 1 < len(phrase):
            others = [p for p in others if abs(phrase[i + 1].midi - p) <= 9]
        # Rather a move of a kind that the phrase has than one that asks for more.
        own = [p for p in others if interval_kind(p - before.midi) in kinds and
               (i + 1 == len(phrase) or interval_kind(phrase[i + 1].midi - p) in kinds)]
        if others:
            new = spell(rng.choice(own or others), key)
            return [*(n.pitch for n in phrase[:i]), new, *(n.pitch for n in phrase[i + 1:])], i + 1
    return None


def _diatonic(midi: int, key: Key) -> bool:
    pitch = spell(midi, key)
    return pitch.alter == key.alter(pitch.step)


def _with_a_wrong_note(tune: Tune, rng: random.Random) -> Iterator[tuple[tuple[LineNote, ...], Tune, int, frozenset[str]]]:
    """Phrases, each with a version in which one note is wrong, the number of that note, and what both demand."""
    for phrase in _phrases(tune):
        turned = _turned(phrase, rng, tune.key) if len(phrase) > 2 else None
        if turned:
            true, needs = _pitch_item([n.pitch for n in phrase], tune.key)
            false, needs_too = _pitch_item(turned[0], tune.key)
            yield true.line(), false, turned[1], needs | needs_too


def _which(tune: Tune, rng: random.Random, width: int) -> Exercise:
    items = []
    for phrase, false, at, needs in _with_a_wrong_note(tune, rng):
        first = rng.random() < 0.5
        right = music_cells(quavers([n.pitch for n in phrase], key=tune.key), True, width)
        other = music_cells(false, True, width)
        items.append(Item("Which version do you hear, the first or the second? Read both, then listen.",
                          (*right, *other) if first else (*other, *right), phrase,
                          f"The {'first' if first else 'second'}. The other differs at the {ordinal(at)} note: "
                          f"{pitch_words(false.line()[at - 1].pitch)} in place of {pitch_words(phrase[at - 1].pitch)}.",
                          right, phrase, place=1 if first else 2, demands=needs, other_line=false.line()))
    return Exercise("which version", "Two versions", f"{PLAY}, twice. The pupil reads both versions and says which was "
                    "heard.", tuple(items))


def _wrong(tune: Tune, rng: random.Random, width: int) -> Exercise:
    items = []
    for phrase, false, at, needs in _with_a_wrong_note(tune, rng):
        right = music_cells(quavers([n.pitch for n in phrase], key=tune.key), True, width)
        items.append(Item("Find the one note that is written wrongly. Listen, and follow with the finger.",
                          music_cells(false, True, width), phrase, f"The {ordinal(at)} note: "
                          f"{pitch_words(false.line()[at - 1].pitch)} is written, {pitch_words(phrase[at - 1].pitch)} "
                          "is right.", right, phrase, place=at, demands=needs, other_line=false.line()))
    return Exercise("wrong note", "A wrong note to find", f"{PLAY}. The finger stops where what is written is not what "
                    "is heard.", tuple(items))


def _bars(tune: Tune) -> list[tuple[LineNote, ...]]:
    line = tune.line()
    out: dict[int, list[LineNote]] = {}
    for n in line:
        out.setdefault(n.sources[0][0], []).append(n)
    return [tuple(v) for v in out.values() if len(v) >= 2]


def _dictation(tune: Tune, width: int) -> Exercise:
    items = []
    seen = set()
    for bar in _bars(tune):
        key = tuple(n.pitch for n in bar)
        if key in seen:
            continue
        seen.add(key)
        made, needs = _pitch_item([n.pitch for n in bar], tune.key)
        cells = music_cells(made, True, width)
        start = note_cells(bar[0].pitch, Fraction(1, 2), accidental=None)
        items.append(Item(f"Listen, then write what you hear. It begins on {pitch_words(bar[0].pitch)}, "
                          f"{S.OCTAVE_WORDS[bar[0].pitch.octave]}.", (start,), made.line(), f"{names(made.line())}.",
                          cells, made.line(), demands=needs))
    return Exercise("dictation", "Dictation, bar by bar", f"{PLAY}, as often as is asked for. The pupil writes every note "
                    "as a quaver; the first one is given.", tuple(items))


def _gap(tune: Tune, rng: random.Random, width: int) -> Exercise:
    items = []
    for phrase in _phrases(tune):
        if len(phrase) < 3:
            continue
        at = rng.randrange(1, len(phrase))
        made, needs = _pitch_item([n.pitch for n in phrase], tune.key)
        page = encode(made, width=width, title=False, words=False)
        link = next((k for k in page.links if k.note == at + 1), None)
        if link is None:
            continue
        lines = list(page.lines)
        row = lines[link.line - 1]
        tail = row[link.column - 1 + link.cells:]
        end = row[link.column - 1:link.column - 1 + link.cells]
        closing = S.FINAL_BAR if end.endswith(S.FINAL_BAR) else ""
        lines[link.line - 1] = row[:link.column - 1] + GAP + closing + tail
        right = note_cells(phrase[at].pitch, Fraction(1, 2), octave=False, accidental=None)
        if needs_octave(phrase[at - 1].pitch, phrase[at].pitch):
            right = note_cells(phrase[at].pitch, Fraction(1, 2), accidental=None)
        items.append(Item("Listen, then write the note that is missing. A full cell stands in its place.",
                          tuple(x.rstrip(S.SPACE) for x in lines), made.line(),
                          f"The {ordinal(at + 1)} note is {pitch_words(phrase[at].pitch)}: {say_dots(right)}.",
                          tuple(x.rstrip(S.SPACE) for x in page.lines), made.line(), place=at + 1, demands=needs))
    return Exercise("gap", "A gap to fill", f"{PLAY}, the missing one too.", tuple(items))


def _new_start(tune: Tune, width: int) -> Exercise:
    """The first phrase from other notes: of those near, the ones that need the fewest signs."""
    phrases = _phrases(tune)
    if not phrases:
        return Exercise("new start", "", "", ())
    phrase = phrases[0]
    items = []
    choices = []
    for semitones in (-5, -4, -3, -2, 2, 3, 4, 5, 7):
        midi = [n.midi + semitones for n in phrase]
        moved = [spell(m, Key()) for m in midi]
        if all(p.alter == 0 for p in moved):
            choices.append((0, abs(semitones), semitones, moved, Key()))
        else:
            key = transpose(tune, semitones).key
            choices.append((1 + abs(key.fifths), abs(semitones), semitones, [spell(m, key) for m in midi], key))
    for _, _, semitones, moved, key in sorted(choices, key=lambda c: c[:2])[:3]:
        made, needs = _pitch_item(moved, key)
        original, needs2 = _pitch_item([n.pitch for n in phrase], tune.key)
        items.append(Item(f"Write this tune so that it begins on {pitch_words(moved[0])}, "
                          f"{S.OCTAVE_WORDS[moved[0].octave]}.", music_cells(original, True, width), made.line(),
                          f"{names(made.line())}. All notes are {number(abs(semitones))} semitones "
                          f"{'higher' if semitones > 0 else 'lower'}.", music_cells(made, True, width), made.line(),
                          demands=needs | needs2))
    return Exercise("new start", "Starting elsewhere", "All moves stay as they are; only the first note is another.",
                    tuple(items))


def _rhythm(tune: Tune, width: int) -> Exercise:
    """The values alone, all on one note, a few bars at a time; ties, repeats and marks set aside."""
    items = []
    time = tune.time
    groups = [tune.bars[i:i + 2] for i in range(0, len(tune.bars), 2)]
    seen = set()
    for group in groups:
        bars, clean = [], True
        for k, bar in enumerate(group):
            notes = []
            for note in bar.notes:
                if note.grace:
                    continue
                if note.tuplet or note.tie:
                    clean = False
                notes.append(Note(pitch=RHYTHM_PITCH if note.pitch else None, base=note.base, dots=note.dots,
                                  whole_bar=note.whole_bar))
            bars.append(Bar(number=k + 1, notes=tuple(notes), key=Key() if k == 0 else None,
                            time=time if k == 0 else None))
        made = Tune(title="", bars=tuple(bars), phrase_starts=(1,))
        shape = tuple((n.base, n.dots, n.pitch is None) for b in bars for n in b.notes)
        if not clean or len(made.line()) < 2 or shape in seen or any(b.time for b in group[1:]):
            continue
        seen.add(shape)
        cells = music_cells(made, False, width)
        items.append(Item("Clap the rhythm, then name each value.", cells, made.line(),
                          f"{value_names(made.line()).capitalize()}.", cells, made.line(),
                          demands=demands(made) - {"level"} | {"level"}))
    return Exercise("rhythm", "The rhythm alone", "All notes are B here, so that only how long they are counts. Count "
                    f"{number(sum(time.upper))} to a bar.", tuple(items))


def _new_tunes(tune: Tune, rng: random.Random, practise: Sequence[str], width: int) -> Exercise:
    """Short tunes in the tune's range made of its own moves (or those kinds that are asked for)."""
    line = tune.line()
    low, high = min(n.midi for n in line), max(n.midi for n in line)
    scale = sorted({m for m in range(low, high + 1) if _diatonic(m, tune.key)})
    sizes = [(b.pitch.diatonic - a.pitch.diatonic, interval_kind(b.midi - a.midi)) for a, b in itertools.pairwise(line)]
    kinds = {k for _, k in sizes}
    allowed = kinds | set(practise)
    items: list[Item] = []
    if len(scale) < 3:
        return Exercise("new tunes", "", "", ())
    tonic = spell(line[-1].midi, tune.key)
    home = tonic.midi if tonic.midi in scale else scale[0]
    for _ in range(200):
        if len(items) == 4:
            break
        midi = [home if rng.random() < 0.6 else rng.choice(scale)]
        while len(midi) < 8:
            near = [m for m in scale if interval_kind(m - midi[-1]) in allowed and abs(m - midi[-1]) <= WIDEST_NEW
                    and not (m == midi[-1] and len(midi) > 1 and midi[-2] == m)]
            if not near:
                break
            wanted = [m for m in near if interval_kind(m - midi[-1]) in practise]
            step, kind = rng.choice(sizes)
            same = [m for m in near if spell(m, tune.key).diatonic - spell(midi[-1], tune.key).diatonic == step
                    and interval_kind(m - midi[-1]) == kind]
            midi.append(rng.choice(wanted) if wanted and rng.random() < 0.5 else rng.choice(same or near))
        if len(midi) < 8 or midi[-1] != home or len(set(midi)) < 3 or \
                any(i.answer_line and [n.midi for n in i.answer_line] == midi for i in items):
            continue
        made, needs = _pitch_item([spell(m, tune.key) for m in midi], tune.key)
        cells = music_cells(made, True, width)
        items.append(Item("Read this new tune, then sing it.", cells, made.line(),
                          f"{names(made.line())}.", cells, made.line(), demands=needs))
    return Exercise("new tunes", "New tunes from the same moves", "Play the notes, which the answers name, only after "
                    "they have been sung.", tuple(items))

