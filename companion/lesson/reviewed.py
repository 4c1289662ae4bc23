"""One take of a list answered: what cannot be answered is said in a sentence, and none takes longer than a minute."""

from __future__ import annotations

import ctypes
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from companion.ear import DEFAULT_TRACKER
from companion.errors import Trouble
from companion.language import Language
from companion.lesson.answer import Answer, answer_take
from companion.lesson.takes_list import Job
from companion.messages import _

MOST_TAKE_S = 60.0  # a take of minutes is answered in seconds


@dataclass(frozen=True)
class Reviewed:
    """One take of a list: take and tune as named there; its answer, or None and one sentence of what went wrong."""

    take: str
    tune: str
    answer: Answer | None
    error: str = ""

    def as_json(self, language: Language) -> dict[str, Any]:
        """As `companion hear --json`, or {"take", "error"}."""
        if self.answer is None:
            return {"take": self.take, "error": self.error}
        return {**self.answer.as_json(language), "take": self.take, "tune": self.tune}


def review_take(job: Job, tracker: str = DEFAULT_TRACKER) -> Reviewed:
    """The answer to one row of a list; what cannot be answered gives a sentence, so that the rest go on."""
    if not job.take:
        return Reviewed(job.take, job.tune, None, _("This line of the list names no take. Put the name of a file under "
                                                    "take."))
    if not job.tune:
        return Reviewed(job.take, job.tune, None, _("This line of the list names no tune. Put a file, or a tune that "
                                                    "ships, under tune."))
    try:
        phrase, verse = (_whole_number(name, value) for name, value in (("phrase", job.phrase), ("verse", job.verse)))
        with _within_time():
            return Reviewed(job.take, job.tune, answer_take(job.take_path, job.tune_path, phrase, job.part or None, tracker,
                                                            verse))
    except Trouble as trouble:
        return Reviewed(job.take, job.tune, None, str(trouble))
    except Exception as error:
        return Reviewed(job.take, job.tune, None, _("This is a fault of ours: {kind}: {error}").format(
            kind=type(error).__name__, error=error))


def _whole_number(column: str, value: str) -> int | None:
    """A cell of a list that counts something; None where it is empty."""
    if not value:
        return None
    if not value.isdecimal():
        raise Trouble(_("{value!r} stands under {column}; a whole number from 1 on was wanted.").format(
            value=value, column=column))
    return int(value)


class TooLong(Trouble):
    """A take needed longer than `MOST_TAKE_S`."""

    def __init__(self) -> None:
        super().__init__(_("This take needed longer than {seconds:g} seconds and was left out. Cut out the part you "
                           "mean.").format(seconds=MOST_TAKE_S))


@contextmanager
def _within_time() -> Iterator[None]:
    """Raises TooLong in this thread after `MOST_TAKE_S`, as soon as it runs Python again.

    By a timer of the system where there is one, which also ends a wait for a disk; else by another thread.
    """
    if sys.platform != "win32" and threading.current_thread() is threading.main_thread():
        with _alarm():
            yield
        return
    thread, lock = ctypes.c_ulong(threading.get_ident()), threading.Lock()
    over = False

    def end() -> None:
        with lock:
            if not over:
                ctypes.pythonapi.PyThreadState_SetAsyncExc(thread, ctypes.py_object(TooLong))

    timer = threading.Timer(MOST_TAKE_S, end)
    timer.daemon = True
    timer.start()
    try:
        yield
    finally:
        with lock:
            over = True
        timer.cancel()


@contextmanager
def _alarm() -> Iterator[None]:
    if sys.platform == "win32":  # for the type checker: it has no such timer
        return
    import signal

    def end(*_unused: object) -> None:
        raise TooLong

    before = signal.signal(signal.SIGALRM, end)
    signal.setitimer(signal.ITIMER_REAL, MOST_TAKE_S)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)
