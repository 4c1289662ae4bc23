"""Which value each cell has. Four rows of cells stand for eight values, and the bar tells which is meant.

Reader and writer share `read_bar`: the writer tries the plainest way to write a bar, reads it back by the same
rule, and adds the signs for larger or smaller values only where the reading would come out wrong. So whatever
is written is read as it was meant.

Lengths are counted in units of 1/256 of a crotchet (`UNITS` in a crotchet), so that a 128th with three dots is
still a whole number; groups such as triplets multiply the scale by the number of notes in the group.
"""

from __future__ import annotations

from fractions import Fraction
from functools import lru_cache
from math import lcm, log2

from companion.tune import Time

UNITS = 256
BREVE = 4  # the row of the breve, which has only one value
LARGE_UNITS = (1024, 512, 256, 128, 2048)  # semibreve, minim, crotchet, quaver; breve
SMALL_UNITS = (64, 32, 16, 8, 2048)  # semiquaver, 32nd, 64th, 128th; breve
#: Base values in crotchets: the larger ones of rows 0 to 3 and the breve, then the smaller ones.
BASES = (Fraction(4), Fraction(2), Fraction(1), Fraction(1, 2), Fraction(8),
         Fraction(1, 4), Fraction(1, 8), Fraction(1, 16), Fraction(1, 32), Fraction(8))
#: From a base value as (numerator, denominator) to its row, and whether it is one of the smaller values.
ROWS = {b.as_integer_ratio(): (i % 5, i >= 5) for i, b in enumerate(BASES)}
ROWS[8, 1] = (BREVE, False)

#: How a bar is handed to `read_bar`: one number a cell, row + 8 * dots, and REST more for a rest. Before a cell
#: may stand LARGER or SMALLER (a value sign) or GROUP + n (a triplet sign or a group of n).
REST, LARGER, SMALLER, GROUP = 64, -1, -2, 1000
LONGEST = 96  # cells; a bar of more is no melody, and is read in the larger values without search
#: A triplet stands in the time of two; two or four in compound time stand in the time of three.
NORMAL = {2: 3, 3: 2, 4: 3}


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


#: A cell of a bar: row, dots, whether a rest, the group that begins here or 0, the size asked for or 0, and
#: whether a value sign stands at this very cell.
Item = tuple[int, int, bool, int, int, bool]

#: What `read_bar` gives for each cell: its place in BASES, its dots, (actual, normal, place) or None, and
#: whether it is read as one of a group of small values although it has the cell of a quaver.
Value = tuple[int, int, tuple[int, int, str] | None, bool]


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
            return tuple([(code & 7, code >> 3 & 7, None, False) for code in shape]), Fraction(total)
    items: list[Item] = []
    group = size = 0
    signed = False
    for code in shape:
        if code >= GROUP:
            group = code - GROUP
        elif code < 0:
            size, signed = code, True
        else:
            items.append((code & 7, code >> 3 & 7, bool(code & REST), group, size, signed))
            group, signed = 0, False
    scale = lcm(*(i[3] for i in items if i[3])) if any(i[3] for i in items) else 1
    if scale > 10_000:
        items = [(r, d, rest, 0, s, g) for r, d, rest, _, s, g in items]
        scale = 1
    plain = None
    if all(i[0] >= 3 for i in items) and scale == 1:
        plain = _larger(items, scale)
    elif len(items) <= LONGEST:
        plain = _search(items, scale, full, beat_units)
    values, total = plain or _larger(items, scale)
    return tuple(values), Fraction(total, scale)


#: How far two neighbouring values are from each other: tenths of an octave of length (10 log2 of their ratio).
_LOGS = {(place, dots): round(10 * log2(2 * plain - (plain >> dots)))
         for place, plain in enumerate((*LARGE_UNITS, *SMALL_UNITS)) for dots in range(8)}
#: What a small value costs besides: 32nds and shorter are rare in sung music, and a larger value is meant where
#: nothing speaks for the smaller.
_RARE = {5: 1, 6: 6, 7: 15, 8: 30}


MIXED = 15  # a group of another count than its number says, for each note more or fewer
TOO_SHORT, TOO_LONG = 30, 40  # what it costs that a bar does not come out, in the same measure


def _step(last: int, place: int, dots: int) -> int:
    """What it costs to read a value after one whose length is `last` in _LOGS (-1: the first)."""
    return (abs(_LOGS[place, dots] - last) if last >= 0 else 0) + _RARE.get(place, 0)


def _sizes(row: int, size: int) -> tuple[bool, ...]:
    if size == SMALLER:
        return (True,)
    # A quaver's cell is a 128th only where a sign says so.
    return (False,) if size == LARGER or row >= 3 else (False, True)


def _larger(items: list[Item], scale: int) -> tuple[list[Value], int]:
    values: list[Value] = []
    total = i = 0
    while i < len(items):
        row, dots, _, group, size, _ = items[i]
        small = size == SMALLER
        if group:
            found = _groups(items, i, scale)
            if found:
                taken, part = min(found, key=lambda f: (abs(len(f[0]) - group), sum(v[0] >= 5 for v in f[0])))
                values += taken
                total += part
                i += len(taken)
                continue
        values.append((row + 5 * small, dots, None, False))
        total += length(row, dots, small) * scale
        i += 1
    return values, total


def _groups(items: list[Item], i: int,
            scale: int) -> list[tuple[list[Value], int]]:
    """Ways to read the group (triplet and the like) that begins at item i: its values and its length.

    A group ends where what it holds is as many equal values as its number says.
    """
    actual = items[i][3]
    normal = normal_of(actual)
    out = []
    open_: list[tuple[list[int], int]] = [([], 0)]
    for k in range(i, min(len(items), i + 2 * actual + 2)):
        row, dots, _, begins, size, signed = items[k]
        if k > i and (begins or (signed and k >= i + 2)):
            break  # another group begins, or a value sign fences this one off
        longer = []
        for taken, units in open_:
            for small in _sizes(row, size):
                more = (taken + [row + 5 * small], units + length(row, dots, small))
                share, left = divmod(more[1], actual)
                if k > i and not left and share & (share - 1) == 0:
                    values: list[Value] = []
                    last = k - i
                    for n, base in enumerate(more[0]):
                        place = "start" if n == 0 else "stop" if n == last else ""
                        values.append((base, items[i + n][1], (actual, normal, place), False))
                    out.append((values, more[1] * normal * scale // actual))
                longer.append(more)
        open_ = longer[:64]
    return out


def _search(items: list[Item], scale: int, full: int,
            beat_units: int) -> tuple[list[Value], int] | None:
    """Forward search over (item, length so far, log of the last value): the smoothest way to each."""
    target = full * scale
    State = tuple[int, int]
    best: list[dict[State, tuple[int, tuple[int, State] | None, list[Value]]]] = [{} for _ in range(len(items) + 1)]
    best[0][0, -1] = (0, None, [])
    limit = 4 * target or 64 * LARGE_UNITS[0] * scale

    def reach(at: int, old: State, cost: int, more: int, values: list[Value]) -> None:
        last = old[1]
        for place, dots, _, _ in values:
            cost += _step(last, place, dots)
            last = _LOGS[place, dots]
        new = (old[0] + more if target else 0, last)
        if new[0] > limit:
            return
        known = best[at + len(values)].get(new)
        if known is None or cost < known[0]:
            best[at + len(values)][new] = (cost, (at, old), values)

    for i, (row, dots, _, group, size, _) in enumerate(items):
        groups = _groups(items, i, scale) if group else []
        for old, (cost, _, _) in list(best[i].items()):
            for values, part in groups:
                # As many notes as the group's number says are likelier than long and short ones mixed.
                reach(i, old, cost + MIXED * abs(len(values) - group), part, values)
            for small in _sizes(row, size):
                part = length(row, dots, small) * scale
                if not groups:
                    reach(i, old, cost, part, [(row + 5 * small, dots, None, False)])
                if small and row < 3 and not dots and target:
                    # A group: the first in its true value, the others as quavers, together one beat.
                    count = beat_units // SMALL_UNITS[row]
                    rest_of = items[i + 1:i + count]
                    if count >= 3 and len(rest_of) == count - 1 and all(
                            r == 3 and not d and not rest and not g and s == size
                            for r, d, rest, g, s, _ in rest_of):
                        group_of: list[Value] = [(row + 5, 0, None, False)]
                        group_of += [(row + 5, 0, None, True)] * (count - 1)
                        reach(i, old, cost, count * part, group_of)
    ends = best[len(items)]
    if not ends:
        return None
    larger = _larger(items, scale)
    if target and larger[1] < target:
        return larger
    # A bar that is too short is likelier than one that is too long, but neither excuses a jagged reading.
    key = min((value[0] + (0 if not target or key[0] == target else TOO_SHORT if key[0] < target else TOO_LONG), key)
              for key, value in ends.items())[1]
    read: list[Value] = []
    at, state = len(items), key
    while True:
        _, back, taken = best[at][state]
        if back is None:
            break
        read[:0] = taken
        at, state = back
    return read, sum(_part(v, scale) for v in read)


def _part(value: Value, scale: int) -> int:
    place, dots, tuplet, _ = value
    units = length(place % 5, dots, place >= 5) * scale
    return units * tuplet[1] // tuplet[0] if tuplet else units


#: A note to be written: its place in BASES, + 16 * dots, + REST_NOTE for a rest; in a group of its own time
#: (triplet and the like) that number with (actual, normal, place).
Code = int | tuple[int, int, int, str]
REST_NOTE = 128
#: How one is written: value sign, group that begins, row, dots, whether no line may end before it.
Written = tuple[int, int, int, int, bool]


@lru_cache(maxsize=20_000)
def write_bar(codes: tuple[Code, ...], full: int, beat_units: int, pickup: bool,
              grouped: bool) -> tuple[tuple[Written, ...], Fraction]:
    """How a bar's values are written, and how long it is in units.

    Each is (value sign or 0, group that begins or 0, row, dots, joined): joined where it stands within a group of
    small values that no line may part. full: units of a full bar, 0 for none. pickup: a short bar counts its
    beats from its end. grouped: whether groups of small values may be written as quavers.

    Grouping (De Garmo, chapter 15): three or more equal notes smaller than a quaver that fill a beat, the first
    in its true value, which may be a rest, the others as quavers; not where a quaver follows in the same bar.
    The bar is then read as a reader would; where that gives other values it is written without grouping, then
    with value signs wherever the size changes, then with one after every triplet or other group too.
    """
    simple = 0
    for code in codes:
        if not isinstance(code, int) or code & 15 >= 5:
            break
        simple += length(code & 15, code >> 4 & 7, False)
    else:
        if simple <= full:
            # Larger values that do not overfill the bar are read as they stand: any other reading is shorter.
            return tuple([(0, 0, c & 15, c >> 4 & 7, False) for c in codes if isinstance(c, int)]), Fraction(simple)
    notes: list[tuple[int, int, bool, tuple[int, int, str] | None]] = []
    for code in codes:
        number, tuplet = (code, None) if isinstance(code, int) else (code[0], code[1:])
        notes.append((number & 15, number >> 4 & 7, bool(number & REST_NOTE), tuplet))
    lengths = [Fraction(length(b % 5, d, b >= 5)) * (Fraction(t[1], t[0]) if t else 1) for b, d, _, t in notes]
    total = sum(lengths, Fraction(0))
    wanted = tuple((b, d, t) for b, d, _, t in notes)
    attempts: list[list[Written]] = []
    plain: list[Written] = [(0, t[0] if t and t[2] in ("start", "single") else 0, b % 5, d, False)
                            for b, d, _, t in notes]
    if grouped and any(b >= 5 for b, _, _, _ in notes):
        start = full - total if pickup and 0 < total < full else Fraction(0)
        attempts.append(_grouped(notes, lengths, start, beat_units, plain))
    attempts.append(plain)
    signed = list(plain)
    last = None
    for i, (b, _, _, _) in enumerate(notes):
        if (b >= 5) != last:
            last = b >= 5
            signed[i] = (SMALLER if last else LARGER, *plain[i][1:])
    attempts.append(signed)
    if any(t for _, _, _, t in notes):
        fenced = list(signed)
        for i in range(1, len(notes)):
            ended = notes[i - 1][3]
            if ended and ended[2] in ("stop", "single"):
                fenced[i] = (SMALLER if notes[i][0] >= 5 else LARGER, *signed[i][1:])
        attempts.append(fenced)
    for attempt in attempts:
        shape: list[int] = []
        for (sign, group, row, dots, _), (_, _, rest, _) in zip(attempt, notes, strict=True):
            if sign:
                shape.append(sign)
            if group:
                shape.append(GROUP + group)
            shape.append(row + 8 * dots + REST * rest)
        read, _ = read_bar(tuple(shape), full, beat_units)
        if tuple((v[0], v[1], v[2]) for v in read) == wanted:
            return tuple(attempt), total
    return tuple(attempts[-1]), total


def _grouped(notes: list[tuple[int, int, bool, tuple[int, int, str] | None]], lengths: list[Fraction],
             start: Fraction, beat_units: int, plain: list[Written]) -> list[Written]:
    out = list(plain)
    now = start
    i = 0
    while i < len(notes):
        base, dots, _, tuplet = notes[i]
        count = beat_units // SMALL_UNITS[base - 5] if base >= 5 and base != 9 else 0
        run = notes[i:i + count]
        if (count >= 3 and not dots and not tuplet and now % beat_units == 0 and len(run) == count
                and all(n == (base, 0, False, None) for n in run[1:])
                and not (i + count < len(notes) and lengths[i + count] == LARGE_UNITS[3])):
            for k in range(i + 1, i + count):
                out[k] = (0, 0, 3, 0, True)
            now += sum(lengths[i:i + count])
            i += count
        else:
            now += lengths[i]
            i += 1
    return out
