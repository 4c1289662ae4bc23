"""Hands that clap or tap with known truth: two makers, in a room, with noise, and with the companion's own beat.

"clap": a burst of noise through a resonance, as of two palms (Repp 1987: most power from 500 Hz to 3 kHz, gone in some 20 to
30 ms). "tap": a few damped modes of a table below 1.2 kHz, and the click of the first touch. All chance comes from the
generator that is passed in.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from companion.audio import OUTPUT_RATE, concatenated, count_in, silence, with_beats
from companion.ear import RATE, Sound

MAKERS = ("clap", "tap")


def one(maker: str, rng: np.random.Generator) -> np.ndarray:
    """One clap or tap at RATE, its loudest sample 1."""
    n = round(0.15 * RATE)
    t = np.arange(n) / RATE
    if maker == "clap":
        centre, width = rng.uniform(700, 2200), rng.uniform(500, 1500)
        spectrum = np.fft.rfft(rng.normal(size=n) * np.exp(-t / rng.uniform(0.006, 0.02)))
        hertz = np.fft.rfftfreq(n, 1 / RATE)
        spectrum *= 1 / (1 + ((hertz - centre) / width) ** 2) + 0.05
        out = np.fft.irfft(spectrum, n) * np.exp(-t / 0.025)  # the resonance rings on no longer
    else:
        out = np.zeros(n)
        for _mode in range(3):
            out += rng.uniform(0.3, 1) * np.sin(2 * np.pi * rng.uniform(120, 1200) * t) * np.exp(-t / rng.uniform(0.008, 0.03))
        click = round(0.0015 * RATE)
        out[:click] += rng.normal(size=click) * rng.uniform(0.3, 0.8)
    return out / np.abs(out).max()


def clapped(times_s: Sequence[float], maker: str, rng: np.random.Generator, *, seconds: float | None = None, room_s: float = 0.0,
            noise_db: float = -65.0, level_db: float = -12.0, own: Sound | None = None, own_db: float = -20.0,
            late_s: float = 0.12) -> Sound:
    """A recording of claps at these moments.

    room_s: reverberation time (60 dB), 0 for none. noise_db: of the room, dB re full scale. level_db: peak of a clap; each
    differs by some 2.5 dB. own: what the companion sounds meanwhile, from `late_s` on, its loudest sample at `own_db`.
    """
    length = round((seconds if seconds is not None else max(times_s, default=0.0) + 1.2) * RATE)
    out = np.zeros(length + RATE)
    for at in times_s:
        here = one(maker, rng) * 10 ** ((level_db + rng.normal(0, 2.5)) / 20)
        k = max(0, round(at * RATE))
        out[k:k + len(here)] += here[:len(out) - k]
    if own is not None:
        beat = own.at_rate(RATE).samples.astype(np.float64)
        beat *= 10 ** (own_db / 20) / (np.abs(beat).max() + 1e-9)
        k = round(late_s * RATE)
        out[k:k + len(beat)] += beat[:len(out) - k]
    if room_s:
        t = np.arange(round(room_s * RATE)) / RATE
        tail = rng.normal(size=len(t)) * 10 ** (-3 * t / room_s) * 0.03
        tail[0] = 1.0
        size = 1 << (len(out) + len(tail)).bit_length()
        out = np.fft.irfft(np.fft.rfft(out, size) * np.fft.rfft(tail, size), size)[:len(out)]
    out = out[:length] + rng.normal(size=length) * 10 ** (noise_db / 20)
    return Sound(np.clip(out, -1, 1).astype(np.float32), RATE)


def beat_under(counts: int, beat_s: float, bar_s: float) -> Sound:
    """What the companion sounds while hands clap: a bar counted in, then a soft beat."""
    bar = silence(bar_s, OUTPUT_RATE)
    return concatenated(count_in(counts, beat_s), with_beats(bar, beat_s, counts), rate=OUTPUT_RATE)
