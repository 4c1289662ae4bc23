"""Many takes at a time: on all cores, or on a Dask cluster; a take that fails, or a process that dies, stops no other."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

from companion import messages
from companion.ear import DEFAULT_TRACKER, pitch_tracker
from companion.errors import Trouble
from companion.language import Language
from companion.lesson.review_kept import KeptAnswers, ReviewLine
from companion.lesson.reviewed import Reviewed, review_take
from companion.lesson.takes_list import Job, read_folder, read_list
from companion.lesson.words import review_line
from companion.limits import deaf_to_ctrl_c, end_with_parent, limit_this_process
from companion.messages import _

if TYPE_CHECKING:
    from concurrent.futures import Future, ProcessPoolExecutor

MOST_WORKERS = 61  # what Windows lets a pool of processes have
AHEAD = 4  # takes that are handed out for each process: enough that none waits, few enough for flat memory
DASK_AHEAD = 4  # the same for each thread of a Dask cluster
DASK_WAIT_S = 10.0  # for a scheduler to answer


@dataclass(frozen=True)
class ReviewProgress:
    """How many takes of a list are done, of how many, and how many of them could not be answered."""

    done: int
    total: int
    failed: int


def workers(jobs: int | None, takes: int) -> int:
    """How many processes: all cores unless told, no more than there are takes, nor than a system starts."""
    return min(jobs or os.cpu_count() or 1, takes, MOST_WORKERS)


def review_row(job: Job, tracker: str, language: Language) -> ReviewLine:
    """One row of a list as it is given out, in whatever process it is worked on."""
    messages.use(language.translations)
    return _given_out(review_take(job, tracker), language)


def _given_out(found: Reviewed, language: Language) -> ReviewLine:
    return ReviewLine(json.dumps(found.as_json(language), ensure_ascii=False), review_line(language, found),
                      found.answer is None)


def review_list(path: str | Path, language: Language, jobs: int | None = None, tracker: str = DEFAULT_TRACKER,
                tune: str | None = None, *, resume: str | Path | None = None, dask: str | None = None,
                progress: Callable[[ReviewProgress], None] | None = None) -> Iterator[ReviewLine]:
    """The answers of a list in its order, or of a folder of takes of one tune by name, each as soon as it is done.

    tune: of the takes of a folder. language: of the sentences. tracker: by name, see `companion.ear.PitchTracker`. resume: a
    file that keeps the answers as they come; those that are in it already are not worked out again. dask: the address of a
    scheduler, on whose workers the takes are answered; they must see the same files under the same names. progress: called
    after each take that was worked on. Raises Trouble where there is no such tracker, list, file or cluster.
    """
    pitch_tracker(tracker)  # said once, and not for each take
    if tune is not None and not Path(path).is_dir():
        raise Trouble(_("{path} is no folder. --tune goes with a folder of takes; a list names the tune of each.").format(
            path=path))
    work = read_list(path) if tune is None else read_folder(Path(path), tune)
    if jobs is not None and jobs < 1:
        raise Trouble(_("--jobs was {jobs}; give 1 or more.").format(jobs=jobs))
    kept = KeptAnswers(resume, tracker) if resume is not None else None
    try:
        finished = kept.found(work) if kept else {}
        left = {place: job for place, job in enumerate(work) if place not in finished}
        count = workers(jobs, len(left))
        coming = (_on_dask(left, tracker, language, dask) if dask else _in_workers(left, tracker, language, count)
                  if count > 1 else ((place, review_row(job, tracker, language)) for place, job in left.items()))
        done, failed = len(finished), 0
        for place in range(len(work)):
            while place not in finished:
                found, row = next(coming)
                finished[found] = row
                done, failed = done + 1, failed + row.failed
                if kept and not row.failed:  # what failed may be there another time
                    kept.add(work[found], row)
                if progress:
                    progress(ReviewProgress(done, len(work), failed))
            yield finished.pop(place)
    finally:
        if kept:
            kept.close()


def _in_workers(work: Mapping[int, Job], tracker: str, language: Language, count: int) -> Iterator[tuple[int, ReviewLine]]:
    """Answers by their places in the list, as they are done. Where a worker process dies, what was under way is done again,
    one take at a time in a process of its own, so that only a take that ends its process again is lost."""
    from concurrent.futures import FIRST_COMPLETED, wait
    from concurrent.futures.process import BrokenProcessPool

    left = dict(work)
    while left:
        under_way: dict[Future[ReviewLine], int] = {}
        to_come = iter(list(left))
        in_hand: list[int] = []
        with _pool(count) as pool:
            try:
                while True:
                    with deaf_to_ctrl_c():  # the pool starts a process when there is work for it
                        for place in islice(to_come, AHEAD * count - len(under_way)):
                            under_way[pool.submit(review_row, left[place], tracker, language)] = place
                    if not under_way:
                        break
                    for future in wait(under_way, return_when=FIRST_COMPLETED).done:
                        row = future.result()
                        place = under_way.pop(future)
                        del left[place]
                        yield place, row
            except BrokenProcessPool:
                whole = [f for f in under_way if f.done() and f.exception() is None]
                # Takes are begun in order: those that a process had in hand are the first that are not done.
                in_hand = sorted(place for f, place in under_way.items() if f not in whole)[:count]
                for future in whole:
                    del left[under_way[future]]
                    yield under_way[future], future.result()
        for place in in_hand:
            yield place, _alone(left.pop(place), tracker, language)


@contextmanager
def _pool(count: int) -> Iterator[ProcessPoolExecutor]:
    """Worker processes; what nobody waits for any more is not begun, and where all is ended nobody waits for them."""
    import multiprocessing
    from concurrent.futures import ProcessPoolExecutor

    # Fresh processes, not forked ones: a fork copies the locks of threads that the numerical libraries run.
    pool = ProcessPoolExecutor(count, mp_context=multiprocessing.get_context("spawn"), initializer=_begin_worker)
    try:
        yield pool
    except (KeyboardInterrupt, GeneratorExit):
        for worker in multiprocessing.active_children():
            worker.terminate()
        raise
    finally:
        pool.shutdown(cancel_futures=True)


def _alone(job: Job, tracker: str, language: Language) -> ReviewLine:
    from concurrent.futures.process import BrokenProcessPool

    with _pool(1) as pool, suppress(BrokenProcessPool):
        with deaf_to_ctrl_c():
            future = pool.submit(review_row, job, tracker, language)
        return future.result()
    return _broken_off(job, language)


def _broken_off(job: Job, language: Language) -> ReviewLine:
    """What is given out for a take that ended the process that worked on it, again and again."""
    return _given_out(Reviewed(job.take, job.tune, None, _("The work on this take broke off twice: it may need too much memory. "
                                                           "Cut out the part you mean.")), language)


def _begin_worker() -> None:
    """One thread a process, which ends with the program that began it and reads strangers' files within its limits."""
    end_with_parent()
    limit_this_process()
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ[name] = "1"


def _on_dask(work: Mapping[int, Job], tracker: str, language: Language, address: str) -> Iterator[tuple[int, ReviewLine]]:
    """Answers by their places in the list, as a cluster gives them. What a worker that died had in hand goes to another;
    a take that ends several is given up. Raises Trouble where there is no cluster, or it goes away."""
    from concurrent.futures import CancelledError

    try:
        import distributed
    except ImportError as error:
        raise Trouble(_("A Dask cluster is reached by the package distributed. Install it with pip install distributed, or leave "
                        "out --dask.")) from error
    try:
        client: Any = distributed.Client(address, timeout=DASK_WAIT_S, set_as_default=False)
    except (OSError, ValueError, TypeError) as error:
        raise Trouble(_("No Dask scheduler answers at {address}. Give its address, such as tcp://127.0.0.1:8786.").format(
                          address=address)) from error
    with client:
        to_come = iter(work)
        places: dict[str, int] = {}
        suspects: list[int] = []  # what a worker that died had in hand, not only what ended it

        def handed_out(some: Sequence[int]) -> list[Any]:
            futures = [client.submit(review_row, _for_others(work[place]), tracker, language, pure=False) for place in some]
            places.update((future.key, place) for future, place in zip(futures, some, strict=True))
            return futures

        threads = sum(client.nthreads().values())
        coming = distributed.as_completed(handed_out(list(islice(to_come, max(1, threads) * DASK_AHEAD))), loop=client.loop)
        try:
            for future in coming:
                place = places.pop(future.key)
                coming.update(handed_out(list(islice(to_come, 1))))
                try:
                    row = future.result()
                except distributed.KilledWorker:
                    suspects.append(place)
                    continue
                yield place, row
            for place in suspects:  # one at a time
                try:
                    yield place, handed_out([place])[0].result()
                except distributed.KilledWorker:
                    yield place, _broken_off(work[place], language)
        except (CancelledError, OSError) as error:
            raise Trouble(_("The Dask cluster at {address} went away. Start it again, and give --resume to go on where it "
                            "stopped.").format(address=address)) from error


def _for_others(job: Job) -> Job:
    """A row whose files other processes find, wherever they run."""
    tune = os.path.abspath(job.tune_path) if os.path.isfile(job.tune_path) else job.tune_path
    return job._replace(take_path=os.path.abspath(job.take_path), tune_path=tune)
