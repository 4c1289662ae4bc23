"""Words laid under the notes, syllable by syllable.

Words without hyphens are parted as their language does (`tune.parted`).
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from companion.tune import ENGLISH, Syllable, parted

_HYPHENS = r"[-\u2010]+"


@dataclass(frozen=True)
class Laid:
    """One syllable or None for each of N notes, and what did not come out even.

    syllables: how many were given. left_over: those for which there was no note. parts: where each line of words was laid
    under a phrase of its own, those of each phrase. start: which note of the tune (from 0) is the first of these.
    """

    under: tuple[Syllable | None, ...]
    syllables: int
    left_over: tuple[str, ...] = ()
    parts: tuple[Laid, ...] = ()
    start: int = 0

    @property
    def bare(self) -> int:
        """Notes at the end that have no syllable."""
        return max(0, len(self.under) - self.syllables)

    @property
    def even(self) -> bool:
        return all(p.even for p in self.parts) if self.parts else not self.bare and not self.left_over


def syllables_of(text: str) -> list[Syllable | None]:
    """Typed words as syllables. A hyphen parts syllables ("lan-tern"); "_" by itself is a note on which the
    syllable before goes on (None)."""
    out: list[Syllable | None] = []
    for word in text.split():
        if word.strip("_") == "":
            out += [None] * len(word)
            continue
        tail = len(word) - len(word.rstrip("_"))
        out += _word(_parts(word.rstrip("_")))
        out += [None] * tail
    return out


def _parts(word: str) -> list[str]:
    return [p for p in re.split(_HYPHENS, word) if p]


def _word(parts: Sequence[str]) -> list[Syllable | None]:
    if len(parts) == 1:
        return [Syllable(parts[0])]
    last = len(parts) - 1
    return [Syllable(p, "begin" if k == 0 else "end" if k == last else "middle") for k, p in enumerate(parts)]


def lay(count: int, text: str, language: str = ENGLISH) -> Laid:
    """Words for so many notes, one syllable a note. Where hyphens were left out and there are fewer words than notes,
    words are parted as their language does; syllables left over are given back, never lost."""
    given = syllables_of(text)
    if len(given) < count and None not in given:
        split = _split(text, language)
        if len(split) <= count or abs(len(split) - count) < abs(len(given) - count):
            given = split
    under = tuple(_extended(given, i) for i in range(count))
    return Laid(under, len(given), tuple(s.text for s in given[count:] if s))


def lay_lines(phrases: Sequence[int], text: str, language: str = ENGLISH) -> Laid:
    """Words for phrases of so many notes each. Where as many lines ("/" between them) were given, each goes under its own.

    Where all words together have as many syllables as there are notes, they go on from line to line: a breath may have been
    found where no line ends.
    """
    lines = [line for line in text.split("/") if line.strip()]
    together = lay(sum(phrases), " ".join(lines), language)
    if together.even or len(lines) != len(phrases) or len(lines) < 2:
        return together
    parts: list[Laid] = []
    for count, line in zip(phrases, lines, strict=True):
        parts.append(replace(lay(count, line, language), start=sum(len(p.under) for p in parts)))
    return Laid(tuple(s for p in parts for s in p.under), sum(p.syllables for p in parts),
                tuple(s for p in parts for s in p.left_over), tuple(parts))


def _split(text: str, language: str) -> list[Syllable | None]:
    """Words with hyphens by these, others as their language does."""
    out: list[Syllable | None] = []
    for word in text.split():
        parts = _parts(word)
        out += _word(parted(parts[0], language) if len(parts) == 1 else parts)
    return out


def _extended(given: Sequence[Syllable | None], i: int) -> Syllable | None:
    """The syllable of note i, marked where it goes on over the next note."""
    here = given[i] if i < len(given) else None
    if here is None or i + 1 >= len(given) or given[i + 1] is not None:
        return here
    return Syllable(here.text, here.place, extends=True)
