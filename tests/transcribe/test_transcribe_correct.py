"""Corrections by plain commands, words under notes, and the talk that reads them line by line."""

from __future__ import annotations

import pytest
from notate_takes import as_track, performance

from companion.errors import Trouble
from companion.transcribe.corrections import HELP, correct, key_said, pitch_of, value_of
from companion.transcribe.dialogue import talk
from companion.transcribe.door import Written, write_takes
from companion.transcribe.lyrics import lay, parted, syllables_of
from companion.transcribe.score import Given, Notation, notate
from companion.tune import Key, load


@pytest.fixture(scope="module")
def take() -> Notation:
    """long-road: in four, dotted values, D major; no pickup whatever was heard."""
    n = notate(as_track(performance(load("long-road"))), "x", Given(time="4/4"))
    return correct(n, "no pickup").notation


def line(n: Notation) -> list[tuple[str, float, float]]:
    return [(x.pitch.name, float(x.quarters), float(x.rest_after)) for x in n.tune.line()]


def test_a_value_a_pitch_a_rest(take: Notation) -> None:
    before = line(take)
    assert before[0][0] == "D4"
    done = correct(take, "bar 1 note 1 is a crotchet")
    assert line(done.notation)[0] == ("D4", 1, 0)
    assert done.say.startswith("Bar 1, note 1 is a crotchet now.")
    assert line(correct(take, "Bar 1, note 1 is a half note.").notation)[0][1] == 2
    assert line(correct(take, "bar one note two is F sharp").notation)[1][0] == "F#4"
    assert line(correct(take, "bar 1 the second note is a semitone lower").notation)[1][0] in ("D#4", "Eb4")
    assert line(correct(take, "bar 1 note 1 an octave higher").notation)[0][0] == "D5"
    gone = correct(take, "bar 1 note 2 is a rest").notation
    assert len(gone.events) == len(take.events) - 1
    assert line(gone)[0][2] == before[1][1]


def test_a_rest_put_in_and_taken_out(take: Notation) -> None:
    rested = correct(take, "a quaver rest after bar 1 note 1").notation
    assert line(rested)[0][1:] == (line(take)[0][1] - 0.5, 0.5)
    assert line(correct(rested, "no rest after bar 1 note 1").notation)[0] == line(take)[0]
    # Where a rest stands after a note, a new value takes from it and nothing after it moves.
    longer = correct(rested, "bar 1 note 1 is a crotchet").notation
    assert sum(line(longer)[0][1:]) == sum(line(rested)[0][1:])


def test_notes_taken_out_joined_and_split(take: Notation) -> None:
    whole = sum(x[1] + x[2] for x in line(take))
    out = correct(take, "take out bar 1 note 2").notation
    assert len(out.events) == len(take.events) - 1
    assert sum(x[1] + x[2] for x in line(out)) == whole
    joined = correct(take, "join bar 1 note 1 to the next").notation
    assert line(joined)[0][1] == line(take)[0][1] + line(take)[1][1]
    parted_ = correct(take, "split bar 1 note 1").notation
    assert [x[0] for x in line(parted_)[:2]] == ["D4", "D4"]
    assert sum(x[1] + x[2] for x in line(parted_)) == whole
    assert len(parted_.sung) == len(parted_.events) == len(parted_.sure_value)


def test_the_whole_score(take: Notation) -> None:
    lower = correct(take, "a tone lower").notation
    assert lower.key == Key(0)
    assert line(lower)[0][0] == "C4"
    assert correct(take, "in three").notation.metre == "3/4"
    assert correct(take, "in B minor").notation.key == Key(2, "minor")
    twice = correct(take, "values twice as long").notation
    assert [x[1] for x in line(twice)] == [2 * x[1] for x in line(take)]
    assert twice.quarter_bpm == pytest.approx(2 * take.quarter_bpm, rel=0.01)
    pickup = correct(take, "a pickup of a crotchet").notation
    assert pickup.tune.pickup == 1
    assert correct(take, "title: Long road").notation.tune.title == "Long road"
    # What a person has said is not doubted any more.
    assert correct(take, "bar 1 note 1 is a crotchet").notation.sure_value[0] == 1.0


@pytest.mark.parametrize(("command", "part"), [
    ("bar 99 note 1 is a crotchet", "There is no bar 99"), ("bar 1 note 9 is a crotchet", "there is no note 9"),
    ("make it nicer", "I do not understand"), ("bar 1 note 1 is a banana", "I do not understand"),
    ("in seven", "I do not understand"), ("a pickup of a breve", "does not go into")])
def test_what_cannot_be_done_is_said_in_one_sentence(take: Notation, command: str, part: str) -> None:
    with pytest.raises(Trouble, match=part) as error:
        correct(take, command)
    assert "\n" not in str(error.value)


def test_every_example_that_help_gives_is_understood(take: Notation) -> None:
    for example in HELP:
        for one in (example.split(" (or")[0], *([example.split("(or ")[1].rstrip(")")] if "(or" in example else [])):
            correct(take, one.replace("bar 3", "bar 1"))


def test_names_in_words() -> None:
    assert [value_of(x) for x in ("a crotchet", "dotted minim", "quarter note", "double dotted crotchet", "cat")] == \
        [4, 12, 4, 7, None]
    assert pitch_of("B flat 3") == ("B", -1, 3)
    assert pitch_of("h") is None
    assert [key_said(x) for x in ("G major", "b flat minor", "f# minor", "x major")] == \
        [Key(1), Key(-5, "minor"), Key(3, "minor"), None]


def test_words_are_laid_syllable_by_syllable(take: Notation) -> None:
    n = len(take.events)
    assert [s.text if s else None for s in syllables_of("Lan-tern glow _ now__")] == \
        ["Lan", "tern", "glow", None, "now", None, None]
    assert [s.place for s in syllables_of("Lan-tern glow") if s] == ["begin", "end", "single"]
    assert [parted(w) for w in ("lantern", "snail", "little", "stone", "away", "sleeping")] == \
        [["lan", "tern"], ["snail"], ["lit", "tle"], ["stone"], ["a", "way"], ["slee", "ping"]]
    laid = lay(take.events, "la " * n)
    assert laid.say == ""
    assert all(e.syllable and e.syllable.text == "la" for e in laid.events)
    few = lay(take.events, "la la")
    assert f"Two syllables for {'twelve' if n == 12 else n} notes" in few.say
    many = lay(take.events, "la " * n + "left over")
    assert "no note for left over" in many.say
    held = lay(take.events, "moon _ " + "la " * (n - 2))
    assert held.events[0].syllable is not None
    assert held.events[0].syllable.extends
    assert held.events[1].syllable is None


def test_the_talk_takes_back_and_goes_on_after_a_mistake(take: Notation) -> None:
    said: list[str] = []
    out = talk(Written(take, 1, ()), ["bar 1 note 1 is a crotchet", "nonsense", "undo", "undo", "help", "bars",
                                      "a tone lower", "", "never read"], said.append)
    assert out.notation.key == Key(0)
    assert line(out.notation)[0][1] == line(take)[0][1]
    assert "The last correction is taken back." in said
    assert "There is nothing to take back." in said
    assert any(s.startswith("I do not understand") for s in said)
    assert any(s.startswith("Bar 1: ") for s in said)


def test_one_door_for_takes_words_and_fixes(tmp_path) -> None:
    import numpy as np

    track = as_track(performance(load("rain-down")))
    path = tmp_path / "take.csv"
    path.write_text("time_s,f0_hz\n" + "\n".join(f"{t:.3f},{f:.3f}" for t, f in
                                                 zip(track.time_s, track.f0_hz, strict=True)), encoding="utf-8")
    done = write_takes([path], Given(), words="Rain comes down, soft and brown, drip drop drip drop",
                       fixes=["bar 1 note 1 is a minim", "in three"])
    assert done.said[0] == "Read again in 3/4."  # what reads the take anew comes first
    assert done.notation.events[0].ticks == 8
    lines = done.lines()
    assert lines[0].startswith("Take: ")
    assert "C major, three beats to the bar" in lines[0]
    assert np.isclose(done.notation.quarter_bpm, 120, rtol=0.1)


def test_a_live_take_ends_after_three_seconds_of_silence() -> None:
    import numpy as np
    from notate_takes import as_sound

    from companion.transcribe.door import END_SILENCE_S, live_take

    sound = as_sound(performance(load("rain-down"), shift=5.0))
    rest = np.zeros(22050 * 30, dtype=np.float32)
    whole = np.concatenate([np.zeros(22050, dtype=np.float32), sound, rest])
    blocks = iter(np.array_split(whole, len(whole) // 1024))
    given = 0

    def read() -> np.ndarray:
        nonlocal given
        block = next(blocks)
        given += len(block)
        return block

    track = live_take(read).track
    assert given / 22050 == pytest.approx(1 + len(sound) / 22050 - 0.45 + END_SILENCE_S, abs=0.6)
    assert [e.midi for e in notate(track).events] == [n.midi + 5 for n in load("rain-down").line()]
