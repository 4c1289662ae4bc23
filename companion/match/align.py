"""A score-following model: where in the take each written note lies, at what pitch, and how surely.

A hidden Markov model over (written note, sung pitch), run forward and backward, so that what comes out
is not one alignment but the weight of all of them: for each move, how probable each sung interval is.

States, for N written notes and a grid of P sung pitches:
- `start`: nothing sung yet;
- note (i, p): note i is being sung at pitch p. Because p is free, any key and octave, drift and re-keying
  need no search; what ties the notes together is the probability of the sung interval given the written one;
- gap (i, p): after note i, which was sung at p: silence, breath, a slide, or a sound that is not in the tune.
A note may be left out (a transition over it); a sound may be added (a voiced gap). Both are dear,
else a wrong note would be explained away as one left out and another added. But what is dear for a note is
not so for a line: a take that begins or ends in mid-tune, or leaves out a line, pays as for a few notes.

The track is first cut into fragments of at most `FRAGMENT_S`, in which the pitch hardly moves: an alignment
over fragments costs a fifth of one over frames and loses nothing that a direction needs. Of a long tune only
the notes that can be sung at the time are reckoned with, so that time grows with the take, not with its square.
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
AT_AN_END = 27.0  # nats: a take that begins or ends in mid-tune costs no more than three notes left out ...
JUMP = 36.0  # ... and a line of the tune left out no more than four
FARTHEST = 16  # notes from the last one before such a line to the first one after it, at most
NEXT_FROM_GAP = 0.403  # probability, per fragment, that a gap ends and the next note begins
NO_GAP = 0.23  # probability that the next note follows without a gap
PLACE = 0.8  # nats per second and per beat that a note lies outside its place in a steady tempo
PLACE_FREE = 1.72  # beats that it may lie outside for nothing
MAX_SKIP = 2
KEY_EVERY_S = 0.25  # the singer's key speaks for a pitch once in so long
FAINT = 1e-24  # of the weight: a note that holds less is out of the question
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


def _sums(weight: F, low: NDArray[np.int64], high: NDArray[np.int64]) -> F:
    """Sums of the m weights from each `low` to before each `high`; what lies outside 0 to m weighs nothing."""
    before = np.concatenate([[0.0], np.cumsum(weight)])
    return np.asarray(before[np.clip(high, 0, len(weight))] - before[np.clip(low, 0, len(weight))])


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

    log_prior = np.zeros((n, 1)) if key_prior is None else np.log(np.maximum(key_prior, 1e-300)) / KEY_EVERY_S
    emit_gap = np.exp(-gap_cost)
    onset_factor = pieces.onset * np.where(is_voiced, 1.0, UNVOICED_ENTRY)

    first_in = np.exp(-np.minimum(LEFT_OUT * np.arange(n), AT_AN_END)) * ((np.arange(n) <= MAX_SKIP) | finished)
    last_out = np.exp(-np.minimum(LEFT_OUT * np.arange(n)[::-1], AT_AN_END)) if finished else np.ones(n)

    start_in = NEXT_FROM_GAP * first_in[:, None] / p

    # Forward, in bands of notes: those that held more than FAINT of the weight, and the ones within their reach.
    # `padded` holds what leaves each note before the fragment, behind `reach` rows of nothing.
    padded = np.zeros((n + reach, p))
    windows = np.lib.stride_tricks.sliding_window_view(padded, (reach, p))[:n, 0]
    bands: list[tuple[int, int, int]] = []  # first note, end of those that could leave, end of those that could be entered
    kept: list[tuple[F, F, F, F]] = []  # of the notes in the band: emission, what left them, entered them, is in them
    scales = np.zeros(t)
    jump = np.exp(-JUMP) / p
    number = np.arange(n)
    note, gap, start = np.zeros((STAGES, n, p)), np.zeros((n, p)), 1.0
    a, b = 0, 0
    for i in range(t):
        stop = min(n, b + FARTHEST)
        bands.append((a, b, stop))
        was, here, size = slice(a, b), slice(a, stop), stop - a
        done = leave[i - 1, was][:, None]
        leaving = done * (note[-1, was] + SHORT * note[:-1, was].sum(axis=0))
        source = NO_GAP * leaving + NEXT_FROM_GAP * gap[was]
        padded[:] = 0.0
        padded[a + reach:b + reach] = source
        entering = np.matmul(windows[here].reshape(size, 1, reach * p), kernel[here])[:, 0]
        entering += start * start_in[here]
        entering += jump * _sums(source.sum(axis=1), number[here] - FARTHEST - a, number[here] - reach - a)[:, None]
        entering *= onset_factor[i]
        gap[here] *= 1 - NEXT_FROM_GAP
        gap[was] += (1 - NO_GAP) * leaving
        gap[here] *= emit_gap[i]
        moved = np.zeros((STAGES, size, p))
        moved[:, :b - a] = note[:, was] * (1 - done)
        moved[1:, :b - a] += done * (1 - SHORT) * note[:-1, was]
        moved[0] += entering
        emission = np.exp(log_prior[here] * seconds[i] - (note_cost[i] + place_cost[i, here, None]))
        moved *= emission
        start *= (1 - NEXT_FROM_GAP) * emit_gap[i]
        weight = moved.sum(axis=(0, 2)) + gap[here].sum(axis=1)
        total = weight.sum() + start
        moved /= total
        gap[here] /= total
        start /= total
        note[:, here] = moved
        scales[i] = total
        kept.append((emission, source, entering, moved))
        alive = np.flatnonzero(weight > FAINT * total) + a
        b = int(alive[-1]) + 1 if len(alive) else stop
        if start < FAINT and len(alive):
            a = int(alive[0])
        note[:, :a] = gap[:a] = note[:, b:] = gap[b:] = 0.0
    end_weight = last_out[:, None]
    final = (note * end_weight).sum() + (gap * end_weight).sum() + 1e-300
    reached = ((note.sum(axis=0) + gap) * end_weight).sum(axis=1) / final
    log_likelihood = np.log(scales).sum() + np.log(final)

    # Backward, in the same bands.
    beta_gap = np.repeat(end_weight / final, p, axis=1)
    beta_note = np.repeat(beta_gap[None], STAGES, axis=0)
    gamma, flow = np.zeros((t, n)), np.zeros((n, p))
    ahead: list[F] = []  # of each fragment: emission times what follows, for a note entered there
    for i in range(t - 1, -1, -1):
        a, b, stop = bands[i]
        here = slice(a, stop)
        emission, _, entering, moved = kept[i]
        gamma[i, here] = np.einsum("snp,snp->n", moved, beta_note[:, here])
        enter = emission * beta_note[:, here] / scales[i]
        fresh = enter[0] * onset_factor[i]
        ahead.append(fresh)
        flow[here] += entering / max(onset_factor[i], 1e-9) * fresh
        stay_gap = (emit_gap[i] / scales[i]) * beta_gap[here]
        back = np.matmul(fresh[:, None, :], kernel_back[here]).reshape(stop - a, reach, p)
        onward = np.zeros((stop - a + reach, p))
        for k in range(reach):
            onward[k:k + stop - a] += back[:, k]
        far = _sums(fresh.sum(axis=1), number[here] + reach + 1 - a, number[here] + FARTHEST + 1 - a)
        onto = onward[reach:] + jump * far[:, None]
        out = leave[i - 1, here][:, None]
        goes = NO_GAP * onto + (1 - NO_GAP) * stay_gap
        beta_note[:], beta_gap[:] = 0.0, 0.0
        beta_note[:, here] = (1 - out) * enter
        beta_note[-1, here] += out * goes
        beta_note[:-1, here] += out * ((1 - SHORT) * enter[1:] + SHORT * goes)
        beta_gap[here] = (1 - NEXT_FROM_GAP) * stay_gap + NEXT_FROM_GAP * onto
    ahead.reverse()

    offset = np.subtract.outer(np.arange(p), np.arange(p)).T + (p - 1)  # from pitch o to o2: o2 - o + p - 1
    intervals = np.zeros((max(n - 1, 0), 2 * p - 1))
    first, could_leave, could_enter = np.array(bands).T
    for j in range(1, n):
        when = np.flatnonzero((first < j) & (j <= could_leave) & (j < could_enter))
        if len(when):
            before = np.array([kept[i][1][j - 1 - first[i]] for i in when])
            after = np.array([ahead[i][j - first[i]] for i in when])
            pairs = (before.T @ after) * kernel[j, (reach - 1) * p:]
            intervals[j - 1] = np.bincount(offset.ravel(), weights=pairs.ravel(), minlength=2 * p - 1)
    return Alignment(pieces, grid, flow.sum(axis=1), gamma, reached, intervals, flow, float(log_likelihood))
