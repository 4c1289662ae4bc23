"""Who sang a take: the pupil, somebody who sings it for the pupil to hear (a model), or it cannot be told.

Told by register (how high the line was sung), by timbre against earlier takes of the same line, and by turn: a model
follows a miss, and is right. What is known of the two voices is learnt from the first lines of each, and the pupil's range
from the diary. Where these do not agree the answer is UNKNOWN: then it is asked.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np

from companion.lesson.timbre import Timbre, apart, difference


class Singer(StrEnum):
    """Whose take it was. UNKNOWN is asked about, never guessed."""

    PUPIL = "pupil"
    MODEL = "model"
    UNKNOWN = "unknown"


NEAR = 5.0  # semitones: a child's key drifts so far from one take to the next
FAR = 7.0  # nearer to an octave than to the same key: another register
OCTAVE_OFF = 9.0  # nearer to an octave than to a sixth: that is no drift of a key
CLEAR = 3.0  # semitones by which the other voice must be farther
LEARN = 0.3  # weight of a new take in what is known of a voice
#: Timbre, in the unit of `companion.lesson.timbre.apart`: up to here one voice, where nothing else tells ...
SAME = 1.1
OTHER = 2.2  # ... and where the other voice is known to lie in another register
NEARER = 0.3  # by which one voice must be nearer than the other
LEAST_WAY = 1.2  # spreads (root of the mean of squares) by which two voices must differ for that way to tell anything
#: On the way from the pupil's timbre (0) to the other's (1): the pupil's until here, the other's from here.
STILL_PUPIL, SURELY_MODEL = 0.35, 0.65
MOST_KEPT = 24  # takes whose timbre is remembered


@dataclass(frozen=True)
class Sung:
    """What tells a take's singer. register: how high, in semitones on a scale that one session keeps to.

    timbre: of each note, so that only the same notes are compared; empty where it is not known. right: nothing in it went
    another way. outside: it lies outside the pupil's range, as the diary has it.
    """

    register: float
    timbre: Timbre = field(default_factory=dict)
    right: bool = True
    outside: bool = False


@dataclass
class Voice:
    """What is known of one voice."""

    register: float | None = None
    takes: deque[Timbre] = field(default_factory=lambda: deque(maxlen=MOST_KEPT))

    def learn(self, sung: Sung) -> None:
        """A take of this voice, surely."""
        self.register = sung.register if self.register is None else self.register + LEARN * (sung.register - self.register)
        if sung.timbre:
            self.takes.append(sung.timbre)

    def forget_like(self, sung: Sung) -> None:
        """Forget takes of this timbre, and all where none is left: they were another's."""
        kept = [t for t in self.takes if (d := apart(sung.timbre, t)) is None or d > SAME]
        if len(kept) < len(self.takes):
            self.takes = deque(kept, maxlen=MOST_KEPT)
            self.register = self.register if kept else None

    def away(self, sung: Sung) -> float | None:
        """Semitones from this voice's register, None where it is not known."""
        return None if self.register is None else abs(sung.register - self.register)

    def apart(self, sung: Sung) -> float | None:
        """How far in timbre from the nearest take of the same notes, None where there is none."""
        return min((d for take in self.takes if (d := apart(sung.timbre, take)) is not None), default=None)


class Voices:
    """The pupil's voice and one other, as they are learnt."""

    def __init__(self) -> None:
        self.pupil, self.model = Voice(), Voice()
        self._in_a_row = 0  # models without the pupil between them
        self._asked: Sung | None = None  # the take about which it has just been asked

    def tell(self, sung: Sung, after_miss: bool) -> Singer:
        """Whose take it was. after_miss: the pupil has just missed, so that a model may follow."""
        own, other = self.pupil.away(sung), self.model.away(sung)
        if own is None:
            return self._first(sung, other, after_miss)
        if own < OCTAVE_OFF and self._sounds_like_pupil(sung):
            return Singer.PUPIL
        if other is None or self._one_register:
            if own <= NEAR:
                return self._by_timbre(sung, after_miss)
            return Singer.MODEL if other is None and after_miss and own >= FAR else Singer.UNKNOWN
        if other <= NEAR and own - other >= CLEAR:
            return Singer.MODEL
        return self._apart_from_model(sung, own, other, after_miss)

    def _first(self, sung: Sung, other: float | None, after_miss: bool) -> Singer:
        """While nothing is known of the pupil's voice: a first line is the pupil's, by turn. other: from the other's register."""
        models = self.model.apart(sung)
        again = other is not None and other < FAR and (models is None or models <= SAME)
        # After a miss that told nothing of the voice it may be either.
        return Singer.UNKNOWN if sung.outside or again or (after_miss and sung.right) else Singer.PUPIL

    def _apart_from_model(self, sung: Sung, own: float, other: float, after_miss: bool) -> Singer:
        """Where the other is known to sing in another register: the pupil in its own, but a timbre far from all of the pupil's is
        asked about. own, other: semitones from the two registers."""
        strange = after_miss and sung.right and (self.pupil.apart(sung) or 0.0) > OTHER
        return Singer.PUPIL if own <= NEAR and other - own >= CLEAR and not strange else Singer.UNKNOWN

    def _sounds_like_pupil(self, sung: Sung) -> bool:
        """Whether the timbre alone tells that it was the pupil, however far the key has drifted."""
        own, other = self.pupil.apart(sung), self.model.apart(sung)
        return own is not None and own <= SAME and other is not None and own + NEARER <= other

    @property
    def _one_register(self) -> bool:
        """Whether the two voices are known to lie too near each other to be told by register."""
        pupil, model = self.pupil.register, self.model.register
        return pupil is not None and model is not None and abs(pupil - model) < FAR

    def _by_timbre(self, sung: Sung, after_miss: bool) -> Singer:
        """In the pupil's register, which may be the other's too."""
        own = self.pupil.apart(sung)
        # Who sings it for the pupil to hear sings it right, and after a miss: anybody else who sings here is the pupil.
        if own is None or not sung.right or not after_miss:
            return Singer.PUPIL
        share = self._share(sung)
        if share is not None:
            if share >= SURELY_MODEL and own > SAME:
                return Singer.MODEL
            return Singer.PUPIL if share <= STILL_PUPIL and own <= OTHER else Singer.UNKNOWN
        return Singer.PUPIL if own <= SAME else Singer.UNKNOWN

    def _share(self, sung: Sung) -> float | None:
        """Where a take lies on the way from the pupil's timbre (0) to the other's (1); None where both are not known.

        The way is learnt from lines that both have sung, and holds for other lines: what is of the line cancels.
        """
        own = [d for take in self.pupil.takes if (d := difference(sung.timbre, take)) is not None]
        ways = [d for other in self.model.takes for one in self.pupil.takes if (d := difference(other, one)) is not None] \
            if self._one_register else []
        if not own or not ways:
            return None
        way = np.mean(ways, axis=0)
        if float(np.sqrt(np.mean(way**2))) < LEAST_WAY:
            return None  # too alike to be told by it
        return float(np.mean(own, axis=0) @ way / max(float(way @ way), 1e-9))

    def settle(self, sung: Sung, after_miss: bool) -> Singer:
        """Whose take it was, with what follows for what is known: what is sure is learnt, and a take that answers the question
        "was that you" is the pupil's."""
        singer = self.tell(sung, after_miss)
        if singer is Singer.MODEL:
            # "Now you." has been said, and a model follows again? Once perhaps, where the register says so; then it is asked.
            self._in_a_row += 1
            if self._in_a_row > (1 if self._one_register else 2):
                singer = Singer.UNKNOWN
        if singer is not Singer.MODEL:
            self._in_a_row = 0
        asked, self._asked = self._asked, None
        if asked is not None and (singer is not Singer.MODEL or self._one_register):
            answered = self._answered(asked, sung, singer)
            if answered:
                singer = Singer.PUPIL
        if singer is Singer.UNKNOWN:
            self._asked = sung
        else:
            self.learn(singer, sung)
        return singer

    def _answered(self, asked: Sung, sung: Sung, singer: Singer) -> bool:
        """Whether a take answers the question, which asked the pupil alone to sing once more. Where it comes from another voice
        than the one asked about, that one was a model."""
        if abs(asked.register - sung.register) > NEAR:
            if singer is Singer.PUPIL:
                self.learn(Singer.MODEL, asked)
            return singer is Singer.PUPIL
        again = apart(asked.timbre, sung.timbre)
        own = self.pupil.apart(sung)
        if again is not None and own is not None and own + NEARER <= again:
            self.learn(Singer.MODEL, asked)
        elif (self.pupil.away(sung) or 0.0) > NEAR:
            self.correct(sung)
        else:
            self.model.forget_like(sung)  # what was taken for the other's was the pupil's
        return True

    def moved(self, semitones: float) -> None:
        """The scale of the registers has changed: what was 0 is now `semitones`."""
        for voice in (self.pupil, self.model):
            if voice.register is not None:
                voice.register += semitones

    def learn(self, singer: Singer, sung: Sung) -> None:
        """A take of this singer, surely: what is known of the voice moves towards it."""
        (self.pupil if singer is Singer.PUPIL else self.model).learn(sung)

    def correct(self, sung: Sung) -> None:
        """Somebody says that a take taken for another's was the pupil's."""
        self._asked = None
        away, other = self.pupil.away(sung), self.model.away(sung)
        if away is not None and away >= FAR:
            self.model = self.pupil  # what was learnt as the pupil's was the other's
            self.pupil = Voice()
        elif other is not None and other < FAR:
            self.model = Voice()
        self.pupil.register = None
        self.pupil.learn(sung)
