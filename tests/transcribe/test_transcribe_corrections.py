"""Corrections of a written-down take."""

from __future__ import annotations

from dataclasses import replace

import pytest
from notate_takes import as_track, performance

from companion.errors import Trouble
from companion.transcribe import (
    FIRST,
    LAST,
    TIMES,
    Action,
    Change,
    ChangeKind,
    Correction,
    Given,
    Notation,
    Which,
    correct,
    correct_all,
    notate,
)
from companion.tune import Key, Pitch, Syllable, load


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
    assert (done.change.kind, done.change.bar, done.change.note, done.change.ticks) == (ChangeKind.VALUE_SHARED, 1, 1, 4)
    # The next note of the bar has what is left, and nothing later moves.
    assert line(done.notation)[1][1] == before[1][1] + before[0][1] - 1
    assert line(done.notation)[2:] == before[2:]
    assert done.notation.bars[2:] == take.bars[2:]
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
    (Correction(action=Action.PICKUP, ticks=32), "shorter than a bar of 4/4")])
def test_what_cannot_be_done_is_said_in_one_sentence(take: Notation, correction: Correction, part: str) -> None:
    with pytest.raises(Trouble, match=part) as error:
        correct(take, correction)
    assert "\n" not in str(error.value)


def test_what_a_person_has_given_survives_reading_again(take: Notation) -> None:
    """A value, a pitch by its name, a word, a tempo, the pickup, a slur and a repeat."""
    mended, _ = correct_all(take, [
        Correction(action=Action.VALUE, bar=2, note=1, ticks=3), Correction(action=Action.PITCH, bar=1, note=2, step="G",
                alter=-1),
        Correction(action=Action.SYLLABLE, bar=1, note=2, text="Moon"), Correction(action=Action.TEMPO, bpm=77),
        Correction(action=Action.SLUR, bar=1, note=1, other_bar=1, other_note=2), Correction(action=Action.REPEAT, bar=1,
                last_bar=2)])
    i = take.bars.index(2)
    again = correct(mended, Correction(action=Action.TIME, time=TIMES["3/4"]))
    n = again.notation
    assert (n.time.name, n.notes[i].length, n.notes[1].pitch(n.key).name, n.beat_bpm, n.place) == ("3/4", 3, "Gb4", 77, 0)
    assert n.notes[1].syllable is not None
    assert n.notes[1].syllable.text == "Moon"
    assert (n.notes[0].slur_starts, n.notes[1].slur_stops) == (1, 1)
    assert n.repeats == ((n.bars[0], n.bars[take.bars.index(3) - 1]),)
    assert again.change.kept == 2
    once_more = whole(n, Action.TIME, time=TIMES["4/4"])
    assert (once_more.notes[i].length, once_more.tune.line()[1].pitch.name) == (3, "Gb4")
    sung = once_more.tune.line()
    assert len(sung) > len(once_more.notes)  # the repeat is sung


def test_values_that_a_person_has_given_lead_the_others_when_the_take_is_read_again(take: Notation) -> None:
    """The first notes are mended to half of what was written: read again, the rest is halved with them."""
    given = replace(take, notes=tuple(replace(x, ticks=x.length // 2, rest=0, value_given=True) if k < 8 and x.length % 2 == 0
                                      else x for k, x in enumerate(take.notes)))
    again = whole(given, Action.TIME, time=TIMES["4/4"])
    halved = [2 * a.length == b.length for a, b in zip(again.notes[8:-1], take.notes[8:-1], strict=True)]
    assert sum(halved) > 0.8 * len(halved)


def test_one_value_moves_no_bar_line_until_nothing_is_left_to_give(take: Notation) -> None:
    first = [i for i, bar in enumerate(take.bars) if bar == 1]
    n = take
    for k in first[:-1]:
        n = correct(n, Correction(action=Action.VALUE, bar=1, note=k + 1, ticks=n.notes[k].ticks)).notation
    assert n.bars == take.bars
    changed = correct(n, Correction(action=Action.VALUE, bar=1, note=len(first), ticks=n.notes[first[-1]].ticks + 2))
    assert (changed.change.kind, changed.change.later) == (ChangeKind.VALUE, 2)


def test_a_line_counts_notes_as_they_stood_before_it(take: Notation) -> None:
    n, changes = correct_all(take, [Correction(action=Action.TAKE_OUT, bar=2, note=1), Correction(action=Action.TAKE_OUT, bar=2,
            note=2)])
    i = take.bars.index(2)
    assert [x.sung for x in n.notes] == [x.sung for k, x in enumerate(take.notes) if k not in (i, i + 1)]
    assert [(c.bar, c.note) for c in changes] == [(2, 1), (2, 2)]
    with pytest.raises(Trouble, match="no longer there"):
        correct_all(take, [Correction(action=Action.TAKE_OUT, bar=2, note=1), Correction(action=Action.MOVE, bar=2, note=1,
                semitones=1)])


def test_three_notes_joined_in_one_line(take: Notation) -> None:
    n, _ = correct_all(take, [Correction(action=Action.JOIN, bar=1, note=1), Correction(action=Action.JOIN, bar=1, note=2)])
    assert n.notes[0].ticks == sum(x.length for x in take.notes[:2]) + take.notes[2].ticks
    assert n.notes[0].sung.duration_s == pytest.approx(
        take.notes[2].sung.onset_s + take.notes[2].sung.duration_s - take.notes[0].sung.onset_s)


def test_split_into_three_makes_three_and_a_triplet_on_a_beat(take: Notation) -> None:
    beat = one(take, 1, Action.VALUE, ticks=4)
    three = one(beat, 1, Action.SPLIT, parts=3)
    assert [x[1] for x in line(three)[:3]] == pytest.approx([1 / 3] * 3)
    assert len(three.notes) == len(take.notes) + 1 + 1
    plain = one(three, 1, Action.NO_TRIPLET)
    assert sum(x[1] for x in line(plain)[:3]) == 1
    assert [x[1] for x in line(one(plain, 1, Action.TRIPLET))[:3]] == pytest.approx([1 / 3] * 3)
    with pytest.raises(Trouble, match="begins on a beat"):
        one(plain, 2, Action.TRIPLET)


def test_a_note_added_takes_its_time_from_the_one_before(take: Notation) -> None:
    done = correct(take, Correction(action=Action.ADD, bar=1, note=1, step="A", ticks=2))
    assert [x[0] for x in line(done.notation)[:2]] == ["D4", "A3"]
    assert line(done.notation)[1][1] == 0.5
    assert line(done.notation)[2:] == line(take)[1:]
    assert done.notation.bars[2:] == take.bars[1:]
    before = correct(take, Correction(action=Action.ADD, bar=1, note=1, step="A", ticks=4, before=True)).notation
    assert (before.tune.pickup, line(before)[1:]) == (1, line(take))


def test_a_syllable_whose_note_goes_is_sung_beside_it(take: Notation) -> None:
    worded = whole(take, Action.WORDS, text="lan-tern in the night")
    joined = correct(worded, Correction(action=Action.JOIN, bar=1, note=1))
    assert (joined.notation.notes[0].syllable, joined.change.elided) == (Syllable("lantern"), "tern")
    out = correct(worded, Correction(action=Action.TAKE_OUT, bar=1, note=3))
    assert (out.notation.notes[1].syllable, out.change.elided) == (Syllable("tern‿in", "end"), "in")


def test_a_bar_as_another_keeps_its_own_words(take: Notation) -> None:
    worded = whole(take, Action.WORDS, text=" ".join(f"w{k}" for k in range(len(take.notes))))
    if not take.notes[take.bars.index(2)].length or take.bars.count(3) == 0:
        pytest.fail("the tune has three bars")
    done = correct(worded, Correction(action=Action.COPY, bar=3, last_bar=3, other_bar=1))
    bars = done.notation.bars
    here, there = ([i for i, b in enumerate(bars) if b == x] for x in (3, 1))
    assert [done.notation.notes[i].midi for i in here] == [take.notes[i].midi for i in there]
    assert done.notation.notes[here[0]].syllable == worded.notes[worded.bars.index(3)].syllable
    assert [b for b in bars if b > 3] == [b for b in take.bars if b > 3]


def test_slurs_go_and_come(take: Notation) -> None:
    n = correct(take, Correction(action=Action.SLUR, bar=1, note=1, other_bar=2, other_note=1)).notation
    written = [note for _, _, note in n.tune.written() if note.pitch]
    assert (sum(x.slur_starts for x in written), sum(x.slur_stops for x in written)) == (1, 1)
    gone = one(n, 2, Action.NO_SLUR)
    assert not any(x.slur_starts or x.slur_stops for x in gone.notes)
    shorter = one(n, 1, Action.TAKE_OUT)  # the slur then begins with the next note
    assert shorter.notes[0].slur_starts == 1
    with pytest.raises(Trouble, match="no slur"):
        one(take, 1, Action.NO_SLUR)


def test_repeats_do_not_overlap(take: Notation) -> None:
    n = correct(take, Correction(action=Action.REPEAT, bar=1, last_bar=2)).notation
    with pytest.raises(Trouble, match="repeated already"):
        correct(n, Correction(action=Action.REPEAT, bar=2, last_bar=3))
    with pytest.raises(Trouble, match="no bars 2 to 99"):
        correct(take, Correction(action=Action.REPEAT, bar=2, last_bar=99))
    assert correct(n, Correction(action=Action.NO_REPEAT)).notation.tune == take.tune


def test_a_whole_bar_of_values_must_fit_its_notes(take: Notation) -> None:
    count = take.bars.count(1)
    with pytest.raises(Trouble, match=f"{count} begin in it, and {count + 1} were given"):
        correct_all(take, [Correction(action=Action.VALUE, bar=1, note=k, ticks=2, notes=count + 1) for k in range(1, count + 1)])


def test_notes_are_meant_by_what_they_are_or_by_where_the_tune_ends(take: Notation) -> None:
    pitch = [x.pitch(take.key) for x in take.notes]
    first = [i for i, bar in enumerate(take.bars) if bar == 1]
    step = pitch[first[-1]].step
    alone = [i for i in first if pitch[i].step == step] == [first[-1]]
    nth = 0 if alone else LAST
    done = correct(take, Correction(action=Action.PITCH, bar=1, which=Which(step=step, nth=nth), alter=1)).notation
    assert done.notes[first[-1]].pitch(done.key) == Pitch(step, pitch[first[-1]].octave, 1)
    value = take.notes[first[0]].ticks
    same = [i for i in first if take.notes[i].ticks == value]
    done, changes = correct_all(take, (Correction(action=Action.MOVE, bar=1, which=Which(ticks=value, every=True), semitones=1),))
    assert [i for i in first if done.notes[i].midi == take.notes[i].midi + 1] == same
    assert len(changes) == len(same)
    for nothing in (Which(ticks=63), Which(step=step, nth=len(first) + 1)):
        with pytest.raises(Trouble, match="such note"):
            correct(take, Correction(action=Action.TAKE_OUT, bar=1, which=nothing))
    if len(same) > 1:
        with pytest.raises(Trouble, match="Say which"):
            correct(take, Correction(action=Action.TAKE_OUT, bar=1, which=Which(ticks=value)))
    last = correct(take, Correction(action=Action.MOVE, bar=LAST, note=LAST, semitones=2)).notation
    assert [a.midi - b.midi for a, b in zip(last.notes, take.notes, strict=True)] == [0] * (len(take.notes) - 1) + [2]
    begun = correct(take, Correction(action=Action.MOVE, bar=FIRST, note=1, semitones=2)).notation
    assert begun.notes[0].midi == take.notes[0].midi + 2
    upbeat = correct(take, Correction(action=Action.PICKUP, note=1)).notation
    assert upbeat.tune.pickup * 4 == take.notes[0].length
    with pytest.raises(Trouble, match="beside each other"):
        correct(take, Correction(action=Action.JOIN, bar=1, note=1, other_bar=2, other_note=1))


def test_a_pickup_is_doubled_and_halved_with_the_rest(take: Notation) -> None:
    upbeat = whole(take, Action.PICKUP, ticks=4)
    assert upbeat.tune.pickup == 1
    twice = whole(upbeat, Action.DOUBLE)
    assert twice.tune.pickup == 2
    back = whole(twice, Action.HALVE)
    assert (back.tune.pickup, back.place) == (1, upbeat.place)
