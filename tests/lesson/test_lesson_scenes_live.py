"""Scenes of lessons and of practising alone, in real time on a sound card of software, each with its truth: the commands as they
are, with speech; synthesised voices sing when the loudspeaker has been silent for a moment. About six minutes in all."""

from __future__ import annotations

import subprocess
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from live_pupil import LOUD, Program, sing_along
from live_room import PLAIN, sung
from other_sounds import other_sounds
from singers import VOICES, LineItem, perform, render
from soundcard import RATE, Recording, SoundCard
from tracked import track

from companion.diary import Diary
from companion.ear.notes import find_notes
from companion.tune import load

pytestmark = pytest.mark.overnight

CHILD, ADULT, OTHER = VOICES[1], VOICES[2], VOICES[3]
TURNED = replace(PLAIN, turned=3, turned_stays=True)
LOW, HIGH = 60.0, 74.0
SILENCE = np.zeros(100, dtype=np.float32)


@dataclass
class Scene:
    """Who does what. steps: what has to be heard (the beginning of a line, "" for anything) and what then happens: sound that is
    sung, keys that are pressed, or None for silence. quarter_s: seconds a crotchet."""

    card: SoundCard
    folder: Path
    steps: list[tuple[str, np.ndarray | str | None]]
    arguments: Sequence[str]
    low: float = LOW
    high: float = HIGH
    limit_s: float = 120.0
    said: list[str] = field(default_factory=list)
    heard: np.ndarray = field(default_factory=lambda: SILENCE)

    def run(self, meanwhile: Callable[[Program, Recording], None] | None = None) -> Scene:
        """The scene to its end; `said` is then all that was said, `heard` what the loudspeaker gave."""
        path = self.folder / "d.sqlite"
        with Diary(path) as diary:
            diary.set_range(diary.pupil("Robin", new=True), self.low, self.high)
        with self.card.recording() as record:
            program = Program(self.card, *self.arguments, "--diary", str(path), stdin=subprocess.PIPE)
            seen = 0

            def turn(_k: int) -> np.ndarray | None:
                nonlocal seen
                if not self.steps:
                    self.press(program, "qq")
                    return None
                wanted, what = self.steps[0]
                found = [i for i in range(seen, len(program.lines)) if wanted in program.lines[i]]
                if not found:
                    return None
                seen = found[0] + 1
                del self.steps[0]
                if isinstance(what, str):
                    self.press(program, what)
                    return None
                return what

            if meanwhile is not None:
                threading.Thread(target=meanwhile, args=(program, record), daemon=True).start()
            sing_along(self.card, record, program, turn, self.limit_s)
            assert program.end() == 0, program.errors
            self.heard = record.samples
        self.said = program.lines
        assert not self.steps, f"it did not come to {self.steps[0][0]!r}: {self.said}"
        return self

    @staticmethod
    def press(program: Program, keys: str) -> None:
        if program.process.stdin is not None and program.running:
            program.process.stdin.write(keys)
            program.process.stdin.flush()

    def kept(self) -> list[tuple[int, int, str]]:
        """(first note, last note, cue) of every take in Robin's diary."""
        with Diary(self.folder / "d.sqlite") as diary:
            return [(t.first, t.last, t.cue) for t in diary.takes(diary.pupil("Robin"))]


TUNE = load("snail-wall")
QUARTER_S = 60 / (TUNE.quarter_bpm or 84)


def phrase(number: int, style: Any = PLAIN, voice: Any = CHILD, octave: float = 0.0, notes: int | None = None,
           seed: int = 1) -> np.ndarray:
    """A phrase of the tune, or its first notes, as somebody sings it."""
    return sung(TUNE.phrase(number)[:notes], octave, QUARTER_S, style, seed, voice)


def lesson(card: SoundCard, folder: Path, *steps: tuple[str, np.ndarray | str | None], more: Sequence[str] = ()) -> Scene:
    return Scene(card, folder, list(steps), ("lesson", "snail-wall", "--pupil", "Robin", "--helper", *more))


def test_the_teacher_models_after_a_miss(soundcard_apart: SoundCard, tmp_path: Path) -> None:
    scene = lesson(soundcard_apart, tmp_path, ("2 phrases", phrase(1, TURNED)), ("Listen.", phrase(1, voice=ADULT, octave=-12.0)),
                   ("Now you.", phrase(1)), ("All six", phrase(2))).run()
    assert [text for text in scene.said if text.startswith(("From", "Now you", "All six", "Was that"))] == [
        "From 'wall' to 'creep' the tune stays on one note. Listen.", "Now you.", "All six right.", "All six right."]
    assert len(scene.kept()) == 3  # the model is not kept under the pupil


def test_the_teacher_sings_first_and_models_after_a_miss(soundcard_apart: SoundCard, tmp_path: Path) -> None:
    scene = lesson(soundcard_apart, tmp_path, ("2 phrases", phrase(1, voice=ADULT, octave=-12.0)), more=["--wait"])
    # After the teacher's own singing nothing is said: the child follows her after two seconds.
    model, child = phrase(1, voice=ADULT, octave=-12.0, seed=2), phrase(1, TURNED)
    scene.steps[0] = ("2 phrases", np.concatenate([model, np.zeros(2 * 22050, dtype=np.float32), child]))
    scene.steps += [("Listen.", phrase(1, voice=ADULT, octave=-12.0)), ("Now you.", phrase(1)), ("All six", "qq")]
    scene.run()
    assert scene.said.count("Now you.") == 1
    assert [cue[:8] for _, _, cue in scene.kept()] == ["From 'wa", "All six "]


def line_of(steps: Sequence[int], low: int, voice: Any, turned: int | None = None) -> np.ndarray:
    items = [LineItem(low + s, 2 if i == len(steps) - 1 else 1, "la") for i, s in enumerate(steps)]
    rng = np.random.default_rng(3)
    return render(perform(items, replace(PLAIN, quarter_s=0.5, turned=turned, turned_stays=True), rng), voice, "formants", rng)


def test_the_teacher_models_her_own_line_after_a_miss(soundcard_apart: SoundCard, tmp_path: Path) -> None:
    rise = (0, 2, 4, 5, 7)
    teacher, child = line_of(rise, 50, ADULT), line_of(rise, 64, CHILD)
    scene = Scene(soundcard_apart, tmp_path, [
        ("Sing or play", teacher), ("Now the pupil.", line_of(rise, 64, CHILD, 2)), ("Listen.", teacher), ("Now you.", child),
        ("All four", line_of(rise[::-1], 50, ADULT)), ("Now the pupil.", line_of(rise[::-1], 64, CHILD)), ("All four", "qq")],
        ("lesson", "--pupil", "Robin", "--helper", "--keep-in", str(tmp_path / "lines"))).run()
    assert scene.said.count("Five notes.") == 2
    assert scene.said.count("Now you.") == 1
    assert len(scene.kept()) == 3


def test_three_voices_in_the_room(soundcard_apart: SoundCard, tmp_path: Path) -> None:
    """After the teacher's model another grown-up sings the line too, and then the child."""
    scene = lesson(soundcard_apart, tmp_path, ("2 phrases", phrase(1, TURNED)), ("Listen.", phrase(1, voice=ADULT, octave=-12.0)),
                   ("Now you.", phrase(1, voice=OTHER, octave=-12.0, seed=4)), ("", phrase(1)), ("All six", "qq")).run()
    assert [cue[:8] for _, _, cue in scene.kept()] == ["From 'wa", "All six "]
    assert sum(text.startswith(("Now you.", "Was that you, Robin?")) for text in scene.said) == 2


def test_a_child_who_stops_early_sings_another_song_and_sings_along(soundcard_apart: SoundCard, tmp_path: Path) -> None:
    other = sung(load("mole").phrase(1), 0.0, 0.6)

    def along(program: Program, record: Recording) -> None:
        """With the second phrase while it is given, as soon as it begins to sound."""
        while program.running and not any(text.startswith("All six") for text in program.lines):
            time.sleep(0.02)
        time.sleep(2.5)
        soundcard_apart.voice(phrase(2), 22050)

    scene = lesson(soundcard_apart, tmp_path, ("2 phrases", phrase(1, notes=4)), ("", other), ("", phrase(1)),
                   ("All six", phrase(2)), ("All six", "qq")).run(along)
    kept = scene.kept()
    assert all("goes" not in cue and "stays" not in cue for _, _, cue in kept), kept  # nothing was called wrong
    assert [cue for _, _, cue in kept if cue.startswith("All")] == ["All six right."] * 2
    assert not any("mole" in text.lower() for text in scene.said)


def test_a_child_at_home_who_chatters_leaves_and_comes_back(soundcard_apart: SoundCard, tmp_path: Path) -> None:
    talk = list(other_sounds("speech", 4, 3))
    note = sung(TUNE.phrase(1)[:1], 0.0, 2.0)
    scene = Scene(soundcard_apart, tmp_path, [
        ("The song is", talk[0]), ("I wait for singing.", talk[1]), ("", phrase(1)), ("All six", None),
        ("I wait. Sing a note", note), ("We go on", phrase(2)), ("All six", "qq")],
        ("practise", "Robin", "--tune", "snail-wall", "--no-warm-up", "--helper", "--minutes", "6"), limit_s=260.0).run()
    assert scene.said.count("I wait for singing. Talk as long as you like, then sing.") == 1
    assert scene.said.count("I wait. Sing a note when you want to go on.") == 1
    assert [cue[:8] for _, _, cue in scene.kept()] == ["All six "] * 2


def test_the_loudspeaker_stalls_for_five_seconds_in_the_middle_of_a_sentence(soundcard_apart: SoundCard, tmp_path: Path) -> None:
    """As a wireless one does: it takes nothing, and then goes on; the sentence is heard to its end, and the session goes on."""
    card = soundcard_apart

    def stall(program: Program, record: Recording) -> None:
        while program.running and not any(text.startswith("From 'wall'") for text in program.lines):
            time.sleep(0.02)
        time.sleep(1.0)
        card.pactl("suspend-sink", "loudspeaker", "1")
        time.sleep(5.0)
        card.pactl("suspend-sink", "loudspeaker", "0")

    scene = lesson(card, tmp_path, ("2 phrases", phrase(1, TURNED)), ("Listen.", phrase(1)), ("All six", phrase(2))).run(stall)
    assert not any("loudspeaker" in text for text in scene.said), scene.said
    assert [cue[:8] for _, _, cue in scene.kept()] == ["From 'wa", "All six ", "All six "]
    assert scene.said[-1] == "That was the last phrase."


@pytest.mark.parametrize(("low", "high", "voice", "octave"), [(43.0, 57.0, ADULT, -17.0), (62.0, 76.0, CHILD, 2.0)],
                         ids=["a low adult", "a child"])
def test_the_key_stays_in_range_through_a_session(soundcard_apart: SoundCard, tmp_path: Path, low: float, high: float, voice: Any,
                                                   octave: float) -> None:
    """Words are written, so that all that is heard is tones; the pupil's own key drifts by a third up and down."""
    at = 0
    card = soundcard_apart
    with Diary(tmp_path / "d.sqlite") as diary:
        diary.set_range(diary.pupil("Robin", new=True), low, high)
    with card.recording() as record:
        program = Program(card, "practise", "Robin", "--tune", "snail-wall", "--speech", "off", "--minutes", "2", "--diary",
                          str(tmp_path / "d.sqlite"))

        def pupil(k: int) -> np.ndarray | None:
            """Sings what was heard last, a third higher or lower."""
            nonlocal at
            new = record.since(at)
            at += len(new)
            loud = np.flatnonzero(np.abs(new) > LOUD)
            gaps = np.flatnonzero(np.diff(loud) > 0.3 * RATE)
            notes = find_notes(track(new[loud[gaps[-1] + 1 if len(gaps) else 0]:loud[-1]], RATE))
            if len(notes) < 2:
                return phrase(1, voice=voice, octave=octave)
            items = [LineItem(round(n.midi) + (4 if k % 2 else -4), n.duration_s / 0.5, "la") for n in notes]
            rng = np.random.default_rng(k)
            return render(perform(items, replace(PLAIN, quarter_s=0.5), rng), voice, "formants", rng)

        sing_along(card, record, program, pupil, 240)
        assert program.end() == 0, program.errors
        played = [n.midi for n in find_notes(track(record.samples, RATE))]
    assert len(played) > 40
    assert low - 0.5 <= min(played)
    assert max(played) <= high + 0.5
