"""Values, bars and tempo out of the times at which notes begin: a hidden Markov model over metre and tempo.

For each metre the states are (where in the bar a note begins, in quarters of a crotchet; how long a crotchet
lasts at that moment). From note to note the tempo wanders a little and the place in the bar moves on by the
note's value. How probable each value is at each place, in each metre, was counted on folk tunes
(`counts.json`, see `tests/benchmarks/notate_counts.py`), and so was where in the bar phrases begin, and
which notes of the scale and which moves stand where. All readings are weighed together (forward and backward),
so every value comes with how sure it is and what else it might be.
"""

from __future__ import annotations

import itertools
import json
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

F = NDArray[np.float64]
I64 = NDArray[np.int64]

TICKS = 4  # to a crotchet: a semiquaver is the shortest value written
MOST_TICKS = 32  # the longest time from a note to the next: two bars of four
#: Metres that can be written: name, upper figure, lower figure.
METRES = {"2/4": (2, 4), "3/4": (3, 4), "4/4": (4, 4), "6/8": (6, 8), "9/8": (9, 8), "12/8": (12, 8)}
#: The same by how many beats are counted.
BY_BEATS = {upper: name for name, (upper, _) in METRES.items()}
#: Those that are weighed where none is given. In 9/8 and 12/8 there are too few folk tunes to count; they are read, when
#: they are given, by what was counted in 6/8: its first beat stands for their first (12/8: and third), else its second.
GUESSED = ("2/4", "3/4", "4/4", "6/8")
COMPOUND = ("9/8", "12/8")
SLOWEST_S, FASTEST_S = 1.25, 0.2  # seconds a crotchet
TEMPI = 56  # steps of tempo between them, 3.3 % each
#: Seconds a beat (crotchet; dotted crotchet in 6/8) and the spread of its logarithm: the pulse that people
#: choose lies near half a second (Fraisse 1982; van Noorden and Moelants 1999; from memory).
BEAT_S, BEAT_SPREAD = 0.54, 0.3
WANDER = 0.035  # spread of the tempo's logarithm from one note to the next, for a note of a crotchet
LENGTH_SPREAD = 0.06  # spread of the logarithm of a note's own length
#: The same of the last note, which is mostly sung as written, now and then held or cut short: spread and share.
LAST_SPREADS = ((0.1, 0.7), (0.35, 0.3))
ONSET_S = 0.035  # spread in seconds of when an onset is heard: consonants take time
STRAY = 0.002  # density left for a length that fits no value
MOST_FIRSTS, LEAST_FIRST = 3, 0.01  # places of the first note that are followed up in each metre
NEAR_TEMPI = 4  # steps of tempo, 14 %, that count as one tempo
GIVEN_SPREAD = 0.05  # how far (logarithm) a singer's tempo may lie from one that was said
FEWEST_BEATS = 3  # fewer taps than this tell no tempo
TAPPED_SPREAD, TAPPED_WANDER = 0.02, 0.01  # what is left of both when each beat was tapped
TAP_REACH = 2  # taps on each side over which a hand's unevenness is smoothed
TAP_S = 0.06  # spread in seconds between a tap and the note that belongs to it


@dataclass(frozen=True)
class Evidence:
    """What is known of N notes. onset_s: N + 1, the last being where the last note ends.

    degree: 0 to 11 semitones above the keynote, or -1; move: category of the move into the note (see `moves`),
    -1 for the first; phrase: True where a breath or silence comes before.
    """

    onset_s: F
    degree: I64
    move: I64
    phrase: NDArray[np.bool_]


@dataclass(frozen=True)
class Reading:
    """One metre's reading of N notes. place: N, ticks from the bar line. ticks: N, from each onset to the next
    (the last: to the end of its note). quarter_s: N, seconds a crotchet at each note.
    chance: N x (MOST_TICKS + 1), probability of each value. log_likelihood: of all readings in this metre.
    """

    metre: str
    place: I64
    ticks: I64
    quarter_s: F
    chance: F
    log_likelihood: float
    best: float = 0.0


@cache
def counts() -> dict[str, Any]:
    """The table of counts, see the module's head."""
    data: dict[str, Any] = json.loads((Path(__file__).parent / "counts.json").read_text(encoding="utf-8"))
    return data


def counted(metre: str) -> dict[str, Any]:
    """What was counted in a metre, or in the one that stands for it (see GUESSED)."""
    found: dict[str, Any] = counts()["metres"]["6/8" if metre in COMPOUND else metre]
    return found


def bar_ticks(metre: str) -> int:
    """Ticks in a bar."""
    upper, lower = METRES[metre]
    return TICKS * 4 * upper // lower


def moves(midi: Sequence[int]) -> I64:
    """Category of the move into each note: 0 level, 1 and 2 step up and down, 3 and 4 more; -1 for the first."""
    out = [-1]
    for a, b in itertools.pairwise(midi):
        d = b - a
        out.append(0 if d == 0 else 1 if 0 < d <= 2 else 2 if -2 <= d < 0 else 3 if d > 0 else 4)
    return np.array(out, dtype=np.int64)


@cache
def _tables(metre: str) -> dict[str, F]:
    """Logarithms of probabilities for one metre, smoothed. value: B x (MOST_TICKS + 1)."""
    if metre in COMPOUND:
        at = np.arange(bar_ticks(metre))
        at = at % 12 if metre == "12/8" else np.where(at < 6, at, 6 + at % 6)
        return {name: table[at] for name, table in _tables("6/8").items()}
    c = counts()["metres"][metre]
    bar = bar_ticks(metre)
    value = np.zeros((bar, MOST_TICKS + 1))
    for place, row in c["value"].items():
        for ticks, n in row.items():
            value[int(place), min(int(ticks), MOST_TICKS)] += n
    # Smoothed towards what is usual for a value in this metre wherever it stands, then towards anything.
    usual = value.sum(axis=0)
    landing = value.sum(axis=1) / value.sum()  # how usual it is that a note begins at a place
    anywhere = np.zeros_like(value)
    for p in range(bar):
        for d in range(1, MOST_TICKS + 1):
            anywhere[p, d] = (usual[d] / usual.sum() + 1e-4) * (landing[(p + d) % bar] + 1e-3)
        anywhere[p] /= anywhere[p].sum()
    weight = 3.0
    value = (value + weight * anywhere) / (value.sum(axis=1, keepdims=True) + weight)
    value[:, 0] = 0
    out = {"value": np.log(value + 1e-12)}
    first = np.array([c["first"].get(str(p), 0) for p in range(bar)], dtype=float)
    out["first"] = np.log((first + 0.3) / (first + 0.3).sum())
    last = np.array([c["last"].get(str(p), 0) for p in range(bar)], dtype=float)
    out["last"] = np.log((last + 0.3) / (last + 0.3).sum())
    ending = np.zeros((bar, MOST_TICKS + 1))  # the last note has values of its own, whatever follows a bar line
    for place, row in c["ending"].items():
        for ticks, n in row.items():
            ending[int(place), min(int(ticks), MOST_TICKS)] += n
    usual_ending = (ending.sum(axis=0) + 0.2) / (ending.sum() + 0.2 * (MOST_TICKS + 1))
    ending = (ending + 2.0 * usual_ending) / (ending.sum(axis=1, keepdims=True) + 2.0)
    out["ending"] = np.log(ending + 1e-12)
    where = np.array(c["place"], dtype=float) + 2.0
    overall = where / where.sum()
    for name, n in (("degree", 12), ("move", 5), ("phrase", 2)):
        table = np.array(c[name], dtype=float).reshape(bar, n)
        total = table.sum(axis=0) / table.sum()
        smooth = (table + 20.0 * total) / (table.sum(axis=1, keepdims=True) + 20.0)
        out[name] = np.log(smooth / total)
    out["overall"] = np.log(overall)
    return out


#: Chance that a tune has triplets, and that in such a tune three notes that fill a beat or two are one: few have any.
WITH_TRIPLETS, TRIPLET = 0.05, 0.5
EVEN_S = (0.02, 0.06)  # seconds: no singer is taken for more even, or for less, than this
MOST_ODDS = 20.0  # one three alone makes no tune one with triplets

#: How much the notes' pitches, moves and breaths count beside the values.
WEIGHTS = {"degree": 0.5, "move": 0.5, "phrase": 0.7}


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


@dataclass(frozen=True)
class _Forward:
    """The forward pass and what it was made from; see `read`."""

    alphas: list[F]
    fits: list[F]
    kernels: list[F]
    end: F
    place_log: F
    prior: F
    log_tempo: F
    log_likelihood: float
    value_p: F
    last_p: F
    ending_p: F
    source: I64


def likelihood(e: Evidence, metre: str, beat_s: float | None = None, beats_s: Sequence[float] = (),
               sharpness: float = 1.0) -> float:
    """Logarithm of how likely the times of some notes are in a metre, all readings together (see `read`)."""
    return _forward(e, metre, beat_s, beats_s, sharpness).log_likelihood


def _forward(e: Evidence, metre: str, beat_s: float | None, beats_s: Sequence[float], sharpness: float) -> _Forward:
    t = _tables(metre)
    bar = bar_ticks(metre)
    n = len(e.degree)
    beat_ticks = 6 if METRES[metre][1] == 8 else TICKS
    onsets, wander, phase = e.onset_s, WANDER, None
    tempo_spread = GIVEN_SPREAD
    if len(beats_s) >= FEWEST_BEATS:
        at_beats, usual = _at_beats(e.onset_s, beats_s)
        # From here on time runs evenly from tap to tap, so that the tempo no longer bends.
        onsets, wander, tempo_spread = at_beats * usual, TAPPED_WANDER, TAPPED_SPREAD
        beat_s = usual * TICKS / beat_ticks
        phase = at_beats[:-1] * beat_ticks
        phase_spread = TAP_S / usual * beat_ticks
    log_tempo = np.linspace(np.log(FASTEST_S), np.log(SLOWEST_S), TEMPI)
    step = log_tempo[1] - log_tempo[0]
    beat = 1.5 if METRES[metre][1] == 8 else 1.0
    if beat_s is None:
        prior = -0.5 * ((log_tempo + np.log(beat) - np.log(BEAT_S)) / BEAT_SPREAD) ** 2
    else:
        prior = -0.5 * ((log_tempo - np.log(np.clip(beat_s, FASTEST_S, SLOWEST_S))) / tempo_spread) ** 2
    prior -= np.log(np.exp(prior).sum())
    values = np.arange(1, MOST_TICKS + 1)
    expected = values[:, None] / TICKS * np.exp(log_tempo)[None, :]  # D x T seconds
    spread = np.sqrt(((LENGTH_SPREAD * expected) ** 2 + 2 * ONSET_S**2) / sharpness)
    ioi = np.maximum(np.diff(onsets), 0.02)
    place_log = np.zeros((n, bar))
    for i in range(n):
        if e.degree[i] >= 0:
            place_log[i] += WEIGHTS["degree"] * t["degree"][:, e.degree[i]]
        if e.move[i] >= 0:
            place_log[i] += WEIGHTS["move"] * t["move"][:, e.move[i]]
        if phase is not None:
            off = (np.arange(bar) - phase[i] + beat_ticks / 2) % beat_ticks - beat_ticks / 2
            place_log[i] += np.log(np.exp(-0.5 * (off / phase_spread) ** 2) + 0.01)
        if i:
            place_log[i] += WEIGHTS["phrase"] * t["phrase"][:, int(e.phrase[i])]
    # Observation for each note: D x T.
    fits = []
    for i in range(n):
        z = (ioi[i] - expected) / spread
        like = np.exp(-0.5 * z * z) / (spread * np.sqrt(2 * np.pi))
        if i == n - 1:  # the last note may be held or cut short
            off = np.log(max(ioi[i], 0.05) / expected)
            like = sum(share * np.exp(-0.5 * (off / s) ** 2) / s for s, share in LAST_SPREADS) / (np.sqrt(2 * np.pi) * ioi[i])
        fits.append(like + STRAY)
    kernels = []  # T x T, even: how the tempo wanders from one note to the next
    apart = np.abs(np.subtract.outer(np.arange(TEMPI), np.arange(TEMPI)))
    for i in range(n):
        sigma = max(wander * np.sqrt(max(ioi[i], 0.1) / 0.5), step * 0.5)
        k = np.exp(-0.5 * (np.arange(TEMPI) * step / sigma) ** 2)
        k[k < 0.01] = 0.0  # beyond three times sigma
        kernels.append((k / (2 * k.sum() - k[0]))[apart])
    source = (np.arange(bar)[:, None] - values[None, :]) % bar  # B x D: where a note of a value began that ends at a place
    came_p = np.exp(t["value"])[source, values[None, :]]  # B x D, by the place where it ends
    value_p = np.exp(t["value"][:, 1:])  # B x D
    last_p = np.exp(t["last"])
    ending_p = np.exp(t["ending"][:, 1:])

    alpha = np.exp(t["first"] + place_log[0])[:, None] * np.exp(prior)[None, :]
    scale_log = 0.0
    alphas = []
    for i in range(n):
        s = alpha.sum()
        alpha = alpha / s
        scale_log += float(np.log(s))
        alphas.append(alpha)
        if i == n - 1:
            break
        nxt = (alpha[source] * came_p[:, :, None] * fits[i][None]).sum(axis=1)
        alpha = (nxt @ kernels[i]) * np.exp(place_log[i + 1])[:, None]
    end = last_p[:, None] * np.einsum("bd,dt->bt", ending_p, fits[-1])
    total = float((alphas[-1] * end).sum())
    log_likelihood = scale_log + float(np.log(total + 1e-300))
    return _Forward(alphas, fits, kernels, end, place_log, prior, log_tempo, log_likelihood, value_p, last_p,
                    ending_p, source)


def read(e: Evidence, metre: str, beat_s: float | None = None, beats_s: Sequence[float] = (),
         sharpness: float = 1.0) -> list[Reading]:
    """The readings of notes in one metre, one for each likely place of the first note in its bar.

    beat_s: seconds a crotchet where it is given, else None. beats_s: times of tapped beats (at least three), which
    then lead. sharpness: how many takes stand behind the times.
    """
    w = _forward(e, metre, beat_s, beats_s, sharpness)
    t, bar, n = _tables(metre), bar_ticks(metre), len(e.degree)
    alphas, fits, kernels, end = w.alphas, w.fits, w.kernels, w.end
    place_log, log_tempo, log_likelihood = w.place_log, w.log_tempo, w.log_likelihood
    value_p, last_p, ending_p = w.value_p, w.last_p, w.ending_p
    target = (np.arange(bar)[:, None] + np.arange(1, MOST_TICKS + 1)) % bar  # B x D
    # Backward, with the chance of each value on the way.
    chance = np.zeros((n, MOST_TICKS + 1))
    places = np.zeros((n, bar))
    tempo = np.zeros((n, TEMPI))
    beta = end / end.sum()
    joint_last = alphas[-1][:, None, :] * last_p[:, None, None] * ending_p[:, :, None] * fits[-1][None]
    chance[-1, 1:] = joint_last.sum(axis=(0, 2))
    g = alphas[-1] * beta
    places[-1] = g.sum(axis=1)
    tempo[-1] = g.sum(axis=0) / g.sum()
    for i in range(n - 2, -1, -1):
        ahead = (beta * np.exp(place_log[i + 1])[:, None]) @ kernels[i]
        joint = value_p[:, :, None] * fits[i][None] * ahead[target]  # B x D x T
        both = alphas[i][:, None, :] * joint
        chance[i, 1:] = both.sum(axis=(0, 2))
        beta = joint.sum(axis=1)
        beta /= beta.sum()
        g = alphas[i] * beta
        places[i] = g.sum(axis=1)
        tempo[i] = g.sum(axis=0) / g.sum()
    chance /= chance.sum(axis=1, keepdims=True)
    # The likeliest path can count twice as fast as the readings together do; it is sought near their tempo.
    near = np.stack([np.convolve(row, np.ones(2 * NEAR_TEMPI + 1), "same") for row in tempo])
    middle = near.argmax(axis=1)
    allowed = np.abs(np.arange(TEMPI)[None, :] - middle[:, None]) <= 2 * NEAR_TEMPI
    usual = (tempo * allowed * log_tempo).sum(axis=1) / (tempo * allowed).sum(axis=1)
    readings: list[Reading] = []
    for first in np.argsort(-places[0])[:MOST_FIRSTS].tolist():
        share = float(places[0, first] / places[0].sum())
        if readings and share < LEAST_FIRST:
            break
        begin = np.where(np.arange(bar) == first, t["first"], -1e3)
        path, ticks, best = _viterbi(begin, w, allowed)
        readings.append(Reading(metre, path, ticks, np.exp(usual), chance,
                                log_likelihood + float(np.log(share + 1e-12)), best))
    return readings


def _viterbi(first: F, w: _Forward, allowed: NDArray[np.bool_]) -> tuple[I64, I64, float]:
    """The single most probable reading: places and values."""
    n = len(w.place_log)
    with np.errstate(divide="ignore"):
        came_log = np.log(w.value_p)[w.source, np.arange(w.value_p.shape[1])]
        last_log = np.log(w.last_p[:, None] * w.ending_p)
        fit_log = [np.log(f) for f in w.fits]
        kernel_log = [np.log(k) for k in w.kernels]
    shut = np.where(allowed, 0.0, -1e3)
    score = first[:, None] + w.place_log[0][:, None] + w.prior[None, :] + shut[0]
    back: list[tuple[I64, I64]] = []
    for i in range(n - 1):
        joint = score[w.source] + came_log[:, :, None] + fit_log[i][None]  # B x D x T, by the place where notes end
        value = joint.argmax(axis=1)
        moved = joint.max(axis=1)[:, :, None] + kernel_log[i][None]  # B x T x T
        back.append((value, moved.argmax(axis=1)))
        score = moved.max(axis=1) + w.place_log[i + 1][:, None] + shut[i + 1]
    end = last_log[:, :, None] + fit_log[-1][None]
    final = score[:, None, :] + end
    p, d, tau = (int(x) for x in np.unravel_index(int(final.argmax()), final.shape))
    best = float(final.max())
    places, ticks = np.zeros(n, dtype=np.int64), np.zeros(n, dtype=np.int64)
    places[-1], ticks[-1] = p, d + 1
    for i in range(n - 2, -1, -1):
        value, tempo = back[i]
        tau = int(tempo[p, tau])
        d = int(value[p, tau])
        p = int(w.source[p, d])
        places[i], ticks[i] = p, d + 1
    return places, ticks, best


def triplets(e: Evidence, r: Reading) -> list[int]:
    """Which notes begin a triplet: three in the time of two quavers or crotchets, on the beat, in metres of crotchets.

    The values that were read for such notes fill the same time unevenly (2, 1 and 1 ticks, say). How much better even
    lengths fit, all such threes of the tune tell together.
    """
    if METRES[r.metre][1] != 4:
        return []
    bar, value = bar_ticks(r.metre), np.exp(_tables(r.metre)["value"])
    odds: dict[int, float] = {}
    # How evenly the other notes of up to a crotchet are sung says how closely lengths are to be taken.
    expected = r.ticks * r.quarter_s / TICKS
    off = np.abs(np.diff(e.onset_s) - expected)[r.ticks <= TICKS]
    spread = float(np.clip(1.48 * np.median(off) if len(off) else 1.0, *EVEN_S))
    for i in range(len(r.ticks) - 3):
        whole = int(r.ticks[i:i + 3].sum())
        if whole not in (4, 8) or r.place[i] % TICKS or r.place[i] + whole > bar:
            continue
        sung, quarter_s = np.diff(e.onset_s[i:i + 4]), float(r.quarter_s[i])
        uneven = {(2 * whole // 4, whole // 4, whole // 4), (whole // 4, 2 * whole // 4, whole // 4),
                  (whole // 4, whole // 4, 2 * whole // 4), tuple(int(t) for t in r.ticks[i:i + 3])}
        chance = total = 0.0
        for ticks in uneven:
            usual = float(np.prod([value[(int(r.place[i]) + sum(ticks[:k])) % bar, t] for k, t in enumerate(ticks)]))
            total += usual
            chance += usual * _fit(sung - np.array(ticks) * quarter_s / TICKS, spread)
        odds[i] = min(_fit(sung - whole / 3 * quarter_s / TICKS, spread) / max(chance / total, 1e-12), MOST_ODDS)
    tune = WITH_TRIPLETS / (1 - WITH_TRIPLETS) * float(np.prod([1 - TRIPLET + TRIPLET * x for x in odds.values()]))
    found: list[int] = []
    for i, x in odds.items():
        if tune > 1 and TRIPLET * x > 1 - TRIPLET and not (found and i < found[-1] + 3):
            found.append(i)
    return found


def _fit(off_s: F, spread_s: float) -> float:
    """How well lengths fit that are so far off: a density but for a constant."""
    return float(np.exp(-0.5 * ((off_s / spread_s) ** 2).sum()))
