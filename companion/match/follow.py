"""The match as the take comes in, and when the phrase is over.

The end is known from the tune as well as from silence: once the last written note has been sung and the
voice has stopped, no full silence need be waited for. Where the tune is not at its end (a breath inside
the phrase, a singer who stops half way), the silence must be long.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from companion.ear.model import PitchTrack
from companion.ear.tracker import join
from companion.errors import NothingSung
from companion.match.align import align
from companion.match.model import Match
from companion.match.take import LEAST_VOICE_S, match_take
from companion.messages import _
from companion.tune.model import LineNote

QUIET_AT_END_S = 0.12  # longer than a consonant inside a word (about 0.1 s)
QUIET_ELSEWHERE_S = 1.2  # three times a quick breath (0.4 s)
LEAST_LAST_NOTE = 0.35  # the last note counts as sung from this part of its written length on ...
LEAST_LAST_NOTE_S = 0.12  # ... and from this long
LOOK_EVERY_S = 0.04  # how often the end is looked for while it is quiet
BEAT_S = 0.6  # seconds a quarter where no tempo is known: a calm walk


class Follower:
    """Holds a take against `line` as its frames come in.

    `push` takes tracked frames in order; `over` is True once the phrase has ended; `match` then gives the
    same as `match_take` on all frames. `tempo_s` is the seconds a quarter at which the line was given.
    """

    def __init__(self, line: Sequence[LineNote], tempo_s: float = BEAT_S) -> None:
        self.line = tuple(line)
        self.over = False
        self.reached = 0.0
        self._tempo_s = tempo_s
        self._parts: list[PitchTrack] = []
        self._voice_s = 0.0
        self._quiet_s = 0.0
        self._looked_s = 0.0
        self._match: Match | None = None

    def push(self, frames: PitchTrack, quiet_s: float = 0.0) -> bool:
        """Take in frames; True once the phrase is over.

        quiet_s: how long it has been quiet after these frames, where the ear knows by level already what
        its pitch track will only say after its look-ahead.
        """
        if self.over:
            return True
        if len(frames.f0_hz):
            self._parts.append(frames)
            voiced = np.flatnonzero(frames.f0_hz > 0)
            self._voice_s += len(voiced) * frames.hop_s
            if len(voiced):
                self._quiet_s = (len(frames.f0_hz) - 1 - voiced[-1]) * frames.hop_s
                self._looked_s = 0.0
                self._match = None
            else:
                self._quiet_s += len(frames.f0_hz) * frames.hop_s
        quiet = self._quiet_s + quiet_s
        if self._voice_s < LEAST_VOICE_S or quiet < QUIET_AT_END_S:
            return False
        if quiet >= QUIET_ELSEWHERE_S:
            self.over = True
        elif self._match is None:
            # One look per silence: what was sung does not change while nothing is sung.
            self.reached = self._chance_of_end()
            self._match = self._judge()
        if not self.over:
            self.over = quiet >= self._needed(self.reached)
        return self.over

    @staticmethod
    def _needed(reached: float) -> float:
        return QUIET_AT_END_S + (QUIET_ELSEWHERE_S - QUIET_AT_END_S) * (1.0 - reached)

    def track(self) -> PitchTrack:
        """All frames so far."""
        return joined(self._parts)

    def _chance_of_end(self) -> float:
        found = align(self.track(), [n.midi for n in self.line], [float(n.quarters) for n in self.line],
                      [float(n.rest_after) for n in self.line], beat_s=self._tempo_s)
        if found is None:
            return 0.0
        last = float(found.note_weight[:, -1] @ found.fragments.seconds)
        asked = max(LEAST_LAST_NOTE_S, LEAST_LAST_NOTE * float(self.line[-1].quarters) * self._tempo_s)
        return float(found.reached[-1]) * min(1.0, last / asked)

    def _judge(self) -> Match | None:
        try:
            return match_take(self.track(), self.line)
        except NothingSung:
            return None

    def match(self) -> Match:
        """The match of all that came in. Raises `NothingSung` where there was no voice."""
        if self._match is None:
            self._match = match_take(self.track(), self.line)
        return self._match


def joined(parts: Sequence[PitchTrack]) -> PitchTrack:
    """Tracks that follow each other as one. Raises `NothingSung` where there are none."""
    if not parts:
        raise NothingSung(_("I heard no singing. A little closer, and sing again."))
    whole = join(parts)
    return replace(whole, duration_s=float(whole.time_s[-1]) + whole.hop_s / 2)
