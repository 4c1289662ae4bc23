"""Many takes at a time, on all cores; a take that fails does not stop the rest."""

from __future__ import annotations

import csv
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from companion import messages
from companion.ear import DEFAULT_TRACKER, pitch_tracker
from companion.errors import Trouble
from companion.language import Language
from companion.lesson.answer import Answer, answer_take
from companion.messages import _
from companion.places import decoded, is_utf16, read_within

if TYPE_CHECKING:
    from concurrent.futures import ProcessPoolExecutor

MOST_WORKERS = 61  # what Windows lets a pool of processes have
COLUMNS = ("phrase", "part", "verse")  # of a list, beside take and tune, if wanted
SOUNDS = (".wav", ".flac", ".ogg", ".oga", ".opus", ".mp3", ".m4a", ".mp4", ".aac", ".webm", ".aif", ".aiff")
MOST_TAKE_S = 60.0  # a take of minutes is answered in seconds
MOST_BYTES = 20_000_000  # some hundred thousand takes


class Job(NamedTuple):
    """A row of a list: take and tune as named there, and the paths (or the name of a shipped tune) they stand for.

    phrase, part, verse: as written there, "" where nothing is.
    """

    take: str
    tune: str
    take_path: str
    tune_path: str
    phrase: str = ""
    part: str = ""
    verse: str = ""


def read_list(path: str | Path) -> list[Job]:
    """The rows of a list.

    Spreadsheets part columns by comma, semicolon or tab as the country has it, and write UTF-8 or Latin
    letters of one byte; all of these are read. Raises Trouble where the list cannot be read, lacks its
    header line or has no line below it.
    """
    if not str(path):
        raise Trouble(_("The name of the list is empty. Give a CSV file with a header line take,tune."))
    path = Path(path)
    lines = _text(path).splitlines()
    while lines and not lines[0].strip():
        del lines[0]
    parted_by = next((mark for mark in ",;\t" if lines and mark in lines[0]), ",")
    try:
        rows = list(csv.reader(lines, delimiter=parted_by))
    except csv.Error as error:
        raise Trouble(_("{path} has a line that is too long for a list of takes. Give a CSV file with a header line "
                        "take,tune.").format(path=path)) from error
    head = [cell.strip().lower() for cell in rows[0]] if rows else []
    if not {"take", "tune"} <= set(head):
        raise Trouble(_("{path} has no header line take,tune. Put it at the top, then a line for each take.").format(
                            path=path))
    jobs = [job for row in rows[1:] if (job := _job(path.parent, head, row)) is not None]
    if not jobs:
        raise Trouble(_("{path} names no take. Put a line for each below the header line take,tune.").format(
                            path=path))
    return jobs


def read_folder(folder: Path, tune: str) -> list[Job]:
    """Every sound file of a folder, by name, each for the same tune. Raises Trouble where there is none."""
    takes = sorted(p for p in folder.iterdir() if p.is_file() and p.suffix.lower() in SOUNDS)
    if not takes:
        raise Trouble(_("{folder} holds no sound file. Give a folder with takes in it, or a CSV file.").format(folder=folder))
    return [Job(p.name, tune, str(p), tune) for p in takes]


def _job(folder: Path, head: list[str], row: list[str]) -> Job | None:
    """One row of a list, None for a row that names neither take nor tune. head: the names of the columns."""
    def cell(name: str) -> str:
        return row[head.index(name)].strip() if name in head and head.index(name) < len(row) else ""

    take, tune = cell("take"), cell("tune")
    if not take and not tune:
        return None
    beside = folder / tune
    return Job(take, tune, str(folder / take), str(beside) if os.path.isfile(beside) else tune, *map(cell, COLUMNS))


def _text(path: Path) -> str:
    """The text of a list. Raises Trouble where there is none."""
    try:
        if path.is_dir():
            raise Trouble(_("{path} is a folder. Say with --tune which tune its takes are of, or give a CSV file with a "
                            "header line take,tune.").format(path=path))
        if not path.exists():
            raise Trouble(_("There is no file {path}. Check its name and folder.").format(path=path))
        if path.stat().st_size > MOST_BYTES:
            raise Trouble(_("{path} is far larger than a list of takes. Give a CSV file with a header line "
                            "take,tune.").format(path=path))
        data = read_within(path, MOST_BYTES)
    except OSError as error:
        raise Trouble(_("{path} could not be read: {reason}. Give a CSV file with a header line take,tune.").format(
                            path=path, reason=(error.strerror or str(error)).lower())) from error
    if b"\0" in data and not is_utf16(data):
        raise Trouble(_("{path} is no text. Give a CSV file with a header line take,tune.").format(path=path))
    try:
        return decoded(data)
    except UnicodeDecodeError:
        return data.decode("latin-1")


def workers(jobs: int | None, takes: int) -> int:
    """How many processes: all cores unless told, no more than there are takes, nor than a system starts."""
    return min(jobs or os.cpu_count() or 1, takes, MOST_WORKERS)


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


def review_list(path: str | Path, language: Language, jobs: int | None = None, tracker: str = DEFAULT_TRACKER,
                tune: str | None = None) -> Iterator[Reviewed]:
    """The answers of a list in its order, or of a folder of takes of one tune by name, each as soon as it is done.

    tune: of the takes of a folder. language: of the sentences that say what went wrong. tracker: by name, see
    `companion.ear.PitchTracker`. Raises Trouble where there is no such tracker, or no such list.
    """
    pitch_tracker(tracker)  # said once, and not for each take
    if tune is not None and not Path(path).is_dir():
        raise Trouble(_("{path} is no folder. --tune goes with a folder of takes; a list names the tune of each.").format(
            path=path))
    work = read_list(path) if tune is None else read_folder(Path(path), tune)
    if jobs is not None and jobs < 1:
        raise Trouble(_("--jobs was {jobs}; give 1 or more.").format(jobs=jobs))
    count = workers(jobs, len(work))
    if count <= 1:
        yield from (review_take(job, tracker) for job in work)
        return
    yield from _in_workers(work, tracker, language, count)


def _in_workers(work: list[Job], tracker: str, language: Language, count: int) -> Iterator[Reviewed]:
    """The answers in order. Where a worker process dies, what was under way is done again, one take at a time in a process
    of its own, so that only a take that ends its process again is lost; then the rest go on."""
    from concurrent.futures import Future
    from concurrent.futures.process import BrokenProcessPool

    finished: dict[int, Reviewed] = {}
    at = 0
    while at < len(work):
        pending = [i for i in range(at, len(work)) if i not in finished]
        futures: dict[int, Future[Reviewed]] = {}
        with _workers(count, language) as pool:
            try:
                for i in pending:
                    futures[i] = pool.submit(review_take, work[i], tracker)
                while at < len(work):
                    if at not in finished:
                        finished[at] = futures[at].result()
                    yield finished.pop(at)
                    at += 1
            except BrokenProcessPool:
                finished.update((i, f.result()) for i, f in futures.items() if i >= at and f.done() and f.exception() is None)
        # Takes are begun in order: those that a process had in hand are the first that are not done.
        for i in [i for i in pending if i >= at and i not in finished][:count]:
            finished[i] = _alone(work[i], tracker, language)


def _workers(count: int, language: Language) -> ProcessPoolExecutor:
    import multiprocessing
    from concurrent.futures import ProcessPoolExecutor

    # Fresh processes, not forked ones: a fork copies the locks of threads that the numerical libraries run.
    return ProcessPoolExecutor(count, mp_context=multiprocessing.get_context("spawn"), initializer=_begin_worker,
                               initargs=(language,))


def _alone(job: Job, tracker: str, language: Language) -> Reviewed:
    from concurrent.futures.process import BrokenProcessPool

    try:
        with _workers(1, language) as pool:
            return pool.submit(review_take, job, tracker).result()
    except BrokenProcessPool:
        return Reviewed(job.take, job.tune, None, _("The work on this take broke off twice: it may need too much memory. Cut "
                                                    "out the part you mean."))


def _too_long(*_unused: object) -> None:
    raise Trouble(_("This take needed longer than {seconds:g} seconds and was left out. Cut out the part you mean.").format(
        seconds=MOST_TAKE_S))


@contextmanager
def _within_time() -> Iterator[None]:
    """Raises Trouble in the main thread of a process after `MOST_TAKE_S`, where the system has such a timer."""
    import signal
    import threading

    if sys.platform == "win32" or threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGALRM, _too_long)
    signal.setitimer(signal.ITIMER_REAL, MOST_TAKE_S)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)


def _begin_worker(language: Language) -> None:
    """One thread a process, and the language of the sentences that are made in it."""
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ[name] = "1"
    messages.use(language.translations)
