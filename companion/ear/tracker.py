"""The tracker that everything uses: pYIN with settings for every voice, and voicing of our own.

One range and frame length for low adults and small children alike, chosen on synthesised and real voices:
- 60 to 2000 Hz: low men reach 65 Hz, and what teachers whistle or play on a recorder, as children's squeals, 2000. A
  little more to both sides is looked at, and what lies there, or an octave above the range, is without voice: at its
  edges a pitch would be that of the edge, or an octave low;
- frames of 768 samples at 22050 Hz (35 ms, two periods of the lowest note): longer ones blur children's quick
  notes, shorter ones lose low voices;
- a flatter weighting of troughs than pYIN's own (Boltzmann 1, not 2), since octave slips upward come
  from preferring short periods.

pYIN calls breath and room tail sung, since its unvoiced probability is spread over all bins. So here
the probability of voice comes from a soft gate of two things that tell singing from its neighbours, its
level against a running level of the voice and how deep its deepest trough is; it is shared out among the
frame's candidates, and against it stands the whole of the unvoiced probability, not a bin's part of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from companion.ear.level import LEVEL_S, power_db
from companion.ear.model import PitchTrack
from companion.ear.pyin import F32, F64, GROUP, Frames, Pyin
from companion.ear.sound import RATE

HOP = 221  # samples: 10 ms
FRAME = 768
LOW_HZ, HIGH_HZ = 60.0, 2000.0
HUM_HZ = 60.7  # up to here lies what is the hum of the mains in half of the world, and no voice
RARE_BELOW_HZ = 80.0  # few voices sing lower
#: A frame holds two periods of these, so their CMND is high (0.2 to 0.35 in synthesised low men, an engine's above 0.4) and
#: the candidates' probability next to none: they are as sure as their CMND lies below this.
LOW_SURE = 0.38
LOOKED_AT = (LOW_HZ / 1.06, HIGH_HZ * 1.06)  # Hz, a semitone beyond the range
BOLTZMANN = 1.0
LOOK_AHEAD = 15 - GROUP  # frames; with its group a frame is decided 150 ms after its centre at the latest

FALL_DB_S = 24.0  # how fast the running level falls: slower, and closed vowels (20 dB down) would be lost
QUICK_FALL_DB_S = 100.0  # and a quick one, faster than any vowel fades and slower than a voice stops
LEAST_DB = -66.0  # dB re full scale: quieter than any usable recording of a voice
#: The gate's log odds of voice: a bias, less so much for each dB below the slow running level, for the CMND of the
#: deepest trough, and for each dB below the quick running level. Begun from a logistic regression
#: on the frames of synthesised singers of both makers, then chosen by the accuracy of their decoded tracks;
#: reported on others and on a real voice.
BIAS, PER_DB_SLOW, PER_CMND, PER_DB_QUICK = 7.8, 0.07, 8.0, 0.5
MOST_CMND = 1.2  # noise lies at 1; more says nothing more


class VoiceGate:
    """The soft gate: the probability of voice in frames of samples, given the lowest CMND of each.

    Called with frames (n x frame samples) and their lowest CMND (n); gives probability (n) and level in dB (n). It keeps
    two running levels, so one gate belongs to one stream.
    """

    def __init__(self, rate: int = RATE, hop: int = HOP, frame: int = FRAME) -> None:
        half = round(LEVEL_S * rate / 2)
        self._window = slice(frame // 2 - half, frame // 2 + half)
        self._falls = (FALL_DB_S * hop / rate, QUICK_FALL_DB_S * hop / rate)
        self._slow = self._quick = LEAST_DB

    def __call__(self, frames: F32, lowest: F64) -> tuple[F64, F64]:
        level = power_db(np.square(frames[:, self._window]).mean(axis=1))
        down = np.empty((len(level), 2))
        for i, x in enumerate(level.tolist()):
            self._slow = max(self._slow - self._falls[0], x, LEAST_DB)
            self._quick = max(self._quick - self._falls[1], x, LEAST_DB)
            down[i] = self._slow - x, self._quick - x
        odds = BIAS - PER_DB_SLOW * down[:, 0] - PER_CMND * np.minimum(lowest, MOST_CMND) - PER_DB_QUICK * down[:, 1]
        voicing = np.where(level > LEAST_DB, 1.0 / (1.0 + np.exp(-np.clip(odds, -30, 30))), 0.0)
        return voicing, level


class Tracker:
    """The pitch of sound as it comes in: `push` blocks of mono float samples at RATE, `finish` at its end.

    Each gives the frames that are now decided: HOP / RATE seconds apart, a frame at most `latency_s` after its sound.
    A tracker is for one recording: after `finish` make another. Silence and noise are frames without voice; no errors.
    """

    def __init__(self) -> None:
        self._pyin = Pyin(RATE, FRAME, HOP, *LOOKED_AT, LOOK_AHEAD, BOLTZMANN, VoiceGate(), RARE_BELOW_HZ)
        self._samples = 0

    @property
    def latency_s(self) -> float:
        """The longest time from a sound to the decision on its frame, in seconds of sound."""
        return self._pyin.latency_s

    def push(self, samples: NDArray[np.float32]) -> PitchTrack:
        """Take in samples, any number; the frames that are now decided, perhaps none."""
        self._samples += len(samples)
        return self._frames(self._pyin.push(samples))

    def finish(self) -> PitchTrack:
        """The frames that are left."""
        return self._frames(self._pyin.finish())

    def so_far(self) -> PitchTrack:
        """The frames that are left, if the sound ended here; pushing goes on as if it had not been asked."""
        return self._frames(self._pyin.so_far())

    def _frames(self, new: Frames) -> PitchTrack:
        time = np.asarray((new.first + np.arange(len(new.f0_hz))) * (HOP / RATE), dtype=np.float64)
        outside = new.beyond | (new.guess_hz < HUM_HZ) | (new.guess_hz > HIGH_HZ)
        f0_hz = np.where(outside, 0.0, new.f0_hz)
        sure = np.where(new.guess_hz < RARE_BELOW_HZ, np.maximum(new.voiced, LOW_SURE - new.lowest), new.voiced)
        return PitchTrack(time_s=time, f0_hz=f0_hz, sure=np.where(f0_hz > 0, sure, 0.0), level_db=new.level_db,
                          harmonic=1.0 - np.minimum(new.lowest, 1.0), hop_s=HOP / RATE, duration_s=self._samples / RATE,
                          guess_hz=new.guess_hz, octave=np.where(outside, 1.0, new.octave))


def join(parts: Sequence[PitchTrack]) -> PitchTrack:
    """Tracks that follow each other, as one (at least one). What one of them does not know is not known."""
    names = ("time_s", "f0_hz", "sure", "level_db", "harmonic", "guess_hz", "octave")
    arrays: dict[str, Any] = {name: np.concatenate([getattr(p, name) for p in parts]) for name in names
                              if all(getattr(p, name) is not None for p in parts)}
    return PitchTrack(**arrays, hop_s=parts[0].hop_s, duration_s=parts[-1].duration_s)
