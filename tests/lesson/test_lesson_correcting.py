"""Corrections typed line by line: answered, taken back, gone on with after a mistake."""

from __future__ import annotations

from dataclasses import replace

from notate_takes import as_track, performance

from companion.language import English, Variety
from companion.lesson import asked, corrected
from companion.transcribe import TIMES, Given, Transcription, notate
from companion.transcribe.metre import Weighed
from companion.tune import Key, load


def test_it_takes_back_and_goes_on_after_a_mistake() -> None:
    take = Transcription(notate(as_track(performance(load("long-road"))), "x", Given(time=TIMES["4/4"])))
    said: list[str] = []
    out = corrected(English(), take, ["bar 1 note 1 is a minim", "nonsense", "undo", "undo", "help", "bars",
                                      "a tone lower", "", "never read"], said.append)
    assert out.notation.key == Key(0)
    assert [n.ticks for n in out.notation.notes] == [n.ticks for n in take.notation.notes]
    assert said[0] == "Say a correction, help, play, bars, undo, redo, or nothing to end."
    assert any(s.startswith("Bar 1, note 1 is a minim now.") for s in said)
    assert "The last correction is taken back." in said
    assert "There is nothing to take back." in said
    assert any(s.startswith("I do not understand") for s in said)
    assert any(s.startswith("Bar 1: ") for s in said)
    assert said[-1] == "All of it is a tone lower, now in C major."


def test_in_american_names() -> None:
    take = Transcription(notate(as_track(performance(load("long-road"))), "x", Given(time=TIMES["4/4"])))
    said: list[str] = []
    corrected(English(Variety.AMERICAN), take, ["measure 1 note 1 is a half note", "help", "measures", "done"], said.append)
    assert said[0].startswith("Say a correction, help, play, measures, undo")
    assert said[1].startswith("Measure 1, note 1 is a half note now.")
    assert any(s.startswith("Measure 1: ") for s in said)
    assert not any(word in s for s in said for word in ("crotchet", "quaver", "minim", "semitone"))


def test_what_was_taken_back_is_made_again_and_a_line_is_done_whole_or_not_at_all() -> None:
    take = Transcription(notate(as_track(performance(load("long-road"))), "x", Given(time=TIMES["4/4"])))
    said: list[str] = []
    out = corrected(English(), take, ["bar 1 note 1 is F sharp", "undo that", "redo", "redo",
                                      "bar 1 note 2 is G and take out bar 99 note 1", ""], said.append)
    assert out.notation.tune.line()[0].pitch.name == "F#4"
    assert out.notation.notes[1].midi == take.notation.notes[1].midi
    assert said.index("The last correction is taken back.") < said.index("The correction is made again.")
    assert said.count("The correction is made again.") == said.count("There is nothing to make again.") == 1
    assert said[-1].startswith("There is no bar 99")


def test_questions_are_asked_answered_and_kept() -> None:
    n = notate(as_track(performance(load("moon-sea"))), "x")
    unsure = replace(n, readings=(Weighed(TIMES["3/4"], 0, 0.5), Weighed(TIMES["6/8"], 0, 0.5)))
    said: list[str] = []
    out = asked(English(), Transcription(unsure), iter(["banana", "it rocks", "yes", "two", "no"]), said.append)
    assert said[:2] == ["Does it march, waltz or rock?"] * 2
    assert 2 <= len(said) <= 5
    assert out.notation.time.name == "6/8"
    assert asked(English(), Transcription(unsure), iter([]), said.append).notation is unsure
