"""A singer made of speech: eSpeak NG says each syllable, WORLD sings it at exact pitch and length.

eSpeak's sound differs a little from call to call within one process, so each syllable is said once and kept;
the pitch and timing of what is sung are exact all the same.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np

from singers.performance import STEP_S, Performance

RATE = 22050


@cache
def _syllable(text: str, tract: float) -> tuple[Any, Any, Any]:
    """(spectral envelope, aperiodicity, voiced) of a spoken syllable, frames of 5 ms."""
    import pyworld

    from companion.audio import speak
    from companion.language import English

    sound = speak(text, English(), rate_wpm=130)
    x = sound.samples.astype(np.float64)
    f0, t = pyworld.harvest(x, sound.rate, f0_floor=60, f0_ceil=400, frame_period=1000 * STEP_S)
    envelope = pyworld.cheaptrick(x, f0, t, sound.rate)
    aperiodic = pyworld.d4c(x, f0, t, sound.rate)
    loud = envelope.mean(axis=1)
    used = np.flatnonzero(loud > loud.max() * 1e-4)
    here = slice(used[0], used[-1] + 1)
    bins = np.arange(envelope.shape[1])
    warped = np.array([np.interp(bins / tract, bins, row) for row in envelope[here]])
    return warped, aperiodic[here], f0[here] > 0


def render(performance: Performance, tract: float, breath: float, rng: np.random.Generator,
           rate: int = RATE) -> np.ndarray:
    """Mono float32 sound of a performance. tract: formants are this much higher than eSpeak's man's."""
    import pyworld

    frames = len(performance.contour)
    example = _syllable("la", tract)
    width = example[0].shape[1]
    envelope = np.full((frames, width), 1e-12)
    aperiodic = np.ones((frames, width))
    f0 = np.zeros(frames)
    floor = 1e-12
    for note in performance.notes:
        shape, rough, voiced = _syllable(note.syllable, tract)
        sung = np.flatnonzero(voiced)
        if not len(sung):
            continue
        # Within the voiced run the vowel's middle is stretched; what is before it is the consonant.
        first, last = sung[0], sung[-1] + 1
        start = round(note.onset_s / STEP_S)
        length = round(note.duration_s / STEP_S)
        stop = min(start + length, frames)
        length = stop - start
        edge = min(8, (last - first) // 4)
        middle = np.interp(np.arange(length), [0, min(edge, length // 3), max(length - edge, length // 2), length],
                           [first, first + edge, last - edge - 1, last - 1])
        pick = np.clip(np.round(middle).astype(int), first, last - 1)
        gain = performance.level[start:stop, None] ** 2
        envelope[start:stop] = shape[pick] * gain / (shape[pick].mean() + floor) + 1e-12
        aperiodic[start:stop] = np.clip(rough[pick] + breath, 0.001, 0.999)
        f0[start:stop] = 440.0 * 2.0 ** ((performance.contour[start:stop] - 69) / 12)
        if not note.joined and first > 0:
            lead = min(first, 14, start)
            envelope[start - lead:start] += shape[first - lead:first] / (shape[pick].mean() + floor) * 0.5
    f0 = np.nan_to_num(f0)
    sound = pyworld.synthesize(f0, np.ascontiguousarray(envelope), np.ascontiguousarray(aperiodic), RATE,
                               1000 * STEP_S)
    if breath:
        hiss = rng.normal(0, 1, len(sound))
        level = np.interp(np.arange(len(sound)) / RATE / STEP_S, np.arange(frames), performance.level)
        sound = sound + 0.25 * breath * hiss * level * sound.std()
    return (0.3 * sound / (np.abs(sound).max() + 1e-9)).astype(np.float32)
