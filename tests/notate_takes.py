"""Takes for the tests of notate: the singers' contour as a pitch track (quick, no sound), and as sound."""

from __future__ import annotations

import numpy as np
from singers import VOICES, LineItem, Performance, Style, perform, render

from companion.ear.model import PitchTrack
from companion.tune import Tune

PLAIN = {"miss": 0.06, "waver": 0.03, "slide_s": 0.04, "quarter_s": 0.5}
HOP_S = 0.01


def items(tune: Tune) -> list[LineItem]:
    return [LineItem(n.midi, float(n.quarters), "la", float(n.rest_after)) for n in tune.line()]


def performance(tune: Tune, seed: int = 1, **style: float) -> Performance:
    """A tune as a test singer sings it; the middle of the voice is the tune's own place unless a shift is given."""
    return perform(items(tune), Style(**{**PLAIN, **style}), np.random.default_rng(seed))


def as_track(p: Performance) -> PitchTrack:
    """The contour of a performance as the ear would track it without a fault."""
    midi = p.contour[::2]
    voiced = ~np.isnan(midi)
    n = len(midi)
    level = np.where(voiced, -20 + 20 * np.log10(np.maximum(p.level[::2], 1e-3)), -70.0)
    dipped = voiced & (p.level[::2] < 0.6)
    return PitchTrack(
        time_s=np.arange(n) * HOP_S, f0_hz=np.where(voiced, 440.0 * 2 ** ((np.nan_to_num(midi) - 69) / 12), 0.0),
        sure=np.where(voiced, 0.9, 0.0), level_db=level, harmonic=np.where(voiced, np.where(dipped, 0.7, 0.95), 0.1),
        hop_s=HOP_S, duration_s=n * HOP_S)


def as_sound(p: Performance, voice: int = 1, seed: int = 1) -> np.ndarray:
    return render(p, VOICES[voice], "formants", np.random.default_rng(seed))
