"""A tune as a stage shows it: only so much of it as has been taught, bar by bar and as a page.

What is left out is named in plain words; see LEAVE_OUT. The sung line always equals what is shown: where
the values are left out, every note is sung as a quaver.
"""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property

from companion.braille import (
    BraillePage,
    Habits,
    Meaning,
    MeaningKind,
    decode,
    encode,
    key_cells,
    needs_octave,
    note_cells,
    pitch_only_tune,
    time_cells,
)
from companion.braille import signs as S
from companion.course.facts import QUAVER, fact, note_name, octave_name, said_signs
from companion.errors import Trouble
from companion.messages import _
from companion.tune import Barline, Key, LineNote, Note, Pitch, Tune, load

#: values: every note a quaver, no rests. octave marks: no marks at all. bars: notes in rows of a few, no bar
#: lines. key: accidentals written at the notes instead. time: no time signature. words: no words.
#: bar repeats: equal bars written out each time. groups: every small value written as what it is.
LEAVE_OUT = ("values", "octave marks", "bars", "key", "time", "words", "bar repeats", "groups")


ROW = 8  # notes in a line of a beginner: what a finger takes in at one go


def habits(leave_out: Collection[str]) -> Habits:
    """The encoder's habits for what is left out."""
    return Habits(octave_marks="octave marks" not in leave_out, repeats="bar repeats" not in leave_out,
                  grouped="groups" not in leave_out)


@dataclass(frozen=True)
class Pulse:
    """The beat of what is heard or sung: how many beats a bar has, which is how many are counted in, and the length of
    each in crotchets."""

    counts: int
    beat: Fraction


def pulse_of(tune: Tune, leave_out: Collection[str]) -> Pulse | None:
    """The beat of a shown tune, None where its values are left out: then every note is as long as the next."""
    if "values" in leave_out:
        return None
    time = next((b.time for b in tune.bars if b.time), None)
    beat = time.beat if time else Fraction(1)
    bar = time.quarters if time else max(sum((n.quarters for n in b.notes), Fraction(0)) for b in tune.bars)
    return Pulse(max(2, math.ceil(bar / beat)), beat)


@dataclass(frozen=True)
class Group:
    """A bar or a few as shown: their cells, the notes to be sung, what each sign says, and the signs in it by name.

    meanings: none where notes stand in a row without bars, so that each says only itself. bar: its printed number.
    piece: the same as a tune that stands alone. leave_out: what is not shown of it. before: the cells of its key and time,
    which stand before its first bar. words: the line of words that stands over it, "" for none.
    """

    name: str
    bar: int
    cells: str
    line: tuple[LineNote, ...]
    meanings: tuple[Meaning, ...]
    signs: frozenset[str]
    piece: Tune
    leave_out: frozenset[str] = frozenset()
    before: str = ""
    words: str = ""

    @property
    def notes(self) -> tuple[Note, ...]:
        """Its notes and rests as they are written."""
        return tuple(n for bar in self.piece.bars for n in bar.notes)

    @property
    def pulse(self) -> Pulse | None:
        """Its beat, None where all is quavers."""
        return pulse_of(self.piece, self.leave_out)

    @property
    def ends_in_silence(self) -> bool:
        """Whether a rest stands last, which nobody can hear."""
        return bool(self.notes) and self.notes[-1].pitch is None

    @property
    def with_key(self) -> str:
        """Its cells with key and time before them, so that no note is altered by what cannot be felt."""
        return f"{self.before}{S.SPACE}{self.cells}" if self.before else self.cells

    @property
    def page(self) -> str:
        """All that is under the fingers: the words on a line of their own, then the music with its key."""
        return f"{self.words}\n{self.with_key}" if self.words else self.with_key

    @property
    def shows_octave(self) -> bool:
        """Whether its first note has an octave mark."""
        return octave_name(self.line[0].pitch.octave) in self.signs

    @property
    def quarters(self) -> Fraction:
        """How long it lasts, in crotchets."""
        return sum((n.quarters for n in self.notes), Fraction(0))


@dataclass(frozen=True)
class Material:
    """A tune and what is left out of it. made: small tunes made for it, which take the place of its bars. known: the signs
    that may be in what is made of them, None for those of the tune."""

    name: str
    tune: Tune
    leave_out: frozenset[str]
    made: tuple[Tune, ...] = ()
    known: frozenset[str] | None = None

    @cached_property
    def shown(self) -> Tune:
        return shown_tune(self.tune, self.leave_out)

    @cached_property
    def groups(self) -> tuple[Group, ...]:
        """What was made for it, else the bars that have notes."""
        if self.made:
            return tuple(make_group(self.name, piece, self.leave_out) for piece in self.made)
        return tuple(make_group(f"{self.name} bar {bar.number}", bar_alone(self.shown, i), self.leave_out, bar.number)
                     for i, bar in enumerate(self.shown.bars) if any(n.pitch for n in bar.notes))

    @cached_property
    def pitches(self) -> tuple[Pitch, ...]:
        """Every pitch of it once, lowest first."""
        found = {n.pitch for _, _, n in self.shown.written() if n.pitch}
        return tuple(sorted(found, key=lambda p: (p.midi, p.diatonic)))

    @cached_property
    def note_facts(self) -> tuple[str, ...]:
        """Names of the facts of its notes ("C crotchet"), lowest first, each once."""
        seen: dict[str, int] = {}
        for _unused, _unused, n in self.shown.written():
            if n.pitch and not n.grace:
                seen.setdefault(note_fact(n), n.pitch.diatonic)
        if any(len(name) > 1 for name in seen):
            # Among several values a quaver is named as one.
            seen = {name if len(name) > 1 else note_name(name, QUAVER): at for name, at in seen.items()}
        return tuple(sorted(seen, key=lambda name: seen[name]))

    def lines(self, width: int = 40) -> tuple[str, ...]:
        """The whole tune in cells, without a title, in lines of at most `width`."""
        return shown_lines(self.shown, self.leave_out, width)

    @property
    def has_bars(self) -> bool:
        """Whether its page has bar lines."""
        return "bars" not in self.leave_out

    @property
    def sung(self) -> bool:
        """Whether its page has words over their music."""
        return self.has_bars and "words" not in self.leave_out and any(n.syllables for _b, _n, n in self.shown.written())

    def page(self, width: int = 40) -> BraillePage:
        """The page of a tune that has bars, without a title."""
        return shown_page(self.shown, self.leave_out, width)

    @cached_property
    def signs(self) -> frozenset[str]:
        """Every sign in it as shown."""
        return page_signs(self.shown, self.leave_out)


def note_fact(note: Note) -> str:
    """The fact of a note's own cell: "C", "C crotchet", "C dotted crotchet"."""
    assert note.pitch is not None
    if note.base == QUAVER and not note.dots:
        return note.pitch.step
    return note_name(note.pitch.step, note.base, note.dots == 1)


def material(tune: str | Tune, leave_out: Collection[str] = (), part: str | None = None) -> Material:
    """A tune (name, file or Tune) with some things left out. part: of a file, as `load` takes it.

    Raises Trouble for a word that is none of these.
    """
    for word in leave_out:
        if word not in LEAVE_OUT:
            raise Trouble(_("{word!r} cannot be left out of a tune; these can: {words}.").format(
                                word=word, words=', '.join(LEAVE_OUT)))
    loaded = load(tune, part) if isinstance(tune, str) else tune
    return Material(tune if isinstance(tune, str) else tune.title, loaded, frozenset(leave_out))


def shown_tune(tune: Tune, leave_out: Collection[str]) -> Tune:
    """The tune with what is left out taken away, as far as it is a matter of notes."""
    out = without_metronome(tune)
    if "values" in leave_out:
        out = pitch_only_tune(out)
        out = replace(out, bars=tuple(replace(b, forward_repeat=False, backward_repeat=0, ending=(),
                                              ending_stop=False, barline=Barline.PLAIN, after=()) for b in out.bars))
    bars = list(out.bars)
    if "key" in leave_out:
        bars = [replace(b, key=Key() if i == 0 else None) for i, b in enumerate(bars)]
    if "time" in leave_out:
        bars = [replace(b, time=None) for b in bars]
    if "words" in leave_out:
        bars = [replace(b, notes=tuple(replace(n, syllables=()) for n in b.notes)) for b in bars]
    return replace(out, bars=tuple(bars))


def without_metronome(tune: Tune) -> Tune:
    """Metronome marks are for a clock, not for a voice that learns; the course shows none."""
    bars = []
    for bar in tune.bars:
        notes = tuple(replace(n, before=tuple(d for d in n.before if d.kind != "metronome")) for n in bar.notes)
        bars.append(replace(bar, notes=notes, after=tuple(d for d in bar.after if d.kind != "metronome")))
    return replace(tune, bars=tuple(bars))


def bar_alone(tune: Tune, index: int) -> Tune:
    """One bar of a shown tune, standing alone with its key and time; repeats and endings belong to the tune."""
    bar = tune.bars[index]
    key = next((b.key for b in reversed(tune.bars[:index + 1]) if b.key), Key())
    time = next((b.time for b in reversed(tune.bars[:index + 1]) if b.time), None)
    notes = bar.notes
    if notes and notes[-1].tie:
        notes = (*notes[:-1], replace(notes[-1], tie=False))
    alone = replace(bar, notes=notes, key=key, time=time, forward_repeat=False, backward_repeat=0, ending=(),
                    ending_stop=False, barline=Barline.PLAIN, after=())
    return Tune(title="", bars=(alone,), phrase_starts=())


def make_group(name: str, piece: Tune, leave_out: Collection[str], bar: int = 1) -> Group:
    """A small tune to be read at one go: its first note has an octave mark unless they are left out."""
    left_out = frozenset(leave_out)
    if "bars" in left_out:
        cells, signs = row_cells([n for b in piece.bars for n in b.notes], left_out)
        return Group(name, bar, cells, piece.line(), (), signs, piece, left_out)
    # One line of cells for the words, so that what is sung has them, and one for the music.
    page = encode(piece, width=MOST_CELLS, words=False, title=False, habits=habits(left_out))
    music = {k.line for k in page.links}
    cells = S.SPACE.join(page.lines[i - 1].strip(S.SPACE) for i in sorted(music))
    said = decode(page.lines).said
    meanings = tuple(s.meaning for s in said if s.line in music)
    if piece.bars[-1].barline is not Barline.FINAL:
        cells = cells.removesuffix(S.FINAL_BAR)
        meanings = tuple(m for m in meanings if m.sign != Barline.FINAL.sign)
    signs = frozenset().union(*map(said_signs, (*meanings, *(s.meaning for s in said if s.meaning.kind in _BEFORE))))
    words = _words_over(piece) if "words" not in left_out else ""
    signs |= {name for name, there in (("key signature", piece.key.fifths), ("bar line", len(piece.bars) > 1),
                                       ("words", words)) if there}
    return Group(name, bar, cells, piece.line(), meanings, signs, piece, left_out, _key_and_time(piece), words)


def _key_and_time(piece: Tune) -> str:
    """The cells that stand before a small tune, "" for none."""
    time = next((b.time for b in piece.bars if b.time), None)
    return (key_cells(piece.key) if piece.key.fifths else "") + (time_cells(time) if time else "")


MOST_CELLS = 120  # of a line of a small tune
_BEFORE = (MeaningKind.KEY, MeaningKind.TIME)  # what stands over the music


def _words_over(piece: Tune) -> str:
    """The line of words of a small tune, "" where it has none."""
    if not any(n.syllables for b in piece.bars for n in b.notes):
        return ""
    page = encode(piece, width=MOST_CELLS, title=False)
    music = {k.line for k in page.links}
    return next((page.lines[i - 2].strip(S.SPACE) for i in sorted(music) if i > 1), "")


def row_cells(notes: Collection[Note], leave_out: Collection[str],
              before: Pitch | None = None) -> tuple[str, frozenset[str]]:
    """Notes in a row with no bar lines, and the signs used. `before`: the note before on the same line."""
    cells, signs = "", set()
    for note in notes:
        if note.pitch is None:
            continue
        if "octave marks" not in leave_out and needs_octave(before, note.pitch):
            cells += S.OCTAVES[note.pitch.octave]
            signs.add(S.OCTAVE_WORDS[note.pitch.octave])
        cells += note_cells(note.pitch, note.base, note.dots, octave=False)
        signs |= fact(note_fact(note)).signs
        before = note.pitch
    return cells, frozenset(signs)


def shown_lines(tune: Tune, leave_out: Collection[str], width: int = 40) -> tuple[str, ...]:
    """A shown tune in lines of cells. With bars left out: rows of a few notes, each beginning afresh."""
    if "bars" not in leave_out:
        return shown_page(tune, leave_out, width).lines
    cells = (row_cells(row, leave_out)[0] for row in rows_of(tune))
    return tuple(line[i:i + width] for line in cells for i in range(0, len(line), width))


def shown_page(tune: Tune, leave_out: Collection[str], width: int = 40) -> BraillePage:
    """A shown tune with its bars, without a title."""
    return encode(tune, width=width, words="words" not in leave_out, title=False, habits=habits(leave_out))


def rows_of(tune: Tune) -> list[list[Note]]:
    """The notes of each line where no bars are shown."""
    rows: list[list[Note]] = []
    for bar in tune.bars:
        notes = [n for n in bar.notes if n.pitch]
        # A bar stays whole, and as many as make a short row share a line.
        if rows and len(rows[-1]) + len(notes) <= ROW:
            rows[-1] += notes
        elif notes:
            rows.append(notes)
    return rows


def page_signs(tune: Tune, leave_out: Collection[str]) -> frozenset[str]:
    """Every sign on a shown tune's page, the space that is a bar line included."""
    if "bars" in leave_out:
        _, signs = row_cells([n for _, _, n in tune.written()], leave_out)
        return signs
    page = shown_page(tune, leave_out)
    signs = frozenset().union(*(said_signs(s.meaning) for s in decode(page.lines).said))
    return signs | ({"bar line"} if len(tune.bars) > 1 else frozenset())
