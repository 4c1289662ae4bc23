"""Which time signature: the likelihood of each reading, together with what a whole tune shows beyond its values.

The likelihood of `rhythm` sees one note after the other. A tune also repeats its bars, has phrases of two and
four bars, ends on a strong beat and has a usual number of notes to the bar. These features are weighed with it by a
conditional logistic regression over folk tunes sung by a simulated singer (`weights` in `counts.json`). No feature counts
beyond the range in which true readings of these tunes lie (`limits`), so that a plain tune (all notes of one value, say) is
not judged by what was seen of none.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from companion.errors import Trouble
from companion.messages import _
from companion.transcribe.folk_counts import GUESSED, TIMES, Style, counts, ticks_of
from companion.transcribe.rhythm import Evidence, Reading, read
from companion.tune import Time

F = NDArray[np.float64]
I64 = NDArray[np.int64]

COMPOUND = 1.5  # odds against 6/8 where two are counted: that is rarer than 2/4
COUNTED, COUNTED_BARS = 10.0, 5.0  # odds (logarithm) for a metre of as many beats as were counted, or of a part of them
ANSWERED = 12.0  # odds (logarithm) against what contradicts a person's answer
START_SPREAD, START_MOST = 1.0, 4.0  # ticks by which a first note lies off the counted beat; and the most it costs
#: Seconds a beat: outside of this nobody feels one (Parncutt 1994; from memory), and the weights have seen none there.
BEAT_LIMITS_S = (0.25, 1.3)
REPEAT_LAGS = PHRASE_LENGTHS = (1, 2, 4)  # bars
SCALES = (1.0, 2.0, 0.5)  # by which two readings may differ as a whole
SHARED_VALUES = (1, 2, 3, 4, 6, 8, 12)  # ticks of the values whose shares are features


@dataclass(frozen=True)
class Weighed:
    """One reading in short: time signature, ticks of the first note after its bar line, and probability."""

    time: Time
    place: int
    weight: float


@dataclass(frozen=True)
class Chosen:
    """The reading in the likeliest time signature, its probability, the runner-up, and all readings in short.

    agreement: of N notes, the probability of the readings in which the note has the value of `reading`, up to scale.
    """

    reading: Reading
    confidence: float
    runner_up: Time
    runner_up_confidence: float
    readings: tuple[Weighed, ...] = ()
    agreement: tuple[float, ...] = ()


def quarter_s(bpm: float, time: Time) -> float:
    """Seconds a crotchet, of beats a minute."""
    return 60.0 / bpm / float(time.beat)


def features(r: Reading, midi: Sequence[int], phrase: NDArray[np.bool_]) -> F:
    """What a whole tune shows of one reading, as numbers; `weights` in `counts.json` has one for each, in this order.

    All of them once, and then what dances weigh otherwise: the same again, 0 in a reading by the counts of songs.
    midi, phrase: N, the notes' pitches, and whether a breath stands before each.
    """
    at = np.concatenate([[0], np.cumsum(r.ticks[:-1])]) + r.place[0]  # ticks from the bar line before the first note
    starts = np.concatenate([[at[0]], at[np.flatnonzero(phrase)]])
    own_time = [float(t == r.time) for t in GUESSED]
    own = np.array([r.log_likelihood, r.path_log, 1.0, *own_time, *_repeats(r, at, midi), *_phrases(r, starts),
                    *_bars(r, at), *_strong_beats(r, at, starts), *_pace(r, at, own_time)])
    return np.concatenate([own, own * (r.style is Style.DANCE)])


def beside_the_best(table: F) -> F:
    """Features of all readings of a tune, with their likelihoods against that of the likeliest: a tune's length is none."""
    half = table.shape[1] // 2
    table = table.copy()
    table[:, :2] -= table[:, :2].max(axis=0)
    table[:, half:half + 2] = table[:, :2] * (table[:, half + 2:half + 3] > 0)
    return table


def _repeats(r: Reading, at: I64, midi: Sequence[int]) -> list[float]:
    """How much of the rhythm, and of the tune, comes again one, two and four bars later."""
    bar, n = ticks_of(r.time.quarters), len(r.ticks)
    index = {int(x): i for i, x in enumerate(at)}
    out: list[float] = []
    for lag in REPEAT_LAGS:
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
    return out


def _phrases(r: Reading, starts: I64) -> list[float]:
    """Share of phrases that begin where in its bar, or pair or four of bars, the first does."""
    bar = ticks_of(r.time.quarters)
    return [float(np.mean((starts[1:] - starts[0]) % (bars * bar) == 0)) if len(starts) > 1 else 0.5
            for bars in PHRASE_LENGTHS]


def _bars(r: Reading, at: I64) -> list[float]:
    """Notes that begin a bar, bars that no note begins, whether the last note begins one, and how many bars there are."""
    bar = ticks_of(r.time.quarters)
    onsets, last = {int(x) for x in at}, int(at[-1] // bar)
    bars = last + 1 - int(at[0] % bar > 0)
    empty = sum(k * bar not in onsets for k in range(1, last + 1)) / max(1, last)
    return [float(np.mean(at % bar == 0)), empty, float(at[-1] % bar == 0), float(bars % 2 == 0), float(bars % 4 == 0)]


def _strong_beats(r: Reading, at: I64, starts: I64) -> list[float]:
    """What begins on bar lines and other strong beats: the tune, its phrases, its last note, its notes, its long notes."""
    bar = ticks_of(r.time.quarters)
    half = bar // 2 if r.time.name in ("4/4", "6/8") else bar  # the middle of such bars is strong too
    long = r.ticks[:-1] >= np.percentile(r.ticks, 75)
    return [float(at[0] % bar == 0), float((starts % bar == 0).mean()), float(at[-1] % half == 0),
            float(np.mean(at % half == 0)), float(np.mean(at[:-1][long] % bar == 0)) if long.any() else 0.0]


def _pace(r: Reading, at: I64, own_time: list[float]) -> list[float]:
    """Notes a bar, tempo, and shares of values, apart for each time signature."""
    notes_a_bar = np.log(len(r.ticks) / max((at[-1] - at[0]) / ticks_of(r.time.quarters), 0.5))
    tempo = float(np.mean(np.log(r.quarter_s)))
    shares = [float(np.mean(r.ticks[:-1] == v)) for v in SHARED_VALUES]
    out = [own * x for own in own_time for x in (notes_a_bar, notes_a_bar**2, tempo, tempo**2)]
    return out + [own * x for own in own_time for x in shares]


def _after_counts(r: Reading, first_s: float, downbeat_s: float, bpm: float, counted_in: int) -> float:
    """What counting in adds to a reading's score: its first note's place, and as many beats to the bar as counts."""
    upper = sum(r.time.upper)
    bar, beat = ticks_of(r.time.quarters), ticks_of(r.time.beat)
    off = (r.place[0] - (first_s - downbeat_s) * bpm / 60.0 * beat + bar / 2) % bar - bar / 2
    beats = upper // 3 if r.time.compound and counted_in != upper else upper
    said = COUNTED - COMPOUND * (beats != upper) if beats == counted_in else COUNTED_BARS if counted_in % beats == 0 else 0.0
    return said - min(0.5 * float(off / START_SPREAD) ** 2, START_MOST)


def _readings(e: Evidence, times: Sequence[Time], bpm: float | None, beats_s: Sequence[float], sharpness: float) -> list[Reading]:
    """All readings in some time signatures, by the counts of both styles, whose beat can be felt."""
    out = [r for one in times for style in Style
           for r in read(e, one, None if bpm is None else quarter_s(bpm, one), beats_s, sharpness, style)]
    if bpm is None and not beats_s:
        out = [r for r in out if BEAT_LIMITS_S[0] < _beat_s(r) < BEAT_LIMITS_S[1]] or out
    return out


def _beat_s(r: Reading) -> float:
    return float(np.exp(np.mean(np.log(r.quarter_s))) * r.time.beat)


def choose(e: Evidence, midi: Sequence[int], time: Time | None = None, bpm: float | None = None,
           beats_s: Sequence[float] = (), sharpness: float = 1.0, downbeat_s: float | None = None,
           counted_in: int = 0, among: Sequence[Time] = (), on_strong_beat: bool | None = None) -> Chosen:
    """The likeliest time signature of some notes and its reading. time, bpm, beats_s: as given by a person.

    among: time signatures that are possible, where not all are. on_strong_beat: whether the first note begins a bar.

    downbeat_s: when a bar begins, after so many counts of a beat each (with bpm), where the take was counted in.
    Raises Trouble for a time signature that cannot be written.
    """
    if time is not None and time not in TIMES.values():
        raise Trouble(_("Time {time} was given; it can be {times}.").format(time=time.name, times=", ".join(TIMES)))
    times = [time] if time else list(among or GUESSED)
    readings = _readings(e, times, bpm, beats_s, sharpness)
    score = _scores(readings, midi, e.phrase)
    if downbeat_s is not None and bpm is not None:
        score = score + [_after_counts(r, float(e.onset_s[0]), downbeat_s, bpm, counted_in) for r in readings]
    if on_strong_beat is not None:
        score = score - [ANSWERED * ((r.place[0] == 0) != on_strong_beat) for r in readings]
    weight = np.exp(score - score.max())
    weight /= weight.sum()
    return _summed(readings, weight, times)


def _scores(readings: Sequence[Reading], midi: Sequence[int], phrase: NDArray[np.bool_]) -> F:
    """The logistic choice's score of each reading, before what a person has said of it."""
    table = np.array([features(r, midi, phrase) for r in readings])
    low, high = counts()["limits"]
    table = np.clip(beside_the_best(table), low, high)
    return np.asarray(table @ np.array(counts()["weights"]), dtype=np.float64)


def _summed(readings: Sequence[Reading], weight: F, times: Sequence[Time]) -> Chosen:
    """The heaviest reading, and the weights summed by time signature and by place of the first note."""
    best = readings[int(weight.argmax())]
    times = [t for t in times if any(r.time == t for r in readings)]
    sums = {t: float(sum(w for w, r in zip(weight, readings, strict=True) if r.time == t)) for t in times}
    second = max((t for t in times if t != best.time), key=lambda t: sums[t], default=best.time)
    by_place: dict[tuple[Time, int], float] = {}
    for r, w in zip(readings, weight, strict=True):
        key = r.time, int(r.place[0])
        by_place[key] = by_place.get(key, 0.0) + float(w)
    return Chosen(best, sums[best.time], second, 0.0 if second == best.time else sums[second],
                  tuple(Weighed(t, place, w) for (t, place), w in by_place.items()), _agreement(readings, weight, best))


def _agreement(readings: Sequence[Reading], weight: F, best: Reading) -> tuple[float, ...]:
    """See `Chosen`. Another reading may have all values twice or half as long."""
    out = np.zeros(len(best.ticks))
    for w, r in zip(weight, readings, strict=True):
        same = [best.ticks == r.ticks * scale for scale in SCALES]
        out += w * max(same, key=lambda s: int(s.sum()))
    return tuple(float(x) for x in np.minimum(out, 1.0))
