"""Notes out of a pitch track, with no tune to help: by their steady parts.

A path through the frames is sought that is cheap to describe as few notes of constant pitch with silences
between. A note costs something to begin, so that vibrato, scoops, slides and final falls are cheaper left
as misses of one note than made notes of their own. A repeated note is heard as two by the dip in its level
or by the consonant (a short unvoiced or noisy stretch) between.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from companion.ear.model import PitchTrack, SungNote

F = NDArray[np.float64]

CELL = 0.25  # semitones of the grid on which constant pitches are sought
MISS = 15.0  # cost per second and semitone between a frame and its note
MISS_CAP = 2.5  # semitones: farther off costs no more
BEGIN = 0.6  # cost of beginning a note; a step of a semitone pays for itself in 0.04 s
BREAK = 0.35  # cost of beginning one where the level dips or a consonant stands
SILENT_NOTE = 15.0  # cost per second of an unvoiced frame inside a note
VOICED_SILENCE = 12.0  # cost per second of a voiced frame that belongs to no note
DIP_DB = 5.0  # a fall and rise of the level by this much, within DIP_S on each side, parts two notes
DIP_S = 0.09
SHORTEST_S = 0.09  # no sung note is shorter; what is becomes part of a neighbour or a slide
SLIP_S = 0.15  # an octave away and back again within this is the tracker's slip
SLIP_WITHIN = 0.8  # semitones about the octave
#: Semitones a second at which a frame counts half: a slide of two semitones in 0.15 s is 13; a vibrato of
#: half a semitone at 6 Hz reaches 19 at its steepest and is flat at its turns, so its middle stays.
SLIDE = 8.0


def onset_strength(track: PitchTrack) -> F:
    """How many dB the level dips at each frame, against the lower of the peaks just before and after."""
    level = np.nan_to_num(track.level_db, nan=-60.0)
    reach = max(1, round(DIP_S / track.hop_s))
    padded = np.pad(level, reach, mode="edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, reach + 1)
    before, after = windows[:len(level)].max(axis=1), windows[reach:reach + len(level)].max(axis=1)
    return np.asarray(np.minimum(before, after) - level)


def mend_octaves(midi: F, hop_s: float) -> F:
    """Pitch (MIDI, NaN unvoiced, n frames) with short slips of a whole octave put back.

    A run within one stretch of voice that jumps by an octave at both ends, away and back, and lasts less than
    SLIP_S is the tracker's: no voice leaps an octave and returns in that time without a gap.
    """
    mended = midi.copy()
    jumps = np.diff(midi)
    octave = np.flatnonzero(np.abs(np.abs(jumps) - 12.0) < SLIP_WITHIN) + 1
    k = 0
    while k + 1 < len(octave):
        a, b = int(octave[k]), int(octave[k + 1])
        back = np.sign(jumps[a - 1]) == -np.sign(jumps[b - 1])
        if back and (b - a) * hop_s < SLIP_S and not np.isnan(midi[a - 1:b + 1]).any():
            mended[a:b] -= 12.0 * np.sign(jumps[a - 1])
            k += 2
        else:
            k += 1
    return mended


def cheapest_path(miss: F, rest: F, begin: F) -> tuple[NDArray[np.int64], list[int]]:
    """Which pitch of the grid is sung at each of n frames (-1 none), and the frames at which notes begin.

    miss: n x p, cost of a frame at each pitch; rest: n, of its being silent; begin: n, of a note that begins there.
    """
    n, p = miss.shape
    cost, quiet = np.full(p, np.inf), 0.0
    came = np.zeros((n, p), dtype=bool)  # True: the note begins at this frame
    source = np.zeros(n, dtype=np.int64)  # where a note that begins here comes from: -1 silence, else a pitch
    quiet_from = np.full(n, -1, dtype=np.int64)
    for i in range(n):
        best = int(cost.argmin())
        source[i], cheapest = (-1, quiet) if quiet <= cost[best] else (best, float(cost[best]))
        fresh = cheapest + begin[i]
        came[i] = fresh < cost
        if quiet <= cost[best]:
            quiet_from[i] = -1
        else:
            quiet_from[i] = best
        quiet = min(quiet, float(cost[best])) + rest[i]
        cost = np.minimum(cost, fresh) + miss[i]
    state = -1 if quiet <= cost.min() else int(cost.argmin())
    label = np.full(n, -1, dtype=np.int64)
    starts: list[int] = []
    for i in range(n - 1, -1, -1):
        label[i] = state
        if state < 0:
            state = int(quiet_from[i])
        elif came[i, state]:
            starts.append(i)
            state = int(source[i])
    return label, sorted(starts)


def weighted_median(values: F, weights: F) -> float:
    """The value below which half of the weight lies."""
    order = np.argsort(values)
    total = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(total, total[-1] / 2)])


def steadiness(midi: F, hop_s: float) -> F:
    """1 for a frame of steady pitch (MIDI, NaN unvoiced), towards 0 in a slide; one value a frame."""
    slope = np.abs(np.gradient(np.nan_to_num(midi, nan=1e3))) / hop_s
    slope = np.convolve(np.minimum(slope, 200.0), np.ones(3) / 3, "same")
    return np.asarray(1.0 / (1.0 + (slope / SLIDE) ** 2))


def measured(track: PitchTrack, midi: F, inside: NDArray[np.int64], steady: F) -> SungNote:
    """The note of the frames `inside` (voiced, at least one), its pitch by the steady ones."""
    weight = steady[inside] * np.maximum(track.sure[inside], 0.05)
    pitch = weighted_median(midi[inside], weight)
    onset = float(track.time_s[inside[0]])
    return SungNote(onset, float(track.time_s[inside[-1]]) + track.hop_s - onset, pitch,
                    weighted_median(np.abs(midi[inside] - pitch), weight), float(track.sure[inside].mean()))


def find_notes(track: PitchTrack) -> list[SungNote]:
    """Notes of a track in order; empty where nothing is sung. Pitches are MIDI numbers with fractions."""
    midi = mend_octaves(track.midi, track.hop_s)
    voiced = ~np.isnan(midi)
    if not voiced.any():
        return []
    hop = track.hop_s
    grid = np.arange(np.floor(np.nanmin(midi)) - 1, np.ceil(np.nanmax(midi)) + 1.01, CELL)
    dip = onset_strength(track)
    top = np.concatenate([[False], (dip[1:-1] >= dip[:-2]) & (dip[1:-1] > dip[2:]), [False]])
    broken = (dip > DIP_DB) & top
    silence_ends = voiced & ~np.concatenate([[False], voiced[:-1]])
    begin = np.where(broken | silence_ends, BREAK, BEGIN)
    sure = np.maximum(track.sure, 0.2)
    away = np.minimum(np.abs(np.nan_to_num(midi)[:, None] - grid[None, :]), MISS_CAP)
    miss = np.where(voiced[:, None], MISS * hop * sure[:, None] * away, SILENT_NOTE * hop)
    rest = np.where(voiced, VOICED_SILENCE * hop * sure, 0.0)

    label, starts = cheapest_path(miss, rest, begin)
    return _finish(track, midi, label, starts, broken)


def _finish(track: PitchTrack, midi: F, label: NDArray[np.int64], starts: list[int],
            broken: NDArray[np.bool_]) -> list[SungNote]:
    """Cut at dips, measure each note's steady part, drop what is too short to be one."""
    hop = track.hop_s
    voiced = ~np.isnan(midi)
    cuts = sorted(set(starts) | {int(i) for i in np.flatnonzero(broken) if label[i] >= 0})
    steady = steadiness(midi, hop)
    notes: list[SungNote] = []
    for k, start in enumerate(cuts):
        limit = cuts[k + 1] if k + 1 < len(cuts) else len(label)
        inside = np.arange(start, limit)
        inside = inside[(label[inside] >= 0) & voiced[inside]]
        if len(inside) * hop < SHORTEST_S:
            continue
        notes.append(measured(track, midi, inside, steady))
    return notes
