"""A take and its score heard together, bar by bar: the voice alone, then the written notes over it."""

from __future__ import annotations

import itertools

import numpy as np

from companion.audio import OUTPUT_RATE, Sound, concatenated, levelled, silence, tone
from companion.errors import Trouble
from companion.messages import _
from companion.transcribe import Notation, Transcription

BETWEEN_S, AFTER_S = 0.3, 0.8  # silence between the voice and both together, and after these
EDGE_S = 0.03  # the voice is faded in and out where it is cut


def compared_sound(transcription: Transcription) -> Sound:
    """For each bar in which a note begins: the take alone, then the take with the written notes sounded over it.

    The notes are sounded when they were sung and at the singer's own tuning, so that a wrong one rubs against the voice.
    Raises Trouble where the sound of the take is not there, or the score was made of several.
    """
    if len(transcription.sounds) != 1:
        raise Trouble(_("The score can be heard beside one take only, and its sound is wanted: give one sound file, or a kept "
                        "piece of work that has the sound in it."))
    n = transcription.notation
    bars = n.bars
    starts = [bars.index(b) for b in dict.fromkeys(bars)]
    parts: list[Sound] = []
    for first, after in itertools.pairwise([*starts, len(bars)]):
        alone = _voice(transcription.sounds[0], n, first, after)
        both = alone.samples.astype(np.float64)
        both[:] += _notes(n, first, after, len(both))
        parts += [levelled(alone), silence(BETWEEN_S, OUTPUT_RATE), levelled(Sound(both.astype(np.float32), OUTPUT_RATE)),
                  silence(AFTER_S, OUTPUT_RATE)]
    return concatenated(*parts, rate=OUTPUT_RATE)


def _span_s(n: Notation, first: int, after: int) -> tuple[float, float]:
    """Seconds at which notes first to after (not with it) begin and end in the take."""
    last = n.notes[after - 1].sung
    ends = [last.onset_s + last.duration_s]
    if after < len(n.notes):
        ends.append(n.notes[after].sung.onset_s)
    return n.notes[first].sung.onset_s, max(n.notes[first].sung.onset_s + 0.05, min(ends[-1], ends[0] + 1.0))


def _voice(sound: Sound, n: Notation, first: int, after: int) -> Sound:
    begin, end = _span_s(n, first, after)
    at = np.arange(round((end - begin) * OUTPUT_RATE)) / OUTPUT_RATE + begin
    samples = np.interp(at, np.arange(len(sound.samples)) / sound.rate, sound.samples, left=0.0, right=0.0)
    ramp = np.minimum(1.0, np.minimum(np.arange(len(samples)), np.arange(len(samples))[::-1]) / (EDGE_S * OUTPUT_RATE))
    return levelled(Sound((samples * ramp).astype(np.float32), OUTPUT_RATE))


def _notes(n: Notation, first: int, after: int, length: int) -> np.ndarray:
    """The written notes from the time at which they were sung to where the next one or a rest begins."""
    begin, end = _span_s(n, first, after)
    out = np.zeros(length)
    for i in range(first, after):
        note = n.notes[i]
        until = n.notes[i + 1].sung.onset_s if i + 1 < after else end
        seconds = max(0.05, (until - note.sung.onset_s) * note.ticks / note.length)
        at = round((note.sung.onset_s - begin) * OUTPUT_RATE)
        sounded = tone(np.full(round(seconds * OUTPUT_RATE), note.midi + note.tuning), "tune")[:max(0, length - at)]
        out[at:at + len(sounded)] += sounded
    return np.asarray(levelled(Sound(out.astype(np.float32), OUTPUT_RATE)).samples, dtype=np.float64)
