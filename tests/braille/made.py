"""Notes, tunes and .brf files made for the tests of braille."""

from __future__ import annotations

from fractions import Fraction

from companion.braille import BraillePage, paged, to_ascii, words
from companion.paper.braille_pages import page_head
from companion.tune import Bar, Key, Note, Pitch, Time, Tune

FOUR = Time((4,), 4)


def note(name: str, base: float | Fraction = 1, **more: object) -> Note:
    """"F#4" as a crotchet, or so many of them."""
    alter = {"#": 1, "b": -1}.get(name[1], 0)
    return Note(pitch=Pitch(name[0], int(name[-1]), alter), base=Fraction(base), **more)  # type: ignore[arg-type]


def rest(base: float | Fraction = 1, **more: object) -> Note:
    return Note(pitch=None, base=Fraction(base), **more)  # type: ignore[arg-type]


def tune(*rows: tuple[Note, ...], time: Time | None = FOUR, key: int = 0, title: str = "",
         **bars: dict[str, object]) -> Tune:
    """Bars of notes; bar1=..., bar2=... give more of a bar."""
    made = []
    for i, row in enumerate(rows, 1):
        more = {"time": time, "key": Key(key)} if i == 1 else {}
        made.append(Bar(number=i, notes=row, **(more | bars.get(f"bar{i}", {}))))  # type: ignore[arg-type]
    return Tune(title=title, bars=tuple(made))


def to_brf(page: BraillePage, height: int = 25, numbered: bool = False) -> bytes:
    """A page as a .brf file, as `paper.song_brf` makes it, for sheets of any height."""
    width = max((len(to_ascii(line).rstrip()) for line in page.lines), default=0)
    title = words(page.title)
    return paged(page, height, (lambda number: page_head(title, number, width)) if numbered else None)
