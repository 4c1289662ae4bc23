"""Singers for tests: synthesised, so that the truth is known. Three makers, so that nothing is tuned to one.

`corpus("formants" | "speech", n, seed)` gives n takes with their truth. All chance comes from the seed; what
eSpeak says differs in its last bits from run to run, pitch and timing do not.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from companion.tune import Key, LineNote, spell
from singers.performance import VOICES, LineItem, Performance, Style, VoiceKind, melody, perform, some_style

__all__ = ["VOICES", "LineItem", "Performance", "Style", "Take", "VoiceKind", "corpus", "line_of", "melody", "noisy",
           "perform", "render", "room", "some_style"]

RATE = 22050


def line_of(performance: Performance) -> tuple[LineNote, ...]:
    """The written notes of a performance as the line that a take is held against."""
    out: list[LineNote] = []
    now = Fraction(0)
    for i, x in enumerate(performance.line):
        quarters, rest = Fraction(x.quarters), Fraction(x.rest_after)
        out.append(LineNote(number=i + 1, pitch=spell(x.midi, Key()), onset_quarters=now, quarters=quarters,
                            syllable=x.syllable, word_place="single", phrase=1, bar=1, rest_after=rest, sources=()))
        now += quarters + rest
    return tuple(out)


@dataclass(frozen=True)
class Take:
    """Sound of a performance, mono float32 at RATE."""

    samples: np.ndarray
    performance: Performance
    rate: int = RATE


def render(performance: Performance, voice: VoiceKind, maker: str, rng: np.random.Generator) -> np.ndarray:
    """Mono float32 at RATE by one of the makers: "formants", "speech", or "harmonics", on which nothing is fitted."""
    if maker == "formants":
        from singers.formants import render as make
    elif maker == "harmonics":
        from singers.harmonics import render as make
    else:
        from singers.speech import render as make
    return make(performance, voice.tract, voice.breath, rng)


def room(samples: np.ndarray, rng: np.random.Generator, decay_s: float = 0.35, wet: float = 0.12) -> np.ndarray:
    """A furnished room: early echoes and an exponentially fading noise tail (-60 dB after `decay_s`)."""
    from scipy.signal import fftconvolve

    n = int(decay_s * RATE)
    tail = rng.normal(0, 1, n) * np.exp(-6.9 * np.arange(n) / n)
    tail /= np.sqrt(np.sum(tail**2))
    return (samples + wet * fftconvolve(samples, tail)[:len(samples)]).astype(np.float32)


def noisy(samples: np.ndarray, rng: np.random.Generator, snr_db: float) -> np.ndarray:
    """Pink noise at `snr_db` below the singing (level of its louder half)."""
    spectrum = np.fft.rfft(rng.normal(0, 1, len(samples)))
    spectrum /= np.sqrt(np.arange(len(spectrum)) + 20.0)
    pink = np.fft.irfft(spectrum, len(samples))
    loud = np.sqrt(np.mean(np.sort(samples**2)[len(samples) // 2:]))
    return (samples + pink / pink.std() * loud * 10 ** (-snr_db / 20)).astype(np.float32)


def corpus(maker: str, count: int, seed: int) -> Iterator[Take]:
    """`count` takes of the mix: children, low and high adults, breathy, noise, room, scoops, drift, shrunken
    steps, one move turned round in half of them, notes left out."""
    for k in range(count):
        rng = np.random.default_rng([seed, k])
        line = melody(rng, int(rng.integers(6, 11)))
        voice = VOICES[k % len(VOICES)]
        style, tags = some_style(rng, voice, line, turned=k % 2 == 1)
        performance = perform(line, style, rng)
        samples = render(performance, voice, maker, rng)
        place = float(rng.random())
        tags["room"], tags["noise"] = place < 0.35, place > 0.8
        if tags["room"]:
            samples = room(samples, rng, float(rng.uniform(0.2, 0.6)), float(rng.uniform(0.05, 0.2)))
        samples = noisy(samples, rng, 10.0 if tags["noise"] else float(rng.uniform(30, 50)))
        performance.tags = {**tags, "maker": maker, "number": k}
        yield Take((samples / max(1.0, float(np.abs(samples).max()) / 0.9)).astype(np.float32), performance)
