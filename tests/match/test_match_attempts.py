"""Which stretch of a take is judged, on made tracks."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from match.test_match_take import TUNE, drawn, line

from companion.ear import PitchTrack
from companion.match.attempts import (
    LONGEST_NOTE_S,
    MARGIN_S,
    Stretch,
    _restarted,
    all_of,
    begun_stretches,
    likely_ends,
    likely_stretches,
    line_odds,
    other_stretches,
)
from companion.match.finder import Attempt, find

NOTE_S = 0.48  # from onset to onset in `drawn`
BEFORE_S = 0.2  # of silence before its first note
OTHER = (67, 60, 60, 69, 64, 65, 71)
PAUSE: tuple[float | None, ...] = (None,)


def stretches(track: PitchTrack, tune: Sequence[int] = TUNE) -> list[Stretch]:
    found = find(track, line(tune))
    assert found is not None
    return likely_stretches(track, line(tune), found)


def stretch(sung: Sequence[float | None]) -> Stretch:
    return stretches(drawn(sung))[0]


def when(note: int) -> float:
    return BEFORE_S + NOTE_S * note


def test_each_whole_attempt_is_one_that_may_be_judged() -> None:
    one, two = stretches(drawn([*TUNE, *PAUSE, *TUNE]))
    for found, first in ((one, 0), (two, 9)):
        assert (found.first, found.last, found.attempts) == (0, 7, 2)
        assert (found.from_s, found.to_s) == pytest.approx((when(first), when(first + 8) - 0.08), abs=0.05)
        assert found.share == pytest.approx(0.5, abs=0.03)


def test_of_many_attempts_the_last_three_are_looked_at() -> None:
    found = stretches(drawn([*TUNE, *PAUSE] * 5))
    assert [s.from_s for s in found] == pytest.approx([when(18), when(27), when(36)], abs=0.05)
    assert {s.attempts for s in found} == {5}


def test_a_whole_attempt_goes_before_a_later_half_one() -> None:
    found = stretch([*TUNE, *PAUSE, *TUNE[:4]])
    assert (found.first, found.last) == (0, 7)
    assert found.to_s == pytest.approx(when(8), abs=0.1)
    assert found.attempts == 2


def test_the_frames_are_those_of_the_stretch_with_a_margin_of_silence() -> None:
    track = drawn([*OTHER, *PAUSE, *TUNE])
    (found,) = stretches(track)
    inside = track.time_s[found.frames]
    voiced = track.time_s[track.f0_hz > 0]
    sung = voiced[voiced >= when(8) - 0.02]
    assert inside[0] == pytest.approx(sung[0] - MARGIN_S, abs=0.02)
    assert np.isin(sung, inside).all()
    assert found.share == pytest.approx(8 / 15, abs=0.03)


def test_a_stop_leaves_the_rest_of_the_line_out() -> None:
    part, whole = stretches(drawn(TUNE[:5]))
    assert (part.first, part.last, part.joined_at) == (0, 4, None)
    assert part.share == pytest.approx(1.0)
    # It may as well be the whole line with wrong notes.
    assert (whole.first, whole.last) == (0, 7)
    assert np.array_equal(whole.frames, part.frames)


def test_a_restart_in_mid_line_is_one_line_in_two_pieces() -> None:
    track = drawn([*TUNE[:6], *PAUSE, *TUNE[4:]])
    (found,) = stretches(track)
    assert (found.first, found.last, found.joined_at) == (0, 7, 4)
    # What was sung twice is judged as it was sung the second time.
    twice = (track.time_s > when(4)) & (track.time_s < when(6) - 0.08)
    assert not found.frames[twice].all()


@pytest.mark.parametrize(("first", "from_s", "restarted"), [(4, 2.05, False), (4, 2.5, True), (3, 2.05, True)])
def test_who_goes_on_in_another_key_at_once_has_not_begun_again(first: int, from_s: float, restarted: bool) -> None:
    one, two = Attempt(0, 3, 0, 20, 0.2, 2.0, 5.0), Attempt(first, 7, 20, 40, from_s, 4.0, 5.0)
    assert _restarted([(one, 0, first - 1), (two, first, 7)]) is restarted
    assert not _restarted([(one, 0, 3)])


@pytest.mark.parametrize("sung", [3, 5, 6])
def test_where_the_singer_may_have_stopped_is_told_by_the_model(sung: int) -> None:
    track = drawn(TUNE[:sung])
    assert likely_ends(track, line(TUNE))[0] == sung - 1
    found = find(track, line(TUNE))
    assert found is not None
    begun = begun_stretches(track, line(TUNE), found)
    assert (begun[0].first, begun[0].last) == (0, sung - 1)
    assert begun[0].frames[track.f0_hz > 0].all()
    assert likely_ends(drawn([None, None]), line(TUNE)) == []


def test_what_else_may_hold_the_line_is_all_that_was_sung_and_the_whole_take() -> None:
    track = drawn([*OTHER[:4], None, None, None, *OTHER])
    found = find(track, line(TUNE))
    assert found is not None
    *_, sung, everything = other_stretches(track, line(TUNE), found)
    assert everything.frames.all()
    whole = all_of(track, line(TUNE), everything.attempts, everything.odds)
    assert {**vars(everything), "frames": None} == {**vars(whole), "frames": None}
    voiced = np.flatnonzero(track.f0_hz > 0)
    assert sung.frames[voiced].all()
    assert not sung.frames[0]


def test_what_is_longer_than_any_line_is_not_tried_as_one() -> None:
    sung = [OTHER[i % len(OTHER)] for i in range(int(LONGEST_NOTE_S * len(TUNE) / 0.4) + 2)]
    track = drawn(sung)
    found = find(track, line(TUNE))
    assert found is not None
    for other in other_stretches(track, line(TUNE), found):
        assert np.count_nonzero(other.frames) * track.hop_s < len(track.f0_hz) * track.hop_s / 2


REPEATED = (60, 60, 60, 60, 57)


def test_a_line_of_repeated_notes_is_found_where_it_fits_best_though_any_held_note_explains_it() -> None:
    track = drawn([*OTHER, *PAUSE, *REPEATED])
    found = find(track, line(REPEATED))
    assert found is not None
    best = other_stretches(track, line(REPEATED), found)[:2]
    assert max(best, key=lambda s: s.odds).from_s == pytest.approx(when(8), abs=0.1)
    assert {(s.first, s.last) for s in best} == {(0, 4)}


def test_of_a_bare_track_with_one_attempt_all_is_judged() -> None:
    bare = drawn([*TUNE, *PAUSE, 62.0, 59.0])
    bare = replace(bare, level_db=np.full(len(bare.f0_hz), np.nan))
    (found,) = stretches(bare)
    assert found.frames.all()


def test_the_odds_of_a_line_tell_it_from_another() -> None:
    track = drawn(TUNE)
    assert line_odds(track, line(TUNE)) > line_odds(track, line(OTHER)) + 5
    assert line_odds(track, line((60,))) == 0.0
