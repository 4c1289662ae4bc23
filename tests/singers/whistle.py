"""Lines that are whistled or played on a recorder: nearly a sine, with breath."""

from __future__ import annotations

from enum import Enum

import numpy as np
from scipy.signal import butter, sosfilt

from singers.performance import STEP_S, Performance

RATE = 22050


class Pipe(Enum):
    """What sounds: the amplitude of each harmonic, and of the breath, against the first (choices, not measured)."""

    WHISTLE = ((1.0, 0.01), 0.05)
    RECORDER = ((1.0, 0.06, 0.12, 0.02), 0.02)


def render(performance: Performance, pipe: Pipe, rng: np.random.Generator, rate: int = RATE) -> np.ndarray:
    """Mono float32 sound of a performance."""
    amplitudes, breath = pipe.value
    samples = int(performance.seconds * rate)
    at = np.arange(samples) / rate / STEP_S
    index = np.minimum(at.astype(int), len(performance.contour) - 1)
    known = ~np.isnan(performance.contour)
    filled = np.interp(np.arange(len(known)), np.flatnonzero(known), performance.contour[known])
    midi = np.interp(at, np.arange(len(filled)), filled)
    level = np.interp(at, np.arange(len(known)), performance.level) * known[index]
    f0 = 440.0 * 2.0 ** ((midi - 69) / 12)
    phase = 2 * np.pi * np.cumsum(f0 / rate)
    tone = sum(a * np.sin(k * phase) * (k * f0 < rate / 2) for k, a in enumerate(amplitudes, 1))
    hiss = sosfilt(butter(2, [0.05, 0.6], "band", output="sos"), rng.normal(0, 1, samples))
    out = level * (tone + breath * hiss / hiss.std())
    return (0.3 * out / (np.abs(out).max() + 1e-9)).astype(np.float32)
