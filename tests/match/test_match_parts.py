"""The parts of the match: interval kernel, key prior, fragments, evidence, the verdict rule, advice, closeness, details."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from made_matches import made_match

from companion.ear import PitchTrack
from companion.match import (
    PARAMETERS,
    Advice,
    CueKind,
    HeardNote,
    LengthFault,
    Match,
    MatchParameters,
    MissedLength,
    MissedSize,
    Move,
    MoveKind,
    SizeFault,
    Verdict,
    advise,
    closeness,
    closeness_features,
    detail,
    match_take,
    move_kind,
    take_features,
)
from companion.match.align import (
    align,
    interval_kernel,
    leave_probability,
    observation_costs,
    tempo_prior,
    transitions,
    written_onsets,
)
from companion.match.closeness import closeness_of_notes
from companion.match.details import missed_sizes
from companion.match.fragments import Fragments, cut
from companion.match.judge import (
    DOUBT,
    Evidence,
    call,
    evidence_row,
    normal_cdf,
    probability_right,
    tracker_fault,
    weigh,
)
from companion.match.steady import Steady
from companion.match.take import _move, _note, key_prior, local_key, place
from companion.tune import Direction, Key, LineNote, direction_of, spell

HOP = 0.01
UP, DOWN, LEVEL = Direction.UP, Direction.DOWN, Direction.LEVEL


def note(i: int, midi: int = 60) -> LineNote:
    return LineNote(number=i + 1, pitch=spell(midi, Key()), onset_quarters=Fraction(i), quarters=Fraction(1), syllable="",
                    word_place="", phrase=1, bar=1, rest_after=Fraction(0), sources=())


def track_of(midi: list[float], level: list[float] | None = None, sure: float = 1.0) -> PitchTrack:
    """A track of one frame a value, NaN unvoiced; level in dB, None for a bare track."""
    pitch = np.array(midi)
    hz = np.where(np.isnan(pitch), 0.0, 440.0 * 2 ** ((np.nan_to_num(pitch) - 69) / 12))
    n = len(midi)
    db = np.full(n, np.nan) if level is None else np.array(level)
    return PitchTrack(np.arange(n) * HOP, hz, np.where(hz > 0, sure, 0.0), db, np.full(n, np.nan), HOP, n * HOP)


# The interval kernel.

@pytest.mark.parametrize("written", [-12, -5, 0, 1, 2, 7, 12])
def test_the_interval_kernel_is_a_probability(written: int) -> None:
    kernel = interval_kernel(written, 120, PARAMETERS.any_interval)
    assert len(kernel) == 239
    assert kernel.min() >= 0
    # The octave's part is added to a sum of one and stays below twice its own share of it.
    assert 1.0 <= kernel.sum() <= 1.0 + 4 * PARAMETERS.octave_move


def test_the_likeliest_interval_is_the_written_one_and_a_shrunken_one_is_likelier_than_a_stretched() -> None:
    kernel = interval_kernel(8, 60, 0.1)
    at = {semitones: kernel[59 + round(semitones / PARAMETERS.cell)] for semitones in (8.0, 6.75, 9.25, -8.0)}
    assert max(at, key=lambda k: at[k]) == 8.0
    # Untrained singers compress intervals (Pfordresher and Brown 2007).
    assert at[6.75] > 1.5 * at[9.25]
    assert at[-8.0] < at[9.25]


def test_large_intervals_are_missed_by_more() -> None:
    def spread(written: int) -> float:
        kernel = interval_kernel(written, 120, 0.0, replace(PARAMETERS, interval_shrink=((1.0, 1.0),), octave_move=0.0))
        away = np.abs(np.arange(-119, 120) * PARAMETERS.cell - written)
        return float((away * kernel).sum() / kernel.sum())

    def geometric(scale: float) -> float:
        """The mean distance of a Laplace law on a grid: a two-sided geometric law, 2 r / (1 - r * r) cells."""
        r = math.exp(-PARAMETERS.cell / scale)
        return PARAMETERS.cell * 2 * r / (1 - r * r)

    # 0.43 semitones and 5 per cent of the interval.
    assert spread(0) == pytest.approx(geometric(0.43), rel=1e-3)
    assert spread(12) == pytest.approx(geometric(0.43 + 0.6), rel=1e-3)


def test_the_same_move_in_another_octave_is_possible_and_dear() -> None:
    kernel = interval_kernel(2, 120, 0.0)
    at = {s: kernel[119 + round(s / PARAMETERS.cell)] for s in (2, 14, -10, 8)}
    assert at[14] == pytest.approx(at[-10])
    assert at[8] < at[14] < at[2] / 20


def test_a_move_that_goes_anywhere_leaves_no_interval_out() -> None:
    with_any, without = (interval_kernel(2, 120, p)[119 + round(-5 / PARAMETERS.cell)] for p in (0.5, 0.0))
    assert without < 1e-5
    assert with_any > 1e-3


# Transitions, durations and the prior of tempo.

def test_leaving_a_note_out_costs_what_it_should() -> None:
    p = 9
    kernel = transitions(np.array([60.0, 60.0, 60.0]), p, 0.1, PARAMETERS)
    assert kernel.shape == (3, 3 * p, p)
    assert not kernel[0].any(), "nothing comes before the first note"
    near, over = kernel[2, 2 * p:], kernel[2, p:2 * p]
    assert near[4, 4] / over[4, 4] == pytest.approx(math.exp(PARAMETERS.left_out_cost))
    # From a low pitch to a high one is an interval upward: of a written rise it is the likelier way.
    rise = transitions(np.array([60.0, 61.0]), p, 0.1, PARAMETERS)[1, 2 * p:]
    assert rise[2, 6] > rise[6, 2]


def test_a_note_lasts_about_as_long_as_written() -> None:
    # Leaving in each of many short fragments with a probability p keeps a stage for fragment / p on average, which
    # is its share of the note (mean of the geometric law).
    leave = leave_probability(np.full(1, 0.01), np.array([1.0, 2.0]), 0.6, PARAMETERS)[0]
    assert 0.01 / leave * PARAMETERS.stages == pytest.approx([0.6, 1.2], rel=0.05)
    quick, slow = leave_probability(np.array([60.0, 1e-9]), np.array([1.0]), 0.6, PARAMETERS)[:, 0]
    assert (quick, slow) == (PARAMETERS.most_leave, PARAMETERS.least_leave)


def test_the_place_of_a_note_in_the_tempo_costs_nothing_where_it_belongs_and_more_farther_off() -> None:
    beats, rests = np.ones(8), np.zeros(8)
    track = track_of([60.0] * 160)
    fragments = cut(track, PARAMETERS)
    cost = tempo_prior(fragments, beats, rests, PARAMETERS)
    when = (fragments.first + fragments.frames / 2) / 160 * 8
    for i in range(8):
        inside = (when >= i) & (when <= i + 1)
        assert cost[inside, i].max() == 0
    last = cost[0]  # in the first fragment
    assert last[1] == 0, "a note and a half early is free"
    assert 0 < last[3] < last[5]
    assert last[5] == pytest.approx(PARAMETERS.tempo_cost * (5 - when[0] - PARAMETERS.tempo_free) * fragments.seconds[0])
    assert cost[-1, 0] > 0, "late as well as early"


def test_written_onsets_count_rests() -> None:
    onset, whole = written_onsets(np.array([1.0, 0.5, 2.0]), np.array([0.0, 0.5, 3.0]))
    assert onset.tolist() == [0.0, 1.0, 2.0]
    assert whole == 4.0, "a rest after the last note is not waited for"


def test_what_a_fragment_costs() -> None:
    fragments = Fragments(np.array([0, 5]), np.array([5, 5]), np.array([60.0, np.nan]), np.array([0.5, 0.0]), np.ones(2), HOP)
    grid = np.array([60.0, 61.0, 72.0, 90.0])
    cost, gap = observation_costs(fragments, grid, 1.0, PARAMETERS)
    q = PARAMETERS
    assert cost[0, 0] == 0
    assert cost[0, 1] == pytest.approx(q.pitch_cost * 0.5 * 0.05)
    assert cost[0, 2] == pytest.approx(q.pitch_cost * q.octave_cost * 0.5 * 0.05), "an octave is a tracker's slip"
    assert cost[0, 3] == pytest.approx(q.pitch_cost * q.pitch_cost_cap * 0.5 * 0.05), "no worse than the cap"
    assert np.all(cost[1] == q.unvoiced_note_cost * 0.05)
    assert gap == pytest.approx([q.voiced_gap_cost * 0.5 * 0.05, 0.0])


def test_a_take_that_goes_on_may_end_anywhere_and_a_finished_one_rather_at_the_end() -> None:
    frames = [float(m) for m in (60, 62, 64) for _ in range(40)]
    whole = (60.0, 62.0, 64.0, 65.0, 67.0, 69.0, 71.0, 72.0)
    given = (list(whole), [1.0] * 8, [0.0] * 8)
    track = track_of(frames, [-20.0] * len(frames))
    going, finished = align(track, *given, beat_s=0.4), align(track, *given)
    assert going is not None
    assert finished is not None
    assert going.reached[2] > 0.9
    assert going.reached.sum() == pytest.approx(1.0)
    assert going.log_likelihood > finished.log_likelihood
    assert align(track_of([math.nan] * 50), *given) is None


# Fragments.

def test_fragments_are_short_and_steady() -> None:
    slide = np.linspace(60, 72, 30).tolist()
    track = track_of([math.nan] * 10 + [60.0] * 30 + slide + [math.nan] * 5)
    got = cut(track, PARAMETERS)
    assert got.frames.sum() == 75
    assert got.frames.max() <= round(PARAMETERS.fragment_s / HOP)
    for first, frames, voiced in zip(got.first, got.frames, got.voiced, strict=True):
        pitch = track.midi[first:first + frames]
        assert np.isnan(pitch).all() == (not voiced)
        if voiced:
            assert pitch.max() - pitch.min() <= PARAMETERS.fragment_span
    assert len(cut(track_of([]), PARAMETERS).first) == 0


def test_a_note_may_begin_where_the_pitch_changes_the_level_dips_or_voice_begins() -> None:
    pitch = [math.nan] * 12 + [60.0] * 48 + [62.0] * 36
    level = [-60.0] * 12 + [-20.0] * 22 + [-28.0] * 4 + [-20.0] * 58
    got = cut(track_of(pitch, level), PARAMETERS)
    begins = {int(f) for f, factor in zip(got.first, got.onset, strict=True) if factor == 1.0}
    assert 12 in begins, "after silence"
    assert 60 in begins, "at the step"
    assert begins & set(range(30, 43)), "at the dip of 8 dB"
    assert not begins & set(range(44, 54)), "not in mid-note"
    assert got.onset[got.first == 48].tolist() == [PARAMETERS.no_onset]
    bare = cut(track_of(pitch), PARAMETERS)
    assert bare.onset[bare.first == 48].tolist() == [PARAMETERS.no_onset_unknown], "of a bare track less is known"


def test_a_repeated_note_begins_where_the_level_dips_and_not_where_its_length_would_have_it() -> None:
    pitch = [math.nan] * 12 + [60.0] * 100 + [62.0] * 45 + [64.0] * 45 + [math.nan] * 12
    level = [-60.0] * 12 + [-20.0] * 28 + [-27.0] * 3 + [-20.0] * 159 + [-60.0] * 12
    notes = [note(i, m) for i, m in enumerate((60, 60, 62, 64))]
    found = match_take(track_of(pitch, level[:len(pitch)], 0.95), notes)
    assert found.notes[1].onset_s == pytest.approx(0.42, abs=0.05), "the dip is from 0.40 to 0.43 s; half way is 0.62"
    assert [m.verdict for m in found.moves] == [Verdict.RIGHT] * 3


# The singer's own key.

def test_the_key_prior_is_highest_where_the_singer_sings_and_never_nothing() -> None:
    grid = np.arange(55.0, 75.0, 0.25)
    prior = key_prior(grid, np.array([60.0, 64.0]), np.array([2.0, 2.5]))
    assert grid[prior.argmax(axis=1)].tolist() == [62.0, 66.5]
    assert prior.max() == 1.0
    assert prior.min() == PARAMETERS.key_floor
    assert prior[0, grid == 62.5] == pytest.approx(math.exp(-0.5 / PARAMETERS.key_spread))


def test_the_local_key_follows_drift_and_no_single_note() -> None:
    written = np.full(9, 60.0)
    drift = np.linspace(0.0, 1.6, 9)
    key = local_key(written + 3 + drift, written)
    assert key[0] < 3.5 < key[-1]
    assert np.abs(key - (3 + drift)).max() < 0.5
    wrong = written + 3
    wrong[4] += 4
    assert np.allclose(local_key(wrong, written), 3.0)
    beside = written + 3
    beside[1:3] += 4
    assert np.allclose(local_key(beside, written), 3.0), "two wrong notes side by side are no drift"
    octave = written + 3
    octave[:3] -= 12
    assert np.allclose(local_key(octave, written), 3.0), "the octave is the pupil's"
    octave = written + np.array([-8.2, -8.2, -8.2, -8.2, 3, 3, 3, 3, 3])
    assert local_key(octave, written)[0] == pytest.approx(3.8), "drift is followed in another octave too"
    assert np.allclose(local_key(np.full(9, np.nan), written), 0.0)


# Evidence and probability.

def test_the_normal_law() -> None:
    # From any table of the standard normal distribution.
    assert normal_cdf(0.0) == 0.5
    assert normal_cdf(1.0) == pytest.approx(0.841345, abs=1e-6)
    assert normal_cdf(-1.959964) == pytest.approx(0.025, abs=1e-6)


def test_an_interval_at_the_edge_is_half_level_and_half_a_step() -> None:
    sung = np.arange(-8, 9) * 0.5
    posterior = np.where(sung == 0.5, 1.0, 0.0)
    e = weigh(0.5, posterior, sung, np.abs(sung - 0.5) <= 1.2, 0.1, 1.0, 0.5)
    assert (e.up, e.level, e.down) == pytest.approx((0.5, 0.5, 0.0))
    assert e.placed == 1.0
    # What the alignment places elsewhere counts by its own direction.
    two = np.where(sung == 0.5, 0.6, np.where(sung == -3.0, 0.4, 0.0))
    e = weigh(0.5, two, sung, np.abs(sung - 0.5) <= 1.2, 0.1, 1.0, 0.5)
    assert (e.up, e.level, e.down) == pytest.approx((0.3, 0.3, 0.4))
    assert sum(e.probability.values()) == pytest.approx(1.0)


def evidence(interval: float, sure: float = 0.99, seconds: float = 0.5, placed: float = 1.0, **more: object) -> Evidence:
    """Clear evidence of an interval; `sure` of its own direction."""
    rest = (1 - sure) / 2
    p = {d: sure if d == direction_of(interval) else rest for d in Direction}
    return Evidence(interval, p[UP], p[LEVEL], p[DOWN], placed, seconds, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(("interval", "wanted"), [(2.0, UP), (-2.0, DOWN), (0.0, LEVEL)])
def test_the_row_of_evidence(interval: float, wanted: Direction) -> None:
    lean, odds, misplaced, short, one = evidence_row(evidence(interval), wanted)
    assert lean == min(1.0, 1.5 if interval else 0.5)
    assert odds == pytest.approx(math.log(0.99 / 0.01))
    assert misplaced == pytest.approx(math.log(2e-3))
    assert short == pytest.approx(math.exp(-5))
    assert one == 1.0
    against = evidence_row(evidence(-interval if interval else 2.0), wanted)
    assert against[0] == -1.5
    assert against[3] < 0


def test_the_probability_is_a_logistic_function_of_the_row_and_grows_with_the_evidence() -> None:
    e = evidence(2.0)
    score = float(np.dot(PARAMETERS.verdict_weights, evidence_row(e, UP)))
    assert probability_right(e, UP) == pytest.approx(1 / (1 + math.exp(-score)))
    by_interval = [probability_right(evidence(x, s), UP) for x, s in ((-2.0, 0.99), (0.2, 0.9), (0.6, 0.7), (2.0, 0.99))]
    assert by_interval == sorted(by_interval)
    assert by_interval[0] < 0.05 < 0.95 < by_interval[-1]
    assert probability_right(evidence(2.0, seconds=0.05), UP) < probability_right(e, UP), "short notes prove less"
    assert probability_right(evidence(2.0, placed=0.3), UP) < probability_right(e, UP), "so do doubtful places"


# The verdict rule.

@pytest.mark.parametrize("wanted", list(Direction))
@pytest.mark.parametrize("sung", list(Direction))
def test_clear_evidence_is_called(sung: Direction, wanted: Direction) -> None:
    made = call(evidence({UP: 2.0, DOWN: -2.0, LEVEL: 0.0}[sung]), wanted)
    assert made.verdict == (Verdict.RIGHT if sung == wanted else Verdict.WRONG)
    assert made.heard == sung
    assert made.sure > 0.9


def test_without_an_interval_nothing_is_called() -> None:
    assert call(Evidence(None, 0.9, 0.05, 0.05, 0.0), UP) == DOUBT == (Verdict.UNSURE, None, 0.5)


def with_probability(p: float, e: Evidence, wanted: Direction) -> MatchParameters:
    """Parameters with which a move is right with the probability p."""
    row = evidence_row(e, wanted)
    weights = list(PARAMETERS.verdict_weights)
    weights[4] += math.log(p / (1 - p)) - float(np.dot(weights, row))
    return replace(PARAMETERS, verdict_weights=tuple(weights))


def test_right_is_said_from_its_threshold_and_wrong_only_from_a_higher_one() -> None:
    """A false "not that way" costs a child more than doubt: 0.92 is wanted for it and 0.8 for "right"."""
    went_up, went_down = evidence(2.0), evidence(-2.0)
    for p, verdict in ((0.79, Verdict.UNSURE), (0.81, Verdict.RIGHT)):
        assert call(went_up, UP, with_probability(p, went_up, UP)).verdict == verdict
    for p, verdict in ((0.09, Verdict.UNSURE), (0.07, Verdict.WRONG)):
        assert call(went_down, UP, with_probability(p, went_down, UP)).verdict == verdict
    assert PARAMETERS.wrong_threshold > PARAMETERS.right_threshold


def test_of_a_note_that_may_be_a_slide_more_is_asked() -> None:
    brief, long = evidence(-2.0, seconds=0.06), evidence(-2.0)
    for e, verdict in ((long, Verdict.WRONG), (brief, Verdict.UNSURE)):
        firm = replace(with_probability(0.12, e, UP), wrong_threshold=PARAMETERS.wrong_threshold_firm)
        assert call(e, UP, firm).verdict == verdict


def test_of_one_of_several_level_moves_more_is_asked() -> None:
    e = evidence(2.0)
    for x, verdict in ((e, Verdict.WRONG), (replace(e, repeated=True), Verdict.UNSURE)):
        assert call(x, LEVEL, with_probability(0.05, e, LEVEL)).verdict == verdict
    line = [note(i, m) for i, m in enumerate((60, 62, 62, 62, 64, 64))]
    pitch = [math.nan] * 12 + [x for m in (60.0, 62.0, 62.0, 62.0, 64.0, 64.0) for x in [*[m] * 40, *[math.nan] * 5]]
    placed = place(track_of(pitch, [-60.0 if math.isnan(x) else -20.0 for x in pitch], 0.95), line)
    assert placed is not None
    assert [placed.evidence(line, i).repeated for i in range(5)] == [False, True, True, False, False]


def test_an_interval_of_the_wanted_direction_is_never_called_wrong() -> None:
    e = evidence(0.6, 0.5)
    assert call(e, UP, with_probability(0.01, e, UP)).verdict == Verdict.UNSURE


@pytest.mark.parametrize(("interval", "verdict"), [(0.42, Verdict.RIGHT), (0.38, Verdict.UNSURE)])
def test_a_little_short_of_a_step_is_still_a_step_in_the_childs_favour(interval: float, verdict: Verdict) -> None:
    e = evidence(interval, 0.5)
    assert call(e, UP, with_probability(0.9, e, UP)).verdict == verdict


def test_what_trackers_get_wrong_is_doubt() -> None:
    wrong_way = evidence(-2.0, fault=True)
    assert call(wrong_way, UP) == DOUBT
    assert call(evidence(2.0, fault=True), UP).verdict == Verdict.RIGHT, "a fault never takes a right move away"
    # Folding the octave away makes it go up: in a bare track that is believed, in our own it stays doubt.
    folded = evidence(10.0, 0.999)
    own, bare = (evidence(-2.0, fault=True, folded=folded, bare=bare) for bare in (False, True))
    assert call(own, UP) == DOUBT
    made = call(bare, UP)
    assert (made.verdict, made.heard) == (Verdict.RIGHT, UP)
    assert made.sure == PARAMETERS.folded_confidence < probability_right(folded, UP)
    assert call(replace(bare, folded=evidence(-14.0)), UP) == DOUBT
    # A move that is right only because of an octave is not right.
    assert call(evidence(2.0, fault=True, folded=evidence(-10.0)), UP) == DOUBT


@pytest.mark.parametrize(("off", "own", "bare"), [
    (0.0, False, False), (12.0, True, True), (-12.0, True, True), (11.3, True, True), (12.7, True, True),
    (10.8, False, False), (19.0, True, True), (-24.5, True, True), (7.4, False, True), (5.0, False, False)])
def test_where_trackers_err(off: float, own: bool, bare: bool) -> None:
    """Octave, octave and fifth, two octaves, within a semitone; a fifth too where the tracker is not known."""
    steady = Steady(*np.zeros((7, 2)))
    assert tracker_fault(steady, (off, 0.0), 0, False, PARAMETERS) == own
    assert tracker_fault(steady, (0.0, off), 0, True, PARAMETERS) == bare


def test_a_far_note_is_doubted_where_the_sound_leaves_the_octave_open() -> None:
    zero = np.zeros(2)
    clear, unclear = (Steady(zero, zero, zero, zero, zero, zero, np.array([x, 0.0])) for x in (0.2, 0.3))
    assert not tracker_fault(clear, (8.0, 0.0), 0, False, PARAMETERS)
    assert tracker_fault(unclear, (8.0, 0.0), 0, False, PARAMETERS)
    assert not tracker_fault(unclear, (5.0, 0.0), 0, False, PARAMETERS)
    # A note put back by an octave lay where trackers err before that.
    assert tracker_fault(replace(clear, octave_off=np.array([1.0, 0.0])), (0.0, 0.0), 0, False, PARAMETERS)


def test_a_note_counts_as_sung_from_even_odds() -> None:
    line = [note(i, m) for i, m in enumerate((60, 62, 64))]
    pitch = [math.nan] * 12 + [60.0] * 45 + [62.0] * 45 + [64.0] * 45
    placed = place(track_of(pitch, [-20.0] * len(pitch), 0.95), line)
    assert placed is not None
    present = replace(placed, aligned=replace(placed.aligned, present=np.array([0.1, 0.49, 0.51])))
    assert [_note(present, i, n, PARAMETERS).sung for i, n in enumerate(line)] == [False, False, True]


def test_a_move_is_judged_only_where_both_of_its_notes_were_sung() -> None:
    line = [note(i, m) for i, m in enumerate((60, 62, 64))]
    pitch = [math.nan] * 12 + [60.0] * 45 + [62.0] * 45 + [64.0] * 45
    track = track_of(pitch, [-20.0] * len(pitch), 0.95)
    placed = place(track, line)
    assert placed is not None
    notes = match_take(track, line).notes
    assert _move(placed, line, notes, 0, PARAMETERS).verdict == Verdict.RIGHT
    for out in (0, 1):
        fewer = [replace(n, sung=i != out) for i, n in enumerate(notes)]
        assert _move(placed, line, fewer, 0, PARAMETERS).verdict == Verdict.UNSURE


def test_doubt_says_what_was_heard_only_where_that_is_clear() -> None:
    e = evidence(2.0, 0.85)
    assert call(e, UP, with_probability(0.7, e, UP)) == (Verdict.UNSURE, UP, pytest.approx(0.7))
    e = evidence(2.0, 0.6)
    assert call(e, UP, with_probability(0.7, e, UP)).heard is None
    assert call(e, UP, with_probability(0.3, e, UP)).sure == pytest.approx(0.7)


# Parameters.

def test_parameters_outside_their_range_are_an_error() -> None:
    with pytest.raises(ValueError, match=r"gap_ends was 1.2; wanted from 0.02 to 0.95"):
        replace(PARAMETERS, gap_ends=1.2)
    assert len(MatchParameters.ranges()) == 24
    assert all(low < getattr(PARAMETERS, name) < high for name, (low, high) in MatchParameters.ranges().items())


# Kinds of moves and advice.

@pytest.mark.parametrize(("semitones", "kind"), [
    (0, MoveKind.LEVEL), (1, MoveKind.SEMITONE_UP), (-1, MoveKind.SEMITONE_DOWN), (2, MoveKind.STEP_UP),
    (-2, MoveKind.STEP_DOWN), (3, MoveKind.SKIP_UP), (4, MoveKind.SKIP_UP), (-4, MoveKind.SKIP_DOWN),
    (5, MoveKind.LEAP_UP), (-12, MoveKind.LEAP_DOWN), (19, MoveKind.LEAP_UP)])
def test_kinds_of_moves(semitones: int, kind: MoveKind) -> None:
    assert move_kind(semitones) is kind


SIX = [note(i, m) for i, m in enumerate((60, 62, 64, 65, 67, 69))]


def test_advice_when_all_is_right() -> None:
    assert advise(made_match(SIX)) == Advice(CueKind.ALL_RIGHT, right=5, moves=5, sung=6, notes=6)
    assert advise(made_match(SIX[:1])).kind == CueKind.ONE_NOTE
    assert advise(made_match(SIX, left_out=range(6))).kind == CueKind.NOTHING_SUNG


def test_the_surest_wrong_move_is_tried_and_of_equals_the_first() -> None:
    match = made_match(SIX, {1: Verdict.WRONG, 3: Verdict.WRONG})
    advice = advise(match)
    assert (advice.kind, advice.right, advice.move) == (CueKind.ONE_TO_TRY, 3, match.moves[1])
    surer = replace(match, moves=tuple(replace(m, sure=0.97) if m.start == 4 else m for m in match.moves))
    assert advise(surer).move == surer.moves[3]
    hardly = replace(match, moves=tuple(replace(m, sure=0.903) if m.start == 4 else m for m in match.moves))
    assert advise(hardly).move == hardly.moves[1], "a difference that means nothing"


def test_what_could_not_be_told() -> None:
    unsure = Verdict.UNSURE
    one = advise(made_match(SIX, {3: unsure}))
    assert (one.kind, one.not_caught, one.not_heard) == (CueKind.NOT_SURE, 5, ())
    assert advise(made_match(SIX, {1: unsure, 2: unsure})).not_caught == 3, "the note that both moves share"
    assert advise(made_match(SIX, dict.fromkeys(range(3), unsure))).not_caught is None, "more than half"
    assert advise(made_match(SIX[:2], {0: unsure})).not_caught == 2, "the only move there is"
    assert advise(made_match(SIX, left_out=[1, 4])).not_heard == (2, 5)
    half = advise(made_match(SIX, left_out=[1, 3, 5]))
    assert (half.not_heard, half.not_caught, half.sung) == ((), None, 3), "with half of the notes gone none is named"


def test_counts_and_kinds_of_a_match() -> None:
    match = made_match(SIX, {0: Verdict.WRONG, 1: Verdict.UNSURE})
    assert match.counts == {Verdict.RIGHT: 3, Verdict.WRONG: 1, Verdict.UNSURE: 1}
    assert list(match.kinds) == [MoveKind.STEP_UP, MoveKind.SEMITONE_UP]
    assert match.kinds[MoveKind.STEP_UP] == {Verdict.RIGHT: 2, Verdict.WRONG: 1, Verdict.UNSURE: 1}


@pytest.mark.parametrize(("bare", "verdict"), [(True, Verdict.RIGHT), (False, Verdict.UNSURE)])
def test_a_narrow_semitone_is_right_in_a_bare_track_as_experts_have_it(bare: bool, verdict: Verdict) -> None:
    """Of 336 semitones in takes that experts grade 4 of 4, 17 are sung 0.3 to 0.5 wide (`tests/benchmarks/graded.py`)."""
    pitch = [m for p in (60.0, 62.0, 64.0, 64.42, 67.0) for m in [p] * 45]
    notes = [note(i, m) for i, m in enumerate((60, 62, 64, 65, 67))]
    found = match_take(track_of(pitch, None if bare else [-20.0] * len(pitch)), notes)
    assert [m.verdict for m in found.moves] == [Verdict.RIGHT, Verdict.RIGHT, verdict, Verdict.RIGHT]


# Closeness and details.

def heard(off: list[float | None], onset_s: list[float] | None = None) -> list[HeardNote]:
    """Notes of SIX sung so far off, None left out."""
    when = onset_s or [0.5 * i for i in range(6)]
    return [HeardNote(n, o is not None, None if o is None else n.midi + o, None if o is None else s, 0.4)
            for n, o, s in zip(SIX, off, when, strict=True)]


def test_the_features_of_closeness() -> None:
    assert take_features(heard([2.5] * 6)).tolist() == [0.0, 0.0, 0.0, 0.0], "the singer's own key"
    assert take_features(heard([0, 0, 12, 0, 0, 0])).tolist() == [0.0, 0.0, 0.0, 0.0], "octaves do not count"
    mean, rms, steps, _ = take_features(heard([0, 0, 1, 0, 0, 0]))
    assert (mean, rms, steps) == pytest.approx((1 / 6, math.sqrt(1 / 6), 2 / 5))
    assert take_features(heard([0, 0, 5, 0, 0, 0]))[0] == pytest.approx(3 / 6), "wrong is no more than wrong"
    assert take_features(heard([0, 0, None, 0, 0, 0]))[0] == pytest.approx(2 / 6), "left out counts as two semitones"
    assert take_features(heard([0] * 6, [0, 1, 1.5, 2, 2.5, 3]))[3] > 0.2
    assert take_features(heard([0, 0, 0, None, None, None]))[3] == PARAMETERS.rhythm_unknown
    assert take_features(heard([None] * 6)).tolist() == [2.0, 2.0, 2.0, 1.5]


def test_closeness_is_a_logistic_function_of_its_features() -> None:
    right = moves_of(heard([0] * 6))
    assert closeness_of_notes(heard([0.0] * 6)) == pytest.approx(1 / (1 + math.exp(-PARAMETERS.notes_constant)), abs=1e-4)
    assert closeness(heard([0.0] * 6), right, 1.0) == pytest.approx(1 / (1 + math.exp(-PARAMETERS.closeness_constant)), abs=1e-4)
    far, near = (closeness(heard(off), right, 1.0) for off in ([0, 1, -1, 2, 0, -2], [0, 0.2, -0.2, 0, 0.2, 0]))
    assert far < PARAMETERS.closeness_threshold < near
    assert closeness(heard([None] * 6), [], 0.0) < 0.01


def test_other_voice_and_moves_that_are_not_right_make_a_take_less_close() -> None:
    notes, right = heard([0.0] * 6), moves_of(heard([0] * 6))
    assert closeness_features(notes, right, 1.0).tolist() == [0.0] * 6
    doubted = [replace(m, verdict=Verdict.UNSURE) if m.start < 3 else m for m in right]
    assert closeness_features(notes, doubted, 0.75)[4:].tolist() == [0.25, pytest.approx(2 / 5)]
    best = closeness(notes, right, 1.0)
    assert closeness(notes, doubted, 0.75) < max(closeness(notes, doubted, 1.0), closeness(notes, right, 0.75)) < best


def moves_of(notes: list[HeardNote], off: dict[int, float] | None = None) -> list[Move]:
    match = made_match([n.written for n in notes])
    return [replace(m, sung_semitones=m.wanted_semitones + (off or {}).get(i, 0.0)) for i, m in enumerate(match.moves)]


def test_details_of_a_take() -> None:
    notes = heard([0, 0, 0, 0, 0, 0])
    plain = detail(notes, moves_of(notes), np.zeros(6))
    assert plain.tuning_cents == (0.0,) * 6
    assert (plain.drift_cents, plain.interval_factor, plain.sizes, plain.lengths) == (0.0, 1.0, (), ())
    assert plain.highest is not None
    assert plain.highest.agrees


def test_a_size_is_missed_from_six_tenths_of_a_semitone() -> None:
    notes = heard([0] * 6)
    found = detail(notes, moves_of(notes, {0: -0.7, 1: 0.5, 3: 0.8}), np.zeros(6)).sizes
    assert found == (MissedSize(1, 2, -0.7), MissedSize(4, 5, 0.8))
    assert [s.fault for s in found] == [SizeFault.TOO_SMALL, SizeFault.TOO_LARGE]


def test_drift_is_the_median_slope_over_the_phrase() -> None:
    # Theil and Sen: one wild note does not turn it.
    assert detail(heard([0.0, 0.2, 0.4, 0.6, 0.8, 1.0]), [], np.zeros(6)).drift_cents == 100
    assert detail(heard([0.0, 0.2, 0.4, 3.6, 0.8, 1.0]), [], np.zeros(6)).drift_cents == pytest.approx(100, abs=1)
    assert detail(heard([0.0, 0.2, None, None, None, None]), [], np.zeros(6)).drift_cents is None


def test_lengths_are_judged_by_the_singers_own_tempo_and_the_last_not_at_all() -> None:
    slow = [1.0 * i for i in range(6)]
    assert detail(heard([0] * 6, slow), [], np.zeros(6)).lengths == ()
    long = [0.0, 1.0, 3.0, 4.0, 5.0, 5.4]
    assert detail(heard([0] * 6, long), [], np.zeros(6)).lengths == (
        MissedLength(2, 2.0, LengthFault.TOO_LONG), MissedLength(5, 0.4, LengthFault.TOO_SHORT))


def test_the_highest_note_sung_is_not_always_the_highest_written() -> None:
    found = detail(heard([0, 0, 0, 0, 0, -6]), [], np.zeros(6)).highest
    assert found is not None
    assert (found.written, found.sung, found.agrees) == ((6,), 5, False)
    assert Match(None, (), (), 0.0).kinds == {}


def test_a_move_down_that_went_too_far_is_too_large() -> None:
    """Sizes are told by how far, whichever way: four semitones down where two are written, and one where two are."""
    down = replace(made_match(SIX).moves[0], wanted=DOWN, heard=DOWN, wanted_semitones=-2)
    far, near = (replace(down, sung_semitones=sung) for sung in (-4.0, -1.0))
    assert [(m.off_semitones, m.fault) for m in missed_sizes([far, near])] == [
        (2.0, SizeFault.TOO_LARGE), (-1.0, SizeFault.TOO_SMALL)]


def test_who_stopped_is_told_that_all_was_right_so_far() -> None:
    stopped = replace(made_match(SIX, left_out=(4, 5)), stopped=True)
    advice = advise(stopped)
    assert (advice.kind, advice.stopped_at, advice.from_start) == (CueKind.STOPPED_EARLY, SIX[3].number, True)
    missed = replace(made_match(SIX, {1: Verdict.UNSURE}, left_out=(4, 5)), stopped=True)
    assert advise(missed).from_start is False
