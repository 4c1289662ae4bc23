"""Whether a tune that ships begins as a known one does: held against every melody of music21's corpus.

    python tests/own_tunes.py [--notes 7]

The intervals and lengths of the first notes of each shipped tune (7 notes are 6 intervals) are looked for at each of the
first places of every melody there: folk songs and dances of Europe and China, ballads, hymns, chorales. In another key, or
all lengths doubled, is the same. The last line is JSON: melodies looked through, and for each tune that was found where.
Carols and songs of the last century are not in the corpus: whoever adds a tune hums its beginning too.
"""

from __future__ import annotations

import argparse
import itertools
import json
import re
import sys
import warnings
from collections.abc import Iterator, Sequence
from fractions import Fraction
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[1])]

from companion.tune import load  # noqa: E402
from companion.tune.files import shipped_names  # noqa: E402

NOTES = 7
PLACES = 9  # where a melody may begin: its first note, and the next few (an upbeat, an introduction)
Melody = list[tuple[float, Fraction]]  # MIDI number and length in crotchets, rests left out
#: Exercises in reading, of a row of neighbouring notes: a scale is nobody's song.
ROWS = ("five-quavers", "whole-row")
#: A header and this many lines of music hold the first notes; the rest of a tune need not be parsed.
LINES = 3


def shape(melody: Sequence[tuple[float, Fraction]]) -> tuple[tuple[float, ...], tuple[Fraction, ...]]:
    """Intervals in semitones, and lengths as shares of the first (of the last note only that it is there)."""
    return (tuple(b[0] - a[0] for a, b in itertools.pairwise(melody)),
            tuple(length / melody[0][1] for _pitch, length in melody[:-1]))


def shapes(melody: Melody, notes: int) -> Iterator[tuple[tuple[float, ...], tuple[Fraction, ...]]]:
    for k in range(min(PLACES, len(melody) - notes + 1)):
        yield shape(melody[k:k + notes])


def own(name: str, notes: int) -> Melody:
    return [(n.midi, n.quarters) for n in load(name).line()][:notes]


def _melody(score: object) -> Melody:
    """The first notes of the highest part."""
    part = (list(getattr(score, "parts", [])) or [score])[0]
    found: Melody = []
    for n in part.recurse().notes:  # type: ignore[attr-defined]
        if n.duration.isGrace or not n.pitches:
            continue
        if n.tie is not None and n.tie.type != "start" and found:
            found[-1] = (found[-1][0], found[-1][1] + Fraction(n.quarterLength))
            continue
        found.append((max(p.ps for p in n.pitches), Fraction(n.quarterLength)))
        if len(found) > PLACES + NOTES + 8:
            break
    return found


def melodies() -> Iterator[tuple[str, Melody]]:
    """Name and first notes of every melody of the corpus that can be parsed."""
    from music21 import converter, corpus

    for path in sorted(map(str, corpus.getCorePaths())):
        if path.endswith(".abc"):
            for text in re.split(r"(?m)^(?=X:)", Path(path).read_text(encoding="latin-1")):
                if "K:" not in text:
                    continue
                head, _, music = text.partition("\nK:")
                key, *lines = music.splitlines()
                music = "\n".join(re.sub(r'"[^"]*"|![^!]*!|%.*', "", line) for line in lines[:LINES + 2] if line[1:2] != ":")
                title = re.search(r"(?m)^T:\s*(.*)$", head)
                name = f"{Path(path).stem} {text.split(None, 1)[0]} {title.group(1) if title else ''}".strip()
                head = "\n".join(re.findall(r"(?m)^[XML]:.*$", head))
                try:
                    yield name, _melody(converter.parseData(f"{head}\nK:{key}\n{music}\n", format="abc"))
                except Exception:  # music21 raises whatever its parser meets
                    continue
        elif path.endswith((".mxl", ".xml", ".musicxml")) and "theoryExercises" not in path:
            try:
                yield Path(path).stem, _melody(converter.parse(path))
            except Exception:
                continue


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--notes", type=int, default=NOTES)
    notes = parser.parse_args().notes
    warnings.simplefilter("ignore")
    wanted: dict[object, list[str]] = {}
    for name in shipped_names():
        if name not in ROWS:
            wanted.setdefault(shape(own(name, notes)), []).append(name)
    found: dict[str, list[str]] = {}
    count = 0
    for where, melody in melodies():
        count += 1
        for at, one in enumerate(shapes(melody, notes)):
            for name in wanted.get(one, []):
                found.setdefault(name, []).append(f"{where} (from note {at + 1})")
    for name, places in sorted(found.items()):
        print(f"{name}: {len(places)} melodies: {'; '.join(places[:6])}")
    print(json.dumps({"melodies": count, "notes": notes, "found": {name: len(places) for name, places in found.items()}}))


if __name__ == "__main__":
    main()
