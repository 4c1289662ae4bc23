"""Music braille back to a tune, from the same tables that write it; and what a proof-reader would say to it.

Nothing here raises, whatever the cells: what is not understood is a `Problem` with line, column and a plain
sentence, and the rest is still read. The octave comes back by the rule that left its marks out (MBC 2015, 3.2.2):
a note without one lies within a second or third, or within a fourth or fifth in the same octave.

Layout. Heading: lines before the first music, centred, the last of them with key and time. Plain: music from the
margin, runovers further in. Vocal (MBC 2015, section 35): words at the margin, their music from cell 3.
"""

from __future__ import annotations

import re
import sys
from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any

from companion.braille import signs as S
from companion.braille.page import Link, Said, from_brf
from companion.braille.rhythm import BASES, UNITS, beat, capacity, read_bar
from companion.braille.text import from_dots, read_words, words
from companion.braille.units import NOTES, Unit, direction, read_expression, shape_of, split, unit
from companion.errors import Trouble
from companion.tune.model import STEPS, VALUES, Bar, Direction, Key, Note, Pitch, Syllable, Time, Tune, Tuplet

PITCH_ONLY_HEADING = "reading exercise: pitch only"
MOST_BYTES = 2_000_000  # a book of braille is smaller; more is a mistake
MOST_BARS = 20_000  # a repeat sign with a great number must not fill the memory
WORDY = 12  # cells; a line of words as long as this has letters that are no notes
INDEX = {step: i for i, step in enumerate(STEPS)}
#: Values of grace notes by row: they have no time of their own, so the commonest value of each row is meant.
GRACE_BASES = (Fraction(1, 4), Fraction(1, 8), Fraction(1), Fraction(1, 2), Fraction(8))

_U, _L = "".join(S.UPPER_DIGITS.values()), "".join(S.LOWER_DIGITS.values())
_SHARP, _FLAT, _NATURAL = S.ACCIDENTALS[1], S.ACCIDENTALS[-1], S.ACCIDENTALS[0]
_TIME = (f"{S.COMMON}|{S.CUT}|{S.NUMBER}[{_U}]{{1,2}}(?:{S.PLUS}{S.NUMBER}[{_U}]{{1,2}})*[{_L}]{{1,2}}")
_SIGNATURE = re.compile(
    f"(?P<naturals>{_NATURAL}{{1,3}}|{S.NUMBER}[{_U}]{_NATURAL})?"
    f"(?P<key>{_SHARP}{{1,3}}|{_FLAT}{{1,3}}|{S.NUMBER}[{_U}](?:{_SHARP}|{_FLAT}))?(?P<time>{_TIME})?")
_METRONOME = re.compile(f"(?P<note>[{''.join(n for n in NOTES if len(n) == 1)}])(?P<dots>{S.DOT}{{0,2}})"
                        f"{S.METRONOME}(?P<number>{S.NUMBER}[{_U}]{{1,4}}(?:{S.PUNCT_POINT}[{_U}]{{1,3}})?)")
_BAR_NUMBER = re.compile(f"{S.NUMBER}(?P<number>[{_U}]{{1,4}})(?P<within>{S.DOT}?)")
_REPEAT = re.compile(f"{S.BAR_REPEAT}(?:{S.NUMBER}(?P<times>[{_U}]{{1,3}}))?(?P<tail>.*)", re.DOTALL)
_WHOLE_REST = S.cells(S.ROW_RESTS[0])
_RESTS = re.compile(f"(?:(?P<few>{_WHOLE_REST}{{2,3}})|{S.NUMBER}(?P<many>[{_U}]{{1,3}}){_WHOLE_REST})(?P<tail>.*)",
                    re.DOTALL)
_TEXT = "".join(chr(S.CELL_BASE + i) for i in range(64) if i & 7 and chr(S.CELL_BASE + i) != S.WORD)
_EXPRESSION = f"{S.WORD}[{_TEXT}]++(?:[{S.SPACE}\n][{_TEXT}]++)*+{S.WORD}(?=[{S.SPACE}\n]|$)"
_EXPRESSIONS = re.compile(f"{_EXPRESSION}|{S.WORD}[{_TEXT}]++(?:{S.SPACE}[{_TEXT}]++)++$")
_GROUPS = re.compile(f"{_EXPRESSION}|[^{S.SPACE}\n]++")
#: Only a group that begins with one of these can be something else than notes.
_SPECIAL = frozenset((S.NUMBER, S.BAR_REPEAT, _WHOLE_REST, S.WORD, _SHARP, _FLAT, _NATURAL, S.COMMON[0], S.CUT[0]))
assert S.METRONOME == S.BAR_REPEAT  # so that one look finds either within a group
_DIGIT = {cell: d for d, cell in S.UPPER_DIGITS.items()} | {cell: d for d, cell in S.LOWER_DIGITS.items()}

@dataclass(frozen=True, slots=True)
class Problem:
    """What is amiss, for the pupil and whoever helps: line and column from 1, and one plain sentence."""

    line: int
    column: int
    say: str


@dataclass(frozen=True, slots=True)
class _Raw:
    """What places and words are worked out from when they are asked for."""

    reader: _Reader
    heading: list[_Line]
    texts: list[Said]
    at: Callable[[int], tuple[int, int]]


@dataclass(frozen=True)
class Reading:
    """A page as it was read.

    pitch_only: a reading exercise: its notes have pitch but no values, whatever cells stand for them.
    """

    tune: Tune
    problems: tuple[Problem, ...]
    pitch_only: bool = False
    _raw: _Raw | None = field(default=None, repr=False, compare=False)

    @cached_property
    def places(self) -> tuple[tuple[int, int, int, int, int], ...]:
        """(bar index, note index, line, column, cells) for every written note and rest, in order."""
        out: list[tuple[int, int, int, int, int]] = []
        if self._raw:
            for bar, cells, groups, again in self._raw.reader.written:
                n = 0
                for i, (piece, place) in enumerate(zip(cells, _starts(cells, groups), strict=True)):
                    u = unit(piece)
                    if u.kind:
                        lead, length = (0, 1) if i in again else (u.lead, len(piece) - u.lead)
                        out.append((bar, n, *self._raw.at(place + lead), length))
                        n += 1
            for bar, offset, length in self._raw.reader.repeated:
                out += [(bar, n, *self._raw.at(offset), length) for n in range(len(self.tune.bars[bar].notes))]
        return tuple(sorted(out))

    def _notes(self) -> list[tuple[Bar, Note, Fraction | None]]:
        out: list[tuple[Bar, Note, Fraction | None]] = []
        time = self.tune.time
        for bar in self.tune.bars:
            time = bar.time or time
            for note in bar.notes:
                length = time.quarters if note.whole_bar else note.quarters
                out.append((bar, note, None if self.pitch_only else length))
        return out

    def as_json(self) -> dict[str, Any]:
        """As in the contract; `quarters` is null where the page gives pitch only."""
        return {
            "notes": [{"midi": n.pitch.midi if n.pitch else None, "quarters": None if q is None else float(q),
                       "bar": b.number, "name": n.pitch.name if n.pitch else None}
                      for b, n, q in self._notes()],
            "key": self.tune.key.name, "time": None if self.pitch_only else say_time(self.tune.time),
            "pitch_only": self.pitch_only, "title": self.tune.title,
            "problems": [{"line": p.line, "column": p.column, "say": p.say} for p in self.problems]}

    def lines(self, american: bool = False) -> list[str]:
        """Plain lines: what was read, bar by bar, then what is amiss."""
        out = [f"{self.tune.title}." if self.tune.title else "A tune without a title."]
        signature = self.tune.key.name + ("" if self.pitch_only else f", {say_time(self.tune.time)}")
        out.append("Reading exercise: pitch only, no values." if self.pitch_only else f"{signature}.")
        bars: dict[int, list[str]] = {}
        for index, bar in enumerate(self.tune.bars):
            bars[index] = [say_written(n, american, self.pitch_only) for n in bar.notes] or ["nothing"]
        out += [f"Bar {self.tune.bars[i].number}: {', '.join(said)}." for i, said in bars.items()]
        if self.problems:
            out.append(f"{len(self.problems)} thing{'s' if len(self.problems) > 1 else ''} to look at:")
            out += [f"Line {p.line}, cell {p.column}: {p.say}" for p in self.problems]
        else:
            out.append("Nothing amiss was found.")
        return out

    @cached_property
    def links(self) -> tuple[Link, ...]:
        """As `BraillePage.links`: notes counted from 1, rests and grace notes not."""
        out: list[Link] = []
        for bar, place, line, column, cells in self.places:
            note = self.tune.bars[bar].notes[place]
            if note.pitch is not None and not note.grace:
                out.append(Link(len(out) + 1, line, column, cells))
        return tuple(out)

    def said(self, american: bool = False) -> tuple[Said, ...]:
        """Every sign of the page and what it says, in order of place."""
        raw = self._raw
        if raw is None:
            return ()
        out = [*_say_heading(raw.heading), *raw.texts]

        def group(place: int, cells: str) -> None:
            """Signs that are no bar of notes; words may run over the end of a line."""
            for offset, length, what in say_group(cells.replace("\n", S.SPACE)):
                at = place + offset
                for part in cells[offset:offset + length].split("\n"):
                    if part:
                        out.append(Said(*raw.at(at), len(part), what))
                    at += len(part) + 1

        for place, cells in raw.reader.others:
            group(place, cells)
        pieces: list[tuple[int, str, Note | None]] = []
        for bar, bar_cells, groups, again in raw.reader.written:
            notes = iter(self.tune.bars[bar].notes)
            for i, (cells, place) in enumerate(zip(bar_cells, _starts(bar_cells, groups), strict=True)):
                note = next(notes, None) if unit(cells).kind else None
                if i not in again:
                    pieces.append((place, cells, note))
        for place, cells, note in pieces:
            if cells[0] == S.WORD and cells[-1] == S.WORD:
                group(place, cells)
                continue
            line, column = raw.at(place)
            u = unit(cells)
            out += [Said(line, column + offset, length, what) for offset, length, what in u.said]
            if note is not None:
                offset, length = u.core
                out.append(Said(line, column + offset, length, say_written(note, american, self.pitch_only)))
        return tuple(sorted(out, key=lambda s: (s.line, s.column)))


def say_group(cells: str) -> list[tuple[int, int, str]]:
    """What a group that is no bar of notes says: (offset, cells, words)."""
    if cells[:1] == S.BAR_REPEAT:
        times = f", {_digits(cells[2:])} times" if len(cells) > 1 else ""
        return [(0, len(cells), S.SIGN_WORDS[S.BAR_REPEAT] + times)]
    if cells == S.HYPHEN:
        return [(0, 1, S.HYPHEN_WORDS)]
    if cells[:1] == S.WORD and cells[-1:] == S.WORD:
        return [(0, len(cells), f"words: {read_expression(cells[1:-1])}")]
    if match := _METRONOME.fullmatch(cells):
        return [(0, len(cells), f"metronome {_metronome(match).text}")]
    if signature := read_signature(cells):
        return say_signature(cells, *signature)
    if cells[:1] == S.NUMBER and cells[-1:] == _WHOLE_REST:
        return [(0, len(cells), f"{_digits(cells[1:-1])} bars of rest")]
    if set(cells) == {_WHOLE_REST}:
        return [(i, 1, "full bar rest") for i in range(len(cells))]
    if _BAR_NUMBER.fullmatch(cells):
        return [(0, len(cells), f"bar number {_digits(cells)}")]
    return list(unit(cells).said)


def say_signature(cells: str, key: Key | None, time: Time | None) -> list[tuple[int, int, str]]:
    """What a key and time signature say, one after the other."""
    match = _SIGNATURE.fullmatch(cells)
    at = len(cells) - len(match["time"] or "") if match else 0
    out = []
    if key is not None:
        count = abs(key.fifths)
        sign = "sharp" if key.fifths > 0 else "flat"
        out.append((0, at, f"{count} {sign}{'' if count == 1 else 's'}" if count else "no sharps or flats"))
    if time is not None:
        out.append((at, len(cells) - at, say_time(time)))
    return out


def say_time(time: Time) -> str:
    """ "4 4 time", "common time"."""
    return f"{time.symbol} time" if time.symbol else f"{' + '.join(map(str, time.upper))} {time.lower} time"


def say_written(note: Note, american: bool = False, pitch_only: bool = False) -> str:
    """ "C sharp 4, dotted crotchet"; "crotchet rest"; "full bar rest"; "C 4" where only the pitch counts."""
    dotted = ("", "dotted ", "double dotted ", "triple dotted ")[min(note.dots, 3)]
    value = dotted + VALUES[note.base][1 if american else 0]
    if note.pitch is None:
        return "full bar rest" if note.whole_bar else f"{value} rest"
    sign = f" {S.ACCIDENTAL_WORDS[note.pitch.alter]}" if note.pitch.alter else ""
    name = f"{note.pitch.step}{sign}"
    return name if pitch_only else f"{name}, {'grace note' if note.grace else value}"


def _digits(cells: str) -> int:
    return int("".join(_DIGIT[c] for c in cells if c in _DIGIT))


@lru_cache(maxsize=1024)
def read_signature(cells: str) -> tuple[Key | None, Time | None] | None:
    """Key and time that a group of cells gives, each None where it does not; None where it is no signature."""
    match = _SIGNATURE.fullmatch(cells)
    if not match or not cells:
        return None
    key = time = None
    if signs := match["key"]:
        count = _digits(signs[1]) if signs[0] == S.NUMBER else len(signs)
        if count > 7:
            return None
        key = Key(count if signs[-1] == _SHARP else -count)
    elif match["naturals"]:
        key = Key(0)
    if signs := match["time"]:
        if signs in (S.COMMON, S.CUT):
            time = Time((4,), 4, "common") if signs == S.COMMON else Time((2,), 2, "cut")
        else:
            lower = "".join(c for c in signs if c in _L and c != S.PLUS)
            upper = tuple(_digits(part) for part in signs[:len(signs) - len(lower)].split(S.PLUS))
            if 0 in upper or _digits(lower) not in (1, 2, 4, 8, 16, 32, 64):
                return None
            time = Time(upper, _digits(lower))
    return key, time


_Key = tuple[int, int, int, int, bool, str]  # Pitch.diatonic, alter, value, dots, tie, accidental
_note_cache: dict[_Key, Note] = {}
_NONE = range(0)


def _plain_note(key: _Key) -> Note:
    """Notes are frozen, so that equal ones can be one object; making them is what reading spends its time on."""
    if len(_note_cache) > 50_000:
        _note_cache.clear()
    place, alter, value, dots, tie, accidental = key
    pitch = Pitch(STEPS[place % 7], place // 7, alter) if place >= 0 else None
    note = Note(pitch=pitch, base=BASES[value], dots=dots, tie=tie,
                accidental=accidental)
    _note_cache[key] = note
    return note


class _Bar:
    """A bar under way. Most bars have only notes: the rest are defaults of the class."""

    key: Key | None = None
    time: Time | None = None
    forward = backward = complete = False
    ending: tuple[int, ...] = ()
    barline = ""
    after: tuple[Direction, ...] = ()
    total: Fraction | int = 0

    def __init__(self, at: int, full: int, lower: int) -> None:
        self.at, self.full, self.lower = at, full, lower
        self.notes: list[Note] = []


@lru_cache(maxsize=16)
def _key_alter(fifths: int) -> tuple[int, ...]:
    key = Key(fifths)
    return tuple(key.alter(step) for step in STEPS)


#: Bars that were read before: (cells, note before, key, time) to the bar, its last note, and whether that is tied.
_bar_cache: dict[tuple[str, int, int, int, int], tuple[_Bar, int | None, tuple[int, int] | None]] = {}


class _Reader:
    def __init__(self, pitch_only: bool, vocal: bool) -> None:
        self.pitch_only, self.vocal = pitch_only, vocal
        self.bars: list[_Bar] = []
        self.problems: list[tuple[int, str]] = []  # offsets in the whole text
        #: Bars as cells: (bar index, units, where each group of them begins, which of them stand at a part
        #: repeat), for places and words on demand.
        self.written: list[tuple[int, list[str], list[tuple[int, int]], range]] = []
        self.again = _NONE
        self.others: list[tuple[int, str]] = []  # signs that are no unit of a bar: (offset, cells)
        self.repeated: list[tuple[int, int, int]] = []  # bars that repeat signs stand for: bar index, offset, cells
        self.singing: list[tuple[int, int]] = []  # (bar, note) where a syllable may begin
        self.key = Key(0)
        self.new_key: Key | None = None
        self.set_time(None)
        self.new_time: Time | None = None
        self.first_number: int | None = None
        self.units: list[Unit] = []
        self.cells: list[str] = []
        self.groups: list[tuple[int, int]] = []  # (index of its first unit, offset)
        self.starts: list[int] = []  # offset of every unit, when first asked for
        self.repeats: list[tuple[int, int]] = []  # part-bar repeats: (index in units, offset)
        self.line_starts: list[int] = []
        self.before: int | None = None  # the note before, as Pitch.diatonic
        self.tied: tuple[int, int] | None = None
        self.chain = False  # under a short slur
        self.doubled = 0  # under a doubled slur: 1, and 2 where the next note ends it
        self.held = 0  # long slurs open
        self.running: set[str] = set()  # marks that a doubled sign has set going
        self.pending: list[Direction] = []
        self.due = "The first note of the tune wants an octave mark."

    def set_time(self, time: Time | None) -> None:
        self.time = time
        self.full, self.beat = capacity(time), beat(time)
        self.lower = time.lower if time else 4

    def offset(self, index: int) -> int:
        """Where the unit of this index in the bar under way begins."""
        if len(self.starts) != len(self.cells):
            self.starts = _starts(self.cells, self.groups)
        return self.starts[index]

    # --- groups of cells --------------------------------------------------------------------------------------

    def music(self, text: str, base: int) -> None:
        """Read lines of music, joined by line feeds. base: where the text begins in the whole."""
        for match in _GROUPS.finditer(text):
            group, at = match[0], match.start()
            if at == 0 or text[at - 1] == "\n":
                self.line_starts.append(len(self.units))
            hyphen = group[-1] == S.HYPHEN
            if hyphen:
                self.others.append((at + base + len(group) - 1, S.HYPHEN))
                group = group[:-1]
                if not group:
                    continue
            repeat = S.BAR_REPEAT in group
            if (repeat or group[0] in _SPECIAL) and self._special(group, at + base):
                continue
            if repeat:
                self._with_repeats(split(group), at + base)
            elif hyphen or self.units or self.repeats:
                self.groups.append((len(self.units), at + base))
                cells, units, _, _ = read_group(group)
                self.cells += cells
                self.units += units
            else:
                self._one_group(group, at + base)
                continue
            if not hyphen:
                self._end_bar()

    def _one_group(self, group: str, at: int) -> None:
        """A bar that is one group of cells, as most are."""
        self.cells, self.units, plain, shape = read_group(group)
        self.groups = [(0, at)]
        # Nothing reaches into the bar but the note before: then the same cells are the same bar as ever.
        if not (plain and (not self.due or self.units[0].octave is not None) and self.before is not None
                and self.tied is None and not self.vocal and not self.pitch_only and self._at_rest()):
            self._end_bar(plain, shape)
            return
        key = (group, self.before, self.key.fifths, self.full, self.beat)
        known = _bar_cache.get(key)
        if known is None:
            problems = len(self.problems)
            self._end_bar(plain, shape)
            if len(self.problems) == problems:
                if len(_bar_cache) > 20_000:
                    _bar_cache.clear()
                _bar_cache[key] = (self.bars[-1], self.before, self.tied)
            return
        model, self.before, self.tied = known
        bar = self._open(at)
        bar.notes, bar.total, bar.complete = model.notes, model.total, model.complete
        self.written.append((len(self.bars) - 1, self.cells, self.groups, _NONE))
        self.due = ""
        self.units, self.cells, self.groups, self.line_starts = [], [], [], []

    def _at_rest(self) -> bool:
        """Whether nothing that began earlier (a slur, a run of marks, words) waits for the next note."""
        return not (self.running or self.pending or self.doubled or self.chain or self.held)

    def _with_repeats(self, pieces: list[str], at: int) -> None:
        """A group with part-bar repeats in it."""
        for piece in pieces:
            if piece == S.BAR_REPEAT and self.units:
                self.repeats.append((len(self.units), at))
                self.others.append((at, piece))
            else:
                self.groups.append((len(self.units), at))
                self.units.append(unit(piece))
                self.cells.append(piece)
            at += len(piece)

    def _special(self, group: str, at: int) -> bool:
        """Groups that are no notes: signatures, numbers, bar repeats, rests of several bars, expressions."""
        first = group[0]
        if first == S.WORD and group[-1] == S.WORD and len(group) > 2:
            text = " ".join(read_expression(part) for part in re.split(f"[{S.SPACE}\n]", group[1:-1]))
            said = direction(text)
            if said.kind == "jump" and self.bars and not self.units:
                self.bars[-1].after += (said,)  # where to go is said at the end of a bar
            elif self.units:
                # Within a bar: it waits among the notes for the one that comes next.
                self.groups.append((len(self.units), at))
                self.units.append(_said_unit(said))
                self.cells.append(group)
                return True
            else:
                self.pending.append(said)
            self._reset("After words the next note wants an octave mark.")
            self.others.append((at, group))
            return True
        if first == S.BAR_REPEAT:
            match = _REPEAT.fullmatch(group)
            if match and not self.units and (match["times"] or match["tail"] == "" or match["tail"][0] != S.BAR_REPEAT):
                self._repeat(match, at)
                return True
            return False
        if first in (S.NUMBER, _WHOLE_REST) and not self.units:
            match = _RESTS.fullmatch(group)
            if match and all(split_is_bars(match["tail"])):
                few = match["few"]
                full = self.full
                if not (few and full == len(few) * 4 * UNITS):
                    self._rests(match, at)
                    return True
        if first == S.NUMBER and self.line_starts and (match := _BAR_NUMBER.fullmatch(group)):
            self.others.append((at, group))
            if not self.bars and not self.units:
                self.first_number = _digits(match["number"])
            return True
        if (found := read_signature(group)) is not None:
            key, time = found
            if key is not None:
                self.key = self.new_key = key
            if time is not None and not self.pitch_only:
                self.new_time = time
                self.set_time(time)
            self.others.append((at, group))
            self._reset("After a change of key or time the next note wants an octave mark.")
            return True
        if match := _METRONOME.fullmatch(group):
            self.pending.append(_metronome(match))
            self.others.append((at, group))
            return True
        return False

    def _reset(self, sentence: str) -> None:
        self.due = sentence

    def _open(self, at: int) -> _Bar:
        bar = _Bar(at, self.full, self.lower)
        if self.new_key is not None or self.new_time is not None:
            bar.key, bar.time, self.new_key, self.new_time = self.new_key, self.new_time, None, None
        self.bars.append(bar)
        return bar

    def _repeat(self, match: re.Match[str], at: int) -> None:
        if not self.bars:
            self.problems.append((at, "The bar repeat has no bar before it; it is passed over."))
            return
        times = _digits(match["times"]) if match["times"] else 1
        source = self.bars[-1]
        length = match.end() - len(match["tail"]) if match["tail"] else len(match[0])
        if match["times"]:
            self.due = "After a repeat with a number the next note wants an octave mark."
        self.others.append((at, match[0][:length]))
        for _ in range(min(times, MOST_BARS - len(self.bars))):
            bar = self._open(at)
            bar.notes = list(source.notes)
            bar.total, bar.complete = source.total, True  # what is amiss in it is said once
            self.repeated.append((len(self.bars) - 1, at, length))
        self.line_starts.clear()
        if match["tail"]:
            offset = at + len(match[0]) - len(match["tail"])
            for piece in split(match["tail"]):
                u = unit(piece)
                self._bar_signs(self.bars[-1], u)
                self.problems += [(offset + o, say) for o, say in u.problems]
                if u.kind:
                    self.problems.append((offset, "A note runs into the bar repeat; a space belongs between."))
                self.others.append((offset, piece))
                offset += len(piece)

    def _rests(self, match: re.Match[str], at: int) -> None:
        count = len(match["few"]) if match["few"] else _digits(match["many"])
        for n in range(min(count, MOST_BARS - len(self.bars))):
            bar = self._open(at)
            bar.notes = [Note(pitch=None, base=Fraction(4), whole_bar=True,
                              before=tuple(self.pending) if n == 0 else ())]
            bar.complete = True
            place = at + n if match["few"] else at
            self.repeated.append((len(self.bars) - 1, place, 1 if match["few"] else len(match[0])))
        self.pending.clear()
        self.line_starts.clear()
        self.tied = None
        self.others.append((at, match[0][:len(match[0]) - len(match["tail"])]))
        offset = at + len(match[0]) - len(match["tail"])
        for piece in split(match["tail"]):
            self._bar_signs(self.bars[-1], unit(piece))
            self.others.append((offset, piece))
            offset += len(piece)

    def _bar_signs(self, bar: _Bar, u: Unit) -> None:
        if u.forward:
            bar.forward = True
        if u.ending:
            bar.ending = u.ending
        if u.backward:
            bar.backward = True
            self._reset("After a repeat sign the next note wants an octave mark.")
        if u.barline:
            bar.barline = u.barline
            self._reset("After a double bar the next note wants an octave mark.")

    # --- a bar of notes ---------------------------------------------------------------------------------------

    def _end_bar(self, plain: bool | None = None, shape: tuple[int, ...] = ()) -> None:
        if self.repeats:
            self._part_repeats()
        units, cells = self.units, self.cells
        bar = self._open(self.groups[0][1] if self.groups else 0)
        bar_index = len(self.bars) - 1
        self.written.append((bar_index, cells, self.groups, self.again))
        self.again = _NONE
        if plain is None:
            plain, shape = all(u.plain for u in units), shape_of(units)
        if self.pitch_only:
            values: Sequence[Any] = [(3, 0, None, False)] * len(units)
        else:
            values, total = read_bar(shape, self.full, self.beat)
            bar.total, bar.complete = total, total == self.full
        if plain and not self.vocal and len(self.line_starts) <= 1 and self._at_rest():
            self._plain_bar(bar, values)
        else:
            self._rich_bar(bar, bar_index, values)
        self.units, self.cells, self.groups, self.starts = [], [], [], []
        if self.line_starts:
            self.line_starts = []

    def _plain_bar(self, bar: _Bar, values: Sequence[Any]) -> None:
        """Notes with pitch and value alone, which most bars are made of."""
        append = bar.notes.append
        key_alter = _key_alter(self.key.fifths)
        in_force: dict[int, int] = {}
        before, held = self.before, self.tied
        if self.line_starts and not self.due:
            self.due = "The first note of a line wants an octave mark."
        for u, (base, dots, tuplet, _) in zip(self.units, values, strict=False):
            index, octave, alter = u.index, u.octave, u.alter
            if u.kind == "rest":
                whole = u.row == 0 and dots == 0 and tuplet is None and len(self.units) == 1
                if whole:
                    base, bar.complete = 0, True
                held = None
                if whole or tuplet is not None:
                    append(Note(pitch=None, base=BASES[base], dots=dots, whole_bar=whole,
                                tuplet=Tuplet(*tuplet) if tuplet else None))
                else:
                    key = (-1, 0, base, dots, False, "")
                    append(_note_cache.get(key) or _plain_note(key))
                continue
            if octave is None:
                if self.due or before is None:
                    octave = self._octave(index, before, self.offset(self.units.index(u)))
                else:
                    octave, last = divmod(before, 7)
                    if index - last > 4:
                        octave -= 1
                    elif last - index > 4:
                        octave += 1
                    if not 0 <= octave <= 8:
                        octave = self._octave(index, before, self.offset(self.units.index(u)))
            self.due = ""
            place = before = 7 * octave + index
            accidental = ""
            if held is not None:
                if held[0] == place:
                    if alter is None:
                        alter = held[1]
                    elif alter == held[1]:
                        accidental = "shown"
                    else:
                        held = None  # another pitch by its own sign
                else:
                    self._no_tie(self.offset(self.units.index(u)))
                    held = None
            if held is None:
                current = in_force[place] if place in in_force else key_alter[index]
                if alter is None:
                    alter = current
                elif alter == current:
                    accidental = "shown"
                in_force[place] = alter
            assert alter is not None
            tie = u.tie
            if tuplet is None:
                key = (place, alter, base, dots, tie, accidental)
                append(_note_cache.get(key) or _plain_note(key))
            else:
                append(Note(pitch=Pitch(u.step, octave, alter), base=BASES[base], dots=dots, tie=tie,
                            tuplet=Tuplet(*tuplet), accidental=accidental))
            held = (place, alter) if tie else None
        self.before, self.tied = before, held

    def _octave(self, index: int, before: int | None, at: int) -> int:
        """The octave of a note without a mark."""
        if self.due:
            self.problems.append((at, self.due))
        if before is None:
            return 4
        octave, last = divmod(before, 7)
        if index - last > 4:
            octave -= 1
        elif last - index > 4:
            octave += 1
        if not 0 <= octave <= 8:
            self.problems.append((at, "This note lies outside the octaves that have a mark."))
        return min(8, max(0, octave))

    def _no_tie(self, at: int) -> None:
        self.problems.append((at, "The tie before this note leads to another pitch; "
                                  "a tie joins two notes of the same pitch."))

    def _rich_bar(self, bar: _Bar, bar_index: int, values: Sequence[Any]) -> None:
        """Notes and rests with all that can stand at them."""
        units = self.units
        key_alter = _key_alter(self.key.fifths)
        in_force: dict[int, int] = {}
        starts = self.line_starts
        self.alone = sum(1 for u in units if u.kind) == 1
        k = 0
        for i, u in enumerate(units):
            if i in starts and u.kind != "rest":
                if u.kind or i + 1 == len(units):
                    self.due = self.due or "The first note of a line wants an octave mark."
                else:
                    starts.append(i + 1)
            if u.kind == "rest":
                k = self._rest(u, values, k, bar, i)
                continue
            if u.kind == "":
                self._signs_alone(u, bar, i)
                continue
            if u.reset and (u.before or u.ending or u.forward):
                self.due = self.due or "After words, a repeat or an ending the next note wants an octave mark."
            octave = u.octave
            if octave is None:
                octave = self._octave(u.index, self.before, self.offset(i))
            self.due = ""
            place = 7 * octave + u.index
            accidental = ""
            held = self.tied
            if held is not None and held[0] != place:
                self._no_tie(self.offset(i))
                held = None
            if held is not None and u.alter not in (None, held[1]):
                held = None  # another pitch by its own sign
            current = held[1] if held is not None else in_force.get(place, key_alter[u.index])
            alter = current if u.alter is None else u.alter
            if u.alter == current:
                accidental = "shown"
            if held is None:
                in_force[place] = alter
            if u.editorial:
                accidental = "editorial"
            self.before = place
            k = self._note(u, values, k, bar, bar_index, i, Pitch(u.step, octave, alter), accidental,
                           held is not None)
            self.tied = (place, alter) if u.tie else self.tied if u.grace else None
        if self.pending and bar.notes:
            bar.after += tuple(self.pending)
            self.pending = []

    def _value(self, u: Unit, values: Sequence[Any], k: int) -> tuple[Fraction, int, Any, int]:
        if u.grace:
            return GRACE_BASES[u.row], 0, None, k
        base, dots, tuplet, _ = values[k]
        return BASES[base], dots, Tuplet(*tuplet) if tuplet else None, k + 1

    def _rest(self, u: Unit, values: Sequence[Any], k: int, bar: _Bar, i: int) -> int:
        base, dots, tuplet, k = self._value(u, values, k)
        self._own_problems(u, i)
        self._bar_signs(bar, u)
        whole = self.alone and u.row == 0 and not (u.dots or u.size or tuplet)
        if whole:
            base, bar.complete = Fraction(4), True
        self.tied = None
        bar.notes.append(Note(pitch=None, base=base, dots=dots, tuplet=tuplet, whole_bar=whole, marks=u.after,
                              before=(*self.pending, *u.before)))
        self.pending = []
        if u.before:
            self.due = self.due or "After words the next note wants an octave mark."
        return k

    def _own_problems(self, u: Unit, i: int) -> None:
        if u.problems:
            at = self.offset(i)
            self.problems += [(at + o, say) for o, say in u.problems]

    def _signs_alone(self, u: Unit, bar: _Bar, i: int) -> None:
        self._own_problems(u, i)
        self._bar_signs(bar, u)
        if u.before:
            self.pending += u.before
            self.due = self.due or "After words the next note wants an octave mark."

    def _note(self, u: Unit, values: Sequence[Any], k: int, bar: _Bar, index: int, i: int, pitch: Pitch,
              accidental: str, held: bool) -> int:
        """A note with more to it than pitch and value."""
        base, dots, tuplet, k = self._value(u, values, k)
        self._own_problems(u, i)
        starts, stops = u.slur_opens, u.slur_closes
        under = self.chain or self.held > 0 or self.doubled > 0
        if stops > self.held:
            if not u.slur_opens or stops > self.held + u.slur_opens:
                self.problems.append((self.offset(i), "A long slur ends here that never began."))
            stops = min(stops, self.held)
        if not u.grace:
            self.held += starts - stops
            if self.doubled == 2:
                stops, self.doubled = stops + 1, 0
            if u.slur >= 2 and not self.chain:
                starts, self.doubled = starts + 1, 1
            elif self.doubled == 1 and u.slur == 1:
                self.doubled = 2
            elif u.slur and not self.chain:
                starts, self.chain = starts + 1, True
            elif not u.slur and self.chain:
                stops, self.chain = stops + 1, False
        marks = list(dict.fromkeys(u.marks))
        if not u.grace:
            # A sign doubled goes on to the note where it stands once more.
            going = [m for m in S.BEFORE if m in self.running and m not in marks]
            for mark in marks:
                if u.marks.count(mark) > 1:
                    self.running.add(mark)
                else:
                    self.running.discard(mark)
            marks += going
        note = Note(pitch=pitch, base=base, dots=dots, tuplet=tuplet, grace=u.grace, tie=u.tie,
                    accidental=accidental, slur_starts=starts, slur_stops=stops, marks=(*marks, *u.after),
                    before=(*self.pending, *u.before))
        self.pending = []
        if not u.grace and not held and not (under and not starts):
            self.singing.append((index, len(bar.notes)))
        bar.notes.append(note)
        self._bar_signs(bar, u)
        return k

    def _part_repeats(self) -> None:
        """A bar repeat within a bar: the part before it again, of such a length that the bar comes out full."""
        full = self.full
        where = self.repeats
        self.repeats = []
        first = where[0][0]
        if any(index != first for index, _ in where):
            # Signs in several places: each stands for the same stretch as the one before it; not searched.
            self.problems.append((where[1][1], "Several part repeats in one bar are not told apart; write the "
                                               "notes out."))
        count = sum(index == first for index, _ in where)
        head, rest = self.units[:first], self.units[first:]
        best = len(head) // 2 or len(head)
        for length in range(1, len(head) + 1):
            trial = head + head[-length:] * count + rest
            if len(trial) <= 96 and read_bar(shape_of(trial), full, self.beat)[1] == full:
                best = length
                break
        else:
            self.problems.append((where[0][1], "What this part repeat repeats cannot be told from the length of "
                                               "the bar."))
        again = self.cells[first - best:first] * count
        self.units[first:first] = [unit(c) for c in again]
        self.cells[first:first] = again
        # All that is repeated stands at the sign; what follows it keeps its place.
        shift = len(again)
        self.again = range(first, first + shift)
        moved = [(i + shift, at) for i, at in self.groups if i >= first]
        if len(head) + shift < len(self.units) and not any(i == first + shift for i, _ in moved):
            moved.insert(0, (first + shift, where[-1][1] + 1))
        self.groups = [g for g in self.groups if g[0] < first] + [
            (first + n, where[n * count // shift][1]) for n in range(shift)] + moved

    # --- the end ----------------------------------------------------------------------------------------------

    def check_beats(self) -> None:
        """Bars with too many or too few beats; a pickup and a last bar that make one bar together are right."""
        bars = self.bars
        first = self._numbers()
        for i, bar in enumerate(bars):
            if not bar.full or bar.complete or not bar.notes:
                continue
            total, full = bar.total, bar.full
            if total < full:
                if i == 0 and len(bars) > 1:
                    continue
                divided = bar.barline or bar.backward or bar.forward or bar.ending
                after = bars[i + 1] if i + 1 < len(bars) else None
                prior = bars[i - 1]
                if i == len(bars) - 1 and not bars[0].complete and bars[0].total + total == full:
                    continue
                if after is not None and (divided or after.forward or after.ending) and (
                        total + after.total == full or total + bars[0].total == full):
                    continue
                if (prior.barline or prior.backward or bar.forward or bar.ending) and prior.total + total == full:
                    continue
                if i == len(bars) - 1 and bars[0].complete and divided and any(
                        not b.complete and b.total + total == full for b in bars):
                    continue
            unit_length = Fraction(4 * UNITS, bar.lower)
            self.problems.append((bar.at, f"Bar {i + first} has {_beats(total / unit_length)}; "
                                          f"{_count(Fraction(full) / unit_length)} "
                                          f"{'is' if full == unit_length else 'are'} wanted."))

    def _numbers(self) -> int:
        if self.first_number is not None:
            return self.first_number
        bars = self.bars
        return 0 if len(bars) > 1 and bars[0].full and not bars[0].complete and bars[0].total < bars[0].full else 1

    def finished(self) -> tuple[Bar, ...]:
        """The bars, frozen. An ending goes on to its repeat sign, a double bar, the next ending or the end."""
        first = self._numbers()
        out: list[Bar] = []
        open_ending = False
        for i, bar in enumerate(self.bars):
            last = i == len(self.bars) - 1
            if bar.ending:
                open_ending = True
            stop = open_ending and (last or bar.backward or bool(bar.barline) or bool(self.bars[i + 1].ending)
                                    or self.bars[i + 1].forward)
            if stop:
                open_ending = False
            key = bar.key
            if i == 0 and key is None:
                key = Key(0)
            out.append(Bar(number=i + first, notes=tuple(bar.notes), key=key, time=bar.time,
                           forward_repeat=bar.forward, backward_repeat=2 if bar.backward else 0, ending=bar.ending,
                           ending_stop=stop, barline=bar.barline, after=bar.after))
        return tuple(out)


@lru_cache(maxsize=10_000)
def read_group(group: str) -> tuple[list[str], list[Unit], bool, tuple[int, ...]]:
    """A group's cells cut into units, the units, whether all are plain, and its shape. Not to be changed."""
    cells = split(group)
    units = [unit(piece) for piece in cells]
    return cells, units, all(u.plain for u in units), shape_of(units)


def _said_unit(said: Direction) -> Unit:
    u = Unit()
    u.before, u.reset = (said,), True
    return u


def _starts(cells: list[str], groups: list[tuple[int, int]]) -> list[int]:
    """Where every unit begins: groups are (index of first unit, offset)."""
    at = dict(groups)
    out: list[int] = []
    now = 0
    for i, piece in enumerate(cells):
        now = at.get(i, now)
        out.append(now)
        now += len(piece)
    return out


def split_is_bars(cells: str) -> list[bool]:
    return [not (u := unit(piece)).kind and not u.unknown for piece in split(cells)]


def _beats(number: Fraction) -> str:
    return f"{_count(number)} beat{'' if number == 1 else 's'}"


def _count(number: Fraction) -> str:
    whole, part = divmod(number, 1)
    if not part:
        return str(whole)
    said = "a half" if part == Fraction(1, 2) else str(part)
    return f"{whole} and {said}" if whole else said


def _metronome(match: re.Match[str]) -> Direction:
    row = NOTES[match["note"]][1]
    base = BASES[row] * (2 - Fraction(1, 2 ** len(match["dots"])))
    return Direction("metronome", f"{base}={read_words(match['number'])}")


# --- layout ---------------------------------------------------------------------------------------------------

@dataclass
class _Line:
    number: int  # from 1
    indent: int
    cells: str

    @property
    def middle(self) -> int:
        return 2 * self.indent + len(self.cells)


def _music_like(cells: str) -> bool:
    """Whether a line reads as music: every sign known, and its first note has an octave mark."""
    found = rests = False
    if S.WORD in cells:
        cells = _EXPRESSIONS.sub("", cells)
        if not cells.strip(S.SPACE):
            return True
    for group in cells.split(S.SPACE):
        if group[-1:] == S.HYPHEN:
            group = group[:-1]
        if not group:
            continue
        for piece, u in zip(*read_group(group)[:2], strict=True):
            if piece == S.BAR_REPEAT and group[0] != piece:
                continue  # a repeat of a part of the bar
            if u.unknown:
                if read_signature(group) or _BAR_NUMBER.fullmatch(group):
                    break
                if _RESTS.fullmatch(group) or _REPEAT.fullmatch(group):
                    found = True
                    break
                return False
            if u.kind == "note":
                if not found and u.octave is None:
                    return False
                found = True
            elif u.kind == "rest" or u.before:
                rests = True
    return found or rests


_PITCH_ONLY = words(PITCH_ONLY_HEADING)


def _heading(lines: list[_Line]) -> int:
    """How many lines from the top are heading: to the line with key and time, or to the first music.

    A line that ends in a signature belongs to the heading if no music stands above it. Short titles may have the
    cells of notes throughout ("Quiet house"), so lines like music are let pass if they share the signature's
    middle: a heading is centred, music is not.
    """
    count = 0
    for i in range(min(len(lines), 8)):
        joined = lines[i].cells
        for j in range(i, min(len(lines), i + 4)):
            joined = joined if j == i else joined + S.SPACE + lines[j].cells
            if joined == _PITCH_ONLY:
                count = j + 1
    for i, line in enumerate(lines[:12]):
        last = line.cells.rsplit(S.SPACE, 1)[-1]
        if not (read_signature(last) or _METRONOME.fullmatch(last)):
            continue
        if i <= count or not any(_music_like(o.cells) for o in lines[count:i]) or all(
                abs(o.middle - line.middle) <= 1 for o in lines[count:i]):
            return i + 1
    while count < len(lines) - 1 and lines[count].indent > 0 and not _music_like(lines[count].cells):
        count += 1
    return count


def decode(lines: Sequence[str]) -> Reading:
    """Read lines of Unicode cells (spaces and U+2800 both part bars). Never raises."""
    rows: list[_Line] = []
    strange: list[Problem] = []
    for number, line in enumerate(lines, 1):
        if " " in line or "\t" in line or "\n" in line:
            line = line.replace(" ", S.SPACE).replace("\t", S.SPACE).replace("\n", S.SPACE)
        body = line.strip(S.SPACE)
        if body:
            rows.append(_Line(number, len(line) - len(line.lstrip(S.SPACE)), body))
            if not _CELLS.fullmatch(body):
                column = rows[-1].indent + next(i for i, c in enumerate(body, 1) if not "⠀" <= c <= "⣿")
                strange.append(Problem(number, column, "This is no braille cell; it is passed over."))
                rows[-1].cells = "".join(c if "⠀" <= c <= "⣿" else S.SPACE for c in body)
                if not rows[-1].cells.strip(S.SPACE):
                    rows.pop()
    head = _heading(rows) if rows else 0
    body_rows = rows[head:]
    margin = [r for r in body_rows if r.indent <= 1]
    inner = [r for r in body_rows if r.indent > 1]
    if margin and inner and not all(_music_like(r.cells) for r in margin):
        return _read(rows, head, True, strange)
    reading = _read(rows, head, False, strange)
    if reading.problems and margin and inner and all(
            len(r.cells) > 3 and _WORDS_LINE.fullmatch(r.cells) for r in margin):
        # Words whose letters are all cells of notes ("So so"): the reading with less amiss is the likelier.
        vocal = _read(rows, head, True, strange)
        if len(vocal.problems) < len(reading.problems):
            return vocal
    return reading


_WORDS_LINE = re.compile(f"(?:{S.CAPITAL}{{0,2}}[{''.join(S.LETTERS.values())}]+{S.SPACE}?)+")
_CELLS = re.compile("[⠀-⣿]*")


def _read(rows: list[_Line], head: int, vocal: bool, strange: list[Problem]) -> Reading:
    texts: list[Said] = []
    title, tempo, found = _read_heading(rows[:head])
    pitch_only = PITCH_ONLY_HEADING in title or PITCH_ONLY_HEADING in tempo
    title = title.replace(PITCH_ONLY_HEADING, "").strip()
    reader = _Reader(pitch_only, vocal)
    for key, time in found:
        if key is not None:
            reader.key = reader.new_key = key
        if time is not None and not pitch_only:
            reader.new_time = time
            reader.set_time(time)
    if tempo and not pitch_only:
        reader.pending.append(Direction("words", tempo))
    for row in rows[:head]:
        for group in row.cells.split(S.SPACE):
            if match := _METRONOME.fullmatch(group):
                reader.pending.append(_metronome(match))
    offsets: list[int] = []  # where each line of music begins in the whole text
    where: list[_Line] = []
    base = 0
    verses: list[str] = []

    def music(part: list[_Line]) -> None:
        nonlocal base
        for row in part:
            offsets.append(base)
            where.append(row)
            base += len(row.cells) + 1
        if part:
            reader.music("\n".join(r.cells for r in part), offsets[-len(part)])

    if not vocal:
        music(rows[head:])
    else:
        body = rows[head:]
        i = 0
        while i < len(body):
            sung: list[_Line] = []
            if body[i].indent <= 1:
                sung.append(body[i])
                i += 1
                while i < len(body) and body[i].indent >= 4:
                    sung.append(body[i])
                    i += 1
            part: list[_Line] = []
            if i < len(body) and body[i].indent > 1:
                part.append(body[i])
                i += 1
                while i < len(body) and body[i].indent >= 4:
                    part.append(body[i])
                    i += 1
            text = " ".join(read_words(r.cells) for r in sung)
            texts += [Said(r.number, r.indent + 1, len(r.cells), "words") for r in sung]
            began = len(reader.singing)
            music(part)
            if part and text:
                _sing(reader, began, text)
            elif text:
                verses.append(text)
    if reader.units or reader.repeats:
        reader._end_bar()
    if reader.pending and reader.bars:
        reader.bars[-1].after += tuple(reader.pending)
    if not pitch_only:
        reader.check_beats()
    bars = reader.finished()
    bpm = next((_bpm(d.text) for b in bars[:1] for n in b.notes[:1] for d in n.before if d.kind == "metronome"), None)
    tune = Tune(title=title, bars=bars, heading=PITCH_ONLY_HEADING if pitch_only else tempo, quarter_bpm=bpm,
                composer="")

    def at(offset: int) -> tuple[int, int]:
        k = bisect_right(offsets, offset) - 1
        return where[k].number, where[k].indent + 1 + offset - offsets[k]

    problems = strange + [Problem(*at(offset), say) for offset, say in reader.problems]
    if not bars:
        problems.append(Problem(1, 1, "No music was found here."))
    problems.sort(key=lambda p: (p.line, p.column))
    return Reading(tune, tuple(problems), pitch_only, _Raw(reader, rows[:head], texts, at))


def _bpm(text: str) -> float | None:
    unit_text, _, number = text.partition("=")
    try:
        return float(Fraction(unit_text)) * float(number)
    except (ValueError, ZeroDivisionError):
        return None


def _read_heading(rows: list[_Line]) -> tuple[str, str, list[tuple[Key | None, Time | None]]]:
    """Title, words of tempo, signatures."""
    titles: list[str] = []
    tempo = ""
    found: list[tuple[Key | None, Time | None]] = []
    for k, row in enumerate(rows):
        text: list[str] = []
        for group in row.cells.split(S.SPACE):
            signature = read_signature(group)
            if signature:
                found.append(signature)
            elif group and not _METRONOME.fullmatch(group):
                text.append(group)
        if text:
            said = read_words(S.SPACE.join(text))
            # Words of tempo end in a full stop, on the last line or, below a title, on the one before it.
            if said.endswith(".") and (k == len(rows) - 1 or (0 < k == len(rows) - 2 and not found)):
                tempo = said[:-1]
            else:
                titles.append(said)
    return " ".join(titles), tempo, found


def _say_heading(rows: list[_Line]) -> list[Said]:
    said: list[Said] = []
    for row in rows:
        column = row.indent + 1
        text: list[str] = []
        began = column
        for group in row.cells.split(S.SPACE):
            signature = read_signature(group)
            if signature:
                said += [Said(row.number, column + o, length, what)
                         for o, length, what in say_signature(group, *signature)]
            elif match := _METRONOME.fullmatch(group):
                said.append(Said(row.number, column, len(group), f"metronome {_metronome(match).text}"))
            elif group:
                began = began if text else column
                text.append(group)
            column += len(group) + 1
        if text:
            cells = S.SPACE.join(text)
            said.append(Said(row.number, began, len(cells), f"heading: {read_words(cells)}"))
    return said


def _sing(reader: _Reader, began: int, text: str) -> None:
    """Put the words of a line under its notes. Braille does not part syllables, so that words of several are
    parted by their vowels where that makes the count come out right, else each word goes to one note."""
    sung = text.split()
    places = reader.singing[began:]
    if not places or not sung:
        return
    parts = [[w] for w in sung]
    if len(sung) < len(places):
        cut = [_syllables(w) for w in sung]
        if sum(map(len, cut)) == len(places):
            parts = cut
    syllables = [Syllable(piece, "single" if len(part) == 1 else "begin" if k == 0 else
                          "end" if k == len(part) - 1 else "middle")
                 for part in parts for k, piece in enumerate(part)]
    if len(syllables) > len(places):
        left = "‿".join(s.text for s in syllables[len(places) - 1:])
        syllables = [*syllables[:len(places) - 1], Syllable(left)]
    for (b, n), syllable in zip(places, syllables, strict=False):
        note = reader.bars[b].notes[n]
        reader.bars[b].notes[n] = replace(note, syllables=(syllable,))


def _syllables(word: str) -> list[str]:
    """A guess: a syllable a group of vowels, the consonant before a vowel beginning it."""
    pieces = re.findall(r"[^aeiouyAEIOUY]*[aeiouyAEIOUY]+(?:[^aeiouyAEIOUY]+$|[^aeiouyAEIOUY](?=[^aeiouyAEIOUY]))?",
                        word)
    return pieces if pieces and "".join(pieces) == word else [word]


# --- files ----------------------------------------------------------------------------------------------------

def lines_of(data: bytes) -> list[str]:
    """The lines of a file as Unicode cells: Unicode braille, dot numbers, or Braille ASCII (.brf). Never raises."""
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        text = data.decode("utf-16", "replace")
    else:
        text = data.decode("utf-8-sig", "replace")
    if any("⠀" <= c <= "⣿" for c in text):
        return re.split("\r\n|[\n\r\f\v]", text)
    if re.fullmatch(r"(?:[0-8]+|[\s-])*", text) and re.search(r"\d-\d", text):
        return [from_dots(line.replace("  ", " 0 ")) for line in text.splitlines()]
    return from_brf(data)


def read_file(path: str | Path) -> Reading:
    """Read a .brf file, a text file of Unicode cells, or "-" for standard input.

    Raises Trouble where there is no such file, it cannot be read, or it holds no cells.
    """
    if str(path) == "-":
        data = sys.stdin.buffer.read(MOST_BYTES + 1)
    else:
        file = Path(path)
        if file.is_dir():
            raise Trouble(f"{path} is a folder. Give a .brf file, or a text file of braille cells.")
        try:
            with file.open("rb") as source:
                data = source.read(MOST_BYTES + 1)
        except OSError as error:
            reason = (error.strerror or str(error)).lower()
            raise Trouble(f"{path} could not be read: {reason}. Give a .brf file, or a text file of braille "
                          "cells.") from error
    if len(data) > MOST_BYTES:
        raise Trouble(f"{path} is larger than any tune in braille; give a .brf file, or a text file of cells.")
    if not data.strip():
        what = "Standard input" if str(path) == "-" else str(path)
        raise Trouble(f"{what} is empty. Give a .brf file, or a text file of braille cells.")
    return decode(lines_of(data))
