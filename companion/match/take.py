"""A take against a tune: alignment, steady pitches, a verdict for each move, closeness."""

from __future__ import annotations

from collections.abc import Iterable, Sequence, Set
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from companion.ear import PitchTrack
from companion.errors import NothingSung
from companion.match.align import Alignment, align
from companion.match.attempts import Stretch, all_of, begun_stretches, likely_stretches, longer_stretches, other_stretches
from companion.match.closeness import closeness
from companion.match.details import detail
from companion.match.evidence import move_evidences, with_doubt
from companion.match.finder import find
from companion.match.fragments import is_bare
from companion.match.judge import DOUBT, Evidence, call, move_evidence
from companion.match.model import Doubt, HeardNote, Length, Match, Move, MoveEvidence, Presence, Size, Verdict
from companion.match.parameters import PARAMETERS, MatchParameters
from companion.match.presence import ALL_SINGING, explained, presence, presence_odds, supported
from companion.match.sizes import with_lengths, with_sizes
from companion.match.steady import Steady, steady_parts
from companion.messages import _
from companion.tune import LineNote, direction_of

F = NDArray[np.float64]

QUIET_DB = 6.0  # below the singing: what follows a stop is at least so quiet in its quieter part
LISTENED_S = (0.1, 1.5)  # after the last sung note, for that

AS_WELL = 1.0  # nats: of attempts whose odds differ by less the later one is judged ...
SURE = 2.0  # ... and so it is where it has these odds of its own
CONVINCING = 1.5  # nats from which no other stretch is looked at
NEVER = 2.0  # a probability that nothing reaches
MORE_SUNG = 5  # so many notes beside a phrase are more of the tune, and no chance
MOST_UNHEARD = 2  # so many notes missing at the end are no longer left out: the singer stopped


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


@dataclass(frozen=True, eq=False)
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

    Any key and octave, drift, any tempo, notes left out or added, intervals shrunk. The line may lie anywhere in the
    take: it is found first (`companion.match.finder`), and the last whole attempt is judged; of notes that were not
    sung after a stop, or of a line that is not there, nothing is judged. Raises `NothingSung` where the take has no
    voice to speak of, or nothing but talk.
    """
    voice_s = float((track.sure * (track.f0_hz > 0)).sum() * track.hop_s)
    judged = _best(track, line, params) if voice_s >= params.least_voice_s else None
    if judged is None:
        raise NothingSung(_("Nothing sung was found in this take. Sing a little closer to the microphone, and once "
                            "more."))
    stretch, placed, notes, moves, there = judged.stretch, judged.placed, judged.notes, judged.moves, judged.presence
    if there is not Presence.PRESENT:
        moves = tuple(map(_unjudged, moves))
    else:
        moves = _never_wrong(moves, _where_it_joins(stretch, len(moves)) | _where_it_ends(stretch.first, notes, len(line)))
    found = _whole(placed, stretch, line, notes, moves, there, explained(notes, judged.heard), judged.params)
    if found.stopped and not _quiet_after(track, found):
        found = replace(found, stopped=False)
    return replace(found, presence_odds=round(judged.odds, 2)) if len(line) >= params.weighed_from else found


def match_phrase(track: PitchTrack, tune: Sequence[LineNote], phrase: Sequence[LineNote],
                 params: MatchParameters = PARAMETERS) -> Match:
    """Match one phrase of a tune with a take of that phrase, or of more of the tune.

    Where more of the tune was sung, the phrase is judged in its own place in the whole, since another may sound the same;
    its moves then have the verdicts that they have in the whole. Raises `NothingSung` as `match_take` does.
    """
    numbers = {n.number for n in phrase}
    if len(phrase) < len(tune):
        try:
            whole = match_take(track, tune, params)
        except NothingSung:  # of a long tune too little may be there where of the phrase it is not
            return match_take(track, phrase, params)
        sung = [n.written.number for n in whole.notes if n.sung]
        inside = numbers.intersection(sung)
        if whole.presence is Presence.PRESENT and len(sung) - len(inside) >= MORE_SUNG and 2 * len(inside) >= len(phrase):
            return _phrase_of(whole, numbers, track, params)
    return match_take(track, phrase, params)


def _phrase_of(whole: Match, numbers: Set[int], track: PitchTrack, params: MatchParameters) -> Match:
    """Of the match of a tune what belongs to a phrase of it: the notes of these numbers, of which some were sung."""
    places = [i for i, n in enumerate(whole.notes) if n.written.number in numbers]
    first, last = places[0], places[-1]
    notes, moves = whole.notes[first:last + 1], whole.moves[first:last]
    sung = [n for n in notes if n.midi is not None]
    off = np.array([(n.midi or 0.0) - n.written.midi for n in sung])
    from_s, to_s = sung[0].onset_s or 0.0, _end_s(sung[-1])
    voice = explained(notes, track.part((track.time_s >= from_s) & (track.time_s <= to_s)))
    # Of the key at each note the match keeps how far the note is off it.
    cents = whole.detail.tuning_cents[first:last + 1]
    key = np.array([np.nan if n.midi is None or c is None else n.midi - n.written.midi - c / 100
                    for n, c in zip(notes, cents, strict=True)])
    return replace(
        whole, shift_semitones=round(float(np.median(off)), 2), notes=notes, moves=moves,
        closeness=closeness(notes, moves, voice, params), detail=detail(notes, moves, key, params),
        heard_from_s=round(from_s, 3), heard_to_s=round(to_s, 3), stopped=whole.stopped and not notes[-1].sung,
        evidence=whole.evidence[first:last], explained=round(voice, 4))


def _end_s(note: HeardNote) -> float:
    return (note.onset_s or 0.0) + (note.duration_s or 0.0)


class _Judged(NamedTuple):
    """A stretch of a take, its frames, and what was found for its notes; odds: that the line was sung there."""

    stretch: Stretch
    heard: PitchTrack
    placed: Placed
    notes: tuple[HeardNote, ...]
    moves: tuple[Move, ...]
    odds: float
    presence: Presence
    params: MatchParameters


def _best(track: PitchTrack, line: Sequence[LineNote], params: MatchParameters) -> _Judged | None:
    """The stretch that is judged: the last of those that hold the line about as well as any; None where none is sung."""
    if len(line) == 1:  # one note has no interval to be found by
        return _judged(track, line, all_of(track, line), params)
    found = find(track, line)
    if found is None:
        return None
    likely = _all_judged(track, line, likely_stretches(track, line, found), params)
    best = _likeliest(likely)
    if best is not None:
        least = min(best.odds - AS_WELL, SURE)
        best = max((j for j in likely if j.odds >= least), key=lambda j: (j.stretch.from_s, j.odds))
    if best is None or (best.odds < CONVINCING and len(line) >= params.weighed_from):
        best = _likeliest([*_all_judged(track, line, other_stretches(track, line, found), params), best])
        if best is None or best.presence is not Presence.PRESENT:  # most sing to the end
            best = _likeliest([*_all_judged(track, line, begun_stretches(track, line, found), params), best])
    if best is not None:
        best = _longer(track, line, best, params)
    # What is nothing but talk is no other tune.
    return None if best is None or (not found.sung.any() and best.presence is not Presence.PRESENT) else best


def _all_judged(track: PitchTrack, line: Sequence[LineNote], stretches: Iterable[Stretch],
                params: MatchParameters) -> list[_Judged]:
    """What is found in each of the stretches in which anything is sung."""
    return [j for s in stretches if (j := _judged(track, line, s, params)) is not None]


def _likeliest(judged: Iterable[_Judged | None]) -> _Judged | None:
    """Of the same odds the first; None where there is none."""
    return max((j for j in judged if j is not None), key=lambda j: j.odds, default=None)


def _longer(track: PitchTrack, line: Sequence[LineNote], best: _Judged, params: MatchParameters) -> _Judged:
    """The same stretch with more notes of the pitch on which the singer seems to have stopped, if it is likelier so."""
    sung = [i for i, n in enumerate(best.notes) if n.sung]
    if not sung or len(line) < params.weighed_from:
        return best
    longer = longer_stretches(best.stretch, best.stretch.first + sung[-1], line)
    return max([best, *_all_judged(track, line, longer, params)], key=lambda j: j.odds)


def _judged(track: PitchTrack, line: Sequence[LineNote], stretch: Stretch, params: MatchParameters) -> _Judged | None:
    heard = track.part(stretch.frames)
    some = line[stretch.first:stretch.last + 1]
    placed = place(heard, some, params)
    if placed is None:
        return None
    notes = tuple(_note(placed, i, n, params) for i, n in enumerate(some))
    moves = tuple(_move(placed, some, notes, i, params) for i in range(len(some) - 1))
    odds = presence_odds(stretch, notes, moves, len(line), heard)
    there = presence(odds, stretch, len(line), heard, params.weighed_from)
    if len(line) >= params.weighed_from:
        whole = notes[0].sung and notes[-1].sung and len(notes) == len(line)
        threshold = _wrong_threshold(odds, stretch.share >= ALL_SINGING, params)
        if not whole:  # another tune is like some part of this one
            likely = odds >= params.firm_odds_alone and supported(stretch.first, notes, len(line))
            threshold = max(threshold, params.wrong_threshold_doubtful if likely else NEVER)
        params = replace(params, wrong_threshold=threshold)
        moves = tuple(_move(placed, some, notes, i, params) for i in range(len(some) - 1))
    return _Judged(stretch, heard, placed, notes, moves, odds, there, params)


def _wrong_threshold(odds: float, alone: bool, params: MatchParameters) -> float:
    """From which probability on a move is wrong in a line that was sung at these odds, alone in its take or not."""
    if odds >= (params.firm_odds_alone if alone else params.firm_odds):
        return params.wrong_threshold_firm
    return params.wrong_threshold_doubtful if alone else NEVER


def _quiet_after(track: PitchTrack, match: Match) -> bool:
    """Whether silence follows the last sung note: where noise drowns the rest, nobody knows that the singer stopped."""
    last = match.last_sung
    if last is None or is_bare(track):
        return True
    begin, end = last.onset_s or 0.0, _end_s(last)
    sung = track.level_db[(track.time_s >= begin) & (track.time_s <= end)]
    after = track.level_db[(track.time_s >= end + LISTENED_S[0]) & (track.time_s <= end + LISTENED_S[1])]
    if not len(sung) or not len(after):
        return True
    return float(np.quantile(after, 0.25)) < float(np.median(sung)) - QUIET_DB


def unjudged(match: Match) -> Match:
    """The same of a line that is known not to be in the take: no move is judged."""
    return replace(match, presence=Presence.ABSENT, moves=tuple(map(_unjudged, match.moves)),
                   evidence=tuple(with_doubt(e, Doubt.NOT_FOUND) for e in match.evidence),
                   notes=tuple(replace(n, length=Length.UNSURE) for n in match.notes))


def _where_it_joins(stretch: Stretch, moves: int) -> set[int]:
    """Places (from 0) of the moves of a stretch over which something else was sung, or may have been."""
    over = set() if stretch.joined_at is None else {stretch.joined_at - stretch.first - 1}
    return over | ({0} if stretch.beside[0] else set()) | ({moves - 1} if stretch.beside[1] else set())


def _where_it_ends(first: int, notes: Sequence[HeardNote], size: int) -> set[int]:
    """Places (from 0) of the first and last move that was sung, where the line of `size` notes goes on beyond it.

    That note may as well be a later one, where those between them were not heard.
    """
    sung = [i for i, n in enumerate(notes) if n.sung]
    if not sung:
        return set()
    return ({sung[0]} if first + sung[0] else set()) | ({sung[-1] - 1} if first + sung[-1] < size - 1 else set())


def _never_wrong(moves: tuple[Move, ...], places: set[int]) -> tuple[Move, ...]:
    """The moves, of which those at these places are never wrong.

    Over a restart the singer may have begun again in another key, and a note of another line may be taken for the first
    or last one of this.
    """
    return tuple(_unjudged(m) if i in places and m.verdict == Verdict.WRONG else m for i, m in enumerate(moves))


def _unjudged(move: Move) -> Move:
    return replace(move, heard=None, verdict=Verdict.UNSURE, sure=0.5, sung_semitones=None, size=Size.UNSURE)


def _unsung(line: Sequence[LineNote], i: int) -> Move:
    """The move from note i to i + 1, of which one was not sung."""
    semitones = line[i + 1].midi - line[i].midi
    return Move(line[i].number, line[i + 1].number, direction_of(semitones), None, Verdict.UNSURE, 0.5, semitones, None)


def _whole(placed: Placed, stretch: Stretch, line: Sequence[LineNote], some: tuple[HeardNote, ...],
           moves: tuple[Move, ...], there: Presence, voice: float, params: MatchParameters) -> Match:
    """The match of the whole line, of which some notes were looked for in the stretch and the others not sung.

    voice: the share of the voice of the stretch that these notes explain.
    """
    first, last = stretch.first, stretch.last
    judged = line[first:last + 1]
    evidence = [placed.evidence(judged, i, params) for i in range(len(moves))]
    if there is Presence.PRESENT:
        moves, some = with_sizes(moves, evidence, placed.steady.spread, some), with_lengths(some, moves)
    notes = (*(HeardNote(n, False, None, None, None, 0.0) for n in line[:first]), *some,
             *(HeardNote(n, False, None, None, None, 0.0) for n in line[last + 1:]))
    all_moves = (*(_unsung(line, i) for i in range(first)), *moves,
                 *(_unsung(line, i) for i in range(last, len(line) - 1)))
    known = move_evidences(evidence, placed.steady, some, moves, there, params)
    unknown = MoveEvidence()
    known = (unknown,) * first + known + (unknown,) * (len(line) - 1 - last)
    key = np.concatenate([np.zeros(first), placed.key, np.zeros(len(line) - last - 1)])
    off = placed.steady.midi - np.array([n.written.midi for n in some], dtype=float)
    shift = None if np.isnan(off).all() else round(float(np.nanmedian(off)), 2)
    unsung = next((k for k, n in enumerate(reversed(notes)) if n.sung), 0)
    return Match(shift, notes, all_moves, closeness(notes, all_moves, voice, params), detail(notes, all_moves, key, params),
                 round(stretch.from_s, 3), round(stretch.to_s, 3), stretch.attempts, there,
                 stopped=last < len(line) - 1 or unsung >= MOST_UNHEARD, evidence=known, explained=round(voice, 4))


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
