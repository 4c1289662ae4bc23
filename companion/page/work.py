"""Jobs that take longer than a second: started, left, found again. One thread each, a bounded number at a time."""

from __future__ import annotations

import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from companion.errors import Trouble
from companion.page.security import new_token
from companion.places import not_written

MOST_KEPT = 50  # the oldest is forgotten beyond: what is worth keeping is downloaded or in the diary
MOST_AT_ONCE = 4
MOST_LISTED = 5  # on the first page, so that what was left is found again


@dataclass
class Made:
    """What a job gave, to be shown and fetched.

    cue: the sentence that matters most. lines: the others. files: what can be fetched, by name. data: for programs.
    picture: SVG of our own. hand: what the helper's hand does. score: a written-down take that can be mended; past: what it
    was before each change. asked: kinds of questions about it that were asked; question: the next one, "" for none, with
    the answers that can be given.
    """

    cue: str = ""
    lines: list[str] = field(default_factory=list)
    files: dict[str, bytes] = field(default_factory=dict)
    data: Any = None
    picture: str = ""
    hand: str = ""
    score: Any = None
    past: list[Any] = field(default_factory=list)
    asked: tuple[Any, ...] = ()
    question: str = ""
    answers: list[str] = field(default_factory=list)


class JobState(StrEnum):
    """Where a job is."""

    RUNNING = "running"
    DONE = "done"
    FAILED = "failed"


@dataclass
class Job:
    """A piece of work. title: what is done, as said while it goes on; done: what there is afterwards.

    result: what it gave; problem: why it failed, one sentence.
    """

    key: str
    title: str
    done: str
    began: float = field(default_factory=time.monotonic)
    state: JobState = JobState.RUNNING
    result: Made = field(default_factory=Made)
    problem: str = ""

    @property
    def seconds(self) -> int:
        """How long ago it was begun."""
        return round(time.monotonic() - self.began)


class Jobs:
    """The jobs of this run of the program, by a key that nobody can guess."""

    def __init__(self) -> None:
        self._jobs: OrderedDict[str, Job] = OrderedDict()
        self._lock = threading.Lock()
        self._free = threading.Semaphore(MOST_AT_ONCE)

    def start(self, title: str, done: str, work: Callable[[], Made]) -> Job:
        """Begin a job in a thread of its own. title, done: as in `Job`."""
        job = Job(new_token(), title, done)
        with self._lock:
            self._jobs[job.key] = job
            while len(self._jobs) > MOST_KEPT:
                self._jobs.popitem(last=False)
        threading.Thread(target=self._run, args=(job, work), name="job", daemon=True).start()
        return job

    def latest(self, most: int = MOST_LISTED) -> list[Job]:
        """The newest jobs, newest first."""
        with self._lock:
            return list(self._jobs.values())[::-1][:most]

    def forget(self) -> None:
        """Forget what is done: it may be about somebody who is to be forgotten."""
        with self._lock:
            for key in [key for key, job in self._jobs.items() if job.state is not JobState.RUNNING]:
                del self._jobs[key]

    def find(self, key: str) -> Job | None:
        """A job by its key, None where there is none (any more)."""
        with self._lock:
            return self._jobs.get(key)

    @property
    def running(self) -> bool:
        """Whether any job is still going on."""
        with self._lock:
            return any(job.state is JobState.RUNNING for job in self._jobs.values())

    def _run(self, job: Job, work: Callable[[], Made]) -> None:
        with self._free:
            try:
                job.result = work()
                job.state = JobState.DONE
            except Trouble as trouble:
                job.problem, job.state = str(trouble), JobState.FAILED
            except OSError as error:
                job.problem, job.state = str(not_written(error)), JobState.FAILED
            except Exception as error:  # a fault of ours must not leave a job running for ever
                job.problem, job.state = f"{type(error).__name__}: {error}", JobState.FAILED
