"""A pitch track cut into fragments of steady pitch: a fifth of the work of frames, and nothing a direction needs lost."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from companion.ear import PitchTrack
from companion.match.parameters import MatchParameters

F = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Fragments:
    """n pieces of a track: start frame, frames, pitch (MIDI; NaN unvoiced), confidence of voice 0 to 1.

    onset: a factor of up to 1 for how well a new note may begin with the fragment.
    """

    first: NDArray[np.int64]
    frames: NDArray[np.int64]
    midi: F
    confidence: F
    onset: F
    hop_s: float

    @property
    def seconds(self) -> F:
        return np.asarray(self.frames * self.hop_s, dtype=np.float64)

    @property
    def voiced(self) -> NDArray[np.bool_]:
        return ~np.isnan(self.midi)


def is_bare(track: PitchTrack) -> bool:
    """Whether a track has pitch alone: no level, and a tracker whose faults are not known."""
    return bool(np.isnan(track.level_db).all())


def cut(track: PitchTrack, params: MatchParameters) -> Fragments:
    """Cut a track into fragments of at most `params.fragment_s`, in which the pitch stays within `params.fragment_span`."""
    midi = track.midi
    start = np.array(_starts(midi, max(1, round(params.fragment_s / track.hop_s)), params.fragment_span), dtype=np.int64)
    if not len(start):
        empty = np.zeros(0)
        return Fragments(start, start, empty, empty, empty, track.hop_s)
    frames = np.diff(np.append(start, len(midi)))
    total = np.add.reduceat(np.nan_to_num(midi), start)
    weight = np.add.reduceat(np.where(track.f0_hz > 0, track.sure, 0.0), start)
    voiced = ~np.isnan(midi[start])
    pitch = np.where(voiced, total / frames, np.nan)
    return Fragments(start, frames, pitch, np.where(voiced, weight / frames, 0.0),
                     _onset_factor(track, start, pitch, params), track.hop_s)


def _starts(midi: F, longest: int, span: float) -> list[int]:
    """First frames of the fragments: where voice begins or ends, the pitch leaves the span, or it gets too long."""
    first: list[int] = []
    low = high = 0.0
    was_voiced = False
    for i, m in enumerate(midi.tolist()):
        is_voiced = m == m
        new = not first or is_voiced != was_voiced or i - first[-1] >= longest
        if not new and is_voiced and (max(high, m) - min(low, m) > span):
            new = True
        if new:
            first.append(i)
            low = high = m
        elif is_voiced:
            low, high = min(low, m), max(high, m)
        was_voiced = is_voiced
    return first


def _onset_factor(track: PitchTrack, start: NDArray[np.int64], pitch: F, params: MatchParameters) -> F:
    """1 where the pitch changes, the level dips or voice begins after silence, less where a note can hardly begin."""
    before, after = np.append(np.nan, pitch[:-1]), np.append(pitch[1:], np.nan)
    with np.errstate(invalid="ignore"):
        jump = (np.abs(pitch - before) > params.onset_pitch) | (np.abs(after - before) > 1.5 * params.onset_pitch)
    begins = np.isnan(before) & ~np.isnan(pitch)
    if is_bare(track):
        return np.where(jump | begins, 1.0, params.no_onset_unknown)
    return np.where(jump | begins | _dips(track, start, params), 1.0, params.no_onset)


def _dips(track: PitchTrack, start: NDArray[np.int64], params: MatchParameters) -> NDArray[np.bool_]:
    """At which fragments the level falls and rises again."""
    level = np.nan_to_num(track.level_db, nan=-120.0)
    reach = max(1, round(params.onset_dip_s / track.hop_s))
    dips = np.zeros(len(start), dtype=bool)
    for k, at in enumerate(start.tolist()):
        around = level[max(0, at - reach):at + reach + 1]
        low = int(around.argmin())
        if 0 < low < len(around) - 1:
            dips[k] = min(around[:low].max(), around[low + 1:].max()) - around[low] > params.onset_dip_db
    return dips
