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

Observations are the fragments of the track (`fragments.py`). Of a long tune only the notes that can be sung at the
time are reckoned with, so that time grows with the take, not with its square.

The steps, each a function below: observation costs, tempo prior, transitions (the `Model`), forward pass, backward
pass, interval posterior. The forward and backward recursions are those of Rabiner (1989), scaled at each fragment.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from companion.ear import PitchTrack
from companion.match.fragments import Fragments, cut, is_bare
from companion.match.parameters import PARAMETERS, MatchParameters

F = NDArray[np.float64]
FEW_NOTES = 48


@dataclass(frozen=True, eq=False)
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


@dataclass(frozen=True, eq=False)
class Model:
    """The hidden Markov model of one take and one tune: N notes, P pitches, T fragments.

    note_cost: T x P, nats. gap_emission: T. tempo_cost: T x N, nats. log_prior: N x P (or N x 1), nats a second.
    seconds: T, lengths. onset: T, factor of a note that begins there. leave: T x N, probability that a stage ends.
    enter: N, probability of beginning with that note at one pitch. end: N, factor of ending after that note.
    jump: probability of leaving out a line of the tune and going on at one pitch.
    kernel: N x RP x P, from the pitches of the R notes before (farthest first) to those of a note.
    """

    parameters: MatchParameters
    note_cost: F
    gap_emission: F
    tempo_cost: F
    log_prior: F
    seconds: F
    onset: F
    leave: F
    enter: F
    end: F
    jump: float
    kernel: F

    @property
    def reach(self) -> int:
        """How many notes before a note may be followed by it."""
        return self.parameters.most_left_out + 1

    def emission(self, t: int, notes: slice) -> F:
        """Probability density of fragment t for each of the notes and pitches."""
        cost = self.note_cost[t] + self.tempo_cost[t, notes, None]
        return np.asarray(np.exp(self.log_prior[notes] * self.seconds[t] - cost))


def interval_kernel(written: float, cells: int, any_interval: float, params: MatchParameters = PARAMETERS) -> F:
    """Probability of each sung interval where `written` semitones stand: 2 * cells - 1 values, which sum to 1.

    They belong to -(cells - 1) .. cells - 1 cells of the pitch grid. any_interval: probability that the move goes
    anywhere at all.
    """
    sung = np.arange(-(cells - 1), cells) * params.cell
    spread = params.interval_spread + params.interval_spread_per_semitone * abs(written)
    near = np.zeros_like(sung)
    for factor, weight in params.interval_shrink:
        near += weight * np.exp(-np.abs(sung - factor * written) / spread)
    octave = sum(np.exp(-np.abs(sung - written - o) / spread) for o in (-12.0, 12.0))
    near = (near + params.octave_move * octave) / max(near.sum(), 1e-12)
    far = np.exp(-np.abs(sung) / params.any_interval_spread)
    return np.asarray((1 - any_interval) * near + any_interval * far / far.sum())


def pitch_grid(fragments: Fragments, params: MatchParameters) -> F:
    """The P sung pitches (MIDI) that are reckoned with: a semitone beyond all that was heard."""
    heard = fragments.midi[fragments.voiced]
    low, high = float(np.floor(heard.min())) - 1, float(np.ceil(heard.max())) + 1
    grid: F = np.arange(low, high + params.cell / 2, params.cell, dtype=np.float64)
    return grid


def observation_costs(fragments: Fragments, grid: F, trust: float, params: MatchParameters) -> tuple[F, F]:
    """(T x P, T): what each fragment costs as part of a note at each pitch, and as part of a gap, in nats."""
    distance = np.abs(np.nan_to_num(fragments.midi)[:, None] - grid[None, :])
    distance = np.minimum(distance, np.abs(distance - 12.0) + params.octave_cost)
    confidence = np.maximum(fragments.confidence, params.least_confidence)
    voiced_cost = trust * params.pitch_cost * np.minimum(distance, params.pitch_cost_cap) * confidence[:, None]
    seconds = fragments.seconds
    note = np.where(fragments.voiced[:, None], voiced_cost, trust * params.unvoiced_note_cost) * seconds[:, None]
    gap = np.where(fragments.voiced, trust * params.voiced_gap_cost * confidence, 0.0) * seconds
    return note, gap


def sung_frames(fragments: Fragments) -> tuple[int, int]:
    """The frames from the first voiced fragment to the end of the last one."""
    span = np.flatnonzero(fragments.voiced)
    return int(fragments.first[span[0]]), int(fragments.first[span[-1]] + fragments.frames[span[-1]])


def written_onsets(beats: F, rests: F) -> tuple[F, float]:
    """Where each note begins, in beats from the first one, and where the last one ends."""
    onset = np.concatenate([[0.0], np.cumsum(beats + rests)[:-1]])
    return onset, float(onset[-1] + beats[-1])


def tempo_prior(fragments: Fragments, beats: F, rests: F, params: MatchParameters) -> F:
    """T x N: what it costs (nats) that a fragment belongs to a note far from the note's place in a steady tempo.

    The tempo is free: the span that was sung is laid over the span that is written.
    """
    begin, end = sung_frames(fragments)
    onset, whole = written_onsets(beats, rests)
    middle = (fragments.first + fragments.frames / 2 - begin) / max(1, end - begin) * whole  # beats
    early = onset[None, :] - middle[:, None]
    late = middle[:, None] - (onset + beats)[None, :]
    outside = np.maximum(np.maximum(early, late) - params.tempo_free, 0.0)
    return np.asarray(params.tempo_cost * np.minimum(outside, params.tempo_cost_cap) * fragments.seconds[:, None])


def leave_probability(seconds: F, beats: F, beat_s: float, params: MatchParameters) -> F:
    """T x N: probability that a stage of a note ends within a fragment, by the length the note is written with."""
    stage_s = np.maximum(params.least_stage_share_s, beats * beat_s) / params.stages
    leave = 1 - np.exp(-seconds[:, None] / stage_s[None, :])
    return np.asarray(np.clip(leave, params.least_leave, params.most_leave))


def transitions(midi: F, pitches: int, any_interval: float, params: MatchParameters) -> F:
    """N x RP x P: for each note one matrix that takes what leaves the R notes before it (stacked, the farthest
    first) to its pitches."""
    n, reach = len(midi), params.most_left_out + 1
    kernel = np.zeros((n, reach * pitches, pitches))
    rows: dict[float, F] = {}  # a tune has few intervals, and many moves of each
    for j in range(n):
        for skip in range(1, min(j, reach) + 1):
            written = float(midi[j] - midi[j - skip])
            if written not in rows:
                rows[written] = interval_kernel(written, pitches, any_interval, params)
            row = rows[written] * np.exp(-params.left_out_cost * (skip - 1))
            place = (reach - skip) * pitches
            kernel[j, place:place + pitches] = np.lib.stride_tricks.sliding_window_view(row, pitches)[::-1]
    return kernel


def build_model(fragments: Fragments, grid: F, midi: F, beats: F, rests: F, key_prior: F | None, beat_s: float | None,
                bare: bool, params: MatchParameters) -> Model:
    """The model of a take (see `align` for the arguments)."""
    n, p = len(midi), len(grid)
    trust, any_interval = (params.bare_trust, params.any_interval_bare) if bare else (1.0, params.any_interval)
    note_cost, gap_cost = observation_costs(fragments, grid, trust, params)
    number = np.arange(n)
    first = np.exp(-np.minimum(params.left_out_cost * number, params.end_cost))
    if beat_s is None:
        begin, end = sung_frames(fragments)
        beat_s = (end - begin) * fragments.hop_s / max(written_onsets(beats, rests)[1], 1e-6)
        tempo_cost = tempo_prior(fragments, beats, rests, params)
        last = np.exp(-np.minimum(params.left_out_cost * number[::-1], params.end_cost))
    else:  # the take is still going on
        tempo_cost = np.zeros((len(fragments.first), n))
        first = first * (number <= params.most_left_out)
        last = np.ones(n)
    seconds = fragments.seconds
    return Model(
        parameters=params, note_cost=note_cost, gap_emission=np.exp(-gap_cost), tempo_cost=tempo_cost,
        log_prior=np.zeros((n, 1)) if key_prior is None else np.log(np.maximum(key_prior, 1e-300)) / params.key_every_s,
        seconds=seconds, onset=fragments.onset * np.where(fragments.voiced, 1.0, params.unvoiced_entry),
        leave=leave_probability(seconds, beats, beat_s, params), enter=params.gap_ends * first / p, end=last,
        jump=float(np.exp(-params.line_left_out_cost)) / p, kernel=transitions(midi, p, any_interval, params))


def _sums(weight: F, low: NDArray[np.int64], high: NDArray[np.int64]) -> F:
    """Sums of the m weights from each `low` to before each `high`; what lies outside 0 to m weighs nothing."""
    before = np.concatenate([[0.0], np.cumsum(weight)])
    return np.asarray(before[np.clip(high, 0, len(weight))] - before[np.clip(low, 0, len(weight))])


@lru_cache(maxsize=256)
def _band(size: int, m: int, low: int, high: int) -> F:
    """size x m: 1 for the weights from `low` to before `high` of each row, both counted from the row's number."""
    away = np.arange(m)[None, :] - np.arange(size)[:, None]
    return np.asarray((away >= low) & (away < high), dtype=np.float64)


def _sums_beside(weight: F, size: int, low: int, high: int) -> F:
    """For each of `size` notes the sum of the m weights from `low` to before `high`, counted from the note."""
    if size <= FEW_NOTES and len(weight) <= FEW_NOTES:  # one product is several times as fast as sums and clips
        return np.asarray(_band(size, len(weight), low, high) @ weight)
    number = np.arange(size)
    return _sums(weight, number + low, number + high)


@dataclass(frozen=True, eq=False)
class Step:
    """The forward pass at one fragment, for the notes from `first` to before `enter_end`, at P pitches.

    Those before `leave_end` had weight before it. emission: their probability density. leaving: what left each
    of those that had weight. entering: what entered each. state: S stages x notes x P, scaled.
    scale: the likelihood of the fragment given those before it.
    """

    first: int
    leave_end: int
    enter_end: int
    emission: F
    leaving: F
    entering: F
    state: F
    scale: float


@dataclass(frozen=True, eq=False)
class Forward:
    """The forward pass: a step for each fragment; the sum over the last states; reached and log likelihood."""

    steps: list[Step]
    final: float
    reached: F
    log_likelihood: float


def forward(model: Model) -> Forward:
    """Run the model over the fragments in order.

    It runs in bands of notes: those that had more than `negligible` of the weight, and the ones within their reach.
    """
    params = model.parameters
    n, p = len(model.end), model.kernel.shape[2]
    state, gap, start = np.zeros((params.stages, n, p)), np.zeros((n, p)), 1.0
    padded = np.zeros((n + model.reach, p))  # what leaves each note, behind `reach` rows of nothing
    before = np.lib.stride_tricks.sliding_window_view(padded, (model.reach, p))[:n, 0]
    steps: list[Step] = []
    a, b = 0, 0
    for t in range(len(model.seconds)):
        stop = min(n, b + params.line_left_out_most)
        was, here = slice(a, b), slice(a, stop)
        done = model.leave[t - 1, was][:, None]
        ended = done * (state[-1, was] + params.early_leave * state[:-1, was].sum(axis=0))
        leaving = params.no_gap * ended + params.gap_ends * gap[was]
        padded[:] = 0.0
        padded[a + model.reach:b + model.reach] = leaving
        entering = _entering(model, before[here], leaving, start, here) * model.onset[t]
        gap[here] *= 1 - params.gap_ends
        gap[was] += (1 - params.no_gap) * ended
        gap[here] *= model.gap_emission[t]
        moved = np.zeros((params.stages, stop - a, p))
        moved[:, :b - a] = state[:, was] * (1 - done)
        moved[1:, :b - a] += done * (1 - params.early_leave) * state[:-1, was]
        moved[0] += entering
        emission = model.emission(t, here)
        moved *= emission
        start *= (1 - params.gap_ends) * model.gap_emission[t]
        weight = moved.sum(axis=(0, 2)) + gap[here].sum(axis=1)
        scale = weight.sum() + start
        moved /= scale
        gap[here] /= scale
        start /= scale
        state[:, here] = moved
        steps.append(Step(a, b, stop, emission, leaving, entering, moved, float(scale)))
        alive = np.flatnonzero(weight > params.negligible * scale) + a
        b = int(alive[-1]) + 1 if len(alive) else stop
        if start < params.negligible and len(alive):
            a = int(alive[0])
        state[:, :a] = gap[:a] = state[:, b:] = gap[b:] = 0.0
    end = model.end[:, None]
    final = (state * end).sum() + (gap * end).sum() + 1e-300
    reached = ((state.sum(axis=0) + gap) * end).sum(axis=1) / final
    return Forward(steps, float(final), reached, float(np.log([s.scale for s in steps]).sum() + np.log(final)))


def _entering(model: Model, before: F, leaving: F, start: float, here: slice) -> F:
    """m x P: what enters each of the m notes `here` from the notes before it, from a line away, or from `start`.

    before: m x R x P, what leaves the R notes before each. leaving: what leaves the notes from the first of them on.
    """
    size, reach, p = before.shape
    entering = np.matmul(before.reshape(size, 1, reach * p), model.kernel[here])[:, 0]
    entering += start * model.enter[here, None]
    far = _sums_beside(leaving.sum(axis=1), size, -model.parameters.line_left_out_most, -reach)
    entering += model.jump * far[:, None]
    return np.asarray(entering)


@dataclass(frozen=True, eq=False)
class Backward:
    """The backward pass. note_weight: T x N. pitch: N x P, probability that a note was entered at a pitch.

    ahead: for each fragment, of the notes of its step x P: emission times what follows, for a note entered there.
    """

    note_weight: F
    pitch: F
    ahead: list[F]


def backward(model: Model, passed: Forward) -> Backward:
    """Run the model from the last fragment to the first, in the bands of the forward pass."""
    params = model.parameters
    n, p = len(model.end), model.kernel.shape[2]
    t = len(passed.steps)
    kernel = np.ascontiguousarray(model.kernel.transpose(0, 2, 1))
    gap = np.repeat(model.end[:, None] / passed.final, p, axis=1)
    note = np.repeat(gap[None], params.stages, axis=0)
    note_weight, pitch = np.zeros((t, n)), np.zeros((n, p))
    ahead: list[F] = []
    for i in range(t - 1, -1, -1):
        step = passed.steps[i]
        here = slice(step.first, step.enter_end)
        note_weight[i, here] = np.einsum("snp,snp->n", step.state, note[:, here])
        enter = step.emission * note[:, here] / step.scale
        fresh = enter[0] * model.onset[i]
        ahead.append(fresh)
        pitch[here] += step.entering / max(model.onset[i], 1e-9) * fresh
        stay_gap = (model.gap_emission[i] / step.scale) * gap[here]
        onto = _onto(model, kernel[here], fresh)
        out = model.leave[i - 1, here][:, None]
        goes = params.no_gap * onto + (1 - params.no_gap) * stay_gap
        note[:], gap[:] = 0.0, 0.0
        note[:, here] = (1 - out) * enter
        note[-1, here] += out * goes
        note[:-1, here] += out * ((1 - params.early_leave) * enter[1:] + params.early_leave * goes)
        gap[here] = (1 - params.gap_ends) * stay_gap + params.gap_ends * onto
    ahead.reverse()
    return Backward(note_weight, pitch, ahead)


def _onto(model: Model, kernel: F, fresh: F) -> F:
    """m x P: what follows where each of m notes is left for one of those after it. kernel: of these, turned round."""
    reach, (size, p) = model.reach, fresh.shape
    back = np.matmul(fresh[:, None, :], kernel).reshape(size, reach, p)
    onward = np.zeros((size + reach, p))
    for k in range(reach):
        onward[k:k + size] += back[:, k]
    far = _sums_beside(fresh.sum(axis=1), size, reach + 1, model.parameters.line_left_out_most + 1)
    return np.asarray(onward[reach:] + model.jump * far[:, None])


def interval_posterior(model: Model, passed: Forward, back: Backward) -> F:
    """(N-1) x (2P-1): probability of each sung interval of each move (see `Alignment.intervals`)."""
    n, p = len(model.end), model.kernel.shape[2]
    cells = np.subtract.outer(np.arange(p), np.arange(p)).T + (p - 1)  # from pitch o to o2: o2 - o + p - 1
    first, leave_end, enter_end = np.array([(s.first, s.leave_end, s.enter_end) for s in passed.steps]).T
    posterior = np.zeros((max(n - 1, 0), 2 * p - 1))
    for j in range(1, n):
        when = np.flatnonzero((first < j) & (j <= leave_end) & (j < enter_end))
        if len(when):
            before = np.array([passed.steps[i].leaving[j - 1 - first[i]] for i in when])
            after = np.array([back.ahead[i][j - first[i]] for i in when])
            pairs = (before.T @ after) * model.kernel[j, (model.reach - 1) * p:]
            posterior[j - 1] = np.bincount(cells.ravel(), weights=pairs.ravel(), minlength=2 * p - 1)
    return posterior


def align(track: PitchTrack, midi: Sequence[float], beats: Sequence[float], rests: Sequence[float],
          key_prior: F | None = None, beat_s: float | None = None, params: MatchParameters = PARAMETERS) -> Alignment | None:
    """Align a take with N written notes. midi, beats (length in quarters), rests (after each): length N.

    Returns None where nothing is voiced. key_prior: N x P, weight of each sung pitch for each note where a
    first pass has found the singer's key, else None. beat_s: seconds a quarter for a take that is still
    going on: it may then end anywhere in the tune, and nothing is said about where in time a note lies;
    None for a finished take, which is matched with the whole tune.
    """
    fragments = cut(track, params)
    if not fragments.voiced.any():
        return None
    grid = pitch_grid(fragments, params)
    model = build_model(fragments, grid, np.asarray(midi, dtype=float), np.asarray(beats, dtype=float),
                        np.asarray(rests, dtype=float), key_prior, beat_s, is_bare(track), params)
    passed = forward(model)
    back = backward(model, passed)
    return Alignment(fragments, grid, back.pitch.sum(axis=1), back.note_weight, passed.reached,
                     interval_posterior(model, passed, back), back.pitch, passed.log_likelihood)
