"""Whether a reader puts the words of a line under the notes that they are sung on.

Braille does not part syllables: a reader counts. So the writer counts in the same way, and ends a line of words where the
next bar, or the next note, would move a syllable to another note.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from companion.braille.ahead import Ahead
from companion.braille.literary import WordLanguage
from companion.braille.pieces import merged
from companion.braille.sung import Place, allotted, words_of
from companion.errors import Trouble
from companion.messages import _
from companion.tune import Syllable, Tune


class Sung(NamedTuple):
    """A syllable where it is sung. starts: a word begins with it; goes_on: the word does after it."""

    said: Syllable
    starts: bool
    goes_on: bool


class Underlay:
    """The syllables of a tune's verses, and the notes at which a reader lets one begin. Raises Trouble for words on a note
    that a tie leads to, which sounds on and is not sung anew."""

    def __init__(self, tune: Tune, ahead: Ahead, verses: int, language: WordLanguage) -> None:
        self.language = language
        self.free: set[Place] = set()
        held: set[Place] = set()
        for place, tied in _notes(tune, ahead):
            (held if tied else self.free).add(place)
        self.verses = [dict(_verse(tune, verse)) for verse in range(verses)]
        for place in sorted(held & set().union(*self.verses)):
            raise Trouble(_("Bar {number} has words on a note that a tie leads to, which is not sung anew; take the tie out, or "
                            "put the words on another note.").format(number=tune.bars[place[0]].number))

    def agrees(self, notes: Sequence[Place], verse: int, cells: str) -> bool:
        """Whether the words of a verse, in cells, come to their notes when so many are read as one line."""
        sung = [(place, one) for place in notes if (one := self.verses[verse].get(place))]
        if not sung:
            return not cells
        free = [place for place in notes if place in self.free]
        index = {place: i for i, place in enumerate(free)}
        signs = [(index[place], min(3, count)) for place in free if (count := merged(self._said(place)) or 0) > 1]
        text = words_of(cells, signs if verse == 0 else None, self.language).strip()
        read, _goes_on = allotted(text, len(free), not sung[0][1].starts, self.language)
        expected = [(index.get(place), one.starts) for place, one in sung]
        return expected == [(i, said.place in ("single", "begin")) for i, said in enumerate(read)]

    def _said(self, place: Place) -> Syllable | None:
        one = self.verses[0].get(place)
        return one.said if one else None


def _verse(tune: Tune, verse: int) -> Iterator[tuple[Place, Sung]]:
    """The syllables of a verse by their notes."""
    inside = False
    for b, n, note in tune.written():
        said = note.syllables[verse] if len(note.syllables) > verse else None
        if said and said.text.strip():
            goes_on = said.place in ("begin", "middle") or (said.text.endswith("-") and bool(said.text.strip("- ")))
            yield (b, n), Sung(said, not inside, goes_on)
            inside = goes_on


def _notes(tune: Tune, ahead: Ahead) -> Iterator[tuple[Place, bool]]:
    """The notes at which a reader lets a syllable begin, and those that a tie leads to (True); none that the slur of a syllable
    leads to."""
    chain, doubled = False, 0
    held: tuple[int, int] | None = None
    for b, n, note in tune.written():
        if note.grace:
            continue
        if note.pitch is None:
            held = None
            continue
        here = (note.pitch.diatonic, note.pitch.alter)
        if held == here:
            yield (b, n), True
        elif not (chain or doubled):
            yield (b, n), False
        slurs = ahead.slurs.get((b, n))
        signs = (2 if slurs.doubled else int(slurs.short)) if slurs else 0
        if doubled == 2:
            doubled = 0
        if signs == 2 and not chain:
            doubled = 1
        elif doubled == 1 and signs:
            doubled = 2
        elif not doubled:
            chain = bool(signs)
        held = here if note.tie and (b, n) not in ahead.untied else None
