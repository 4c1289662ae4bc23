"""Corrections of a written-down take."""

from __future__ import annotations

import pytest
from notate_takes import as_track, performance

from companion.errors import Trouble
from companion.transcribe import LAST, TIMES, Action, Change, ChangeKind, Correction, Given, Notation, correct, notate
from companion.tune import Key, Pitch, load


@pytest.fixture(scope="module")
def take() -> Notation:
    """long-road: in four, dotted values, D major; no pickup whatever was heard."""
    n = notate(as_track(performance(load("long-road"))), "x", Given(time=TIMES["4/4"]))
    return correct(n, Correction(action=Action.NO_PICKUP)).notation


def line(n: Notation) -> list[tuple[str, float, float]]:
    return [(x.pitch.name, float(x.quarters), float(x.rest_after)) for x in n.tune.line()]


def whole(n: Notation, action: Action, **facts: object) -> Notation:
    return correct(n, Correction(action=action, **facts)).notation


def one(n: Notation, note: int, action: Action, **facts: object) -> Notation:
    """A note of the first bar corrected."""
    return correct(n, Correction(action=action, bar=1, note=note, **facts)).notation


def test_a_value_a_pitch_a_rest(take: Notation) -> None:
    before = line(take)
    assert before[0][0] == "D4"
    done = correct(take, Correction(action=Action.VALUE, bar=1, note=1, ticks=4))
    assert line(done.notation)[0] == ("D4", 1, 0)
    assert (done.change.kind, done.change.bar, done.change.note, done.change.ticks) == (ChangeKind.VALUE, 1, 1, 4)
    assert done.change.later == 4 - 4 * before[0][1]
    assert line(one(take, 1, Action.VALUE, ticks=8))[0][1] == 2
    assert line(one(take, 2, Action.PITCH, step="F", alter=1))[1][0] == "F#4"
    assert line(one(take, 2, Action.PITCH, step="F", alter=1, octave=5))[1][0] == "F#5"
    assert line(one(take, 2, Action.MOVE, semitones=-1))[1][0] in ("D#4", "Eb4")
    assert line(one(take, 1, Action.MOVE, semitones=12))[0][0] == "D5"
    gone = one(take, 2, Action.REST)
    assert len(gone.notes) == len(take.notes) - 1
    assert line(gone)[0][2] == before[1][1]


def test_the_change_names_the_pitch_and_the_last_note_by_its_number(take: Notation) -> None:
    done = correct(take, Correction(action=Action.MOVE, bar=1, note=LAST, semitones=12))
    last = take.bars.count(1)
    assert done.change == Change(kind=ChangeKind.PITCH, bar=1, note=last, pitch=Pitch(*_up(take, last - 1)))


def _up(n: Notation, i: int) -> tuple[str, int, int]:
    pitch = n.tune.line()[i].pitch
    return pitch.step, pitch.octave + 1, pitch.alter


def test_a_rest_put_in_and_taken_out(take: Notation) -> None:
    rested = one(take, 1, Action.END_REST, ticks=2)
    assert line(rested)[0][1:] == (line(take)[0][1] - 0.5, 0.5)
    assert line(one(rested, 1, Action.NO_REST))[0] == line(take)[0]
    # Where a rest stands after a note, a new value takes from it and nothing after it moves.
    longer = correct(rested, Correction(action=Action.VALUE, bar=1, note=1, ticks=4))
    assert sum(line(longer.notation)[0][1:]) == sum(line(rested)[0][1:])
    assert longer.change.kind is ChangeKind.VALUE_WITH_REST


def test_notes_taken_out_joined_and_split(take: Notation) -> None:
    total = sum(x[1] + x[2] for x in line(take))
    out = one(take, 2, Action.TAKE_OUT)
    assert len(out.notes) == len(take.notes) - 1
    assert sum(x[1] + x[2] for x in line(out)) == total
    joined = one(take, 1, Action.JOIN)
    assert line(joined)[0][1] == line(take)[0][1] + line(take)[1][1]
    split = one(take, 1, Action.SPLIT)
    assert [x[0] for x in line(split)[:2]] == ["D4", "D4"]
    assert sum(x[1] + x[2] for x in line(split)) == total
    first, second = split.notes[0].sung, split.notes[1].sung
    assert second.onset_s == pytest.approx(first.onset_s + first.duration_s)
    assert first.duration_s + second.duration_s == pytest.approx(take.notes[0].sung.duration_s)
    begins_later = correct(take, Correction(action=Action.REST, bar=1, note=1))
    assert begins_later.change.kind is ChangeKind.TAKEN_OUT_BEGINNING
    assert begins_later.notation.place == take.notes[0].length


def test_the_other_reading_is_taken(take: Notation) -> None:
    note = take.notes[0]
    assert note.pitch_confidence > note.value_confidence
    assert one(take, 1, Action.OTHER_READING).notes[0].ticks == note.other_ticks


def test_the_whole_score(take: Notation) -> None:
    lower = whole(take, Action.TRANSPOSE, semitones=-2)
    assert lower.key == Key(0)
    assert line(lower)[0][0] == "C4"
    assert whole(take, Action.TIME, time=TIMES["3/4"]).time.name == "3/4"
    assert whole(take, Action.KEY, key=Key(2, "minor")).key == Key(2, "minor")
    twice = whole(take, Action.DOUBLE)
    assert [x[1] for x in line(twice)] == [2 * x[1] for x in line(take)]
    assert twice.quarter_bpm == pytest.approx(2 * take.quarter_bpm, rel=0.01)
    assert line(whole(twice, Action.HALVE)) == line(take)
    assert whole(take, Action.PICKUP, ticks=4).tune.pickup == 1
    assert whole(take, Action.TITLE, text="Long road").tune.title == "Long road"
    # What a person has said is not doubted any more.
    assert one(take, 1, Action.VALUE, ticks=4).notes[0].value_confidence == 1.0


@pytest.mark.parametrize(("correction", "part"), [
    (Correction(action=Action.VALUE, bar=99, note=1, ticks=4), "There is no bar 99"),
    (Correction(action=Action.VALUE, bar=1, note=9, ticks=4), "there is no note 9"),
    (Correction(action=Action.PICKUP, ticks=32, text="a breve"), "A pickup of a breve does not go into 4/4")])
def test_what_cannot_be_done_is_said_in_one_sentence(take: Notation, correction: Correction, part: str) -> None:
    with pytest.raises(Trouble, match=part) as error:
        correct(take, correction)
    assert "\n" not in str(error.value)
