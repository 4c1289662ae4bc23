"""Words put under the notes that they are sung on, when a song is read.

Braille does not part syllables, so words of several are parted as their language does, and otherwise where that makes the
count come out right. Syllables merged on one note stand in a bracket, and a sign after their note says
how many they are (New International Manual, 16-8).
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache

from companion.braille import signs as S
from companion.braille.bars import Reader
from companion.braille.literary import WordLanguage
from companion.braille.model import ProblemCode, Slip
from companion.braille.text import read_words
from companion.tune import Syllable, parted

MOST_OVER = 3  # notes more than syllables where a slur may be missing; more of them are a melisma that print does not slur
Place = tuple[int, int]  # index of the bar, index of the note in it
#: Around merged syllables in words that were read: no letters.
MERGE, MERGED = "\ue000", "\ue001"
_BRACKET = re.compile(f"{S.MERGED_OPEN}([^{S.MERGED_OPEN}{S.MERGED_CLOSE}]+){S.MERGED_CLOSE}")
_ENDS = re.compile(r"[,;:.!?]$")
_VOWEL = re.compile("[aeiouyæœ]", re.IGNORECASE)
_SILENT = re.compile("^[^aeiouyæœ]*e[sdn]?[^aeiouyæœ]?$", re.IGNORECASE)
_V, _C = "aeiouyæœAEIOUYÆŒ", "[^aeiouyæœAEIOUYÆŒ]"
#: Two vowels of a piece that may be sung apart. Those of `_APART` often are ("qui-et", "li-on", "du-al"), others rarely.
_TWO_VOWELS = re.compile(f"({_C}*(?:[qQ][uU])?[{_V}]+?)([{_V}].*)")
_APART = re.compile(f"({_C}*(?:[qQ][uU])?(?:[iuyIUY](?=[aeouAEOU])|[eE](?=[oO])))([{_V}].*)")
#: A vowel that is silent in speech and may be sung: "ho-me".
_MUTE = re.compile(f"(.*[{_V}]{_C}*?)({_C}[eE]{_C}*)")
#: Whose patterns part words: of the English ones the American go by sound ("danc-ing"), as songs are printed; church Latin is
#: parted as Italian is.
_PATTERNS = {WordLanguage.ENGLISH: "en_US", WordLanguage.LATIN: "it"}
#: Between words merged on one note, where words are parted by spaces.
_TIE = "\ue002"


def words_of(cells: str, merged: Sequence[tuple[int, int]] | None, language: WordLanguage) -> str:
    """A line of words as text, merged syllables between MERGE and MERGED.

    merged: of each note with a sign for merged syllables, how many notes with syllables stand before it in the line, and
    what the sign says; None where no music tells (a verse after the song). The bracket has the cells of quotation marks:
    for each sign that one is taken which holds so many words and comes nearest to its note; without music each that
    holds two or three words and no stop or comma before its end.
    """
    found = list(_BRACKET.finditer(cells))
    inside = [read_words(match[1], language) for match in found]
    if merged is None:
        chosen = [k for k, text in enumerate(inside) if len(text.split()) in (2, 3) and not _ENDS.search(text)]
    else:
        chosen = []
        for place, count in merged:
            before = sum(len(inside[k].split()) - 1 for k in chosen)
            left = [k for k, text in enumerate(inside) if k not in chosen and min(3, len(text.split())) == count]
            if left:
                chosen.append(min(left, key=lambda k: abs(
                    _count(read_words(cells[:found[k].start()], language), language) - before - place)))
    out, at = "", 0
    for k in sorted(chosen):
        out += read_words(cells[at:found[k].start()], language) + MERGE + inside[k].replace(" ", _TIE) + MERGED
        at = found[k].end()
    return out + read_words(cells[at:], language)


def _count(text: str, language: WordLanguage) -> int:
    """How many syllables a text has, by guess."""
    return sum(len(_pieces(word, language)) for word in text.split())


def sing(reader: Reader, places: Sequence[Place], text: str, language: WordLanguage, verse: int = 0,
         goes_on: bool = False) -> bool:
    """Put the words of a line, or of a further verse (from 0), under its notes.

    goes_on: its first word began in the line before. Gives whether its last word goes on in the next line.
    """
    syllables, continues = allotted(text, len(places), goes_on, language)
    for (b, n), syllable in zip(places, syllables, strict=False):
        note = reader.bars[b].notes[n]
        others = (*note.syllables, *[None] * (verse - len(note.syllables)))[:verse]
        reader.bars[b].notes[n] = replace(note, syllables=(*others, syllable))
    return continues


def allotted(text: str, count: int, goes_on: bool, language: WordLanguage) -> tuple[list[Syllable], bool]:
    """The words of a line in syllables for so many notes at the most, and whether its last word goes on in the next line.

    goes_on: its first word began in the line before.
    """
    continues = len(text) > 1 and text.endswith("-")
    parts = _fitted([_pieces(word, language) for word in (text[:-1] if continues else text).split(" ") if word], count)
    syllables = [Syllable(piece, _place(k + (goes_on and i == 0), len(part) + (goes_on and i == 0)
                                        + (continues and i == len(parts) - 1)))
                 for i, part in enumerate(parts) for k, piece in enumerate(part)]
    if len(syllables) > count > 0:
        left = "‿".join(s.text for s in syllables[count - 1:])
        syllables = [*syllables[:count - 1], Syllable(left)]
    return syllables[:count], continues


def _place(k: int, count: int) -> str:
    """Of a word's syllable, from 0, out of so many: as in `Syllable.place`."""
    return "single" if count == 1 else "begin" if k == 0 else "end" if k == count - 1 else "middle"


def _pieces(word: str, language: WordLanguage) -> list[str]:
    """A word in its syllables as its language parts it; those merged on one note are one piece."""
    out: list[str] = []
    for k, part in enumerate(re.split(f"{MERGE}([^{MERGED}]*){MERGED}", word)):
        if part:
            out += ["‿".join(part.split(_TIE))] if k % 2 else _syllables(part, language)
    return out


@lru_cache(maxsize=4096)
def _syllables(word: str, language: WordLanguage) -> tuple[str, ...]:
    return tuple(parted(word, _PATTERNS.get(language, language)))


def _fitted(parts: list[list[str]], count: int) -> list[list[str]]:
    """Words in their syllables, so many in all where that can be. What is too many goes where a vowel may be silent, or a
    word is long; what is too few where two vowels side by side may be sung apart, last where one is silent in speech."""
    total = sum(map(len, parts))
    while total > count and (longest := [part for part in parts if len(part) > 1]):
        part = max(longest, key=lambda p: (bool(_SILENT.search(p[-1])), len(p)))
        part[-2:] = ["".join(part[-2:])]
        total -= 1
    for pattern in (_APART, _TWO_VOWELS, _MUTE):
        going = True
        while total < count and going:
            going = False
            for part in parts:
                k, match = next(((k, m) for k, piece in enumerate(part) if (m := pattern.fullmatch(piece))), (0, None))
                if match and total < count:
                    part[k:k + 1] = [match[1], match[2]]
                    total, going = total + 1, True
    return parts


def check_words(text: str, notes: int, rests: bool = False) -> Slip | None:
    """What is odd where the words of a line cannot fit its notes: each word wants one, each syllable has a vowel. rests: one
    stands among the notes, so that some of them may have no words."""
    sung = text.split(" ")
    if len(sung) > notes:
        return Slip(ProblemCode.MORE_WORDS, numbers=(len(sung), notes))
    syllables = sum(max(1, len(_VOWEL.findall(unicodedata.normalize("NFD", word)))) for word in sung)
    if not rests and syllables < notes <= syllables + MOST_OVER:
        return Slip(ProblemCode.FEWER_SYLLABLES)
    return None
