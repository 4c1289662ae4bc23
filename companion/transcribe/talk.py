"""Talk told from singing in the stretches of a take: what is said before, between and after the song is not written down."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from companion.ear import PitchTrack
from companion.match import frame_odds

F = NDArray[np.float64]

PAUSE_S = 0.2  # voices that follow each other sooner are of one kind: nobody goes on from a word to a note in less
#: Odds (logarithm) of singing against talk for a stretch of voice: so much for each second and nat that the mean of
#: `frame_odds` lies above the middle, which is where real voices and talk meet: of stretches of more than 0.7 s those of two
#: real singers reach down to -1.5 and real talk up to it, half of them above 0.7 and below -3.5.
PER_SECOND, MIDDLE = 4.0, -1.0
#: Nats for going from singing to talk or back: after a pause no longer than a breath in mid-song, and after a longer one.
CHANGE_IN_A_BREATH, CHANGE = 8.0, 2.0
BREATH_S, LONG_PAUSE_S = 0.3, 0.6
SURELY = 10.0  # nats for the singing of a take together: with less, it may all be talk
SILENT_DB = -120.0


def talk_silenced(track: PitchTrack) -> PitchTrack:
    """A take with silence where it is talk; as it stands where all of it is singing, or none surely.

    Found by the cheapest path through its stretches of voice, each singing or talk, so that a short or unsure one counts as
    what is around it.
    """
    stretches = _stretches(track)
    frames = frame_odds(track)
    odds = [_odds(track, frames, s) for s in stretches]
    pauses = [(b.start - a.stop) * track.hop_s for a, b in pairwise(stretches)]
    sung = _singing(odds, pauses)
    if all(sung) or sum(x for x, is_sung in zip(odds, sung, strict=True) if is_sung) < SURELY:
        return track
    said = np.zeros(len(track.f0_hz), dtype=bool)
    for stretch, is_sung in zip(stretches, sung, strict=True):
        if not is_sung:
            said[stretch] = True
    return replace(track, f0_hz=np.where(said, 0.0, track.f0_hz), sure=np.where(said, 0.0, track.sure),
                   level_db=np.where(said, np.minimum(track.level_db, SILENT_DB), track.level_db))


def _stretches(track: PitchTrack) -> list[slice]:
    """Frames from the first to the last voice between pauses."""
    voiced = np.flatnonzero(track.f0_hz > 0)
    if not len(voiced):
        return []
    gaps = np.flatnonzero(np.diff(voiced) * track.hop_s > PAUSE_S)
    return [slice(int(a), int(b) + 1) for a, b in zip([voiced[0], *voiced[gaps + 1]], [*voiced[gaps], voiced[-1]], strict=True)]


def _odds(track: PitchTrack, frames: F, stretch: slice) -> float:
    voiced = track.f0_hz[stretch] > 0
    mean = float(frames[stretch][voiced].mean())
    return PER_SECOND * (mean - MIDDLE) * float(np.count_nonzero(voiced)) * track.hop_s


def _singing(odds: Sequence[float], pauses_s: Sequence[float]) -> list[bool]:
    """For each stretch whether it is singing, on the path of the highest odds.

    odds: of singing against talk. pauses_s: between each stretch and the next.
    """
    sing, talk = 0.0, 0.0
    came: list[tuple[bool, bool]] = []  # whether what comes before was singing, if this is singing, and if it is talk
    for x, pause_s in zip(odds, [LONG_PAUSE_S, *pauses_s], strict=False):
        change = float(np.interp(pause_s, (BREATH_S, LONG_PAUSE_S), (CHANGE_IN_A_BREATH, CHANGE)))
        came.append((sing >= talk - change, sing - change > talk))
        sing, talk = max(sing, talk - change) + x, max(talk, sing - change)
    state = sing >= talk
    path = []
    for from_singing, from_talk in reversed(came):
        path.append(state)
        state = from_singing if state else from_talk
    return path[::-1]
