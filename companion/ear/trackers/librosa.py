"""The reference: `librosa.pyin` (probabilistic YIN, Mauch and Dixon 2014), decoded over the whole recording.

Range and hop are those of our own tracker, so that frames can be compared one by one. The frame length is 1024 samples
(46 ms), near four periods of the lowest note as librosa advises; at our 768 it loses low voices. Voicing is librosa's
own, which calls breath and the tail of a room sung more often than ours. The first call compiles librosa's kernels, which
takes some seconds.
"""

from __future__ import annotations

import numpy as np

from companion.ear.level import frame_levels
from companion.ear.model import PitchTrack
from companion.ear.sound import RATE, Sound
from companion.ear.tracker import HIGH_HZ, HOP, LOW_HZ

FRAME = 1024


def track(sound: Sound) -> PitchTrack:
    """Pitch by librosa; see `PitchTracker`. `guess_hz`: its pitch in unvoiced frames too."""
    import librosa

    samples = sound.at_rate(RATE).samples
    padded = samples if len(samples) else np.zeros(1, dtype=np.float32)
    f0, voiced, probability = librosa.pyin(padded, fmin=LOW_HZ, fmax=HIGH_HZ, sr=RATE, frame_length=FRAME, hop_length=HOP,
                                           fill_na=None)
    return PitchTrack(time_s=np.arange(len(f0), dtype=np.float64) * (HOP / RATE), f0_hz=np.where(voiced, f0, 0.0),
                      sure=np.where(voiced, probability, 0.0), level_db=frame_levels(samples, HOP, len(f0)),
                      harmonic=np.full(len(f0), np.nan), hop_s=HOP / RATE, duration_s=len(samples) / RATE, guess_hz=f0)
