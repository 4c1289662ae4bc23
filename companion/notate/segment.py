"""Sung notes out of a pitch track for writing them down: every syllable counts, the quick ones too.

`companion.ear.notes` finds notes by their steady parts and leaves out what is shorter than a twelfth of a
second. Here islands of voice that stand alone are kept from half of that, and a repeated note is parted from
a held one by how deep the level dips between, how long the two halves are, and whether voicing suffers.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from companion.ear.model import PitchTrack, SungNote
from companion.ear.notes import cheapest_path, measured, steadiness

F = NDArray[np.float64]

CELL = 0.25  # semitones of the grid on which constant pitches are sought
MISS = 15.0  # cost per second and semitone between a frame and its note
MISS_CAP = 2.5
BEGIN = 0.7  # cost of a new note where nothing marks it but the pitch
BREAK = 0.2  # cost of one after a silence, a dip or a consonant
SILENT_NOTE = 12.0  # cost per second of an unvoiced frame inside a note
VOICED_SILENCE = 15.0  # cost per second of a voiced frame that belongs to no note
TRUST = 0.45  # a voiced frame counts at least so much, however unsure
DIP_S = 0.09  # a dip of the level is measured against the peaks so near on each side
LEAST_DIP_DB = 3.0
#: Odds that a dip parts two notes: a constant, so much for each dB of its depth (12 at most), and for the
#: periodicity lost in it (0 to 1). A logistic regression on synthesised singers of both makers.
DIP_ODDS = (-5.9, 0.87, 7.5)
NO_DIP, DOUBTFUL_ODDS = -99.0, 2.5
FALL_S = 0.15  # a piece at a phrase's end, shorter than this, that comes down off the note before ...
FALL_SEMITONES = 0.35  # ... by gliding at least so far, is the voice letting go and no note
SHORTEST_S = 0.075  # between other notes; what is shorter is a slide
ALONE_S = 0.05  # for an island with silence on both sides
FAINT_DB = 24.0  # an island so far below the take's loud notes is a breath or an echo


def onset_strength(level: F, hop_s: float) -> F:
    """dB by which the level dips at each frame, against the lower of the peaks just before and after."""
    reach = max(1, round(DIP_S / hop_s))
    padded = np.pad(level, reach, mode="edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, reach + 1)
    before, after = windows[:len(level)].max(axis=1), windows[reach:reach + len(level)].max(axis=1)
    return np.asarray(np.minimum(before, after) - level)


@dataclass(frozen=True)
class _Frames:
    midi: F
    voiced: NDArray[np.bool_]
    sure: F
    dip: F
    level: F
    hop: float
    known: bool
    odds: F  # at each frame, that a dip of the level parts two notes there; far below 0 where there is none


@dataclass(frozen=True)
class Doubtful:
    """A dip that may or may not part two notes of one pitch: when, and the odds (logarithm) that it does."""

    time_s: float
    odds: float


def _frames(track: PitchTrack) -> _Frames:
    midi = track.midi
    known = not bool(np.isnan(track.level_db).all())
    level = np.nan_to_num(track.level_db, nan=-60.0)
    dip = onset_strength(level, track.hop_s) if known else np.zeros(len(level))
    odds = np.full(len(level), NO_DIP)
    harmonic = np.nan_to_num(track.harmonic, nan=1.0)
    if known and len(dip) > 2:
        top = np.flatnonzero((dip[1:-1] >= dip[:-2]) & (dip[1:-1] > dip[2:]) & (dip[1:-1] > LEAST_DIP_DB)) + 1
        for i in top.tolist():
            lost = 1.0 - float(harmonic[max(0, i - 3):i + 4].min())
            odds[i] = DIP_ODDS[0] + DIP_ODDS[1] * min(float(dip[i]), 12.0) + DIP_ODDS[2] * lost
    return _Frames(midi, ~np.isnan(midi), track.sure, dip, level, track.hop_s, known, odds)


def sung_notes(track: PitchTrack) -> list[SungNote]:
    """Notes of a track in order; empty where nothing is sung. Pitches are MIDI numbers with fractions."""
    f = _frames(track)
    if not f.voiced.any():
        return []
    return _notes(track, f, f.odds > 0)


def doubtful(track: PitchTrack) -> list[Doubtful]:
    """Dips of the level of which it can't be told alone whether they part two notes."""
    f = _frames(track)
    return [Doubtful(float(track.time_s[i]), float(f.odds[i]))
            for i in np.flatnonzero(np.abs(f.odds) < DOUBTFUL_ODDS).tolist()]


def _notes(track: PitchTrack, f: _Frames, parts: NDArray[np.bool_]) -> list[SungNote]:
    label, starts = _decode(f, parts)
    return _measure(track, f, label, starts, parts)


def _decode(f: _Frames, broken: NDArray[np.bool_]) -> tuple[NDArray[np.int64], list[int]]:
    """Frame by frame which note of the grid is sung (-1 none), and where notes begin."""
    midi, voiced, hop = f.midi, f.voiced, f.hop
    grid = np.arange(np.floor(np.nanmin(midi)) - 1, np.ceil(np.nanmax(midi)) + 1.01, CELL)
    after_silence = voiced & ~np.concatenate([[False], voiced[:-1]])
    begin = np.where(broken | after_silence, BREAK, BEGIN)
    sure = np.maximum(f.sure, TRUST)
    away = np.minimum(np.abs(np.nan_to_num(midi)[:, None] - grid[None, :]), MISS_CAP)
    miss = np.where(voiced[:, None], MISS * hop * sure[:, None] * away, SILENT_NOTE * hop)
    rest = np.where(voiced, VOICED_SILENCE * hop * sure, 0.0)
    return cheapest_path(miss, rest, begin)


def _measure(track: PitchTrack, f: _Frames, label: NDArray[np.int64], starts: list[int],
             broken: NDArray[np.bool_]) -> list[SungNote]:
    midi, hop, voiced = f.midi, f.hop, f.voiced
    cuts = sorted(set(starts) | {int(i) for i in np.flatnonzero(broken) if label[i] >= 0})
    steady = steadiness(midi, hop)
    loud = float(np.percentile(f.level[voiced], 80)) if f.known else 0.0
    notes: list[SungNote] = []
    for k, start in enumerate(cuts):
        limit = cuts[k + 1] if k + 1 < len(cuts) else len(label)
        inside = np.arange(start, limit)
        inside = inside[(label[inside] >= 0) & voiced[inside]]
        if not len(inside):
            continue
        before, after = inside[0] - 1, inside[-1] + 1
        alone = (before < 0 or not voiced[max(0, before - 1):before + 1].any()) and (
            after >= len(voiced) or not voiced[after:after + 2].any())
        if len(inside) * hop < (ALONE_S if alone else SHORTEST_S) - 1e-6:
            continue
        joined = bool(notes) and inside[0] * hop - (notes[-1].onset_s + notes[-1].duration_s - track.time_s[0]) < 2.5 * hop
        ends = after >= len(voiced) or not voiced[after:after + 2].any()
        if joined and ends and len(inside) * hop < FALL_S:
            late = inside[len(inside) // 3:]
            slid = float(midi[late[0]] - midi[late[-1]])
            if slid > FALL_SEMITONES and float(midi[inside].max()) < notes[-1].midi + 0.3:
                continue
        if f.known and float(f.level[inside].max()) < loud - FAINT_DB:
            continue
        notes.append(measured(track, midi, inside, steady))
    return notes
