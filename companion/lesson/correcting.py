"""Corrections of a written-down take line by line: a line is read, done whole or not at all, and answered."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace

from companion.audio import play
from companion.errors import Trouble
from companion.language import (
    EXAMPLES,
    Language,
    Order,
    change_line,
    question_line,
    read_answer,
    read_corrections,
    read_order,
    score_lines,
    unsure_line,
)
from companion.paper import tune_sound
from companion.transcribe import QuestionKind, Transcription, answered, correct_all, question, unsure_bars


def asked(language: Language, transcription: Transcription, source: Iterator[str], say: Callable[[str], None]) -> Transcription:
    """Ask what settles most of the metre, three questions at most, and read the take again with each answer.

    An answer that is none is asked for once more; the end of the source ends the questions.
    """
    kinds: tuple[QuestionKind, ...] = ()
    while (now := question(transcription.notation, kinds)) is not None:
        kinds = (*kinds, now.kind)
        given = None
        for _ in range(2):
            say(question_line(language, now))
            line = next(source, None)
            if line is None:
                return transcription
            given = read_answer(language, now, line)
            if given is not None:
                break
        if given is not None:
            transcription = replace(transcription, notation=answered(transcription.notation, given))
    return transcription


def corrected(language: Language, transcription: Transcription, source: Iterable[str],
              say: Callable[[str], None]) -> Transcription:
    """Read lines until an empty one or the end. Returns the corrected score."""
    past: list[Transcription] = []
    undone: list[Transcription] = []
    say(language.message("Say a correction, help, play, bars, undo, redo, or nothing to end."))
    for line in source:
        text = line.strip()
        order = read_order(language, text)
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
            if past:
                undone.append(transcription)
                transcription = past.pop()
        elif order == Order.REDO:
            say(language.message("The correction is made again.") if undone else
                language.message("There is nothing to make again."))
            if undone:
                past.append(transcription)
                transcription = undone.pop()
        else:
            try:
                if order == Order.PLAY:
                    play(tune_sound(transcription.notation.tune))
                    continue
                notation, changes = correct_all(transcription.notation, read_corrections(language, text))
            except Trouble as trouble:
                say(str(trouble))
                continue
            past.append(transcription)
            undone = []
            before = unsure_bars(transcription.notation)
            transcription = replace(transcription, notation=notation, changes=(), laid=None)
            for change in changes:
                say(change_line(language, change))
            if unsure_bars(notation) != before:
                say(unsure_line(language, notation))
    return transcription
