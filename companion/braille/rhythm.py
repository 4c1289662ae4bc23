"""Which value each cell has. Four rows of cells stand for eight values, and the bar tells which is meant.

Reader and writer share `read_bar`: the writer tries the plainest way to write a bar, reads it back by the same
rule, and adds the signs for larger or smaller values only where the reading would come out wrong. So whatever
is written is read as it was meant.

Lengths are counted in units of 1/256 of a crotchet (`UNITS` in a crotchet), so that a 128th with three dots is
still a whole number; groups such as triplets multiply the scale by the number of notes in the group.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from functools import lru_cache
from math import lcm, log2
from typing import NamedTuple

from companion.tune import Time

UNITS = 256
BREVE = 4  # the row of the breve, which has only one value
_QUAVER = 3  # the row of the quaver
FIRST_SMALL = 5  # places in BASES from here on are smaller values
LARGE_UNITS = (1024, 512, 256, 128, 2048)  # semibreve, minim, crotchet, quaver; breve
SMALL_UNITS = (64, 32, 16, 8, 2048)  # semiquaver, 32nd, 64th, 128th; breve
#: Base values in crotchets: the larger ones of rows 0 to 3 and the breve, then the smaller ones.
BASES = (Fraction(4), Fraction(2), Fraction(1), Fraction(1, 2), Fraction(8),
         Fraction(1, 4), Fraction(1, 8), Fraction(1, 16), Fraction(1, 32), Fraction(8))
#: From a base value as (numerator, denominator) to its row, and whether it is one of the smaller values.
ROWS = {b.as_integer_ratio(): (i % FIRST_SMALL, i >= FIRST_SMALL) for i, b in enumerate(BASES)}
ROWS[8, 1] = (BREVE, False)

#: How a bar is handed to `read_bar`: one number a cell, row + 8 * dots, and REST more for a rest. Before a cell
#: may stand LARGER or SMALLER (a value sign) or GROUP + n (a triplet sign or a group of n).
REST, LARGER, SMALLER, GROUP = 64, -1, -2, 1000
MOST_SCALE = 10_000  # groups whose numbers have a greater common multiple are read as plain notes
LONGEST = 96  # cells; a bar of more is no melody, and is read in the larger values without search
#: A triplet stands in the time of two; two or four in compound time stand in the time of three, eight in that of six.
NORMAL = {2: 3, 3: 2, 4: 3, 8: 6}


def normal_of(actual: int) -> int:
    """In the time of how many a group of `actual` stands: the greatest power of two below it (common practice)."""
    return NORMAL.get(actual) or 1 << (actual.bit_length() - 1 - (actual & (actual - 1) == 0))


@lru_cache(maxsize=256)
def capacity(time: Time | None) -> int:
    """Length of a full bar in units, 0 where there is no time signature."""
    return 4 * UNITS * sum(time.upper) // time.lower if time else 0


@lru_cache(maxsize=256)
def beat(time: Time | None) -> int:
    """Length of a beat in units: three of the lower figure in compound time, 3/8 as one beat."""
    if time is None:
        return UNITS
    unit = 4 * UNITS // time.lower
    upper = sum(time.upper)
    return 3 * unit if time.lower >= 8 and upper % 3 == 0 and len(time.upper) == 1 else unit


def length(row: int, dots: int, small: bool) -> int:
    """Units of a value with its dots."""
    plain = (SMALL_UNITS if small else LARGE_UNITS)[row]
    return 2 * plain - (plain >> dots)


class Item(NamedTuple):
    """A cell of a bar: the group that begins here or 0, the size asked for or 0, and whether a value sign stands at
    this very cell."""

    row: int
    dots: int
    rest: bool
    group: int
    size: int
    signed: bool


class Value(NamedTuple):
    """How a cell is read: its place in BASES, its dots, and in a group of its own time (actual, normal, place)."""

    base: int
    dots: int
    tuplet: tuple[int, int, str] | None = None


Read = tuple[list[Value], int]  # values and their length in units times the scale


@lru_cache(maxsize=20_000)
def read_bar(shape: tuple[int, ...], full: int, beat_units: int) -> tuple[tuple[Value, ...], Fraction]:
    """The values of a bar's cells, and how long the bar is in units.

    shape: cells and signs as above. full: units of a full bar, 0 for unknown. Of the ways to read the cells the
    smoothest that fills the bar is taken (`_step` says what smooth is). Larger values that do not fill it are
    taken as they stand. Where nothing fills it, the smoothest of the rest. Never raises.
    """
    if not shape or (min(shape) >= 0 and max(shape) < GROUP):
        total = sum([length(code & 7, code >> 3 & 7, False) for code in shape])
        if total <= full:
            # The larger values, which do not overfill the bar: any other reading is shorter.
            return tuple([Value(code & 7, code >> 3 & 7) for code in shape]), Fraction(total)
    items = _items(shape)
    scale = lcm(*(item.group for item in items if item.group))
    if scale > MOST_SCALE:
        items = [item._replace(group=0) for item in items]
        scale = 1
    found = None
    if scale > 1 or any(item.row < _QUAVER for item in items):
        found = _Search(items, scale, full, beat_units).result() if len(items) <= LONGEST else None
    values, units = found or _larger(items, scale)
    return tuple(values), Fraction(units, scale)


def _items(shape: tuple[int, ...]) -> list[Item]:
    """The cells with the signs before them."""
    items: list[Item] = []
    group = size = 0
    signed = False
    for code in shape:
        if code >= GROUP:
            group = code - GROUP
        elif code < 0:
            size, signed = code, True
        else:
            items.append(Item(code & 7, code >> 3 & 7, bool(code & REST), group, size, signed))
            group, signed = 0, False
    return items


#: How far two neighbouring values are from each other: tenths of an octave of length (10 log2 of their ratio).
_LOGS = {(place, dots): round(10 * log2(2 * plain - (plain >> dots)))
         for place, plain in enumerate((*LARGE_UNITS, *SMALL_UNITS)) for dots in range(8)}
#: What a small value costs besides: 32nds and shorter are rare in sung music, and a larger value is meant where
#: nothing speaks for the smaller.
_RARE = {5: 1, 6: 6, 7: 15, 8: 30}

MIXED = 15  # a group of another count than its number says, for each note more or fewer
TOO_SHORT, TOO_LONG = 30, 40  # what it costs that a bar does not come out, in the same measure
MOST_WAYS = 64  # ways to read a group that are followed at a time


def _step(last: int, value: Value) -> int:
    """What it costs to read a value after one whose length is `last` in _LOGS (-1: the first)."""
    return (abs(_LOGS[value.base, value.dots] - last) if last >= 0 else 0) + _RARE.get(value.base, 0)


def _sizes(item: Item) -> tuple[bool, ...]:
    """Whether a cell may stand for the smaller of its values: the answers to try."""
    if item.size == SMALLER:
        return (True,)
    # A quaver's cell is a 128th only where a sign says so.
    return (False,) if item.size == LARGER or item.row >= _QUAVER else (False, True)


def _larger(items: list[Item], scale: int) -> Read:
    """The cells in the larger values, or in the smaller ones where a sign says so."""
    values: list[Value] = []
    total = i = 0
    while i < len(items):
        item = items[i]
        found = _groups(items, i, scale) if item.group else []
        if found:
            taken, part = min(found, key=lambda f: (abs(len(f[0]) - item.group), sum(v.base >= FIRST_SMALL for v in f[0])))
            values += taken
            total += part
            i += len(taken)
            continue
        small = item.size == SMALLER
        values.append(Value(item.row + FIRST_SMALL * small, item.dots))
        total += length(item.row, item.dots, small) * scale
        i += 1
    return values, total


def _groups(items: list[Item], i: int, scale: int) -> list[Read]:
    """Ways to read the group (triplet and the like) that begins at item i.

    A group ends where what it holds is as many equal values as its number says.
    """
    actual = items[i].group
    normal = normal_of(actual)
    out: list[Read] = []
    ways: list[tuple[list[int], int]] = [([], 0)]
    for k in range(i, min(len(items), i + 2 * actual + 2)):
        item = items[k]
        if k > i and (item.group or (item.signed and k >= i + 2)):
            break  # another group begins, or a value sign fences this one off
        ways = [(taken + [item.row + FIRST_SMALL * small], units + length(item.row, item.dots, small))
                for taken, units in ways for small in _sizes(item)]
        for taken, units in ways:
            if k > i and comes_out(units, actual):
                places = ("start", *[""] * (len(taken) - 2), "stop")
                out.append(([Value(base, items[i + n].dots, (actual, normal, place))
                             for n, (base, place) in enumerate(zip(taken, places, strict=True))],
                            units * normal * scale // actual))
        ways = ways[:MOST_WAYS]
    return out


def comes_out(units: int, actual: int) -> bool:
    """Whether a length is so many equal values of music, each a power of two."""
    share, left = divmod(units, actual)
    return not left and share & (share - 1) == 0


_State = tuple[int, int]  # length so far, log of the last value


class _Search:
    """Forward search over items and states: the smoothest way to each."""

    def __init__(self, items: list[Item], scale: int, full: int, beat_units: int) -> None:
        self.items, self.scale, self.target, self.beat = items, scale, full * scale, beat_units
        self.limit = 4 * self.target or 64 * LARGE_UNITS[0] * scale
        #: For each item, the states reached: what it cost, from where, and the values read on the way.
        self.best: list[dict[_State, tuple[int, tuple[int, _State] | None, list[Value]]]] = [
            {} for _ in range(len(items) + 1)]
        self.best[0][0, -1] = (0, None, [])

    def result(self) -> Read | None:
        """The smoothest reading; None where there is none within reach."""
        for i in range(len(self.items)):
            options = list(self._options(i))
            for old, (cost, _, _) in list(self.best[i].items()):
                for values, units, extra in options:
                    self._reach(i, old, cost + extra, values, units)
        ends = self.best[-1]
        if not ends:
            return None
        larger = _larger(self.items, self.scale)
        if self.target and larger[1] < self.target:
            return larger
        best = min((cost + self._amiss(state[0]), state) for state, (cost, _, _) in ends.items())[1]
        values = self._way_to(best)
        return values, sum(self._units(v) for v in values)

    def _options(self, i: int) -> Iterator[tuple[list[Value], int, int]]:
        """Ways to read on from item i: values, their length, what it costs besides."""
        item = self.items[i]
        groups = _groups(self.items, i, self.scale) if item.group else []
        for values, units in groups:
            # As many notes as the group's number says are likelier than long and short ones mixed.
            yield values, units, MIXED * abs(len(values) - item.group)
        for small in _sizes(item):
            units = length(item.row, item.dots, small) * self.scale
            if not groups:
                yield [Value(item.row + FIRST_SMALL * small, item.dots)], units, 0
            if small and (count := self._run(i)):
                yield [Value(item.row + FIRST_SMALL, 0)] * count, count * units, 0

    def _run(self, i: int) -> int:
        """How many notes a group of small values has that begins at item i: the first in its true value, the others as
        quavers, together one beat (De Garmo, chapter 15); 0 where none does."""
        item = self.items[i]
        if item.row >= _QUAVER or item.dots or not self.target:
            return 0
        count = self.beat // SMALL_UNITS[item.row]
        others = self.items[i + 1:i + count]
        as_quavers = (_QUAVER, 0, False, 0, item.size)
        return count if count >= 3 and len(others) == count - 1 and all(o[:5] == as_quavers for o in others) else 0

    def _reach(self, at: int, old: _State, cost: int, values: list[Value], units: int) -> None:
        last = old[1]
        for value in values:
            cost += _step(last, value)
            last = _LOGS[value.base, value.dots]
        new = (old[0] + units if self.target else 0, last)
        known = self.best[at + len(values)].get(new)
        if new[0] <= self.limit and (known is None or cost < known[0]):
            self.best[at + len(values)][new] = (cost, (at, old), values)

    def _amiss(self, total: int) -> int:
        """A bar that is too short is likelier than one that is too long, but neither excuses a jagged reading."""
        if not self.target or total == self.target:
            return 0
        return TOO_SHORT if total < self.target else TOO_LONG

    def _way_to(self, state: _State) -> list[Value]:
        values: list[Value] = []
        at = len(self.items)
        while True:
            _, back, taken = self.best[at][state]
            if back is None:
                return values
            values[:0] = taken
            at, state = back

    def _units(self, value: Value) -> int:
        units = length(value.base % FIRST_SMALL, value.dots, value.base >= FIRST_SMALL) * self.scale
        return units * value.tuplet[1] // value.tuplet[0] if value.tuplet else units


# --- writing --------------------------------------------------------------------------------------------------


class GroupCode(NamedTuple):
    """A note in a group of its own time (triplet and the like). place: "start", "stop", "single" or ""."""

    number: int
    actual: int
    normal: int
    place: str


#: A note to be written: its place in BASES, + 16 * dots, + REST_NOTE for a rest; a `GroupCode` in a group.
Code = int | GroupCode
REST_NOTE = 128


class Written(NamedTuple):
    """How a note is written: value sign or 0, group that begins or 0, row, dots; joined: it stands within a group of
    small values that no line may part."""

    size: int
    group: int
    row: int
    dots: int
    joined: bool


class BarNote(NamedTuple):
    """A `Code` taken apart."""

    base: int
    dots: int
    rest: bool
    tuplet: tuple[int, int, str] | None

    @property
    def begins_group(self) -> bool:
        return self.tuplet is not None and self.tuplet[2] in ("start", "single")

    @property
    def ends_group(self) -> bool:
        return self.tuplet is not None and self.tuplet[2] in ("stop", "single")

    @property
    def size(self) -> int:
        return SMALLER if self.base >= FIRST_SMALL else LARGER

    @property
    def units(self) -> Fraction:
        units = Fraction(length(self.base % FIRST_SMALL, self.dots, self.base >= FIRST_SMALL))
        return units * self.tuplet[1] / self.tuplet[0] if self.tuplet else units


def _bar_note(code: Code) -> BarNote:
    number, tuplet = (code, None) if isinstance(code, int) else (code.number, (code.actual, code.normal, code.place))
    return BarNote(number & 15, number >> 4 & 7, bool(number & REST_NOTE), tuplet)


@lru_cache(maxsize=20_000)
def write_bar(codes: tuple[Code, ...], full: int, beat_units: int, pickup: bool,
              grouped: bool) -> tuple[tuple[Written, ...], Fraction]:
    """How a bar's values are written, and how long it is in units.

    full: units of a full bar, 0 for none. pickup: a short bar counts its beats from its end. grouped: whether groups
    of small values may be written as quavers.

    The bar is read as a reader would; where that gives other values it is written without grouping, then with value
    signs wherever the size changes, then with one after every triplet or other group too.
    """
    simple = _larger_units(codes)
    if simple is not None and simple <= full:
        # Larger values that do not overfill the bar are read as they stand: any other reading is shorter.
        return tuple([Written(0, 0, c & 15, c >> 4 & 7, False) for c in codes if isinstance(c, int)]), Fraction(simple)
    notes = [_bar_note(code) for code in codes]
    total = sum((n.units for n in notes), Fraction(0))
    wanted = [Value(n.base, n.dots, n.tuplet) for n in notes]
    way: list[Written] = []
    for way in _ways(notes, full - total if pickup and 0 < total < full else Fraction(0), beat_units, grouped):
        values, _ = read_bar(_shape(way, notes), full, beat_units)
        if list(values) == wanted:
            break
    return tuple(way), total


def _larger_units(codes: tuple[Code, ...]) -> int | None:
    """The length of a bar that has larger values and no groups; None for any other bar."""
    total = 0
    for code in codes:
        if not isinstance(code, int) or code & 15 >= FIRST_SMALL:
            return None
        total += length(code & 15, code >> 4 & 7, False)
    return total


def _shape(way: list[Written], notes: list[BarNote]) -> tuple[int, ...]:
    """What is written as `read_bar` wants it."""
    shape: list[int] = []
    for written, note in zip(way, notes, strict=True):
        if written.size:
            shape.append(written.size)
        if written.group:
            shape.append(GROUP + written.group)
        shape.append(written.row + 8 * written.dots + REST * note.rest)
    return tuple(shape)


def _ways(notes: list[BarNote], start: Fraction, beat_units: int, grouped: bool) -> Iterator[list[Written]]:
    """Ways to write a bar, the plainest first. start: where in a bar the first note stands."""
    plain = [Written(0, n.tuplet[0] if n.tuplet and n.begins_group else 0, n.base % FIRST_SMALL, n.dots, False) for n in notes]
    if grouped and any(n.base >= FIRST_SMALL for n in notes):
        yield _grouped(notes, start, beat_units, plain)
    yield plain
    signed = [w._replace(size=n.size) if i == 0 or n.size != notes[i - 1].size else w
              for i, (w, n) in enumerate(zip(plain, notes, strict=True))]
    yield signed
    if any(n.tuplet for n in notes):
        yield [w._replace(size=n.size) if i and notes[i - 1].ends_group else w
               for i, (w, n) in enumerate(zip(signed, notes, strict=True))]


def _grouped(notes: list[BarNote], start: Fraction, beat_units: int, plain: list[Written]) -> list[Written]:
    """Grouping (De Garmo, chapter 15): three or more equal notes smaller than a quaver that fill a beat, the first in
    its true value, which may be a rest, the others as quavers; not where a quaver follows in the same bar."""
    out = list(plain)
    now = start
    i = 0
    while i < len(notes):
        count = _group_from(notes, i, now, beat_units)
        for k in range(i + 1, i + count):
            out[k] = Written(0, 0, _QUAVER, 0, True)
        step = max(1, count)
        now += sum((n.units for n in notes[i:i + step]), Fraction(0))
        i += step
    return out


def _group_from(notes: list[BarNote], i: int, now: Fraction, beat_units: int) -> int:
    """How many notes from i can be written as a group of small values; 0 for none. now: where in the bar i stands."""
    base, dots, _, tuplet = notes[i]
    if not FIRST_SMALL <= base < len(BASES) - 1 or dots or tuplet or now % beat_units:
        return 0
    count = beat_units // SMALL_UNITS[base - FIRST_SMALL]
    run = notes[i + 1:i + count]
    if count < 3 or len(run) < count - 1 or any(n != (base, 0, False, None) for n in run):
        return 0
    follows = notes[i + count:i + count + 1]
    return 0 if follows and follows[0].units == LARGE_UNITS[_QUAVER] else count
