"""Corrections of a written-down take line by line: a line is read, done and answered; "play" sounds the tune."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

from companion.audio import play
from companion.errors import Trouble
from companion.language import EXAMPLES, Language, Order, change_line, read_correction, score_lines
from companion.paper import tune_sound
from companion.transcribe import Transcription, correct


def corrected(language: Language, transcription: Transcription, source: Iterable[str],
              say: Callable[[str], None]) -> Transcription:
    """Read lines until an empty one or the end. Returns the corrected score."""
    past: list[Transcription] = []
    say(language.message("Say a correction, help, play, bars, undo, or nothing to end."))
    for line in source:
        text = line.strip()
        order = language.correction_words.orders.get(text.lower())
        if not text or order == Order.END:
            break
        if order == Order.HELP:
            for example in EXAMPLES:
                say(language.message(example) + ".")
        elif order == Order.BARS:
            for said in score_lines(language, transcription):
                say(said)
        elif order == Order.UNDO:
            say(language.message("The last correction is taken back.") if past else
                language.message("There is nothing to take back."))
            transcription = past.pop() if past else transcription
        else:
            try:
                if order == Order.PLAY:
                    play(tune_sound(transcription.notation.tune))
                    continue
                done = correct(transcription.notation, read_correction(language, text))
            except Trouble as trouble:
                say(str(trouble))
                continue
            past.append(transcription)
            transcription = replace(transcription, notation=done.notation, changes=(), laid=None)
            say(change_line(language, done.change))
    return transcription
