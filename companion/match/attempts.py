"""Which stretch of a take is judged: the last whole attempt, else what there is of one."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from companion.ear import PitchTrack
from companion.match.align import build_model, forward, pitch_grid, sung_frames, written_onsets
from companion.match.finder import PARAMETERS, Attempt, Found, find
from companion.match.fragments import Fragments, cut, is_bare
from companion.match.parameters import PARAMETERS as MATCH
from companion.match.parameters import MatchParameters
from companion.tune import LineNote

MARGIN_S = 0.15  # silence and consonants around an attempt that are judged with it
AS_GOOD = 0.35  # a whole attempt may be the one to be judged where it has this share of the odds of the best one
MOST_ATTEMPTS = 3  # so many whole attempts, the last ones, are looked at
LEAST_NOTES = 3  # fewer notes in a row are found by chance in any tune
BREATH_S = 0.3  # singing that follows within this belongs to the attempt, where notes of it are missing
LONGER = 1.7  # ... as far as its missing notes reach, sung so much slower
LEAST_BESIDE_S = 0.12
NEAR_S = 0.5  # another voice so near may have been taken for the first or last note of the line, or that for it
LEAST_NEAR_S = 0.05  # ... unless it is shorter than this: the tail of the last note, and no note
LEAST_FRAMES = 5
LONGEST_NOTE_S = 2.0  # on average over a line
MOST_OF_IT = 0.5  # share of all singing
STRAY = 1.5  # notes: singing so short beside an attempt, in one breath with it, is weighed with it
BONUS = 10.0  # nats in favour of the line where it was not found at even odds
SEARCHING = replace(PARAMETERS, enter=(PARAMETERS.enter[0] - BONUS, PARAMETERS.enter[1] - BONUS), inside=(7.0, 11.0))
#: So much in its favour that the whole line is found wherever it fits best, and no part of it: for a line of repeated
#: notes, or in the midst of talk, which the filler explains as well.
FORCED_BONUS = 20.0
FORCED = replace(PARAMETERS, enter=(PARAMETERS.enter[0] - FORCED_BONUS, PARAMETERS.enter[1] - FORCED_BONUS),
                 inside=(FORCED_BONUS + 10, FORCED_BONUS + 15))
MOST_FORCED = 2
ENDS_TRIED = (0.35, 0.6, 0.9)  # shares of the line that may have been sung, each with its own pace
MOST_ENDS = 2
MOST_LONGER = 3  # notes on one pitch
LEAST_ODDS = -BONUS  # of all that is sung, where nothing of the line was found


@dataclass(frozen=True, eq=False)
class Stretch:
    """What is judged of a take of n frames: which frames; first, last: places (from 0) of the notes of the line.

    from_s, to_s: in the take. attempts: how many there were. odds: nats for the line against anything else, 0 where
    the line was not found and all that is sung is taken. joined_at: place of the note with which the singer began
    again in mid-line. share: of all singing in the take, what lies in the stretch. beside: whether another voice goes on
    right before and right after it.
    """

    frames: NDArray[np.bool_]
    first: int
    last: int
    from_s: float
    to_s: float
    attempts: int
    odds: float
    share: float
    joined_at: int | None = None
    beside: tuple[bool, bool] = (False, False)


def likely_stretches(track: PitchTrack, line: Sequence[LineNote], found: Found) -> list[Stretch]:
    """What is most likely to be judged of a take in which `found` was found: each of the last whole attempts in order,
    else the one most of the line was sung in, as the part of the line it seems to be and as the whole line."""
    n = len(line)
    attempts = [a for a in found.attempts if _has_notes(a, n) and a.odds > 0]
    if attempts:
        stretches = _attempted(found, track, attempts, n)
    else:
        # Against the odds: where it would lie if it is there, for the match to tell.
        again = find(track, line, SEARCHING) or found
        likely = [replace(a, odds=a.odds - BONUS) for a in again.attempts if _has_notes(a, n)]
        stretches = [_of_parts(again, track, [max(likely, key=lambda a: a.odds)], n)] if likely else []
    if stretches and is_bare(track) and len(attempts) <= 1 and stretches[0].share >= MOST_OF_IT:
        # A bare track has no level to part notes by, and is a take that somebody has cut already: all of it is judged.
        return [replace(stretches[0], frames=np.ones(len(track.f0_hz), dtype=bool), first=0, last=n - 1, joined_at=None)]
    parts = [s for s in stretches if (s.first, s.last) != (0, n - 1)]
    # A wrong note may have parted the line from its beginning or end.
    return _long_enough([*stretches, *(replace(s, first=0, last=n - 1, joined_at=None) for s in parts)])


def _has_notes(attempt: Attempt, n: int) -> bool:
    """Whether an attempt at a line of n notes holds more of them than are found by chance."""
    return attempt.last - attempt.first + 1 >= min(LEAST_NOTES, n)


def _attempted(found: Found, track: PitchTrack, attempts: list[Attempt], n: int) -> list[Stretch]:
    """The stretches of the last whole attempts, of those that are about as good as the best, else of the best part."""
    whole = [a for a in attempts if a.first == 0 and a.last == n - 1]
    best = max((a.odds for a in whole), default=0.0)
    chosen = [a for a in whole if a.odds >= AS_GOOD * best][-MOST_ATTEMPTS:]
    return [_stretch(found, track, [(a, a.first, a.last)], len(attempts), n) for a in chosen] or [
        _of_parts(found, track, attempts, n)]


def other_stretches(track: PitchTrack, line: Sequence[LineNote], found: Found) -> list[Stretch]:
    """What else may hold the line where none of the likely stretches does: where the whole of it fits best, all that
    seems sung, and all of the take."""
    n = len(line)
    forced = find(track, line, FORCED) or found
    whole = sorted((replace(a, odds=a.odds - FORCED_BONUS) for a in forced.attempts if (a.first, a.last) == (0, n - 1)),
                   key=lambda a: a.odds)[-MOST_FORCED:]
    best = [_stretch(forced, track, [(a, 0, n - 1)], 1, n) for a in whole]
    attempts = [a for a in found.attempts if a.odds > 0]
    odds = max((a.odds for a in attempts), default=LEAST_ODDS)
    sung = _all_sung(found, track, len(line))
    some = [] if sung is None else [replace(sung, odds=odds, attempts=len(attempts))]
    return [s for s in _long_enough([*best, *some, all_of(track, line, len(attempts), odds)]) if _short_enough(s, track, line)]


def _short_enough(stretch: Stretch, track: PitchTrack, line: Sequence[LineNote]) -> bool:
    """Of what is longer than any singer takes over the line only a part can be the line, and that was looked for."""
    return float(np.count_nonzero(track.f0_hz[stretch.frames] > 0)) * track.hop_s <= LONGEST_NOTE_S * len(line)


def begun_stretches(track: PitchTrack, line: Sequence[LineNote], found: Found) -> list[Stretch]:
    """All that seems sung, as the beginning of the line up to each of the notes where the singer may have stopped.

    All of the voice where little of it seems sung: a few quick notes look like talk.
    """
    pieces = found.pieces
    sung = _all_sung(found, track, len(line))
    if sung is None or (pieces.seconds * found.sung).sum() < MOST_OF_IT * pieces.seconds[pieces.voiced].sum():
        sung = all_of(track, line, 0, LEAST_ODDS)
    if not _short_enough(sung, track, line):
        return []
    return _long_enough([replace(sung, last=k) for k in likely_ends(track.part(sung.frames), line)])


def longer_stretches(stretch: Stretch, last_sung: int, line: Sequence[LineNote]) -> list[Stretch]:
    """The same stretch as the beginning of the line up to each further note on the pitch of the last one that was sung.

    last_sung: its place (from 0). Of notes on one pitch some may have been taken for one.
    """
    if stretch.first or stretch.joined_at is not None:
        return []
    run = itertools.takewhile(lambda k: line[k].midi == line[last_sung].midi, range(last_sung + 1, len(line) - 1))
    return [replace(stretch, last=k) for k in itertools.islice(run, MOST_LONGER)]


def likely_ends(track: PitchTrack, line: Sequence[LineNote], params: MatchParameters = MATCH) -> list[int]:
    """The places (from 0) in a line of n notes at which all that is sung in a take most likely ends, best first.

    Of the model of `companion.match.align` only the forward pass is needed; the pace is not known, so some are tried.
    """
    fragments = cut(track, params)
    if not fragments.voiced.any():
        return []
    n = len(line)
    midi, beats, rests = (np.array(x, dtype=float) for x in zip(*((m.midi, m.quarters, m.rest_after) for m in line),
                                                                strict=True))
    begin, end = sung_frames(fragments)
    most_s = (end - begin) * track.hop_s
    whole = written_onsets(beats, rests)[1]
    best = np.full(n, -np.inf)
    for share in ENDS_TRIED:
        model = build_model(fragments, pitch_grid(fragments, params), midi, beats, rests, None, most_s / (share * whole),
                            is_bare(track), params)
        passed = forward(model)
        best = np.maximum(best, passed.log_likelihood + np.log(passed.reached + 1e-300))
    order = [int(k) for k in np.argsort(-best) if LEAST_NOTES - 1 <= k < n - 1]
    return order[:MOST_ENDS]


def all_of(track: PitchTrack, line: Sequence[LineNote], attempts: int = 1, odds: float = 0.0) -> Stretch:
    """The whole take as the whole line."""
    return Stretch(np.ones(len(track.f0_hz), dtype=bool), 0, len(line) - 1, float(track.time_s[0]), float(track.time_s[-1]),
                   attempts, odds, 1.0)


def _long_enough(stretches: Sequence[Stretch]) -> list[Stretch]:
    return [s for s in stretches if np.count_nonzero(s.frames) >= LEAST_FRAMES]


def line_odds(track: PitchTrack, line: Sequence[LineNote]) -> float:
    """Nats for the best whole attempt at a line in a take against anything else that may be sung; 0 where there is none."""
    found = find(track, line) if len(line) > 1 else None
    return max((a.odds for a in found.attempts if a.first == 0 and a.last == len(line) - 1), default=0.0) if found else 0.0


def _of_parts(found: Found, track: PitchTrack, attempts: list[Attempt], n: int) -> Stretch:
    """The most of the line that was sung in one go, or begun and then taken up again in its middle."""
    best = max(attempts, key=lambda a: (a.odds, a.start))
    at = attempts.index(best)
    for one, two in zip(attempts[max(0, at - 1):at + 1], attempts[max(1, at):at + 2], strict=False):
        if one is not two and one.first < two.first <= one.last + 1 and two.last > one.last and two.first > 0:
            parts = [(one, one.first, two.first - 1), (two, two.first, two.last)]
            return _stretch(found, track, parts, len(attempts), n)
    return _stretch(found, track, [(best, best.first, best.last)], len(attempts), n)


def _stretch(found: Found, track: PitchTrack, parts: list[tuple[Attempt, int, int]], attempts: int, n: int) -> Stretch:
    pieces = found.pieces
    frames = np.zeros(len(track.f0_hz), dtype=bool)
    spans = []
    for attempt, first, last in parts:
        start, end = attempt.start, attempt.end
        if last < attempt.last:
            end = next((b for b in attempt.begins[last + 1 - attempt.first:] if b >= 0), end)
        if first > attempt.first:
            start = next((b for b in attempt.begins[first - attempt.first:] if b >= 0), start)
        spans.append([start, end])
    first, last = parts[0][1], parts[-1][2]
    note_s = sum(float(pieces.seconds[a:b].sum()) for a, b in spans) / max(1, last - first + 1)
    if first > 0:
        more = _beside(found, spans[0][0], -1, LONGER * note_s * first)
        first, spans[0][0] = (0, spans[0][0] - more) if more else (first, spans[0][0])
    if last < n - 1:
        more = _beside(found, spans[-1][1], 1, LONGER * note_s * (n - 1 - last))
        last, spans[-1][1] = (n - 1, spans[-1][1] + more) if more else (last, spans[-1][1])
    spans[0][0] -= _stray(found, spans[0][0], -1, STRAY * note_s)
    spans[-1][1] += _stray(found, spans[-1][1], 1, STRAY * note_s)
    for a, b in spans:
        frames[_with_margin(pieces, a, b, track.hop_s)] = True
    to = int(pieces.first[spans[-1][1] - 1] + pieces.frames[spans[-1][1] - 1])
    return Stretch(frames, first, last, float(track.time_s[pieces.first[spans[0][0]]]),
                   float(track.time_s[min(to, len(track.time_s) - 1)]), max(1, attempts),
                   max(a.odds for a, _, _ in parts), _share(found, spans), parts[1][1] if _restarted(parts) else None,
                   (_voice_near(found, spans[0][0], -1), _voice_near(found, spans[-1][1], 1)))


def _restarted(parts: Sequence[tuple[Attempt, int, int]]) -> bool:
    """Whether the second of two parts was begun anew: with a note that was sung already, or after a pause.

    A wrong note that the rest of the line follows parts the line too, in the midst of the singing.
    """
    if len(parts) < 2:
        return False
    one, two = parts[0][0], parts[1][0]
    return two.first <= one.last or two.from_s - one.to_s >= BREATH_S


def _voice_near(found: Found, at: int, way: int) -> bool:
    """Whether there is voice within `NEAR_S` before (way -1) or after (1) a border: quick notes may look like talk."""
    seconds, passed, voice = found.pieces.seconds, 0.0, 0.0
    i = at - 1 if way < 0 else at
    while 0 <= i < len(seconds) and passed < NEAR_S and voice < LEAST_NEAR_S:
        voice += float(seconds[i]) if found.pieces.voiced[i] else 0.0
        passed += float(seconds[i])
        i += way
    return voice >= LEAST_NEAR_S


def _share(found: Found, spans: Sequence[Sequence[int]]) -> float:
    seconds = found.pieces.seconds * found.sung
    return float(sum(seconds[a:b].sum() for a, b in spans) / max(float(seconds.sum()), 1e-6))


def _beside(found: Found, at: int, way: int, most_s: float) -> int:
    """How many fragments before (way -1) or after (1) a border are singing that goes on from it, up to most_s."""
    seconds, sung = found.pieces.seconds, found.sung
    count = reached = 0
    gap = total = voice = 0.0
    i = at - 1 if way < 0 else at
    while 0 <= i < len(seconds) and total < most_s and gap < BREATH_S:
        total += seconds[i]
        count += 1
        gap = 0.0 if sung[i] else gap + seconds[i]
        if sung[i]:
            reached, voice = count, voice + seconds[i]
        i += way
    return reached if voice >= LEAST_BESIDE_S else 0


def _stray(found: Found, at: int, way: int, most_s: float) -> int:
    """How many fragments beside a border hold a lone note that belongs to no other line, 0 where more is sung there."""
    count = _beside(found, at, way, most_s + 2 * BREATH_S)
    inside = slice(at - count, at) if way < 0 else slice(at, at + count)
    return count if float((found.pieces.seconds * found.sung)[inside].sum()) <= most_s else 0


def _with_margin(pieces: Fragments, start: int, end: int, hop_s: float) -> slice:
    """Frames of the fragments start..end and a little silence around them, none of a neighbour's voice."""
    voiced = pieces.voiced
    a = int(pieces.first[start])
    b = int(pieces.first[end - 1] + pieces.frames[end - 1])
    before = after = 0
    while start - 1 - before >= 0 and not voiced[start - 1 - before]:
        before += 1
    while end + after < len(voiced) and not voiced[end + after]:
        after += 1
    room_before = a - int(pieces.first[start - before]) if before else 0
    room_after = int(pieces.frames[end:end + after].sum())
    margin = round(MARGIN_S / hop_s)
    return slice(a - min(margin, room_before), b + min(margin, room_after))


def _all_sung(found: Found, track: PitchTrack, n: int) -> Stretch | None:
    """All that is sung in the take, where the line was not found in it."""
    pieces = found.pieces
    there = np.flatnonzero(found.sung)
    if not len(there):
        return None
    a, b = int(there[0]), int(there[-1]) + 1
    frames = np.zeros(len(track.f0_hz), dtype=bool)
    frames[_with_margin(pieces, a, b, track.hop_s)] = True
    to = int(pieces.first[b - 1] + pieces.frames[b - 1])
    return Stretch(frames, 0, n - 1, float(track.time_s[pieces.first[a]]),
                   float(track.time_s[min(to, len(track.time_s) - 1)]), 0, LEAST_ODDS, 1.0)
