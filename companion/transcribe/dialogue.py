"""Corrections line by line: a command is read, done and told; "play" sounds the tune, "undo" takes one back."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

from companion.errors import Trouble
from companion.transcribe.corrections import HELP, correct
from companion.transcribe.door import Written, tune_sound

PROMPT = "Say a correction, help, play, bars, undo, or nothing to end."


def talk(written: Written, source: Iterable[str], say: Callable[[str], None], american: bool = False) -> Written:
    """Read commands until an empty line or the end. Returns the corrected score."""
    past: list[Written] = []
    say(PROMPT)
    for line in source:
        command = line.strip()
        if not command or command.lower() in ("done", "end", "stop"):
            break
        low = command.lower()
        if low == "help":
            for example in HELP:
                say(f"{example}.")
        elif low in ("bars", "read", "again"):
            for text in written.lines(american):
                say(text)
        elif low == "undo":
            if past:
                written = past.pop()
                say("The last correction is taken back.")
            else:
                say("There is nothing to take back.")
        elif low == "play":
            try:
                from companion.audio import play

                play(tune_sound(written.notation.tune))
            except Trouble as trouble:
                say(str(trouble))
        else:
            try:
                done = correct(written.notation, command)
            except Trouble as trouble:
                say(str(trouble))
                continue
            past.append(written)
            written = replace(written, notation=done.notation, said=())
            say(done.say)
    return written
