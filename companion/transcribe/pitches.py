"""Written pitches and key from sung pitches, with the singer's tuning drift taken out on the way.

A hidden Markov model for each of the 24 keys. States are (tuning, written note); a sung pitch is a written one, plus the
singer's tuning at that moment, plus a miss. The tuning wanders from note to note, more over a wide move (untrained
voices shrink their intervals: Pfordresher and Brown 2007), and what is written keeps to a key: which degrees follow each
other, and on which a tune begins and ends, was counted on folk tunes (`folk_counts`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from companion.transcribe.folk_counts import MODES, degree_prior
from companion.tune import Key

F = NDArray[np.float64]
I64 = NDArray[np.int64]

OFFSET_STEP = 0.1  # semitones of the grid of tuning
OFFSET_REACH = 2.5  # semitones that a take may drift to each side
REACH = 1  # a note may be meant a semitone from the nearest
WANDER = 0.06  # semitones, spread of the change of tuning from note to note ...
WANDER_PER = 0.02  # ... and for each semitone of the move
#: Probability that the tuning jumps anywhere within a semitone or so: so rare that a few notes outside of the key, or a last note
#: that is not the keynote, are what they are, and only a longer strain says that the singer has slipped to another key.
REKEY = 0.0001
MISS = 0.2  # semitones, spread of a long note about its written pitch ...
MISS_SHORT = 0.012  # ... and so much more divided by its seconds
WILD = 0.04  # probability of a miss of any size
#: How much the counted degrees weigh: neighbouring degrees are not independent, so less than in full. Chosen with REKEY on 42
#: takes of counted tunes (0.5 loses keys).
KEY_WEIGHT = 0.7
WIDE = 6.0  # semitones of range from which on shrunk intervals show
#: Factors by which untrained voices shrink all intervals, and what each costs (logarithm): far ones are rarer.
SHRINK = ((0.96, 1.0), (0.92, 2.5), (0.87, 4.0))
OPENING = 8  # notes whose tuning says which key's name is the nearest
SQRT_2_PI = 2.507


@dataclass(frozen=True, eq=False)
class Pitches:
    """midi: N written notes. tuning: N, semitones by which the singer was above equal temperament.

    key, confidence: the key and its probability; runner_up, and its probability. tonic: pitch class of the keynote.
    posterior: N x 3, probability of each note being a semitone lower than `midi`, as it is, a semitone higher.
    """

    midi: I64
    tuning: F
    key: Key
    confidence: float
    runner_up: Key
    runner_up_confidence: float
    tonic: int
    posterior: F


def key_of(tonic: int, mode: str) -> Key:
    """The key on a keynote (0 = C), of two that sound alike the one with fewer signs (G flat at six)."""
    major = (tonic + (3 if mode == "minor" else 0)) % 12
    around = (7 * major) % 12
    return Key(around if around < 6 else around - 12, mode)


def find_pitches(sung: Sequence[float], seconds: Sequence[float], tonic: int | None = None,
                 mode: str | None = None) -> Pitches:
    """Written pitches and key of N sung notes (MIDI numbers with fractions, and how long each lasted).

    tonic, mode: where a person has given them, only such keys are weighed. In a tune of some range, intervals shrunk
    all over are tried as well.
    """
    x = np.asarray(sung, dtype=float)
    best, best_log = _find(x, seconds, tonic, mode)
    if np.ptp(x) < WIDE:
        return best
    for factor, penalty in SHRINK:
        other, log_likelihood = _find(x[0] + (x - x[0]) / factor, seconds, tonic, mode)
        if log_likelihood - penalty > best_log:
            # What the shrinking took away is part of the singer's tuning.
            best, best_log = replace(other, tuning=x - other.midi), log_likelihood - penalty
    return best


@dataclass(frozen=True, eq=False)
class _Model:
    """The model of N notes with O offsets of the tuning and M written notes about each, in K keys.

    keys: K pairs of keynote and mode (index in MODES). offsets: O semitones. base: N, the lowest of the M written notes.
    first: O, of the tuning at the start. emission: N x O x M. first_degree, last_degree: K x 1 x M.
    tuning_transition: N - 1 times O x O, even. degree_transition: N - 1 times K x M x M.
    """

    keys: list[tuple[int, int]]
    offsets: F
    base: I64
    first: F
    emission: F
    first_degree: F
    last_degree: F
    tuning_transition: list[F]
    degree_transition: list[F]


def _model(sung: F, seconds: Sequence[float], tonic: int | None, mode: str | None) -> _Model:
    keys = [(t, m) for m in range(len(MODES)) for t in range(12)
            if (tonic is None or t == tonic) and (mode is None or MODES[m] == mode)]
    offsets = np.arange(-OFFSET_REACH, OFFSET_REACH + 1e-9, OFFSET_STEP)
    base = np.round(sung - OFFSET_REACH).astype(np.int64) - 2
    notes = base[:, None] + np.arange(int(2 * OFFSET_REACH) + 5)  # N x M
    tonics, modes = np.array([k[0] for k in keys]), np.array([k[1] for k in keys])
    degree = (notes[None, :, :] - tonics[:, None, None]) % 12  # K x N x M
    prior = degree_prior()
    following = np.exp(KEY_WEIGHT * prior.following)
    return _Model(
        keys=keys, offsets=offsets, base=base, first=_first_tuning(sung, offsets),
        emission=_emission(sung, np.asarray(seconds, dtype=float), offsets, notes),
        first_degree=np.exp(KEY_WEIGHT * prior.first[modes[:, None], degree[:, 0]])[:, None, :],
        last_degree=np.exp(prior.last[modes[:, None], degree[:, -1]])[:, None, :],
        tuning_transition=[_tuning_transition(offsets, move) for move in np.abs(np.diff(sung))],
        degree_transition=[following[modes[:, None, None], degree[:, i, :, None], degree[:, i + 1, None, :]]
                           for i in range(len(sung) - 1)])


def _first_tuning(sung: F, offsets: F) -> F:
    """The tuning at the start lies within half a semitone of where the first notes lie between two piano keys."""
    turn = np.exp(2j * np.pi * sung[:OPENING]).sum()
    start = float(np.angle(turn) / (2 * np.pi))
    out = np.where(np.abs(offsets - start) <= 0.5, 1.0, 1e-6)
    out /= out.sum() * (2 * REACH + 1)
    return out


def _emission(sung: F, seconds: F, offsets: F, notes: I64) -> F:
    """N x O x M: density of each sung pitch, for every written note and offset; 0 for notes too far off."""
    nearest = np.round(sung[:, None] - offsets[None, :])
    off = sung[:, None, None] - offsets[None, :, None] - notes[:, None, :]
    spread = (MISS + MISS_SHORT / np.maximum(seconds, 0.05))[:, None, None]
    density = (1 - WILD) * np.exp(-0.5 * (off / spread) ** 2) / spread / SQRT_2_PI + WILD / 3
    return np.where(np.abs(notes[:, None, :] - nearest[:, :, None]) <= REACH, density, 0.0)


def _tuning_transition(offsets: F, move: float) -> F:
    """O x O, even: how the tuning changes over a move of so many semitones."""
    gap = np.subtract.outer(offsets, offsets)
    sigma = WANDER + WANDER_PER * min(move, 12.0)
    wander = np.exp(-0.5 * (gap / sigma) ** 2) / sigma
    return np.asarray(((1 - REKEY) * wander + REKEY * np.exp(-np.abs(gap) / 0.7) / 1.4) * OFFSET_STEP)


def _find(sung: F, seconds: Sequence[float], tonic: int | None, mode: str | None) -> tuple[Pitches, float]:
    """`find_pitches` for intervals as they are, and the logarithm of how likely it is."""
    m = _model(sung, seconds, tonic, mode)
    alphas, key_log = _forward(m)
    weight = np.exp(key_log - key_log.max())
    weight /= weight.sum()
    order = np.argsort(-weight)
    best = int(order[0])
    other = int(order[1]) if len(order) > 1 else best
    path = _viterbi(m, alphas[0][best], best)
    notes = np.array([note for _, note in path])
    posterior = _note_posterior(m, [alpha[best] for alpha in alphas], best)
    return Pitches(
        midi=m.base + notes, tuning=np.array([m.offsets[o] for o, _ in path]),
        key=_named(m.keys[best]), confidence=float(weight[best]), runner_up=_named(m.keys[other]),
        runner_up_confidence=float(weight[other]) if other != best else 0.0, tonic=m.keys[best][0],
        posterior=np.stack([posterior[np.arange(len(sung)), notes + d] for d in (-1, 0, 1)], axis=1),
    ), float(np.log(np.exp(key_log - key_log.max()).sum()) + key_log.max())


def _named(key: tuple[int, int]) -> Key:
    return key_of(key[0], MODES[key[1]])


def _forward(m: _Model) -> tuple[list[F], F]:
    """N times K x O x M, each key's scaled to a sum of 1; and K, the logarithm of each key's likelihood."""
    alpha = m.first[:, None] * m.emission[0] * m.first_degree
    key_log = np.zeros(len(m.keys))
    alphas = []
    for i in range(len(m.emission)):
        total = alpha.sum(axis=(1, 2))
        alpha = alpha / total[:, None, None]
        key_log += np.log(total + 1e-300)
        alphas.append(alpha)
        if i + 1 < len(m.emission):
            alpha = (m.tuning_transition[i] @ (alpha @ m.degree_transition[i])) * m.emission[i + 1]
    return alphas, key_log + np.log((alphas[-1] * m.last_degree).sum(axis=(1, 2)) + 1e-300)


def _note_posterior(m: _Model, alphas: list[F], key: int) -> F:
    """N x M: probability of each written note in one key, from that key's forward pass."""
    beta = np.broadcast_to(m.last_degree[key], m.emission[0].shape)
    out = np.zeros((len(alphas), m.emission.shape[2]))
    for i in range(len(alphas) - 1, -1, -1):
        both = alphas[i] * beta
        out[i] = both.sum(axis=0) / both.sum()
        if i:
            beta = m.tuning_transition[i - 1] @ (m.emission[i] * beta) @ m.degree_transition[i - 1][key].T
            beta = beta / beta.sum()
    return out


def _viterbi(m: _Model, first: F, key: int) -> list[tuple[int, int]]:
    """The most probable path in one key: offset and written note, as indices. first: O x M, of the first note."""
    score = np.log(first + 1e-300)
    back = []
    for i in range(len(m.emission) - 1):
        # First over the note before, then over the tuning before.
        by_note = score[:, :, None] + np.log(m.degree_transition[i][key])[None]  # O x M x M
        note_before = by_note.argmax(axis=1)
        by_offset = by_note.max(axis=1)[:, None, :] + np.log(m.tuning_transition[i] + 1e-300)[:, :, None]  # O x O x M
        back.append((note_before, by_offset.argmax(axis=0)))
        score = by_offset.max(axis=0) + np.log(m.emission[i + 1] + 1e-300)
    o, note = (int(v) for v in np.unravel_index(int((score + np.log(m.last_degree[key])).argmax()), score.shape))
    path = [(o, note)]
    for note_before, offset_before in reversed(back):
        o = int(offset_before[o, note])
        note = int(note_before[o, note])
        path.append((o, note))
    return path[::-1]
