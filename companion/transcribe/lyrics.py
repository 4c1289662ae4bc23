"""Words laid under the notes, syllable by syllable.

Words without hyphens are parted by the hyphenation patterns of their language (pyphen), and what these leave whole, since
they are made for print, by vowels.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import TYPE_CHECKING

from companion.errors import Trouble
from companion.messages import _
from companion.tune import Syllable

if TYPE_CHECKING:
    from pyphen import Pyphen

ENGLISH = "en"  # the language of words where none is given
_VOWELS = "aeiouyäöüáéíóúàèìòùâêîôûåæøœãõëïąęěůőűıăý"
#: Groups of consonants that an English syllable may begin with, so that they are not parted.
_CLUSTERS = ("bl", "br", "ch", "cl", "cr", "dr", "fl", "fr", "gl", "gr", "ph", "pl", "pr", "sc", "sh", "sk", "sl",
             "sm", "sn", "sp", "st", "sw", "th", "tr", "tw", "wh", "qu", "str", "spr", "thr", "shr")
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


@cache
def _patterns(language: str) -> Pyphen:
    """Hyphenation of a language, by its code. Raises Trouble where there is none such."""
    import pyphen  # its dictionaries are read when they are asked for

    found = pyphen.language_fallback(language.replace("-", "_"))
    if found is None:
        raise Trouble(_("Words in the language {language} cannot be parted; give one of {languages}, or part the words with "
                        "hyphens.").format(language=language, languages=", ".join(
                            sorted(code for code in pyphen.LANGUAGES if code.isalpha()))))
    return pyphen.Pyphen(lang=found, left=1, right=1)


def check_language(language: str) -> None:
    """Raises Trouble where words of a language cannot be parted."""
    _patterns(language)


def parted(word: str, language: str = ENGLISH) -> list[str]:
    """A word cut into sung syllables: "lantern" is lan, tern. language: its code. Where it errs, hyphens say it better."""
    cuts = [0, *_patterns(language).positions(word), len(word)]
    pieces = [word[a:b] for a, b in itertools.pairwise(cuts)]
    whole: list[str] = []
    for piece in pieces:  # patterns for print may cut off a consonant: "s-nail"
        if whole and not (_has_vowel(piece) and _has_vowel(whole[-1])):
            whole[-1] += piece
        else:
            whole.append(piece)
    return [part for piece in whole for part in _by_vowels(piece, language)]


def _has_vowel(text: str) -> bool:
    """Scripts whose vowels are not known here: any letter counts."""
    return any(c in _VOWELS or ord(c) > 0x250 for c in text.lower())


def _by_vowels(word: str, language: str) -> list[str]:
    """Cut by its vowels. English spelling is only roughly followed (a silent e at the end counts as none)."""
    low = word.lower()
    found = _vowels(low) if language.startswith(ENGLISH) else [m.span() for m in re.finditer(f"[{_VOWELS}]+", low)]
    cuts = [_cut(low, end, start) for (_, end), (start, _) in itertools.pairwise(found)]
    return [word[a:b] for a, b in itertools.pairwise([0, *cuts, len(word)])]


def _vowels(low: str) -> list[tuple[int, int]]:
    """Where each group of vowels that is a syllable's begins and ends in a word in small letters."""
    groups = [m.span() for m in re.finditer(f"[{_VOWELS}]+", low)]
    if len(groups) > 1 and low[0] == "y" and groups[0] == (0, 1):
        groups = groups[1:]
    if len(groups) > 1 and _silent_end(low, low[groups[-1][0]:groups[-1][1]]):
        groups = groups[:-1]
    return groups


def _silent_end(low: str, last: str) -> bool:
    """Whether the last vowels are silent: the e of "stone" and "bones", the e of "turned", the e of "aisle"."""
    letters = re.sub(r"[^a-z]", "", low)
    if letters.endswith("e") and last == "e" and not letters.endswith(("le", "ye")):
        return True
    if re.search(r"[^td]ed[^a-z]*$", low):
        return True
    return letters.endswith("le") and len(letters) > 2 and letters[-3] in _VOWELS


def _cut(low: str, end: int, start: int) -> int:
    """Where a word is cut between the vowels that end at `end` and those that begin at `start`."""
    between = low[end:start]
    if len(between) < 2:
        return end
    if between.endswith("l") and re.fullmatch("e[^a-z]*s?[^a-z]*", low[start:]):
        return start - 2  # lit-tle, ta-ble
    size = next((size for size in (3, 2) if len(between) >= size and between[-size:] in _CLUSTERS), 1)
    return start - size


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
