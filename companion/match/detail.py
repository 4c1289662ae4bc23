"""What a teacher may ask for beyond the cue."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from companion.ear.model import PitchTrack
from companion.match.model import HeardNote, Move


def detail(track: PitchTrack, notes: Sequence[HeardNote], moves: Sequence[Move],
           key: NDArray[np.float64]) -> dict[str, object]:
    return {}
