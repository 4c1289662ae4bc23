"""Which metre: the likelihood of each reading, together with what a whole tune shows beyond its values.

The likelihood of `rhythm` sees one note after the other. A tune also repeats its bars, has phrases of two and
four bars, ends on a strong beat and has a usual number of notes to the bar. These are weighed with it by a
conditional logistic regression over folk tunes sung by a simulated singer (`weights` in `counts.json`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from companion.errors import Trouble
from companion.messages import _
from companion.transcribe.rhythm import GUESSED, METRES, TICKS, Evidence, Reading, bar_ticks, counts, read

F = NDArray[np.float64]

COUNTED, COUNTED_BARS = 6.0, 3.0  # odds (logarithm) for a metre of as many beats as were counted, or of a part of them
START_SPREAD, START_MOST = 1.0, 4.0  # ticks by which a first note lies off the counted beat; and the most it costs


@dataclass(frozen=True)
class Chosen:
    """The reading in the likeliest metre, its probability, and the runner-up."""

    reading: Reading
    sure: float
    other: str
    other_sure: float


def features(r: Reading, midi: Sequence[int], phrase: NDArray[np.bool_]) -> F:
    """What a whole tune shows of one metre, as numbers; `weights` in `counts.json` has one for each."""
    bar, n = bar_ticks(r.metre), len(r.ticks)
    at = np.concatenate([[0], np.cumsum(r.ticks[:-1])]) + r.place[0]
    index = {int(x): i for i, x in enumerate(at)}
    out: list[float] = [r.log_likelihood, r.best, *(float(m == r.metre) for m in GUESSED)]
    for lag in (1, 2, 4):  # how much of the rhythm, and of the tune, comes again so many bars later
        same = melody = total = 0
        for i in range(n - 1):
            later = int(at[i]) + lag * bar
            if later > at[-1]:
                break
            total += 1
            j = index.get(later)
            if j is not None and j < n - 1 and r.ticks[j] == r.ticks[i]:
                same += 1
                melody += midi[j] == midi[i]
        out += [same / total if total else 0.3, melody / total if total else 0.1]
    starts = np.concatenate([[at[0]], at[np.flatnonzero(phrase)]])
    for bars in (1, 2, 4):  # phrases that begin where the first does
        out.append(float(np.mean((starts[1:] - starts[0]) % (bars * bar) == 0)) if len(starts) > 1 else 0.5)
    out.append(float(np.mean(at % bar == 0)))
    last = int(at[-1] // bar)
    out.append(sum(k * bar not in index for k in range(1, last + 1)) / max(1, last))
    out.append(float(at[-1] % bar == 0))
    bars_in_all = last + 1 - int(at[0] % bar > 0)
    out += [float(bars_in_all % 2 == 0), float(bars_in_all % 4 == 0)]
    out += [float(at[0] % bar == 0), float((starts % bar == 0).mean()), float(_strong(at[-1], r.metre)),
            float(np.mean([_strong(x, r.metre) for x in at]))]
    long = r.ticks[:-1] >= np.percentile(r.ticks, 75)
    out.append(float(np.mean(at[:-1][long] % bar == 0)) if long.any() else 0.0)
    notes_a_bar = np.log(n / max((at[-1] - at[0]) / bar, 0.5))
    pace = float(np.mean(np.log(r.quarter_s)))
    for m in GUESSED:
        mine = float(m == r.metre)
        out += [mine * x for x in (notes_a_bar, notes_a_bar**2, pace, pace**2)]
    shares = [float(np.mean(r.ticks[:-1] == v)) for v in (1, 2, 3, 4, 6, 8, 12)]
    for m in GUESSED:
        out += [float(m == r.metre) * x for x in shares]
    return np.array(out)


def _strong(at: int, metre: str) -> bool:
    """On a bar line, or in the middle of a bar that has one."""
    half = bar_ticks(metre) // 2 if metre in ("4/4", "6/8") else bar_ticks(metre)
    return int(at) % half == 0


def _after_counts(r: Reading, first_s: float, downbeat_s: float, bpm: float, counted_in: int) -> float:
    """What counting in adds to a reading's score: its first note's place, and as many beats to the bar as counts."""
    upper, lower = METRES[r.metre]
    bar, beat = bar_ticks(r.metre), 6 if lower == 8 else TICKS
    off = (r.place[0] - (first_s - downbeat_s) * bpm / 60.0 * beat + bar / 2) % bar - bar / 2
    beats = upper // 3 if lower == 8 and counted_in != upper else upper
    said = COUNTED if beats == counted_in else COUNTED_BARS if counted_in % beats == 0 else 0.0
    return said - min(0.5 * float(off / START_SPREAD) ** 2, START_MOST)


def choose(e: Evidence, midi: Sequence[int], time: str | None = None, bpm: float | None = None,
           beats_s: Sequence[float] = (), sharpness: float = 1.0, downbeat_s: float | None = None,
           counted_in: int = 0) -> Chosen:
    """The likeliest metre of some notes and its reading. time, bpm, beats_s: as given by a person.

    downbeat_s: when a bar begins, after so many counts of a beat each (with bpm), where the take was counted in.
    """
    if time is not None and time not in METRES:
        raise Trouble(_("Time {time} was given; it can be {METRES}.").format(time=time, METRES=', '.join(METRES)))
    names = [time] if time else list(GUESSED)
    readings: list[Reading] = []
    for name in names:
        quarter_s = None
        if bpm is not None:
            quarter_s = 60.0 / bpm / (1.5 if METRES[name][1] == 8 else 1.0)
        readings += read(e, name, quarter_s, beats_s, sharpness)
    table = np.array([features(r, midi, e.phrase) for r in readings])
    table[:, :2] -= table[:, :2].max(axis=0)
    score = table @ np.array(counts()["weights"])
    if downbeat_s is not None and bpm is not None:
        score = score + [_after_counts(r, float(e.onset_s[0]), downbeat_s, bpm, counted_in) for r in readings]
    weight = np.exp(score - score.max())
    weight /= weight.sum()
    best = readings[int(weight.argmax())]
    sums = {m: float(sum(w for w, r in zip(weight, readings, strict=True) if r.metre == m)) for m in names}
    second = max((m for m in names if m != best.metre), key=lambda m: sums[m], default=best.metre)
    return Chosen(best, sums[best.metre], second, 0.0 if second == best.metre else sums[second])
