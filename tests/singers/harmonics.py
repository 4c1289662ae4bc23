"""A singer made of single harmonics: each is a sine whose amplitude follows the spectrum of a vowel and how a note swells.

Nothing is shared with the other makers but the performance: no pulses, no filters, no speech. Notes swell and die away,
consonants darken the voice instead of only softening it, and breath is heard before a phrase. Amounts are choices, not
measured.
"""

from __future__ import annotations

import numpy as np
from scipy.signal import butter, sosfilt

from singers.performance import STEP_S, Performance, Sung

RATE = 22050
#: First three resonances (Hz) and how wide they are, of a tract of an adult man's size; one vowel of each syllable.
RESONANCES = {"a": (700, 1150, 2600), "e": (500, 1750, 2550), "i": (290, 2150, 2900), "o": (450, 800, 2500),
              "u": (330, 750, 2350)}
WIDE = (90.0, 110.0, 170.0)
TILT_DB = 9.0  # by which the source falls an octave
MOST_HZ, MOST_HARMONICS = 5500.0, 40
BREATH_S = 0.2


def _spectrum(hz: np.ndarray, vowel: str, tract: float) -> np.ndarray:
    """Amplitude at each frequency (Hz): resonances as peaks of a Lorentz curve over a falling source."""
    peaks = sum(1.0 / (1.0 + ((hz - f * tract) / (w * tract)) ** 2) for f, w in zip(RESONANCES[vowel], WIDE, strict=True))
    return np.asarray((0.04 + peaks) * 10 ** (-TILT_DB / 20 * np.log2(np.maximum(hz, 50.0) / 100.0)))


def _swell(notes: list[Sung], frames: int, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Level, and darkness (0 to 1) by consonants, every STEP_S."""
    level, dark = np.zeros(frames), np.zeros(frames)
    for k, note in enumerate(notes):
        a, b = round(note.onset_s / STEP_S), min(frames, round((note.onset_s + note.duration_s) / STEP_S))
        t = np.arange(b - a) * STEP_S
        shape = rng.uniform(0.7, 1.0) * (1.0 - 0.35 * t / max(t[-1], 0.1))
        if not note.joined:
            shape *= np.clip(t / rng.uniform(0.02, 0.08), 0.02, 1)
        elif note.consonant:  # where notes are joined with a consonant, the mouth closes for a moment
            closed = np.exp(-0.5 * ((t - 0.035) / rng.uniform(0.018, 0.028)) ** 2)
            shape *= 1 - rng.uniform(0.45, 0.8) * closed
            dark[a:b] = np.maximum(dark[a:b], closed)
        if k + 1 == len(notes) or not notes[k + 1].joined:
            shape *= np.clip((note.duration_s - t) / rng.uniform(0.04, 0.1), 0, 1)
        level[a:b] = shape
    return level, dark


def render(performance: Performance, tract: float, breath: float, rng: np.random.Generator, rate: int = RATE) -> np.ndarray:
    """Mono float32 sound of a performance. tract: resonances are this much higher than a man's; breath: share of noise."""
    frames, samples = len(performance.contour), int(performance.seconds * rate)
    known = ~np.isnan(performance.contour)
    midi = np.interp(np.arange(frames), np.flatnonzero(known), performance.contour[known])
    midi = midi + 0.02 * np.convolve(rng.normal(0, 1, frames), np.ones(6) / 6, "same")
    level, dark = _swell(performance.notes, frames, rng)
    at = np.arange(samples) / rate / STEP_S
    f0 = 440.0 * 2.0 ** ((midi - 69) / 12)
    phase = 2 * np.pi * np.cumsum(np.interp(at, np.arange(frames), f0) / rate)
    starts = np.array([round(n.onset_s / STEP_S) for n in performance.notes])
    vowel_of = np.clip(np.searchsorted(starts, np.arange(frames), "right") - 1, 0, None)
    vowels = [next((c for c in n.syllable if c in RESONANCES), "a") for n in performance.notes]
    out = np.zeros(samples)
    for harmonic in range(1, min(MOST_HARMONICS, int(MOST_HZ / f0.min())) + 1):
        hz = harmonic * f0
        table = np.stack([_spectrum(hz, v, tract) for v in RESONANCES])
        rows = np.array([list(RESONANCES).index(v) for v in vowels])[vowel_of]
        amplitude = table[rows, np.arange(frames)] * level * (hz < MOST_HZ) * (1 - dark * min(1.0, 0.22 * (harmonic - 1)))
        amplitude = np.convolve(amplitude * (1 + 0.04 * rng.normal(0, 1, frames)), np.ones(4) / 4, "same")
        out += np.interp(at, np.arange(frames), amplitude) * np.sin(harmonic * phase + rng.uniform(0, 2 * np.pi))
    out /= np.abs(out).max() + 1e-9
    air = sosfilt(butter(2, [0.08, 0.5], "band", output="sos"), rng.normal(0, 1, samples))
    air /= air.std()
    drawn = np.zeros(frames)
    for k, note in enumerate(performance.notes):
        before = performance.notes[k - 1].onset_s + performance.notes[k - 1].duration_s if k else 0.0
        if note.onset_s - before > 0.11 and not note.joined:
            a, b = round(max(before, note.onset_s - BREATH_S) / STEP_S), round((note.onset_s - 0.03) / STEP_S)
            drawn[a:b] = np.hanning(b - a + 2)[1:-1]
    hiss = 0.15 * breath * level + (0.01 + 0.1 * breath) * drawn
    out = out + air * np.interp(at, np.arange(frames), hiss)
    return (0.3 * out / (np.abs(out).max() + 1e-9)).astype(np.float32)
