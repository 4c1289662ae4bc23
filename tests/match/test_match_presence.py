"""Whether the line is in the take at all: what its odds rest on, what is decided from them, and made takes."""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from match.test_match_take import TUNE, drawn, line, verdicts

from companion.ear import PitchTrack
from companion.match import PARAMETERS, HeardNote, Move, Presence, Verdict, match_take
from companion.match.attempts import Stretch
from companion.match.presence import (
    ABSENT,
    AGAINST,
    MEAN_GAIN,
    OTHER_PITCHES,
    PART_PRESENT,
    PRESENT,
    QUICK,
    SUPPORT,
    TALK_ODDS,
    WEIGHTS,
    explained,
    interval_gain,
    length_gains,
    note_gains,
    presence,
    presence_odds,
    presence_row,
    sung_odds,
    sung_part,
    supported,
)
from companion.tune import Direction

HOP = 0.01
OTHER = (67, 60, 60, 69, 64, 65, 71, 62)


def heard(sung: Sequence[float | None] = TUNE, every_s: float = 0.5) -> list[HeardNote]:
    """The notes of TUNE, sung at these pitches, None left out."""
    return [HeardNote(n, m is not None, m, None if m is None else every_s * i, None if m is None else 0.4)
            for i, (n, m) in enumerate(zip(line(TUNE), sung, strict=True))]


def moves(verdict: Verdict = Verdict.RIGHT) -> list[Move]:
    return [Move(i + 1, i + 2, Direction.UP, Direction.UP, verdict, 0.9, 2, 2.0) for i in range(7)]


def stretch(first: int = 0, last: int = 7, share: float = 1.0, odds: float = 10.0) -> Stretch:
    return Stretch(np.ones(10, dtype=bool), first, last, 0.0, 4.0, 1, odds, share)


# What the odds rest on.

def test_an_interval_speaks_for_the_line_where_it_is_the_written_one() -> None:
    assert interval_gain(2.0, 2) > 0.5
    assert interval_gain(-2.0, 2) < -1
    assert interval_gain(0.0, 5) < interval_gain(3.4, 5) < interval_gain(5.0, 5), "a shrunken one speaks for it less"
    # By hand: Laplace laws of spread 0.35 for a level move and 8 for any; of any tune 0.35 and 3.5.
    near = 0.8 / 0.7 + 0.2 / 16
    assert interval_gain(0.0, 0) == pytest.approx(math.log(near / (0.25 / 0.7 + 0.75 / 7)))


def test_a_rare_interval_proves_more_than_a_common_one() -> None:
    assert interval_gain(9.0, 9) > interval_gain(2.0, 2) > interval_gain(0.0, 0)


def test_lengths_speak_for_the_line_in_any_pace_and_not_in_another_rhythm() -> None:
    written = [1.0, 1.0, 0.5, 0.5, 2.0]
    gains = [sum(length_gains([pace * q for q in written], written)) for pace in (0.3, 0.8)]
    assert gains[0] == pytest.approx(gains[1])
    assert gains[0] > 3
    assert sum(length_gains([0.5, 0.5, 1.0, 1.0, 0.3], written)) < 0


def test_gains_are_taken_over_a_note_left_out_for_intervals_and_not_for_lengths() -> None:
    intervals, lengths = note_gains(heard([60, 62, None, 64, 62, 67, 65, 60]))
    assert (len(intervals), len(lengths)) == (6, 5)
    assert intervals[1] == pytest.approx(interval_gain(2.0, 2)), "from the second note to the fourth"
    assert note_gains(heard([None] * 8)) == ([], [])


def test_what_lies_at_the_pitch_of_its_note_is_explained() -> None:
    track = drawn(TUNE)
    begin = 0.2
    notes = [replace(n, onset_s=begin + 0.48 * i, duration_s=0.39) for i, n in enumerate(heard())]
    assert explained(notes, track) == pytest.approx(1.0, abs=0.02)
    assert explained([replace(n, midi=(n.midi or 0) - 12) for n in notes], track) == pytest.approx(1.0, abs=0.02)
    assert explained([replace(n, midi=(n.midi or 0) + 2) for n in notes], track) == 0.0
    assert explained(notes[:4], track) == pytest.approx(0.5, abs=0.02)


def test_the_row_of_what_speaks_for_the_line() -> None:
    row = presence_row(stretch(), heard(), moves(), 8, drawn(TUNE))
    assert len(row) == len(WEIGHTS)
    assert row[:2] == pytest.approx([2.0, 1.25])
    assert row[3:5] == pytest.approx([math.sqrt(7) / 2, 0.0])
    assert row[6:8] == pytest.approx([1.0, 1.0])
    assert row[14:] == pytest.approx([1, 0, 0, 0, 0, 0, 0, 1])


def test_of_a_stretch_that_part_is_weighed_in_which_something_was_sung() -> None:
    track = drawn(TUNE[:4])
    begun = presence_row(stretch(0, 3), heard()[:4], moves()[:3], 8, track)
    assert begun[6:8] == pytest.approx([1.0, 0.5])
    assert begun[15] == 1.0
    whole = heard([*TUNE[:4], None, None, None, None])
    asked = [replace(m, verdict=Verdict.UNSURE) if i > 2 else m for i, m in enumerate(moves())]
    # Of the whole line no more was sung; the odds of the finder are shared by the same four notes.
    assert presence_row(stretch(), whole, asked, 8, track) == pytest.approx(begun)
    beside = presence_row(stretch(0, 3, share=0.5), heard()[:4], moves()[:3], 8, track)
    assert (beside[14], beside[15]) == (0.5, 0.0), "somebody who sings on has not stopped"
    late = presence_row(stretch(4, 7), heard()[4:], moves()[4:], 8, drawn(TUNE[4:]))
    assert (late[15], late[18]) == (0.0, 1.0)
    nothing = presence_row(stretch(), heard([None] * 8), moves(Verdict.UNSURE), 8, track)
    assert nothing == pytest.approx([0.0] * (len(WEIGHTS) - 1) + [1.0])


def test_a_note_held_for_two_of_its_pitch_is_not_missing() -> None:
    held = sung_part(0, heard([60, 62, 64, None, 62, 67, 65, 60]), moves())
    out = sung_part(0, heard([60, None, 64, 64, 62, 67, 65, 60]), moves())
    assert held is not None
    assert out is not None
    assert (len(held.notes), len(held.moves), held.held) == (7, 5, 1)
    assert (len(out.notes), len(out.moves), out.held) == (8, 7, 0)
    assert sung_part(2, heard([None] * 8), moves()) is None


def test_the_intervals_of_a_part_must_speak_for_it_the_more_the_more_places_it_might_have() -> None:
    four = heard()[4:]  # down, up, down, down
    gain = sum(note_gains(four)[0])
    assert gain > SUPPORT
    assert supported(0, four, 8)
    assert supported(4, four, 8) == (gain - math.log(5) >= SUPPORT)
    assert not supported(4, four, 500), "in so long a line some place is like it by chance"
    assert not supported(0, heard()[:2], 8), "one step is little"
    assert not supported(0, heard([60, 62, 60, 64, None, None, None, None])[:4], 8), "and one against it takes it back"
    assert not supported(0, heard([None] * 8), 8)


def test_worse_notes_have_lower_odds() -> None:
    track = drawn(TUNE)

    def odds(sung: Sequence[float | None], verdict: Verdict = Verdict.RIGHT) -> float:
        return presence_odds(stretch(), heard(sung), moves(verdict), 8, track)

    astray = [m + d for m, d in zip(TUNE, (0, 2, -3, 1, 4, -2, 3, 0), strict=True)]
    assert odds(TUNE) > PRESENT + 3
    assert odds(TUNE) > odds([*TUNE[:6], None, None])
    assert odds(astray, Verdict.WRONG) < ABSENT


def test_no_rhythm_makes_other_pitches_the_line() -> None:
    other = [67, 60, 69, 62, 71, 60, 72, 65]
    notes = [replace(n, onset_s=0.2 + 0.48 * i, duration_s=0.39) for i, n in enumerate(heard(other))]
    row = presence_row(stretch(), notes, moves(Verdict.RIGHT), 8, drawn(other))
    assert row[MEAN_GAIN] == pytest.approx(np.mean(note_gains(notes)[0]))
    assert row[MEAN_GAIN] < AGAINST
    assert float(np.dot(WEIGHTS, row)) > OTHER_PITCHES, "all else speaks for it"
    assert presence_odds(stretch(), notes, moves(Verdict.RIGHT), 8, drawn(other)) == OTHER_PITCHES
    assert ABSENT < OTHER_PITCHES < PRESENT


# What is decided.

def decided(value: float, where: Stretch, track: PitchTrack | None = None, size: int = 8) -> Presence:
    return presence(value, where, size, drawn(TUNE) if track is None else track, PARAMETERS.weighed_from)


def test_present_doubtful_and_absent_by_the_odds() -> None:
    beside = stretch(share=0.5)
    assert decided(PRESENT + 0.01, beside) is Presence.PRESENT
    assert decided(PRESENT - 0.01, beside) is Presence.DOUBTFUL
    assert decided(ABSENT + 0.01, beside) is Presence.DOUBTFUL
    assert decided(ABSENT - 0.01, beside) is Presence.ABSENT


def test_more_is_asked_of_a_part_of_the_line_beside_other_singing() -> None:
    """Three or four notes of any tune are found in many others."""
    part = stretch(2, 5, share=0.5)
    assert decided(PART_PRESENT - 0.01, part) is Presence.DOUBTFUL
    assert decided(PART_PRESENT + 0.01, part) is Presence.PRESENT
    assert decided(PRESENT + 0.01, stretch(2, 5)) is Presence.PRESENT, "all that was sung"


def test_of_a_short_line_or_hardly_any_voice_it_is_not_said_that_another_tune_was_sung() -> None:
    assert decided(-9.0, stretch(0, 2), size=3) is Presence.PRESENT
    assert decided(-9.0, stretch(), track=drawn([60, 62])) is Presence.DOUBTFUL


def talk() -> PitchTrack:
    """Syllables of 0.1 s that each fall by four semitones."""
    rng = np.random.default_rng(2)
    midi = np.array([x for _ in range(20) for x in (*(rng.uniform(55, 62) - np.linspace(0, 4, 10)), *[np.nan] * 4)])
    hz = np.where(np.isnan(midi), 0.0, 440.0 * 2 ** ((np.nan_to_num(midi) - 69) / 12))
    on = hz > 0
    return PitchTrack(np.arange(len(hz)) * HOP, hz, np.where(on, 0.9, 0.0), np.where(on, -20.0, -70.0),
                      np.where(on, 0.9, 0.1), HOP, len(hz) * HOP, octave=np.zeros(len(hz)))


def test_what_sounds_like_talk_is_the_line_only_at_high_odds() -> None:
    spoken = talk()
    assert sung_odds(spoken) < TALK_ODDS
    assert decided(ABSENT - 0.01, stretch(), track=spoken) is Presence.ABSENT
    assert decided(ABSENT + 0.01, stretch(), track=spoken) is Presence.DOUBTFUL
    assert decided(QUICK - 0.01, stretch(), track=spoken) is Presence.DOUBTFUL
    assert decided(QUICK + 0.01, stretch(), track=spoken) is Presence.PRESENT
    assert decided(-9.0, stretch(0, 2), track=spoken, size=3) is Presence.ABSENT


# Made takes.

def test_few_notes_of_another_tune_are_never_not_that_way() -> None:
    """Down, up, down: the end of a tune that goes up, level, down, with one move turned, or another tune altogether."""
    snail = line((60, 60, 62, 64, 64, 62, 60))
    for sung in ((62, 60, 62, 60), (62, 60, 62, 60, 62)):
        assert Verdict.WRONG not in verdicts(match_take(drawn(sung), snail))
    # Four notes that are all there is of a line are weighed too.
    four = line((62, 62, 64, 60))
    assert verdicts(match_take(drawn((67, 67, 69, 65)), four)) == [Verdict.RIGHT] * 3
    assert match_take(drawn((60, 67, 65, 64)), four).presence is not Presence.PRESENT


def test_the_tune_is_present_and_another_is_not() -> None:
    assert match_take(drawn(TUNE), line(TUNE)).presence is Presence.PRESENT
    other = match_take(drawn(OTHER), line(TUNE))
    assert other.presence is not Presence.PRESENT
    assert set(verdicts(other)) == {Verdict.UNSURE}
    assert other.presence_odds < match_take(drawn(TUNE), line(TUNE)).presence_odds - 3


def test_the_last_of_two_attempts_is_judged_even_where_the_first_is_better() -> None:
    worse = [60, 62, 64, 64, 66, 67, 65, 60]
    found = match_take(drawn([*TUNE, None, *worse]), line(TUNE))
    assert found.heard_from_s == pytest.approx(0.2 + 0.48 * 9, abs=0.05)
    assert found.moves[3].verdict == Verdict.WRONG


def test_where_the_line_is_less_than_sure_not_that_way_needs_more() -> None:
    """Nearly all false ones come from a line found at the wrong place."""
    turned = drawn([60, 62, 64, 64, 66, 67, 65, 60])
    strict = replace(PARAMETERS, wrong_threshold_doubtful=1.0)
    found = match_take(turned, line(TUNE), strict)
    assert found.presence_odds > strict.firm_odds_alone
    assert found.moves[3].verdict == Verdict.WRONG
    assert match_take(turned, line(TUNE), replace(strict, firm_odds_alone=99.0)).moves[3].verdict == Verdict.UNSURE
    assert PARAMETERS.wrong_threshold_firm < PARAMETERS.wrong_threshold < PARAMETERS.wrong_threshold_doubtful


def test_beside_other_singing_a_line_that_is_less_than_sure_is_never_wrong() -> None:
    turned = drawn([*OTHER[:5], None, None, 60, 62, 64, 64, 66, 67, 65, 60])
    found = match_take(turned, line(TUNE))
    assert found.moves[3].verdict == Verdict.WRONG
    never = match_take(turned, line(TUNE), replace(PARAMETERS, firm_odds=99.0, wrong_threshold_doubtful=0.0))
    assert Verdict.WRONG not in verdicts(never)


def test_the_first_move_is_not_wrong_where_another_line_goes_right_before_it() -> None:
    # The second note lies below the first where the tune goes up; what is sung before it may be another's last note.
    turned = [62, 60, 64, 64, 62, 67, 65, 60]
    tune = (58, 60, 64, 64, 62, 67, 65, 60)
    for before, verdict in (((None, None, None), Verdict.WRONG), ((), Verdict.UNSURE)):
        found = match_take(drawn([67, 69, 71, 69, *before, *turned]), line(tune))
        assert found.moves[0].verdict == verdict, before
        assert set(verdicts(found)[1:]) == {Verdict.RIGHT}
