"""The timbre of a voice in a take: its spectral envelope, as cepstral coefficients of what its harmonics carry.

The envelope is read at the harmonics alone, so that two takes in different keys can be compared, and averaged over each note,
so that it is compared with the same note of the same line, whose vowel is the same.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from companion.ear import RATE, PitchTrack
from companion.match import HeardNote

F = NDArray[np.float64]
F32 = NDArray[np.float32]

SIZE = 2048  # samples of a frame: 93 ms, so that harmonics of 80 Hz stand apart
EVERY = 2  # every second frame of the track (20 ms)
MOST_FRAMES = 150
LOW_HZ, HIGH_HZ = 400.0, 7500.0
POINTS = 24  # places of the envelope, evenly spaced in mel
#: Of its cosine transform, without the first, which is level. Of more, the higher ones vary within a voice as between voices:
#: with twelve, 5 % of pairs of takes of one voice lie above 1.13 (with spoken vowels), with seven above 0.88.
COEFFICIENTS = 7
NEAR_HZ = 33.0  # a harmonic is looked for so far from its place: vibrato, and rounding of the pitch
FEWEST_FRAMES = 15  # 0.3 s of voice
FEWEST_OF_A_NOTE = 3
FLOOR_DB = 50.0  # parts so far under the loudest are the room


def _mel(hz: F) -> F:
    """O'Shaughnessy 1987."""
    return np.asarray(2595.0 * np.log10(1.0 + hz / 700.0))


def _centres() -> F:
    mel = np.linspace(float(_mel(np.array(LOW_HZ))), float(_mel(np.array(HIGH_HZ))), POINTS)
    return np.asarray(700.0 * (10 ** (mel / 2595.0) - 1.0))


@dataclass(frozen=True, eq=False)
class Colour:
    """The timbre of a take frame by frame: time_s (n,), values (n, COEFFICIENTS) in dB."""

    time_s: F
    values: F


#: The timbre of each note that was sung, by what tells it from others.
Timbre = Mapping[Hashable, F]


def colour_of(samples: F32, start_s: float, track: PitchTrack) -> Colour | None:
    """The timbre of the voice in a take; None where there is too little of it.

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
    k = np.arange(1, COEFFICIENTS + 1)[:, None]
    transform = np.cos(np.pi * k * (np.arange(POINTS) + 0.5) / POINTS) * (2.0 / POINTS)
    return Colour(track.time_s[voiced], np.asarray(envelope @ transform.T))


def timbre_of(colour: Colour, notes: Sequence[HeardNote]) -> Timbre:
    """The mean of each note that was sung. Notes are told apart by number, pitch and syllable."""
    out: dict[Hashable, F] = {}
    for n in notes:
        if n.onset_s is None or n.duration_s is None:
            continue
        inside = (colour.time_s >= n.onset_s) & (colour.time_s <= n.onset_s + n.duration_s)
        if np.count_nonzero(inside) >= FEWEST_OF_A_NOTE:
            out[n.written.number, n.written.midi, n.written.syllable] = colour.values[inside].mean(axis=0)
    return out


#: Spread of each coefficient between two takes of one line by one voice, dB: ten synthesised singers of each of the two
#: makers, three songs, one take with a move turned round (so in another key from there on), noise 25 to 45 dB down.
SPREAD = (0.80, 0.98, 0.83, 0.61, 0.62, 0.75, 0.55)
MOST = 4.0  # spreads that one coefficient may count
NOTES = 7  # of the lines from which the spreads come
FEWEST_NOTES = 3  # that two takes must have in common


def difference(one: Timbre, other: Timbre) -> F | None:
    """The mean of one minus other over the notes that both have, in spreads; None where they are too few."""
    both = [key for key in one if key in other]
    if len(both) < FEWEST_NOTES:
        return None
    spread = np.array(SPREAD) * np.sqrt(NOTES / min(NOTES, len(both)))
    return np.asarray(np.mean([one[key] - other[key] for key in both], axis=0) / spread)


def apart(one: Timbre, other: Timbre) -> float | None:
    """How far two takes of the same notes are apart in timbre, in spreads; None where they have too few in common. Of one
    voice: 0.6 in the middle, 95 % below 0.8 (formants) and 0.9 (speech); of a child and a grown-up who sings in its octave: 1.9
    and 2.5, 95 % above 1.0 and 2.0; of two children whose vocal tracts differ by 8 % and more: 1.1 and 1.8, 95 % above 0.8 and
    1.5 (14 singers of the two makers who are in none of the lessons on which the figures are reported). Different notes cannot
    be compared: their vowels differ by more than voices do."""
    found = difference(one, other)
    return None if found is None else float(np.minimum(np.abs(found), MOST).mean())
