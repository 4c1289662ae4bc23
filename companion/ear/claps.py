"""Claps and taps in a recording: when each begins, how loud it is, and whether the sound was of claps at all.

Onsets are found by `librosa.onset` (spectral flux: Böck and Widmer 2013). The companion's own beat is a knock of one
frequency (`companion.audio.pulse`); the band it lies in is left out, so that it is not taken for a clap where a
loudspeaker stands beside the microphone.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from companion.ear.sound import RATE, Sound

F = NDArray[np.float64]

HOP = 110  # samples: 5 ms, a fifth of what a steady adult varies by
FRAME = 512  # samples: 23 ms, about as long as a clap
KNOCK_HZ = (1150.0, 2600.0)  # the band of the companion's own beat
LOW_HZ, HIGH_HZ = 70.0, 10000.0
APART_S = 0.07  # no hands clap quicker; an echo of a wall within it is the same clap
LEAST_DB = 14.0  # a clap rises so much over what was before it
FAINT_DB = 26.0  # so far below the median clap it is none: an echo, a chair, the beat of a loudspeaker
#: After a clap the sound falls by so much within so long; a voice or a whistle goes on.
FALL_S, FALL_DB = 0.12, 9.0
FLUX = 3.0  # dB a band on the average: the least that is an onset at all


@dataclass(frozen=True, eq=False)
class Claps:
    """time_s: when each begins, shape (n,), seconds from the beginning of the recording. level_db: the loudest frame of
    each, dB re full scale, without the band of the own beat. short: whether each falls off at once, as claps do. faint_s:
    beginnings of what was too faint to be surely one. floor_db: the level of the room between them."""

    time_s: F
    level_db: F
    short: NDArray[np.bool_]
    faint_s: F
    floor_db: float = -90.0

    def since(self, time_s: float) -> Claps:
        """Those from a moment on."""
        there = self.time_s >= time_s
        return Claps(self.time_s[there], self.level_db[there], self.short[there], self.faint_s[self.faint_s >= time_s],
                     self.floor_db)


def find_claps(sound: Sound) -> Claps:
    """The claps and taps of a recording of any length, at any rate; none in silence."""
    spectrum, level = _heard(sound)
    if spectrum.shape[1] < 4:
        return Claps(np.zeros(0), np.zeros(0), np.zeros(0, dtype=bool), np.zeros(0))
    from librosa.onset import onset_detect

    envelope = np.maximum(np.diff(spectrum, axis=1, prepend=spectrum[:, :1]), 0).mean(axis=0)
    wait = round(APART_S * RATE / HOP)
    frames = onset_detect(onset_envelope=envelope, sr=RATE, hop_length=HOP, normalize=False, units="frames",
                          pre_max=wait // 2, post_max=wait // 2, pre_avg=4 * wait, post_avg=wait,
                          delta=FLUX, wait=wait).astype(int)
    after, before = round(0.04 * RATE / HOP), round(0.06 * RATE / HOP)
    peaks = np.array([level[f:f + after].max() for f in frames])
    floors = np.array([np.median(level[max(0, f - before):max(1, f - 2)]) for f in frames])
    falls = np.array([_fall(level, f, after) for f in frames])
    surely = peaks - floors >= LEAST_DB
    if surely.any():
        surely &= peaks >= np.median(np.sort(peaks[surely])[-max(3, surely.sum() // 2):]) - FAINT_DB
    times = frames * HOP / RATE
    return Claps(times[surely], peaks[surely], falls[surely] >= FALL_DB, times[~surely], float(np.median(level)))


def _fall(level: F, frame: int, after: int) -> float:
    """By how many dB the sound falls within FALL_S of its loudest frame, 0 where the recording ends before."""
    top = frame + int(np.argmax(level[frame:frame + after]))
    later = level[top + round(FALL_S * RATE / HOP):][:after]
    return float(level[top] - later.min()) if len(later) else 99.0


def _heard(sound: Sound) -> tuple[F, F]:
    """(level of each band in dB, shape (bands, frames); level of all of them, shape (frames,)), without the own beat."""
    power = _power(sound)
    bands = _bands() @ power
    with np.errstate(divide="ignore"):
        return 10 * np.log10(bands + 1e-9), 10 * np.log10(bands.sum(axis=0) + 1e-9)


def _power(sound: Sound) -> F:
    """Power by frequency and frame, shape (FRAME / 2 + 1, frames), a sine of full scale about 1."""
    samples = np.pad(sound.at_rate(RATE).samples.astype(np.float64), (FRAME // 2, FRAME // 2))
    frames = np.lib.stride_tricks.sliding_window_view(samples, FRAME)[::HOP] if len(samples) >= FRAME else np.zeros((0, FRAME))
    window = np.hanning(FRAME)
    power: F = (np.abs(np.fft.rfft(frames * window, axis=1)) / (window.sum() / 2)).T ** 2
    return power


@cache
def _bands() -> F:
    """Which frequencies belong to each band, a third of an octave wide, shape (bands, FRAME / 2 + 1)."""
    hertz = np.fft.rfftfreq(FRAME, 1 / RATE)
    edges = LOW_HZ * 2 ** np.arange(0, np.log2(HIGH_HZ / LOW_HZ) + 1 / 3, 1 / 3)
    own = (hertz >= KNOCK_HZ[0]) & (hertz <= KNOCK_HZ[1])
    rows = [(hertz >= a) & (hertz < b) & ~own for a, b in itertools.pairwise(edges)]
    return np.array([row for row in rows if row.any()], dtype=np.float64)


LATEST_S = 0.6  # between a sound's being given to a loudspeaker and its being in the recording
BEAT_DB = 8.0  # by which each of the own beats rises over what was before it


def own_beat(sound: Sound, beats: int, beat_s: float) -> float | None:
    """When the first of the companion's own beats is in a recording, seconds from its beginning; None where they are not
    heard in it, as with headphones. beats: how many, `beat_s` seconds apart, before anyone claps."""
    power = _power(sound)
    hertz = np.fft.rfftfreq(FRAME, 1 / RATE)
    with np.errstate(divide="ignore"):
        level = 10 * np.log10(power[(hertz >= KNOCK_HZ[0]) & (hertz <= KNOCK_HZ[1])].sum(axis=0) + 1e-9)
    latest = round(LATEST_S * RATE / HOP)
    places = np.round(np.arange(beats) * beat_s * RATE / HOP).astype(int)
    if beats < 2 or latest + places[-1] + 3 > len(level):
        return None
    # The weakest of the beats counts: a single noise is no beat.
    rises = np.array([level[at:at + 3].max() - np.median(level[max(0, at - 10):max(1, at - 4)])
                      for at in range(latest + int(places[-1]) + 1)])
    weakest = np.array([rises[at + places].min() for at in range(latest)])
    best = int(np.argmax(weakest))
    return (best + 1) * HOP / RATE if weakest[best] >= BEAT_DB else None
