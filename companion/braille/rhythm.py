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
from math import lcm

from companion.tune.model import Time

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


#: What `read_bar` gives for each cell: its place in BASES, its dots, (actual, normal, place) or None, and
#: whether it is read as one of a group of small values although it has the cell of a quaver.
Value = tuple[int, int, tuple[int, int, str] | None, bool]


@lru_cache(maxsize=20_000)
def read_bar(shape: tuple[int, ...], full: int, beat_units: int) -> tuple[tuple[Value, ...], Fraction]:
    """The values of a bar's cells, and how long the bar is in units.

    shape: cells and signs as above. full: units of a full bar, 0 for unknown. Of the ways to read the cells the
    one is taken that fills the bar, with fewest changes between larger and smaller values, then fewest smaller
    ones. Where none fills it: the larger values if they do not overfill it, else the nearest below, else the
    least above. Never raises.
    """
    items: list[tuple[int, int, bool, int, int]] = []  # row, dots, rest, group that begins here, size asked for
    group = size = 0
    for code in shape:
        if code >= GROUP:
            group = code - GROUP
        elif code < 0:
            size = code
        else:
            items.append((code & 7, code >> 3 & 7, bool(code & REST), group, size))
            group = 0
    scale = lcm(*(i[3] for i in items if i[3])) if any(i[3] for i in items) else 1
    if scale > 10_000:
        items = [(r, d, rest, 0, s) for r, d, rest, _, s in items]
        scale = 1
    plain = _search(items, scale, full, beat_units) if full and len(items) <= LONGEST else None
    if plain is None:
        plain = _larger(items, scale)
    values, total = plain
    return tuple(values), Fraction(total, scale)


def _sizes(row: int, size: int) -> tuple[bool, ...]:
    if size == SMALLER:
        return (True,)
    # A quaver's cell is a 128th only where a sign says so.
    return (False,) if size == LARGER or row >= 3 else (False, True)


def _larger(items: list[tuple[int, int, bool, int, int]], scale: int) -> tuple[list[Value], int]:
    values: list[Value] = []
    total = i = 0
    while i < len(items):
        row, dots, _, group, size = items[i]
        small = size == SMALLER
        if group:
            found = _groups(items, i, scale, prefer_large=True)
            if found:
                taken, part = found[0]
                values += taken
                total += part
                i += len(taken)
                continue
        values.append((row + 5 * small, dots, None, False))
        total += length(row, dots, small) * scale
        i += 1
    return values, total


def _groups(items: list[tuple[int, int, bool, int, int]], i: int, scale: int,
            prefer_large: bool = False) -> list[tuple[list[Value], int]]:
    """Ways to read the group (triplet and the like) that begins at item i: its values and its length.

    A group ends where what it holds is as many equal values as its number says.
    """
    actual = items[i][3]
    normal = normal_of(actual)
    out = []
    open_: list[tuple[list[int], int]] = [([], 0)]
    for k in range(i, min(len(items), i + 2 * actual + 2)):
        row, dots, _, begins, size = items[k]
        if begins and k > i:
            break
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
                else:
                    longer.append(more)
        open_ = longer[:64]
        if prefer_large and out:
            break
    return out


def _search(items: list[tuple[int, int, bool, int, int]], scale: int, full: int,
            beat_units: int) -> tuple[list[Value], int] | None:
    """Forward search over (item, length so far, size of the last cell that has two): the cheapest way to each."""
    target = full * scale
    State = tuple[int, int]  # length so far; 0 none yet, 1 larger, 2 smaller
    best: list[dict[State, tuple[tuple[int, int], tuple[int, State] | None, list[Value]]]] = [
        {} for _ in range(len(items) + 1)]
    best[0][0, 0] = ((0, 0), None, [])

    def reach(at: int, to: int, old: State, cost: tuple[int, int], new: State, values: list[Value]) -> None:
        if new[0] > 2 * target:
            return
        known = best[to].get(new)
        if known is None or cost < known[0]:
            best[to][new] = (cost, (at, old), values)

    for i, (row, dots, _, group, size) in enumerate(items):
        for old, (cost, _, _) in list(best[i].items()):
            so_far, last = old
            if group:
                for values, part in _groups(items, i, scale):
                    smalls = sum(v[0] >= 5 for v in values)
                    two = [v[0] >= 5 for v in values if v[0] % 5 < 3]
                    now = (2 if two[-1] else 1) if two else last
                    change = int(bool(two) and last not in (0, 2 if two[0] else 1)) + sum(
                        a != b for a, b in zip(two, two[1:], strict=False))
                    reach(i, i + len(values), old, (cost[0] + change, cost[1] + smalls), (so_far + part, now), values)
            for small in _sizes(row, size):
                now = last if row >= 3 else 2 if small else 1
                change = int(row < 3 and last not in (0, now))
                part = length(row, dots, small) * scale
                if not (group and group <= 15):
                    reach(i, i + 1, old, (cost[0] + change, cost[1] + small), (so_far + part, now),
                          [(row + 5 * small, dots, None, False)])
                if small and row < 3 and not dots:
                    # A group: the first in its true value, the others as quavers, together one beat.
                    count = beat_units // SMALL_UNITS[row]
                    rest_of = items[i + 1:i + count]
                    if count >= 3 and len(rest_of) == count - 1 and all(
                            r == 3 and not d and not rest and not g and s == size
                            for r, d, rest, g, s in rest_of):
                        reach(i, i + count, old, (cost[0] + change, cost[1] + 1),
                              (so_far + count * part, now),
                              [(row + 5, 0, None, False)] + [(row + 5, 0, None, True)] * (count - 1))
    ends = best[len(items)]
    if not ends:
        return None
    exact = [(value[0], key) for key, value in ends.items() if key[0] == target]
    if exact:
        key = min(exact)[1]
    else:
        larger, total = _larger(items, scale)
        if total <= target:
            return larger, total
        below = [(value[0], -key[0], key) for key, value in ends.items() if key[0] < target]
        key = min(below)[2] if below else min((k[0], v[0], k) for k, v in ends.items())[2]
    total = key[0]
    values: list[Value] = []
    at, state = len(items), key
    while True:
        _, back, taken = best[at][state]
        if back is None:
            break
        values[:0] = taken
        at, state = back
    return values, total
