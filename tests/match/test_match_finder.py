"""The finder on made tracks: where the line lies, how often, in part, and what of a take is sung at all."""

from collections.abc import Sequence

import numpy as np
import pytest
from match.test_match_take import TUNE, drawn, line

from companion.ear import PitchTrack, join
from companion.match.finder import Attempt, Found, find

NOTE_S = 0.48  # from onset to onset in `drawn`
BEFORE_S = 0.2  # of silence before its first note
OTHER = (67, 60, 60, 69, 64, 65, 71)
PAUSE: tuple[float | None, ...] = (None,)


def found(sung: Sequence[float | None], tune: Sequence[int] = TUNE) -> Found:
    result = find(drawn(sung), line(tune))
    assert result is not None
    return result


def whole(result: Found, notes: int = len(TUNE)) -> list[Attempt]:
    return [a for a in result.attempts if (a.first, a.last) == (0, notes - 1)]


def when(note: int) -> float:
    """Where note `note` (from 0) of a drawn track begins, seconds."""
    return BEFORE_S + NOTE_S * note


@pytest.mark.parametrize("shift", [-12.0, -3.3, 0.0, 7.0])
def test_a_line_is_found_among_others_in_any_key(shift: float) -> None:
    sung = [*OTHER, *PAUSE, *(m + shift for m in TUNE), *PAUSE, *OTHER]
    (attempt,) = whole(found(sung))
    assert attempt.from_s == pytest.approx(when(8), abs=0.1)
    assert attempt.to_s == pytest.approx(when(16), abs=0.1)
    assert attempt.odds > 0


def test_each_attempt_is_found_and_their_notes_begin_where_they_do() -> None:
    one, two = whole(found([*TUNE, *PAUSE, *TUNE]))
    result = found([*TUNE, *PAUSE, *TUNE])
    for attempt, first in ((one, 0), (two, 9)):
        begins = [result.pieces.first[b] * result.pieces.hop_s for b in attempt.begins]
        assert begins == pytest.approx([when(first + i) for i in range(len(TUNE))], abs=0.05)


def test_a_false_start_is_an_attempt_of_its_own() -> None:
    attempts = found([*TUNE[:5], *PAUSE, *TUNE]).attempts
    assert [(a.first, a.last) for a in attempts] == [(0, 4), (0, 7)]


def test_a_stop_ends_the_attempt() -> None:
    (attempt,) = found(TUNE[:5]).attempts
    assert (attempt.first, attempt.last) == (0, 4)
    assert len(attempt.begins) == 5


def test_a_note_left_out_has_no_beginning() -> None:
    (attempt,) = whole(found([m for i, m in enumerate(TUNE) if i != 5]))
    assert [i for i, b in enumerate(attempt.begins) if b < 0] == [5]


def test_the_odds_tell_the_line_from_another() -> None:
    assert found(TUNE).odds > 5
    assert found(OTHER).odds < 1
    assert whole(found(OTHER)) == []


def test_nothing_voiced_is_nothing_found() -> None:
    assert find(drawn([None, None]), line(TUNE)) is None


def test_steady_notes_are_sung_and_what_glides_and_stops_is_not() -> None:
    notes = drawn(TUNE)
    rng = np.random.default_rng(2)
    # Syllables of 0.1 s that fall by four semitones: a slope of 40 semitones a second, far beyond any sung note's.
    syllables = []
    for _ in range(30):
        syllables += [*(rng.uniform(55, 62) - np.linspace(0, 4, 10)), *[np.nan] * 4]
    midi = np.array(syllables)
    hz = np.where(np.isnan(midi), 0.0, 440.0 * 2 ** ((np.nan_to_num(midi) - 69) / 12))
    on = hz > 0
    talk = PitchTrack(notes.time_s[0] + np.arange(len(hz)) * notes.hop_s, hz, np.where(on, 0.9, 0.0), np.where(on, -20.0, -70.0),
                      np.where(on, 0.9, 0.1), notes.hop_s, len(hz) * notes.hop_s, octave=np.zeros(len(hz)))
    for part, share in ((notes, 1.0), (talk, 0.0)):
        result = find(part, line(TUNE))
        assert result is not None
        voiced = result.pieces.voiced
        assert result.sung[voiced].mean() == pytest.approx(share, abs=0.2)
    both = find(join([talk, notes]), line(TUNE))
    assert both is not None
    (attempt,) = whole(both)
    assert attempt.from_s == pytest.approx(len(hz) * notes.hop_s + when(0), abs=0.1)
