"""Sound that goes out: mono samples and their rate."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Sound:
    """Mono sound out: samples float32 within -1..1, rate in Hz."""

    samples: NDArray[np.float32]
    rate: int

    @property
    def seconds(self) -> float:
        return len(self.samples) / self.rate


def silence(seconds: float, rate: int) -> Sound:
    return Sound(np.zeros(round(seconds * rate), dtype=np.float32), rate)


def at_rate(sound: Sound, rate: int) -> Sound:
    """The same sound at another rate (soxr)."""
    if sound.rate == rate:
        return sound
    import soxr

    return Sound(np.asarray(soxr.resample(sound.samples, sound.rate, rate), dtype=np.float32), rate)


def together(*sounds: Sound, rate: int = 44100) -> Sound:
    """Sounds one after the other, at one rate."""
    parts = [at_rate(s, rate).samples for s in sounds]
    return Sound(np.concatenate(parts) if parts else np.zeros(0, dtype=np.float32), rate)
