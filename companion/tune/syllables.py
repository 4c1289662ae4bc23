"""Words cut into sung syllables: by the hyphenation patterns of their language (pyphen), and what these leave whole, since
they are made for print, by vowels.
"""

from __future__ import annotations

import itertools
import re
from functools import cache
from typing import TYPE_CHECKING

from companion.errors import Trouble
from companion.messages import _

if TYPE_CHECKING:
    from pyphen import Pyphen

ENGLISH = "en"  # the language of words where none is given
_VOWELS = "aeiouyäöüáéíóúàèìòùâêîôûåæøœãõëïąęěůőűıăý"
#: Groups of consonants that an English syllable may begin with, so that they are not parted.
_CLUSTERS = ("bl", "br", "ch", "cl", "cr", "dr", "fl", "fr", "gl", "gr", "ph", "pl", "pr", "sc", "sh", "sk", "sl",
             "sm", "sn", "sp", "st", "sw", "th", "tr", "tw", "wh", "qu", "str", "spr", "thr", "shr")


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
        if whole and not (_has_vowel(piece) and _has_vowel(whole[-1]) and whole[-1].lower() != "y"):  # nor "y-ou"
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
