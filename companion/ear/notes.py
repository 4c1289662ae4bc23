"""Notes out of a pitch track, with no tune to help: every syllable counts, the quick ones too.

A path through the frames is sought that is cheap to describe as few notes of constant pitch with silences between. A note
costs something to begin, so that vibrato, scoops, slides and final falls are cheaper left as misses of one note than made
notes of their own; a note's pitch is that of its steady part. A repeated note is parted from a held one by how deep the
level dips between and whether voicing suffers; islands of voice that stand alone are kept from half the length of others;
and a short piece at a phrase's end that comes down off the note before is distinguished from the voice letting go. What the
sound leaves open is given with its odds, for the rhythm or a person to decide.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from companion.ear.model import PitchTrack, SungNote

F = NDArray[np.float64]

CELL = 0.25  # semitones of the grid on which constant pitches are sought
MISS = 15.0  # cost per second and semitone between a frame and its note
MISS_CAP = 2.5
BEGIN = 0.7  # cost of a new note where nothing marks it but the pitch
BREAK = 0.2  # cost of one after a silence, a dip or a consonant
SILENT_NOTE = 12.0  # cost per second of an unvoiced frame inside a note
VOICED_SILENCE = 15.0  # cost per second of a voiced frame that belongs to no note
TRUST = 0.45  # a voiced frame counts at least so much, however unsure
ONE_DIP_S = 0.06  # dips so near each other are one
DIP_S = 0.09  # a dip of the level is measured against the peaks so near on each side
LEAST_DIP_DB = 3.0
#: Odds that a dip parts two notes: a constant, so much for each dB of its depth (12 at most), for the periodicity lost in it
#: (0 to 1), and for each dB by which the voice is louder after it than before (12 at most): a syllable begins with its vowel,
#: while what only closes a syllable, or the echo of one, is softer.
DIP_ODDS = (-6.2, 0.93, 6.75, 0.24)
RISE_S = 0.25  # the loudest so near on each side
NO_DIP, DOUBTFUL_ODDS = -99.0, 2.5
FALL_S = 0.3  # a piece at a phrase's end, shorter than this, lower than the note before, may be the voice letting go
FALL_OVER = 0.3  # semitones: what lies farther above the note before is no fall
#: Odds that such a piece is a note: a constant, then for the odds of a dip before it (from -3 to 6), each second of
#: steady pitch, each second within 6 dB of its loudest, each dB by which it is softer than the note before (15 at
#: most), and each semitone that it is lower (4 at most). A logistic regression on singers of both makers.
NOTE_ODDS = (-5.08, 0.55, 22.0, 24.0, -0.17, 2.05)
FALL_STEADY, FALL_LOUD_DB = 0.6, 6.0
#: Voices come to a note from below, mostly, and are there after about this long: what sounds before counts less, so that a
#: short note is not taken for the scoop into it.
SCOOP_S, LEAST_ARRIVED = 0.09, 0.1
SHORTEST_S = 0.075  # between other notes; what is shorter is a slide
ALONE_S = 0.05  # for an island with silence on both sides
#: A piece of the same pitch as the note just before it, softer, that dies away from its loudest moment on, is its echo in a
#: room: 40 dB a second is an echo of 1.5 s (-60 dB), and a sung note keeps its level until it is let go. So is one that is
#: very much softer: echoes of rooms were 30 to 40 dB below their note, weak repeated notes 5 to 16.
ECHO_S, ECHO_WITHIN, ECHO_DB, ECHO_FALL_DB_S, ECHO_FAINT_DB, ECHO_LEAST_S = 0.3, 0.5, 5.0, 40.0, 22.0, 0.1
FAINT_DB = 24.0  # an island so far below the take's loud notes is a breath or an echo
SLIP_S = 0.15  # an octave away and back again within this is the tracker's slip
SLIP_WITHIN = 0.8  # semitones about the octave
#: Semitones a second at which a frame counts half: a slide of two semitones in 0.15 s is 13; a vibrato of
#: half a semitone at 6 Hz reaches 19 at its steepest and is flat at its turns, so its middle stays.
SLIDE = 8.0


def mend_octaves(midi: F, hop_s: float) -> F:
    """Pitch (MIDI, NaN unvoiced, n frames) with short slips of a whole octave put back.

    A run within one stretch of voice that jumps by an octave at both ends, away and back, and lasts less than
    SLIP_S is the tracker's: no voice leaps an octave and returns in that time without a gap.
    """
    mended = midi.copy()
    jumps = np.diff(midi)
    octave = np.flatnonzero(np.abs(np.abs(jumps) - 12.0) < SLIP_WITHIN) + 1
    k = 0
    while k + 1 < len(octave):
        a, b = int(octave[k]), int(octave[k + 1])
        back = np.sign(jumps[a - 1]) == -np.sign(jumps[b - 1])
        if back and (b - a) * hop_s < SLIP_S and not np.isnan(midi[a - 1:b + 1]).any():
            mended[a:b] -= 12.0 * np.sign(jumps[a - 1])
            k += 2
        else:
            k += 1
    return mended


def cheapest_path(miss: F, rest: F, begin: F) -> tuple[NDArray[np.int64], list[int]]:
    """Which pitch of the grid is sung at each of n frames (-1 none), and the frames at which notes begin.

    miss: n x p, cost of a frame at each pitch; rest: n, of its being silent; begin: n, of a note that begins there.
    """
    n, p = miss.shape
    cost, quiet = np.full(p, np.inf), 0.0
    came = np.zeros((n, p), dtype=bool)  # True: the note begins at this frame
    source = np.zeros(n, dtype=np.int64)  # where a note that begins here comes from: -1 silence, else a pitch
    quiet_from = np.full(n, -1, dtype=np.int64)
    for i in range(n):
        best = int(cost.argmin())
        source[i], cheapest = (-1, quiet) if quiet <= cost[best] else (best, float(cost[best]))
        fresh = cheapest + begin[i]
        came[i] = fresh < cost
        if quiet <= cost[best]:
            quiet_from[i] = -1
        else:
            quiet_from[i] = best
        quiet = min(quiet, float(cost[best])) + rest[i]
        cost = np.minimum(cost, fresh) + miss[i]
    state = -1 if quiet <= cost.min() else int(cost.argmin())
    label = np.full(n, -1, dtype=np.int64)
    starts: list[int] = []
    for i in range(n - 1, -1, -1):
        label[i] = state
        if state < 0:
            state = int(quiet_from[i])
        elif came[i, state]:
            starts.append(i)
            state = int(source[i])
    return label, sorted(starts)


def weighted_median(values: F, weights: F) -> float:
    """The value below which half of the weight lies."""
    order = np.argsort(values)
    total = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(total, total[-1] / 2)])


def steadiness(midi: F, hop_s: float) -> F:
    """1 for a frame of steady pitch (MIDI, NaN unvoiced), towards 0 in a slide; one value a frame."""
    slope = np.abs(np.gradient(np.nan_to_num(midi, nan=1e3))) / hop_s
    slope = np.convolve(np.minimum(slope, 200.0), np.ones(3) / 3, "same")
    return np.asarray(1.0 / (1.0 + (slope / SLIDE) ** 2))


def measured(track: PitchTrack, midi: F, inside: NDArray[np.int64], steady: F) -> SungNote:
    """The note of the frames `inside` (voiced, at least one), its pitch by the steady ones, the more the later (see SCOOP_S)."""
    arrived = np.clip((np.arange(len(inside)) + 0.5) * track.hop_s / SCOOP_S, LEAST_ARRIVED, 1.0) ** 2
    weight = steady[inside] * np.maximum(track.sure[inside], 0.05) * arrived
    pitch = weighted_median(midi[inside], weight)
    onset = float(track.time_s[inside[0]])
    return SungNote(onset, float(track.time_s[inside[-1]]) + track.hop_s - onset, pitch,
                    weighted_median(np.abs(midi[inside] - pitch), weight), float(track.sure[inside].mean()))


def onset_strength(level: F, hop_s: float) -> F:
    """dB by which the level dips at each frame, against the lower of the peaks just before and after."""
    reach = max(1, round(DIP_S / hop_s))
    padded = np.pad(level, reach, mode="edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, reach + 1)
    before, after = windows[:len(level)].max(axis=1), windows[reach:reach + len(level)].max(axis=1)
    return np.asarray(np.minimum(before, after) - level)


@dataclass(frozen=True, eq=False)
class _Frames:
    midi: F
    voiced: NDArray[np.bool_]
    sure: F
    dip: F
    level: F
    hop: float
    known: bool
    odds: F  # at each frame, that a dip of the level parts two notes there; far below 0 where there is none


@dataclass(frozen=True)
class Doubtful:
    """What may or may not be heard as a note of its own: when it begins, and the odds (logarithm) that it is.

    piece: None where a dip may or may not part two notes of one pitch; else the piece of voice that is in doubt.
    """

    time_s: float
    odds: float
    piece: SungNote | None = None


def _frames(track: PitchTrack) -> _Frames:
    midi = mend_octaves(track.midi, track.hop_s)
    known = not bool(np.isnan(track.level_db).all())
    level = np.nan_to_num(track.level_db, nan=-60.0)
    dip = onset_strength(level, track.hop_s) if known else np.zeros(len(level))
    odds = np.full(len(level), NO_DIP)
    harmonic = np.nan_to_num(track.harmonic, nan=1.0)
    rise_frames = max(1, round(RISE_S / track.hop_s))
    if known and len(dip) > 2:
        top = np.flatnonzero((dip[1:-1] >= dip[:-2]) & (dip[1:-1] > dip[2:]) & (dip[1:-1] > LEAST_DIP_DB)) + 1
        for i in top.tolist():
            lost = 1.0 - float(harmonic[max(0, i - 3):i + 4].min())
            rise = float(level[i + 1:i + 1 + rise_frames].max() - level[max(0, i - rise_frames):i].max())
            given, deep, periodic, risen = DIP_ODDS
            odds[i] = given + deep * min(float(dip[i]), 12.0) + periodic * lost + risen * float(np.clip(rise, -12.0, 12.0))
    return _Frames(midi, ~np.isnan(midi), track.sure, dip, level, track.hop_s, known, odds)


def find_notes(track: PitchTrack) -> list[SungNote]:
    """Notes of a track in order; empty where nothing is sung. Pitches are MIDI numbers with fractions."""
    return find_notes_and_doubts(track)[0]


def find_notes_and_doubts(track: PitchTrack) -> tuple[list[SungNote], list[Doubtful]]:
    """The notes of a track in order, and what its sound alone leaves open."""
    f = _frames(track)
    if not f.voiced.any():
        return [], []
    parts = f.odds > 0
    label, starts = _decode(f, parts)
    notes, doubts = _measure(track, f, label, starts, parts)
    near = round(ONE_DIP_S / f.hop)
    for i in np.flatnonzero(np.abs(f.odds) < DOUBTFUL_ODDS).tolist():
        if f.odds[i] >= f.odds[max(0, i - near):i + near + 1].max():  # else it is the edge of a surer one
            doubts.append(Doubtful(float(track.time_s[i]), float(f.odds[i])))
    return notes, doubts


def _decode(f: _Frames, broken: NDArray[np.bool_]) -> tuple[NDArray[np.int64], list[int]]:
    """Frame by frame which note of the grid is sung (-1 none), and where notes begin."""
    midi, voiced, hop = f.midi, f.voiced, f.hop
    grid = np.arange(np.floor(np.nanmin(midi)) - 1, np.ceil(np.nanmax(midi)) + 1.01, CELL)
    after_silence = voiced & ~np.concatenate([[False], voiced[:-1]])
    begin = np.where(broken | after_silence, BREAK, BEGIN)
    sure = np.maximum(f.sure, TRUST)
    away = np.minimum(np.abs(np.nan_to_num(midi)[:, None] - grid[None, :]), MISS_CAP)
    miss = np.where(voiced[:, None], MISS * hop * sure[:, None] * away, SILENT_NOTE * hop)
    rest = np.where(voiced, VOICED_SILENCE * hop * sure, 0.0)
    return cheapest_path(miss, rest, begin)


def _cuts(f: _Frames, label: NDArray[np.int64], starts: list[int], broken: NDArray[np.bool_]) -> list[int]:
    """Frames at which pieces begin: where notes do, and at dips, but for those in a voice that is dying away."""
    dips = {int(i) for i in np.flatnonzero(broken & f.voiced & (label >= 0))} - set(starts)
    cuts = sorted(dips | set(starts))
    sung = f.voiced & (label >= 0)
    kept = []
    for k, cut in enumerate(cuts):
        run = sung[cut:cuts[k + 1] if k + 1 < len(cuts) else len(label)]
        if cut in dips and (len(run) if run.all() else int(run.argmin())) * f.hop < SHORTEST_S - 1e-6:
            continue
        kept.append(cut)
    return kept


def _pieces(f: _Frames, label: NDArray[np.int64], cuts: list[int]) -> Iterator[NDArray[np.int64]]:
    """The voiced frames of each piece between cuts, where there are any."""
    for start, limit in itertools.pairwise([*cuts, len(label)]):
        inside = np.arange(start, limit)
        inside = inside[(label[inside] >= 0) & f.voiced[inside]]
        if len(inside):
            yield inside


def _silent(f: _Frames, start: int, stop: int) -> bool:
    """Whether no voice sounds from one frame to before another; frames beyond the ends are silent."""
    return not f.voiced[max(0, start):max(0, stop)].any()


def _measure(track: PitchTrack, f: _Frames, label: NDArray[np.int64], starts: list[int],
             broken: NDArray[np.bool_]) -> tuple[list[SungNote], list[Doubtful]]:
    """The notes, and those pieces of voice that may or may not be notes."""
    steady = steadiness(f.midi, f.hop)
    faint_db = float(np.percentile(f.level[f.voiced], 80)) - FAINT_DB if f.known else -np.inf
    notes: list[SungNote] = []
    doubts: list[Doubtful] = []
    for inside in _pieces(f, label, _cuts(f, label, starts, broken)):
        first, after = int(inside[0]), int(inside[-1]) + 1
        ends = _silent(f, after, after + 2)
        alone = ends and _silent(f, first - 2, first)
        too_short = len(inside) * f.hop < (ALONE_S if alone else SHORTEST_S) - 1e-6
        if too_short or (f.known and float(f.level[inside].max()) < faint_db):
            continue
        note = measured(track, f.midi, inside, steady)
        if notes and f.known and _is_echo(track, f, inside, note, notes[-1]):
            continue
        joined = bool(notes) and first * f.hop - (notes[-1].onset_s + notes[-1].duration_s - track.time_s[0]) < 2.5 * f.hop
        if joined and ends and f.known and note.duration_s < FALL_S and note.midi < notes[-1].midi + FALL_OVER:
            odds = _note_odds(f, steady, inside, notes[-1].midi - note.midi)
            if abs(odds) < DOUBTFUL_ODDS:
                doubts.append(Doubtful(note.onset_s, odds, note))
            if odds < 0:
                end_s = float(track.time_s[inside[-1]]) + f.hop
                notes[-1] = replace(notes[-1], duration_s=end_s - notes[-1].onset_s)
                continue
        notes.append(note)
    return notes, doubts


def _is_echo(track: PitchTrack, f: _Frames, inside: NDArray[np.int64], note: SungNote, before: SungNote) -> bool:
    """Whether a piece of voice is what a room gives back of the note before it."""
    silence_s = note.onset_s - before.onset_s - before.duration_s
    if abs(note.midi - before.midi) > ECHO_WITHIN or silence_s > ECHO_S or len(inside) < 3:
        return False
    sung = f.level[(track.time_s >= before.onset_s) & (track.time_s < before.onset_s + before.duration_s)]
    level = f.level[inside]
    softer = float(sung.max() - level.max()) if len(sung) else 0.0
    if softer < ECHO_DB:
        return False
    after = np.arange(int(level.argmax()), len(level))
    after = after[:len(after) * 2 // 3]
    falls = len(after) * f.hop > ECHO_LEAST_S and float(np.polyfit(after * f.hop, level[after], 1)[0]) < -ECHO_FALL_DB_S
    return softer > ECHO_FAINT_DB or falls


def _note_odds(f: _Frames, steady: F, inside: NDArray[np.int64], lower: float) -> float:
    """Odds (logarithm) that a piece at a phrase's end is a note; lower: semitones below the note before."""
    start, level = int(inside[0]), f.level[inside]
    before = float(np.median(f.level[max(0, start - 15):max(start - 2, 1)]))
    given, dip, rest, loud, drop, down = NOTE_ODDS
    return (given + dip * float(np.clip(f.odds[max(0, start - 6):start + 3].max(), -3.0, 6.0))
            + rest * float((steady[inside] > FALL_STEADY).sum()) * f.hop
            + loud * float((level > level.max() - FALL_LOUD_DB).sum()) * f.hop
            + drop * float(np.clip(before - level.max(), -15.0, 15.0)) + down * min(lower, 4.0))
