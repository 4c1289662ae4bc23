"""How well a whole take matches, 0 to 1, ordered as experts order takes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from companion.match.model import HeardNote


#: Fixed split: takes at or above are such as experts grade 3 or 4. Chosen on graded singing.
SPLIT = 0.6


def closeness(notes: Sequence[HeardNote], key: NDArray[np.float64]) -> float:
    """0 to 1 for N notes heard; `key` is sung minus written at each of them, semitones."""
    off = [min(3.0, abs(n.midi - n.written.midi - k)) if n.midi is not None else 2.0
           for n, k in zip(notes, key, strict=True)]
    return round(float(np.exp(-np.mean(off))), 3)
