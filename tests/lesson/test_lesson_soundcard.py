"""Whole sessions in real time on a sound card of software: the commands as they are, synthesised pupils, no key.

The loudspeaker is recorded; what came out of it is measured by our own tracker and by Praat (parselmouth).
"""

from __future__ import annotations

import time
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from live_pupil import Program, sing_along
from live_room import PLAIN, sung
from singers import VOICES, LineItem, perform, render
from soundcard import RATE, SoundCard, software_card
from tracked import track

from companion.diary import Diary
from companion.ear.notes import find_notes
from companion.lesson.singing import OTHER_BELOW, singing_odds
from companion.tune import Bar, Barline, Key, Note, Pitch, Time, Tune, load, save

TURNED = replace(PLAIN, turned=3, turned_stays=True)


def small_tune(path: Path) -> Tune:
    """Four quick notes: C D E C."""
    notes = tuple(Note(pitch=Pitch(s, 4), base=Fraction(1)) for s in "CDEC")
    tune = Tune(title="Small one", bars=(Bar(number=1, notes=notes, key=Key(), time=Time(), barline=Barline.FINAL),),
                quarter_bpm=120.0)
    save(tune, path)
    return load(path)


def played_notes(samples: np.ndarray) -> list[float]:
    """Pitches of what was played, note by note (MIDI), by our own ear."""
    return [n.midi for n in find_notes(track(samples, RATE))]


def holds(found: list[float], wanted: list[float], within: float = 0.3) -> bool:
    """Whether the wanted pitches stand in a row somewhere."""
    n = len(wanted)
    return any(all(abs(a - b) < within for a, b in zip(found[i:i + n], wanted, strict=True))
               for i in range(len(found) - n + 1))


@pytest.mark.slow
def test_a_lesson_with_a_tune_from_its_first_word_to_its_last(soundcard_apart: SoundCard, tmp_path: Path) -> None:
    card = soundcard_apart
    tune = small_tune(tmp_path / "small.musicxml")
    with card.recording() as record:
        program = Program(card, "lesson", str(tmp_path / "small.musicxml"), "--speech", "off")
        asked = sing_along(card, record, program, lambda k: sung(tune.line(), 0, 0.5, seed=k), 40)
        assert program.end() == 0, program.errors
    assert program.lines == ["Small one. One phrase.", "All three right.", "That was the last phrase."]
    assert asked == 1
    # The starting note, then the line, and nothing else came out.
    assert holds(played_notes(record.samples), [60, 60, 62, 64, 60])


@pytest.mark.slow
def test_the_first_word_is_heard_within_half_a_second(soundcard: SoundCard, tmp_path: Path) -> None:
    """From the start of the process to the first sound in the sink; one of six must do, since others share
    the machine."""
    waits = []
    for _ in range(6):
        with soundcard.recording() as record:
            before = len(record.samples)
            program = Program(soundcard, "practise", "Pip", "--diary", str(tmp_path / "d.sqlite"))
            while not len(loud := np.flatnonzero(np.abs(record.samples[before:]) > 0.003)):
                assert program.running, program.errors
                assert time.monotonic() - program.started < 10
                time.sleep(0.01)
            waits.append(loud[0] / RATE)
            program.process.terminate()
            program.end()
        if waits[-1] <= 0.5:
            break
    print("first sound after", [round(w, 3) for w in waits], "s")
    assert min(waits) <= 0.5


@pytest.mark.overnight
@pytest.mark.parametrize("apart", [True, False], ids=["two sinks", "one sink"])
def test_a_session_at_home_shrinks_and_grows_a_phrase(apart: bool, tmp_path: Path) -> None:
    """With one sink the companion's own voice is in its ear all the time, which is the harder test."""
    tune = load("snail-wall")
    first, second = tune.phrase(1), tune.phrase(2)
    quarter_s = 60 / (tune.quarter_bpm or 84)
    pieces = [(first, TURNED), (first, TURNED), (first[:5], TURNED), (first[3:5], PLAIN), (first[:5], PLAIN),
              (first, PLAIN), (second, PLAIN), (tune.line(), PLAIN)]

    diary = tmp_path / "d.sqlite"
    with software_card(apart) as card, card.recording() as record:
        program = Program(card, "practise", "Pip", "--new", "--tune", "snail-wall", "--minutes", "6",
                          "--no-warm-up", "--helper", "--diary", str(diary))

        def pupil(k: int) -> np.ndarray | None:
            # By the answers so far, not by the turns: what is sung while nobody listens is sung again.
            answered = sum(line.startswith(ANSWERS) for line in program.lines)
            if answered >= len(pieces):
                return None
            line, style = pieces[answered]
            turned = style.turned if style.turned is None else min(style.turned, len(line) - 2)
            return sung(line, 0, quarter_s, replace(style, turned=turned), seed=answered)

        sing_along(card, record, program, pupil, 400)
        assert program.end() == 0, program.errors
    said = program.lines
    assert said[0] == "Hello Pip. Let us sing."
    assert said.count("Five of six right. From 'wall' to 'creep' the tune stays on one note. Listen.") == 1
    assert "Again 'wall', 'creep': the same note. Listen." in said
    assert "Just five notes, twice with me. Snail, on, the, wall, creep." in said
    assert "Just two notes now. Wall, creep." in said
    assert "Now the whole phrase, twice with me." in said
    assert "You sang the whole song, and all of it right." in said
    assert said.count("All six right.") == 2
    with Diary(diary) as kept:
        takes = kept.takes(kept.pupil("Pip"))
    # Every take was answered once, and in order.
    assert [t.last - t.first + 1 for t in takes] == [7, 7, 5, 2, 5, 7, 7, 14]
    if apart:
        # The loudspeaker alone: both phrases as they were given, and the glide of the missed move, which stays.
        found = played_notes(record.samples)
        # The misses went up where the tune stays: F sharp comes from the voice's glide alone.
        assert any(abs(midi - 66) < 0.4 for midi in found)
        assert spoken(record.samples) >= 5
        for line in (first, second):
            assert holds(_unrepeated(found), _unrepeated([float(n.midi) for n in line]))


#: How the answers to takes begin, in a session at home.
ANSWERS = ("Five of six", "Again ", "Stay from", "Right. You", "All ", "You sang the whole song")


def spoken(samples: np.ndarray) -> int:
    """How many stretches between silences are speech, as our own ear tells it from tones."""
    loud = np.flatnonzero(np.abs(samples) > 0.003)
    edges = np.flatnonzero(np.diff(loud) > 0.2 * RATE)
    starts, ends = [loud[0], *loud[edges + 1]], [*loud[edges], loud[-1]]
    return sum(singing_odds(track(samples[a:b], RATE)) < OTHER_BELOW
               for a, b in zip(starts, ends, strict=True) if b - a > 0.3 * RATE)


def _unrepeated(midi: list[float]) -> list[float]:
    """Repeated notes as one: played without a gap they may be heard as one."""
    return midi[:1] + [b for a, b in pairwise(midi) if abs(a - b) > 0.5]


@pytest.mark.overnight
def test_a_pupil_who_listens_is_led_through_a_session(soundcard: SoundCard, tmp_path: Path) -> None:
    """No script: the pupil sings whatever it has heard last, one sink, warm-up and all, nothing set, no key."""
    at, song = 0, []
    with soundcard.recording() as record:
        program = Program(soundcard, "practise", "Pip", "--helper", "--minutes", "2", "--diary",
                          str(tmp_path / "d.sqlite"))

        def echo(k: int) -> np.ndarray | None:
            nonlocal at, song
            new = record.samples[at:]
            at += len(new)
            loud = np.flatnonzero(np.abs(new) > 0.003)
            gaps = np.flatnonzero(np.diff(loud) > 0.3 * RATE)
            last = new[loud[gaps[-1] + 1 if len(gaps) else 0]:loud[-1]]
            notes = find_notes(track(last, RATE))
            if not notes:
                return None
            if len(notes) < 3 and song:  # the first note of what was just sung together
                notes = song
            song = notes
            long = [b.onset_s - a.onset_s for a, b in pairwise(notes)] + [notes[-1].duration_s]
            items = [LineItem(round(n.midi), s / 0.5, "la") for n, s in zip(notes, long, strict=True)]
            rng = np.random.default_rng(k)
            return render(perform(items, replace(PLAIN, quarter_s=0.5), rng), VOICES[1], "formants", rng)

        sing_along(soundcard, record, program, echo, 300)
        assert program.end() == 0, program.errors
    assert time.monotonic() - program.started >= 60  # no other song is begun with less than a minute left
    assert "Five notes up and down. Listen, then sing." in program.lines
    with Diary(tmp_path / "d.sqlite") as diary:
        takes = diary.takes(diary.pupil("Pip"))
    assert "tick-tock" in {t.tune for t in takes}
    assert "warm-up" not in {t.tune for t in takes}  # it does not count
    # But for the whole song: this pupil repeats what it heard after the last silence, which is the song's last phrase.
    whole = len(load("tick-tock").line())
    assert [t.tune for t in takes if t.closeness < 0.8 and t.last - t.first + 1 < whole] == []


@pytest.mark.overnight
def test_a_lesson_without_a_tune(soundcard_apart: SoundCard, tmp_path: Path) -> None:
    """The teacher sings a line, the pupil answers it, wrong and then right; then a second line."""
    import subprocess

    card = soundcard_apart
    adult = VOICES[2]
    lines = [(0, 2, 4, 5, 7), (7, 5, 4, 2, 0)]

    def voice(steps: tuple[int, ...], low: int, of_adult: bool, turned: int | None, seed: int) -> np.ndarray:
        items = [LineItem(low + s, 2 if i == len(steps) - 1 else 1, "la") for i, s in enumerate(steps)]
        rng = np.random.default_rng(seed)
        style = replace(PLAIN, quarter_s=0.5, turned=turned, turned_stays=True)
        kind = adult if of_adult else VOICES[1]
        return render(perform(items, style, rng), kind, "formants", rng)

    script = [voice(lines[0], 52, True, None, 1), voice(lines[0], 64, False, 2, 2), voice(lines[0], 64, False, None, 3),
              voice(lines[1], 52, True, None, 4), voice(lines[1], 64, False, None, 5)]
    with card.recording() as record:
        program = Program(card, "lesson", "--helper", "--keep-in", str(tmp_path / "lines"), stdin=subprocess.PIPE)

        def turn(k: int) -> np.ndarray | None:
            if k < len(script):
                return script[k]
            assert program.process.stdin is not None
            program.process.stdin.write("kqq")
            program.process.stdin.flush()
            return None

        sing_along(card, record, program, turn, 120)
        assert program.end() == 0, program.errors
    assert program.lines == [
        "Sing or play a line.", "Five notes.", "Now the pupil.",
        "From the third note to the fourth the tune goes up. Listen.",
        "The tune climbs here. Lift the hand by half a palm's width, 3.5 centimetres.",  # in print, for the helper
        "All four right.", "Five notes.", "Now the pupil.", "All four right.", "Kept as line 1.",
        "End here? The same key once more ends it."]
    written = [n.midi for n in load(tmp_path / "lines" / "line-1.musicxml").line()]
    assert [b - a for a, b in pairwise(written)] == [-2, -1, -2, -2]


@pytest.mark.overnight
def test_a_microphone_that_goes_and_comes_back(tmp_path: Path) -> None:
    """The sound server is taken away while the ear is open, and brought back: it is said, and the lesson goes on."""
    tune = small_tune(tmp_path / "small.musicxml")
    with software_card(True) as card:
        program = Program(card, "lesson", str(tmp_path / "small.musicxml"), "--speech", "off")
        until(lambda: bool(program.lines), 10)
        time.sleep(6.0)
        for process in list(card.processes):
            process.terminate()
            process.wait()
        until(lambda: any("microphone has gone" in line for line in program.lines), 15)
        card.processes.clear()
        for leftover in ("config", "pulse.sock", "asound.conf"):
            path = card.folder / leftover
            if path.is_dir():
                import shutil

                shutil.rmtree(path)
            elif path.exists():
                path.unlink()
        card._open()
        until(lambda: any("microphone is back" in line for line in program.lines), 30)
        time.sleep(1.0)
        card.voice(sung(tune.line(), 0, 0.5), 22050).wait()
        assert program.end(20) == 0, program.errors
    assert "All three right." in program.lines
    assert program.lines[-1] == "That was the last phrase."


def until(ready: object, seconds: float) -> None:
    end = time.monotonic() + seconds
    while not ready():  # type: ignore[operator]
        assert time.monotonic() < end, "it did not come about in time"
        time.sleep(0.05)
