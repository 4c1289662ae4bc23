"""Many takes at a time, on all cores; a take that fails does not stop the rest."""

from __future__ import annotations

import csv
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from companion.errors import Trouble
from companion.lesson.answer import answer_or_error
from companion.messages import _

MOST_WORKERS = 61  # what Windows lets a pool of processes have
MOST_BYTES = 20_000_000  # some hundred thousand takes


def read_list(path: str | Path) -> list[tuple[str, str, str, str]]:
    """(take, tune, path of the take, path or name of the tune) for each row of a list.

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
    jobs = []
    for row in rows[1:]:
        take, tune = (row[i].strip() if i < len(row) else "" for i in (head.index("take"), head.index("tune")))
        if not take and not tune:
            continue
        beside = path.parent / tune
        jobs.append((take, tune, str(path.parent / take), str(beside) if os.path.isfile(beside) else tune))
    if not jobs:
        raise Trouble(_("{path} names no take. Put a line for each below the header line take,tune.").format(
                            path=path))
    return jobs


def _text(path: Path) -> str:
    """The text of a list. Raises Trouble where there is none."""
    wanted = "Give a CSV file with a header line take,tune."
    try:
        if path.is_dir():
            raise Trouble(_("{path} is a folder. {wanted}").format(path=path, wanted=wanted))
        if not path.exists():
            raise Trouble(_("There is no file {path}. Check its name and folder.").format(path=path))
        if path.stat().st_size > MOST_BYTES:
            raise Trouble(_("{path} is far larger than a list of takes. {wanted}").format(path=path, wanted=wanted))
        with path.open("rb") as file:
            data = file.read(MOST_BYTES)
    except OSError as error:
        raise Trouble(_("{path} could not be read: {reason}. {wanted}").format(
                            path=path, reason=(error.strerror or str(error)).lower(), wanted=wanted)) from error
    if b"\0" in data:
        raise Trouble(_("{path} is no text. {wanted}").format(path=path, wanted=wanted))
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def workers(jobs: int | None, takes: int) -> int:
    """How many processes: all cores unless told, no more than there are takes, nor than a system starts."""
    return min(jobs or os.cpu_count() or 1, takes, MOST_WORKERS)


def review(path: str | Path, jobs: int | None = None, american: bool = False) -> Iterator[dict[str, Any]]:
    """The answers of a list in its order, each as soon as it and those before it are done."""
    work = read_list(path)
    if jobs is not None and jobs < 1:
        raise Trouble(_("--jobs was {jobs}; give 1 or more.").format(jobs=jobs))
    count = workers(jobs, len(work))
    if count <= 1:
        yield from (answer_or_error(job, american) for job in work)
        return
    import multiprocessing
    from concurrent.futures import ProcessPoolExecutor
    from concurrent.futures.process import BrokenProcessPool

    # Fresh processes, not forked ones: a fork copies the locks of threads that the numerical libraries run.
    with ProcessPoolExecutor(count, mp_context=multiprocessing.get_context("spawn"),
                             initializer=_one_thread) as pool:
        futures = [pool.submit(answer_or_error, job, american) for job in work]
        for job, future in zip(work, futures, strict=True):
            try:
                yield future.result()
            except BrokenProcessPool:
                yield {"take": job[0], "error": "The work on this take broke off; try it alone with "
                                                "companion hear."}


def _one_thread() -> None:
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ[name] = "1"
