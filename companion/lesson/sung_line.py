"""A line that was just sung or played, as a tune to answer: pitches to the nearest key, plain values.

For the lesson's loop only, where the pupil waits; `companion notate` writes music with more care.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

import numpy as np

from companion.ear import PitchTrack, SungNote, find_notes
from companion.errors import NothingSung
from companion.match import Match, Verdict, match_take
from companion.tune import Bar, Barline, Key, LineNote, Note, Time, Tune, spell

#: Values that a note of an echoed line may have, in crotchets.
LENGTHS = (Fraction(1, 2), Fraction(1), Fraction(3, 2), Fraction(2), Fraction(3), Fraction(4))
SHORT_S = 0.3  # the middle length of a line's notes is a quaver below this, else a crotchet
REST_S = 0.3  # a silence this long inside a line is a rest
MOST_NOTES = 40
FALL_S, FALL_SEMITONES = 0.17, 1.4  # a voice that lets go falls so far within so short a time
APART_S = 0.02
#: A piano's note falls by 10 dB a second and more, and its pitch stands still; a voice's level is held, its pitch wavers.
FALLS_DB_PER_S, STEADY_SEMITONES = -6.0, 0.04
#: ... and falls evenly: beside a straight line its level has a spread of 0.4 dB at most, that of sung notes 1.4 dB and more
#: (synthesised ones of both makers; a real piano's strings beat).
EVEN_DB = 1.0
CHORD = 0.7  # periodicity at most, where several pitches sound: three piano notes have 0.5, a voice 0.95
EDGE_S, FEWEST_FRAMES = 0.04, 8  # what is left out at both ends of a note; frames that it takes to tell
FEWEST_PLAYED, PLAYED_SHARE = 3, 0.7  # notes, and the share of them that must be struck, before a line is one that was played
BEFORE_NOTE_S = 0.05  # kept before the first sung note of a take
MAJOR = (0, 2, 4, 5, 7, 9, 11)


@dataclass(frozen=True)
class SungLine:
    """tune: as written; notes: as sung; quarter_s: seconds a crotchet; off: semitones sung minus written. times_s: of each
    note, onset and length in seconds. played: on struck or plucked strings, so that it tells nothing of a voice."""

    tune: Tune
    notes: tuple[LineNote, ...]
    quarter_s: float
    off: float
    times_s: tuple[tuple[float, float], ...] = ()
    played: bool = False


def nearest_keys(midi: Sequence[float]) -> tuple[list[int], float]:
    """Whole semitones for sung pitches, and by how much all of them lie off (-0.5 to 0.5).

    The offset is the circular mean of the parts of a semitone, so that a singer between two keys is not
    torn apart.
    """
    angles = 2 * np.pi * np.asarray(midi)
    off = float(np.angle(np.mean(np.exp(1j * angles)))) / (2 * np.pi)
    return [round(m - off) for m in midi], off


def without_falls(sung: Sequence[SungNote]) -> list[SungNote]:
    """Notes without the voice's letting go: a short piece just under a note, joined to it, before a silence."""
    out: list[SungNote] = []
    for k, note in enumerate(sung):
        ends = k + 1 == len(sung) or sung[k + 1].onset_s - note.onset_s - note.duration_s > APART_S
        if out and ends and note.duration_s < FALL_S:
            before = out[-1]
            joined = note.onset_s - before.onset_s - before.duration_s < APART_S
            if joined and 0.0 < before.midi - note.midi < FALL_SEMITONES:
                continue
        out.append(note)
    return out


def _struck(track: PitchTrack, onset_s: float, duration_s: float) -> tuple[bool, bool]:
    """(whether the level of a note falls all the time as that of struck or plucked strings does, and its pitch does not move;
    whether it falls so, and several pitches sound at once)."""
    inside = (track.time_s > onset_s + EDGE_S) & (track.time_s < onset_s + duration_s - EDGE_S) & (track.f0_hz > 0)
    t = track.time_s[inside]
    if len(t) < FEWEST_FRAMES:
        return False, False
    midi, level = track.midi[inside], track.level_db[inside]
    wander = midi - np.polyval(np.polyfit(t, midi, 1), t)
    fall = np.polyfit(t, level, 1)
    falls = bool(fall[0] <= FALLS_DB_PER_S)
    steady = bool(np.std(wander) <= STEADY_SEMITONES and np.std(level - np.polyval(fall, t)) <= EVEN_DB)
    return falls and steady, falls and bool(np.median(track.harmonic[inside]) <= CHORD)


def is_struck(track: PitchTrack, note: SungNote) -> bool:
    """Whether a note is that of struck or plucked strings, alone or in a chord."""
    return any(_struck(track, note.onset_s, note.duration_s))


def is_played(track: PitchTrack, notes: Sequence[tuple[float, float]]) -> bool:
    """Whether a line was played on struck or plucked strings: nearly all of its notes, which are (onset, length) in seconds.
    Chords do not count, since a voice in a loud room looks like one."""
    struck = [_struck(track, onset, length)[0] for onset, length in notes]
    return len(struck) >= FEWEST_PLAYED and sum(struck) >= PLAYED_SHARE * len(struck)


def without_instrument(track: PitchTrack, sung: Sequence[SungNote]) -> list[SungNote]:
    """A sung line without the prelude or the chord that a piano gave before it, and what it played after. A line that is
    played as a whole is left as it is."""
    struck = [is_struck(track, n) for n in sung]
    first = next((i for i, s in enumerate(struck) if not s), 0)
    last = next((i for i, s in reversed(list(enumerate(struck))) if not s), len(sung) - 1)
    voice = sung[first:last + 1]
    if sum(struck[first:last + 1]) * 2 > len(voice) or len(voice) < 2:
        return list(sung)
    return list(voice)


def without_prelude(track: PitchTrack, match: Match, line: Sequence[LineNote]) -> tuple[PitchTrack, Match]:
    """A take without the prelude or the chord that a piano gave before the voice. One that is all right as it stands, or has no
    struck note at its beginning, is left alone."""
    if all(m.verdict is Verdict.RIGHT for m in match.moves):
        return track, match
    sung = find_notes(track)
    first = next((i for i, n in enumerate(sung) if not is_struck(track, n)), 0)
    if not first:
        return track, match
    rest = track.part(track.time_s >= sung[first].onset_s - BEFORE_NOTE_S)
    try:
        found = match_take(rest, line)
    except NothingSung:
        return track, match
    # A prelude is no part of the line, so the line is heard no less whole without it: where notes go with it, they were sung.
    whole = sum(n.sung for n in found.notes) >= sum(n.sung for n in match.notes)
    return (rest, found) if whole and found.closeness > match.closeness else (track, match)


def key_of(midi: Sequence[int]) -> Key:
    """The major key that holds most of the notes, of equals the one of the last note, then fewest signs."""
    def fit(fifths: int) -> tuple[int, bool, int]:
        tonic = Key(fifths).tonic_class
        return (sum((m - tonic) % 12 in MAJOR for m in midi), midi[-1] % 12 == tonic, -abs(fifths))

    return Key(max(range(-5, 7), key=fit))


def tune_of(track: PitchTrack, title: str) -> SungLine | None:
    """The line in a track, None where there are no notes."""
    sung = without_instrument(track, without_falls(find_notes(track)))[:MOST_NOTES]
    if not sung:
        return None
    keys, off = nearest_keys([n.midi for n in sung])
    quarter_s, values, rests = _values(sung)
    key = key_of(keys)
    notes: list[Note] = []
    for midi, value, rest in zip(keys, values, rests, strict=True):
        base, dots = (value * Fraction(2, 3), 1) if value in (Fraction(3, 2), Fraction(3)) else (value, 0)
        notes.append(Note(pitch=spell(midi, key), base=base, dots=dots))
        if rest:
            notes.append(Note(pitch=None, base=rest))
    total = sum((n.quarters for n in notes), Fraction(0))
    # One bar as long as the line: where its bars fall nobody has said.
    beats = -(-total // 1)
    if beats > total:
        notes.append(Note(pitch=None, base=Fraction(1, 2)))
    bar = Bar(number=1, notes=tuple(notes), key=key, time=Time((int(beats),), 4), barline=Barline.FINAL)
    tune = Tune(title=title, bars=(bar,), quarter_bpm=round(60 / quarter_s), phrase_starts=(1,))
    times = tuple((n.onset_s, n.duration_s) for n in sung)
    return SungLine(tune, tuple(replace(n, phrase=1) for n in tune.line()), quarter_s, off,
                    times, is_played(track, times))


def _values(sung: Sequence[SungNote]) -> tuple[float, list[Fraction], list[Fraction]]:
    """(seconds a crotchet, value of each note, rest after each), from onset to onset."""
    onsets = [n.onset_s for n in sung]
    gaps = [b - a for a, b in pairwise(onsets)] + [sung[-1].duration_s]
    middle = float(np.median(gaps[:-1])) if len(gaps) > 1 else gaps[0]
    quarter_s = min(1.2, max(0.3, middle if middle >= SHORT_S else 2 * middle))
    values, rests = [], []
    for k, (note, gap) in enumerate(zip(sung, gaps, strict=True)):
        silent = gap - note.duration_s if k + 1 < len(sung) else 0.0
        rest = Fraction(1, 2) if silent > REST_S else Fraction(0)
        quarters = max(0.25, gap / quarter_s - float(rest))
        values.append(min(LENGTHS, key=lambda v: abs(float(np.log(float(v) / quarters)))))
        rests.append(rest)
    return quarter_s, values, rests
