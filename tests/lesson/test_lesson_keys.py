"""Keys: each press an action, any key bound, pedals that send named keys; both commands driven through tmux."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from soundcard import SoundCard

from companion.diary import Action
from companion.errors import Trouble
from companion.language import English
from companion.lesson.keys import USUAL, Keys, bindings, console_key, help_lines, read_binding

ROOT = Path(__file__).resolve().parents[2]


def pressed(text: str, bound: dict[str, str] | None = None) -> list[Action]:
    keys = Keys(bindings(bound))
    while text:
        text = keys._one(text)
    out = []
    while (action := keys.get()) is not None:
        out.append(action)
    return out


def test_a_press_is_an_action_without_enter() -> None:
    assert pressed(" \nanbwq") == ["go", "go", "again", "next", "back", "where", "quit"]
    assert pressed("yzv") == []
    assert pressed("x\x1b") == ["strike", "pause"]
    assert pressed("A") == ["again"]


def test_keys_with_names_as_terminals_send_them() -> None:
    """ECMA-48 control sequences as xterm and the Linux console send them."""
    bound = {"pagedown": "go", "pageup": "again", "f9": "next", "up": "higher", "f1": "where"}
    assert pressed("\x1b[6~\x1b[5~\x1b[20~\x1b[A\x1bOA\x1bOP\x1b[[A", bound) == \
        ["go", "again", "next", "higher", "higher", "where", "where"]
    assert pressed("\x1b") == ["pause"]
    assert pressed("\x1b[34;5~w") == ["where"]  # a key that nobody has named is no other key


def test_any_key_can_be_bound_and_what_is_none_is_said() -> None:
    assert pressed("b", {"b": "go"}) == ["go"]
    assert read_binding("pagedown=go") == ("pagedown", "go")
    for wrong in ("pagedown", "=go", "x=fly", ""):
        with pytest.raises(Trouble, match=r"Actions are|KEY=ACTION"):
            read_binding(wrong)
    with pytest.raises(Trouble, match="no action fly"):
        bindings({"x": "fly"})


def test_the_readme_has_every_key_with_the_words_that_are_spoken() -> None:
    from companion.language.lesson import KEY_LINES

    rows = [[cell.strip() for cell in line.strip("|").split("|")] for line in (ROOT / "README.md").read_text("utf-8").splitlines()
            if line.startswith("| ") and line.count("|") == 4]
    told = {word.strip("`"): (keys.replace("`", ""), what) for keys, what, word in rows[1:] if word != "---"}
    wanted = {action.value: (" or ".join(k for k, a in USUAL.items() if a is action),
                             KEY_LINES[action].removeprefix("{keys}: ").rstrip(".")) for action in Action}
    assert told == wanted


def test_every_action_has_a_key_and_help_names_them() -> None:
    assert set(USUAL.values()) == set(Action)
    lines = help_lines(English(), USUAL)
    assert len(lines) == len(Action)
    assert lines[0] == ("space or enter: the likely next thing: cut short what is playing, sing again, or go to the next "
                        "phrase.")
    assert lines[4] == "w: where am I."


def test_keys_come_through_a_pipe_and_its_end_is_no_fault(tmp_path: Path) -> None:
    read, write = os.pipe()
    with os.fdopen(read) as source, Keys(source=source) as keys:
        os.write(write, b"wn")
        os.close(write)
        end = time.monotonic() + 5
        got: list[Action] = []
        while len(got) < 2 and time.monotonic() < end:
            action = keys.get()
            got += [action] if action else []
        assert got == ["where", "next"]


class Terminal:
    """A tmux session of its own server, 80 by 24."""

    def __init__(self, card: SoundCard, command: str) -> None:
        self.socket = f"companion-test-{os.getpid()}"
        self.env = {**card.env, "TERM": "xterm-256color"}
        # The shell tells the end: tmux itself now and then does not notice that a program has gone.
        self._tmux("new-session", "-d", "-s", "t", "-x", "80", "-y", "24", f"{command}; echo Ended with $?.; exec sleep 600")

    def _tmux(self, *arguments: str) -> str:
        return subprocess.run(["tmux", "-L", self.socket, "-f", os.devnull, *arguments], env=self.env,
                              capture_output=True, text=True, timeout=10, check=True).stdout

    def press(self, key: str) -> None:
        self._tmux("send-keys", "-t", "t", key)

    @property
    def text(self) -> str:
        """All that was written, lines that the terminal broke joined again."""
        return self._tmux("capture-pane", "-t", "t", "-p", "-J", "-S", "-")

    def until(self, ready: Callable[[str], bool], seconds: float = 20.0) -> str:
        end = time.monotonic() + seconds
        while not ready(text := self.text):
            assert time.monotonic() < end, f"it did not come about in time; the screen: {text}"
            time.sleep(0.1)
        return text

    def close(self) -> None:
        subprocess.run(["tmux", "-L", self.socket, "kill-server"], env=self.env, capture_output=True)


def plain(text: str) -> bool:
    """Nothing that a screen reader or a braille display would stumble over."""
    return all(c == "\n" or (c.isprintable() and ord(c) < 0x2000) for c in text) and "  " not in text.strip()


@pytest.mark.skipif(not shutil.which("tmux"), reason="tmux is missing (package tmux)")
def test_a_lesson_by_keys_alone_in_a_terminal(soundcard_apart: SoundCard) -> None:
    terminal = Terminal(soundcard_apart, f"{sys.executable} -m companion lesson snail-wall --speech off "
                                         "--bind pagedown=next")
    try:
        terminal.until(lambda t: "Snail on the wall. 2 phrases." in t)
        terminal.press("w")
        terminal.until(lambda t: "Phrase 1 of 2, bars 1 to 2: Snail on the wall, creep up slow." in t)
        terminal.press("NPage")
        time.sleep(0.3)
        terminal.press("w")
        terminal.until(lambda t: "Phrase 2 of 2" in t)
        terminal.press("m")
        terminal.until(lambda t: "Nothing has been sung yet." in t)
        terminal.press("q")
        terminal.until(lambda t: "End here?" in t)
        terminal.press("q")
        text = terminal.until(lambda t: "Ended with 0." in t)
        said = text.split("Ended with")[0]
        assert plain(said), said
        # A line for each thing asked, and no key stands on the screen.
        assert [line for line in said.split("\n") if line] == [
            "Snail on the wall. 2 phrases.", "Phrase 1 of 2, bars 1 to 2: Snail on the wall, creep up slow.",
            said.split("\n")[2], "Nothing has been sung yet.",
            "End here? The same key once more ends it."]
    finally:
        terminal.close()


@pytest.mark.slow
@pytest.mark.skipif(not shutil.which("tmux"), reason="tmux is missing (package tmux)")
def test_practise_by_keys_alone_in_a_terminal(soundcard_apart: SoundCard, tmp_path: Path) -> None:
    terminal = Terminal(soundcard_apart, f"{sys.executable} -m companion practise Pip --speech off "
                                         f"--tune snail-wall --no-warm-up --diary {tmp_path / 'd.sqlite'}")
    try:
        terminal.until(lambda t: "Snail on the wall." in t)
        terminal.press("s")
        terminal.until(lambda t: "Slower." in t)
        terminal.press("w")
        terminal.until(lambda t: "Snail on the wall, phrase 1." in t)
        terminal.press("q")
        terminal.until(lambda t: "End here?" in t)
        terminal.press("q")
        text = terminal.until(lambda t: "Ended with 0." in t)
        said = text.split("Ended with")[0]
        assert plain(said), said
        assert "That is all for today, Pip. Next time we sing again." in said
    finally:
        terminal.close()


@pytest.mark.parametrize(("codes", "action"), [
    (" ", Action.GO), ("\r", Action.GO), ("\x1b", Action.PAUSE), ("q", Action.QUIT), ("\xe0Q", Action.AGAIN),
    ("\x00Q", Action.AGAIN), ("\x00C", Action.LOWER), ("\xe0\x86", None), ("\xe0z", None)])
def test_keys_of_a_windows_console_come_in_two_parts(codes: str, action: Action | None) -> None:
    """Microsoft, "_getch, _getwch": a function or arrow key gives 0 or 0xE0 first, then its scan code; both are read."""
    keys = Keys(bindings({"pagedown": "again", "f9": "lower"}))
    given = iter(codes)
    keys.press(console_key(lambda: next(given)))
    assert keys.get() is action
    assert list(given) == []
