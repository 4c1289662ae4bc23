"""A recorded take kept in the diary, as a take of a session is."""

from __future__ import annotations

from enum import Enum, auto

from companion.diary import Diary, Pupil, SessionKind
from companion.language import Language
from companion.lesson.answer import Answer
from companion.match import CueKind
from companion.tune import lasting_name


class Kept(Enum):
    """What became of a take that was to be kept."""

    NEW = auto()
    THERE = auto()  # the same file was kept before
    NOT_THIS_TUNE = auto()


def keep_answer(language: Language, found: Answer, diary: Diary, pupil: Pupil) -> Kept:
    """Keep what was heard of a recording: notes, moves, the cue. Its sound stays in its own file alone.

    A take of another tune is none, as in a session; the same recording is kept once. Raises Trouble where the diary cannot be
    written.
    """
    if found.advice.kind is CueKind.ANOTHER_TUNE:
        return Kept.NOT_THIS_TUNE
    tune = lasting_name(found.tune_name)
    heard = [(n.written.number, n.midi, n.onset_s, n.duration_s) for n in found.match.notes]
    for take in diary.takes(pupil, tune=tune):
        if take.session is SessionKind.RECORDED and heard == [
                (n["number"], n["midi"], n["onset_s"], n["duration_s"]) for n in take.notes]:
            return Kept.THERE
    diary.add_take(pupil, SessionKind.RECORDED, tune, found.match, found.cue(language, sounds=False))
    return Kept.NEW


def kept_line(language: Language, kept: Kept, nickname: str) -> str:
    """What became of it, in a sentence."""
    return {
        Kept.NEW: language.message("Kept in {pupil}'s diary."),
        Kept.THERE: language.message("It was in {pupil}'s diary already."),
        Kept.NOT_THIS_TUNE: language.message("Not kept in {pupil}'s diary, since this tune was not found in it."),
    }[kept].format(pupil=nickname)
