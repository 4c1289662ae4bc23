"""Single slips, as people make them, in right pages: which of them the reader finds or hints at, kind by kind."""

from __future__ import annotations

import random
import re
from collections import Counter
from collections.abc import Callable, Iterator
from fractions import Fraction
from typing import Any, NamedTuple

from braille.corpus import parse, sample

from companion.braille import SPACE, decode, encode, signs
from companion.braille.units import NOTES, split
from companion.tune import Tune, from_music21

_OCTAVES = "".join(cell for octave in range(1, 8) for cell in signs.OCTAVES[octave] if len(signs.OCTAVES[octave]) == 1)
_ROWS = {cell: row for cell, (_name, row) in NOTES.items() if len(cell) == 1}


class Page(NamedTuple):
    tune: Tune
    lines: tuple[str, ...]
    first: int  # the line on which music begins, from 0
    whole: bool  # its first and last bars are whole


class Spot(NamedTuple):
    """A place in a page: line, column, and the cells of the unit there; starts: the line begins with it."""

    line: int
    column: int
    cells: str
    starts: bool


def pages(count: int, seed: int = 3, width: int = 32) -> Iterator[Page]:
    """Folk melodies written for lines of 32 cells, without bar repeats, which hide what is in a bar."""
    from companion.braille import Habits

    for _name, abc in sample(count, seed):
        part = parse(abc)
        if not part.recurse().notes:
            continue
        tune = from_music21(part)
        page = encode(tune, width=width, habits=Habits(repeats=False))
        if len(tune.bars) < 6 or decode(page.lines).problems:
            continue
        full = tune.time.quarters
        whole = tune.bars[0].quarters == full == tune.bars[-1].quarters and all(b.time is None for b in tune.bars[1:])
        first = next((k for k, line in enumerate(page.lines) if not line.startswith(SPACE * 3)), 1)
        yield Page(tune, page.lines, first, whole)


def _spots(page: Page) -> list[Spot]:
    out = []
    for number in range(page.first, len(page.lines)):
        line = page.lines[number]
        begin = True
        for match in re.finditer(f"[^{SPACE}]+", line):
            at = match.start()
            for unit in split(match[0]):
                if any(c in _ROWS for c in unit):
                    out.append(Spot(number, at, unit, begin))
                    begin = False
                at += len(unit)
    return out


def _changed(page: Page, spot: Spot, cells: str) -> list[str]:
    lines = list(page.lines)
    line = lines[spot.line]
    lines[spot.line] = line[:spot.column] + cells + line[spot.column + len(spot.cells):]
    return lines


def _core(cells: str) -> int:
    return next(k for k, c in enumerate(cells) if c in _ROWS)


def _without_mark(page: Page, spot: Spot, rng: random.Random) -> list[str] | None:
    """An octave mark left out within a line."""
    cells = re.sub(f"[{_OCTAVES}](?=[{''.join(_ROWS)}])", "", spot.cells)
    return None if spot.starts or cells == spot.cells else _changed(page, spot, cells)


def _without_first_mark(page: Page, spot: Spot, rng: random.Random) -> list[str] | None:
    """An octave mark left out at the beginning of a line."""
    cells = re.sub(f"[{_OCTAVES}](?=[{''.join(_ROWS)}])", "", spot.cells)
    return None if not spot.starts or cells == spot.cells else _changed(page, spot, cells)


def _wrong_mark(page: Page, spot: Spot, rng: random.Random) -> list[str] | None:
    """The mark of the octave above or below."""
    match = re.search(f"[{_OCTAVES}](?=[{''.join(_ROWS)}])", spot.cells)
    if not match:
        return None
    other = _OCTAVES.index(match[0]) + rng.choice((-1, 1))
    if not 0 <= other < len(_OCTAVES):
        return None
    return _changed(page, spot, spot.cells[:match.start()] + _OCTAVES[other] + spot.cells[match.end():])


def _wrong_value(page: Page, spot: Spot, rng: random.Random) -> list[str] | None:
    """Dots 3 or 6 of a note too many or too few."""
    k = _core(spot.cells)
    bit = rng.choice((4, 32))
    return _changed(page, spot, spot.cells[:k] + chr(ord(spot.cells[k]) ^ bit) + spot.cells[k + 1:])


def _left_out(page: Page, spot: Spot, rng: random.Random) -> list[str] | None:
    """A note left out."""
    if spot.starts or spot.cells[-1] in signs.FINAL_BAR or re.search(f"[{_OCTAVES}]", spot.cells):
        return None
    return _changed(page, spot, "")


def _without_dot(page: Page, spot: Spot, rng: random.Random) -> list[str] | None:
    """A dot left out after its note."""
    k = _core(spot.cells)
    if spot.cells[k + 1:k + 2] != signs.DOT:
        return None
    return _changed(page, spot, spot.cells[:k + 1] + spot.cells[k + 2:])


def _without_accidental(page: Page, spot: Spot, rng: random.Random) -> list[str] | None:
    """An accidental left out."""
    if spot.cells[0] not in (signs.ACCIDENTALS[1], signs.ACCIDENTALS[-1], signs.ACCIDENTALS[0]) or len(spot.cells) < 2:
        return None
    return _changed(page, spot, spot.cells[1:])


def _slur_for_tie(page: Page, spot: Spot, rng: random.Random) -> list[str] | None:
    """A tie without its dot 4."""
    return _changed(page, spot, spot.cells.replace(signs.TIE, signs.SLUR)) if signs.TIE in spot.cells else None


def _without_space(page: Page, spot: Spot, rng: random.Random) -> list[str] | None:
    """A space left out between two bars."""
    line = page.lines[spot.line]
    if spot.starts or spot.column < 1 or line[spot.column - 1] != SPACE or line[spot.column - 2:spot.column - 1] in (SPACE, ""):
        return None
    lines = list(page.lines)
    lines[spot.line] = line[:spot.column - 1] + line[spot.column:]
    return lines


def _with_space(page: Page, spot: Spot, rng: random.Random) -> list[str] | None:
    """A space too many within a bar."""
    line = page.lines[spot.line]
    if spot.starts or line[spot.column - 1] == SPACE:
        return None
    lines = list(page.lines)
    lines[spot.line] = line[:spot.column] + SPACE + line[spot.column:]
    return lines


def _short_first_bar(page: Page, spot: Spot, rng: random.Random) -> list[str] | None:
    """A note left out of the first bar of a tune that begins and ends with whole ones."""
    line = page.lines[page.first]
    if not page.whole or spot.line != page.first or spot.starts or SPACE in line[:spot.column].lstrip(SPACE):
        return None
    return _changed(page, spot, "")


def _moved_break(page: Page, spot: Spot, rng: random.Random) -> list[str] | None:
    """A line that begins a bar early or late, its first note as it stood."""
    line, number = page.lines[spot.line], spot.line
    if spot.starts or line[spot.column - 1] != SPACE or not line[:spot.column].strip(SPACE):
        return None
    if spot.cells[_core(spot.cells) - 1:_core(spot.cells)] in tuple(_OCTAVES):
        return None  # the bar has its mark all the same
    lines = list(page.lines)
    lines[number:number + 1] = [line[:spot.column].rstrip(SPACE), SPACE * 2 + line[spot.column:]]
    return lines


KINDS: dict[str, Callable[[Page, Spot, random.Random], list[str] | None]] = {
    "octave mark left out in the line": _without_mark, "octave mark left out where a line begins": _without_first_mark,
    "wrong octave mark": _wrong_mark, "wrong value": _wrong_value, "note left out": _left_out, "dot left out": _without_dot,
    "accidental left out": _without_accidental, "slur for a tie": _slur_for_tie, "space left out": _without_space,
    "space too many": _with_space, "first bar short": _short_first_bar, "line break moved": _moved_break,
}


def _amiss(lines: list[str] | tuple[str, ...]) -> Counter[str]:
    reading = decode(lines)
    return Counter(p.code.value for p in (*reading.problems, *reading.hints))


def count(number: int = 2000, tunes: int = 400) -> dict[str, Any]:
    """Of so many slips, the kinds in turn, how many are found or hinted at; hints on the right pages."""
    rng = random.Random(17)
    made = list(pages(tunes))
    before = [_amiss(page.lines) for page in made]
    hints: Counter[str] = Counter()
    for known in before:
        hints.update(known)
    spots = [_spots(page) for page in made]
    found: Counter[str] = Counter()
    tried: Counter[str] = Counter()
    for kind, slip in KINDS.items():
        places = [(k, spot) for k, here in enumerate(spots) for spot in here]
        rng.shuffle(places)
        for k, spot in places:
            if tried[kind] >= number // len(KINDS):
                break
            lines = slip(made[k], spot, rng)
            if lines is not None:
                tried[kind] += 1
                found[kind] += bool(_amiss(lines) - before[k])
    bars = sum(len(page.tune.bars) for page in made)
    return {"slips": {kind: [found[kind], tried[kind]] for kind in KINDS}, "pages": len(made), "bars": bars,
            "hints_on_right_pages": dict(hints), "bars_a_hint": round(bars / max(1, hints.total()))}


#: What at least must be found, as a share (1: the bar that was set).
LEAST = {"octave mark left out in the line": Fraction(6, 10), "wrong octave mark": Fraction(6, 10),
         "first bar short": Fraction(95, 100), "line break moved": Fraction(95, 100)}
