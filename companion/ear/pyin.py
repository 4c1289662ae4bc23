"""pYIN as a stream, in NumPy alone: probabilistic YIN (Mauch and Dixon, ICASSP 2014; YIN: de Cheveigne and
Kawahara, JASA 2002), block by block, with a fixed look-ahead.

With `gate=None` its frames are those of `librosa.pyin` for the same settings, as far as the look-ahead
allows (a test says so). What makes it quick: work is done for `GROUP` frames at a time; only the bins of
candidates are kept as voiced states, the unvoiced ones are dense; the banded step of the decoder is one
strided sum and maximum; no back-pointers are stored, since on the decoded path alone they are cheap to find
again from the scores.

The groups lie at fixed places in the sound, whatever the blocks in which it comes, so features and scores are the
same bit for bit. A frame is decided when its block is worked on, with all that was heard by then, at least the
look-ahead: where sound comes in long blocks, or whole, the path knows more, and a frame at the edge of voice may be
decided otherwise (one of 509 on a take that ships).
"""

from __future__ import annotations

import copy
import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

GROUP = 8  # frames worked on at a time: the overhead of calls rules, so work is done in groups
THRESHOLDS = 100  # YIN thresholds from 0 to 1, as in librosa
BETA = (2.0, 18.0)  # distribution of the threshold (Mauch and Dixon 2014, mean 0.1)
NO_TROUGH = 0.01  # probability of the lowest trough where none is below the threshold
SWITCH_PROBABILITY = 0.01  # probability of going from voiced to unvoiced or back, a frame
MAX_RATE = 35.92  # octaves a second that the pitch may move
BINS_PER_SEMITONE = 10
HIGHEST = 0.6  # thresholds above this have together less than 1e-6 of the probability: left out
BEYOND = 0.1  # a CMND value so low in half a period, and hardly above that of the period, is a period itself
#: For rare low voices: without it the pitch of voices in 10 dB noise, which seldom lie there, is lost oftener (tried on
#: synthesised singers in noise: 1 has an accuracy of 0.876, 1.3 of 0.884, as with a lowest pitch of 80 Hz).
RARE = 1.3
OCTAVE_WITHIN = 6  # bins about an octave that count as the octave
GUESS_WITHIN = 10  # bins about the path's pitch in which an unvoiced frame's guess is the likeliest candidate
LOG_ZERO = np.float32(-1e9)  # stands for the logarithm of 0


@dataclass(frozen=True, eq=False)
class Frames:
    """n decoded frames. f0_hz 0 where unvoiced; guess_hz: the decoder's pitch there too.

    voiced: probability; lowest: least CMND value, 0 to about 1. octave: share of the probability that the
    pitches an octave above and below have beside its own, 0 (clear) to 1. beyond: whether the sound repeats in half the
    period too, which is shorter than any that is looked for, so that the pitch is the octave of one above the range.
    """

    first: int
    f0_hz: F64
    guess_hz: F64
    voiced: F64
    lowest: F64
    level_db: F64
    octave: F64
    beyond: NDArray[np.bool_]


#: A gate takes (frames x samples of sound, lowest CMND of each) and returns (probability of voice, level in dB).
Gate = Callable[[F32, F64], tuple[F64, F64]]


def smooth_length(n: int) -> int:
    """The least number from n on with no prime factor above 5: quick for a Fourier transform."""
    while True:
        m = n
        for p in (2, 3, 5):
            while m % p == 0:
                m //= p
        if m == 1:
            return n
        n += 1


def beta_weights() -> F64:
    """Probability of each of the thresholds' intervals: the beta distribution BETA, for whole numbers.

    For whole a and b its cumulative is a binomial tail, so no library is needed.
    """
    a, b = int(BETA[0]), int(BETA[1])
    x = np.linspace(0.0, 1.0, THRESHOLDS + 1)
    n = a + b - 1
    cumulative = sum(math.comb(n, k) * x**k * (1 - x) ** (n - k) for k in range(a, n + 1))
    return np.asarray(np.diff(np.asarray(cumulative)))


def _long_period_weight(lags: F64, frame: int, longest: float) -> F64:
    """By what the CMND is multiplied at each lag (samples): 1 up to `longest`, and more beyond it.

    The longer a lag, the fewer samples of a frame overlap, so that the CMND of noise falls from 1 towards 0, and long
    periods are found in it. Beyond `longest` that is made good, and RARE in addition.
    """
    def of_noise(lag: F64 | float) -> F64 | float:  # what the CMND of white noise is on the average
        return (frame - lag) / (frame - (lag + 1) / 2)

    if math.isinf(longest):
        return np.ones(len(lags))
    return np.asarray(np.where(lags > longest, RARE * of_noise(longest) / of_noise(lags), 1.0))


class Pyin:
    """A streaming pYIN. Sound in by `push`, decoded frames out; `finish` gives the rest.

    rate in Hz; frame and hop in samples; low and high in Hz; look_ahead in frames: each frame is decided
    once this many more have been heard (and up to GROUP - 1 more, since decisions fall in groups).
    boltzmann: how much short periods are preferred among troughs. gate: see `Gate`. rare_below: Hz; a pitch lower than
    this has to be clearer than others (see `_long_period_weight`).
    Frame i is centred at sample i * hop, with silence before the first sample and after the last.
    """

    def __init__(self, rate: int, frame: int, hop: int, low: float, high: float, look_ahead: int,
                 boltzmann: float = 2.0, gate: Gate | None = None, rare_below: float = 0.0) -> None:
        if not 0 < low < high <= rate / 2 or rate / low >= frame - 1:
            raise ValueError(f"a range of {low} to {high} Hz does not fit frames of {frame} samples at {rate} Hz")
        self.rate, self.frame, self.hop, self.look_ahead = rate, frame, hop, look_ahead
        self.low = low
        self.min_period = math.floor(rate / high)
        self.max_period = min(math.ceil(rate / low), frame - 1)
        self.bins = math.floor(12 * BINS_PER_SEMITONE * math.log2(high / low)) + 1
        self.gate = gate
        self._size = smooth_length(frame + self.max_period)
        used = round(HIGHEST * THRESHOLDS)
        self._thresholds = np.linspace(0.0, 1.0, THRESHOLDS + 1)[1:used + 1]
        self._weights = beta_weights()[:used]
        self._weight_below = np.concatenate([[0.0], np.cumsum(self._weights)])
        self._index = np.arange(GROUP)[:, None] * hop + np.arange(frame)
        ranks = np.arange(self.max_period + 2)
        self._rank_weight = (1 - math.exp(-boltzmann)) * np.exp(-boltzmann * ranks)
        with np.errstate(divide="ignore"):
            self._count_weight = np.where(ranks > 0, 1 / (1 - np.exp(-boltzmann * np.maximum(ranks, 1))), 0.0)
        self._lags = np.arange(1, self.max_period + 1, dtype=np.float64)
        self._period_weight = _long_period_weight(self._lags, frame, rate / rare_below if rare_below else math.inf)

        # The decoder's transition: a triangle of this many bins, each row of which sums to one.
        width = round(MAX_RATE * 12 * hop / rate) * BINS_PER_SEMITONE + 1
        self._half = half = width // 2
        x = np.arange(width)
        # scipy's symmetric triangle of odd length, which librosa uses: never zero at its ends
        triangle = np.where(x < (width + 1) // 2, 2 * (x + 1) / (width + 1), 2 - 2 * (x + 1) / (width + 1))
        whole = np.convolve(np.ones(self.bins), triangle, "same")
        self._log_row = -np.log(whole).astype(np.float32)
        self._log_triangle = np.log(triangle).astype(np.float32)[:, None]
        self._log_stay = np.float32(math.log(1 - SWITCH_PROBABILITY))
        self._log_switch = np.float32(math.log(SWITCH_PROBABILITY))
        padded = np.full(self.bins + 2 * half, LOG_ZERO, dtype=np.float32)
        self._into_unvoiced, self._into_voiced = padded, padded.copy()
        view = np.lib.stride_tricks.sliding_window_view
        self._view_unvoiced = view(self._into_unvoiced, self.bins)  # width x bins: row d is shifted by d
        self._view_voiced = view(self._into_voiced, self.bins)
        self._work = np.empty((width, self.bins), dtype=np.float32)

        self._samples = np.zeros(frame // 2, dtype=np.float32)  # not yet used up; begins with the padding
        self._heard = 0  # samples pushed
        self._next = 0  # next frame to be worked on
        self._decided = 0  # frames given out
        start = np.float32(-math.log(2 * self.bins))
        self._unvoiced = np.full(self.bins, start, dtype=np.float32)
        self._started = False
        # Of each frame that is not yet decided:
        self._history: list[tuple[NDArray[np.int64], F32, F32]] = []  # candidate bins, their scores, unvoiced
        self._path: list[int] = []  # decoded states from _decided on, from the last traceback
        self._features: list[tuple[float, float, float]] = []  # voicing, lowest CMND, level in dB
        self._troughs: list[tuple[NDArray[np.int64], F64, F64, NDArray[np.bool_]]] = []  # candidates, see `_candidates`

    @property
    def latency_s(self) -> float:
        """Longest time from a sound to the decision on its frame: look-ahead, group and half a frame."""
        return ((self.look_ahead + GROUP) * self.hop + self.frame // 2) / self.rate

    def push(self, samples: F32) -> Frames:
        """Take in samples (float, mono, any number) and return the frames that are now decided."""
        self._heard += len(samples)
        self._samples = np.concatenate([self._samples, np.asarray(samples, dtype=np.float32)])
        ready = (len(self._samples) - self.frame) // self.hop + 1
        while ready >= GROUP:
            self._analyse(GROUP)
            ready -= GROUP
        return self._decide(self._next - self.look_ahead)

    def finish(self) -> Frames:
        """The frames that are left, decided from all that was heard. The stream is at its end then."""
        total = self._heard // self.hop + 1
        pad = np.zeros(self.frame // 2 + GROUP * self.hop, dtype=np.float32)
        self._samples = np.concatenate([self._samples, pad])
        while self._next < total:
            self._analyse(min(GROUP, total - self._next))
        return self._decide(self._next)

    def so_far(self) -> Frames:
        """What `finish` would give now; the stream goes on as if it had not been asked."""
        other = copy.copy(self)  # arrays are replaced and not written to, but for those that only one call works in
        other._history, other._path = list(self._history), list(self._path)
        other._features, other._troughs = list(self._features), list(self._troughs)
        other.gate = copy.copy(self.gate)
        return other.finish()

    # --- features ---

    def _analyse(self, count: int) -> None:
        """Take the next `count` frames from samples to candidates and scores of the Viterbi recursion."""
        view = self._samples[self._index[:count]]
        whole = self._cmnd(view.astype(np.float64))
        cmnd, short = whole[:, self.min_period - 1:], whole[:, :2 * self.min_period]
        lowest = cmnd.min(axis=1)
        voicing, level = np.ones(count), np.full(count, np.nan)
        if self.gate is not None:
            voicing, level = self.gate(view, lowest)
        where, bins, probability, exact, beyond = self._candidates(cmnd, lowest, short)
        edges = np.searchsorted(where, np.arange(count + 1)).tolist()
        total = np.minimum(1.0, np.bincount(where, weights=probability, minlength=count))
        voiced = total * voicing
        if self.gate is None:
            weights, unvoiced_share = probability, (1 - voiced) / self.bins
        else:  # the gate alone tells voice from its neighbours, the candidates only which pitch it has
            weights, unvoiced_share = probability * (voicing / np.maximum(total, 1e-12))[where], 1 - voicing
        log_unvoiced = np.log(np.maximum(unvoiced_share, 1e-300)).astype(np.float32)
        log_voiced = np.log(np.maximum(weights, 1e-300)).astype(np.float32)
        for k in range(count):
            here = slice(edges[k], edges[k + 1])
            self._forward_step(bins[here], log_voiced[here], log_unvoiced[k])
            self._troughs.append((bins[here], probability[here], exact[here], beyond[here]))
        self._features += zip(voiced.tolist(), lowest.tolist(), level.tolist(), strict=True)
        self._next += count
        self._samples = self._samples[count * self.hop:]
        # Scores fall without end; brought back to a top of 0 once a group, they keep their precision.
        bins_now, scores, unvoiced = self._history[-1]
        top = np.float32(unvoiced.max())
        self._history[-1] = (bins_now, scores - top, unvoiced - top)

    def _cmnd(self, frames: F64) -> F64:
        """Cumulative mean normalised difference (YIN, equation 8), frames x lags from 1 to the longest period."""
        spectrum = np.fft.rfft(frames, self._size, axis=1)
        power = spectrum.real**2 + spectrum.imag**2
        correlation = np.fft.irfft(power, self._size, axis=1)[:, :self.max_period + 1]
        energy = np.cumsum(np.square(frames[:, :self.max_period]), axis=1)
        difference = 2 * (correlation[:, :1] - correlation[:, 1:]) - energy
        mean = np.cumsum(difference, axis=1) / self._lags
        tiny = np.finfo(np.float64).tiny
        return np.asarray(difference / (mean + tiny) * self._period_weight)

    def _candidates(self, cmnd: F64, lowest: F64, short: F64) -> tuple[
            NDArray[np.int64], NDArray[np.int64], F64, F64, NDArray[np.bool_]]:
        """(frame, bin, probability, Hz, beyond) of each candidate, in order of frame; each bin once a frame.

        cmnd: frames x lags from the shortest to the longest period; short: the same from 1 to twice the shortest.
        """
        count = len(cmnd)
        trough = np.empty(cmnd.shape, dtype=bool)
        trough[:, 1:-1] = (cmnd[:, 1:-1] < cmnd[:, :-2]) & (cmnd[:, 1:-1] <= cmnd[:, 2:])
        trough[:, 0] = cmnd[:, 0] < cmnd[:, 1]
        trough[:, -1] = cmnd[:, -1] < cmnd[:, -2]
        trough &= (cmnd < HIGHEST) | (cmnd <= lowest[:, None])
        where, lag = np.nonzero(trough)
        if not len(where):
            none = np.zeros(0, dtype=np.int64)
            return none, none, np.zeros(0), np.zeros(0), np.zeros(0, dtype=bool)
        height = cmnd[where, lag]
        number = np.bincount(where, minlength=count)
        start = np.cumsum(number) - number
        column = np.arange(len(where)) - start[where]
        heights = np.full((count, int(number.max())), 2.0)
        heights[where, column] = height
        below = heights[:, :, None] < self._thresholds  # frames x troughs x thresholds
        rank = np.cumsum(below, axis=1) - 1
        share = np.where(below, self._rank_weight[rank], 0.0)
        share *= self._count_weight[rank[:, -1] + 1][:, None, :]
        shares = share @ self._weights
        best = heights.argmin(axis=1)
        rows = np.arange(count)
        under = np.count_nonzero(~below[rows, best], axis=1)
        shares[rows, best] += np.where(number > 0, NO_TROUGH * self._weight_below[under], 0.0)
        probability = shares[where, column]

        # Parabolic interpolation of the period (0 at the range's edges and where it would leave its bin).
        inner = (lag > 0) & (lag < cmnd.shape[1] - 1)
        at = np.minimum(np.maximum(lag, 1), cmnd.shape[1] - 2)
        left, mid, right = cmnd[where, at - 1], cmnd[where, at], cmnd[where, at + 1]
        a, b = right + left - 2 * mid, (right - left) / 2
        shift = np.where(inner & (np.abs(b) < np.abs(a)), -b / np.where(a == 0, 1.0, a), 0.0)
        f0 = self.rate / (self.min_period + lag + shift)
        bins = np.rint(12 * BINS_PER_SEMITONE * np.log2(f0 / self.low)).astype(np.int64)
        bins = np.maximum(bins, 0)
        keep = (probability > 0) & (bins < self.bins)
        where, bins, probability, f0, lag, height = (x[keep] for x in (where, bins, probability, f0, lag, height))
        # Bins fall as periods grow, so two candidates in one bin stand side by side: the longer period
        # counts, as in librosa.
        last = np.ones(len(where), dtype=bool)
        last[:-1] = (bins[1:] != bins[:-1]) | (where[1:] != where[:-1])
        where, bins, probability, f0, lag, height = (x[last] for x in (where, bins, probability, f0, lag, height))
        period = self.min_period + lag
        half = np.minimum(period // 2, self.min_period)
        least = np.minimum(short[where, half - 1], short[where, half])  # at half the period, and one sample more
        beyond = (period <= 2 * self.min_period + 1) & (least < BEYOND + height) & (least < 2 * BEYOND)
        return where, bins, probability, f0, beyond

    # --- decoding ---

    def _forward_step(self, bins: NDArray[np.int64], log_voiced: F32, log_unvoiced: np.float32) -> None:
        """One frame of the Viterbi recursion: scores of its voiced states (its candidates) and of every unvoiced bin.

        log_voiced, log_unvoiced: logarithms of the emissions, one a candidate, and one for all unvoiced bins.
        """
        if not self._started:
            self._started = True
            start = self._unvoiced
            self._history.append((bins, start[bins] + log_voiced, start + log_unvoiced))
            return
        before_bins, before, unvoiced = self._history[-1]
        half, n = self._half, self.bins
        middle_u, middle_v = self._into_unvoiced[half:half + n], self._into_voiced[half:half + n]
        ready = unvoiced + self._log_row
        np.add(ready, self._log_stay, out=middle_u)
        np.add(ready, self._log_switch, out=middle_v)
        if len(before_bins):
            from_voiced = before + self._log_row[before_bins]
            middle_u[before_bins] = np.maximum(middle_u[before_bins], from_voiced + self._log_switch)
            middle_v[before_bins] = np.maximum(middle_v[before_bins], from_voiced + self._log_stay)
        np.add(self._view_unvoiced, self._log_triangle, out=self._work)
        now_unvoiced = np.maximum.reduce(self._work, axis=0)
        now_unvoiced += log_unvoiced
        now = log_voiced
        if len(bins):
            now = np.maximum.reduce(self._view_voiced[:, bins] + self._log_triangle, axis=0)
            now += log_voiced
        self._history.append((bins, now, now_unvoiced))

    def _predecessor(self, index: int, state: int) -> int:
        """The best predecessor of `state` at the `index`th kept frame: the back-pointer, found again from the scores."""
        bins, scores, unvoiced = self._history[index - 1]
        n, half = self.bins, self._half
        to_voiced = state < n
        at = state % n
        low, high = max(0, at - half), min(n, at + half + 1)
        triangle = self._log_triangle[low - at + half:high - at + half, 0]
        quiet = unvoiced[low:high] + self._log_row[low:high] + (self._log_switch if to_voiced else self._log_stay) + triangle
        best = int(quiet.argmax())
        value, found = quiet[best], n + low + best
        if len(bins):
            near = (bins >= low) & (bins < high)
            if near.any():
                sung = scores[near] + self._log_row[bins[near]] + (self._log_stay if to_voiced else self._log_switch)
                sung = sung + self._log_triangle[bins[near] - at + half, 0]
                k = int(sung.argmax())
                if sung[k] >= value:
                    found = int(bins[near][k])
        return found

    def _decide(self, until: int) -> Frames:
        """Decode from the newest frame back, and give out the frames before `until` not given before."""
        first = self._decided
        kept = len(self._history)
        if until <= first or not kept:
            none = np.zeros(0)
            return Frames(first, none, none, none, none, none, none, none.astype(bool))
        bins, scores, unvoiced = self._history[-1]
        state = self.bins + int(unvoiced.argmax())
        if len(scores) and scores.max() >= unvoiced.max():
            state = int(bins[scores.argmax()])
        path = [0] * kept
        path[-1] = state
        old = self._path
        for i in range(kept - 1, 0, -1):
            state = self._predecessor(i, state)
            path[i - 1] = state
            if i - 1 < len(old) and old[i - 1] == state:
                path[:i - 1] = old[:i - 1]  # from here back it is the path of the last traceback
                break
        give = until - first
        states = np.array(path[:give])
        is_voiced = states < self.bins
        pitch = self.low * 2.0 ** ((states % self.bins) / (12 * BINS_PER_SEMITONE))
        facts = np.array(self._features[:give]).reshape(-1, 3)
        octave, pitch, beyond = self._refined(states, pitch, self._troughs[:give])
        self._troughs = self._troughs[give:]
        self._history, self._features, self._path = self._history[give:], self._features[give:], path[give:]
        if not self._history:  # the last frame's scores are what the next step goes on from
            self._history = [(bins, scores, unvoiced)]
            self._path = [path[-1]]
            self._features = []
            self._decided = until
        self._decided = until
        return Frames(first, np.where(is_voiced, pitch, 0.0), pitch, facts[:, 0], facts[:, 1], facts[:, 2], octave,
                      beyond)

    def _refined(self, states: NDArray[np.int64], pitch: F64, troughs: list[tuple[NDArray[np.int64], F64, F64,
                 NDArray[np.bool_]]]) -> tuple[F64, F64, NDArray[np.bool_]]:
        """For each frame: the share of the probability that the pitches an octave above and below have beside
        its own; its pitch by interpolation instead of by bin, where it is a candidate's or, unvoiced, near one (Hz); and
        `Frames.beyond`."""
        count = len(states)
        found, chance, hz, over = (np.concatenate([x[k] for x in troughs]) for k in range(4))
        frame = np.repeat(np.arange(count), [len(x[0]) for x in troughs])
        away = np.abs(found - (states % self.bins)[frame])
        own = np.bincount(frame, weights=chance * (away <= OCTAVE_WITHIN), minlength=count)
        near_octave = np.abs(away - 12 * BINS_PER_SEMITONE) <= OCTAVE_WITHIN
        other = np.bincount(frame, weights=chance * near_octave, minlength=count)
        exact, beyond = pitch.copy(), np.zeros(count, dtype=bool)
        voiced = (states < self.bins)[frame]
        for hit in (voiced & (away == 0), ~voiced & (away <= GUESS_WITHIN)):
            rising = np.flatnonzero(hit)[np.argsort(chance[hit], kind="stable")]  # the likeliest is written last
            exact[frame[rising]] = hz[rising]
            beyond[frame[rising]] = over[rising] & voiced[rising]
        return other / np.maximum(own + other, 1e-12), exact, beyond
