"""The level of a sound, frame by frame."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from companion.ear.sound import RATE

LEVEL_S = 0.02  # window of the level


def power_db(power: NDArray[np.floating]) -> NDArray[np.float64]:
    """Mean squares as dB re full scale: a square wave of amplitude 1 is 0, a sine -3.01, silence -120."""
    return np.asarray(10.0 * np.log10(power + 1e-12), dtype=np.float64)


def frame_levels(samples: NDArray[np.float32], hop: int, count: int, rate: int = RATE) -> NDArray[np.float64]:
    """RMS level of LEVEL_S about each of `count` frames centred at sample i * hop, dB re full scale; shape (count,).

    Before the first sample and after the last lies silence.
    """
    half = round(LEVEL_S * rate / 2)
    padded = np.zeros((count - 1) * hop + 2 * half, dtype=np.float32)
    part = samples[:len(padded) - half]
    padded[half:half + len(part)] = part
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * half)[::hop]
    return power_db(np.square(windows).mean(axis=1))
