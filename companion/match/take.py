"""A take against a tune: alignment, steady pitches, a verdict for each move, closeness."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from companion.ear import PitchTrack
from companion.errors import NothingSung
from companion.match.align import Alignment, align
from companion.match.closeness import closeness
from companion.match.details import detail
from companion.match.fragments import is_bare
from companion.match.judge import DOUBT, Evidence, call, move_evidence
from companion.match.model import HeardNote, Match, Move
from companion.match.parameters import PARAMETERS, MatchParameters
from companion.match.steady import Steady, steady_parts
from companion.messages import _
from companion.tune import LineNote, direction_of

F = NDArray[np.float64]


def local_key(sung: F, written: F, params: MatchParameters = PARAMETERS) -> F:
    """Sung minus written, in semitones, at each of N notes, following drift but not single wrong notes."""
    off = sung - written
    whole = float(np.nanmedian(off)) if not np.isnan(off).all() else 0.0
    # A key slip of whole octaves is folded away: the octave is the pupil's.
    off = off - 12 * np.round((off - whole) / 12)
    key = np.full(len(off), whole)
    for i in range(len(off)):
        near = off[max(0, i - params.key_reach): i + params.key_reach + 1]
        near = near[np.abs(near - whole) < params.key_agrees]
        if len(near) > 1:
            key[i] = np.median(near)
    return key


def key_prior(grid: F, written: F, key: F, params: MatchParameters = PARAMETERS) -> F:
    """N x P: weight of each sung pitch for each note, once the singer's own key is known (N, sung minus written)."""
    away = np.abs(grid[None, :] - (written + key)[:, None])
    return np.maximum(np.exp(-away / params.key_spread), params.key_floor)


@dataclass(frozen=True)
class Placed:
    """A take laid over a line of N notes: its alignment, the steady parts, and the singer's key at each note.

    key: sung minus written, semitones. bare: the track has pitch alone.
    """

    aligned: Alignment
    steady: Steady
    key: F
    bare: bool

    def evidence(self, line: Sequence[LineNote], i: int, params: MatchParameters = PARAMETERS) -> Evidence:
        """Evidence for the move from note i to i + 1 of the line (counted from 0)."""
        written = np.array([n.midi for n in line], dtype=float)
        return move_evidence(self.aligned, self.steady, self.key, written, i, self.bare, params)


def place(track: PitchTrack, line: Sequence[LineNote], params: MatchParameters = PARAMETERS) -> Placed | None:
    """Align twice: once with no key, then with the singer's own key as found. None where nothing is sung."""
    written = np.array([n.midi for n in line], dtype=float)
    beats = [float(n.quarters) for n in line]
    rests = [float(n.rest_after) for n in line]
    first = align(track, list(written), beats, rests, params=params)
    if first is None:
        return None
    key = local_key(steady_parts(track, first, params).midi, written, params)
    second = align(track, list(written), beats, rests, key_prior(first.grid, written, key, params), params=params)
    assert second is not None
    steady = steady_parts(track, second, params)
    return Placed(second, steady, local_key(steady.midi, written, params), is_bare(track))


def match_take(track: PitchTrack, line: Sequence[LineNote], params: MatchParameters = PARAMETERS) -> Match:
    """Match one take with one line of notes (a tune or a phrase of it; at least one note).

    Any key and octave, drift, any tempo, notes left out or added, intervals shrunk. Raises `NothingSung`
    where the take has no voice to speak of.
    """
    voice_s = float((track.sure * (track.f0_hz > 0)).sum() * track.hop_s)
    placed = place(track, line, params) if voice_s >= params.least_voice_s else None
    if placed is None:
        raise NothingSung(_("Nothing sung was found in this take. Sing a little closer to the microphone, and once "
                            "more."))
    notes = tuple(_note(placed, i, n, params) for i, n in enumerate(line))
    moves = tuple(_move(placed, line, notes, i, params) for i in range(len(line) - 1))
    off = placed.steady.midi - np.array([n.midi for n in line], dtype=float)
    shift = None if np.isnan(off).all() else round(float(np.nanmedian(off)), 2)
    return Match(shift, notes, moves, closeness(notes, params), detail(notes, moves, placed.key, params))


def _note(placed: Placed, i: int, written: LineNote, params: MatchParameters) -> HeardNote:
    steady, present = placed.steady, placed.aligned.present[i]
    sung = bool(present >= params.present and not np.isnan(steady.midi[i]))
    return HeardNote(
        written=written, sung=sung,
        midi=round(float(steady.midi[i]), 3) if sung else None,
        onset_s=round(float(steady.onset_s[i]), 3) if sung else None,
        duration_s=round(float(steady.end_s[i] - steady.onset_s[i]), 3) if sung else None,
        sure=round(float(present), 3))


def _move(placed: Placed, line: Sequence[LineNote], notes: Sequence[HeardNote], i: int, params: MatchParameters) -> Move:
    semitones = line[i + 1].midi - line[i].midi
    wanted = direction_of(semitones)
    e = placed.evidence(line, i, params)
    # The ends of a move that is judged were both sung.
    made = call(e, wanted, params) if notes[i].sung and notes[i + 1].sung else DOUBT
    return Move(start=line[i].number, end=line[i + 1].number, wanted=wanted, heard=made.heard, verdict=made.verdict,
                sure=round(made.sure, 3), wanted_semitones=semitones,
                sung_semitones=None if e.interval is None else round(e.interval, 2))
