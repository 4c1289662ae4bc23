"""Words go out spoken or written, never both; without a loudspeaker they are written."""

from __future__ import annotations

import io
from typing import Any

import pytest

from companion.diary import SettingName, default_settings
from companion.errors import Trouble
from companion.lesson.out import Out


class Player:
    """Stands for companion.audio.Loudspeaker, the class and the one that it makes."""

    def __init__(self, fails: bool = False) -> None:
        self.fails, self.played, self.stopped, self.opened = fails, 0, False, 0

    def __call__(self, device: Any, cap_db: float) -> Any:
        self.opened += 1
        self.cap_db = cap_db
        return self

    def play(self, sound: Any) -> Any:
        if self.fails:
            raise Trouble("There is no loudspeaker.")
        self.played += 1
        player = self

        class Playing:
            waits = 0

            def wait(self, timeout: float | None = None) -> bool:
                self.waits += 1
                return timeout is None or self.waits > 3

            def stop(self) -> None:
                player.stopped = True

        return Playing()


def out(monkeypatch: pytest.MonkeyPatch, player: Player, show: bool = False, **settings: Any) -> tuple[Out, Any]:
    monkeypatch.setattr("companion.audio.Loudspeaker", player)
    stream = io.StringIO()
    return Out({**default_settings(), **{SettingName(n): v for n, v in settings.items()}}, show, stream), stream


def test_spoken_words_are_not_written(monkeypatch: pytest.MonkeyPatch) -> None:
    player = Player()
    one, stream = out(monkeypatch, player)
    assert one.say("All five right.")
    assert player.played == 1
    assert player.cap_db == default_settings()[SettingName.LOUDNESS]
    assert stream.getvalue() == ""


def test_written_words_are_not_spoken(monkeypatch: pytest.MonkeyPatch) -> None:
    player = Player()
    one, stream = out(monkeypatch, player, speech="off")
    assert one.say("All five right.")
    assert player.played == 0
    assert stream.getvalue() == "All five right.\n"


@pytest.mark.parametrize("show", [False, True])
@pytest.mark.parametrize("fails", [False, True])
def test_what_will_stand_on_the_screen_anyway_is_spoken_and_not_written(monkeypatch: pytest.MonkeyPatch, show: bool,
                                                                        fails: bool) -> None:
    """Why a session ends: the command writes it."""
    player = Player(fails)
    one, stream = out(monkeypatch, player, show)
    one.speak("There is no microphone.")
    assert (player.played, stream.getvalue()) == ((0, "There is no loudspeaker.\n") if fails else (1, ""))
    silent, stream = out(monkeypatch, player, show, speech="off")
    silent.speak("There is no microphone.")
    assert stream.getvalue() == ""


def test_a_helper_sees_what_is_spoken(monkeypatch: pytest.MonkeyPatch) -> None:
    one, stream = out(monkeypatch, Player(), show=True)
    one.say("All five right.")
    assert stream.getvalue() == "All five right.\n"


def test_a_key_cuts_it_short(monkeypatch: pytest.MonkeyPatch) -> None:
    player = Player()
    one, _ = out(monkeypatch, player)
    assert not one.say("All five right.", interrupt=lambda: True)
    assert player.stopped


def test_without_a_loudspeaker_nothing_is_lost(monkeypatch: pytest.MonkeyPatch) -> None:
    one, stream = out(monkeypatch, Player(fails=True))
    one.say("Hello Pip.")
    one.say("All five right.")
    assert stream.getvalue().splitlines() == ["There is no loudspeaker.", "Hello Pip.", "All five right."]


def test_a_loudspeaker_that_comes_back_speaks_again(monkeypatch: pytest.MonkeyPatch) -> None:
    player = Player(fails=True)
    one, stream = out(monkeypatch, player)
    one.say("Hello Pip.")
    player.fails = False
    one.say("All five right.")
    player.fails = True
    one.say("Now you.")
    assert player.played == 1
    assert stream.getvalue().splitlines() == ["There is no loudspeaker.", "Hello Pip.", "There is no loudspeaker.", "Now you."]


def test_the_work_that_waits_begins_once_it_sounds(monkeypatch: pytest.MonkeyPatch) -> None:
    player = Player()
    one, _ = out(monkeypatch, player)
    order: list[int] = []
    one.say("Hello.", after_start=lambda: order.append(player.played))
    assert order == [1]


def test_one_loudspeaker_is_opened_for_all_that_is_played(monkeypatch: pytest.MonkeyPatch) -> None:
    from companion.audio import starting_note

    player = Player()
    one, _ = out(monkeypatch, player)
    one.say("Hello.")
    one.sound(starting_note(60, 0.1))
    one.say("All five right.")
    assert (player.opened, player.played) == (1, 3)
