"""Many takes at a time, on all cores; a take that fails does not stop the rest."""

from __future__ import annotations

import csv
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from companion.errors import Trouble
from companion.lesson.answer import answer_or_error


def read_list(path: str | Path) -> list[tuple[str, str, str, str]]:
    """(take, tune, path of the take, path or name of the tune) for each row of a list.

    Raises Trouble where the list cannot be read or lacks its header line.
    """
    path = Path(path)
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        reason = "it is no text" if isinstance(error, UnicodeDecodeError) else (error.strerror or "").lower()
        raise Trouble(f"{path} could not be read: {reason}. Give a CSV file with a header line "
                      "take,tune.") from error
    reader = csv.DictReader(text.splitlines())
    if not reader.fieldnames or not {"take", "tune"} <= set(reader.fieldnames):
        raise Trouble(f"{path} has no header line take,tune. Put it at the top, then a line for each take.")
    jobs = []
    for row in reader:
        take, tune = (row["take"] or "").strip(), (row["tune"] or "").strip()
        if not take and not tune:
            continue
        beside = path.parent / tune
        jobs.append((take, tune, str(path.parent / take), str(beside) if beside.is_file() else tune))
    return jobs


def workers(jobs: int | None, takes: int) -> int:
    """How many processes: all cores unless told, no more than there are takes."""
    return min(jobs or os.cpu_count() or 1, takes)


def review(path: str | Path, jobs: int | None = None) -> Iterator[dict[str, Any]]:
    """The answers of a list in its order, each as soon as it and those before it are done."""
    work = read_list(path)
    if jobs is not None and jobs < 1:
        raise Trouble(f"--jobs was {jobs}; give 1 or more.")
    count = workers(jobs, len(work))
    if count <= 1:
        yield from map(answer_or_error, work)
        return
    import multiprocessing
    from concurrent.futures import ProcessPoolExecutor
    from concurrent.futures.process import BrokenProcessPool

    # Fresh processes, not forked ones: a fork copies the locks of threads that the numerical libraries run.
    with ProcessPoolExecutor(count, mp_context=multiprocessing.get_context("spawn"),
                             initializer=_one_thread) as pool:
        futures = [pool.submit(answer_or_error, job) for job in work]
        for job, future in zip(work, futures, strict=True):
            try:
                yield future.result()
            except BrokenProcessPool:
                yield {"take": job[0], "error": "The work on this take broke off; try it alone with "
                                                "companion hear."}


def _one_thread() -> None:
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ[name] = "1"
