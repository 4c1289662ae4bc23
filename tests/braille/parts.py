"""Parts of music21's corpus outside the folk collection, there and back: reels, airs, chorale voices, madrigals, masses,
songs with words."""

from __future__ import annotations

import random
import re
import sys
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import replace
from itertools import pairwise, zip_longest
from typing import Any, NamedTuple

from braille.corpus import Difference, compare
from braille.made import to_brf

from companion.braille import ProblemCode, decode, encode, from_brf, words
from companion.errors import Trouble
from companion.tune import Mark, Tune, from_music21

#: Folders of the corpus by kind, and how many parts of each there are to be in 600.
KINDS: dict[str, tuple[tuple[str, ...], int]] = {
    "reels and dances": (("oneills1850", "ryansMammoth", "nottingham-dataset"), 160),
    "airs": (("airdsAirs",), 80),
    "chorale voices": (("bach",), 130),
    "madrigals": (("monteverdi",), 80),
    "masses": (("palestrina", "josquin"), 80),
    "songs": (("schubert", "schumann_clara", "schumann_robert", "leadSheet", "liliuokalani", "trecento", "ciconia", "luca",
               "johnson_j_r", "miscFolk", "beach"), 70),
}
WIDTHS = (40, 28)
#: Bars that are too short or too long in the score itself.
OF_THE_SCORE = (ProblemCode.BEATS, ProblemCode.SPACE_TOO_MANY, ProblemCode.SPACE_MISSING)
MOST_OF_A_FILE = 6  # parts or tunes of one file


class Part(NamedTuple):
    kind: str
    name: str
    stream: Any
    title: str
    composer: str


def parts(count: int = 600, seed: int = 5, kinds: Iterable[str] = KINDS) -> Iterator[Part]:
    """A fixed choice of parts, kind by kind, each kind the same whatever others are asked for; what music21 cannot read is
    passed over."""
    from music21 import converter, corpus

    for kind in kinds:
        folders, share = KINDS[kind]
        rng = random.Random(f"{seed} {kind}")
        wanted = max(1, round(share * count / 600))
        paths = sorted(p for p in corpus.getCorePaths() if set(folders) & set(p.parts) and "demos" not in p.parts)
        rng.shuffle(paths)
        found = 0
        for path in paths:
            try:
                score = converter.parse(path)
            except Exception:  # music21's own reader
                continue
            tunes = list(score.scores) if hasattr(score, "scores") and score.scores else [score]
            each = [(one, part) for one in tunes for part in one.parts if part.recurse().notes]
            for one, part in rng.sample(each, min(len(each), MOST_OF_A_FILE)):
                data = one.metadata
                title = " ".join(str((data.title or data.movementName) if data else "").split())
                composer = " ".join(str(data.composer or "").split()) if data else ""
                yield Part(kind, f"{path.stem} {part.partName or ''}", part, title, composer)
                found += 1
                if found == wanted:
                    break
            if found == wanted:
                break


def tune_of(part: Part) -> Tune:
    """Raises Trouble for what a tune cannot hold."""
    return replace(from_music21(part.stream, title=part.title), composer=part.composer)


def differences(tune: Tune, width: int) -> list[Difference]:
    """What does not come back from a page of this width, through the bytes of a .brf file."""
    page = encode(tune, width=width)
    tune = _ties_as_written(tune)
    reading = decode(from_brf(to_brf(page)))
    back = reading.tune
    out = compare(tune, back)
    if max(map(len, page.lines), default=0) > width:
        out.append(Difference("too long", ""))
    amiss = [p for p in reading.problems if p.code not in OF_THE_SCORE]
    if amiss:
        out.append(Difference("called amiss", str(amiss[0])))
    for what, a, b in (("title", tune.title, back.title), ("composer", tune.composer, back.composer)):
        if words(a) != words(b):
            out.append(Difference(what, f"{a!r} and {b!r}"))
    if len(tune.bars) == len(back.bars):
        notes = [[n for _, _, n in t.written() if n.pitch and not n.grace] for t in (tune, back)]
        if len(notes[0]) == len(notes[1]):
            out += _slurs(*notes)
            for verse in range(max((len(n.syllables) for n in notes[0]), default=0)):
                out += _words(*notes, verse)
    return out


def _ties_as_written(tune: Tune) -> Tune:
    """Equal notes that look tied but are parted by staccato or tenuto count as slurred (De Garmo, chapter 14)."""
    parting = {Mark.STACCATO, Mark.TENUTO}
    flat = [(b, n, note) for b, n, note in tune.written() if note.pitch is not None and not note.grace]
    untied = {(b, n) for (b, n, one), (_b, _n, two) in pairwise(flat) if one.tie and parting & {*one.marks, *two.marks}}
    return replace(tune, bars=tuple(replace(bar, notes=tuple(replace(note, tie=False) if (b, n) in untied else note
                                                            for n, note in enumerate(bar.notes)))
                                    for b, bar in enumerate(tune.bars))) if untied else tune


def _slurs(a: list[Any], b: list[Any]) -> list[Difference]:
    """Slurs over notes without words; over words the slur of a syllable stands where print has none. A tie at either end of a
    slur of up to four notes stands for that part of it (De Garmo, chapter 12)."""
    if any(n.syllables for n in a):
        return []
    one, two = ({span for first, last in _spans(notes) if (span := _without_ties(notes, first, last))} for notes in (a, b))
    at = min((first for first, _last in one ^ two), default=None)
    return [] if at is None else [Difference("slurs", f"note {at + 1}")]


def _spans(notes: list[Any]) -> Iterator[tuple[int, int]]:
    """The first and last note of each slur."""
    begun: list[int] = []
    for k, note in enumerate(notes):
        for _unused in range(min(note.slur_stops, len(begun))):
            yield begun.pop(), k
        begun += [k] * note.slur_starts


def _without_ties(notes: list[Any], first: int, last: int) -> tuple[int, int] | None:
    if last - first < 4:
        first += notes[first].tie
        last -= notes[last - 1].tie
    return (first, last) if last > first else None


def _words(a: list[Any], b: list[Any], verse: int) -> list[Difference]:
    """The words of a verse, the notes on which its syllables stand, which of them begin a word, and how many are merged."""
    name = f"words of verse {verse + 1}" if verse < 1 else "words of further verses"
    (one, said), (two, read) = _sung(a, verse, True), _sung(b, verse, False)
    wrong = next((k for k, (x, y) in enumerate(zip_longest(said, read)) if x != y), None)
    if wrong is not None:
        return [Difference(f"{name}: text", f"{said[wrong:wrong + 3]} and {read[wrong:wrong + 3]}")]
    wrong = next((k for k, (x, y) in enumerate(zip_longest(one, two)) if x != y), None)
    if wrong is not None:
        return [Difference(f"{name}: syllable", f"{one[wrong:wrong + 3]} and {two[wrong:wrong + 3]}, near {said}"[:300])]
    return []


def _sung(notes: list[Any], verse: int, score: bool) -> tuple[list[tuple[int, bool, int]], list[str]]:
    """The syllables of a verse: the note of each, whether it begins a word, how many are merged on it; and its words in cells.

    Where within a word its letters part is not in braille. A hyphen that ends a syllable of a score parts it from the next,
    since some scores have their hyphens among the letters; what was read has none but those of words.
    """
    syllables: list[tuple[int, bool, int]] = []
    spoken: list[str] = []
    inside = False
    for k, note in enumerate(notes):
        said = note.syllables[verse] if len(note.syllables) > verse else None
        text = " ".join(said.text.replace("‿", " ").split()) if said else ""
        if score and not syllables:
            text = re.sub(r"^\d+[.)] (?=\w)", "", text)  # the number of the verse
        if not said or not text:
            continue
        syllables.append((k, not inside, len(text.split()) if len(text.split()) > 1 else 1))
        parts_it = score and text.endswith("-") and bool(text.strip("-"))
        first, *others = (text.rstrip("-") if parts_it else text).split()
        spoken[len(spoken) - inside:] = [(spoken[-1] if inside else "") + first, *others]
        inside = said.place in ("begin", "middle") or parts_it
    return syllables, [words(word) for word in spoken]


def count(number: int = 600, seed: int = 5, kinds: Iterable[str] = KINDS, told: bool = False) -> dict[str, Any]:
    """How many parts come back the same at each width, by kind; what differs and what is refused, with examples. told: what is
    known so far goes to the standard error stream after every 20 parts."""
    out: dict[str, Any] = {"parts": Counter(), "same": Counter(), "refused": Counter(), "refused by kind": Counter(),
                           "different": Counter(), "bars": 0, "sung": 0, "hints": Counter(), "examples": []}
    for part in parts(number, seed, kinds):
        out["parts"][part.kind] += 1
        if told and not sum(out["parts"].values()) % 20:
            so_far = {key: out[key] for key in ("parts", "same", "refused by kind", "refused", "different", "hints", "bars")}
            print(f"{so_far} {out['examples']}", file=sys.stderr, flush=True)  # something is known where time runs out
        try:
            tune = tune_of(part)
            found = [d for width in WIDTHS for d in differences(tune, width)]
        except Trouble as trouble:
            out["refused by kind"][part.kind] += 1
            out["refused"][" ".join(str(trouble).split()[2:9])] += 1
            continue
        out["bars"] += len(tune.bars)
        out["sung"] += any(n.syllables for _, _, n in tune.written())
        out["hints"].update(h.code.value for h in decode(encode(tune).lines).hints)
        if found:
            out["different"].update({d.what for d in found})
            out["examples"].append([part.kind, part.name, *found[0]])
        else:
            out["same"][part.kind] += 1
    return out
