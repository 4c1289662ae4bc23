"""What goes wrong around a session: it goes on, or ends with one sentence, and nothing finished is lost."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from live_room import BLOCK, PLAIN, RATE, Room, RoomOut, RoomSession, session, sung

from companion.command.signals import Ending
from companion.diary import Diary, SessionKind
from companion.ear import MicrophoneGone
from companion.errors import Trouble
from companion.lesson import Devices, Keys, SessionOptions, run_lesson, run_practise
from companion.lesson.live import Lesson
from companion.match import Verdict
from companion.tune import LineNote, load

TURNED = replace(PLAIN, turned=3, turned_stays=True)


def lesson(room: Room, change: Callable[[np.ndarray], np.ndarray] = lambda x: x, diary: Any = None,
           pupil: Any = None) -> RoomSession:
    """A lesson in which every phrase is sung right, once; change: what becomes of the sound on its way."""
    here = session(room, kind=SessionKind.LESSON, diary=diary, pupil=pupil)
    here.pupil_sings = lambda line, shift, q: change(sung(line, shift, q)).astype(np.float32)
    Lesson(here, load("snail-wall"), "snail-wall").run()
    return here


def wrong(here: RoomSession) -> int:
    return sum(m.verdict is Verdict.WRONG for t in here.taken for m in t.match.moves)


def narrow(samples: np.ndarray) -> np.ndarray:
    """As a telephone's band at 16 kHz: 300 to 3400 Hz (ITU-T G.712), nothing above 8 kHz."""
    from scipy.signal import butter, sosfiltfilt

    return np.asarray(sosfiltfilt(butter(4, (300, 3400), "bandpass", fs=RATE, output="sos"), samples))


@pytest.mark.parametrize(("change", "noise_db"), [
    (narrow, -60.0), (lambda x: np.clip(x * 10 ** (18 / 20), -1, 1), -60.0),
    (lambda x: x * 10 ** (-57 / 20) / np.sqrt(np.mean(np.sort(x**2)[len(x) // 2:])), -85.0)],
    ids=["16 kHz narrow band", "clipped at +18 dB", "voice at -57 dBFS"])
def test_a_voice_that_comes_badly_is_right_or_not_sure_and_never_wrong(
        change: Callable[[np.ndarray], np.ndarray], noise_db: float) -> None:
    here = lesson(Room(noise_db), change)
    assert wrong(here) == 0
    assert here.taken or here.out.said[1:]  # type: ignore[attr-defined]
    assert all(t.match.counts[Verdict.RIGHT] >= 4 for t in here.taken)


class Losing(Room):
    """A room of which one block in ten is lost on its way, and the driver says so."""

    def read(self, timeout_s: float = 0.1) -> np.ndarray:
        block = super().read(timeout_s)
        if (self.at // BLOCK) % 10 == 0:
            self.lost += 1
            return super().read(timeout_s)
        return block


def test_what_lost_sound_is_not_sure_and_is_asked_for_again(tmp_path: Path) -> None:
    with Diary(tmp_path / "d.sqlite") as diary:
        robin = diary.pupil("Robin", new=True)
        here = session(Losing(), kind=SessionKind.LESSON, diary=diary, pupil=robin)
        here.pupil_sings = lambda line, shift, q: sung(line, shift, q, TURNED)
        out: Any = here.out
        out.on_say = lambda text: [here.keys.press("q") for _ in "qq" if text.startswith("Some of")]
        Lesson(here, load("snail-wall"), "snail-wall").run()
        assert "Some of the sound was lost on its way. Once more, please." in here.out.said  # type: ignore[attr-defined]
        assert wrong(here) == 0
        assert {m.verdict for t in diary.takes(robin) for m in t.moves} <= {"not sure", "right"}


class UnpluggedInAPhrase(Room):
    """The microphone is pulled out a second after the first note of the first phrase, for half a minute."""

    begun: float | None = None

    def put(self, samples: np.ndarray, after_s: float = 0.5) -> None:
        super().put(samples, after_s)
        if self.begun is None:
            self.begun = self.now() + after_s

    def away(self) -> bool:
        return self.begun is not None and self.begun + 1.0 < self.now() < self.begun + 31.0

    def read(self, timeout_s: float = 0.1) -> np.ndarray:
        if self.away():
            raise MicrophoneGone("The microphone has gone. Plug it in again.")
        return super().read(timeout_s)

    def again(self) -> bool:
        return not self.away()


def test_unplugged_in_the_middle_of_a_phrase_nothing_of_it_is_judged_and_it_goes_on() -> None:
    room = UnpluggedInAPhrase()
    here = session(room, kind=SessionKind.LESSON)
    tune, calls = load("snail-wall"), []

    def pupil(line: Sequence[LineNote], shift: float, quarter_s: float) -> np.ndarray:
        calls.append(line)
        return sung(line, shift, quarter_s)

    def on_say(text: str) -> None:
        if text.startswith("The microphone is back"):
            room.put(sung(tune.phrase(1), here.shift, 60 / 76), 1.0)

    here.pupil_sings = pupil
    here.out.on_say = on_say  # type: ignore[attr-defined]
    Lesson(here, tune, "snail-wall").run()
    assert [t.kind for t in here.taken] == ["all right", "all right"]
    assert "The microphone has gone. Plug it in again." in here.out.said  # type: ignore[attr-defined]


@pytest.mark.slow
def test_what_was_sung_before_the_unplugging_is_not_judged_when_nobody_sings_after_it() -> None:
    room = UnpluggedInAPhrase()
    here = session(room, kind=SessionKind.LESSON)
    here.pupil_sings = lambda line, shift, q: sung(line, shift, q) if room.begun is None else None
    out: Any = here.out
    out.on_say = lambda text: [here.keys.press("q") for _ in "qq" if text.startswith("I heard no singing")]
    Lesson(here, load("snail-wall"), "snail-wall").run()
    assert here.taken == []
    assert out.said[1:4] == ["The microphone has gone. Plug it in again.", "The microphone is back. Sing once more.",
                             "I heard no singing. A little closer, and sing again."]


@pytest.mark.parametrize("while_singing", [False, True])
def test_a_machine_that_slept_a_minute_goes_on_and_calls_nothing_wrong(while_singing: bool) -> None:
    """Asleep no sound comes in, and the clock jumps; what was sung meanwhile is lost, and the driver says so."""
    room = Room()
    here = session(room, kind=SessionKind.LESSON)
    slept = []
    real = room.read

    def read(timeout_s: float = 0.1) -> np.ndarray:
        singing = bool(np.abs(room.sound[room.at:room.at + BLOCK]).max(initial=0.0) > 0.05)
        if not slept and singing == while_singing and room.now() > 8.0:
            slept.append(room.now())
            room.sound = np.concatenate([room.sound[:room.at], np.zeros(60 * RATE, np.float32), room.sound[room.at:]])
            room.at += 60 * RATE
            room.lost += 1
        return real(timeout_s)

    room.read = read  # type: ignore[method-assign]
    here.pupil_sings = lambda line, shift, q: sung(line, shift, q)
    Lesson(here, load("snail-wall"), "snail-wall").run()
    assert slept
    assert wrong(here) == 0
    assert [t.kind for t in here.taken].count("all right") >= 1


def devices(room: Room, answered: Callable[[Any], None] = lambda taken: None,
            ears: Callable[[Any], Any] | None = None) -> tuple[Devices, RoomOut]:
    out = RoomOut(room)
    return Devices(out=lambda settings, show: out, keys=lambda bound: Keys(bound, source=None), ears=ears or (lambda s: room),
                   prepare=lambda: None, answered=answered), out


@pytest.mark.parametrize("said", ["There is no microphone. Plug one in.",
                                  "No microphone is called 'nosuch'. There is: Built-in."])
def test_without_the_microphone_asked_for_a_session_ends_with_its_sentence(tmp_path: Path, said: str) -> None:
    def none(settings: Any) -> Any:
        raise Trouble(said)

    for run in (lambda o: run_practise("Pip", o), lambda o: run_lesson(o, "snail-wall", "Pip")):
        made, out = devices(Room(), ears=none)
        with pytest.raises(Trouble) as caught:
            run(SessionOptions(diary=str(tmp_path / "d.sqlite"), new=True, devices=made))
        assert str(caught.value) == said
        assert "Hello" not in " ".join(out.said)


def test_a_muted_microphone_is_told_before_the_child_is_greeted_and_waited_for(tmp_path: Path) -> None:
    room = Room(noise_db=-200)
    made, out = devices(room)

    def unmute(text: str) -> None:
        if text.startswith("The microphone gives no sound"):
            room.noise = 1e-3
        elif text.startswith("Hello"):
            raise KeyboardInterrupt  # as far as is wanted here

    out.on_say = unmute
    with pytest.raises(KeyboardInterrupt):
        run_practise("Pip", SessionOptions(diary=str(tmp_path / "d.sqlite"), new=True, devices=made))
    assert out.said == ["The microphone gives no sound. It may be muted or switched off. Please fetch someone.",
                        "Hello Pip. Let us sing."]


def test_a_microphone_that_gives_nothing_yet_is_not_called_muted(tmp_path: Path) -> None:
    """As a browser's that still asks whether it may listen."""
    room = Room()
    looks = []

    def nothing(timeout_s: float = 0.1) -> None:
        looks.append(1)

    room.read = nothing  # type: ignore[method-assign,assignment]
    made, out = devices(room)
    out.on_say = lambda text: (_ for _ in ()).throw(KeyboardInterrupt)
    with pytest.raises(KeyboardInterrupt):
        run_practise("Pip", SessionOptions(diary=str(tmp_path / "d.sqlite"), new=True, devices=made))
    assert out.said == ["Hello Pip. Let us sing."]
    assert len(looks) == 30


def test_a_microphone_that_stays_muted_ends_it_with_one_sentence(tmp_path: Path) -> None:
    made, out = devices(Room(noise_db=-200))
    with pytest.raises(Trouble, match="no sound for 5 minutes"):
        run_practise("Pip", SessionOptions(diary=str(tmp_path / "d.sqlite"), new=True, devices=made))
    assert len(set(out.said)) == 1
    assert len(out.said) == 5  # once a minute


@pytest.mark.skipif(not hasattr(signal, "SIGHUP"), reason="This system closes no terminal by a signal.")
@pytest.mark.parametrize("name", ["SIGHUP", "SIGTERM"])
def test_a_closed_terminal_ends_the_session_and_keeps_what_was_sung(tmp_path: Path, name: str) -> None:
    room = Room()
    before = signal.getsignal(getattr(signal, name))
    made, out = devices(room, answered=lambda taken: os.kill(os.getpid(), getattr(signal, name)))

    def on_tone() -> None:
        room.put(sung(load("snail-wall").phrase(1), 6.0, 60 / 76), 0.5)

    real = out.sound
    out.sound = lambda *args, **more: (real(*args, **more), on_tone())[0]  # type: ignore[method-assign,func-returns-value]
    with pytest.raises(KeyboardInterrupt), Ending() as ending:  # as `companion.command.main` runs it
        run_lesson(SessionOptions(diary=str(tmp_path / "d.sqlite"), new=True, devices=made), "snail-wall", "Pip")
    assert ending.code == 128 + getattr(signal, name), "the session leaves it to the command what a signal means"
    assert signal.getsignal(getattr(signal, name)) == before
    with Diary(tmp_path / "d.sqlite") as diary:
        assert len(diary.takes(diary.pupil("Pip"))) == 1


def test_two_sessions_of_one_pupil_at_once_both_keep_their_takes(tmp_path: Path) -> None:
    path = tmp_path / "d.sqlite"
    with Diary(path) as one, Diary(path) as other:
        here = lesson(Room(), diary=one, pupil=one.pupil("Pip", new=True))
        there = lesson(Room(), diary=other, pupil=other.pupil("Pip"))
        assert len(here.taken) == len(there.taken) == 2
        assert len(one.takes(one.pupil("Pip"))) == 4
    assert all(t.number is not None for t in (*here.taken, *there.taken))


def test_a_diary_that_became_read_only_keeps_the_takes_beside_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "d.sqlite"
    with Diary(path) as diary:
        pip = diary.pupil("Pip", new=True)

        def refused(*_: object) -> int:
            raise Trouble("The diary may not be written. Give a folder in which you may write.")

        monkeypatch.setattr(diary, "add_take", refused)
        here = lesson(Room(), diary=diary, pupil=pip)
        here.keep_at_end()
        said = here.out.said  # type: ignore[attr-defined]
        assert sum(text.startswith("The diary may not be written.") for text in said) == 1
    with Diary(path) as again:  # takes over what was kept beside it
        assert len(again.takes(again.pupil("Pip"))) == 2


def test_a_lost_loudspeaker_is_looked_for_at_every_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    """For new devices to be listed all streams have to be closed, so the microphone is opened anew."""
    room = Room()
    here, looked = session(room), []
    monkeypatch.setattr(room, "again", lambda: looked.append(1) or True)
    here.say_line("One.")
    here.out._lost = True
    here.say_line("Two.")
    here.say_line("Three.")
    here.out._lost = False
    here.say_line("Four.")
    assert len(looked) == 2
    assert here.out.said == ["One.", "Two.", "Three.", "Four."]  # type: ignore[attr-defined]
