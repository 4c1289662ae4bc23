"""The pitch of each note from its steady part, so that scoops, slides, vibrato and final falls do not count."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from companion.ear.model import PitchTrack
from companion.ear.notes import steadiness, weighted_median
from companion.match.align import Alignment

F = NDArray[np.float64]

LEAST_NOTE_S = 0.05  # a note with less voice of its own has no pitch to speak of: half the shortest that is sung


@dataclass(frozen=True)
class Steady:
    """N notes: pitch (MIDI, NaN if not sung), spread (semitones), seconds of voice, onset and end (s).

    octave_off: whole octaves between the pitch as tracked and as placed (0 = as tracked).
    voice: mean certainty of the tracker over the note, 0 to 1. octave_share: how much speaks for an octave
    above or below instead, 0 (clear) to 1; 1 where the track does not say.
    """

    midi: F
    spread: F
    seconds: F
    onset_s: F
    end_s: F
    octave_off: F
    voice: F
    octave_share: F


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


def steady_parts(track: PitchTrack, aligned: Alignment) -> Steady:
    """The steady part of each note of an alignment."""
    pieces, weight = aligned.fragments, aligned.note_weight
    n = weight.shape[1]
    whole = np.column_stack([weight, 1.0 - weight.sum(axis=1)])
    owner = np.repeat(in_order(whole.argmax(axis=1), whole.max(axis=1) * pieces.seconds, n), pieces.frames)
    trust = np.repeat(whole.max(axis=1), pieces.frames) * steadiness(track.midi, track.hop_s)
    midi = track.midi
    voiced = ~np.isnan(midi)
    out = {name: np.full(n, np.nan) for name in ("midi", "spread", "onset", "end", "voice")}
    seconds, octave, share = np.zeros(n), np.zeros(n), np.ones(n)
    for i in range(n):
        mine = np.flatnonzero((owner == i) & voiced)
        if len(mine) * track.hop_s < LEAST_NOTE_S:
            continue
        chance = aligned.pitch[i]
        place = aligned.grid[np.searchsorted(np.cumsum(chance), chance.sum() / 2).clip(0, len(chance) - 1)]
        off = np.round((midi[mine] - place) / 12)
        sung = midi[mine] - 12 * off
        w = trust[mine] * np.maximum(track.sure[mine], 0.05)
        pitch = weighted_median(sung, w)
        out["midi"][i] = pitch
        out["spread"][i] = weighted_median(np.abs(sung - pitch), w)
        out["onset"][i] = track.time_s[mine[0]] - track.hop_s / 2
        out["end"][i] = track.time_s[mine[-1]] + track.hop_s / 2
        out["voice"][i] = float(track.sure[mine].mean())
        seconds[i] = len(mine) * track.hop_s
        octave[i] = weighted_median(off, w)
        if track.octave is not None:
            share[i] = float(np.average(track.octave[mine], weights=w))
    return Steady(out["midi"], out["spread"], seconds, out["onset"], out["end"], octave, out["voice"], share)
