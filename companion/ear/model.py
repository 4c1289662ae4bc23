"""What the ear passes on: a pitch track, and notes found in it.

Conventions: `f0_hz` is 0 where a frame is not sung. Frame i is centred at `time_s[i]`. Level is in dB
relative to full scale (a sine of amplitude 1 is -3.01 dB). Pitch in notes is a MIDI number with its
fraction (69 = 440 Hz, ISO 16).
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class PitchTrack:
    """Pitch frame by frame; all arrays of one length n.

    time_s: centre of each frame, seconds, evenly spaced by hop_s.
    f0_hz: pitch, 0 = not sung.
    sure: probability that the frame is sung at that pitch, 0 to 1 (0 or 1 where only f0 was given).
    level_db: level of the frame, dB; NaN where only f0 was given.
    harmonic: periodicity of the frame, 0 (noise) to 1 (perfectly periodic); NaN where unknown.
    duration_s: length of the sound.
    guess_hz: the tracker's pitch in unvoiced frames too, where it has one; nothing is judged by it.
    octave: how much speaks for an octave above or below instead, 0 (clear) to 1, where that is known.
    """

    time_s: Array
    f0_hz: Array
    sure: Array
    level_db: Array
    harmonic: Array
    hop_s: float
    duration_s: float
    guess_hz: Array | None = None
    octave: Array | None = None

    def __post_init__(self) -> None:
        n = len(self.time_s)
        arrays = (self.f0_hz, self.sure, self.level_db, self.harmonic, self.guess_hz, self.octave)
        if any(a is not None and a.shape != (n,) for a in arrays) or not self.hop_s > 0:
            raise ValueError(f"a pitch track wants arrays of one length, here {n}, and a hop above 0")

    @property
    def midi(self) -> Array:
        """Pitch as MIDI number with fraction, NaN where not sung."""
        with np.errstate(divide="ignore"):
            return np.where(self.f0_hz > 0, 69.0 + 12.0 * np.log2(self.f0_hz / 440.0, where=self.f0_hz > 0,
                                                                  out=np.zeros_like(self.f0_hz)), np.nan)


    def part(self, frames: slice | NDArray[np.bool_]) -> PitchTrack:
        """Some of the frames; their times stay."""
        arrays = {f.name: getattr(self, f.name) for f in fields(self)}
        cut: dict[str, Any] = {name: a[frames] for name, a in arrays.items() if isinstance(a, np.ndarray)}
        return replace(self, **cut)


@dataclass(frozen=True, slots=True)
class SungNote:
    """A note found in a track. midi: pitch of its steady part; spread: of that part, in semitones."""

    onset_s: float
    duration_s: float
    midi: float
    spread: float
    sure: float
