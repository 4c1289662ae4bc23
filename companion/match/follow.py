"""The match as the take comes in, and when the phrase is over.

The end is known from the tune as well as from silence: once the last written note has been sung and the
voice has stopped, no full silence need be waited for. Where the tune is not at its end (a breath inside
the phrase, a singer who stops half way), the silence must be long.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from companion.ear import PitchTrack, join
from companion.errors import NothingSung
from companion.match.align import align
from companion.match.model import Match
from companion.match.parameters import PARAMETERS, MatchParameters
from companion.match.take import match_take
from companion.messages import _
from companion.tune import LineNote

BEAT_S = 0.6  # seconds a quarter where no tempo is known: a calm walk


class Follower:
    """Matches a take with `line` as its frames come in.

    `push` takes tracked frames in order; `over` is True once the phrase has ended; `match` then gives the
    same as `match_take` on all frames. `reached`: probability that the last note has been sung, when it was last
    quiet. `tempo_s` is the seconds a quarter at which the line was given.
    """

    def __init__(self, line: Sequence[LineNote], tempo_s: float = BEAT_S, params: MatchParameters = PARAMETERS) -> None:
        self.line = tuple(line)
        self.over = False
        self.reached = 0.0
        self._params = params
        self._tempo_s = tempo_s
        self._parts: list[PitchTrack] = []
        self._voice_s = 0.0
        self._quiet_s = 0.0
        self._match: Match | None = None
        self._looked = False  # at this silence

    def push(self, frames: PitchTrack, quiet_s: float = 0.0, match_from: float = 0.0) -> bool:
        """Take in frames; True once the phrase is over.

        quiet_s: how long it has been quiet after these frames, where the ear knows by level already what
        its pitch track will only say after its look-ahead. match_from: how probable it must be (0 to 1) that the last note
        has been sung for the match to be made now, and not when it is asked for.
        """
        if self.over:
            return True
        self._take_in(frames)
        quiet = self._quiet_s + quiet_s
        if self._voice_s < self._params.least_voice_s or quiet < self._params.quiet_at_end_s:
            return False
        if quiet >= self._params.quiet_elsewhere_s:
            self.over = True
        elif not self._looked:
            # Once a silence: what was sung does not change while nothing is sung.
            self._looked = True
            self.reached = self._probability_of_end()
            self._match = self._matched() if self.reached >= match_from else None
        self.over = self.over or quiet >= self._quiet_needed_s()
        return self.over

    def _take_in(self, frames: PitchTrack) -> None:
        if not len(frames.f0_hz):
            return
        self._parts.append(frames)
        voiced = np.flatnonzero(frames.f0_hz > 0)
        self._voice_s += len(voiced) * frames.hop_s
        if len(voiced):
            self._quiet_s = (len(frames.f0_hz) - 1 - voiced[-1]) * frames.hop_s
            self._match, self._looked = None, False
        else:
            self._quiet_s += len(frames.f0_hz) * frames.hop_s

    def _quiet_needed_s(self) -> float:
        """The less probable the end, the longer the silence."""
        return self._params.quiet_at_end_s + (self._params.quiet_elsewhere_s - self._params.quiet_at_end_s) * (1.0 - self.reached)

    @property
    def parts(self) -> Sequence[PitchTrack]:
        """All frames so far, as they came."""
        return self._parts

    def track(self) -> PitchTrack:
        """All frames so far."""
        return joined(self._parts)

    def _probability_of_end(self) -> float:
        found = align(self.track(), [n.midi for n in self.line], [float(n.quarters) for n in self.line],
                      [float(n.rest_after) for n in self.line], beat_s=self._tempo_s, params=self._params)
        if found is None:
            return 0.0
        last_s = float(found.note_weight[:, -1] @ found.fragments.seconds)
        wanted_s = max(self._params.last_note_s, self._params.last_note_share * float(self.line[-1].quarters) * self._tempo_s)
        return float(found.reached[-1]) * min(1.0, last_s / wanted_s)

    def _matched(self) -> Match | None:
        try:
            return match_take(self.track(), self.line, self._params)
        except NothingSung:
            return None

    def match(self) -> Match:
        """The match of all that came in. Raises `NothingSung` where there was no voice."""
        if self._match is None:
            self._match = match_take(self.track(), self.line, self._params)
        return self._match


def joined(parts: Sequence[PitchTrack]) -> PitchTrack:
    """Tracks that follow each other as one. Raises `NothingSung` where there are none."""
    if not parts:
        raise NothingSung(_("I heard no singing. A little closer, and sing again."))
    whole = join(parts)
    return replace(whole, duration_s=float(whole.time_s[-1]) + whole.hop_s / 2)
