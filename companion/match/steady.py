"""The pitch of each note from its steady part, so that scoops, slides, vibrato and final falls do not count."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from companion.ear import PitchTrack, steadiness, weighted_median
from companion.match.align import Alignment
from companion.match.parameters import PARAMETERS, MatchParameters

F = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Steady:
    """N notes: pitch (MIDI, NaN if not sung), spread (semitones), seconds of voice, onset and end (s).

    octave_off: whole octaves between the pitch as tracked and as placed (0 = as tracked).
    octave_unclear: probability of an octave above or below instead, 0 (clear) to 1; 1 where the track does not say.
    """

    midi: F
    spread: F
    seconds: F
    onset_s: F
    end_s: F
    octave_off: F
    octave_unclear: F


def in_order(owner: NDArray[np.int64], weight: F, notes: int) -> NDArray[np.int64]:
    """Owners of T fragments, with those set to `notes` (no note's) that do not fit the order of the notes.

    Each fragment's likeliest note is found by itself, so two notes might overlap; what stays is the heaviest
    sequence of fragments whose notes never go back.
    """
    mine = np.flatnonzero(owner < notes)
    kept = np.full(len(owner), notes, dtype=np.int64)
    if not len(mine):
        return kept
    best, came = np.zeros(len(mine)), np.full(len(mine), -1)
    for k, at in enumerate(mine.tolist()):
        before = np.where(owner[mine[:k]] <= owner[at], best[:k], -1.0)
        if k and before.max() > 0:
            came[k] = int(before.argmax())
            best[k] = before.max()
        best[k] += weight[at]
    k = int(best.argmax())
    while k >= 0:
        kept[mine[k]] = owner[mine[k]]
        k = int(came[k])
    return kept


def placed_pitch(aligned: Alignment, i: int) -> float:
    """The median of the pitch posterior of note i, MIDI."""
    posterior = aligned.pitch[i]
    middle = np.searchsorted(np.cumsum(posterior), posterior.sum() / 2)
    return float(aligned.grid[middle.clip(0, len(posterior) - 1)])


def steady_parts(track: PitchTrack, aligned: Alignment, params: MatchParameters = PARAMETERS) -> Steady:
    """The steady part of each note of an alignment."""
    fragments, weight = aligned.fragments, aligned.note_weight
    n = weight.shape[1]
    whole = np.column_stack([weight, 1.0 - weight.sum(axis=1)])
    owner = np.repeat(in_order(whole.argmax(axis=1), whole.max(axis=1) * fragments.seconds, n), fragments.frames)
    trust = np.repeat(whole.max(axis=1), fragments.frames) * steadiness(track.midi, track.hop_s)
    midi = track.midi
    voiced = ~np.isnan(midi)
    pitch, spread, onset, end = np.full((4, n), np.nan)
    seconds, octave_off, octave_unclear = np.zeros(n), np.zeros(n), np.ones(n)
    for i in range(n):
        mine = np.flatnonzero((owner == i) & voiced)
        if len(mine) * track.hop_s < params.least_note_s:
            continue
        off = np.round((midi[mine] - placed_pitch(aligned, i)) / 12)
        sung = midi[mine] - 12 * off
        w = trust[mine] * np.maximum(track.sure[mine], params.least_weight)
        pitch[i] = weighted_median(sung, w)
        spread[i] = weighted_median(np.abs(sung - pitch[i]), w)
        onset[i] = track.time_s[mine[0]] - track.hop_s / 2
        end[i] = track.time_s[mine[-1]] + track.hop_s / 2
        seconds[i] = len(mine) * track.hop_s
        octave_off[i] = weighted_median(off, w)
        if track.octave is not None:
            octave_unclear[i] = float(np.average(track.octave[mine], weights=w))
    return Steady(pitch, spread, seconds, onset, end, octave_off, octave_unclear)
