"""The timbre of a voice over one take: its spectral envelope, as cepstral coefficients of what its harmonics carry.

The envelope is read at the harmonics alone, so that two takes in different keys can be compared, and averaged over a take,
so that its vowels come to the same where the same line is sung again.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from companion.ear import RATE, PitchTrack

F = NDArray[np.float64]
F32 = NDArray[np.float32]

SIZE = 2048  # samples of a frame: 93 ms, so that harmonics of 80 Hz stand apart
EVERY = 2  # every second frame of the track (20 ms)
MOST_FRAMES = 150
LOW_HZ, HIGH_HZ = 400.0, 7500.0
POINTS = 24  # places of the envelope, evenly spaced in mel
COEFFICIENTS = 12  # of its cosine transform, without the first, which is level
NEAR_HZ = 33.0  # a harmonic is looked for so far from its place: vibrato, and rounding of the pitch
FEWEST_FRAMES = 15  # 0.3 s of voice
FLOOR_DB = 50.0  # parts so far under the loudest are the room


def _mel(hz: F) -> F:
    """O'Shaughnessy 1987."""
    return np.asarray(2595.0 * np.log10(1.0 + hz / 700.0))


def _centres() -> F:
    mel = np.linspace(float(_mel(np.array(LOW_HZ))), float(_mel(np.array(HIGH_HZ))), POINTS)
    return np.asarray(700.0 * (10 ** (mel / 2595.0) - 1.0))


def timbre_of(samples: F32, start_s: float, track: PitchTrack) -> F | None:
    """Cepstral coefficients (COEFFICIENTS of them, in dB) of the voice in a take; None where there is too little of it.

    samples: mono at RATE; start_s: the time of the first of them on the track's scale.
    """
    voiced = np.flatnonzero(track.f0_hz > 0)[::EVERY]
    at = np.round((track.time_s[voiced] - start_s) * RATE).astype(int) - SIZE // 2
    inside = (at >= 0) & (at + SIZE <= len(samples))
    voiced, at = voiced[inside], at[inside]
    if len(voiced) < FEWEST_FRAMES:
        return None
    if len(voiced) > MOST_FRAMES:
        pick = np.linspace(0, len(voiced) - 1, MOST_FRAMES).astype(int)
        voiced, at = voiced[pick], at[pick]
    frames = np.lib.stride_tricks.sliding_window_view(samples, SIZE)[at] * np.hanning(SIZE).astype(np.float32)
    power = np.square(np.abs(np.fft.rfft(frames)))
    reach = np.arange(-round(NEAR_HZ * SIZE / RATE), round(NEAR_HZ * SIZE / RATE) + 1)
    centres, envelope = _centres(), np.empty((len(voiced), POINTS))
    for row, f0 in enumerate(track.f0_hz[voiced].tolist()):
        harmonics = np.arange(1, int(HIGH_HZ / f0) + 2) * f0
        bins = np.round(harmonics * SIZE / RATE).astype(int)[:, None] + reach
        level = 10.0 * np.log10(power[row, np.minimum(bins, power.shape[1] - 1)].max(axis=1) + 1e-9)
        envelope[row] = np.interp(centres, harmonics, np.maximum(level, level.max() - FLOOR_DB))
    mean = envelope.mean(axis=0)
    k = np.arange(1, COEFFICIENTS + 1)[:, None]
    return np.asarray((np.cos(np.pi * k * (np.arange(POINTS) + 0.5) / POINTS) @ mean) * (2.0 / POINTS))


#: Spread of each coefficient between two takes of one line by one voice, dB: ten synthesised singers of each of the two
#: makers, three songs, one take with a move turned round (so in another key from there on), noise 25 to 45 dB down.
SPREAD = (0.80, 0.98, 0.83, 0.61, 0.62, 0.75, 0.55, 0.48, 0.46, 0.39, 0.33, 0.28)
MOST = 4.0  # spreads that one coefficient may count


def apart(one: F, other: F) -> float:
    """How far two takes of the same line are apart in timbre, in spreads. Of one voice: 0.5 in the middle, 95 % below 1.0
    (formants) and 2.2 (speech); of a child and an adult in one octave, whose vocal tracts are a fifth apart: 2.1 and 2.7,
    98 % above 1.4 and 2.0. Takes of different lines cannot be compared: their vowels differ by more than voices do."""
    return float(np.minimum(np.abs(one - other) / np.array(SPREAD), MOST).mean())
