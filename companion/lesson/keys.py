"""Keys without a mouse and without Enter: each press is an action, and any key can be bound to any action.

A foot pedal that acts as a keyboard is a key like others. Keys come through standard input: a terminal, or a
pipe. Where neither gives anything (closed, or a service), a session simply runs without keys.
"""

from __future__ import annotations

import os
import queue
import sys
import threading
from collections.abc import Callable, Mapping
from typing import Any, TextIO

from companion.diary import Action
from companion.errors import Trouble
from companion.language import Language, key_line
from companion.messages import _

_ACTIONS = frozenset(Action)

#: Keys that nobody has bound otherwise, in the order in which they are told.
USUAL: dict[str, Action] = {
    "space": Action.GO, "enter": Action.GO, "a": Action.AGAIN, "n": Action.NEXT, "b": Action.BACK, "w": Action.WHERE,
    "r": Action.REPEAT, "s": Action.SLOWER, "f": Action.FASTER, "l": Action.LOWER, "h": Action.HIGHER, "m": Action.MORE,
    "k": Action.KEEP, "?": Action.HELP, "p": Action.PAUSE, "escape": Action.PAUSE, "x": Action.STRIKE, "t": Action.ME,
    "d": Action.HOME, "i": Action.SUMMARY, "q": Action.QUIT}
#: What terminals send for keys with names (ECMA-48 control sequences, as xterm and the Linux console send them).
SEQUENCES = {
    "[A": "up", "[B": "down", "[C": "right", "[D": "left", "OA": "up", "OB": "down", "OC": "right", "OD": "left",
    "[5~": "pageup", "[6~": "pagedown", "[H": "home", "[F": "end", "[1~": "home", "[4~": "end", "[2~": "insert",
    "[3~": "delete", "OP": "f1", "OQ": "f2", "OR": "f3", "OS": "f4", "[11~": "f1", "[12~": "f2", "[13~": "f3",
    "[14~": "f4", "[[A": "f1", "[[B": "f2", "[[C": "f3", "[[D": "f4", "[[E": "f5", "[15~": "f5", "[17~": "f6",
    "[18~": "f7", "[19~": "f8", "[20~": "f9", "[21~": "f10", "[23~": "f11", "[24~": "f12",
}
NAMES = {" ": "space", "\n": "enter", "\r": "enter", "\t": "tab", "\x7f": "backspace", "\x08": "backspace",
         "\x03": "quit-key"}


#: What the console of Windows gives after NUL or U+00E0 for keys that are no letters: their scan codes (Microsoft, "_getch,
#: _getwch"; IBM PC keyboard, set 1).
SCAN_CODES = {
    "G": "home", "H": "up", "I": "pageup", "K": "left", "M": "right", "O": "end", "P": "down", "Q": "pagedown",
    "R": "insert", "S": "delete", ";": "f1", "<": "f2", "=": "f3", ">": "f4", "?": "f5", "@": "f6", "A": "f7", "B": "f8",
    "C": "f9", "D": "f10", "\x85": "f11", "\x86": "f12"}


def console_key(read: Callable[[], str]) -> str:
    """The next key of a Windows console, by its name or character; empty for one without a name. read: `msvcrt.getwch`."""
    first = read()
    if first in ("\x00", "\xe0"):
        return SCAN_CODES.get(read(), "")
    return "escape" if first == "\x1b" else NAMES.get(first, first) if first != "\x03" else first


def bindings(extra: Mapping[str, str] | None = None) -> dict[str, Action]:
    """Key to action: the usual ones and `extra` over them. Raises Trouble for an action that there is not."""
    out = dict(USUAL)
    for key, action in (extra or {}).items():
        if action not in _ACTIONS:
            raise Trouble(_("There is no action {action}. Actions are {ACTIONS}.").format(
                                action=action, ACTIONS=", ".join(Action)))
        out[key.lower() if len(key) > 1 else key] = Action(action)
    return out


def read_binding(text: str) -> tuple[str, Action]:
    """ "pagedown=go" as key and action. Raises Trouble where it is none."""
    key, equals, action = text.partition("=")
    if not key or not equals or action not in _ACTIONS:
        raise Trouble(_("{text} binds no key; give KEY=ACTION, such as pagedown=go. Actions are {ACTIONS}.").format(
                            text=text, ACTIONS=", ".join(Action)))
    return key, Action(action)


def help_lines(language: Language, bound: Mapping[str, Action]) -> list[str]:
    """A line for each action and its keys."""
    keys = {action: [k for k, a in bound.items() if a is action] for action in Action}
    return [key_line(language, action, names) for action, names in keys.items() if names]


class Keys:
    """Actions as they come in. `get` gives the next one or None, at once."""

    def __init__(self, bound: Mapping[str, Action] | None = None, source: TextIO | None = None) -> None:
        self.bound = dict(bound or USUAL)
        self._actions: queue.SimpleQueue[Action] = queue.SimpleQueue()
        self._source = source if source is not None else sys.stdin
        self._before: Any = None
        self._fd = -1

    def __enter__(self) -> Keys:
        try:
            self._fd = self._source.fileno()
        except (AttributeError, ValueError, OSError):
            return self
        if os.isatty(self._fd):
            self._plain()
        threading.Thread(target=self._run, name="keys", daemon=True).start()
        return self

    def __exit__(self, *_: object) -> None:
        if sys.platform != "win32" and self._before is not None:
            import termios

            termios.tcsetattr(self._fd, termios.TCSADRAIN, self._before)
            self._before = None

    def _plain(self) -> None:
        """Each press at once and without showing it; Ctrl+C still ends the program."""
        if sys.platform == "win32":
            return  # keys come from the console below
        import atexit
        import termios
        import tty

        self._before = termios.tcgetattr(self._fd)
        tty.setcbreak(self._fd)
        atexit.register(self.__exit__)

    def _run(self) -> None:
        if sys.platform == "win32" and os.isatty(self._fd):
            import msvcrt

            while True:
                key = console_key(msvcrt.getwch)
                if key == "\x03":  # the console gives Ctrl+C as a key
                    import _thread

                    _thread.interrupt_main()
                    return
                self.press(key)
        while True:
            try:
                data = os.read(self._fd, 1024)
            except OSError:
                return
            if not data:
                return
            text = data.decode("utf-8", errors="replace")
            while text:
                text = self._one(text)

    def _one(self, text: str) -> str:
        """Press the first key of what came in; the rest."""
        if text[0] == "\x1b":
            for size in (4, 5, 3, 2):
                name = SEQUENCES.get(text[1:1 + size])
                if name:
                    self.press(name)
                    return text[1 + size:]
            if len(text) == 1 or text[1] not in "[O":
                self.press("escape")
                return text[1:]
            return text[2:].lstrip("0123456789;")[1:]  # a key that nobody has named
        self.press(NAMES.get(text[0], text[0]))
        return text[1:]

    def press(self, key: str) -> None:
        """A key, by its name or character."""
        action = self.bound.get(key) or self.bound.get(key.lower())
        if action:
            self.ask(action)

    def ask(self, action: Action) -> None:
        """An action, however it was asked for."""
        self._actions.put(action)

    def get(self) -> Action | None:
        """The next action, None where no key was pressed."""
        try:
            return self._actions.get_nowait()
        except queue.Empty:
            return None
