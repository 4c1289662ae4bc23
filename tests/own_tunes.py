"""Whether a tune that ships begins as a known one does: held against every melody of music21's corpus.

    python tests/own_tunes.py [--notes 7]

The intervals and lengths of the first notes of each shipped tune (7 notes are 6 intervals) are looked for at each of the
first places of every melody there: folk songs and dances of Europe and China, ballads, hymns, chorales. In another key, or
all lengths doubled, is the same. The last line is JSON: melodies looked through, and for each tune that was found where.
Only the beginnings are read, by the few lines below, which takes a quarter of a minute; music21 takes an hour.
Carols and songs of the last century are not in the corpus: whoever adds a tune hums its beginning too.
"""

from __future__ import annotations

import argparse
import io
import itertools
import json
import re
import sys
import zipfile
from collections.abc import Iterator, Sequence
from fractions import Fraction
from pathlib import Path
from xml.etree.ElementTree import ParseError, iterparse

sys.path[:0] = [str(Path(__file__).resolve().parents[1])]

from companion.tune import load  # noqa: E402
from companion.tune.files import shipped_names  # noqa: E402

NOTES = 7
PLACES = 9  # where a melody may begin: its first note, and the next few (an upbeat, an introduction)
Melody = list[tuple[float, Fraction]]  # MIDI number and length in crotchets, rests left out
#: Exercises in reading, of a row of neighbouring notes: a scale is nobody's song.
ROWS = ("five-quavers", "whole-row")


def shape(melody: Sequence[tuple[float, Fraction]]) -> tuple[tuple[float, ...], tuple[Fraction, ...]]:
    """Intervals in semitones, and lengths as shares of the first (of the last note only that it is there)."""
    return (tuple(b[0] - a[0] for a, b in itertools.pairwise(melody)),
            tuple(length / melody[0][1] for _pitch, length in melody[:-1]))


def shapes(melody: Melody, notes: int) -> Iterator[tuple[tuple[float, ...], tuple[Fraction, ...]]]:
    for k in range(min(PLACES, len(melody) - notes + 1)):
        yield shape(melody[k:k + notes])


def own(name: str, notes: int) -> Melody:
    return [(n.midi, n.quarters) for n in load(name).line()][:notes]


MOST = PLACES + NOTES + 8  # notes that are read of a melody: its beginning alone matters


class Reading:
    """A melody as it is read: a tied note goes on from the one before. factor: of the lengths, in a triplet."""

    def __init__(self) -> None:
        self.notes: Melody = []
        self.tied = False

    def add(self, midi: float, quarters: Fraction, tied: bool) -> None:
        if self.tied and self.notes and self.notes[-1][0] == midi:
            self.notes[-1] = (midi, self.notes[-1][1] + quarters)
        else:
            self.notes.append((midi, quarters))
        self.tied = tied


#: What of a line of ABC (the standard, version 2.1, chapter 4) is a note, a rest, a chord, a bar line or a group of three.
_TOKEN = re.compile(r"(?P<chord>\[[^\]|:]*\])|(?P<acc>\^\^|\^|__|_|=)?(?P<step>[A-Ga-g])(?P<oct>[,']*)(?P<len>\d*(?:/\d*)*)"
                    r"(?P<tie>\s*-)?|(?P<rest>[zx])(?P<rlen>\d*(?:/\d*)*)|(?P<bar>[|:]+)|\((?P<group>\d)|(?P<broken>[<>]+)")
_LEFT_OUT = re.compile(r'"[^"]*"|![^!]*!|\{[^}]*\}|\[[A-Za-z]:[^\]]*\]|%.*')
_SEMITONES = dict(zip("CDEFGAB", (0, 2, 4, 5, 7, 9, 11), strict=True))
_FIFTHS = dict(zip("FCGDAEB", range(-1, 6), strict=True))
#: Fifths from the major key on the same note (ABC 2.1, 3.1.14).
_MODES = {"": 0, "maj": 0, "ion": 0, "m": -3, "min": -3, "aeo": -3, "mix": -1, "dor": -2, "phr": -4, "lyd": 1, "loc": -5}
_ALTERS = {"^^": 2, "^": 1, "=": 0, "_": -1, "__": -2}


def _times(text: str) -> Fraction:
    """How many times the unit a length is: "3/2", "/", "//"."""
    number, *rest = text.split("/")
    out = Fraction(int(number or 1))
    for under in rest:
        out /= int(under) if under and int(under) else 2
    return out


def _key(text: str) -> dict[str, int]:
    """The alteration of each letter in a key such as "Bb", "Ador" or "F#m"."""
    found = re.match(r"\s*([A-G])([#b]?)\s*(maj|ion|min|aeo|mix|dor|phr|lyd|loc|m)?", text, re.IGNORECASE)
    if found is None:
        return {}
    tonic, sign, mode = found[1].upper(), found[2], (found[3] or "").lower()
    fifths = _FIFTHS[tonic] + {"#": 7, "b": -7, "": 0}[sign] + _MODES[mode]
    return dict.fromkeys("FCGDAEB"[:max(0, fifths)], 1) | dict.fromkeys("BEADGCF"[:max(0, -fifths)], -1)


def _of_abc(text: str) -> Melody:
    """The first notes of a tune in ABC; of a chord its first note, which stands for the highest as a rule."""
    head, _, music = text.partition("\nK:")
    key, *lines = music.splitlines() or [""]
    fields = dict(re.findall(r"(?m)^([XML]):\s*(\S*)", head))
    metre = re.fullmatch(r"(\d+)/(\d+)", fields.get("M", ""))
    short = metre is not None and Fraction(int(metre[1]), int(metre[2])) < Fraction(3, 4)
    unit = 4 * Fraction(fields["L"]) if re.fullmatch(r"\d+/\d+", fields.get("L", "")) else Fraction(1, 4 if short else 2)
    alters, here = _key(key), dict[str, int]()
    out, factor, left, dotted = Reading(), Fraction(1), 0, Fraction(1)
    for found in _TOKEN.finditer(" ".join(_LEFT_OUT.sub("", line) for line in lines if line[1:2] != ":")):
        if len(out.notes) > MOST:
            break
        if found["bar"]:
            here = {}
        elif found["group"]:
            factor, left = (Fraction(2, 3), 3) if found["group"] == "3" else (Fraction(1), 0)
        elif found["broken"] and out.notes:
            more, less = Fraction(3, 2), Fraction(1, 2)
            before, dotted = (more, less) if found["broken"][0] == ">" else (less, more)
            out.notes[-1] = (out.notes[-1][0], out.notes[-1][1] * before)
        elif found["step"] or found["chord"]:
            one = found if found["step"] else _TOKEN.search(found["chord"][1:-1])
            if one is None or not one["step"]:
                continue
            step = one["step"].upper()
            if one["acc"]:
                here[step] = _ALTERS[one["acc"]]
            octave = (5 if one["step"].islower() else 4) + one["oct"].count("'") - one["oct"].count(",")
            midi = 12 * (octave + 1) + _SEMITONES[step] + here.get(step, alters.get(step, 0))
            out.add(midi, unit * _times(one["len"]) * factor * dotted, bool(one["tie"]))
            left, dotted = max(0, left - 1), Fraction(1)
            factor = factor if left else Fraction(1)
    return out.notes


def _of_musicxml(data: bytes) -> Melody:
    """The first notes of the first part of a score; of several voices the first, of chords the note written first."""
    out, divisions, voice = Reading(), Fraction(1), ""
    for _event, element in iterparse(io.BytesIO(data)):
        if element.tag == "divisions":
            divisions = Fraction(element.text or 1)
        elif element.tag == "note":
            pitch = element.find("pitch")
            voice = voice or element.findtext("voice") or ""
            if pitch is not None and element.find("chord") is None and element.find("grace") is None and (
                    (element.findtext("voice") or "") == voice):
                midi = 12 * (int(pitch.findtext("octave") or 4) + 1) + _SEMITONES[pitch.findtext("step") or "C"] + float(
                    pitch.findtext("alter") or 0)
                out.add(midi, Fraction(element.findtext("duration") or 1) / divisions,
                        any(tie.get("type") == "start" for tie in element.findall("tie")))
                if len(out.notes) > MOST:
                    break
        elif element.tag == "part":
            break
    return out.notes


def melodies() -> Iterator[tuple[str, Melody]]:
    """Name and first notes of every melody of the corpus in ABC or MusicXML."""
    from music21 import corpus

    for path in map(Path, sorted(map(str, corpus.getCorePaths()))):
        if path.suffix == ".abc":
            for text in re.split(r"(?m)^(?=X:)", path.read_text(encoding="latin-1")):
                if "\nK:" in text:
                    title = re.search(r"(?m)^T:\s*(.*)$", text)
                    yield f"{path.stem} {text.split(None, 1)[0]} {title.group(1) if title else ''}".strip(), _of_abc(text)
        elif path.suffix in (".mxl", ".xml", ".musicxml") and "theoryExercises" not in path.parts:
            data = path.read_bytes()
            if path.suffix == ".mxl":
                with zipfile.ZipFile(path) as packed:
                    inside = [n for n in packed.namelist() if n.endswith((".xml", ".musicxml")) and "META-INF" not in n]
                    data = packed.read(inside[0]) if inside else b""
            try:
                yield path.stem, _of_musicxml(data)
            except (ParseError, ValueError):
                continue


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--notes", type=int, default=NOTES)
    notes = parser.parse_args().notes
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
