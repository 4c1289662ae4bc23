"""Written pitches and key out of sung pitches: the singer's tuning drift taken out on the way.

A sung pitch is a written one, plus the singer's tuning at that moment, plus a miss. The tuning wanders from
note to note, more over a wide move (untrained voices shrink their intervals: Pfordresher and Brown 2007), and
what is written keeps to a key: which degrees follow each other, and on which a tune begins and ends, was
counted on folk tunes (`counts.json`). All 24 keys are weighed (forward and backward).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from companion.transcribe.rhythm import counts
from companion.tune import Key

F = NDArray[np.float64]
I64 = NDArray[np.int64]

OFFSET_STEP = 0.1  # semitones of the grid of tuning
OFFSET_REACH = 2.5  # semitones that a take may drift to each side
REACH = 1  # a note may be meant a semitone from the nearest
WANDER = 0.06  # semitones, spread of the change of tuning from note to note ...
WANDER_PER = 0.02  # ... and for each semitone of the move
REKEY = 0.01  # chance that the tuning jumps anywhere within a semitone or so
MISS = 0.2  # semitones, spread of a long note about its written pitch ...
MISS_SHORT = 0.012  # ... and so much more divided by its seconds
WILD = 0.04  # chance of a miss of any size
#: How much the counted degrees weigh: neighbouring degrees are not independent, so less than in full.
KEY_WEIGHT = 0.9
WIDE = 6.0  # semitones of reach from which on shrunk intervals can be told
#: Factors by which untrained voices shrink all intervals, and what each costs (logarithm): far ones are rarer.
SHRINK = ((0.96, 1.0), (0.92, 2.5), (0.87, 4.0))
MODES = ("major", "minor")
OPENING = 8  # notes whose tuning says which key's name is the nearest


@dataclass(frozen=True)
class Pitches:
    """midi: N written notes. tuning: N, semitones by which the singer was above equal temperament.

    key, sure: the key and its probability; runner_up, and its probability.
    chance: N x 3, probability of each note being a semitone lower than `midi`, as it is, a semitone higher.
    """

    midi: I64
    tuning: F
    key: Key
    sure: float
    runner_up: Key
    runner_up_sure: float
    tonic: int
    chance: F


@cache
def _tables() -> tuple[F, F, F]:
    """Logarithms: first degree 2 x 12, next degree 2 x 12 x 12, last degree 2 x 12 (major, minor)."""
    c = counts()["degrees"]
    first, follow, last = [], [], []
    for mode in MODES:
        one = np.array(c[mode]["first"], dtype=float)
        two = np.array(c[mode]["next"], dtype=float).reshape(12, 12)
        end = np.array(c[mode]["last"], dtype=float)
        usual = (two.sum(axis=0) + 2.0) / (two.sum() + 24.0)
        first.append(np.log((one + 10 * usual) / (one + 10 * usual).sum()))
        mixed = two + 10.0 * usual
        follow.append(np.log(mixed / mixed.sum(axis=1, keepdims=True)))
        last.append(np.log((end + 1.0 * usual * 12 / 12) / (end + usual).sum()))
    return np.array(first), np.array(follow), np.array(last)


def key_of(tonic: int, mode: str) -> Key:
    """The key on a keynote (0 = C), of two that sound alike the one with fewer signs (G flat at six)."""
    major = (tonic + (3 if mode == "minor" else 0)) % 12
    around = (7 * major) % 12
    return Key(around if around < 6 else around - 12, mode)


def find(sung: Sequence[float], seconds: Sequence[float], tonic: int | None = None,
         mode: str | None = None) -> Pitches:
    """Written pitches and key of N sung notes (MIDI numbers with fractions, and how long each lasted).

    tonic, mode: where a person has said them, only such keys are weighed. In a tune with reach, intervals shrunk
    all over are tried as well.
    """
    x = np.asarray(sung, dtype=float)
    best, best_score = _find(x, seconds, tonic, mode)
    if np.ptp(x) < WIDE:
        return best
    for factor, penalty in SHRINK:
        other, score = _find(x[0] + (x - x[0]) / factor, seconds, tonic, mode)
        if score - penalty > best_score:
            # What the shrinking took away is part of the singer's tuning.
            best, best_score = replace(other, tuning=x - other.midi), score - penalty
    return best


def _find(sung: F, seconds: Sequence[float], tonic: int | None, mode: str | None) -> tuple[Pitches, float]:
    """`find` for intervals as they are, and the logarithm of how likely it is."""
    x, length = sung, np.asarray(seconds, dtype=float)
    n = len(x)
    first, follow, last = _tables()
    keys = [(t, m) for m in range(2) for t in range(12)
            if (tonic is None or t == tonic) and (mode is None or MODES[m] == mode)]
    # The tuning at the start lies within half a semitone of where the first notes lie between two piano keys.
    turn = np.exp(2j * np.pi * x[:OPENING]).sum()
    start = float(np.angle(turn) / (2 * np.pi))
    offsets = np.arange(-OFFSET_REACH, OFFSET_REACH + 1e-9, OFFSET_STEP)
    # N x O x M: what is sung as each of some written notes (from `base` on), at each offset of the tuning.
    width = int(2 * OFFSET_REACH) + 5
    base = np.round(x - OFFSET_REACH).astype(np.int64) - 2
    notes = base[:, None] + np.arange(width)
    nearest = np.round(x[:, None] - offsets[None, :])
    off = x[:, None, None] - offsets[None, :, None] - notes[:, None, :]
    spread = (MISS + MISS_SHORT / np.maximum(length, 0.05))[:, None, None]
    emit = (1 - WILD) * np.exp(-0.5 * (off / spread) ** 2) / spread / 2.507 + WILD / 3
    emit = np.where(np.abs(notes[:, None, :] - nearest[:, :, None]) <= REACH, emit, 0.0)
    gap = np.subtract.outer(offsets, offsets)
    begin = np.where(np.abs(offsets - start) <= 0.5, 1.0, 1e-6)
    begin /= begin.sum() * (2 * REACH + 1)
    tonics, modes = np.array([k[0] for k in keys]), np.array([k[1] for k in keys])
    degree = (notes[None, :, :] - tonics[:, None, None]) % 12  # K x N x M
    alpha = begin[:, None] * emit[0] * np.exp(KEY_WEIGHT * first[modes[:, None], degree[:, 0]])[:, None, :]  # K x O x M
    follows = np.exp(KEY_WEIGHT * follow)
    scale = np.zeros(len(keys))
    alphas, kernels, steps = [], [], []
    for i in range(n):
        total = alpha.sum(axis=(1, 2))
        alpha = alpha / total[:, None, None]
        scale += np.log(total + 1e-300)
        alphas.append(alpha)
        if i == n - 1:
            break
        sigma = WANDER + WANDER_PER * min(abs(x[i + 1] - x[i]), 12.0)
        kernel = (1 - REKEY) * np.exp(-0.5 * (gap / sigma) ** 2) / sigma + REKEY * np.exp(-np.abs(gap) / 0.7) / 1.4
        kernels.append(kernel * OFFSET_STEP)  # O x O, even
        steps.append(follows[modes[:, None, None], degree[:, i, :, None], degree[:, i + 1, None, :]])  # K x M x M
        alpha = (kernels[i] @ (alpha @ steps[i])) * emit[i + 1]
    end = np.exp(last[modes[:, None], degree[:, n - 1]])[:, None, :]
    total = (alphas[-1] * end).sum(axis=(1, 2))
    score = scale + np.log(total + 1e-300)
    weight = np.exp(score - score.max())
    weight /= weight.sum()
    order = np.argsort(-weight)
    best = int(order[0])
    other = int(order[1]) if len(order) > 1 else best
    # Backward in the best key.
    beta = np.broadcast_to(end[best], emit[0].shape)
    marginal = np.zeros((n, width))
    for i in range(n - 1, -1, -1):
        both = alphas[i][best] * beta
        marginal[i] = both.sum(axis=0) / both.sum()
        if i:
            beta = kernels[i - 1] @ (emit[i] * beta) @ steps[i - 1][best].T
            beta = beta / beta.sum()
    # The best path in the best key: first over the note before, then over the tuning before.
    score_path = np.log(alphas[0][best] + 1e-300)
    back = []
    for i in range(n - 1):
        by_note = score_path[:, :, None] + np.log(steps[i][best])[None]  # O x M x M
        note_before = by_note.argmax(axis=1)
        by_offset = by_note.max(axis=1)[:, None, :] + np.log(kernels[i] + 1e-300)[:, :, None]  # O x O x M
        back.append((note_before, by_offset.argmax(axis=0)))
        score_path = by_offset.max(axis=0) + np.log(emit[i + 1] + 1e-300)
    o, m = (int(v) for v in np.unravel_index(int((score_path + np.log(end[best])).argmax()), score_path.shape))
    path = [(o, m)]
    for note_before, offset_before in reversed(back):
        o = int(offset_before[o, m])
        m = int(note_before[o, m])
        path.append((o, m))
    path.reverse()
    chosen = np.array([m for _, m in path])
    midi = base + chosen
    chance = np.stack([marginal[np.arange(n), chosen + d] for d in (-1, 0, 1)], axis=1)
    tuning = np.array([offsets[o] for o, _ in path])
    key, second = keys[best], keys[other]
    return Pitches(midi, tuning, key_of(key[0], MODES[key[1]]), float(weight[best]),
                   key_of(second[0], MODES[second[1]]), float(weight[other]) if other != best else 0.0,
                   key[0], chance), float(np.log(np.exp(score - score.max()).sum()) + score.max())
