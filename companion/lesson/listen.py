"""The ear while it is open: from silence to a decision, in time of sound and with no clock of its own.

Sound is pushed in; out comes at last what was heard: a take, nothing for a long while, or something that was
no singing. Between takes nothing is kept but the last second, so hours of waiting cost no memory.

The end of a phrase is told from three things together: how surely the last written note has been sung
(`companion.match.follow`), how far the singer is through the tune in time, and how long the voice has
stopped. That it has stopped is seen in the level at once, and in the pitch track once its look-ahead is over.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from companion.ear import CLIPPED, HOP, RATE, PitchTrack, Tracker
from companion.errors import NothingSung
from companion.lesson.singing import (
    OTHER_BELOW,
    SINGING_FROM,
    SoundKind,
    kind_of_sound,
    singing_odds,
    without_talk,
    without_words,
)
from companion.lesson.sung_line import is_played, without_prelude
from companion.lesson.timbre import Colour, colour_of
from companion.match import Follower, Match, joined
from companion.tune import LineNote

F32 = NDArray[np.float32]

HOP_S = HOP / RATE
START_VOICE_S = 0.10  # this much voice ...
START_WITHIN_S = 0.30  # ... within this long begins a take: shorter is a click or a cough
BEFORE_S = 0.4  # what is kept of the time before the voice: consonants, and room to see the noise
EARLY_S = 0.08  # voice this soon after the ear opened began before it opened

#: Silence after which, near the tune's end in time, the take is matched as if it ended here. Matching takes two tenths of a
#: second, in which the rest of the silence goes by; where the voice goes on after all, the match is thrown away.
AHEAD_S, AHEAD_FROM = 0.08, 0.75
#: So much more voice after that is the last note's end, which fades or wavers: shorter than any note (`REST_S` in singing.py).
SAME_END_S = 0.15
PIECE = RATE // 10  # samples: what a busy machine brings late comes in one block, and is looked at piece by piece
LOOK_S = 0.18  # silence after which it is looked at how far the tune has come: the tracker's look-ahead is over
QUIET_END_S = 0.22  # silence that ends a phrase whose last note has surely been sung: longer than a consonant
QUIET_LATE_S = 0.5  # near the tune's end in time, without being sure of the last note: over a breath of 0.4 s
QUIET_MIDDLE_S = 1.2  # in the middle of it: three quick breaths
QUIET_FREE_S = 0.8  # where there is no tune
SURE_END = 0.9  # the last note counts as sung
LATE = (0.6, 0.9)  # parts of the expected time between which it grows late
LONGEST_S = 20.0  # no phrase is longer, unless the tune says so
LONGEST_TIMES = 3.0  # ... by so many times its written length

FALL_DB = 22.0  # under the take's own level by this much, the voice has stopped: closed vowels lie 20 dB down
OVER_NOISE = 0.4  # of the way from the room's noise to the voice: quieter than that is room ...
#: Where the tracker has found no pitch to trust, a sound as periodic as this and a little over the noise is a
#: voice all the same: closed vowels in a loud room. Noise alone has 0.05 to 0.3.
PERIODIC = 0.45
OVER_NOISE_PERIODIC = 0.25
PERIODIC_FRAMES = 5
QUIET_AT_MOST_DB = -58.0
LEVEL_WINDOW_S = 0.02
DECIDED_S = 0.2  # the tracker has decided on what is older than this; of what is newer only the level is known


class HeardKind(StrEnum):
    """What an open ear has heard: nothing for as long as was asked, something that went on and on and was no singing,
    or what may have been speech or singing."""

    TAKE = "take"
    SILENCE = "silence"
    NOISE = "noise"
    UNCLEAR = "unclear"


@dataclass(frozen=True, eq=False)
class Heard:
    """What came in.

    track, samples: of the take, from a little before its voice; match None without a tune. early: it began before the ear
    opened, over the playback. others: stretches of speech or noise that came before. voice_db, room_db: levels
    of the voice (nan without one) and of the room, dB re full scale; clipped: share of the take's samples that
    were cut off. lost: the microphone lost sound while it was sung. colour: its timbre frame by frame, None where there was too
    little voice. played: the line was played on struck strings, as a piano's.
    """

    kind: HeardKind
    early: bool = False
    track: PitchTrack | None = None
    match: Match | None = None
    samples: F32 | None = None
    others: int = 0
    voice_db: float = float("nan")
    room_db: float = float("nan")
    clipped: float = 0.0
    lost: bool = False
    colour: Colour | None = None
    played: bool = False


class Listener:
    """One opening of the ear. line: what is to be sung, None where anything is.

    tempo_s: seconds a crotchet at which the line was given. silence_s: after so long without a voice it
    gives up. keep: keep the samples of the take. latest: the pitch that the last push brought.
    """

    def __init__(self, line: Sequence[LineNote] | None, tempo_s: float = 0.6, silence_s: float = 12.0,
                 keep: bool = False) -> None:
        self.line = tuple(line) if line else None
        self.tempo_s, self.silence_s, self.keep = tempo_s, silence_s, keep
        last = self.line[-1] if self.line else None
        first = self.line[0] if self.line else None
        self.expected_s = float(last.onset_quarters + last.quarters - first.onset_quarters) * tempo_s \
            if last is not None and first is not None else 0.0
        self.longest_s = max(LONGEST_S, LONGEST_TIMES * self.expected_s)
        self.others = 0  # stretches of sound that were no singing
        self.latest: PitchTrack | None = None
        self.singing = False  # a voice has begun
        self._tracker = Tracker()
        self._heard = 0  # samples
        self._level = _Level()
        self._ring: deque[PitchTrack] = deque()
        self._sound: deque[tuple[int, F32]] = deque()
        self._begin()

    def _begin(self) -> None:
        """Wait for a voice."""
        self.singing = False
        self._parts: list[PitchTrack] = []
        self._held: list[PitchTrack] = []
        self._follower: Follower | None = None
        self._ahead: Follower | None = None  # of the take, if it ended where the voice stopped last
        self._looked_at_s = 0.0  # where it had stopped when that was matched
        self._first_voice_s = self._last_voice_s = 0.0
        self._last_periodic_s = self._ahead_voice_s = 0.0
        self._run = self._cut_off = 0
        self._voice_db: list[float] = []

    @property
    def seconds(self) -> float:
        """Seconds of sound since the ear opened."""
        return self._heard / RATE

    def push(self, samples: F32) -> Heard | None:
        """Take in mono samples at RATE, any number; what was heard, once that is decided."""
        samples = np.asarray(samples, dtype=np.float32)
        tracks: list[PitchTrack] = []
        heard = None
        for at in range(0, max(len(samples), 1), PIECE):
            heard = self._push(samples[at:at + PIECE])
            tracks += [self.latest] if self.latest is not None else []
            if heard is not None:
                break
        if len(tracks) > 1:
            self.latest = joined(tracks)
        return heard

    def _push(self, samples: F32) -> Heard | None:
        self._heard += len(samples)
        self._sound.append((self._heard, samples))
        self._level.push(samples)
        self._cut_off += int(np.count_nonzero(np.abs(samples) >= CLIPPED)) if self.singing else 0
        frames = self.latest = self._tracker.push(samples)
        if not self.singing:
            self._wait(frames)
            if not self.singing:
                silent = self.seconds >= self.silence_s
                return Heard(HeardKind.SILENCE, others=self.others, room_db=self._level.noise) if silent else None
            frames = self._take_ring()
        return self._follow(frames)

    def _wait(self, frames: PitchTrack) -> None:
        if len(frames.f0_hz):
            self._ring.append(frames)
        decided = frames.time_s[-1] if len(frames.time_s) else None
        if decided is None:
            return
        while len(self._ring) > 1 and self._ring[0].time_s[-1] < decided - BEFORE_S - START_WITHIN_S:
            self._ring.popleft()
        while len(self._sound) > 1 and self._sound[0][0] < (decided - BEFORE_S - START_WITHIN_S) * RATE:
            self._sound.popleft()
        recent = np.concatenate([p.f0_hz for p in self._ring])[-round(START_WITHIN_S / HOP_S):]
        self.singing = bool(np.count_nonzero(recent) * HOP_S >= START_VOICE_S)

    def _take_ring(self) -> PitchTrack:
        whole = joined(list(self._ring))
        self._ring.clear()
        voiced = np.flatnonzero(whole.f0_hz > 0)
        # Voice that is parted from this one by more than the window is none of it.
        first = next(v for v in voiced if whole.time_s[v] >= whole.time_s[-1] - START_WITHIN_S)
        self._first_voice_s = self._last_voice_s = float(whole.time_s[first])
        self._follower = Follower(self.line, self.tempo_s) if self.line else None
        keep = whole.time_s >= self._first_voice_s - BEFORE_S
        return whole.part(keep)

    # --- while it is sung ---

    def _follow(self, frames: PitchTrack) -> Heard | None:
        now = self.seconds
        if len(frames.f0_hz):
            voiced = np.flatnonzero(frames.f0_hz > 0)
            if len(voiced):
                self._last_voice_s = max(self._last_voice_s, float(frames.time_s[voiced[-1]]) + HOP_S / 2)
                self._voice_db += frames.level_db[voiced].tolist()
                self._level.voice = float(np.quantile(self._voice_db[-300:], 0.7))
                self._parts += self._held
                self._held = []
                self._parts.append(frames)
            else:
                self._held.append(frames)
            self._periodic(frames)
        decided = max(self._last_voice_s, self._last_periodic_s)
        end = self._level.loud_until_s(max(decided, now - DECIDED_S))
        end = end if end > now - DECIDED_S else decided
        quiet = now - end
        if now - self._first_voice_s > self.longest_s:
            return self._noise()
        seen = self._looked_at_s + (SAME_END_S if self._ahead is not None else 0.0)
        if quiet >= AHEAD_S and end > seen and self._sung_share(end) >= AHEAD_FROM:
            self._look_ahead(end)
        if quiet < LOOK_S:
            return None
        if self._ahead is not None and abs(self._ahead_voice_s - self._last_voice_s) <= SAME_END_S and quiet >= QUIET_END_S:
            return self._decide(self._ahead)
        reached = self._reached()
        if quiet < self._needed(reached, end):
            return None
        return self._decide(self._follower)

    def _look_ahead(self, end: float) -> None:
        """Match the take as if it ended here, once a silence; kept where the last note has surely been sung."""
        self._looked_at_s, self._ahead = end, None
        if self._follower is None:
            return
        rest = self._tracker.so_far()
        parts = [*self._follower.parts, *self._parts, *self._held, rest]
        whole = joined(parts)
        if singing_odds(whole) < OTHER_BELOW:  # nobody waits for an answer to talk
            return
        voice = [float(p.time_s[p.f0_hz > 0][-1]) for p in parts if np.any(p.f0_hz > 0)]
        ahead = Follower(self._follower.line, self.tempo_s)
        ahead.push(whole, LOOK_S, match_from=SURE_END)
        if ahead.reached >= SURE_END:
            self._ahead, self._ahead_voice_s = ahead, voice[-1] + HOP_S / 2

    def _periodic(self, frames: PitchTrack) -> None:
        """Note where a sound without a pitch to trust is yet a voice's."""
        threshold = self._level.threshold(OVER_NOISE_PERIODIC)
        for at, harmonic, level in zip(frames.time_s.tolist(), frames.harmonic.tolist(), frames.level_db.tolist(),
                                       strict=True):
            self._run = self._run + 1 if harmonic > PERIODIC and level > threshold else 0
            if self._run >= PERIODIC_FRAMES:
                self._last_periodic_s = at

    def _reached(self) -> float:
        """How surely the last note has been sung; one look per silence, in the follower."""
        if self._follower is None:
            return 0.0
        if self._parts:
            # Only the end of what was held back is silence; what lies before it the follower has to know.
            self._follower.push(joined(self._parts), LOOK_S)
            self._follower.over = False  # that is decided here, from the level too
            self._parts = []
        return self._follower.reached

    def _sung_share(self, end: float) -> float:
        """How much of the time that the line takes the voice has sung, to a stop at `end`."""
        return (end - self._first_voice_s) / max(self.expected_s, 0.3)

    def _needed(self, reached: float, end: float) -> float:
        if self._follower is None:
            return QUIET_FREE_S
        if reached >= SURE_END:
            return QUIET_END_S
        late = float(np.clip((self._sung_share(end) - LATE[0]) / (LATE[1] - LATE[0]), 0.0, 1.0))
        middle = QUIET_MIDDLE_S + (QUIET_LATE_S - QUIET_MIDDLE_S) * late
        return QUIET_END_S + (middle - QUIET_END_S) * (1.0 - reached / SURE_END)

    def _decide(self, follower: Follower | None) -> Heard | None:
        match: Match | None = None
        if follower is not None:
            track = follower.track()
            try:
                match = follower.match()
            except NothingSung:
                self._drop()
                return None
            track, match = without_talk(track, match, follower.line)
            track, match = without_prelude(track, match, follower.line)
        else:
            track = without_words(joined(self._parts))
        kind = kind_of_sound(track, match)
        if kind is SoundKind.OTHER:
            self._drop()
            return None
        early = self._first_voice_s < EARLY_S
        if early and kind is SoundKind.UNCLEAR and singing_odds(track) >= SINGING_FROM:
            kind = SoundKind.SINGING  # it began over the playback: that is told, and not that nobody sang
        samples, start_s = self._samples(track)
        return Heard(HeardKind.TAKE if kind is SoundKind.SINGING else HeardKind.UNCLEAR,
                     early=early, track=track, match=match,
                     samples=samples if self.keep else None, others=self.others,
                     voice_db=self._level.voice, room_db=self._level.noise,
                     clipped=self._cut_off / max(1.0, (self.seconds - self._first_voice_s) * RATE),
                     colour=colour_of(samples, start_s, track),
                     played=match is not None and is_played(track, [
                         (n.onset_s, n.duration_s) for n in match.notes if n.onset_s is not None and n.duration_s is not None]))

    def _drop(self) -> None:
        """Something else than singing has ended: wait on."""
        self.others += 1
        held = self._held
        self._begin()
        self._ring.extend(held[-3:])

    def _noise(self) -> Heard:
        self._drop()
        return Heard(HeardKind.NOISE)

    def _samples(self, track: PitchTrack) -> tuple[F32, float]:
        """The sound of a track and the time of its first sample."""
        whole = np.concatenate([s for _, s in self._sound])
        start = self._heard - len(whole)
        a = max(0, round(track.time_s[0] * RATE) - start)
        b = min(len(whole), round((track.time_s[-1] + 0.2) * RATE) - start)
        return whole[a:b], (start + a) / RATE


class _Level:
    """The level of the sound as it comes in, and when it was last that of a voice."""

    def __init__(self) -> None:
        self._window = round(LEVEL_WINDOW_S * RATE)
        self._rest = np.zeros(0, dtype=np.float32)
        self._done = 0
        self._three: deque[float] = deque(maxlen=3)
        self._recent: deque[tuple[float, float]] = deque()  # (end of window in s, dB), the last second
        self._lows: deque[float] = deque(maxlen=20)  # lowest level of each of the last 20 half seconds
        self._low = 0.0
        self._count = 0
        self.voice = -30.0

    def push(self, samples: F32) -> None:
        self._rest = np.concatenate([self._rest, samples])
        n = len(self._rest) // self._window
        if not n:
            return
        power = np.mean(np.square(self._rest[:n * self._window].reshape(n, -1)), axis=1)
        for loud in (10 * np.log10(power + 1e-12)).tolist():
            self._done += self._window
            # The middle one of three: a single crackle is no voice, nor its gap a silence.
            self._three.append(loud)
            db = sorted(self._three)[len(self._three) // 2]
            self._recent.append((self._done / RATE, db))
            self._low = db if self._count % 25 == 0 else min(self._low, db)
            self._count += 1
            if self._count % 25 == 0:
                self._lows.append(self._low)
        self._rest = self._rest[n * self._window:]
        while len(self._recent) > 50:
            self._recent.popleft()

    @property
    def noise(self) -> float:
        """The room's own level: the quietest of the last ten seconds."""
        return min([*self._lows, self._low]) if self._count else -100.0

    def threshold(self, over_noise: float) -> float:
        """dB above which it may be the voice: so much of the way from the noise to the voice, at least."""
        return max(self.voice - FALL_DB, self.noise + over_noise * (self.voice - self.noise), QUIET_AT_MOST_DB)

    def loud_until_s(self, since_s: float) -> float:
        """When the level was last that of the voice, looking back to `since_s` (which it gives at least)."""
        threshold = self.threshold(OVER_NOISE)
        for at, db in reversed(self._recent):
            if at <= since_s:
                break
            if db > threshold:
                return at
        return since_s

