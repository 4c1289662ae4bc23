"""The top line of a part in which several notes sound at once: the highest note that begins, as long as no higher one does.

A part of one note at a time stays as it is.
"""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from typing import Any


def keep_top_line(part: Any) -> None:
    """Leave only the top line of a music21 Part with measures, in place. Chords keep their highest note; where voices or
    overlapping notes sound together, a note is kept if it is the highest that begins there and none above it sounds, and it
    ends where a higher one begins."""
    from music21 import stream

    for chord in part.recurse().getElementsByClass("Chord"):
        if "ChordSymbol" not in chord.classes and len(chord.notes) > 1:
            chord.notes = (max(chord.notes, key=lambda n: n.pitch.ps),)
    for measure in part.getElementsByClass(stream.Measure):
        voices = list(measure.getElementsByClass(stream.Voice))
        sounding = [e for s in (voices or [measure]) for e in s.notes if e.pitches and "ChordSymbol" not in e.classes]
        if len([v for v in voices if v.notes]) > 1 or _overlap(sounding):
            _merge(measure, voices, sounding)


def _span(e: Any) -> tuple[Fraction, Fraction]:
    """Onset and end within the measure, in quarters. Thirds come as floats and as fractions."""
    begins = Fraction(e.offset).limit_denominator(2048)
    return begins, begins + Fraction(e.duration.quarterLength).limit_denominator(2048)


def _overlap(notes: Iterable[Any]) -> bool:
    """Whether a note begins before the last one ends. Grace notes have no time."""
    until = Fraction(0)
    for begins, ends in sorted(_span(e) for e in notes if not e.duration.isGrace):
        if begins < until:
            return True
        until = ends
    return False


def _merge(measure: Any, voices: list[Any], sounding: list[Any]) -> None:
    """The voices of a measure as one line, with rests between its notes."""
    from music21 import note

    kept = _highest(sounding)
    rests = [e for s in (voices or [measure]) for e in s.getElementsByClass("Rest")]
    length = max([ends for _begins, ends, _e in kept] + [_span(r)[1] for r in rests] + [Fraction(0)])
    moved = [(e.offset, e) for voice in voices for e in voice if _stays(e, voice is voices[0])]
    for voice in voices:
        measure.remove(voice)
    if not voices:
        measure.remove([*(e for e in sounding if not e.duration.isGrace), *rests])
    for offset, e in moved:
        measure.insert(offset, e)
    at = Fraction(0)
    for begins, ends, e in kept:
        if begins > at:
            measure.insert(at, note.Rest(quarterLength=begins - at))
        if _span(e)[1] != ends:
            e.duration.quarterLength = ends - begins
            e.tie = None
        measure.insert(begins, e)
        at = ends
    if at < length:
        measure.insert(at, note.Rest(quarterLength=length - at))


def _highest(sounding: list[Any]) -> list[tuple[Fraction, Fraction, Any]]:
    """The notes of the top line with onset and end, in order of time."""
    kept: list[tuple[Fraction, Fraction, Any]] = []
    for e in sorted((e for e in sounding if not e.duration.isGrace), key=lambda e: (_span(e)[0], -e.pitches[-1].ps)):
        begins, ends = _span(e)
        if kept and kept[-1][1] > begins:
            first, _last, before = kept[-1]
            if first == begins or before.pitches[-1].ps >= e.pitches[-1].ps:
                continue
            kept[-1] = first, begins, before
        kept.append((begins, ends, e))
    return kept


def _stays(e: Any, first: bool) -> bool:
    """Whether what stands in a voice is kept as it is: all but notes and rests, and the grace notes of the first voice."""
    if "GeneralNote" not in e.classes or "ChordSymbol" in e.classes:
        return True
    return first and bool(e.duration.isGrace)
