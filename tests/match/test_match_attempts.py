"""Which stretch of a take is judged, on made tracks."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from match.test_match_take import TUNE, drawn, line

from companion.match.attempts import MARGIN_S, Stretch, line_odds, stretch_of

NOTE_S = 0.48  # from onset to onset in `drawn`
BEFORE_S = 0.2  # of silence before its first note
OTHER = (67, 60, 60, 69, 64, 65, 71)
PAUSE: tuple[float | None, ...] = (None,)


def stretch(sung: Sequence[float | None], tune: Sequence[int] = TUNE) -> Stretch:
    found = stretch_of(drawn(sung), line(tune))
    assert found is not None
    return found


def when(note: int) -> float:
    return BEFORE_S + NOTE_S * note


def test_of_two_whole_attempts_the_last_is_judged() -> None:
    found = stretch([*TUNE, *PAUSE, *TUNE])
    assert (found.first, found.last, found.attempts) == (0, 7, 2)
    assert (found.from_s, found.to_s) == pytest.approx((when(9), when(17) - 0.08), abs=0.05)
    assert found.share == pytest.approx(0.5, abs=0.03)


def test_a_whole_attempt_goes_before_a_later_half_one() -> None:
    found = stretch([*TUNE, *PAUSE, *TUNE[:4]])
    assert (found.first, found.last) == (0, 7)
    assert found.to_s == pytest.approx(when(8), abs=0.1)
    assert found.attempts == 2


def test_the_frames_are_those_of_the_stretch_with_a_margin_of_silence() -> None:
    track = drawn([*OTHER, *PAUSE, *TUNE])
    found = stretch_of(track, line(TUNE))
    assert found is not None
    inside = track.time_s[found.frames]
    voiced = track.time_s[track.f0_hz > 0]
    sung = voiced[voiced >= when(8) - 0.02]
    assert inside[0] == pytest.approx(sung[0] - MARGIN_S, abs=0.02)
    assert np.isin(sung, inside).all()
    assert found.share == pytest.approx(8 / 15, abs=0.03)


def test_a_stop_leaves_the_rest_of_the_line_out() -> None:
    found = stretch(TUNE[:5])
    assert (found.first, found.last, found.joined_at) == (0, 4, None)
    assert found.share == pytest.approx(1.0)


def test_a_restart_in_mid_line_is_one_line_in_two_pieces() -> None:
    track = drawn([*TUNE[:6], *PAUSE, *TUNE[4:]])
    found = stretch_of(track, line(TUNE))
    assert found is not None
    assert (found.first, found.last, found.joined_at) == (0, 7, 4)
    # What was sung twice is judged as it was sung the second time.
    twice = (track.time_s > when(4)) & (track.time_s < when(6) - 0.08)
    assert not found.frames[twice].all()


def test_one_note_has_no_interval_to_be_found_by_and_all_of_the_take_is_judged() -> None:
    found = stretch([60.0, 64.0], (60,))
    assert found.frames.all()
    assert (found.first, found.last) == (0, 0)


def test_silence_has_no_stretch() -> None:
    assert stretch_of(drawn([None, None]), line(TUNE)) is None


def test_of_a_bare_track_with_one_attempt_all_is_judged() -> None:
    bare = drawn([*TUNE, *PAUSE, 62.0, 59.0])
    bare = replace(bare, level_db=np.full(len(bare.f0_hz), np.nan))
    found = stretch_of(bare, line(TUNE))
    assert found is not None
    assert found.frames.all()


def test_the_odds_of_a_line_tell_it_from_another() -> None:
    track = drawn(TUNE)
    assert line_odds(track, line(TUNE)) > line_odds(track, line(OTHER)) + 5
    assert line_odds(track, line((60,))) == 0.0
