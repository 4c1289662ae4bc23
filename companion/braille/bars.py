"""Bars of cells to bars of notes, one after the other, with what a proof-reader would say to them.

Nothing here raises, whatever the cells.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import NamedTuple

from companion.braille import signs as S
from companion.braille.groups import (
    BAR_NUMBER,
    GROUPS,
    METRONOME_MARK,
    REPEAT,
    RESTS,
    SPECIAL,
    all_bar_signs,
    is_expression,
    read_digits,
    read_group,
    read_metronome,
    read_signature,
)
from companion.braille.model import ProblemCode, Slip
from companion.braille.notes import NoteReader, plain_note, value_of
from companion.braille.rhythm import (
    BASES,
    GROUP,
    LONGEST,
    UNITS,
    Value,
    beat,
    capacity,
    comes_out,
    length,
    read_bar,
)
from companion.braille.units import Unit, UnitKind, direction, read_expression, shape_of, split, unit
from companion.tune import Bar, Barline, DirectionKind, Display, Key, Note, ScoreDirection, Time, Tuplet

MOST_BARS = 20_000  # a repeat sign with a great number must not fill the memory
MOST_KEPT = 20_000  # bars in the cache
_NONE = range(0)
_QUAVER = Value(3, 0)
# Members of enums that are asked for at every note: on the enum itself they take ten times as long to look up.
_NOTE, _REST, _SIGNS, _NEEDED, _DOTTED = UnitKind.NOTE, UnitKind.REST, UnitKind.SIGNS, Display.NEEDED, Barline.DOTTED


class BarRead:
    """A bar under way. Most bars have only notes: the rest are defaults of the class."""

    key: Key | None = None
    time: Time | None = None
    forward = backward = complete = False
    ending: tuple[int, ...] = ()
    barline = Barline.PLAIN
    after: tuple[ScoreDirection, ...] = ()
    total: Fraction | int = 0

    def __init__(self, at: int, full: int, lower: int) -> None:
        self.at, self.full, self.lower = at, full, lower
        self.notes: list[Note] = []

    @property
    def divided(self) -> bool:
        """Whether a double bar, a repeat sign or an ending stands at it."""
        return bool(self.barline or self.backward or self.forward or self.ending)

    @property
    def ends(self) -> bool:
        """Whether a double bar or a repeat sign stands at its end."""
        return bool(self.barline or self.backward)

    @property
    def begins(self) -> bool:
        """Whether a repeat sign or an ending stands at its beginning."""
        return bool(self.forward or self.ending)


class WrittenBar(NamedTuple):
    """A bar as cells. groups: (index of its first unit, offset). again: which units stand at a part repeat."""

    bar: int
    cells: list[str]
    units: list[Unit]
    groups: list[tuple[int, int]]
    again: range

    def placed(self) -> Iterator[tuple[int, str, Unit, bool]]:
        """Every unit: its offset, its cells, the unit, and whether it stands at a part repeat."""
        starts = starts_of(self.cells, self.groups)
        for i, (at, cells, u) in enumerate(zip(starts, self.cells, self.units, strict=True)):
            yield at, cells, u, i in self.again


class KnownBar(NamedTuple):
    """A bar that was read before, whether its first note has no octave mark, its last note, and whether that is tied."""

    bar: BarRead
    written: WrittenBar
    unmarked: bool
    before: int | None
    tied: tuple[int, int] | None


#: Bars that were read before, by cells, note before, key and time.
_bar_cache: dict[tuple[str, int | None, int, int, int], KnownBar] = {}


class Reader:
    """Reads groups of cells, one after the other, into bars.

    written: bars as cells, for places and meanings on demand. others: signs that are no unit of a bar: (offset, cells).
    repeated: bars that repeat signs stand for: (bar index, offset, cells). singing: (bar, note) where a syllable may
    begin; merged: how many are merged on it, where a sign says so. problems, hints: by offset in the whole text.
    """

    def __init__(self, pitch_only: bool, vocal: bool) -> None:
        self.pitch_only, self.vocal = pitch_only, vocal
        self.apart = pitch_only or vocal  # its bars are read note by note
        self.bars: list[BarRead] = []
        self.problems: list[tuple[int, Slip]] = []
        self.hints: list[tuple[int, Slip]] = []  # of the same form
        self.written: list[WrittenBar] = []
        self.others: list[tuple[int, str]] = []
        self.repeated: list[tuple[int, int, int]] = []
        self.singing: list[tuple[int, int]] = []
        self.merged: dict[tuple[int, int], int] = {}
        self.notes = NoteReader(self.problems, self.offset)
        self.key = Key(0)
        self.new_key: Key | None = None
        self.time: Time | None = None
        self.full, self.beat, self.lower = 0, UNITS, 4  # as `set_time` without a time signature
        self.new_time: Time | None = None
        self.first_number: int | None = None
        self.pending: list[ScoreDirection] = []  # directions that wait for the next note
        # The bar under way.
        self.units: list[Unit] = []
        self.cells: list[str] = []
        self.groups: list[tuple[int, int]] = []  # (index of its first unit, offset)
        self.starts: list[int] = []  # offset of every unit, when first asked for
        self.repeats: list[tuple[int, int]] = []  # part-bar repeats: (index in units, offset)
        self.again = _NONE
        self.line_starts: list[int] = []  # indexes of units at which a line begins
        self.running = 0  # groups of so many that a doubled sign has set going, 0 for none
        self.named: set[ProblemCode] = set()  # what is said once a page

    def set_time(self, time: Time | None) -> None:
        self.time = time
        self.full, self.beat = capacity(time), beat(time)
        self.lower = time.lower if time else 4

    def offset(self, index: int) -> int:
        """Where the unit of this index in the bar under way begins."""
        if len(self.starts) != len(self.cells):
            self.starts = starts_of(self.cells, self.groups)
        return self.starts[index]

    def end(self) -> None:
        """The end of the text: what is under way is closed."""
        if self.units or self.repeats:
            self._end_bar()
        if self.pending and self.bars:
            self.bars[-1].after += tuple(self.pending)

    # --- groups of cells --------------------------------------------------------------------------------------

    def music(self, text: str, base: int) -> None:
        """Read lines of music, joined by line feeds. base: where the text begins in the whole."""
        for match in GROUPS.finditer(text):
            group, at = match[0], match.start()
            if at == 0 or text[at - 1] == "\n":
                self.line_starts.append(len(self.units))
            if not self._known(group, at + base):
                self._group(group, at + base)

    def _group(self, group: str, at: int) -> None:
        """One group: a bar or a part of one, or something that is no notes."""
        hyphen = group[-1] == S.HYPHEN
        if hyphen:
            self.others.append((at + len(group) - 1, S.HYPHEN))
            group = group[:-1]
            if not group:
                return
        repeat = S.BAR_REPEAT in group
        if (repeat or group[0] in SPECIAL) and self._special(group, at):
            return
        if repeat:
            self._with_repeats(split(group), at)
        elif hyphen or self.units or self.repeats:
            self.groups.append((len(self.units), at))
            cells, units, _, _ = read_group(group)
            self.cells += cells
            self.units += units
        else:
            self._one_group(group, at)
            return
        if not hyphen:
            self._end_bar()

    def _one_group(self, group: str, at: int) -> None:
        """A bar that is one group of cells, as most are. It is kept where nothing but the note before reaches into it."""
        self.cells, self.units, plain, shape = read_group(group)
        self.groups = [(0, at)]
        notes = self.notes
        unmarked = self.units[0].octave is None
        if not plain or notes.before is None or (unmarked and (notes.due or self.line_starts)) or self._reached():
            self._end_bar(plain, shape)
            return
        key = (group, notes.before, self.key.fifths, self.full, self.beat)
        problems = len(self.problems)
        self._end_bar(plain, shape)
        if len(self.problems) == problems:
            if len(_bar_cache) > MOST_KEPT:
                _bar_cache.clear()
            _bar_cache[key] = KnownBar(self.bars[-1], self.written[-1], unmarked, notes.before, notes.tied)

    def _reached(self) -> bool:
        """Whether something besides the note before reaches into the bar that begins."""
        notes = self.notes
        return bool(self.apart or notes.tied or self.pending or self.running or notes.running or notes.doubled or notes.chain
                    or notes.brackets)

    def _known(self, group: str, at: int) -> bool:
        """Whether a group was read before as one plain bar: the same cells after the same note are the same bar as ever,
        where nothing else reaches into it. If so it is read."""
        notes = self.notes
        known = _bar_cache.get((group, notes.before, self.key.fifths, self.full, self.beat))
        if known is None or self.units or self.repeats or (known.unmarked and (notes.due or self.line_starts)) or self._reached():
            return False
        bar = self._open(at)
        model, written, _unmarked, notes.before, notes.tied = known
        bar.notes, bar.total, bar.complete = model.notes, model.total, model.complete
        self.written.append(WrittenBar(len(self.bars) - 1, written.cells, written.units, [(0, at)], _NONE))
        notes.due = None
        if self.line_starts:
            self.line_starts = []
        return True

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

    # --- groups that are no notes -----------------------------------------------------------------------------

    def _special(self, group: str, at: int) -> bool:
        """Whether a group is none of notes; if so it is read."""
        return any(read(self, group, at) for read in _SPECIAL_READERS.get(group[0], _ELSE))

    def _expression(self, group: str, at: int) -> bool:
        """Words between word signs."""
        if not is_expression(group) or len(group) <= 2:
            return False
        said = direction(" ".join(read_expression(part) for part in re.split(f"[{S.SPACE}\n]", group[1:-1])))
        if self.units:
            # Within a bar: it waits among the notes for the one that comes next.
            self.groups.append((len(self.units), at))
            self.units.append(_said_unit(said))
            self.cells.append(group)
            return True
        if said.kind is DirectionKind.JUMP and self.bars:
            self.bars[-1].after += (said,)  # where to go is said at the end of a bar
        else:
            self.pending.append(said)
        self.notes.due = ProblemCode.MARK_AFTER_WORDS
        self.others.append((at, group))
        return True

    def _bar_repeat(self, group: str, at: int) -> bool:
        """A bar repeat, with a number or not, and the bar line after it."""
        match = REPEAT.fullmatch(group)
        if not match or self.units or not (match["times"] or match["tail"][:1] != S.BAR_REPEAT):
            return False
        if not self.bars:
            self.problems.append((at, Slip(ProblemCode.REPEAT_WITHOUT_BAR)))
            return True
        length = len(group) - len(match["tail"])
        if match["times"]:
            self.notes.due = ProblemCode.MARK_AFTER_NUMBERED_REPEAT
        self.others.append((at, group[:length]))
        source = self.bars[-1]
        for _ in range(min(read_digits(match["times"]) if match["times"] else 1, MOST_BARS - len(self.bars))):
            bar = self._open(at)
            bar.notes = list(source.notes)
            bar.total, bar.complete = source.total, True  # what is amiss in it is said once
            self.repeated.append((len(self.bars) - 1, at, length))
        self.line_starts.clear()
        for offset, u in self._tail(match["tail"], at + length):
            self.problems += [(offset + o, slip) for o, slip in u.problems]
            if u.kind:
                self.problems.append((offset, Slip(ProblemCode.NOTE_RUNS_INTO_REPEAT)))
        return True

    def _bars_of_rest(self, group: str, at: int) -> bool:
        """Rests of several bars, written out or with a number."""
        match = None if self.units else RESTS.fullmatch(group)
        # A dot that stands between by mistake is said; the bars of rest are read all the same.
        if not match or not all_bar_signs(match["tail"].removeprefix(S.DOT)):
            return False
        few = len(match["few"] or "")
        if few and self.full == few * 4 * UNITS:
            return False  # semibreve rests that fill one long bar
        length = len(group) - len(match["tail"])
        for n in range(min(few or read_digits(match["many"]), MOST_BARS - len(self.bars))):
            bar = self._open(at)
            bar.notes = [Note(pitch=None, base=Fraction(4), whole_bar=True,
                              before=tuple(self.pending) if n == 0 else ())]
            bar.complete = True
            self.repeated.append((len(self.bars) - 1, at + n if few else at, 1 if few else len(group)))
        self.pending.clear()
        self.line_starts.clear()
        self.notes.tied = None
        self.others.append((at, group[:length]))
        for offset, u in self._tail(match["tail"], at + length):
            self.problems += [(offset + o, slip) for o, slip in u.problems]
        return True

    def _tail(self, cells: str, at: int) -> Iterator[tuple[int, Unit]]:
        """Signs of the bar line that follow a repeat or a rest, read into the last bar: each with its offset."""
        for piece in split(cells):
            u = unit(piece)
            self._bar_signs(self.bars[-1], u)
            yield at, u
            self.others.append((at, piece))
            at += len(piece)

    def _bar_number(self, group: str, at: int) -> bool:
        """The number of a bar, at the beginning of a line."""
        match = BAR_NUMBER.fullmatch(group) if self.line_starts else None
        if not match:
            return False
        self.others.append((at, group))
        if not self.bars and not self.units:
            self.first_number = read_digits(match["number"])
        return True

    def _signature(self, group: str, at: int) -> bool:
        found = read_signature(group)
        if found is None:
            return False
        self.take_signature(*found)
        self.others.append((at, group))
        self.notes.due = ProblemCode.MARK_AFTER_SIGNATURE
        return True

    def take_signature(self, key: Key | None, time: Time | None) -> None:
        """A key or a time holds from here on."""
        if key is not None:
            self.key = self.new_key = key
        if time is not None and not self.pitch_only:
            self.new_time = time
            self.set_time(time)

    def _metronome(self, group: str, at: int) -> bool:
        match = METRONOME_MARK.fullmatch(group)
        if not match:
            return False
        self.pending.append(read_metronome(match))
        self.others.append((at, group))
        return True

    def _open(self, at: int) -> BarRead:
        bar = BarRead(at, self.full, self.lower)
        if self.new_key or self.new_time:
            bar.key, bar.time, self.new_key, self.new_time = self.new_key, self.new_time, None, None
        self.bars.append(bar)
        return bar

    def _bar_signs(self, bar: BarRead, u: Unit) -> None:
        if u.forward:
            bar.forward = True
        if u.ending:
            bar.ending = u.ending
        if u.backward:
            bar.backward = True
            self.notes.due = ProblemCode.MARK_AFTER_REPEAT_SIGN
        if u.barline:
            bar.barline = u.barline
            if u.barline is not _DOTTED:  # which is no break
                self.notes.due = ProblemCode.MARK_AFTER_DOUBLE_BAR

    # --- a bar of notes ---------------------------------------------------------------------------------------

    def _end_bar(self, plain: bool | None = None, shape: tuple[int, ...] = ()) -> None:
        """The bar under way is whole: its values, then its notes. plain: whether its units have pitch and value alone."""
        if self.repeats:
            self._part_repeats()
        units = self.units
        bar = self._open(self.groups[0][1] if self.groups else 0)
        self.written.append(WrittenBar(len(self.bars) - 1, self.cells, self.units, self.groups, self.again))
        self.again = _NONE
        if plain is None:
            plain, shape = all(u.plain for u in units), shape_of(units)
        if self.running or (not plain and any(u.goes_on for u in units)):
            shape = self._running_shape(units)
        if self.pitch_only:
            values: Sequence[Value] = [_QUAVER] * len(units)
        else:
            values, total = read_bar(shape, self.full, self.beat)
            bar.total = total.numerator if total.denominator == 1 else total  # whole numbers are compared sooner
            bar.complete = bar.total == self.full
        self.notes.begin_bar(self.key)
        if plain and not self.vocal and len(self.line_starts) <= 1 and not self.pending and self.notes.at_rest:
            self._plain_bar(bar, values)
        else:
            self._rich_bar(bar, values)
        self.units, self.cells, self.groups, self.starts = [], [], [], []
        if self.line_starts:
            self.line_starts = []

    def _running_shape(self, units: list[Unit]) -> tuple[int, ...]:
        """As `shape_of`, with the sign at each of the groups that a doubled sign has set going; the last of them has it once
        more (De Garmo, chapter 16)."""
        shape: list[int] = []
        held = count = 0
        for u in units:
            if not u.kind or u.grace:
                continue
            ended = not count or (count > 1 and self.running > 0 and comes_out(held, self.running))
            begins = u.group or (self.running if ended else 0)
            if u.group:
                self.running = u.group if u.goes_on else 0
            if begins:
                held = count = 0
            shape += [code for code in (u.size, GROUP + begins if begins else 0) if code]
            shape.append(u.code)
            held, count = held + length(u.row, u.dots, False), count + 1
        return tuple(shape)

    def _other_writers(self, u: Unit, i: int) -> None:
        """Signs of other writers' pages that are passed over: fingers and intervals, said once each. Fingers 2 and 3 have the
        cells of merged syllables, which only words have."""
        found = [(ProblemCode.INTERVALS, self.problems)] * bool(u.intervals)
        found += [(ProblemCode.FINGERING, self.hints)] * bool(u.fingers or (u.merged and not self.vocal))
        for code, where in found:
            if code not in self.named:
                self.named.add(code)
                where.append((self.offset(i), Slip(code)))

    def _plain_bar(self, bar: BarRead, values: Sequence[Value]) -> None:
        """Notes with pitch and value alone, which most bars are made of."""
        if self.line_starts:
            self.notes.wants_mark(ProblemCode.MARK_FOR_LINE)
        for i, (u, value) in enumerate(zip(self.units, values, strict=False)):
            if u.kind is _REST:
                bar.notes.append(self._plain_rest(bar, u, value))
            else:
                bar.notes.append(self.notes.plain(u, i, value))

    def _plain_rest(self, bar: BarRead, u: Unit, value: Value) -> Note:
        self.notes.tied = None
        base, dots, tuplet = value
        if u.row == 0 and dots == 0 and tuplet is None and len(self.units) == 1:
            bar.complete = True
            return Note(pitch=None, base=BASES[0], whole_bar=True)
        if tuplet is None:
            return plain_note((-1, 0, base, dots, False, _NEEDED))
        return Note(pitch=None, base=BASES[base], dots=dots, tuplet=Tuplet(*tuplet))

    def _rich_bar(self, bar: BarRead, values: Sequence[Value]) -> None:
        """Notes and rests with all that can stand at them."""
        units, notes = self.units, self.notes
        left = iter(values)
        alone = sum(u.kind is not _SIGNS for u in units) == 1
        starts = set(self.line_starts)
        for i, u in enumerate(units):
            if i in starts and self._line_begins(u, i):
                starts.add(i + 1)
            if u.kind is _SIGNS:
                self._signs_alone(u, bar, i)
                continue
            value = None if u.grace else next(left)
            if u.intervals or u.fingers or u.merged:
                self._other_writers(u, i)
            if u.kind is _REST:
                self._rest(u, value, bar, i, alone)
                continue
            if u.reset and (u.before or u.ending or u.forward):
                notes.wants_mark(ProblemCode.MARK_AFTER_LEAD)
            note, sung = notes.rich(u, i, value, tuple(self.pending))
            self.pending = []
            if sung:
                self.singing.append((len(self.bars) - 1, len(bar.notes)))
            if u.merged:
                self.merged[len(self.bars) - 1, len(bar.notes)] = u.merged
            bar.notes.append(note)
            self._bar_signs(bar, u)
        if self.pending and bar.notes:
            bar.after += tuple(self.pending)
            self.pending = []

    def _line_begins(self, u: Unit, i: int) -> bool:
        """The first note of a line has a mark; signs without a note let the next unit be the first: whether they do."""
        if u.kind is _NOTE or (u.kind is _SIGNS and i + 1 == len(self.units)):
            self.notes.wants_mark(ProblemCode.MARK_FOR_LINE)
            return False
        return u.kind is _SIGNS

    def _rest(self, u: Unit, value: Value | None, bar: BarRead, i: int, alone: bool) -> None:
        base, dots, tuplet = value_of(u, value)
        self.notes.own_problems(u, i)
        self._bar_signs(bar, u)
        whole = alone and u.row == 0 and not (u.dots or u.size or tuplet)
        if whole:
            base, bar.complete = Fraction(4), True
        self.notes.tied = None
        bar.notes.append(Note(pitch=None, base=base, dots=dots, tuplet=tuplet, whole_bar=whole,
                              marks=tuple(dict.fromkeys((*u.marks, *u.after))), before=(*self.pending, *u.before)))
        self.pending = []
        if u.before:
            self.notes.wants_mark(ProblemCode.MARK_AFTER_WORDS)

    def _signs_alone(self, u: Unit, bar: BarRead, i: int) -> None:
        self.notes.own_problems(u, i)
        self._bar_signs(bar, u)
        if u.before:
            self.pending += u.before
            self.notes.wants_mark(ProblemCode.MARK_AFTER_WORDS)

    def _part_repeats(self) -> None:
        """A bar repeat within a bar: the part before it again, of such a length that the bar comes out full."""
        full = self.full
        where = self.repeats
        self.repeats = []
        first = where[0][0]
        if any(index != first for index, _ in where):
            # Signs in several places: each stands for the same stretch as the one before it; not searched.
            self.problems.append((where[1][1], Slip(ProblemCode.SEVERAL_PART_REPEATS)))
        count = sum(index == first for index, _ in where)
        head, rest = self.units[:first], self.units[first:]
        best = len(head) // 2 or len(head)
        for taken in range(1, len(head) + 1):
            trial = head + head[-taken:] * count + rest
            if len(trial) <= LONGEST and read_bar(shape_of(trial), full, self.beat)[1] == full:
                best = taken
                break
        else:
            self.problems.append((where[0][1], Slip(ProblemCode.PART_REPEAT_UNCLEAR)))
        again = self.cells[first - best:first] * count
        self.units[first:first] = self.units[first - best:first] * count
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
        first, bars = self._numbers(), self.bars
        second = False  # of two bars that make one
        for i, bar in enumerate(bars):
            if bar.complete or not bar.full or not bar.notes:
                second = False
                continue
            second = not second and self._parted(i - 1)
            if second:
                self.problems.append((bar.at, Slip(ProblemCode.SPACE_TOO_MANY, bar=i + first)))
            if second or self._parted(i):
                continue
            beat_units = Fraction(4 * UNITS, bar.lower)
            beats, wanted = bar.total / beat_units, bar.full / beat_units
            if i == 0 and self._short_beside_whole():
                self.hints.append((bar.at, Slip(ProblemCode.SHORT_FIRST_BAR, beats=beats, wanted=wanted)))
            elif not self._made_whole(i):
                code = ProblemCode.SPACE_MISSING if bar.total == 2 * bar.full else ProblemCode.BEATS
                self.problems.append((bar.at, Slip(code, bar=i + first, beats=beats, wanted=wanted)))

    def _short(self, i: int) -> bool:
        """Whether a bar has notes and is not full."""
        bar = self.bars[i]
        return bool(bar.notes) and not bar.complete and 0 < bar.total < bar.full

    def _parted(self, i: int) -> bool:
        """Whether a bar and the next, which nothing divides, make one together: a space too many. A first bar may be a
        pickup, whose other part is the last bar."""
        bars = self.bars
        if not 0 <= i < len(bars) - 1 or not (self._short(i) and self._short(i + 1)):
            return False
        here, after = bars[i], bars[i + 1]
        if here.ends or after.begins or here.full != after.full or here.total + after.total != here.full:
            return False
        return i > 0 or bars[-1].complete

    def _short_beside_whole(self) -> bool:
        """Whether the first bar is short and no bar makes a whole one with it: a pickup, or something is missing. Half a bar
        and less is a pickup, as a rule, even where the last bar of the score is whole all the same."""
        first = self.bars[0]
        if len(self.bars) < 2 or not self._short(0) or not self.bars[-1].complete or 2 * first.total <= first.full:
            return False
        missing = first.full - first.total
        return not any(bar.total == missing and not bar.complete and bar.notes for bar in self.bars[1:])

    def _made_whole(self, i: int) -> bool:
        """Whether a short bar is a pickup, or makes a whole one with another: at a repeat, at an ending, at the end."""
        bars, bar = self.bars, self.bars[i]
        if bar.total >= bar.full:
            return False
        if i == 0 and len(bars) > 1:
            return True
        first, before, missing = bars[0], bars[i - 1], bar.full - bar.total
        if i == len(bars) - 1:
            if not first.complete:
                if first.total == missing:
                    return True
            elif bar.divided and any(not b.complete and b.total == missing for b in bars):
                return True
        elif (bar.divided or bars[i + 1].begins) and missing in (bars[i + 1].total, first.total):
            return True
        return (before.ends or bar.begins) and before.total == missing

    def _numbers(self) -> int:
        """The number of the first bar: 0 for a pickup."""
        if self.first_number is not None:
            return self.first_number
        bars = self.bars
        return 0 if len(bars) > 1 and bars[0].full and not bars[0].complete and bars[0].total < bars[0].full else 1

    def finished(self) -> tuple[Bar, ...]:
        """The bars, frozen. The first has a key."""
        stops = self._ending_stops() if any(bar.ending for bar in self.bars) else set()
        if self.bars and self.bars[0].key is None:
            self.bars[0].key = Key(0)
        out = []
        for i, (number, bar) in enumerate(enumerate(self.bars, self._numbers())):
            notes = tuple(bar.notes)
            if i in stops or bar.key or bar.time or bar.forward or bar.backward or bar.ending or bar.barline or bar.after:
                out.append(Bar(number=number, notes=notes, key=bar.key, time=bar.time, forward_repeat=bar.forward,
                               backward_repeat=2 if bar.backward else 0, ending=bar.ending, ending_stop=i in stops,
                               barline=bar.barline, after=bar.after))
            else:
                out.append(Bar(number=number, notes=notes))
        return tuple(out)

    def _ending_stops(self) -> set[int]:
        """Where endings end: at a repeat sign, a double bar, before the next ending or repeat, or at the end."""
        stops: set[int] = set()
        open_ending = False
        for i, bar in enumerate(self.bars):
            open_ending = open_ending or bool(bar.ending)
            if open_ending and (bar.ends or i == len(self.bars) - 1 or self.bars[i + 1].begins):
                stops.add(i)
                open_ending = False
        return stops


#: What a group that is none of notes may be, by its first cell; with another it is a metronome mark or nothing.
_ELSE = (Reader._metronome,)
_SPECIAL_READERS = {
    S.WORD: (Reader._expression,),
    S.BAR_REPEAT: (Reader._bar_repeat,),
    S.WHOLE_REST: (Reader._bars_of_rest,),
    S.NUMBER: (Reader._bars_of_rest, Reader._bar_number, Reader._signature),
} | {sign[0]: (Reader._signature,) for sign in (*(S.ACCIDENTALS[alter] for alter in (-1, 0, 1)), S.COMMON, S.CUT)}


def _said_unit(said: ScoreDirection) -> Unit:
    u = Unit()
    u.before, u.reset = (said,), True
    return u


def starts_of(cells: list[str], groups: list[tuple[int, int]]) -> list[int]:
    """Where every unit begins: groups are (index of first unit, offset)."""
    at = dict(groups)
    out: list[int] = []
    now = 0
    for i, piece in enumerate(cells):
        now = at.get(i, now)
        out.append(now)
        now += len(piece)
    return out
