"""A score-following model: where in the take each written note lies, at what pitch, and how surely.

A hidden Markov model over (written note, sung pitch), run forward and backward, so that what comes out
is not one alignment but the weight of all of them: for each move, how probable each sung interval is.

States, for N written notes and a grid of P sung pitches:
- `start`: nothing sung yet;
- note (i, p): note i is being sung at pitch p. Because p is free, any key and octave, drift and re-keying
  need no search; what ties the notes together is the probability of the sung interval given the written one;
- gap (i, p): after note i, which was sung at p: silence, breath, a slide, or a sound that is not in the tune.
A note may be left out (a transition over it); a sound may be added (a voiced gap). Both are dear,
else a wrong note would be explained away as one left out and another added.

The track is first cut into fragments of at most `FRAGMENT_S`, in which the pitch hardly moves: an alignment
over fragments costs a fifth of one over frames and loses nothing that a direction needs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from companion.ear.model import PitchTrack

F = NDArray[np.float64]

FRAGMENT_S = 0.06  # shorter than the shortest sung note (about 0.1 s), longer than a frame
FRAGMENT_SPAN = 0.45  # semitones: a fragment ends when the pitch leaves this span, so slides fall to pieces
CELL = 0.25  # semitones of the pitch grid
MISS = 77.5  # nats per second and semitone between the sung pitch and the note's
MISS_CAP = 6  # semitones: farther off is no worse (an octave slip of the tracker is one event)
OCTAVE_MISS = 1.61  # semitones: what it costs more to hear a note in another octave (a slip of the tracker's)
OCTAVE_MOVE = 0.01  # probability that a move goes as written, but to another octave
VOICED_GAP = 118  # nats per second of voice that belongs to no note
UNVOICED_NOTE = 42.3  # nats per second of silence inside a note
INTERVAL_SPREAD = 0.43  # semitones, Laplace; the step is missed by this much ...
INTERVAL_SPREAD_PER = 0.05  # ... and large intervals by more, in proportion
INTERVAL_ANY = 0.526  # probability that a move goes anywhere
FAR_SPREAD = 8.0  # semitones: how far a move that goes anywhere goes
#: Untrained singers shrink their intervals (Pfordresher and Brown 2007): factors and their weights.
SHRINK = ((1.0, 0.6), (0.85, 0.25), (0.68, 0.15))
LEFT_OUT = 9  # nats for each note that is left out
NEXT_FROM_GAP = 0.403  # probability, per fragment, that a gap ends and the next note begins
NO_GAP = 0.23  # probability that the next note follows without a gap
PLACE = 0.8  # nats per second and per beat that a note lies outside its place in a steady tempo
PLACE_FREE = 1.72  # beats that it may lie outside for nothing
MAX_SKIP = 2
#: A bare pitch track, with no level, comes from a tracker whose faults are not known: its frames are trusted
#: less, and a note far from where the tune has it is less likely the singer's.
BARE_TRUST = 0.3
BARE_ANY = 0.03
#: How long a note lasts is told by stages that follow each other, each as long as its share of the written
#: length (an Erlang law): one stage alone would make the shortest notes the likeliest.
STAGES = 3
MOST_LEAVE = 0.929  # a stage ends with at most this probability in one fragment
SHORT = 0.0468  # factor for leaving a note before its last stage
UNVOICED_ENTRY = 0.0204  # factor for a note that begins where there is no voice
NO_ONSET = 0.0282  # factor for a new note that begins with neither a change of pitch, nor a dip, nor a consonant
NO_ONSET_UNKNOWN = 0.79  # the same where the level is not known (a bare pitch track)
ONSET_PITCH = 0.4  # semitones of change that make an onset
ONSET_DIP_DB = 3.0  # a fall and rise of the level that makes one


@dataclass(frozen=True)
class Fragments:
    """n pieces of a track: start frame, frames, pitch (MIDI; NaN unvoiced), weight of voice 0 to 1.

    onset: a factor of up to 1 for how well a new note may begin with the fragment.
    """

    first: NDArray[np.int64]
    frames: NDArray[np.int64]
    midi: F
    voiced: F
    onset: F
    hop_s: float

    @property
    def seconds(self) -> F:
        return np.asarray(self.frames * self.hop_s, dtype=np.float64)


def cut(track: PitchTrack) -> Fragments:
    """Cut a track into fragments of steady pitch (see the module's head)."""
    midi = track.midi
    longest = max(1, round(FRAGMENT_S / track.hop_s))
    first: list[int] = []
    low = high = 0.0
    was_voiced = False
    values = midi.tolist()
    for i, m in enumerate(values):
        is_voiced = m == m
        new = not first or is_voiced != was_voiced or i - first[-1] >= longest
        if not new and is_voiced and (max(high, m) - min(low, m) > FRAGMENT_SPAN):
            new = True
        if new:
            first.append(i)
            low = high = m
        elif is_voiced:
            low, high = min(low, m), max(high, m)
        was_voiced = is_voiced
    start = np.array(first, dtype=np.int64)
    if not len(start):
        empty = np.zeros(0)
        return Fragments(start, start, empty, empty, empty, track.hop_s)
    frames = np.diff(np.append(start, len(midi)))
    total = np.add.reduceat(np.nan_to_num(midi), start)
    weight = np.add.reduceat(np.where(track.f0_hz > 0, track.sure, 0.0), start)
    voiced = ~np.isnan(midi[start])
    pitch = np.where(voiced, total / frames, np.nan)
    return Fragments(start, frames, pitch, np.where(voiced, weight / frames, 0.0),
                     _onsets(track, start, pitch), track.hop_s)


def _onsets(track: PitchTrack, start: NDArray[np.int64], pitch: F) -> F:
    before, after = np.append(np.nan, pitch[:-1]), np.append(pitch[1:], np.nan)
    with np.errstate(invalid="ignore"):
        jump = (np.abs(pitch - before) > ONSET_PITCH) | (np.abs(after - before) > 1.5 * ONSET_PITCH)
    begins = np.isnan(before) & ~np.isnan(pitch)
    if np.isnan(track.level_db).all():
        return np.where(jump | begins, 1.0, NO_ONSET_UNKNOWN)
    level = np.nan_to_num(track.level_db, nan=-120.0)
    reach = max(1, round(0.08 / track.hop_s))
    dips = np.zeros(len(start), dtype=bool)
    for k, at in enumerate(start.tolist()):
        around = level[max(0, at - reach):at + reach + 1]
        low = int(around.argmin())
        if 0 < low < len(around) - 1:
            dips[k] = min(around[:low].max(), around[low + 1:].max()) - around[low] > ONSET_DIP_DB
    return np.where(jump | begins | dips, 1.0, NO_ONSET)


@dataclass(frozen=True)
class Alignment:
    """What the model says of a take, for N notes, P pitches, T fragments.

    grid: P sung pitches (MIDI). present: N, probability that the note was sung.
    note_weight: T x N, probability that fragment t belongs to note i.
    reached: N, probability that the take ends in note i or in the gap after it.
    intervals: (N-1) x (2P-1), probability of each sung interval of the move i to i+1, in cells from
    -(P-1) to P-1; sums to the probability that both notes were sung next to each other.
    pitch: N x P, probability of each pitch for a note. log_likelihood: of the take, for comparing models.
    """

    fragments: Fragments
    grid: F
    present: F
    note_weight: F
    reached: F
    intervals: F
    pitch: F
    log_likelihood: float


def interval_kernel(written: float, cells: int, any_way: float) -> F:
    """Probability of sung intervals -(cells-1)..cells-1 (in CELLs) where `written` semitones stand.

    any_way: probability that the move goes anywhere at all.
    """
    sung = np.arange(-(cells - 1), cells) * CELL
    spread = INTERVAL_SPREAD + INTERVAL_SPREAD_PER * abs(written)
    near = np.zeros_like(sung)
    for factor, weight in SHRINK:
        near += weight * np.exp(-np.abs(sung - factor * written) / spread)
    octave = sum(np.exp(-np.abs(sung - written - o) / spread) for o in (-12.0, 12.0))
    near = (near + OCTAVE_MOVE * octave) / max(near.sum(), 1e-12)
    far = np.exp(-np.abs(sung) / FAR_SPREAD)
    return np.asarray((1 - any_way) * near + any_way * far / far.sum())


def align(track: PitchTrack, midi: Sequence[float], beats: Sequence[float], rests: Sequence[float],
          key_prior: F | None = None, beat_s: float | None = None) -> Alignment | None:
    """Hold a take against N written notes. midi, beats (length in quarters), rests (after each): length N.

    Returns None where nothing is voiced. key_prior: N x P, weight of each sung pitch for each note where a
    first pass has found the singer's key, else None. beat_s: seconds a quarter for a take that is still
    going on: it may then end anywhere in the tune, and nothing is said about where in time a note lies;
    None for a finished take, which is held against the whole tune.
    """
    pieces = cut(track)
    heard = pieces.midi[~np.isnan(pieces.midi)]
    if not len(heard):
        return None
    n, t = len(midi), len(pieces.first)
    low, high = np.floor(heard.min()) - 1, np.ceil(heard.max()) + 1
    grid = np.arange(low, high + CELL / 2, CELL)
    p = len(grid)
    seconds = pieces.seconds
    is_voiced = ~np.isnan(pieces.midi)

    bare = bool(np.isnan(track.level_db).all())
    trust, any_way = (BARE_TRUST, BARE_ANY) if bare else (1.0, INTERVAL_ANY)
    distance = np.abs(np.nan_to_num(pieces.midi)[:, None] - grid[None, :])
    distance = np.minimum(distance, np.abs(distance - 12.0) + OCTAVE_MISS)
    voiced_cost = trust * MISS * np.minimum(distance, MISS_CAP) * np.maximum(pieces.voiced, 0.1)[:, None]
    note_cost = np.where(is_voiced[:, None], voiced_cost, trust * UNVOICED_NOTE) * seconds[:, None]  # T x P
    gap_cost = np.where(is_voiced, trust * VOICED_GAP * np.maximum(pieces.voiced, 0.1), 0.0) * seconds  # T

    # Where in time each note should fall, tempo free: the sung span against the written one.
    span = np.flatnonzero(is_voiced)
    begin = pieces.first[span[0]]
    end = pieces.first[span[-1]] + pieces.frames[span[-1]]
    length = np.asarray(beats, dtype=float) + np.asarray(rests, dtype=float)
    onset = np.concatenate([[0.0], np.cumsum(length)[:-1]])
    whole = onset[-1] + float(beats[-1])
    middle = (pieces.first + pieces.frames / 2 - begin) / max(1, end - begin) * whole  # beats
    early = onset[None, :] - middle[:, None]
    late = middle[:, None] - (onset + np.asarray(beats, dtype=float))[None, :]
    outside = np.maximum(np.maximum(early, late) - PLACE_FREE, 0.0)
    place_cost = PLACE * np.minimum(outside, 8.0) * seconds[:, None]  # T x N
    finished = beat_s is None
    if beat_s is None:
        beat_s = (end - begin) * pieces.hop_s / max(whole, 1e-6)
    else:
        place_cost = np.zeros_like(place_cost)

    # Leaving a note: as often as its expected length says.
    stage_s = np.maximum(0.05, np.asarray(beats, dtype=float) * beat_s) / STAGES
    leave = 1 - np.exp(-seconds[:, None] / stage_s[None, :])
    leave = np.clip(leave, 0.02, MOST_LEAVE)

    written = np.asarray(midi, dtype=float)
    # For each note, one matrix that takes what leaves the 1, 2 or 3 notes before it (stacked) to its pitches.
    reach = MAX_SKIP + 1
    kernel = np.zeros((n, reach * p, p))
    for j in range(n):
        for skip in range(1, min(j, reach) + 1):
            row = interval_kernel(written[j] - written[j - skip], p, any_way) * np.exp(-LEFT_OUT * (skip - 1))
            place = (reach - skip) * p
            kernel[j, place:place + p] = np.lib.stride_tricks.sliding_window_view(row, p)[::-1]
    kernel_back = np.ascontiguousarray(kernel.transpose(0, 2, 1))

    emit_note = np.exp(-(note_cost[:, None, :] + place_cost[:, :, None]))  # T x N x P
    if key_prior is not None:
        emit_note *= key_prior[None, :, :] ** (seconds[:, None, None] / 0.25)
    emit_gap = np.exp(-gap_cost)
    onset_factor = pieces.onset * np.where(is_voiced, 1.0, UNVOICED_ENTRY)

    first_in = np.exp(-LEFT_OUT * np.arange(n)) * (np.arange(n) <= MAX_SKIP)
    last_out = np.exp(-LEFT_OUT * np.arange(n)[::-1]) if finished else np.ones(n)

    start_in = NEXT_FROM_GAP * first_in[:, None] / p

    # Forward. `padded` holds what leaves each note before fragment i, behind `reach` rows of nothing.
    padded = np.zeros((t, n + reach, p))
    windows = np.lib.stride_tricks.sliding_window_view(padded, (reach, p), axis=(1, 2))[:, :n, 0]
    into, notes = np.zeros((t, n, p)), np.zeros((t, STAGES, n, p))
    scales = np.zeros(t)
    note, gap, start = np.zeros((STAGES, n, p)), np.zeros((n, p)), 1.0
    for i in range(t):
        done = leave[i - 1][:, None]
        leaving = done * (note[-1] + SHORT * note[:-1].sum(axis=0))
        source = padded[i, reach:]
        np.multiply(leaving, NO_GAP, out=source)
        source += NEXT_FROM_GAP * gap
        entering = np.matmul(windows[i].reshape(n, 1, reach * p), kernel)[:, 0]
        entering += start * start_in
        entering *= onset_factor[i]
        gap = emit_gap[i] * ((1 - NEXT_FROM_GAP) * gap + (1 - NO_GAP) * leaving)
        moved = note * (1 - done)
        moved[1:] += done * (1 - SHORT) * note[:-1]
        moved[0] += entering
        note = emit_note[i] * moved
        start *= (1 - NEXT_FROM_GAP) * emit_gap[i]
        total = note.sum() + gap.sum() + start
        note /= total
        gap /= total
        start /= total
        scales[i] = total
        into[i] = entering
        notes[i] = note
    end_weight = last_out[:, None]
    final = (note * end_weight).sum() + (gap * end_weight).sum() + 1e-300
    reached = ((note.sum(axis=0) + gap) * end_weight).sum(axis=1) / final
    log_likelihood = np.log(scales).sum() + np.log(final)

    # Backward.
    beta_gap = np.repeat(end_weight / final, p, axis=1)
    beta_note = np.repeat(beta_gap[None], STAGES, axis=0)
    gamma = np.zeros((t, n))
    ahead = np.zeros((t, n, p))  # emission times what follows, for a note entered at fragment i
    onward = np.zeros((n + reach, p))
    for i in range(t - 1, -1, -1):
        gamma[i] = np.einsum("snp,snp->n", notes[i], beta_note)
        enter = emit_note[i] * beta_note / scales[i]
        fresh = enter[0] * onset_factor[i]
        ahead[i] = fresh
        stay_gap = (emit_gap[i] / scales[i]) * beta_gap
        back = np.matmul(fresh[:, None, :], kernel_back).reshape(n, reach, p)
        onward[:] = 0.0
        for k in range(reach):
            onward[k:k + n] += back[:, k]
        onto = onward[reach:]
        out = leave[i - 1][:, None]
        left = NO_GAP * onto + (1 - NO_GAP) * stay_gap
        beta_note = (1 - out) * enter
        beta_note[-1] += out * left
        beta_note[:-1] += out * ((1 - SHORT) * enter[1:] + SHORT * left)
        beta_gap = (1 - NEXT_FROM_GAP) * stay_gap + NEXT_FROM_GAP * onto

    flow = np.einsum("tnp,tnp->np", into / np.maximum(onset_factor, 1e-9)[:, None, None], ahead)
    offset = np.subtract.outer(np.arange(p), np.arange(p)).T + (p - 1)  # from pitch o to o2: o2 - o + p - 1
    intervals = np.zeros((max(n - 1, 0), 2 * p - 1))
    for j in range(1, n):
        pairs = (padded[:, reach + j - 1].T @ ahead[:, j]) * kernel[j, (reach - 1) * p:]
        intervals[j - 1] = np.bincount(offset.ravel(), weights=pairs.ravel(), minlength=2 * p - 1)
    return Alignment(pieces, grid, flow.sum(axis=1), gamma, reached, intervals, flow, float(log_likelihood))
