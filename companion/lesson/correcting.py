"""Corrections of a written-down take line by line: a line is read, done whole or not at all, and answered."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

from companion.audio import OUTPUT_RATE, Sound, concatenated, play, silence
from companion.errors import Trouble
from companion.language import (
    EXAMPLES,
    HEAR_AGAIN,
    Language,
    Order,
    bar_lines,
    bar_question_line,
    change_line,
    question_line,
    read_answer,
    read_corrections,
    read_order,
    read_version,
    score_lines,
    unsure_line,
)
from companion.lesson.comparing import compared_sound
from companion.paper import tune_sound
from companion.transcribe import (
    MOST_QUESTIONS,
    Action,
    Change,
    ChangeKind,
    Correction,
    Notation,
    QuestionKind,
    Take,
    Transcription,
    answered,
    bar_question,
    correct_all,
    question,
    settled,
    sung_again,
    unsure_bars,
)
from companion.tune import Tune

Say = Callable[[str], None]
BETWEEN_S = 0.7  # silence between two versions


def asked(language: Language, transcription: Transcription, source: Iterator[str], say: Say,
          sounded: Callable[[Sound], None] = play) -> Transcription:
    """Ask what settles most of the metre, then about the bars that are least sure, three questions at most in all.

    The take is read again with each answer. An answer that is none is asked for once more; the end of the source ends the
    questions.
    sounded: plays the versions of a bar.
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
    try:
        return _bars_asked(language, transcription, source, say, MOST_QUESTIONS - len(kinds), sounded)
    except Trouble as trouble:  # without a loudspeaker there is nothing to choose by
        say(str(trouble))
        return transcription


def _bars_asked(language: Language, transcription: Transcription, source: Iterator[str], say: Say, most: int,
                sounded: Callable[[Sound], None]) -> Transcription:
    """Ask about the bars that are least sure: two versions or three are sounded, and the one that was heard stays."""
    bars: list[int] = []
    while len(bars) < most and (now := bar_question(transcription.notation, bars)) is not None:
        bars.append(now.bar)
        version: int | None = None
        versions = [_bar_sound(n, now.bar) for n in (transcription.notation, *now.others)]
        gap = silence(BETWEEN_S, OUTPUT_RATE)
        for _ in range(3):
            say(bar_question_line(language, now.bar, len(versions)))
            sounded(concatenated(*[part for sound in versions for part in (sound, gap)][:-1], rate=OUTPUT_RATE))
            line = next(source, None)
            if line is None:
                return transcription
            version = read_version(language, line, len(versions))
            if version is not None and version != HEAR_AGAIN:
                break
        if version:
            transcription = transcription.mended(settled(transcription.notation, now, version))
            say(bar_lines(language, _bars_of(transcription.notation.tune, now.bar, now.bar))[0])
    return transcription


def _bar_sound(notation: Notation, bar: int) -> Sound:
    """A bar as it is written, at its tempo."""
    tune = notation.tune
    return tune_sound(_bars_of(replace(tune, quarter_bpm=notation.quarter_bpm), bar, bar))


def _bars_of(tune: Tune, first: int, last: int) -> Tune:
    return replace(tune, bars=tuple(b for b in tune.bars if first <= b.number <= last))


def corrected(language: Language, transcription: Transcription, source: Iterator[str], say: Say,
              listen: Callable[[], Take] | None = None, sounded: Callable[[Sound], None] = play) -> Transcription:
    """Read lines until an empty one or the end. Returns the corrected score.

    listen: records what is sung; None where there is no microphone. sounded: plays a sound.
    """
    say(language.message("Say a correction, help, play, compare, bars, ask, undo, redo, or nothing to end."))
    for line in source:
        text = line.strip()
        order = read_order(language, text)
        if not text or order == Order.END:
            break
        try:
            transcription = (_ordered(language, transcription, order, source, say, sounded) if order else
                             _mended(language, transcription, text, say, listen))
        except Trouble as trouble:
            say(str(trouble))
    return transcription


def _ordered(language: Language, transcription: Transcription, order: Order, source: Iterator[str], say: Say,
             sounded: Callable[[Sound], None]) -> Transcription:
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
        sounded(tune_sound(transcription.notation.tune))
    elif order == Order.COMPARE:
        sounded(compared_sound(transcription))
    elif order == Order.ASK:
        return _asked_now(language, transcription, source, say, sounded)
    return transcription


def _asked_now(language: Language, transcription: Transcription, source: Iterator[str], say: Say,
               sounded: Callable[[Sound], None]) -> Transcription:
    """Questions while corrections are typed; then which bars are unsure is said anew."""
    if question(transcription.notation) is None and bar_question(transcription.notation) is None:
        say(language.message("There is nothing left that a question would settle."))
        return transcription
    done = asked(language, transcription, source, say, sounded)
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
    for line in bar_lines(language, _bars_of(notation.tune, first, last)):
        say(line)
    return transcription.mended(notation, typed=text)
