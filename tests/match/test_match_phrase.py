"""One phrase of a tune, in a take of more of the tune and in one of that phrase alone, on made tracks."""

from collections.abc import Sequence
from dataclasses import replace

import pytest
from match.test_match_take import TUNE, drawn, line, verdicts

from companion.errors import NothingSung
from companion.match import Match, Verdict, match_phrase, match_take
from companion.tune import LineNote

NOTE_S = 0.48  # from onset to onset in `drawn`
BEFORE_S = 0.2  # of silence before its first note
SAME = tuple(m + 5 for m in TUNE)  # the first phrase again, in another key
THIRD = (72, 71, 67, 69, 65, 62, 64, 60)


def tune_of(*phrases: Sequence[int]) -> tuple[LineNote, ...]:
    notes = line([m for p in phrases for m in p])
    which = [k for k, p in enumerate(phrases, 1) for _ in p]
    return tuple(replace(n, phrase=k) for n, k in zip(notes, which, strict=True))


def phrase(tune: Sequence[LineNote], number: int) -> tuple[LineNote, ...]:
    return tuple(n for n in tune if n.phrase == number)


def when(note: int) -> float:
    return BEFORE_S + NOTE_S * note


@pytest.mark.parametrize("number", [1, 2])
def test_a_phrase_has_the_verdicts_that_it_has_in_the_whole(number: int) -> None:
    tune = tune_of(TUNE, THIRD)
    turned = [*TUNE[:4], 66, *TUNE[5:], *THIRD[:6], 61, THIRD[7]]
    track = drawn(turned)
    whole, part = match_take(track, tune), match_phrase(track, tune, phrase(tune, number))
    here = slice(0, 8) if number == 1 else slice(8, 16)
    assert part.moves == whole.moves[here][:7]
    assert part.evidence == whole.evidence[here][:7]
    assert part.notes == whole.notes[here]
    assert verdicts(part).count(Verdict.WRONG) == 1
    assert part.detail.tuning_cents == pytest.approx(whole.detail.tuning_cents[here], abs=1)
    assert (part.heard_from_s, part.heard_to_s) == pytest.approx((when(here.start), when(here.stop) - 0.08), abs=0.05)


def sung(*parts: Sequence[int]) -> Match:
    tune = tune_of(TUNE, SAME, THIRD)
    return match_phrase(drawn([m for p in parts for m in p]), tune, phrase(tune, 2))


def test_where_all_is_sung_a_phrase_is_judged_in_its_own_place() -> None:
    found = sung(TUNE, SAME, THIRD)
    assert found.heard_from_s == pytest.approx(when(8), abs=0.05)
    assert verdicts(found) == [Verdict.RIGHT] * 7
    assert found.shift_semitones == pytest.approx(0.0, abs=0.1)
    assert found.closeness > 0.9
    assert not found.stopped


def test_half_of_a_phrase_is_enough_for_its_own_place() -> None:
    # By itself it would be found in the first phrase, which has the same moves.
    found = sung(TUNE, SAME[:4])
    assert found.heard_from_s == pytest.approx(when(8), abs=0.05)
    assert [n.sung for n in found.notes] == [True] * 4 + [False] * 4
    assert verdicts(found) == [Verdict.RIGHT] * 3 + [Verdict.UNSURE] * 4
    assert found.stopped


def test_a_phrase_sung_alone_is_found_by_itself() -> None:
    found = sung(SAME)
    assert verdicts(found) == [Verdict.RIGHT] * 7
    assert [n.written.number for n in found.notes] == list(range(9, 17))


def test_silence_is_nothing_sung() -> None:
    with pytest.raises(NothingSung):
        sung([])
