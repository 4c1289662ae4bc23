"""Finding the pupil's comfortable range in about two minutes: gently up, then gently down, never to the edge.

Small patterns are echoed; where the voice no longer follows twice, or the minute is over, that way ends. What
is kept lies inside of what was sung, so that practising never goes to the edge of it.
"""

from __future__ import annotations

import numpy as np

from companion.diary import Action
from companion.language import LessonSentence
from companion.lesson.listen import HeardKind
from companion.lesson.practise import pattern
from companion.lesson.session import HIGH, LOW, Session
from companion.tune import LineNote

STEPS = (0, 2, 4, 2, 0)
QUARTER_S = 0.9
WAY_S = 55.0  # for each of the two ways
FOLLOWS = 1.2  # semitones that the pattern's far note may lie off and still be followed
INSIDE = 2.0  # semitones by which what is kept lies inside of what was sung, above; half of it below
LEAST = 5.0  # semitones: less is no range, something went wrong
STRAIN_DB = 12.0  # louder than at the beginning by this: the voice is pushed, so that way ends


class FindRange:
    """One finding. `found` is (low, high) as MIDI numbers, None where there was too little."""

    def __init__(self, session: Session) -> None:
        self.session = session
        self.found: tuple[float, float] | None = None
        self._lows: list[float] = []
        self._highs: list[float] = []
        self._first_db: float | None = None

    def run(self) -> tuple[float, float] | None:
        """Up, then down; what was found is kept in the diary. None where it was too little, or a key ended it."""
        session = self.session
        session.say(LessonSentence.FIND_RANGE)
        start = self._first_note()
        for way, sentence in ((1, LessonSentence.UP_A_LITTLE), (-1, LessonSentence.DOWN_A_LITTLE)):
            session.say(sentence)
            self._go(start, way)
            if session.action is Action.QUIT:
                return None
        if self._highs and self._lows:
            low, high = min(self._lows) + INSIDE / 2, max(self._highs) - INSIDE
            if high - low >= LEAST:
                self.found = (float(round(low)), float(round(high)))
                if session.diary is not None and session.pupil is not None:
                    session.diary.set_range(session.pupil, *self.found)
                session.say(LessonSentence.RANGE_KEPT)
                return self.found
        session.say(LessonSentence.RANGE_NOT_FOUND)
        return None

    def _first_note(self) -> int:
        """A note wherever the pupil likes; the middle of the usual range where none comes."""
        session = self.session
        session.say(LessonSentence.LONG_NOTE)
        heard = session.listen(None, silence_s=10.0)
        low, high = session.range
        if isinstance(heard, Action) or heard.track is None:
            return round((low + high) / 2)
        voiced = heard.track.midi[heard.track.f0_hz > 0]
        return round(float(np.clip(np.median(voiced), LOW + 5, HIGH - 9)))

    def _go(self, start: int, way: int) -> None:
        session = self.session
        end = session.elapsed_s + WAY_S
        at, missed = start, 0
        while session.elapsed_s < end and missed < 2 and not session.action:
            steps = STEPS if way > 0 else tuple(-s for s in STEPS)
            line = pattern(at, steps)
            if not all(LOW <= n.midi <= HIGH for n in line):
                return
            far = self._echo(line, 2)
            if far is None:
                missed += 1
                continue
            missed = 0
            (self._highs if way > 0 else self._lows).append(far)
            at += 2 * way

    def _echo(self, line: tuple[LineNote, ...], far: int) -> float | None:
        """The pitch of the pattern's far note as it was sung, None where it was not followed (or pushed)."""
        session = self.session
        session.shift = 0.0
        session.give(line, QUARTER_S, note=False)
        heard = session.listen(line, QUARTER_S, 8.0)
        if isinstance(heard, Action):
            session.action = heard
            return None
        if heard.match is None or heard.track is None or heard.kind is not HeardKind.TAKE:
            return None
        level = float(np.quantile(heard.track.level_db[heard.track.f0_hz > 0], 0.7))
        if self._first_db is None:
            self._first_db = level
        if level > self._first_db + STRAIN_DB:
            return None
        sung = heard.match.notes[far].midi
        # In the pattern's own octave: a child who answers a low pattern an octave higher does not follow it.
        if sung is None or abs(sung - line[far].midi) > FOLLOWS:
            return None
        return float(sung)
