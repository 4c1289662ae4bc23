"""Values, bars and tempo from the onsets of notes: a hidden Markov model over metre and tempo.

For each time signature the states are (where in the bar a note begins, in ticks; how long a crotchet lasts at that
moment). From note to note the tempo wanders a little and the place in the bar moves on by the note's value. The priors
(how probable each value is at each place, where phrases begin, which degrees and moves stand where) were counted on
folk tunes (`folk_counts`). All readings are weighed together (forward and backward), so every value comes with its
posterior probability and the runner-up.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from companion.transcribe.folk_counts import MOST_TICKS, TICKS, Prior, Style, prior, ticks_of
from companion.tune import Time

F = NDArray[np.float64]
I64 = NDArray[np.int64]

SLOWEST_S, FASTEST_S = 1.25, 0.2  # seconds a crotchet
TEMPI = 56  # steps of tempo between them, 3.3 % each
#: Seconds a beat (crotchet; dotted crotchet in compound time) and the spread of its logarithm: the pulse that people
#: choose lies near half a second (Fraisse 1982; van Noorden and Moelants 1999; from memory).
BEAT_S, BEAT_SPREAD = 0.54, 0.3
WANDER = 0.035  # spread of the tempo's logarithm from one note to the next, for a note of a crotchet
LENGTH_SPREAD = 0.06  # spread of the logarithm of a note's own length
#: The same of the last note, which is mostly sung as written, now and then held or cut short: spread and share.
LAST_SPREADS = ((0.1, 0.7), (0.35, 0.3))
ONSET_S = 0.035  # spread in seconds of when an onset is heard: consonants take time
STRAY = 0.002  # density left for a length that fits no value
MOST_FIRSTS, LEAST_FIRST = 3, 0.01  # places of the first note that are followed up in each time signature
NEAR_TEMPI = 4  # steps of tempo, 14 %, that count as one tempo
GIVEN_SPREAD = 0.05  # how far (logarithm) a singer's tempo may lie from one that was given
FEWEST_BEATS = 3  # fewer taps than this give no tempo
TAPPED_SPREAD, TAPPED_WANDER = 0.02, 0.01  # what is left of both when each beat was tapped
TAP_REACH = 2  # taps on each side over which a hand's unevenness is smoothed
TAP_S = 0.06  # spread in seconds between a tap and the note that belongs to it
#: How much the notes' degrees, moves and breaths count beside the values.
DEGREE_WEIGHT, MOVE_WEIGHT, PHRASE_WEIGHT = 0.5, 0.5, 0.7
IMPOSSIBLE = -1e3  # logarithm of a probability


@dataclass(frozen=True, eq=False)
class Evidence:
    """What is known of N notes. onset_s: N + 1, the last being where the last note ends.

    degree: 0 to 11 semitones above the keynote, or -1; move: category of the move into the note (see `moves`),
    -1 for the first; phrase: True where a breath or silence comes before. fixed: N ticks that a person has given, 0 where
    none are; empty where nothing is given. forbidden: notes, each with ticks that it does not have.
    """

    onset_s: F
    degree: I64
    move: I64
    phrase: NDArray[np.bool_]
    fixed: tuple[int, ...] = ()
    forbidden: tuple[tuple[int, int], ...] = ()


@dataclass(frozen=True, eq=False)
class Reading:
    """N notes read in one time signature, with the first note at one place.

    place: N, ticks from the bar line. ticks: N, from each onset to the next (the last: to the end of its note).
    quarter_s: N, seconds a crotchet at each note. value_posterior: N x (MOST_TICKS + 1), probability of each value.
    log_likelihood: of all readings with this first place. path_log: of this one. style: whose counts it was read with.
    """

    time: Time
    place: I64
    ticks: I64
    quarter_s: F
    value_posterior: F
    log_likelihood: float
    path_log: float
    style: Style = Style.SONG


def moves(midi: Sequence[int]) -> I64:
    """Category of the move into each note: 0 level, 1 and 2 step up and down, 3 and 4 more; -1 for the first."""
    out = [-1]
    for a, b in itertools.pairwise(midi):
        d = b - a
        out.append(0 if d == 0 else 1 if 0 < d <= 2 else 2 if -2 <= d < 0 else 3 if d > 0 else 4)
    return np.array(out, dtype=np.int64)


def smoothed(taps: F) -> F:
    """Tapped times on the straight line that fits each and its neighbours best: a hand taps 20 to 30 ms off."""
    out = taps.copy()
    for k in range(len(taps)):
        near = np.arange(max(0, k - TAP_REACH), min(len(taps), k + TAP_REACH + 1))
        out[k] = np.polyfit(near - k, taps[near], 1)[1]
    return np.maximum.accumulate(out + 1e-6 * np.arange(len(out)))


def _at_beats(onset_s: F, beats_s: Sequence[float]) -> tuple[F, float]:
    """Times counted in tapped beats (0 = the first tap), straight on beyond both ends; and seconds a beat."""
    taps = smoothed(np.asarray(sorted(beats_s), dtype=float))
    usual = float(np.median(np.diff(taps)))
    reach = int(max(0.0, taps[0] - onset_s.min(), onset_s.max() - taps[-1]) / usual) + 2
    before = taps[0] - usual * np.arange(reach, 0, -1)
    after = taps[-1] + usual * np.arange(1, reach + 1)
    grid = np.concatenate([before, taps, after])
    return np.interp(onset_s, grid, np.arange(len(grid)) - reach), usual


@dataclass(frozen=True, eq=False)
class _Clock:
    """Onsets as the model sees them, and what is known of the tempo.

    onset_s: N + 1. quarter_s: seconds a crotchet where known, with its spread (logarithm); wander: see WANDER.
    phase: N, in ticks from a beat, where beats were tapped, with the spread of a tap in ticks.
    """

    onset_s: F
    quarter_s: float | None
    spread: float
    wander: float
    phase: F | None = None
    phase_spread: float = 0.0


def _clock(e: Evidence, time: Time, quarter_s: float | None, beats_s: Sequence[float]) -> _Clock:
    if len(beats_s) < FEWEST_BEATS:
        return _Clock(e.onset_s, quarter_s, GIVEN_SPREAD, WANDER)
    beat = ticks_of(time.beat)
    at_beats, beat_s = _at_beats(e.onset_s, beats_s)
    # From here on time runs evenly from tap to tap, so that the tempo no longer bends.
    return _Clock(at_beats * beat_s, beat_s * TICKS / beat, TAPPED_SPREAD, TAPPED_WANDER, at_beats[:-1] * beat,
                  TAP_S / beat_s * beat)


@dataclass(frozen=True, eq=False)
class _Model:
    """The hidden Markov model of N notes in a bar of B ticks, with D values and T tempi.

    place_log: N x B, of a note's degree, move, breath and tap at each place. emission: N times D x T, density of the
    time from each onset to the next. tempo_transition: N times T x T, even. tempo_prior, log_tempo: T.
    value_p, ending_p: B x D, probability of a value at a place, and of the last one; last_p: B, of the last place.
    source, target: B x D, the place that a note of a value came from, and that it leads to.
    """

    first_log: F
    place_log: F
    emission: list[F]
    tempo_transition: list[F]
    tempo_prior: F
    log_tempo: F
    value_p: F
    ending_p: F
    last_p: F
    source: I64
    target: I64


def _model(e: Evidence, time: Time, style: Style, quarter_s: float | None, beats_s: Sequence[float],
           sharpness: float) -> _Model:
    p, bar = prior(time, style), ticks_of(time.quarters)
    clock = _clock(e, time, quarter_s, beats_s)
    log_tempo = np.linspace(np.log(FASTEST_S), np.log(SLOWEST_S), TEMPI)
    interval_s = np.maximum(np.diff(clock.onset_s), 0.02)
    values, places = np.arange(1, MOST_TICKS + 1)[None, :], np.arange(bar)[:, None]
    return _Model(
        first_log=p.first, place_log=_place_log(e, p, clock, ticks_of(time.beat)),
        emission=_fixed(_emission(interval_s, log_tempo, sharpness), e),
        tempo_transition=_tempo_transition(interval_s, log_tempo, clock.wander),
        tempo_prior=_tempo_prior(clock, time, log_tempo), log_tempo=log_tempo,
        value_p=np.exp(p.value[:, 1:]), ending_p=np.exp(p.ending[:, 1:]), last_p=np.exp(p.last),
        source=(places - values) % bar, target=(places + values) % bar)


def _tempo_prior(clock: _Clock, time: Time, log_tempo: F) -> F:
    """T logarithms: near a tempo that is known, else such that the beat is near the pulse that people choose."""
    if clock.quarter_s is None:
        out = -0.5 * ((log_tempo + np.log(float(time.beat)) - np.log(BEAT_S)) / BEAT_SPREAD) ** 2
    else:
        out = -0.5 * ((log_tempo - np.log(np.clip(clock.quarter_s, FASTEST_S, SLOWEST_S))) / clock.spread) ** 2
    out -= np.log(np.exp(out).sum())
    return np.asarray(out)


def _place_log(e: Evidence, p: Prior, clock: _Clock, beat: int) -> F:
    """N x B; see `_Model`. beat: ticks."""
    bar = len(p.first)
    out = np.zeros((len(e.degree), bar))
    for i in range(len(out)):
        if e.degree[i] >= 0:
            out[i] += DEGREE_WEIGHT * p.degree[:, e.degree[i]]
        if e.move[i] >= 0:
            out[i] += MOVE_WEIGHT * p.move[:, e.move[i]]
        if clock.phase is not None:
            off = (np.arange(bar) - clock.phase[i] + beat / 2) % beat - beat / 2
            out[i] += np.log(np.exp(-0.5 * (off / clock.phase_spread) ** 2) + 0.01)
        if i:
            out[i] += PHRASE_WEIGHT * p.phrase[:, int(e.phrase[i])]
    return out


def _emission(interval_s: F, log_tempo: F, sharpness: float) -> list[F]:
    """N times D x T: density of each time between onsets, for every value at every tempo."""
    values = np.arange(1, MOST_TICKS + 1)
    expected = values[:, None] / TICKS * np.exp(log_tempo)[None, :]  # seconds
    spread = np.sqrt(((LENGTH_SPREAD * expected) ** 2 + 2 * ONSET_S**2) / sharpness)
    out = []
    for i, seconds in enumerate(interval_s):
        if i == len(interval_s) - 1:  # the last note may be held or cut short
            off = np.log(max(seconds, 0.05) / expected)
            density = sum(share * np.exp(-0.5 * (off / s) ** 2) / s for s, share in LAST_SPREADS) / (
                np.sqrt(2 * np.pi) * seconds)
        else:
            z = (seconds - expected) / spread
            density = np.exp(-0.5 * z * z) / (spread * np.sqrt(2 * np.pi))
        out.append(density + STRAY)
    return out


def _fixed(emission: list[F], e: Evidence) -> list[F]:
    """With the values that a person has given: these and no others, at any tempo, however long they were sung."""
    for i, ticks in ((i, t) for i, t in e.forbidden if t <= MOST_TICKS):
        emission[i][ticks - 1] = STRAY * 1e-6
    for density, ticks in zip(emission, e.fixed, strict=False):
        if 0 < ticks <= MOST_TICKS:
            density[:] = STRAY * 1e-6
            density[ticks - 1] = 1.0
    return emission


def _tempo_transition(interval_s: F, log_tempo: F, wander: float) -> list[F]:
    """N times T x T, even: how the tempo wanders from one note to the next, the more the longer the note."""
    step = log_tempo[1] - log_tempo[0]
    apart = np.abs(np.subtract.outer(np.arange(TEMPI), np.arange(TEMPI)))
    out = []
    for seconds in interval_s:
        sigma = max(wander * np.sqrt(max(seconds, 0.1) / 0.5), step * 0.5)
        k = np.exp(-0.5 * (np.arange(TEMPI) * step / sigma) ** 2)
        k[k < 0.01] = 0.0  # beyond three times sigma
        out.append((k / (2 * k.sum() - k[0]))[apart])
    return out


@dataclass(frozen=True, eq=False)
class _Forward:
    """alpha: N times B x T, scaled to a sum of 1. ending: B x T, density of the last note. log_likelihood: of all."""

    alpha: list[F]
    ending: F
    log_likelihood: float


def _forward(m: _Model) -> _Forward:
    arriving_p = m.value_p[m.source, np.arange(MOST_TICKS)[None, :]]  # B x D, by the place where the note ends
    alpha = np.exp(m.first_log + m.place_log[0])[:, None] * np.exp(m.tempo_prior)[None, :]
    scale_log = 0.0
    alphas = []
    for i in range(len(m.place_log)):
        total = alpha.sum()
        alpha = alpha / total
        scale_log += float(np.log(total))
        alphas.append(alpha)
        if i + 1 < len(m.place_log):
            moved = (alpha[m.source] * arriving_p[:, :, None] * m.emission[i][None]).sum(axis=1)
            alpha = (moved @ m.tempo_transition[i]) * np.exp(m.place_log[i + 1])[:, None]
    ending = m.last_p[:, None] * np.einsum("bd,dt->bt", m.ending_p, m.emission[-1])
    total = float((alphas[-1] * ending).sum())
    return _Forward(alphas, ending, scale_log + float(np.log(total + 1e-300)))


@dataclass(frozen=True, eq=False)
class _Posterior:
    """value: N x (MOST_TICKS + 1), rows sum to 1. place: N x B, not scaled. tempo: N x T, rows sum to 1."""

    value: F
    place: F
    tempo: F


def _backward(m: _Model, forward: _Forward) -> _Posterior:
    n, bar = m.place_log.shape
    value, place, tempo = np.zeros((n, MOST_TICKS + 1)), np.zeros((n, bar)), np.zeros((n, TEMPI))
    alphas = forward.alpha
    beta = forward.ending / forward.ending.sum()
    for i in range(n - 1, -1, -1):
        if i == n - 1:
            both = alphas[i][:, None, :] * m.last_p[:, None, None] * m.ending_p[:, :, None] * m.emission[i][None]
        else:
            ahead = (beta * np.exp(m.place_log[i + 1])[:, None]) @ m.tempo_transition[i]
            joint = m.value_p[:, :, None] * m.emission[i][None] * ahead[m.target]  # B x D x T
            both = alphas[i][:, None, :] * joint
            beta = joint.sum(axis=1)
            beta /= beta.sum()
        value[i, 1:] = both.sum(axis=(0, 2))
        gamma = alphas[i] * beta
        place[i] = gamma.sum(axis=1)
        tempo[i] = gamma.sum(axis=0) / gamma.sum()
    value /= value.sum(axis=1, keepdims=True)
    return _Posterior(value, place, tempo)


def likelihood(e: Evidence, time: Time, quarter_s: float | None = None, beats_s: Sequence[float] = (),
               style: Style = Style.SONG) -> float:
    """Logarithm of how likely the onsets of some notes are in a time signature, all readings together (see `read`)."""
    return _forward(_model(e, time, style, quarter_s, beats_s, 1.0)).log_likelihood


def read(e: Evidence, time: Time, quarter_s: float | None = None, beats_s: Sequence[float] = (),
         sharpness: float = 1.0, style: Style = Style.SONG) -> list[Reading]:
    """The readings of notes in one time signature by the counts of one style, one for each likely place of the first note.

    quarter_s: seconds a crotchet where it is given, else None. beats_s: times of tapped beats (at least three), which
    then lead. sharpness: how many takes stand behind the onsets.
    """
    m = _model(e, time, style, quarter_s, beats_s, sharpness)
    forward = _forward(m)
    posterior = _backward(m, forward)
    # The likeliest path can count twice as fast as the readings together do; it is sought near their tempo.
    near = np.stack([np.convolve(row, np.ones(2 * NEAR_TEMPI + 1), "same") for row in posterior.tempo])
    middle = near.argmax(axis=1)
    allowed = np.abs(np.arange(TEMPI)[None, :] - middle[:, None]) <= 2 * NEAR_TEMPI
    tempo = (posterior.tempo * allowed * m.log_tempo).sum(axis=1) / (posterior.tempo * allowed).sum(axis=1)
    paths = _paths(m, allowed)
    firsts = posterior.place[0]
    readings: list[Reading] = []
    for first in np.argsort(-firsts)[:MOST_FIRSTS].tolist():
        share = float(firsts[first] / firsts.sum())
        if readings and share < LEAST_FIRST:
            break
        begin = np.where(np.arange(len(firsts)) == first, m.first_log, IMPOSSIBLE)
        places, ticks, path_log = _viterbi(paths, begin)
        readings.append(Reading(time, places, ticks, np.exp(tempo), posterior.value,
                                forward.log_likelihood + float(np.log(share + 1e-12)), path_log, style))
    return readings


@dataclass(frozen=True, eq=False)
class _Paths:
    """Logarithms of a `_Model`, with the T tempi alone that are allowed at some note.

    arriving: B x D, of a value by the place where it ends; last: B x D, of the last place and value. allowed: N x T, 0 or
    IMPOSSIBLE. emission, transition: N times D x T and T x T.
    """

    m: _Model
    arriving: F
    last: F
    allowed: F
    tempo_prior: F
    emission: list[F]
    transition: list[F]


def _paths(m: _Model, allowed: NDArray[np.bool_]) -> _Paths:
    """allowed: N x T, the tempi at each note."""
    some = np.flatnonzero(allowed.any(axis=0))
    tempi = slice(int(some[0]), int(some[-1]) + 1)
    with np.errstate(divide="ignore"):
        return _Paths(
            m, np.log(m.value_p)[m.source, np.arange(MOST_TICKS)], np.log(m.last_p[:, None] * m.ending_p),
            np.where(allowed[:, tempi], 0.0, IMPOSSIBLE), m.tempo_prior[tempi], [np.log(f[:, tempi]) for f in m.emission],
            [np.log(k[tempi, tempi]) for k in m.tempo_transition])


def _viterbi(p: _Paths, first_log: F) -> tuple[I64, I64, float]:
    """The most probable path from a first place: places and values (N each), and its logarithm."""
    m, n = p.m, len(p.m.place_log)
    score = first_log[:, None] + m.place_log[0][:, None] + p.tempo_prior[None, :] + p.allowed[0]
    back: list[tuple[I64, I64]] = []
    for i in range(n - 1):
        joint = score[m.source] + p.arriving[:, :, None] + p.emission[i][None]  # B x D x T, by the place where notes end
        value = joint.argmax(axis=1)
        moved = joint.max(axis=1)[:, :, None] + p.transition[i][None]  # B x T x T
        back.append((value, moved.argmax(axis=1)))
        score = moved.max(axis=1) + m.place_log[i + 1][:, None] + p.allowed[i + 1]
    final = score[:, None, :] + (p.last[:, :, None] + p.emission[-1][None])
    at, d, tau = (int(x) for x in np.unravel_index(int(final.argmax()), final.shape))
    places, ticks = np.zeros(n, dtype=np.int64), np.zeros(n, dtype=np.int64)
    places[-1], ticks[-1] = at, d + 1
    for i in range(n - 2, -1, -1):
        value, tempo = back[i]
        tau = int(tempo[at, tau])
        d = int(value[at, tau])
        at = int(m.source[at, d])
        places[i], ticks[i] = at, d + 1
    return places, ticks, float(final.max())
