"""The least sure bar in its two readings, and the one that was heard."""

from __future__ import annotations

from dataclasses import replace

import pytest
from notate_takes import as_track, performance

from companion.ear import Doubtful
from companion.transcribe import TIMES, Action, Correction, Given, Notation, bar_question, correct, notate, settled
from companion.tune import load


@pytest.fixture(scope="module")
def take() -> Notation:
    """Sure of everything."""
    n = notate(as_track(performance(load("kite"))), "x", Given(time=TIMES["4/4"]))
    return replace(n, doubtful=(), notes=tuple(replace(x, value_confidence=0.9999, pitch_confidence=0.9999, agreement=1.0)
                                               for x in n.notes))


def written(n: Notation) -> list[tuple[int, int]]:
    return [(x.midi, x.length) for x in n.notes]


def spoiled(n: Notation, i: int, **facts: object) -> Notation:
    return replace(n, notes=(*n.notes[:i], replace(n.notes[i], **facts), *n.notes[i + 1:]))


def test_nothing_is_asked_where_all_is_sure(take: Notation) -> None:
    assert bar_question(replace(take, notes=tuple(replace(x, value_given=True, pitch_given=True) for x in take.notes))) is None


def test_a_pitch_is_mended_by_the_other_version_and_holds(take: Notation) -> None:
    k = 9
    wrong = spoiled(take, k, midi=take.notes[k].midi + 1, other_midi=take.notes[k].midi, pitch_confidence=0.4)
    asked = bar_question(wrong)
    assert asked is not None
    assert asked.bar == take.bars[k]
    assert written(asked.others[0]) == written(take)
    done = settled(wrong, asked, 2)
    assert written(done) == written(take)
    again = correct(done, Correction(action=Action.TIME, time=TIMES["3/4"])).notation
    assert again.notes[k].midi == take.notes[k].midi
    assert again.notes[k].length == take.notes[k].length
    kept = settled(wrong, asked, 1)
    assert written(kept) == written(wrong)
    # What was answered is asked no more.
    for after in (done, kept):
        later = bar_question(after)
        assert later is None or later.bar != asked.bar


def test_values_are_read_otherwise_in_their_bar_alone(take: Notation) -> None:
    k = next(i for i in range(4, len(take.notes) - 4) if take.notes[i].length == take.notes[i + 1].length == 4
             and take.bars[i] == take.bars[i + 1])
    wrong = spoiled(spoiled(take, k, ticks=6, value_confidence=0.3, agreement=0.4), k + 1, ticks=2, value_confidence=0.3,
                    agreement=0.4)
    asked = bar_question(wrong)
    assert asked is not None
    assert asked.bar == take.bars[k]
    assert written(asked.others[0]) == written(take)


def test_two_notes_heard_as_one_are_offered_as_two(take: Notation) -> None:
    k = next(i for i in range(4, len(take.notes) - 4) if take.notes[i].length == take.notes[i + 1].length == 4
             and take.bars[i] == take.bars[i + 1])
    a, b = take.notes[k], take.notes[k + 1]
    whole = replace(a, ticks=8, sung=replace(a.sung, duration_s=b.sung.onset_s + b.sung.duration_s - a.sung.onset_s),
                    value_confidence=0.5)
    wrong = replace(take, notes=(*take.notes[:k], whole, *take.notes[k + 2:]),
                    doubtful=(Doubtful(b.sung.onset_s, 2.0),))
    asked = bar_question(wrong)
    assert asked is not None
    assert len(asked.others[0].notes) == len(take.notes)
    assert [x.length for x in asked.others[0].notes] == [x.length for x in take.notes]


def test_a_rest_is_offered_held_beside_another_pitch(take: Notation) -> None:
    """Two things are in doubt in one bar, and each is a version of its own: three are played."""
    k = next(i for i in range(4, len(take.notes) - 4) if take.notes[i].ticks == 4 and take.bars[i] == take.bars[i + 1])
    wrong = spoiled(spoiled(take, k, ticks=2, rest=2, value_confidence=0.5), k + 1, midi=take.notes[k + 1].midi + 1,
                    other_midi=take.notes[k + 1].midi, pitch_confidence=0.3)
    asked = bar_question(wrong)
    assert asked is not None
    assert len(asked.others) == 2
    assert [x.midi for x in asked.others[0].notes] == [x.midi for x in take.notes]
    held = settled(wrong, asked, 3).notes[k]
    assert (held.ticks, held.rest) == (4, 0)
    # What is worth more is asked first: a bar as unsure in which less hangs on the answer waits.
    assert bar_question(spoiled(wrong, 0, pitch_confidence=0.9)).bar == take.bars[k]  # type: ignore[union-attr]


def test_ends_of_lines_that_are_alike_are_settled_by_one_answer(take: Notation) -> None:
    def ends(n: Notation, i: int) -> Notation:
        """Written with half of its value as a rest, where silence is heard, and unsure."""
        note = n.notes[i]
        sounding = replace(note.sung, duration_s=n.notes[i + 1].sung.onset_s - note.sung.onset_s - 0.3)
        return spoiled(n, i, ticks=note.length // 2, rest=note.length // 2, value_confidence=0.5, sung=sounding)

    crotchets = [i for i in range(len(take.notes) - 1) if take.notes[i].length == 4]
    first = crotchets[0]
    second = next(i for i in crotchets if take.bars[i] > take.bars[first] + 1)
    wrong = ends(ends(take, first), second)
    asked = bar_question(wrong)
    assert asked is not None
    assert asked.bar in (take.bars[first], take.bars[second])
    assert asked.removed > 0.2  # two slips hang on it
    held = next(k for k, n in enumerate(asked.others, 2) if n.notes[first].rest == 0)
    done = settled(wrong, asked, held)
    assert [(done.notes[i].ticks, done.notes[i].rest) for i in (first, second)] == [(4, 0), (4, 0)]
    # Kept as they are, both are sure: neither is asked about again.
    kept = settled(wrong, asked, 1)
    assert [(kept.notes[i].rest, kept.notes[i].value_confidence) for i in (first, second)] == [(2, 1.0), (2, 1.0)]
    # A line that ends with another silence is another matter.
    other = spoiled(wrong, second, sung=replace(wrong.notes[second].sung, duration_s=wrong.notes[second].sung.duration_s + 0.15))
    alone = bar_question(other)
    assert alone is not None
    assert not alone.alike
