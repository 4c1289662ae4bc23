"""A singer made of a pulse source through formant filters, with no speech library behind it."""

from __future__ import annotations

import numpy as np
from scipy.signal import butter, lfilter, sosfilt

from singers.performance import STEP_S, Performance

RATE = 22050
#: First four formants (Hz) of an adult man's vowels, after Peterson and Barney (1952), from memory.
FORMANTS = {
    "a": (730, 1090, 2440, 3400), "e": (530, 1840, 2480, 3500), "i": (270, 2290, 3010, 3600),
    "o": (570, 840, 2410, 3300), "u": (300, 870, 2240, 3300),
}  # fmt: skip
BANDWIDTHS = (70, 90, 130, 200)
OPEN = 0.6  # part of each period in which the glottis is open (Rosenberg 1971, type C)


def _pulse(phase: np.ndarray) -> np.ndarray:
    """Glottal flow for phases 0 to 1: rises over two thirds of the open part, falls over the rest."""
    rise, fall = OPEN * 2 / 3, OPEN / 3
    up = 0.5 * (1 - np.cos(np.pi * phase / rise))
    down = np.cos(np.pi / 2 * (phase - rise) / fall)
    return np.where(phase < rise, up, np.where(phase < OPEN, down, 0.0))


def render(performance: Performance, tract: float, breath: float, rng: np.random.Generator,
           rate: int = RATE) -> np.ndarray:
    """Mono float32 sound of a performance. tract: formants are this much higher than a man's."""
    inner = 2 * rate  # the pulses are made at twice the rate, so that they alias little
    samples = int(performance.seconds * inner)
    at = np.arange(samples) / inner / STEP_S
    index = np.minimum(at.astype(int), len(performance.contour) - 1)
    known = ~np.isnan(performance.contour)
    filled = np.interp(np.arange(len(known)), np.flatnonzero(known), performance.contour[known])
    midi = np.interp(at, np.arange(len(filled)), filled)
    level = np.interp(at, np.arange(len(known)), performance.level) * known[index]
    jitter = np.interp(np.arange(samples), np.arange(0, samples + 200, 200),
                       rng.normal(0, 0.0015, samples // 200 + 2)[:len(np.arange(0, samples + 200, 200))])
    f0 = 440.0 * 2.0 ** ((midi - 69) / 12) * (1 + jitter)
    phase = np.cumsum(f0 / inner) % 1.0
    flow = _pulse(phase)
    source = np.diff(flow, prepend=0.0) * inner / 2000.0
    source = source * level
    noise = rng.normal(0, 1, samples) * level * breath * (0.4 + flow)
    mixed = sosfilt(butter(4, 0.45, output="sos"), source + noise)[::2]
    out = np.zeros(len(mixed))
    vowels = list(FORMANTS)
    states = [np.zeros(2) for _ in BANDWIDTHS]
    edges = [0] + [int(n.onset_s * rate) for n in performance.notes[1:]] + [len(mixed)]
    for k, note in enumerate(performance.notes):
        vowel = next((c for c in note.syllable if c in vowels), vowels[k % 5])
        piece = mixed[edges[k]:edges[k + 1]]
        for m, (formant, width) in enumerate(zip(FORMANTS[vowel], BANDWIDTHS, strict=True)):
            f = min(formant * tract, rate * 0.45)
            r = np.exp(-np.pi * width * tract / rate)
            a1, a2 = -2 * r * np.cos(2 * np.pi * f / rate), r * r
            piece, states[m] = lfilter([1 + a1 + a2], [1, a1, a2], piece, zi=states[m])
        out[edges[k]:edges[k + 1]] = piece
    for k, note in enumerate(performance.notes):
        if note.consonant == "stop" and not note.joined:
            _burst(out, note.onset_s, rate, rng, k)
    return (0.3 * out / (np.abs(out).max() + 1e-9)).astype(np.float32)


def _burst(out: np.ndarray, onset_s: float, rate: int, rng: np.random.Generator, k: int) -> None:
    """A hiss of 40 to 70 ms before a note, as of s or t."""
    length = int(rng.uniform(0.04, 0.07) * rate)
    end = int(onset_s * rate)
    start = max(0, end - length)
    hiss = sosfilt(butter(2, 0.3, "high", output="sos"), rng.normal(0, 1, end - start))
    shape = np.sin(np.linspace(0, np.pi, end - start))
    out[start:end] += hiss * shape * 0.12 * (np.abs(out).max() + 1e-9)
