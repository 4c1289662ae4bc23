"""A take held against a tune: alignment, steady pitches, a verdict for each move, closeness."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from companion.ear.model import PitchTrack
from companion.errors import NothingSung
from companion.match.align import Alignment, align
from companion.match.judge import call, move_evidence
from companion.match.model import HeardNote, Match, Move, Verdict
from companion.match.steady import Steady, steady_parts
from companion.messages import _
from companion.tune.model import LineNote, direction_of

F = NDArray[np.float64]

KEY_REACH = 3  # notes on each side that tell the singer's key at a note: a phrase drifts, but not in one note
KEY_AGREES = 1.5  # semitones: notes farther off the take's median are wrong notes, not drift
KEY_SPREAD = 0.66  # semitones, Laplace: how far a note may lie from the singer's key ...
KEY_FLOOR = 0.177  # ... and what is left for one that lies anywhere, a quarter of a second of it
SUNG = 0.5  # a note counts as sung from this probability
LEAST_VOICE_S = 0.12  # less voice than this in a whole take is no singing


def local_key(sung: F, written: F) -> F:
    """Sung minus written, in semitones, at each of N notes, following drift but not single wrong notes."""
    off = sung - written
    whole = float(np.nanmedian(off)) if not np.isnan(off).all() else 0.0
    # A key slip of whole octaves is folded away: the octave is the pupil's.
    off = off - 12 * np.round((off - whole) / 12)
    key = np.full(len(off), whole)
    for i in range(len(off)):
        near = off[max(0, i - KEY_REACH): i + KEY_REACH + 1]
        near = near[np.abs(near - whole) < KEY_AGREES]
        if len(near) > 1:
            key[i] = np.median(near)
    return key


def place(track: PitchTrack, line: Sequence[LineNote]) -> tuple[Alignment, Steady, F] | None:
    """Align twice: once with no key, then with the singer's own key as found. None where nothing is sung."""
    written = np.array([n.midi for n in line], dtype=float)
    beats = [float(n.quarters) for n in line]
    rests = [float(n.rest_after) for n in line]
    first = align(track, list(written), beats, rests)
    if first is None:
        return None
    key = local_key(steady_parts(track, first).midi, written)
    away = np.abs(first.grid[None, :] - (written + key)[:, None])
    prior = np.maximum(np.exp(-away / KEY_SPREAD), KEY_FLOOR)
    second = align(track, list(written), beats, rests, key_prior=prior)
    assert second is not None
    steady = steady_parts(track, second)
    return second, steady, local_key(steady.midi, written)


def match_take(track: PitchTrack, line: Sequence[LineNote]) -> Match:
    """Hold one take against one line of notes (a tune or a phrase of it; at least one note).

    Any key and octave, drift, any tempo, notes left out or added, intervals shrunk. Raises `NothingSung`
    where the take has no voice to speak of.
    """
    from companion.match.closeness import closeness
    from companion.match.details import detail

    voice_s = float((track.sure * (track.f0_hz > 0)).sum() * track.hop_s)
    placed = place(track, line) if voice_s >= LEAST_VOICE_S else None
    if placed is None:
        raise NothingSung(_("Nothing sung was found in this take. Sing a little closer to the microphone, and once "
                            "more."))
    aligned, steady, key = placed
    written = np.array([n.midi for n in line], dtype=float)
    notes = []
    for i, n in enumerate(line):
        there = bool(aligned.present[i] >= SUNG and not np.isnan(steady.midi[i]))
        notes.append(HeardNote(
            written=n, sung=there,
            midi=round(float(steady.midi[i]), 3) if there else None,
            onset_s=round(float(steady.onset_s[i]), 3) if there else None,
            duration_s=round(float(steady.end_s[i] - steady.onset_s[i]), 3) if there else None,
            sure=round(float(aligned.present[i]), 3)))
    bare = bool(np.isnan(track.level_db).all())
    moves = []
    for i in range(len(line) - 1):
        semitones = line[i + 1].midi - line[i].midi
        wanted = direction_of(semitones)
        e = move_evidence(aligned, steady, key, written, i, bare)
        if notes[i].sung and notes[i + 1].sung:
            verdict, heard, sure = call(e, wanted)
        else:
            verdict, heard, sure = Verdict.UNSURE, None, 0.5
        moves.append(Move(
            start=line[i].number, end=line[i + 1].number, wanted=wanted, heard=heard, verdict=verdict,
            sure=round(sure, 3), wanted_semitones=semitones,
            sung_semitones=None if e.interval is None else round(e.interval, 2)))
    off = steady.midi - written
    shift = None if np.isnan(off).all() else round(float(np.nanmedian(off)), 2)
    return Match(shift, tuple(notes), tuple(moves), closeness(notes), detail(notes, moves, key))
