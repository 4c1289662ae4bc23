"""Corrections typed line by line: answered, taken back, gone on with after a mistake."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from notate_takes import as_track, performance
from singers import LineItem, Style, perform

from companion.ear import Sound, SungNote
from companion.errors import Trouble
from companion.language import HEAR_AGAIN, English, Variety, bar_question_line, read_version
from companion.lesson import asked, compared_sound, corrected
from companion.lesson.comparing import AFTER_S, BETWEEN_S
from companion.transcribe import TIMES, Given, Take, Transcription, notate
from companion.transcribe.metre import Weighed
from companion.transcribe.score import write
from companion.tune import Key, load


def test_it_takes_back_and_goes_on_after_a_mistake() -> None:
    take = Transcription(notate(as_track(performance(load("long-road"))), "x", Given(time=TIMES["4/4"])))
    said: list[str] = []
    out = corrected(English(), take, iter(["bar 1 note 1 is a minim", "nonsense", "undo", "undo", "help", "bars",
                                           "a tone lower", "", "never read"]), said.append)
    assert out.notation.key == Key(0)
    assert [n.ticks for n in out.notation.notes] == [n.ticks for n in take.notation.notes]
    assert said[0] == "Say a correction, help, play, compare, bars, ask, undo, redo, or nothing to end."
    assert any(s.startswith("Bar 1, note 1 is a minim now.") for s in said)
    assert "The last correction is taken back." in said
    assert "There is nothing to take back." in said
    assert any(s.startswith("I do not understand") for s in said)
    assert any(s.startswith("Bar 1: ") for s in said)
    assert said[-1] == "All of it is a tone lower, now in C major."


def test_in_american_names() -> None:
    take = Transcription(notate(as_track(performance(load("long-road"))), "x", Given(time=TIMES["4/4"])))
    said: list[str] = []
    corrected(English(Variety.AMERICAN), take, iter(["measure 1 note 1 is a half note", "help", "measures", "done"]),
              said.append)
    assert said[0].startswith("Say a correction, help, play, compare, measures, ask, undo")
    assert said[1].startswith("Measure 1, note 1 is a half note now.")
    assert any(s.startswith("Measure 1: ") for s in said)
    assert not any(word in s for s in said for word in ("crotchet", "quaver", "minim", "semitone"))


def test_what_was_taken_back_is_made_again_and_a_line_is_done_whole_or_not_at_all() -> None:
    take = Transcription(notate(as_track(performance(load("long-road"))), "x", Given(time=TIMES["4/4"])))
    said: list[str] = []
    out = corrected(English(), take, iter(["bar 1 note 1 is F sharp", "undo that", "redo", "redo",
                                           "bar 1 note 2 is G and take out bar 99 note 1", ""]), said.append)
    assert out.notation.tune.line()[0].pitch.name == "F#4"
    assert out.notation.notes[1].midi == take.notation.notes[1].midi
    assert said.index("The last correction is taken back.") < said.index("The correction is made again.")
    assert said.count("The correction is made again.") == said.count("There is nothing to make again.") == 1
    assert said[-1].startswith("There is no bar 99")


def test_questions_are_asked_answered_and_kept() -> None:
    n = notate(as_track(performance(load("moon-sea"))), "x")
    unsure = replace(n, readings=(Weighed(TIMES["3/4"], 0, 0.5), Weighed(TIMES["6/8"], 0, 0.5)))
    said: list[str] = []
    heard: list[Sound] = []
    out = asked(English(), Transcription(unsure), iter(["banana", "it rocks", "yes", "two", "no"]), said.append, heard.append)
    assert said[:2] == ["Does it march, waltz or rock?"] * 2
    assert 2 <= len(said) <= 12
    assert out.notation.time.name == "6/8"
    assert asked(English(), Transcription(unsure), iter([]), said.append).notation is unsure


def test_questions_can_be_asked_while_correcting_and_taken_back() -> None:
    n = notate(as_track(performance(load("moon-sea"))), "x")
    unsure = replace(n, readings=(Weighed(TIMES["3/4"], 0, 0.5), Weighed(TIMES["6/8"], 0, 0.5)))
    said: list[str] = []
    heard: list[Sound] = []
    lines = ["ask me", "it rocks", "skip", "skip", "skip", "undo", "undo", "undo", ""]
    out = corrected(English(), Transcription(unsure), iter(lines), said.append, sounded=heard.append)
    assert "Does it march, waltz or rock?" in said
    assert out.notation == unsure
    settled = replace(n, readings=(Weighed(n.time, n.place, 1.0),),
                      notes=tuple(replace(x, value_given=True, pitch_given=True) for x in n.notes))
    corrected(English(), Transcription(settled), iter(["ask"]), said.append)
    assert said[-1] == "There is nothing left that a question would settle."


def test_two_versions_of_a_bar_are_sounded_and_one_is_chosen() -> None:
    n = notate(as_track(performance(load("kite"))), "x", Given(time=TIMES["4/4"], on_strong_beat=True))
    k = 9
    sure = replace(n, doubtful=(), readings=(Weighed(n.time, n.place, 1.0),), notes=tuple(
        replace(x, value_confidence=0.9999, pitch_confidence=0.9999, agreement=1.0) for x in n.notes))
    wrong = replace(sure, notes=tuple(replace(x, midi=x.midi + 1, other_midi=x.midi, pitch_confidence=0.3) if i == k else x
                                      for i, x in enumerate(sure.notes)))
    said: list[str] = []
    heard: list[Sound] = []
    out = asked(English(), Transcription(wrong), iter(["third", "The second.", "first", "first"]), said.append, heard.append)
    assert said[:2] == [f"Two versions of bar {n.bars[k]} follow. Which is as it was sung, the first or the second?"] * 2
    assert said[2].startswith(f"Bar {n.bars[k]}: ")
    assert [x.midi for x in out.notation.notes] == [x.midi for x in n.notes]
    # The bar as it is, a silence, the other version: the same but for one note.
    first, second = np.array_split(heard[0].samples, 2)
    assert len(heard[0].samples) > 2 * heard[0].rate
    assert not np.allclose(first[:len(second)], second, atol=0.01)
    assert [read_version(English(), text, 3) for text in ("third", "again", "skip", "banana")] == [3, HEAR_AGAIN, 0, None]
    assert bar_question_line(English(), 4, 3) == ("Three versions of bar 4 follow. Which is as it was sung, the first, the "
                                                  "second or the third?")
    left = asked(English(), Transcription(wrong), iter(["not sure", "not sure", "skip"]), said.append, heard.append)
    assert left.notation == wrong


def test_a_bar_is_sung_again_and_the_rest_stays() -> None:
    """Sung a fifth higher and slower: the key, the place and the bars are those of the score."""
    n = notate(as_track(performance(load("long-road"))), "x", Given(time=TIMES["4/4"]))
    bar = n.bars[6]
    here = [i for i, b in enumerate(n.bars) if b == bar]
    wanted = [(n.notes[i].midi, n.notes[i].length) for i in here]
    spoiled = replace(n, notes=tuple(replace(x, midi=x.midi + 1) if i == here[0] else x for i, x in enumerate(n.notes)))
    sung = perform([LineItem(midi + 7, length / 4, "la", 0.0) for midi, length in wanted],
                   Style(miss=0.06, waver=0.03, slide_s=0.04, quarter_s=0.6), np.random.default_rng(2))
    said: list[str] = []
    out = corrected(English(), Transcription(spoiled), iter([f"bar {bar} again", ""]), said.append,
                    lambda: Take(as_track(sung), False))
    assert said[1] == f"Sing bar {bar} now. Three seconds of silence end it."
    assert said[2] == f"Bar {bar} is written as you sang it now."
    assert said[3].startswith(f"Bar {bar}: ")
    assert [(x.midi, x.length) for x in out.notation.notes] == [(x.midi, x.length) for x in n.notes]
    assert out.taken_back().notation == spoiled
    # Without a microphone it is said how; nothing sung changes nothing.
    again = corrected(English(), Transcription(spoiled), iter([f"sing bar {bar} again", ""]), said.append)
    assert again.notation == spoiled
    assert said[-1].startswith(f"Bar {bar} is sung again while corrections are typed")


def test_a_take_and_its_score_are_heard_bar_by_bar() -> None:
    notes = [SungNote(0.5 + 0.5 * k, 0.45, m, 0.05, 0.9) for k, m in enumerate([60, 62, 64, 65, 67, 65, 64, 62, 60, 64, 67, 72])]
    n = write(notes, "x", Given(time=TIMES["4/4"], bpm=120, on_strong_beat=True))
    silent = Sound(np.zeros(22050 * 8, dtype=np.float32), 22050)
    sound = compared_sound(Transcription(n, sounds=(silent,)))
    # Three bars of 2 s, each twice, with silence between: the voice alone (here nothing), then the notes.
    bars = [1.0 * sound.rate * x for x in (2.0, 2.0, 1.95)]
    assert len(sound.samples) == pytest.approx(2 * sum(bars) + 3 * (BETWEEN_S + AFTER_S) * sound.rate, rel=0.03)
    first = sound.samples[:int(2.0 * sound.rate)]
    assert not first.any()
    second = sound.samples[int((2.0 + BETWEEN_S) * sound.rate):int((4.0 + BETWEEN_S) * sound.rate)]
    heard = pitches_of(second, sound.rate)
    assert heard == [60, 62, 64, 65]
    with pytest.raises(Trouble, match="beside one take only"):
        compared_sound(Transcription(n))


def pitches_of(samples: np.ndarray, rate: int) -> list[int]:
    """The pitch in the middle of each quarter of a sound, by the strongest partial of its spectrum."""
    out = []
    for part in np.array_split(samples, 4):
        middle = part[len(part) // 4:3 * len(part) // 4] * np.hanning(len(part[len(part) // 4:3 * len(part) // 4]))
        spectrum = np.abs(np.fft.rfft(middle, 1 << 17))
        out.append(round(69 + 12 * float(np.log2(spectrum.argmax() * rate / (1 << 17) / 440))))
    return out
