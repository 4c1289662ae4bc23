"""Who sang a take: the pupil, somebody who sings it for the pupil to hear (a model), or it cannot be told.

Told by register (how high the line was sung), against what was learnt from the first lines of each voice, and by turn: a
model follows a miss. Timbre is not used: on synthesised singers the long-term spectrum of one voice differs from itself,
word by word, as much as from another in the same octave. So a model in the pupil's own octave is taken for the pupil;
the key that strikes out a take is for that.
"""

from __future__ import annotations

from enum import StrEnum


class Singer(StrEnum):
    """Whose take it was. UNKNOWN is asked about, never guessed."""

    PUPIL = "pupil"
    MODEL = "model"
    UNKNOWN = "unknown"


NEAR = 5.0  # semitones: a child's key drifts so far from one take to the next
FAR = 7.0  # nearer to an octave than to the same key: another register
CLEAR = 3.0  # semitones by which the other voice must be farther
LEARN = 0.3  # weight of a new take in what is known of a voice


class Voices:
    """The pupil's register and one other's, as they are learnt; in semitones on a scale that one session keeps to."""

    def __init__(self) -> None:
        self.pupil: float | None = None
        self.model: float | None = None

    def tell(self, register: float, after_miss: bool) -> Singer:
        """Whose take it was. after_miss: the pupil has just missed, so that a model may follow."""
        other = abs(register - self.model) if self.model is not None else None
        if self.pupil is None:  # the first line is the pupil's, by turn
            return Singer.PUPIL if other is None or other >= FAR else Singer.UNKNOWN
        own = abs(register - self.pupil)
        if other is None:
            if own <= NEAR:
                return Singer.PUPIL
            return Singer.MODEL if after_miss and own >= FAR else Singer.UNKNOWN
        if own <= NEAR and other - own >= CLEAR:
            return Singer.PUPIL
        if other <= NEAR and own - other >= CLEAR:
            return Singer.MODEL
        return Singer.UNKNOWN

    def learn(self, singer: Singer, register: float) -> None:
        """A take of this singer, surely: what is known of the voice moves towards it."""
        known = self.pupil if singer is Singer.PUPIL else self.model
        value = register if known is None else known + LEARN * (register - known)
        if singer is Singer.PUPIL:
            self.pupil = value
        else:
            self.model = value

    def correct(self, register: float) -> None:
        """Somebody says that a take taken for another's was the pupil's."""
        if self.pupil is not None and abs(self.pupil - register) >= FAR:
            self.model = self.pupil  # what was learnt as the pupil's was the other's
        elif self.model is not None and abs(self.model - register) < FAR:
            self.model = None
        self.pupil = register
