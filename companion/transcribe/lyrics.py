"""Words laid under the notes, syllable by syllable."""

from __future__ import annotations

import itertools
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from companion.language.cues import number
from companion.transcribe.layout import Event
from companion.tune import Syllable

_VOWELS = "aeiouyäöüáéíóúàèìòùâêîôûåæø"
#: Groups of consonants that an English syllable may begin with, so that they are not parted.
_TOGETHER = ("bl", "br", "ch", "cl", "cr", "dr", "fl", "fr", "gl", "gr", "ph", "pl", "pr", "sc", "sh", "sk", "sl",
             "sm", "sn", "sp", "st", "sw", "th", "tr", "tw", "wh", "qu", "str", "spr", "thr", "shr")


@dataclass(frozen=True)
class Laid:
    """Events with words under them, and what is to be said about how they fitted, "" where they did."""

    events: tuple[Event, ...]
    say: str


def syllables_of(text: str) -> list[Syllable | None]:
    """Typed words as syllables. A hyphen parts syllables ("lan-tern"); "_" by itself is a note on which the
    syllable before goes on (None)."""
    out: list[Syllable | None] = []
    for word in text.split():
        if word.strip("_") == "":
            out += [None] * len(word)
            continue
        tail = len(word) - len(word.rstrip("_"))
        parts = [p for p in re.split(r"[-\u2010]+", word.rstrip("_")) if p]
        out += _placed(parts)
        out += [None] * tail
    return out


def _placed(parts: Sequence[str]) -> list[Syllable | None]:
    if len(parts) == 1:
        return [Syllable(parts[0])]
    last = len(parts) - 1
    return [Syllable(p, "begin" if k == 0 else "end" if k == last else "middle") for k, p in enumerate(parts)]


def parted(word: str) -> list[str]:
    """A word cut into sung syllables by its vowels: "lantern" is lan, tern. English spelling is only roughly
    followed (a silent e at the end counts as none); where it errs, hyphens say it better."""
    low = word.lower()
    groups = [m.span() for m in re.finditer(f"[{_VOWELS}]+", low)]
    if groups and low[0] == "y" and groups[0] == (0, 1) and len(groups) > 1:
        groups = groups[1:]
    letters = re.sub(r"[^a-z]", "", low)
    if len(groups) > 1:
        last = low[groups[-1][0]:groups[-1][1]]
        mute_e = letters.endswith("e") and last == "e" and not letters.endswith(("le", "ye"))
        mute_ed = bool(re.search(r"[^td]ed[^a-z]*$", low))
        mute_le = letters.endswith("le") and len(letters) > 2 and letters[-3] in _VOWELS
        if mute_e or mute_ed or mute_le:
            groups = groups[:-1]
    cuts = []
    for (_, end), (start, _) in itertools.pairwise(groups):
        between = low[end:start]
        keep = 1 if len(between) > 1 else 0
        if between.endswith("l") and len(between) > 1 and re.fullmatch("e[^a-z]*s?[^a-z]*", low[start:]):
            cuts.append(end + len(between) - 2)  # lit-tle, ta-ble
            continue
        for size in (3, 2):
            if len(between) >= size and between[-size:] in _TOGETHER:
                keep = len(between) - size
                break
        else:
            keep = len(between) - 1 if len(between) > 1 else keep
        cuts.append(end + keep)
    edges = [0, *cuts, len(word)]
    return [word[a:b] for a, b in itertools.pairwise(edges)]


def lay(events: Sequence[Event], text: str) -> Laid:
    """Words under notes, one syllable a note. Where hyphens were left out and there are fewer words than notes,
    words are parted by their vowels; syllables left over are said, never lost in silence."""
    said = syllables_of(text)
    count = len(events)
    if len(said) < count and None not in said:
        split: list[Syllable | None] = []
        for word in text.split():
            pieces = [p for p in re.split(r"[-\u2010]+", word) if p]
            split += _placed([q for p in pieces for q in (parted(p) if len(pieces) == 1 else [p])])
        if len(split) <= count or abs(len(split) - count) < abs(len(said) - count):
            said = split
    out, note = [], ""
    for i, event in enumerate(events):
        here = said[i] if i < len(said) else None
        follows = here is not None and i + 1 < len(said) and said[i + 1] is None
        out.append(replace(event, syllable=replace(here, extends=True) if here and follows else here))
    if len(said) < count:
        left = count - len(said)
        note = (f"{number(len(said)).capitalize()} syllables for {number(count)} notes: the last "
                f"{'note has' if left == 1 else f'{number(left)} notes have'} none. Part words with hyphens, and "
                "write _ for a note on which a syllable goes on.")
    elif len(said) > count:
        lost = " ".join(s.text for s in said[count:] if s)
        note = (f"{number(len(said)).capitalize()} syllables for {number(count)} notes: there was no note for "
                f"{lost}.")
    return Laid(tuple(out), note)
