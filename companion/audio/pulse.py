"""The beat as sound: a bar counted in, and a soft beat under what is played."""

from __future__ import annotations

import numpy as np

from companion.audio.glides import OUTPUT_RATE
from companion.audio.sound import PART_DB
from companion.ear import Sound

BEAT_S = 0.06  # of one knock: short enough to have a place in time, with no pitch to be taken for a note
FALL_S = 0.012  # in which it falls to a third
EDGE_S = 0.002  # of its beginning: no ear is startled
HERTZ, STRONG_HERTZ = 1500.0, 2000.0  # above all voices; the first of a bar is the brighter one
UNDER_DB = -6.0  # of a knock against a note, at its loudest: heard under it, and never over it


def knock(strong: bool = False) -> Sound:
    """One beat, as of two sticks. strong: the first of a bar."""
    t = np.arange(round(BEAT_S * OUTPUT_RATE)) / OUTPUT_RATE
    shape = np.exp(-t / FALL_S) * np.minimum(1, t / EDGE_S) * (1 - t / BEAT_S) ** 2  # to nothing at its end
    samples = np.sin(2 * np.pi * (STRONG_HERTZ if strong else HERTZ) * t) * shape
    peak = 10 ** ((PART_DB + UNDER_DB) / 20) * np.sqrt(2)
    return Sound((samples * peak / np.abs(samples).max()).astype(np.float32), OUTPUT_RATE)


def count_in(counts: int, beat_s: float) -> Sound:
    """So many beats, the first the strong one; each lasts `beat_s` seconds."""
    return with_beats(Sound(np.zeros(round(counts * beat_s * OUTPUT_RATE), dtype=np.float32), OUTPUT_RATE), beat_s, counts)


def with_beats(sound: Sound, beat_s: float, counts: int) -> Sound:
    """A sound that begins on the first beat of a bar of `counts` beats, with a soft beat under it, at its own rate."""
    samples = sound.at_rate(OUTPUT_RATE).samples.copy()
    # Half a sample less: a beat at the very end belongs to what comes next.
    for n in range(int(np.ceil((len(samples) - 0.5) / (beat_s * OUTPUT_RATE)))):
        beat = knock(n % counts == 0).samples
        at = round(n * beat_s * OUTPUT_RATE)
        samples[at:at + len(beat)] += beat[:len(samples) - at]
    return Sound(samples, OUTPUT_RATE)
