"""A sitting of the course at a terminal: typed lines, spoken or written words, cells, tones, and the microphone."""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from companion.braille import to_ascii, to_dots
from companion.course import Item, TuneToHear
from companion.diary import SettingName, Settings, Speech
from companion.ear import RATE, Microphone, MicrophoneGone, PitchTrack, Sound
from companion.language import Language, sound_for_helper
from companion.lesson.course_sitting import SittingIO
from companion.lesson.listen import HeardKind, Listener
from companion.lesson.out import Out
from companion.lesson.question_sound import led_in, sound_of_question
from companion.messages import _

MOST_EMPTY = 30  # reads of a tenth of a second without any sound: the microphone has gone, whatever it says
#: How cells are written.
CELL_FORMS: dict[str, Callable[[str], str]] = {"cells": str, "ascii": to_ascii, "dots": to_dots}


class Ears(Protocol):
    """What a sitting listens with: a `companion.ear.Microphone`, or a test's."""

    def read(self) -> NDArray[np.float32] | None: ...
    def close(self) -> None: ...


def terminal(settings: Settings, language: Language, *, silent: bool = False, listens: bool = False,
             hands_free: bool = False, cells_as: str = "cells", shift: int = 0) -> SittingIO:
    """A sitting at the terminal, by a pupil's settings.

    silent: nothing is sounded, and the helper is told what to sing or play. listens: sung answers come through the
    microphone. cells_as: one of CELL_FORMS. shift: semitones between the written notes and those that are sounded.
    """
    out = Out({**settings, SettingName.SPEECH: Speech.OFF.value} if silent else settings)
    return SittingIO(language, _typed, out.say, _shower(out, cells_as), _sounder(out, language, silent, shift),
                     listener(settings) if listens or hands_free else None, hands_free,
                     clap_listener(settings, out) if listens and not silent else None)


def _typed() -> str | None:
    line = sys.stdin.readline()
    return str(line).rstrip("\r\n") if line else None


def _shower(out: Out, cells_as: str) -> Callable[[str], None]:
    """Cells are written, for fingers on a braille display. Their dots are not spoken: that would be to read by ear; a
    question mark asks for them."""
    def show(cells: str) -> None:
        out.write(CELL_FORMS[cells_as](cells))

    return show


def _sounder(out: Out, language: Language, silent: bool, shift: float) -> Callable[[Item | TuneToHear], None]:
    """What a question sounds, played; or the helper is told what to sound."""
    def sound(item: Item | TuneToHear) -> None:
        made = None if silent else sound_of_question(item, shift)
        if made is not None:
            out.sound(made)
        # Where the loudspeaker is not there, `Out` has said so once, and looks for it at every sound; meanwhile the helper sounds
        # the notes.
        if silent or (made is not None and out.lost):
            told = sound_for_helper(language, item)
            if told:
                out.say(told)

    return sound


def listener(settings: Settings) -> Callable[[Item], PitchTrack | None]:
    """Opens the microphone for one sung answer. The result gives the take, None where nothing was sung, and raises
    Trouble where the microphone cannot be opened or goes away."""
    def listen(item: Item) -> PitchTrack | None:
        microphone = Microphone(settings[SettingName.MICROPHONE] or None)
        try:
            return hear_answer(item, microphone)
        finally:
            microphone.close()

    return listen


AFTER_S = 1.2  # heard on after the last beat: the last clap may come late


def clap_listener(settings: Settings, out: Out) -> Callable[[Item], Sound | None]:
    """Opens the microphone, counts in and sounds the beat for one clapped answer. The result gives the recording, None where
    the loudspeaker is away: then the helper counts, and judges."""
    def listen(item: Item) -> Sound | None:
        microphone = Microphone(settings[SettingName.MICROPHONE] or None)
        try:
            return record_claps(led_in(item), microphone, out.sound)
        finally:
            microphone.close()

    return lambda item: None if out.lost else listen(item)


def record_claps(led: Sound, ears: Ears, play: Callable[[Sound, Callable[[], bool]], object]) -> Sound:
    """What the microphone hears while `led` is played and for AFTER_S more.

    play: plays a sound to its end and asks again and again whether it is to stop. Raises Trouble where no more sound comes.
    """
    heard: list[NDArray[np.float32]] = []

    def take() -> bool:
        samples = _sound_from(ears)
        heard.append(samples if samples is not None else np.zeros(0, dtype=np.float32))
        if len(heard) > MOST_EMPTY and not any(map(len, heard[-MOST_EMPTY:])):
            raise _gone()
        return False

    play(led, take)
    wanted = sum(map(len, heard)) + round(AFTER_S * RATE)
    while sum(map(len, heard)) < wanted:
        take()
    return Sound(np.concatenate(heard), RATE)


def hear_answer(item: Item, ears: Ears) -> PitchTrack | None:
    """A sung answer, None where nothing was sung for long. What was no singing is passed over.

    Raises Trouble where no more sound comes.
    """
    ear = Listener(item.sung)
    empty = 0
    while True:
        samples = _sound_from(ears)
        if samples is None or not len(samples):
            empty += 1
            if empty >= MOST_EMPTY:
                raise _gone()
            continue
        empty = 0
        heard = ear.push(samples)
        if heard is None:
            continue
        if heard.kind in (HeardKind.TAKE, HeardKind.SILENCE):
            return heard.track
        ear = Listener(item.sung)


def _sound_from(ears: Ears) -> NDArray[np.float32] | None:
    try:
        return ears.read()
    except Exception as error:  # whatever the driver raises, the pupil needs one sentence and goes on by keys
        raise _gone() from error


def _gone() -> MicrophoneGone:
    return MicrophoneGone(_("The microphone has gone. Plug it in again."))
