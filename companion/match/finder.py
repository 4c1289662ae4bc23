"""Where in a take the line lies: before it is judged, it is found.

A take holds more than its line: talk, another line, a false start, the line twice. So a model of the line
stands against a model of everything else, the filler, as in keyword spotting: the filler sings free notes with the
same emissions and durations as the line and a broad law of intervals, or speaks, or is silent. Where the line
explains the sound better than the filler does by its intervals, there it is; by how much is what tells whether
it is in the take at all. A Viterbi search over the fragments of the take (see `companion.match.fragments`) on a grid
of half semitones finds all attempts in one pass, in time linear in the take.

States: for each note of the line and for the filler (one row more), a note at each pitch of the grid, and the
gap after a note at each pitch; for the filler speech too. The scores are kept instead of
back-pointers; the way back recomputes on the path alone which state came before.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from companion.ear import PitchTrack
from companion.match.fragments import Fragments, cut
from companion.match.parameters import PARAMETERS as MATCH
from companion.match.singing import frame_odds
from companion.tune import LineNote

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]
NONE = np.float32(-1e9)  # the logarithm of no probability


@dataclass(frozen=True)
class FinderParameters:
    """Prices in nats (natural logarithms of odds), lengths in seconds, pitches in semitones.

    cell: of the pitch grid. miss, miss_cap: nats a second and semitone off the note, and how far off counts.
    octave_miss: semitones that an octave slip counts as. unvoiced_note, voiced_gap: nats a second of silence in a note,
    and of voice in a gap; silence: of silence in a gap of the line where no rest is written.
    trust: how much a frame weighs of which the tracker is not sure at all.
    speech: nats a second for voice that the filler takes for speech, where it might as well be singing; speech_odds: so
    many more for each nat of `companion.match.singing.frame_odds`; speech_begins, speech_ends: nats for either.
    note_s: mean length of a note. no_gap: chance that a note follows without a gap; from_gap: that a gap ends, each
    fragment. no_onset: nats for a note that begins where nothing is heard to begin; dip: for one that goes on where
    something is. spread, spread_per, any_way, far: the law of the line's intervals (see `companion.match.align`);
    as_written: nats in favour of each of them; filler: spread of the filler's law. left_out: nats for a note left out.
    pause_s: a silence that may part attempts. enter, leave: nats to begin the line at its first note and to end it
    at its last, next to a pause and elsewhere; inside: as many more for doing so in its middle.
    Chosen on the takes of `tests/benchmarks/everyday.py`, set "fit", seed 41.
    """

    cell: float = 0.5
    miss: float = 60.0
    miss_cap: float = 4.0
    octave_miss: float = 1.6
    unvoiced_note: float = 42.0
    voiced_gap: float = 118.0
    speech: float = 85.0
    speech_odds: float = 18.0
    silence: float = 3.0
    as_written: float = 1.1
    trust: float = 0.4
    speech_begins: float = 4.0
    speech_ends: float = 3.0
    note_s: float = 0.4
    no_gap: float = 0.25
    from_gap: float = 0.4
    no_onset: float = 3.5
    dip: float = 1.0
    spread: float = 0.5
    spread_per: float = 0.05
    any_way: float = 0.2
    far: float = 8.0
    filler: float = 4.5
    left_out: float = 6.0
    pause_s: float = 0.25
    enter: tuple[float, float] = (0.0, 2.0)
    leave: tuple[float, float] = (0.5, 2.5)
    inside: tuple[float, float] = (3.0, 9.0)


PARAMETERS = FinderParameters()
SHRINK = ((1.0, 0.6), (0.85, 0.25), (0.68, 0.15))  # as in `companion.match.align`
REACH = 7  # cells to each side of a written interval (shrunken a little) within which it counts as sung
Step = tuple[int, int, int]  # row, GAP, NOTE or SPEECH, cell of the grid
GAP, NOTE, SPEECH = range(3)
SKIPS = 2  # notes back from which a note may be reached: one or none left out


@dataclass(frozen=True)
class Attempt:
    """One stretch in which the line, or a part of it, was sung.

    first, last: places in the line (from 0) of the first and last note of it. start, end: fragments (end excluded).
    from_s, to_s: the same in seconds. odds: nats by which the line explains the stretch better than the filler.
    begins: for each note first..last the fragment at which it begins, -1 where it was left out.
    """

    first: int
    last: int
    start: int
    end: int
    from_s: float
    to_s: float
    odds: float
    begins: tuple[int, ...] = ()


@dataclass(frozen=True, eq=False)
class Found:
    """All attempts of a take in order; odds of the best path with the line against the filler alone (nats).

    sung: for each fragment, whether the filler alone hears a sung note in it. pieces: the fragments.
    """

    attempts: tuple[Attempt, ...]
    odds: float
    pieces: Fragments
    total_alone: float = 0.0
    sung: NDArray[np.bool_] = field(default_factory=lambda: np.zeros(0, dtype=bool))


def find(track: PitchTrack, line: Sequence[LineNote], parameters: FinderParameters = PARAMETERS) -> Found | None:
    """The attempts at a line of n notes (at least 1) in a take; None where nothing is voiced."""
    pieces = cut(track, MATCH)
    voiced = ~np.isnan(pieces.midi)
    if not voiced.any():
        return None
    model = _Model(pieces, frame_odds(track), line, parameters)
    path, scores = model.best_path()
    alone = model.filler_path()
    attempts = model.attempts(path, scores)
    return Found(tuple(attempts), float(scores[-1, 0] - scores[-1, 1]), pieces, float(scores[-1, 1]), alone)


class _Model:
    """The scores of one take against one line. Rows 0..n-1 of a state array are the line's notes, n the filler,
    n + 1 the filler alone, which no line ever enters."""

    def __init__(self, pieces: Fragments, sung_odds: F64, line: Sequence[LineNote], parameters: FinderParameters) -> None:
        self.pieces, self.q = pieces, parameters
        self.midi = np.array([n.midi for n in line], dtype=np.float64)
        self.no_rest = np.array([[n.rest_after == 0] for n in line], dtype=np.float32)
        q = parameters
        heard = pieces.midi[~np.isnan(pieces.midi)]
        self.grid = np.arange(np.floor(heard.min()) - 1, np.ceil(heard.max()) + 1 + q.cell / 2, q.cell)
        self.n, self.p, self.t = len(line), len(self.grid), len(pieces.first)
        self._emissions(sung_odds)
        self._kernels()
        self._ends()

    # --- what is heard ---

    def _emissions(self, sung_odds: F64) -> None:
        q, pieces = self.q, self.pieces
        voiced = ~np.isnan(pieces.midi)
        seconds = pieces.seconds
        weight = np.where(voiced, q.trust + (1 - q.trust) * pieces.confidence, 0.0)
        away = np.abs(np.nan_to_num(pieces.midi)[:, None] - self.grid[None, :])
        away = np.minimum(away, np.abs(away - 12.0) + q.octave_miss)
        note = np.where(voiced[:, None], q.miss * np.minimum(away, q.miss_cap) * weight[:, None], q.unvoiced_note)
        self.note = (-note * seconds[:, None]).astype(np.float32)  # t x p
        self.gap = (-q.voiced_gap * weight * seconds).astype(np.float32)
        odds = np.add.reduceat(sung_odds, pieces.first) / pieces.frames
        self.line_gap = np.where(voiced, 0.0, -q.silence * seconds).astype(np.float32)
        self.speech = -np.maximum(q.speech + q.speech_odds * odds, 0.0) * seconds * voiced
        ends = 1.0 - np.exp(-seconds / q.note_s)
        self.end_note = np.log(ends).astype(np.float32)
        sounds = pieces.onset >= 1.0  # something is heard to begin here
        self.stay_note = (np.log1p(-ends) - q.dip * (sounds & voiced & self._dips())).astype(np.float32)
        self.onset = np.where(voiced, np.where(sounds, 0.0, -q.no_onset), -q.no_onset - 1.0).astype(np.float32)

    def _dips(self) -> NDArray[np.bool_]:
        """Fragments that begin with neither a new pitch nor a new voice: what begins there is a repeated note."""
        before = np.append(np.nan, self.pieces.midi[:-1])
        with np.errstate(invalid="ignore"):
            return np.asarray(np.abs(self.pieces.midi - before) < 0.4)

    def _ends(self) -> None:
        """What it costs to begin and end the line at each fragment: (t,) at its ends, (t,) more in its middle."""
        q, t = self.q, self.t
        quiet = np.isnan(self.pieces.midi)
        edge = np.flatnonzero(np.diff(np.concatenate([[0], quiet.astype(np.int8), [0]])))
        total = np.concatenate([[0.0], np.cumsum(self.pieces.seconds)])
        pause = np.zeros(t + 1, dtype=bool)
        for a, b in zip(edge[::2].tolist(), edge[1::2].tolist(), strict=True):
            if a == 0 or b == t or total[b] - total[a] >= q.pause_s:
                pause[a:b + 1] = True  # the fragment after it too: there a note may begin
        pause[0] = pause[t] = True
        self.enter = np.where(pause, q.enter[0], q.enter[1])
        self.leave = np.where(pause, q.leave[0], q.leave[1])
        self.inside = np.where(pause, q.inside[0], q.inside[1])

    # --- what may follow what ---

    def _kernels(self) -> None:
        q, n, p = self.q, self.n, self.p
        width = 2 * REACH + 1
        self.kernel = np.full((n, SKIPS * width), NONE, dtype=np.float32)
        self.index = np.zeros((n, SKIPS * width, p), dtype=np.intp)
        pad = p + 2 * REACH
        self.stride = p + 2 * pad
        for j in range(n):
            for skip in range(1, SKIPS + 1):
                rows = slice((skip - 1) * width, skip * width)
                if j < skip:
                    self.index[j, rows] = 0
                    continue
                written = self.midi[j] - self.midi[j - skip]
                centre = round(0.9 * written / q.cell)
                centre = int(np.clip(centre, -p - REACH, p + REACH))
                offset = centre + np.arange(-REACH, REACH + 1)
                spread = q.spread + q.spread_per * abs(written)
                sung = offset * q.cell
                near = sum(w * np.exp(-np.abs(sung - f * written) / spread) for f, w in SHRINK)
                whole = 2 * spread / q.cell
                self.kernel[j, rows] = np.log((1 - q.any_way) * near / whole + 1e-12) + q.as_written
                self.kernel[j, rows] -= q.left_out * (skip - 1)
                source = np.arange(p)[None, :] - offset[:, None] + pad
                self.index[j, rows] = (j - skip) * self.stride + source
        self.pad = pad
        self.any_log = float(np.log(q.any_way * q.cell / (2 * q.far)))
        self.any_slope = q.cell / q.far
        self.filler_log = float(np.log(q.cell / (2 * q.filler)))
        self.filler_slope = q.cell / q.filler
        self.ramp = np.arange(p, dtype=np.float32)

    def _spread(self, source: F32, slope: float) -> F32:
        """max over p' of source[..., p'] - slope |p - p'|, by two running maxima."""
        ramp = self.ramp * np.float32(slope)
        up = np.maximum.accumulate(source + ramp, axis=-1) - ramp
        down = np.maximum.accumulate((source - ramp)[..., ::-1], axis=-1)[..., ::-1] + ramp
        return np.asarray(np.maximum(up, down))

    def _sources(self, note: F32, gap: F32, i: int) -> F32:
        """What may go on to a new note at fragment i, from the scores before it: rows x p."""
        q = self.q
        leaving = note + (self.end_note[max(0, i - 1)] + np.float32(np.log(q.no_gap)))
        return np.asarray(np.maximum(leaving, gap + np.float32(np.log(q.from_gap))))

    def _left(self, source: F32, i: int) -> F32:
        """The line's notes as the filler may take over from them at fragment i: n x p."""
        cost = np.full(self.n, self.leave[i] + self.inside[i], dtype=np.float32)
        cost[-1] = self.leave[i]
        return source[:self.n] - cost[:, None]

    def _entry(self, source: F32, i: int) -> F32:
        """New notes at fragment i from the sources: rows x p, without emission."""
        n, p = self.n, self.p
        out = np.full((n + 2, p), NONE, dtype=np.float32)
        both = source[n:].copy()
        np.maximum(both[0], self._left(source, i).max(axis=0), out=both[0])
        free = self._spread(both, self.filler_slope) + np.float32(self.filler_log)
        out[n:] = free
        padded = np.full((n, self.stride), NONE, dtype=np.float32)
        padded[:, self.pad:self.pad + p] = source[:n]
        near = (np.take(padded.ravel(), self.index) + self.kernel[:, :, None]).max(axis=1)
        out[:n] = near
        if n > 1:
            out[1:n] = np.maximum(out[1:n], self._spread(source[:n - 1], self.any_slope) + np.float32(self.any_log))
        # Into the line from the filler, which may not have been the line itself a moment ago at no price.
        begin = self._spread(source[n:n + 1], self.filler_slope)[0] + np.float32(self.filler_log)
        begin = np.maximum(begin, free[0])
        cost = np.full(n, self.enter[i] + self.inside[i], dtype=np.float32)
        cost[0] = self.enter[i]
        out[:n] = np.maximum(out[:n], begin[None, :] - cost[:, None])
        return np.asarray(out + self.onset[i])

    def best_path(self) -> tuple[list[Step], F64]:
        """Forward over all fragments, then back: for each fragment (row, in a note, cell); scores t x 2 of the
        best state and of the best of the filler alone."""
        n, p, t = self.n, self.p, self.t
        q = self.q
        self.kept_note = np.empty((t, n + 2, p), dtype=np.float32)
        self.kept_gap = np.empty((t, n + 2, p), dtype=np.float32)
        note = np.full((n + 2, p), NONE, dtype=np.float32)
        gap = np.full((n + 2, p), NONE, dtype=np.float32)
        gap[n:] = 0.0
        into_gap = np.float32(np.log(1 - q.no_gap))
        self.kept_speech = np.zeros((t, 2))
        speech = np.full(2, float(NONE))
        total = np.zeros((t, 2))
        for i in range(t):
            source = self._sources(note, gap, i)
            fresh = self._entry(source, i)
            before = max(0, i - 1)
            ended = note + (self.end_note[before] + into_gap)
            gap = np.maximum(gap, ended)
            left = self._left(np.maximum(gap, ended), i).max(axis=0)
            gap[n] = np.maximum(gap[n], left)
            spoken = np.maximum(speech, gap[n:].max(axis=1) - q.speech_begins) + self.speech[i]
            gap[n:] = np.maximum(gap[n:], (speech - q.speech_ends)[:, None])
            gap += self.gap[i]
            gap[:n] += self.no_rest * self.line_gap[i]
            speech = spoken
            self.kept_speech[i] = speech
            note = np.maximum(note + self.stay_note[before], fresh) + self.note[i]
            self.kept_note[i], self.kept_gap[i] = note, gap
            total[i, 0] = max(note[:n + 1].max(), gap[:n + 1].max(), speech[0])
            total[i, 1] = max(note[n + 1].max(), gap[n + 1].max(), speech[1])
        return self._back(), total

    def _back(self) -> list[Step]:
        """The best path, from its end. Ends in the line pay as they would at any pause."""
        n, t = self.n, self.t
        last_note, last_gap = self.kept_note[t - 1][:n + 1].copy(), self.kept_gap[t - 1][:n + 1].copy()
        last_note[:n - 1] -= self.inside[t]
        last_gap[:n - 1] -= self.inside[t]
        return self._trace(self._last(last_note, last_gap, float(self.kept_speech[t - 1, 0]), n))

    def _last(self, note: F32, gap: F32, speech: float, filler: int) -> Step:
        best = max(float(note.max()), float(gap.max()), speech)
        if speech == best:
            return filler, SPEECH, 0
        what = NOTE if note.max() == best else GAP
        row, cell = divmod(int((note if what == NOTE else gap).argmax()), self.p)
        return row, what, cell

    def _trace(self, last: Step) -> list[Step]:
        n, t, q = self.n, self.t, self.q
        row, what, cell = last
        path = [last]
        for i in range(t - 1, 0, -1):
            note, gap = self.kept_note[i - 1], self.kept_gap[i - 1]
            before = i - 1
            if what == NOTE:
                source = self._sources(note, gap, i)
                fresh, row_from, cell_from = self._came(source, i, row, cell)
                if fresh > float(note[row, cell] + self.stay_note[before]):
                    row, cell = row_from, cell_from
                    leaving = note[row, cell] + (self.end_note[before] + np.float32(np.log(q.no_gap)))
                    what = NOTE if leaving >= gap[row, cell] + np.float32(np.log(q.from_gap)) else GAP
            else:
                spoken = float(self.kept_speech[before, row - n]) if row >= n else float(NONE)
                ended = note + (self.end_note[before] + np.float32(np.log(1 - q.no_gap)))
                either = np.maximum(gap, ended)
                open_ = either[row:row + 1].copy()
                rows = [row]
                if row == n:
                    left = self._left(either, i)
                    open_, rows = np.concatenate([open_, left]), [row, *range(n)]
                if what == SPEECH:
                    k = int(open_.argmax())
                    best, stay = float(open_.ravel()[k]) - q.speech_begins, spoken
                    at = divmod(k, self.p)
                else:
                    k = int(open_[:, cell].argmax())
                    best, stay = float(open_[k, cell]), spoken - q.speech_ends
                    at = (k, cell)
                if stay >= best:
                    what, cell = SPEECH, 0
                else:
                    row, cell = rows[at[0]], at[1]
                    what = NOTE if ended[row, cell] > gap[row, cell] else GAP
            path.append((row, what, cell))
        path.reverse()
        return path

    def _came(self, source: F32, i: int, row: int, cell: int) -> tuple[float, int, int]:
        """(score, row, cell) from which a new note of `row` at `cell` came at fragment i."""
        n, p = self.n, self.p
        far = np.abs(np.arange(p) - cell)
        options: list[tuple[float, int, int]] = []
        rows = [row] if row > n else [n]
        free = source[rows[0]] - self.filler_slope * far + self.filler_log
        cost = 0.0 if row >= n else self.enter[i] + (self.inside[i] if row else 0.0)
        k = int(free.argmax())
        options.append((float(free[k]) - cost, rows[0], k))
        if row <= n:
            left = self._left(source, i) - (self.filler_slope * far - self.filler_log)[None, :]
            k = int(left.argmax())
            options.append((float(left.ravel()[k]) - cost, k // p, k % p))
        if 0 < row < n:
            anywhere = source[row - 1] - self.any_slope * far + self.any_log
            k = int(anywhere.argmax())
            options.append((float(anywhere[k]), row - 1, k))
            padded = np.full((n, self.stride), NONE, dtype=np.float32)
            padded[:, self.pad:self.pad + p] = source[:n]
            near = np.take(padded.ravel(), self.index[row, :, cell]) + self.kernel[row]
            k = int(near.argmax())
            at = int(self.index[row, k, cell])
            options.append((float(near[k]), at // self.stride, at % self.stride - self.pad))
        value, row_from, cell_from = max(options, key=lambda x: x[0])
        return value + float(self.onset[i]), row_from, int(np.clip(cell_from, 0, p - 1))

    def filler_path(self) -> NDArray[np.bool_]:
        """For each fragment, whether the filler alone has a sung note there and not speech or silence."""
        t, n = self.t, self.n
        _, what, cell = self._last(self.kept_note[t - 1][n + 1], self.kept_gap[t - 1][n + 1],
                                     float(self.kept_speech[t - 1, 1]), 0)
        path = self._trace((n + 1, what, cell))
        return np.array([step[1] != SPEECH for step in path]) & ~np.isnan(self.pieces.midi)

    # --- attempts ---

    def attempts(self, path: list[Step], scores: F64) -> list[Attempt]:
        """The stretches of the path that lie in the line. One ends where the filler comes, or the line begins anew."""
        out: list[Attempt] = []
        i = 0
        while i < self.t:
            if path[i][0] >= self.n:
                i += 1
                continue
            start, begins = i, {}
            row = -1
            while i < self.t and path[i][0] < self.n and path[i][0] >= row:
                if path[i][0] > row and path[i][1] == NOTE:
                    row = path[i][0]
                    begins[row] = i
                elif path[i][0] > row:
                    row = path[i][0]
                i += 1
            out.append(self._attempt(path, scores, start, i, begins))
        return out

    def _attempt(self, path: list[Step], scores: F64, start: int, stop: int,
                 begins: dict[int, int]) -> Attempt:
        pieces = self.pieces
        inside = [i for i in range(start, stop) if path[i][1] == NOTE] or [start]
        end = inside[-1] + 1
        first, last = min(begins, default=path[start][0]), max(begins, default=path[stop - 1][0])
        before = self._score(path, start - 1)
        after = self._score(path, stop - 1) - (0.0 if last == self.n - 1 else self.inside[stop])
        before_alone = scores[start - 1, 1] if start else 0.0
        odds = (after - before) - (scores[stop - 1, 1] - before_alone)
        hop = pieces.hop_s
        to = pieces.first[end - 1] + pieces.frames[end - 1]
        return Attempt(first, last, start, end, float(pieces.first[start] * hop), float(to * hop), float(odds),
                       tuple(begins.get(r, -1) for r in range(first, last + 1)))

    def _score(self, path: list[Step], i: int) -> float:
        if i < 0:
            return 0.0
        row, what, cell = path[i]
        if what == SPEECH:
            return float(self.kept_speech[i, row - self.n])
        return float((self.kept_note if what == NOTE else self.kept_gap)[i, row, cell])
