"""Lines at both ends of the range: low men, squealing children, and what is whistled or played on a recorder."""

from __future__ import annotations

from enum import Enum

import numpy as np
from scipy.signal import butter, sosfilt

from singers import melody, noisy, perform
from singers.formants import render as render_voice
from singers.performance import STEP_S, Performance, Style, VoiceKind

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


#: What sounds, and the middle of its lines (MIDI): 65 to 110 Hz, or 700 to 2000.
ENDS: dict[str, tuple[VoiceKind | Pipe, float]] = {
    "low man": (VoiceKind("low man", 40.5, 0.95, 0.02, 0.1), 40.5),
    "squealing child": (VoiceKind("squealing child", 86.0, 1.5, 0.05, 0.0), 86.0),
    "whistle": (Pipe.WHISTLE, 87.0), "recorder": (Pipe.RECORDER, 84.0)}


def end_take(name: str, seed: int, higher: float = 0.0) -> tuple[np.ndarray, Performance]:
    """A line of six notes at an end of the range, 30 dB over noise; all chance from the seed. higher: by so many semitones."""
    sounds, middle = ENDS[name]
    rng = np.random.default_rng([17, seed])
    line = melody(rng, 6)
    centre = (min(n.midi for n in line) + max(n.midi for n in line)) / 2
    p = perform(line, Style(shift=middle + higher - centre, miss=0.1, scoop=0.5, fall=0.5, shrink=0.8), rng)
    samples = render(p, sounds, rng) if isinstance(sounds, Pipe) else render_voice(p, sounds.tract, sounds.breath, rng)
    return noisy(samples, rng, 30.0), p
