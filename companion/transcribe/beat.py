"""Whether a steady beat goes through a take at all."""

from __future__ import annotations

import itertools

import numpy as np

from companion.transcribe.folk_counts import MOST_TICKS, TICKS, prior
from companion.transcribe.notation import Notation

#: A tune has no steady beat where its lengths lie far from their values, these values are rare where they stand, and the
#: readings do not agree. Of 67 takes with a beat none has all three (the nearest: 0.13, 0.96 and 0.98); lengths drawn at
#: random have 0.16 to 0.20, 1.2 to 1.3 and 0.65 to 0.95.
UNSTEADY, RARE, AGREED = 0.14, 1.1, 0.97
MOST_OFF = 1.0  # of the logarithm of a length against its value: what is farther off counts as much


def off_length(n: Notation, i: int) -> float:
    """Logarithm of the time to the next note against the note's value at its tempo, without sign; 0 for the last note."""
    if i + 1 == len(n.notes):
        return 0.0
    note = n.notes[i]
    seconds = max(n.notes[i + 1].sung.onset_s - note.sung.onset_s, 0.02)
    return min(MOST_OFF, abs(float(np.log(seconds * TICKS / (note.length * note.quarter_s)))))


def rarities(n: Notation) -> list[float]:
    """Logarithm of how rare the length of each note is where it stands; 0 for the last note."""
    value = prior(n.time, n.style).value
    places = itertools.accumulate((note.length for note in n.notes[:-1]), initial=n.place)
    return [-float(value[place % n.bar_ticks, min(note.length, MOST_TICKS)])
            for place, note in zip(places, n.notes[:-1], strict=False)] + [0.0]


def has_no_beat(n: Notation) -> bool:
    """Whether no steady beat was found, and nobody has given one."""
    g = n.given
    if g.bpm or g.time or g.beats_s or g.times or g.counted_in or g.on_strong_beat is not None or len(n.notes) < 2:
        return False
    off = np.mean([off_length(n, i) for i in range(len(n.notes) - 1)])
    rare = np.mean(rarities(n)[:-1])
    agreed = np.mean([min(note.value_confidence, note.agreement) for note in n.notes])
    return bool(off > UNSTEADY and rare > RARE and agreed < AGREED)
