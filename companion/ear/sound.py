"""Sound as samples: what is recorded, read, made and played."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

RATE = 22050  # Hz, of all that is heard: sung pitch and its first harmonics lie below 5 kHz; twice the work buys nothing


@dataclass(frozen=True, eq=False)
class Sound:
    """Mono sound. samples: float32 within -1..1, shape (n,); rate: Hz."""

    samples: NDArray[np.float32]
    rate: int

    @property
    def seconds(self) -> float:
        return len(self.samples) / self.rate

    def at_rate(self, rate: int) -> Sound:
        """The same sound at another rate (soxr, its high quality)."""
        if self.rate == rate:
            return self
        import soxr

        return Sound(np.asarray(soxr.resample(self.samples, self.rate, rate), dtype=np.float32), rate)
