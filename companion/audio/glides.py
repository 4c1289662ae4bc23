"""Moves for the ear: a glide from one pitch to the next, the tune's and then the voice's own.

The two are told apart by timbre, not only by order or ear: the tune's is round, as of a flute (few
harmonics, falling fast); the voice's is reedy, as of an oboe (many harmonics, odd and even). Both rest on
their first and last pitch long enough to be heard as notes.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from companion.audio.sound import PART_DB, concatenated, silence
from companion.ear import Sound
from companion.match import Match, Move
from companion.tune import LineNote

OUTPUT_RATE = 44100
REST_S = 0.35  # on the first and on the last pitch: longer than the 0.1 s or so that a pitch needs
GLIDE_S = 0.4
BETWEEN_S = 0.25
NOTE_S = 0.5  # a crotchet, where no tempo is given
EDGE_S = 0.015  # soft ends of a note in a line: short enough that repeated notes stay crisp
SOFT_EDGE_S = 0.05  # of a tone that stands alone, after silence: no ear is startled
#: Amplitudes of the harmonics from the first on.
FLUTE = (1.0, 0.25, 0.06, 0.02)
REED = (0.55, 0.7, 0.85, 0.7, 0.55, 0.42, 0.3, 0.22, 0.15, 0.1)
TIMBRES = {"tune": FLUTE, "voice": REED}


def hertz(midi: float | NDArray[np.float64]) -> NDArray[np.float64]:
    """Equal temperament on A4 = 440 Hz (ISO 16)."""
    return np.asarray(440.0 * 2.0 ** ((np.asarray(midi, dtype=np.float64) - 69.0) / 12.0))


def tone(midi: NDArray[np.float64], timbre: str, edge_s: float = EDGE_S) -> NDArray[np.float32]:
    """Sound of a pitch contour: one MIDI number a sample, at OUTPUT_RATE, at PART_DB RMS. timbre: "tune" or "voice".

    edge_s: length of the soft ends, seconds. An empty contour gives no samples.
    """
    if not len(midi):
        return np.zeros(0, dtype=np.float32)
    f0 = hertz(midi)
    phase = 2 * np.pi * np.cumsum(f0) / OUTPUT_RATE
    out = np.zeros(len(midi))
    for k, strength in enumerate(TIMBRES[timbre], 1):
        # Harmonics fade out below half the rate, so that none folds back.
        room = np.clip((OUTPUT_RATE / 2 - k * f0) / 2000.0, 0, 1)
        out += strength * room * np.sin(k * phase)
    out *= 10 ** (PART_DB / 20) / (float(np.sqrt(np.mean(out**2))) + 1e-9)
    edge = min(len(out) // 2, round(edge_s * OUTPUT_RATE))
    ramp = np.sin(np.linspace(0, np.pi / 2, edge)) ** 2
    out[:edge] *= ramp
    out[len(out) - edge:] *= ramp[::-1]
    return out.astype(np.float32)


def glide(start_midi: float, end_midi: float, timbre: str = "tune") -> Sound:
    """One move as a tone that rises, falls or stays: it rests, glides, rests."""
    rest, slide = round(REST_S * OUTPUT_RATE), round(GLIDE_S * OUTPUT_RATE)
    bend = 0.5 - 0.5 * np.cos(np.linspace(0, np.pi, slide))
    contour = np.concatenate([np.full(rest, start_midi), start_midi + (end_midi - start_midi) * bend,
                              np.full(rest, end_midi)])
    return Sound(tone(contour, timbre, SOFT_EDGE_S), OUTPUT_RATE)


def move_glides(match: Match, move: Move, own: bool = True) -> Sound:
    """For one move: the tune's glide, then (with `own`) the voice's own, both in the pupil's octave and key.

    The tune's glide begins on the pitch that was sung, so that what differs is the move.
    """
    heard = {n.written.number: n for n in match.notes}
    first, last = heard[move.start], heard[move.end]
    shift = match.shift_semitones or 0.0
    start = first.midi if first.midi is not None else first.written.midi + shift
    tune = glide(start, start + move.wanted_semitones, "tune")
    if last.midi is None or first.midi is None or not own:
        return tune
    return concatenated(tune, silence(BETWEEN_S, OUTPUT_RATE), glide(start, last.midi, "voice"), rate=OUTPUT_RATE)


def line_sound(line: Sequence[LineNote], shift: float = 0.0, quarter_s: float = NOTE_S,
               timbre: str = "tune") -> Sound:
    """A line played note for note, `shift` semitones from where it is written, `quarter_s` a crotchet."""
    parts: list[Sound] = []
    for note in line:
        length = round(float(note.quarters) * quarter_s * OUTPUT_RATE)
        parts.append(Sound(tone(np.full(length, note.midi + shift), timbre), OUTPUT_RATE))
        if note.rest_after:
            parts.append(silence(float(note.rest_after) * quarter_s, OUTPUT_RATE))
    return concatenated(*parts, rate=OUTPUT_RATE)


def starting_note(midi: float, seconds: float = 1.0) -> Sound:
    """The note to begin on: `midi` may lie between the keys of a piano."""
    return Sound(tone(np.full(round(seconds * OUTPUT_RATE), float(midi)), "tune", SOFT_EDGE_S), OUTPUT_RATE)
