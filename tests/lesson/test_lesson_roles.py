"""Who sings, the pupil's range, pause and what a key takes back: in time of sound, with singers in a room."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from live_room import PLAIN, Room, RoomSession, session, sung
from singers import VOICES, LineItem, perform, render

from companion.diary import Diary, SessionKind
from companion.lesson.live import Echo, Lesson
from companion.lesson.timbre import SPREAD
from companion.lesson.voices import Singer, Sung, Voices
from companion.tune import LineNote, load

TURNED = replace(PLAIN, turned=3, turned_stays=True)
ADULT = VOICES[2]


class Scene:
    """A lesson in a room. steps: by the sentence that is heard, what happens next: sound after a pause, or keys."""

    def __init__(self, steps: Sequence[tuple[str, Callable[[RoomSession], Any]]], name: str = "snail-wall",
                 diary: Any = None, pupil: Any = None, **settings: Any) -> None:
        self.room = Room()
        self.here = session(self.room, kind=SessionKind.LESSON, diary=diary, pupil=pupil, **settings)
        self.steps = list(steps)
        self.here.out.on_say = self._said  # type: ignore[attr-defined]
        self.lesson = Lesson(self.here, load(name), name)

    def _said(self, text: str) -> None:
        if self.steps and self.steps[0][0] in text:
            done = self.steps.pop(0)[1](self.here)
            if isinstance(done, str):
                for key in done:
                    self.here.keys.press({"\n": "enter"}.get(key, key))
            else:
                self.room.put(*done)

    def run(self) -> list[str]:
        self.lesson.run()
        return self.here.out.said  # type: ignore[attr-defined,no-any-return]


def voice(phrase: int, octave: float = 0.0, style: Any = PLAIN, after_s: float = 4.0,
          name: str = "snail-wall") -> Callable[[RoomSession], tuple[np.ndarray, float]]:
    """Somebody sings a phrase; octave: semitones from where it is given. after_s: longer than the glides of a cue."""
    def sing(here: RoomSession) -> tuple[np.ndarray, float]:
        kind = ADULT if octave < 0 else VOICES[1]
        return sung(load(name).phrase(phrase), here.shift + octave, 0.7, style, voice=kind), after_s

    return sing


def first_then(here_sings: Callable[[], Any]) -> Callable[[Sequence[LineNote], float, float], np.ndarray | None]:
    """A pupil who answers only the first line that is given, with this style."""
    left = [here_sings()]

    def pupil(line: Sequence[LineNote], shift: float, quarter_s: float) -> np.ndarray | None:
        return sung(line, shift, quarter_s, left.pop()) if left else None

    return pupil


def test_the_teachers_repeat_after_a_miss_is_a_model_and_not_kept(tmp_path: Path) -> None:
    with Diary(tmp_path / "d.sqlite") as diary:
        robin = diary.pupil("Robin", new=True)
        scene = Scene([("Listen.", voice(1, -12.0)), ("Now you.", voice(1, after_s=1.0)),
                       ("right.", lambda here: "qq")], diary=diary, pupil=robin)
        scene.here.pupil_sings = first_then(lambda: TURNED)
        said = scene.run()
        assert [t.kind for t in scene.here.taken] == ["one to try", "all right"]
        assert said.count("Now you.") == 1
        assert len(diary.takes(robin)) == 2
        assert abs(scene.here.shift) < 6  # the key did not follow the teacher


@pytest.mark.slow
def test_a_model_in_the_first_phrase_is_told_again_later() -> None:
    scene = Scene([("Listen.", voice(1, -12.0)), ("Now you.", voice(1, style=TURNED, after_s=1.0)),
                   ("Again", voice(1, -12.0)), ("Now you.", voice(1, after_s=1.0)), ("right.", lambda here: "qq")])
    scene.here.pupil_sings = first_then(lambda: TURNED)
    scene.run()
    assert [t.kind for t in scene.here.taken] == ["one to try", "one to try", "all right"]


def test_in_doubt_it_is_asked_and_a_key_says_that_was_me(tmp_path: Path) -> None:
    with Diary(tmp_path / "d.sqlite") as diary:
        robin = diary.pupil("Robin", new=True)
        # After a success somebody sings the next phrase an octave lower: nobody has missed, so it is no model.
        scene = Scene([("right.", voice(2, -12.0, after_s=8.0)), ("Was that you, Robin?", lambda here: "t"),
                       ("right.", lambda here: "qq")], diary=diary, pupil=robin)
        scene.here.pupil_sings = first_then(lambda: PLAIN)
        said = scene.run()
        assert "Was that you, Robin? If so, sing it once more." in said
        assert [t.kind for t in scene.here.taken] == ["all right", "all right"]
        assert len(diary.takes(robin)) == 2


def test_voices_are_told_by_register_and_turn_and_never_swapped() -> None:
    voices = Voices()
    assert voices.tell(Sung(0.0), False) is Singer.PUPIL
    voices.learn(Singer.PUPIL, Sung(0.0))
    assert voices.tell(Sung(-12.0), False) is Singer.UNKNOWN  # nobody has missed
    assert voices.tell(Sung(-12.0), True) is Singer.MODEL
    assert voices.tell(Sung(3.0), True) is Singer.PUPIL
    assert voices.tell(Sung(6.0), True) is Singer.UNKNOWN
    voices.learn(Singer.MODEL, Sung(-12.0))
    assert voices.tell(Sung(-11.0), False) is Singer.MODEL
    assert voices.tell(Sung(-6.0), True) is Singer.UNKNOWN
    voices.correct(Sung(-12.0))
    assert (voices.pupil.register, voices.model.register) == (-12.0, 0.0)


def test_a_first_line_outside_the_pupils_range_is_asked_about() -> None:
    voices = Voices()
    assert voices.tell(Sung(0.0, outside=True), False) is Singer.UNKNOWN
    assert voices.tell(Sung(0.0), False) is Singer.PUPIL


def colour(at: float, seed: int, line: str = "one") -> dict[Any, np.ndarray]:
    """A timbre at a place between two voices, in spreads, with the spread of a voice's own takes around it."""
    spread = np.array(SPREAD)
    one = spread * (at * np.linspace(2.0, 1.0, len(SPREAD)) + np.random.default_rng(seed).normal(0, 0.5, len(SPREAD)))
    return {(line, k): one + k for k in range(7)}


def test_a_model_in_the_pupils_octave_is_asked_about_once_and_then_told_by_its_timbre() -> None:
    voices = Voices()
    assert voices.settle(Sung(64.0, colour(0, 1), right=False), False) is Singer.PUPIL
    assert voices.settle(Sung(64.0, colour(2, 2)), True) is Singer.UNKNOWN  # the model
    assert voices.settle(Sung(64.0, colour(0, 3)), True) is Singer.PUPIL  # so the one before was another's
    assert voices.settle(Sung(64.0, colour(0, 4, "two"), right=False), False) is Singer.PUPIL
    assert voices.settle(Sung(64.0, colour(2, 5, "two")), True) is Singer.MODEL
    assert voices.settle(Sung(64.0, colour(0, 6, "two")), True) is Singer.PUPIL


def test_the_pupil_who_was_asked_about_and_sings_once_more_is_the_pupil() -> None:
    voices = Voices()
    voices.settle(Sung(64.0, colour(0, 1), right=False), False)
    assert voices.settle(Sung(64.0, colour(1.5, 2)), True) is Singer.UNKNOWN  # near the microphone, perhaps
    assert voices.settle(Sung(64.0, colour(1.5, 3)), True) is Singer.PUPIL
    assert voices.model.register is None


def test_after_the_teachers_line_another_voice_in_her_octave_is_the_pupil_and_hers_is_asked_about() -> None:
    voices = Voices()
    voices.learn(Singer.MODEL, Sung(64.0, colour(2, 1)))
    assert voices.tell(Sung(64.0, colour(2, 2)), False) is Singer.UNKNOWN
    assert voices.tell(Sung(64.0, colour(0, 3)), False) is Singer.PUPIL


def test_the_pupils_own_timbre_tells_though_the_key_has_drifted() -> None:
    voices = Voices()
    voices.learn(Singer.PUPIL, Sung(64.0, colour(0, 1)))
    voices.learn(Singer.MODEL, Sung(65.0, colour(2, 2)))
    assert voices.tell(Sung(70.0, colour(0, 3)), True) is Singer.PUPIL
    assert voices.tell(Sung(70.0, colour(2, 4)), True) is not Singer.PUPIL
    assert voices.tell(Sung(52.0, colour(0, 5)), True) is Singer.UNKNOWN  # an octave off


def test_nobody_is_told_now_you_for_ever() -> None:
    """A first take from which something false was learnt: it is asked, and the answer mends it."""
    voices = Voices()
    voices.learn(Singer.PUPIL, Sung(64.0, colour(0, 1)))
    voices.learn(Singer.MODEL, Sung(64.0, colour(2, 2)))
    told = [voices.settle(Sung(64.0, colour(2, k)), True) for k in range(3, 6)]
    assert told == [Singer.MODEL, Singer.UNKNOWN, Singer.PUPIL]
    assert voices.settle(Sung(64.0, colour(2, 7)), True) is not Singer.MODEL


def test_a_take_with_a_wrong_move_is_no_model() -> None:
    voices = Voices()
    voices.settle(Sung(64.0, colour(0, 1), right=False), False)
    assert voices.settle(Sung(64.0, colour(2, 2), right=False), True) is Singer.PUPIL


@pytest.mark.parametrize(("low", "high", "voice_at"), [(60.0, 74.0, -12.0), (43.0, 57.0, 12.0)])
def test_the_key_never_leaves_the_pupils_range(tmp_path: Path, low: float, high: float, voice_at: float) -> None:
    with Diary(tmp_path / "d.sqlite") as diary:
        robin = diary.pupil("Robin", new=True)
        diary.set_range(robin, low, high)
        robin = diary.pupil("Robin")
        room = Room()
        here = session(room, kind=SessionKind.LESSON, diary=diary, pupil=robin)
        tune = load("snail-wall")
        shifts = []

        def drifting(line: Sequence[LineNote], shift: float, quarter_s: float) -> np.ndarray:
            shifts.append(shift)
            return sung(line, shift + (4.0 if len(shifts) % 2 else -4.0) + voice_at, quarter_s, voice=ADULT)

        here.pupil_sings = drifting
        # An octave from the range it is asked who sang, and a key answers.
        out: Any = here.out
        out.on_say = lambda text: here.keys.press("t") if text.startswith("Was that you") else None
        Lesson(here, tune, "snail-wall").run()
        for key in "llllllllhhhhhhhhhhhhhhhhh":
            here.serve(here.keys.bound[key], "")
            shifts.append(here.shift)
    whole = [n.midi for n in tune.line()]
    assert min(whole) + min(shifts) >= low
    assert max(whole) + max(shifts) <= high
    assert "That is the edge of this voice's range." in here.out.said  # type: ignore[attr-defined]
    assert all(abs(b - a) < 7 for a, b in pairwise(shifts))


def test_an_octave_is_followed_while_nothing_is_known_of_the_voice_and_never_after_that() -> None:
    """A tune without a page in the diary: the first line may be sung an octave lower, which is then the voice's own."""
    here: Any = session(Room())
    line = load("snail-wall").phrase(1)
    sung_at = SimpleNamespace(shift_semitones=-12.0, closeness=1.0)
    here.follow_key(sung_at, line)
    assert here.shift == -12.0
    here.taken = [None, None]
    sung_at.shift_semitones = 1.0  # a teacher's octave; a semitone higher by name
    here.follow_key(sung_at, line)
    assert here.shift == -11.0


def test_pause_hushes_and_the_line_is_given_again() -> None:
    times: list[float] = []

    def wait(here: RoomSession) -> str:
        times.append(here.elapsed_s)
        here.ears.at += 60 * 22050  # type: ignore[attr-defined]
        return "p"

    scene = Scene([("2 phrases.", lambda here: "p"), ("Paused.", wait)])
    scene.here.pupil_sings = lambda line, shift, q: sung(line, shift, q)
    said = scene.run()
    assert said[1:3] == ["Paused. The same key goes on.", "We go on."]
    assert [t.kind for t in scene.here.taken] == ["all right", "all right"]
    # The minute of the pause does not count as time of the session.
    assert scene.here.elapsed_s < scene.room.now() - 60


def test_the_end_is_asked_once_and_another_key_goes_on() -> None:
    scene = Scene([("2 phrases.", lambda here: "q"), ("End here?", lambda here: "w")])
    scene.here.pupil_sings = lambda line, shift, q: sung(line, shift, q)
    said = scene.run()
    assert said[1:3] == ["End here? The same key once more ends it.", "We go on."]
    assert len(scene.here.taken) == 2


@pytest.mark.slow
def test_a_take_is_struck_out_in_the_diary_too(tmp_path: Path) -> None:
    with Diary(tmp_path / "d.sqlite") as diary:
        robin = diary.pupil("Robin", new=True)
        diary.give_consent(robin, "a parent")
        scene = Scene([("right.", lambda here: "x"), ("I heard no singing.", lambda here: "qq")], diary=diary, pupil=robin)
        scene.here.pupil_sings = lambda line, shift, q: sung(line, shift, q)
        said = scene.run()
        assert "The last take is struck out." in said
        kept = diary.takes(robin)
        assert [t.first for t in kept] == [scene.lesson.phrases[1][0].number]
        assert diary.sounds(robin) == [kept[0].number]
        assert len(diary.tally(robin)) == len({m.kind for m in kept[0].moves})


def test_a_tune_is_set_for_home_by_a_key_and_the_lesson_told_in_brief(tmp_path: Path) -> None:
    with Diary(tmp_path / "d.sqlite") as diary:
        robin = diary.pupil("Robin", new=True)
        scene = Scene([("right.", lambda here: "di"), ("1 take, ", lambda here: "qq")], diary=diary, pupil=robin)
        scene.here.pupil_sings = lambda line, shift, q: sung(line, shift, q)
        said = scene.run()
        assert "Snail on the wall is set for home, for seven days." in said
        assert [w.tune for w in diary.work(robin)] == ["snail-wall"]
        assert any(text.startswith("1 take, 1 all right") for text in said)
    alone = Scene([("right.", lambda here: "d"), ("Nobody's page is open", lambda here: "qq")])
    alone.here.pupil_sings = lambda line, shift, q: sung(line, shift, q)
    assert "Nobody's page is open, so nothing is set. Begin the lesson with --pupil." in alone.run()


def test_the_next_phrase_waits_for_go_where_that_is_set() -> None:
    at: list[float] = []

    def go(here: RoomSession) -> str:
        at.append(here.ears.now())  # type: ignore[attr-defined]
        return "\n"

    scene = Scene([("Go, when you are ready.", go)], **{"wait_for_go": "on"})
    scene.here.pupil_sings = lambda line, shift, q: sung(line, shift, q)
    scene.run()
    assert len(at) == 1
    assert len(scene.here.taken) == 2


# --- without a tune ---


def line_of(steps: Sequence[int], low: int, kind: Any = ADULT) -> np.ndarray:
    items = [LineItem(low + s, 2 if i == len(steps) - 1 else 1, "la") for i, s in enumerate(steps)]
    rng = np.random.default_rng(3)
    return render(perform(items, replace(PLAIN, quarter_s=0.5), rng), kind, "formants", rng)


RISE = (0, 2, 4, 5, 7)


def without_a_tune(steps: Sequence[tuple[str, Callable[[RoomSession], Any]]], folder: Path) -> tuple[Scene, Echo, list[str]]:
    scene = Scene(steps)
    echo = Echo(scene.here, folder)
    echo.run()
    return scene, echo, scene.here.out.said  # type: ignore[attr-defined]


def sings(steps: Sequence[int], low: int, after_s: float = 1.0, kind: Any = ADULT) -> Callable[[RoomSession], Any]:
    return lambda here: (line_of(steps, low, kind), after_s)


def test_the_line_is_played_back_as_a_quick_run_with_its_count(tmp_path: Path) -> None:
    scene, _, said = without_a_tune([("Sing or play", sings(RISE, 55)), ("Five notes.", lambda here: "qq")], tmp_path)
    assert said[:2] == ["Sing or play a line.", "Five notes."]
    _, run = scene.here.out.tones[0]  # type: ignore[attr-defined]
    assert run.seconds == pytest.approx(5 * 0.16, abs=0.01)
    pitches = [companion_pitch(run.samples[round((k * 0.16 + 0.04) * run.rate):round((k * 0.16 + 0.12) * run.rate)], run.rate)
               for k in range(5)]
    assert pitches == [55 + s for s in RISE]


def companion_pitch(samples: np.ndarray, rate: int) -> int:
    """The MIDI number of a steady tone by its spectrum's highest peak (ISO 16: A4 is 440 Hz)."""
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(len(samples)), 1 << 17))
    return round(69 + 12 * float(np.log2(np.argmax(spectrum) * rate / (1 << 17) / 440.0)))


@pytest.mark.slow
def test_again_listens_to_the_line_anew(tmp_path: Path) -> None:
    _, echo, said = without_a_tune([
        ("Sing or play", sings(RISE, 55)), ("Now the pupil.", lambda here: "a"), ("once more.", sings(RISE[::-1], 55)),
        ("Now the pupil.", lambda here: "qq")], tmp_path)
    assert "Sing or play the line once more." in said
    assert [[n.midi for n in line.notes] for line in echo.lines] == [[55 + s for s in RISE[::-1]]]


def test_the_teacher_sings_her_line_again_and_is_not_the_pupil(tmp_path: Path) -> None:
    child = VOICES[1]
    scene, echo, said = without_a_tune([
        ("Sing or play", sings(RISE, 50)), ("Now the pupil.", sings((0, 2, 0, 1, 3), 67, kind=child)),
        ("Listen.", sings(RISE, 50, 4.0)), ("Now you.", sings(RISE, 67, kind=child)),
        ("right.", lambda here: "qq")], tmp_path)
    assert [t.kind for t in scene.here.taken] == ["one to try", "all right"]
    assert len(echo.lines) == 1
    assert said.count("Now you.") == 1


def test_the_pupil_at_the_teachers_turn_is_no_new_line_unasked(tmp_path: Path) -> None:
    child = VOICES[1]
    _, echo, said = without_a_tune([
        ("Sing or play", sings(RISE, 50)), ("Now the pupil.", sings(RISE, 67, kind=child)),
        ("right.", sings((7, 5, 4, 2), 67, 2.0, kind=child)), ("sounded like the pupil", sings((7, 5, 4), 50)),
        ("Three notes.", lambda here: "qq")], tmp_path)
    assert "That sounded like the pupil. If it was a new line, once more." in said
    assert [len(line.notes) for line in echo.lines] == [5, 3]
