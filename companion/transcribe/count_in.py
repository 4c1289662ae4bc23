"""A take that begins with counting in: so many counts spoken or clapped, evenly, then the tune.

The counts are sounds that rise out of quiet, one beat apart. They give the tempo, how many beats a bar has and where
its first beat falls; the tune is what comes after them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from companion.ear import PitchTrack
from companion.errors import Trouble
from companion.messages import _

F = NDArray[np.float64]

FEWEST, MOST = 2, 8  # counts that can be distinguished from a tune that begins evenly by itself
QUICKEST_S, SLOWEST_S = 0.25, 1.5  # seconds between counts
RISE_DB, RISE_S = 9.0, 0.08  # a sound begins where its level rises so much within so long
SAME_S = 0.12  # beginnings nearer than this are one
UNEVEN = 0.25  # of a beat: how far a count may lie from even
BETWEEN = 0.05  # cost of a beginning between counts (a second syllable), of a beat's unevenness
QUIET_DB = 12.0  # below the last count's loudest: where it has died away
LONGEST_COUNT = 0.8  # of a beat: what lasts longer than this after the last count is sung


@dataclass(frozen=True)
class CountIn:
    """Counts found in a take: when each begins, seconds between them, and when the bar after them begins."""

    counts_s: tuple[float, ...]
    beat_s: float
    downbeat_s: float


def beginnings(track: PitchTrack) -> F:
    """Times at which sounds begin: the level rises steeply out of what went before."""
    level = np.maximum(np.nan_to_num(track.level_db, nan=-90.0), np.nanmax(track.level_db) - 45.0)
    reach = max(1, round(RISE_S / track.hop_s))
    before = np.lib.stride_tricks.sliding_window_view(np.pad(level, (reach, 0), mode="edge"), reach + 1).min(axis=1)
    rise = level - before
    top = np.flatnonzero((rise[1:-1] > RISE_DB) & (rise[1:-1] >= rise[:-2]) & (rise[1:-1] > rise[2:])) + 1
    out: list[float] = []
    for i in top.tolist():
        if not out or track.time_s[i] - out[-1] > SAME_S:
            out.append(float(track.time_s[i]))
    return np.array(out)


def find_counts(track: PitchTrack, number: int) -> CountIn:
    """The first `number` even sounds of a take. Raises Trouble where there are none such."""
    if not FEWEST <= number <= MOST:
        raise Trouble(_("Counting in by {number} was given; give a number of counts from {FEWEST} to {MOST}.").format(
                            number=number, FEWEST=FEWEST, MOST=MOST))
    if np.isnan(track.level_db).all():
        raise Trouble(_("A bare pitch track holds no counts; give the sound, or leave counting in out."))
    at = beginnings(track)
    best: tuple[float, tuple[float, ...]] | None = None
    for second in range(1, min(len(at), 3 * number)):
        beat = float(at[second] - at[0])
        if not QUICKEST_S <= beat <= SLOWEST_S:
            continue
        found = [float(at[0]), float(at[second])]
        while len(found) < number:
            near = float(at[np.abs(at - found[-1] - beat).argmin()])
            if abs(near - found[-1] - beat) > UNEVEN * beat:
                break
            found.append(near)
        if len(found) < number:
            continue
        gaps = np.diff(found)
        between = int(((at > found[0]) & (at < found[-1])).sum()) - (number - 2)
        cost = float(gaps.std() / gaps.mean()) + BETWEEN * between
        if best is None or cost < best[0]:
            best = cost, tuple(found)
    if best is None:
        raise Trouble(_("No {number} even counts were found at the start of this take. Speak or clap them one beat "
                        "apart, or leave counting in out.").format(number=number))
    beat = (best[1][-1] - best[1][0]) / (number - 1)
    return CountIn(best[1], beat, best[1][0] + number * beat)


def without_counts(track: PitchTrack, found: CountIn) -> PitchTrack:
    """The same track with nothing sung before the last count has died away."""
    last, latest = found.counts_s[-1], found.counts_s[-1] + LONGEST_COUNT * found.beat_s
    level = np.nan_to_num(track.level_db, nan=-90.0)
    window = np.flatnonzero((track.time_s >= last) & (track.time_s < latest))
    end = latest
    if len(window):
        loudest = int(window[:max(1, len(window) // 2)][level[window[:max(1, len(window) // 2)]].argmax()])
        quiet = window[(window > loudest) & (level[window] < level[loudest] - QUIET_DB)]
        if len(quiet):
            end = float(track.time_s[quiet[0]])
    return replace(track, f0_hz=np.where(track.time_s < end, 0.0, track.f0_hz),
                   level_db=np.where(track.time_s < end, np.nanmin(track.level_db), track.level_db))
