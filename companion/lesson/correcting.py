"""Corrections of a written-down take line by line: a line is read, done whole or not at all, and answered."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

from companion.audio import play
from companion.errors import Trouble
from companion.language import (
    EXAMPLES,
    Language,
    Order,
    bar_lines,
    change_line,
    question_line,
    read_answer,
    read_corrections,
    read_order,
    score_lines,
    unsure_line,
)
from companion.lesson.comparing import compared_sound
from companion.paper import tune_sound
from companion.transcribe import (
    Action,
    Change,
    ChangeKind,
    Correction,
    QuestionKind,
    Take,
    Transcription,
    answered,
    correct_all,
    question,
    sung_again,
    unsure_bars,
)

Say = Callable[[str], None]


def asked(language: Language, transcription: Transcription, source: Iterator[str], say: Say) -> Transcription:
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
            notation = answered(transcription.notation, given)
            if notation is not transcription.notation:
                transcription = transcription.mended(notation)
    return transcription


def corrected(language: Language, transcription: Transcription, source: Iterator[str], say: Say,
              listen: Callable[[], Take] | None = None) -> Transcription:
    """Read lines until an empty one or the end. Returns the corrected score.

    listen: records what is sung; None where there is no microphone.
    """
    say(language.message("Say a correction, help, play, compare, bars, ask, undo, redo, or nothing to end."))
    for line in source:
        text = line.strip()
        order = read_order(language, text)
        if not text or order == Order.END:
            break
        try:
            transcription = (_ordered(language, transcription, order, source, say) if order else
                             _mended(language, transcription, text, say, listen))
        except Trouble as trouble:
            say(str(trouble))
    return transcription


def _ordered(language: Language, transcription: Transcription, order: Order, source: Iterator[str], say: Say) -> Transcription:
    """What was typed instead of a correction."""
    if order == Order.HELP:
        for example in EXAMPLES:
            say(language.message(example) + ".")
    elif order == Order.BARS:
        for said in score_lines(language, transcription):
            say(said)
    elif order == Order.UNDO:
        say(language.message("The last correction is taken back.") if transcription.past else
            language.message("There is nothing to take back."))
        return transcription.taken_back() if transcription.past else transcription
    elif order == Order.REDO:
        say(language.message("The correction is made again.") if transcription.undone else
            language.message("There is nothing to make again."))
        return transcription.made_again() if transcription.undone else transcription
    elif order == Order.PLAY:
        play(tune_sound(transcription.notation.tune))
    elif order == Order.COMPARE:
        play(compared_sound(transcription))
    elif order == Order.ASK:
        return _asked_now(language, transcription, source, say)
    return transcription


def _asked_now(language: Language, transcription: Transcription, source: Iterator[str], say: Say) -> Transcription:
    """Questions while corrections are typed; then which bars are unsure is said anew."""
    if question(transcription.notation) is None:
        say(language.message("There is nothing left that a question would settle."))
        return transcription
    done = asked(language, transcription, source, say)
    say(unsure_line(language, done.notation))
    return done


def _mended(language: Language, transcription: Transcription, text: str, say: Say,
            listen: Callable[[], Take] | None) -> Transcription:
    """A line of corrections done, and what is unsure after it. Raises Trouble where any of it cannot be done."""
    corrections = read_corrections(language, text)
    before = transcription.notation
    if len(corrections) == 1 and corrections[0].action is Action.SING_AGAIN and listen:
        done = _sung(language, transcription, corrections[0], text, say, listen)
    else:
        notation, changes = correct_all(before, corrections)
        done = transcription.mended(notation, typed=text)
        for change in changes:
            say(change_line(language, change))
    if unsure_bars(done.notation) != unsure_bars(before):
        say(unsure_line(language, done.notation))
    return done


def _sung(language: Language, transcription: Transcription, asked_for: Correction, text: str, say: Say,
          listen: Callable[[], Take]) -> Transcription:
    """Bars sung again, written in place of what was there, and read out."""
    first, last = asked_for.bar, asked_for.last_bar
    say(language.message("Sing bar {bar} now. Three seconds of silence end it.").format(bar=first) if first == last else
        language.message("Sing bars {bar} to {last} now. Three seconds of silence end it.").format(bar=first, last=last))
    notation = sung_again(transcription.notation, listen().track, first, last)
    kind = ChangeKind.SUNG_AGAIN if first == last else ChangeKind.SUNG_AGAIN_BARS
    say(change_line(language, Change(kind=kind, bar=first, last_bar=last)))
    tune = notation.tune
    for line in bar_lines(language, replace(tune, bars=tuple(b for b in tune.bars if first <= b.number <= last))):
        say(line)
    return transcription.mended(notation, typed=text)
