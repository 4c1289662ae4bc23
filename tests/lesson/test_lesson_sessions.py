"""Whole sessions at home and in the lesson, in time of sound, with synthesised pupils in a room."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from live_room import PLAIN, RATE, Room, RoomSession, session, sung
from singers import VOICES, LineItem, perform, render

from companion.diary import Action, Diary, SessionKind
from companion.ear import MicrophoneGone
from companion.language import English, Variety, lesson_place, next_time, session_went_well
from companion.lesson.live import Echo, Lesson
from companion.lesson.practise import Closing, Practise, Set, closing, rising
from companion.lesson.session import Session
from companion.match import MoveKind
from companion.tune import LineNote, load

TURNED = replace(PLAIN, turned=3, turned_stays=True)


class Child:
    """Sings what was given; `misses` has for each number of notes how often it still goes wrong."""

    def __init__(self, misses: dict[int, int] | None = None, octave: int = 0) -> None:
        self.misses, self.octave = dict(misses or {}), octave
        self.asked: list[int] = []

    def __call__(self, line: Sequence[LineNote], shift: float, quarter_s: float) -> np.ndarray:
        self.asked.append(len(line))
        style = PLAIN
        if self.misses.get(len(line), 0) > 0:
            self.misses[len(line)] -= 1
            style = replace(TURNED, turned=min(3, len(line) - 2))
        return sung(line, shift + self.octave, quarter_s, style)


def at_home(child: object, minutes: float = 3.0, warm_up: bool = False, room: Room | None = None,
            **more: object) -> RoomSession:
    room = room or Room()
    here = session(room, **more)  # type: ignore[arg-type]
    here.pupil_sings = child  # type: ignore[assignment]
    tune = load("snail-wall")
    Practise(here, lambda: [Set("snail-wall", tune)], minutes, warm_up=warm_up).run()
    return here


@pytest.mark.slow
def test_a_phrase_goes_slower_together_and_smaller_and_grows_again_without_a_key() -> None:
    child = Child({7: 2, 5: 1})
    here = at_home(child, minutes=6)
    said = here.out.said  # type: ignore[attr-defined]
    # Seven notes twice not that way (the second time slower), five together once, the move, five, the whole; then the
    # second phrase, and the whole song.
    assert child.asked == [7, 7, 5, 2, 5, 7, 7, 14]
    assert [s for s in said if "'wall'" in s] == [
        "Five of six right. From 'wall' to 'creep' the tune stays on one note. Listen.",
        "Again 'wall', 'creep': the same note. Listen.",
        "Stay from 'wall' to 'creep'. Listen."]
    assert said[3:8] == ["Slower, twice with me.", "Now alone.", "Again 'wall', 'creep': the same note. Listen.",
                         "Just five notes, twice with me. Snail, on, the, wall, creep.", "Now alone."]
    assert "Just two notes now. Wall, creep." in said
    assert "On oo, like a slide." in said
    assert not any(s.startswith("Hand") for s in said)  # nobody has said that a helper is there
    assert [(len(t.line), t.kind) for t in here.taken if len(t.line) == 2] == [(2, "all right")]
    assert "Now the whole phrase, twice with me." in said
    assert said[-1].startswith("That is all for today. Snail on the wall, ")
    # Both glides at the first miss (2.45 s), then the tune's alone (1.1 s), which is also how the slide is given.
    lengths = [round(tone.seconds, 2) for _, tone in here.out.tones]  # type: ignore[attr-defined]
    assert (lengths.count(2.45), lengths.count(1.1)) == (1, 3), lengths


@pytest.mark.slow
def test_the_hand_is_led_only_where_a_helper_is_and_room_is_asked_for_once() -> None:
    here = session(Room())
    here.pupil_sings = Child({7: 2, 5: 1})
    Practise(here, lambda: [Set("snail-wall", load("snail-wall"))], 6, warm_up=False, helper=True).run()
    said = here.out.said  # type: ignore[attr-defined]
    assert said.count("Make sure that there is room around you for the arm.") == 1
    assert said.index("Make sure that there is room around you for the arm.") < said.index("Hand still: the note stays.")


@pytest.mark.slow
def test_a_weak_child_ends_every_piece_on_a_success_and_gets_an_easier_song() -> None:
    here = session(Room())
    here.pupil_sings = Child({7: 99, 5: 99})
    Practise(here, lambda: [Set("snail-wall", load("snail-wall"))], 12, warm_up=False,
             easier=lambda names: Set("tick-tock", load("tick-tock"))).run()
    said = here.out.said  # type: ignore[attr-defined]
    left = [i for i, s in enumerate(said) if s == "The rest another day."]
    assert len(left) >= 2
    # What went right once is sung last, and then the whole phrase together.
    assert all(said[i - 1] == "Twice together." for i in left)
    assert all(said[i - 2].startswith("Right. You") or said[i - 2] == "That is the note." for i in left)
    assert said.index("Now an easier song.") < said.index("The song is Tick tock.")
    # No sentence twice in a row, and the song is sung to its end together.
    assert all(a != b for a, b in pairwise(said))
    assert "Now the whole song, with me." in said


@pytest.mark.slow
def test_who_leaves_and_comes_back_goes_on_where_it_was() -> None:
    room = Room(limit_s=1200)
    here = session(room)
    turns = []

    def leaving(line: Sequence[LineNote], shift: float, quarter_s: float) -> np.ndarray | None:
        turns.append(len(line))
        return None if 2 <= len(turns) <= 7 else sung(line, shift, quarter_s)

    here.pupil_sings = leaving

    def on_say(text: str) -> None:
        if text.startswith("I wait."):
            room.put(sung(load("snail-wall").phrase(1)[:1], 0.0, 2.0), 100.0)

    here.out.on_say = on_say  # type: ignore[attr-defined]
    Practise(here, lambda: [Set("snail-wall", load("snail-wall"))], 6, warm_up=False).run()
    said = here.out.said  # type: ignore[attr-defined]
    assert "We go on where we were." in said
    assert [(t.line[0].number, len(t.line)) for t in here.taken][:2] == [(1, 7), (8, 7)]
    assert said.count("I heard no singing. A little closer, and sing again.") == 1
    assert here.elapsed_s < room.now() - 90  # the time away does not count


@pytest.mark.slow
def test_a_child_who_chatters_is_told_once_that_it_waits_for_singing() -> None:
    from other_sounds import other_sounds

    here = session(Room(limit_s=1200))
    talk = [s[RATE:] for s in other_sounds("speech", 6, 3)]
    turns = []

    def chatting(line: Sequence[LineNote], shift: float, quarter_s: float) -> np.ndarray | None:
        turns.append(len(line))
        return talk[len(turns)] if len(turns) < 4 else sung(line, shift, quarter_s)

    here.pupil_sings = chatting
    Practise(here, lambda: [Set("snail-wall", load("snail-wall"))], 6, warm_up=False).run()
    said = here.out.said  # type: ignore[attr-defined]
    assert said.count("I wait for singing. Talk as long as you like, then sing.") == 1
    assert not any("no singing" in s for s in said)


def test_nothing_is_answered_twice_and_order_is_kept() -> None:
    here = at_home(Child(), minutes=3)
    assert [(t.line[0].number, len(t.line)) for t in here.taken] == [(1, 7), (8, 7), (1, 14)]
    assert [t.kind for t in here.taken] == ["all right"] * 3


def test_own_playback_in_the_microphone_is_not_judged() -> None:
    child = Child({7: 1})
    here = at_home(child, room=Room(echo=True))
    assert [t.kind for t in here.taken] == ["one to try", "all right", "all right", "all right"]
    assert child.asked == [7, 7, 7, 14]


def test_nobody_sings_and_it_ends_by_itself() -> None:
    room = Room()
    here = at_home(lambda *_: None, minutes=10, room=room)
    said = here.out.said  # type: ignore[attr-defined]
    assert said.count("I heard no singing. A little closer, and sing again.") == 1
    assert "I still hear nothing. Is the microphone near?" in said
    assert said[-1].startswith("I have heard nothing for a while.")
    assert said.count("I wait. Sing a note when you want to go on.") == 1
    assert here.taken == []
    assert room.now() < 180 + 300  # it waits five minutes, quietly


def test_it_ends_after_the_set_time() -> None:
    room = Room(limit_s=400)
    child = Child({7: 99, 5: 99, 2: 99})
    at_home(child, minutes=1.0, room=room)
    assert 60 <= room.now() < 60 + 30  # the take in progress is heard to its end


def test_a_long_session_has_a_rest_between_sets() -> None:
    child = Child({7: 99, 5: 99, 2: 99, 4: 99})
    here = at_home(child, minutes=6)
    said = here.out.said  # type: ignore[attr-defined]
    assert said.count("Rest a moment. Breathe in, and out.") >= 1


@pytest.mark.slow
def test_the_warm_up_stays_inside_the_range_and_turns_back() -> None:
    lows = rising(58, 74)
    assert lows == [59, 60, 61, 62, 63, 64, 65, 66, 65, 64, 63, 62, 61, 60, 59]
    assert min(lows) > 58
    assert max(lows) + 7 < 74
    assert rising(60, 64) == [58]  # a range narrower than the pattern: its middle
    child = Child()
    here = at_home(child, minutes=5, warm_up=True)
    assert child.asked.count(9) >= 2
    assert "If anything hurts or tickles, stop for today." in here.out.said[1]  # type: ignore[attr-defined]
    assert not any("pattern" in t.tune for t in here.taken)


def test_the_key_follows_the_pupil_without_a_word() -> None:
    here = session(Room())
    child = Child()
    here.pupil_sings = lambda line, shift, q: child(line, shift + 3, q)
    tune = load("snail-wall")
    Practise(here, lambda: [Set("snail-wall", tune)], 3, warm_up=False).run()
    assert here.shift == 9.0  # each phrase, and the whole song, three semitones above where it was given
    assert not any("key" in text.lower() for text in here.out.said)  # type: ignore[attr-defined]


@pytest.mark.slow
def test_the_pupil_sings_over_the_playback_and_is_asked_not_judged() -> None:
    room = Room()
    here = session(room)
    tune = load("snail-wall")
    calls = []

    def eager(line: Sequence[LineNote], shift: float, quarter_s: float) -> np.ndarray | None:
        calls.append(len(line))
        if len(calls) > 1:
            return sung(line, shift, quarter_s)
        # Began 1.6 s before the line had ended: the ear opens in the middle of the first notes.
        samples = sung(line, shift, quarter_s)
        room.put(samples[round(1.6 * RATE):], 0.0)
        return None

    here.pupil_sings = eager
    Practise(here, lambda: [Set("snail-wall", tune)], 3, warm_up=False).run()
    said = here.out.said  # type: ignore[attr-defined]
    assert said[2] == "You began before I had ended. Wait a little, and once more."
    assert here.taken[0].kind == "not sure"


def test_takes_are_kept_and_sound_only_with_consent(tmp_path: Path) -> None:
    with Diary(tmp_path / "d.sqlite") as diary:
        pupil = diary.pupil("Pip", new=True)
        at_home(Child({7: 1}), diary=diary, pupil=pupil)
        takes = diary.takes(pupil)
        assert [t.tune for t in takes] == ["snail-wall"] * 4
        assert [(t.first, t.last) for t in takes] == [(1, 7), (1, 7), (8, 14), (1, 14)]
        assert {m.verdict for m in takes[0].moves} == {"right", "not that way"}
        assert diary.sounds(pupil) == []
        diary.give_consent(pupil, "Pip's father")
        at_home(Child(), diary=diary, pupil=pupil)
        kept = diary.sounds(pupil)
        assert len(kept) == 3
        # What is kept is the take itself: heard again it gives the same verdicts.
        import io

        import soundfile
        from tracked import track

        from companion.match import match_take

        samples, rate = soundfile.read(io.BytesIO(diary.sound(kept[0]) or b""), dtype="float32")
        assert rate == RATE
        again = match_take(track(samples), load("snail-wall").phrase(1))
        assert again.counts == {"right": 6, "not that way": 0, "not sure": 0}


def test_a_diary_that_fails_in_the_middle_is_said_once_and_the_child_sings_on(
        tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from companion.errors import Trouble

    with Diary(tmp_path / "d.sqlite") as diary:
        pupil = diary.pupil("Pip", new=True)

        def full(*_: object) -> int:
            raise Trouble("The disk with the diary is full. Make room.")

        monkeypatch.setattr(diary, "add_take", full)
        here = at_home(Child(), diary=diary, pupil=pupil)
    said = here.out.said  # type: ignore[attr-defined]
    assert said.count("The disk with the diary is full. Make room.") == 1
    assert said.count("All six right.") == 2


@pytest.mark.slow
def test_time_that_is_left_goes_to_another_tune() -> None:
    room = Room()
    here = session(room)
    here.pupil_sings = Child()
    asked: list[list[str]] = []

    def more(names: list[str]) -> Set | None:
        asked.append(list(names))
        return Set("tick-tock", load("tick-tock")) if len(names) == 1 else None

    Practise(here, lambda: [Set("snail-wall", load("snail-wall"))], 5, warm_up=False, more=more).run()
    assert asked == [["snail-wall"], ["snail-wall", "tick-tock"]]
    assert "The song is Tick tock." in here.out.said  # type: ignore[attr-defined]
    assert {t.tune for t in here.taken} == {"snail-wall", "tick-tock"}


@pytest.mark.slow
def test_talk_and_silence_in_a_lesson_are_not_interrupted() -> None:
    from other_sounds import other_sounds

    room = Room()
    here = session(room, kind=SessionKind.LESSON)
    tune = load("snail-wall")
    talk = list(other_sounds("speech", 12, 3))
    calls = []

    def later(line: Sequence[LineNote], shift: float, quarter_s: float) -> np.ndarray | None:
        calls.append(len(line))
        if len(calls) > 1:
            return sung(line, shift, quarter_s)
        # Fifty seconds of talk, half a minute of nothing, and then the phrase.
        for k, sentence in enumerate(talk):
            room.put(sentence[RATE:], 1.0 + 4.0 * k)
        room.put(sung(line, shift, quarter_s), 100.0)
        return None

    here.pupil_sings = later
    Lesson(here, tune, "snail-wall").run()
    said = here.out.said  # type: ignore[attr-defined]
    assert [t.kind for t in here.taken] == ["all right", "all right"]
    # It may ask whether something was singing where that cannot be told; nothing is judged.
    assert set(said) <= {"Snail on the wall. 2 phrases.", "All six right.", "That was the last phrase.",
                         "I cannot tell whether that was singing. Once more, please."}
    assert said.count("I cannot tell whether that was singing. Once more, please.") <= 2


def test_closing_words() -> None:
    assert closing([]) == Closing(None, None)
    british, american = English(Variety.BRITISH), English(Variety.AMERICAN)
    assert session_went_well(british, MoveKind.SEMITONE_UP, 3, 4) == "Semitones up went well, 3 of 4 right."
    assert session_went_well(american, MoveKind.SEMITONE_UP, 3, 4) == "Half steps up went well, 3 of 4 right."
    assert session_went_well(british, None, 0, 4) == "You sang to the end."
    assert next_time(british, MoveKind.LEVEL) == "Next time: level moves."
    assert next_time(british, None) == "Next time: a new phrase."


def test_what_comes_next_time_is_what_the_diarys_week_says(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    weeks = SimpleNamespace(tally=SimpleNamespace(kind=MoveKind.LEVEL))
    monkeypatch.setattr("companion.lesson.practise.suggestion", lambda diary, pupil: weeks)
    with Diary(tmp_path / "d.sqlite") as diary:
        here = session(Room(), diary=diary, pupil=diary.pupil("Wren", new=True))
        Practise(here, list, 5)._close()
    assert here.out.said == ["That is all for today, Wren. Next time: level moves."]  # type: ignore[attr-defined]


def test_after_two_easy_answers_two_phrases_are_sung_in_one(monkeypatch: pytest.MonkeyPatch) -> None:
    here = session(Room())
    tune = load("kite")
    sizes = [len(tune.phrase(k)) for k in range(1, 1 + max(n.phrase for n in tune.line()))]
    assert len(sizes) >= 4
    sung_lines: list[int] = []
    monkeypatch.setattr(Practise, "_phrase", lambda self, s, line, number: sung_lines.append(len(line)) or True)
    monkeypatch.setattr(Practise, "_whole", lambda self, s: None)
    Practise(here, list, 5)._tune(Set("kite", tune))
    assert sung_lines[:3] == [sizes[0], sizes[1], sizes[2] + sizes[3]]
    assert "The next two phrases in one." in here.out.said  # type: ignore[attr-defined]


# --- in the lesson ---


def test_a_line_in_which_it_was_paused_is_given_again() -> None:
    here = session(Room())
    for key in "pp":
        here.keys.press(key)
    Session.give(here, load("snail-wall").phrase(1), 0.3)
    assert here.out.said == ["Paused. The same key goes on.", "We go on."]  # type: ignore[attr-defined]
    assert len(here.out.tones) == 2  # type: ignore[attr-defined]


def test_a_lesson_has_a_rest_after_ten_minutes_and_not_again_at_once() -> None:
    room = Room()
    here = session(room, kind=SessionKind.LESSON)
    lesson = Lesson(here, load("snail-wall"), "snail-wall")
    lesson._rest()
    assert here.out.said == []  # type: ignore[attr-defined]
    room.at += 601 * RATE
    lesson._rest()
    lesson._rest()
    rest = "Ten minutes are sung. Rest a moment, and stop if anything hurts."
    assert here.out.said == [rest]  # type: ignore[attr-defined]



def lesson(child: object, tune: str = "snail-wall", presses: dict[int, str] | None = None) -> RoomSession:
    here = session(Room(), kind=SessionKind.LESSON)
    here.pupil_sings = child  # type: ignore[assignment]
    Lesson(here, load(tune), tune).run()
    return here


def test_a_lesson_goes_phrase_by_phrase_and_ends() -> None:
    here = lesson(Child())
    assert here.out.said == ["Snail on the wall. 2 phrases.", "All six right.",  # type: ignore[attr-defined]
                             "All six right.", "That was the last phrase."]


def test_a_missed_phrase_is_heard_again_at_once_without_a_key() -> None:
    room = Room()
    here = session(room, kind=SessionKind.LESSON)
    tune = load("snail-wall")
    child = Child({7: 1})
    here.pupil_sings = child
    seen = []

    def on_say(text: str) -> None:
        seen.append(text)
        if "the tune" in text:
            # The pupil sings again by itself once the glides are over (about 2.4 s and the tail).
            room.put(sung(tune.phrase(1), here.shift, 60 / 76), 4.0)

    here.out.on_say = on_say  # type: ignore[attr-defined]
    Lesson(here, tune, "snail-wall").run()
    assert [t.kind for t in here.taken] == ["one to try", "all right", "all right"]
    assert child.asked == [7, 7]  # given once a phrase, not again after the miss


def test_keys_in_a_lesson(capsys: pytest.CaptureFixture[str]) -> None:
    room = Room()
    here = session(room, kind=SessionKind.LESSON)
    tune = load("snail-wall")
    presses = iter(["w", "s", "l", "r", "m", "?", "a", "n", "b", "q", "q"])

    class Pressing:
        """A key each time the ear has been open for a second."""

        def __init__(self) -> None:
            self.last = 0.0

        def __call__(self) -> str | None:
            if room.now() - self.last > 1.0:
                self.last = room.now()
                key = next(presses, None)
                return here.keys.bound.get(key) if key else None
            return None

    pressing = Pressing()
    here.keys.get = pressing  # type: ignore[method-assign]
    here.interrupted = lambda: False  # type: ignore[method-assign]
    Lesson(here, tune, "snail-wall").run()
    said = here.out.said  # type: ignore[attr-defined]
    assert said[1].startswith("Phrase 1 of 2, bars 1 to 2: Snail on the wall, creep up slow")
    assert said[2:4] == ["Slower.", "Lower."]
    assert "Nothing has been sung yet." in said
    assert any(text.startswith("space or enter: the likely next thing") for text in said)
    assert here.tempo == pytest.approx(0.85)
    # Given at the start, after "slower", "lower", "again", "next" and "back", and not for what only asks.
    assert here.given == [7] * 6


@pytest.mark.parametrize(("variety", "place", "given"), [
    ("british", "Phrase 1 of 2, bars 1 to 2: Snail on the wall, creep up slow.",
     "It is given two semitones higher than written."),
    ("american", "Phrase 1 of 2, measures 1 to 2: Snail on the wall, creep up slow.",
     "It is given two half steps higher than written.")])
def test_a_lesson_speaks_by_the_pupils_setting(variety: str, place: str, given: str) -> None:
    here = session(Room(), kind=SessionKind.LESSON, variety=variety)
    here.pupil_sings = lambda line, shift, quarter_s: sung(line, 2.0, quarter_s)
    lesson = Lesson(here, load("snail-wall"), "snail-wall")
    assert lesson.place() == place
    place_line = lesson.place()
    lesson.run()
    here.serve(Action.MORE, place_line)
    said = here.out.said  # type: ignore[attr-defined]
    assert said[-1] == given
    one = [n for n in load("snail-wall").line() if n.bar == 3]
    assert lesson_place(here.language, 2, 2, one).startswith(
        "Phrase 2 of 2, measure 3: " if variety == "american" else "Phrase 2 of 2, bar 3: ")


class Unplugged(Room):
    """A room whose microphone is away for a while, from the second second on."""

    def __init__(self, away_s: float) -> None:
        super().__init__()
        self.back_s = 2.0 + away_s

    def read(self, timeout_s: float = 0.1) -> np.ndarray:
        if 2.0 < self.now() < self.back_s:
            raise MicrophoneGone("The microphone has gone. Plug it in again.")
        return super().read(timeout_s)

    def again(self) -> bool:
        return not 2.0 < self.now() < self.back_s


@pytest.mark.slow
def test_a_microphone_that_comes_back_is_said_and_the_lesson_goes_on() -> None:
    room = Unplugged(away_s=40.0)
    here = session(room, kind=SessionKind.LESSON)
    tune = load("snail-wall")

    def on_say(text: str) -> None:
        if text.startswith("The microphone is back") or text == "All six right.":
            room.put(sung(tune.phrase(1 if not here.taken else 2), 0, 60 / 76), 6.0 if here.taken else 1.0)

    here.out.on_say = on_say  # type: ignore[attr-defined]
    Lesson(here, tune, "snail-wall").run()
    assert here.out.said == [  # type: ignore[attr-defined]
        "Snail on the wall. 2 phrases.", "The microphone has gone. Plug it in again.",
        "The microphone is back. Sing once more.", "All six right.", "All six right.", "That was the last phrase."]


def test_a_microphone_that_stays_away_ends_the_session_after_a_minute() -> None:
    room = Unplugged(away_s=500.0)
    here = session(room, kind=SessionKind.LESSON)
    with pytest.raises(MicrophoneGone, match="stayed away"):
        Lesson(here, load("snail-wall"), "snail-wall").run()
    assert 60 <= room.now() < 90


def teacher_line(steps: Sequence[int], low: int = 55, quarter_s: float = 0.5) -> np.ndarray:
    items = [LineItem(low + s, 2 if i == len(steps) - 1 else 1, "la") for i, s in enumerate(steps)]
    rng = np.random.default_rng(3)
    adult = VOICES[2]
    return render(perform(items, replace(PLAIN, quarter_s=quarter_s), rng), adult, "formants", rng)


def test_without_a_tune_the_teachers_line_is_the_tune(tmp_path: Path) -> None:
    room = Room()
    here = session(room, kind=SessionKind.LESSON)
    lines = [(0, 2, 4, 5, 7), (7, 5, 4, 2, 0, 4)]
    echo = Echo(here, tmp_path / "lines")
    turn = {"line": 0, "pupil": 0}

    def on_say(text: str) -> None:
        if text in ("Sing or play a line.", "All four right.", "Kept as line 1."):
            if turn["line"] < len(lines):
                room.put(teacher_line(lines[turn["line"]]), 0.8)
                turn["line"] += 1
            else:
                here.keys.press("k")
                here.keys.press("q")
                here.keys.press("q")  # asked once
        elif text == "Now the pupil.":
            # First answer of the second line: its second move goes the other way; then it is right.
            notes = echo.lines[-1].notes
            style = replace(PLAIN, turned=2, turned_stays=True) if len(echo.lines) == 2 else PLAIN
            room.put(sung(notes, 14.0, 0.5, style), 0.6)
        elif "Listen." in text:
            room.put(sung(echo.lines[-1].notes, 14.0, 0.5), 4.0)
        elif text == "All five right.":
            here.keys.press("k")
            here.keys.press("q")
            here.keys.press("q")

    here.out.on_say = on_say  # type: ignore[attr-defined]
    echo.run()
    assert [[n.midi - line.notes[0].midi for n in line.notes] for line in echo.lines] == \
        [[0, 2, 4, 5, 7], [0, -2, -3, -5, -7, -3]]
    assert [t.kind for t in here.taken] == ["all right", "one to try", "all right"]
    kept = load(echo.kept[0])
    assert [n.midi for n in kept.line()] == [n.midi for n in echo.lines[-1].notes]


def test_a_session_is_one_type_for_both() -> None:
    assert issubclass(RoomSession, Session)


@pytest.mark.slow
def test_a_comfortable_range_is_found_inside_of_what_was_sung(tmp_path: Path) -> None:
    from companion.lesson.voice_range import FindRange

    with Diary(tmp_path / "d.sqlite") as diary:
        pupil = diary.pupil("Pip", new=True)
        room = Room()
        here = session(room, diary=diary, pupil=pupil)
        highest, lowest = 71, 57

        def limited(line: Sequence[LineNote], shift: float, quarter_s: float) -> np.ndarray | None:
            """Follows between two notes; beyond them the voice stays where it can."""
            midi = [n.midi for n in line]
            off = min(0, highest - max(midi)) + max(0, lowest - min(midi))
            return sung(line, shift + off, quarter_s)

        here.pupil_sings = limited

        def on_say(text: str) -> None:
            if text.startswith("Sing one long note"):
                note = load("snail-wall").phrase(1)[:1]
                room.put(sung(note, 4.0, 2.0), 0.5)

        here.out.on_say = on_say  # type: ignore[attr-defined]
        found = FindRange(here).run()
        assert found is not None
        assert lowest < found[0] <= lowest + 4
        assert highest - 4 <= found[1] < highest
        assert room.now() < 150
        assert (diary.pupil("Pip").low, diary.pupil("Pip").high) == found


@pytest.mark.slow
def test_a_lesson_that_waits_for_the_teacher_judges_the_pupil_only() -> None:
    room = Room()
    here = session(room, kind=SessionKind.LESSON)
    tune = load("snail-wall")
    starts = []

    def on_tone(phrase: int) -> None:
        line = tune.phrase(phrase)
        # The teacher sings it with a wrong move an octave lower, the pupil answers it right two seconds later.
        teacher = sung(line, -12, 60 / 76, TURNED, voice=VOICES[2])
        room.put(teacher, 0.5)
        room.put(sung(line, 0, 60 / 76), 0.5 + len(teacher) / RATE + 2.0)

    real = here.out.sound

    def sound(tone: object, *more: object) -> bool:
        done = real(tone, *more)  # type: ignore[arg-type]
        if 0.7 < tone.seconds < 0.9:  # type: ignore[attr-defined]
            starts.append(room.now())
            on_tone(len(starts))
        return done

    here.out.sound = sound  # type: ignore[method-assign,assignment]
    Lesson(here, tune, "snail-wall", wait=True).run()
    assert [t.kind for t in here.taken] == ["all right", "all right"]
    assert len(starts) == 2


@pytest.mark.slow
def test_more_is_said_where_the_setting_asks_for_it() -> None:
    here = session(Room(), kind=SessionKind.LESSON, detail="more")
    here.pupil_sings = Child()
    Lesson(here, load("snail-wall"), "snail-wall").run()
    said = here.out.said  # type: ignore[attr-defined]
    assert "6 of 6 moves as written." in said
    assert said.count("It is given as written.") == 2


@pytest.mark.slow
@pytest.mark.parametrize(("gain", "word"), [(0.02, "The voice is faint."), (30.0, "The sound was cut off.")])
def test_a_faint_or_cut_off_voice_is_advised_once(gain: float, word: str) -> None:
    room = Room(noise_db=-75)
    here = session(room)

    def badly(line: Sequence[LineNote], shift: float, quarter_s: float) -> np.ndarray:
        # The last note is missing, so that something stays unclear and there is a reason to say it.
        return np.clip(gain * sung(line[:-2] or line, shift, quarter_s), -1, 1).astype(np.float32)

    here.pupil_sings = badly
    Practise(here, lambda: [Set("snail-wall", load("snail-wall"))], 3, warm_up=False).run()
    said = here.out.said  # type: ignore[attr-defined]
    assert sum(text.startswith(word) for text in said) == 1


def test_a_muted_microphone_is_said() -> None:
    room = Room(noise_db=-200)
    here = at_home(lambda *_: None, minutes=1, room=room)
    assert here.out.said[2].startswith("The microphone gives no sound at all.")  # type: ignore[attr-defined]
