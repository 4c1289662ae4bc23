"""Many takes: a worker that dies loses nothing but a take that ends it again; a take may need a minute at most."""

from __future__ import annotations

import json
import os
import signal
import stat
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest
import review_faults

from companion.command import main
from companion.errors import Trouble
from companion.language import English
from companion.lesson import ReviewProgress, review_list, reviewed
from companion.lesson.review_kept import HEAD, KeptAnswers, ReviewLine
from companion.lesson.reviewed import TooLong, review_take
from companion.lesson.takes_list import Job

ROOT = Path(__file__).resolve().parents[2]
TAKES = ROOT / "recordings"


def listed(tmp_path: Path, *takes: str, tune: object = "kite") -> Path:
    path = tmp_path / "list.csv"
    path.write_text("take,tune\n" + "".join(f"{take},{tune}\n" for take in takes))
    return path


@pytest.mark.slow
@pytest.mark.skipif(os.name != "posix", reason="SIGKILL is POSIX's")
def test_a_worker_that_dies_loses_only_the_take_that_ends_it_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    takes = [f"t{n}" for n in range(9)]
    takes[2], takes[5], takes[8] = "dies", "once", "dies"
    monkeypatch.setattr("companion.lesson.review.review_row", review_faults.review_row)
    found = list(review_list(listed(tmp_path, *takes, tune=tmp_path / "marker"), English(), jobs=2))
    assert [json.loads(f.json)["take"] for f in found] == takes
    assert [k for k, f in enumerate(found) if f.line != "done"] == [2, 8]
    assert "broke off twice" in found[2].line
    assert found[2].failed


@pytest.mark.parametrize("in_thread", [False, True])
def test_a_take_that_needs_too_long_is_left_out(monkeypatch: pytest.MonkeyPatch, in_thread: bool) -> None:
    """In the main thread by the system's timer; elsewhere, and on Windows, by another thread."""
    assert reviewed.MOST_TAKE_S == 60.0  # seconds; a singer's phrase is answered in about one
    monkeypatch.setattr(reviewed, "MOST_TAKE_S", 0.05)

    def endless(*_: object, **_named: object) -> None:
        end = time.monotonic() + 20
        while time.monotonic() < end:
            pass

    monkeypatch.setattr(reviewed, "answer_take", endless)
    said: list[str] = []

    def work() -> None:
        said.append(review_take(Job("a", "kite", "a", "kite")).error)

    began = time.monotonic()
    if in_thread:
        thread = threading.Thread(target=work)
        thread.start()
        thread.join()
    else:
        work()
    assert "needed longer than 0.05 seconds" in said[0]
    assert time.monotonic() - began < 10


def test_the_time_of_one_take_ends_no_later_work_of_its_thread(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reviewed, "MOST_TAKE_S", 0.05)
    monkeypatch.setattr(reviewed, "answer_take", lambda *_, **_named: None)
    faults: list[BaseException] = []

    def work() -> None:
        try:
            review_take(Job("a", "kite", "a", "kite"))
            end = time.monotonic() + 0.2
            while time.monotonic() < end:
                pass
        except TooLong as fault:
            faults.append(fault)

    thread = threading.Thread(target=work)
    thread.start()
    thread.join()
    assert not faults


def test_the_exit_code_says_that_every_take_failed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["review", str(listed(tmp_path, "none.wav"))]) == 2
    assert "There is no file" in capsys.readouterr().out


def counted(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The takes that were worked on, while each is answered at once."""
    begun: list[str] = []

    def row(job: Job, tracker: str, language: object) -> ReviewLine:
        begun.append(job.take)
        if job.take == "stop":
            raise KeyboardInterrupt
        return ReviewLine(json.dumps({"take": job.take}), f"{job.take} é", failed=job.take == "bad")

    monkeypatch.setattr("companion.lesson.review.review_row", row)
    return begun


def test_a_list_that_was_stopped_goes_on_where_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    begun = counted(monkeypatch)
    answers = tmp_path / "answers.jsonl"
    coming = review_list(listed(tmp_path, "a", "bad", "b", "stop"), English(), 1, resume=answers)
    assert [next(coming).line for _ in range(3)] == ["a é", "bad é", "b é"]
    with pytest.raises(KeyboardInterrupt):
        next(coming)
    with answers.open("ab") as file:
        file.write(b'{"of": "cut o')  # as a power cut leaves it
    assert begun == ["a", "bad", "b", "stop"]
    begun.clear()
    found = list(review_list(listed(tmp_path, "new", "a", "bad", "b", "a"), English(), 1, resume=answers))
    assert [f.line for f in found] == ["new é", "a é", "bad é", "b é", "a é"]
    assert [json.loads(f.json)["take"] for f in found] == ["new", "a", "bad", "b", "a"]
    assert begun == ["new", "bad"], "what could not be answered is tried again, what was answered is not"
    assert all(json.loads(line) for line in answers.read_text(encoding="utf-8").splitlines())
    if os.name == "posix":
        assert stat.S_IMODE(answers.stat().st_mode) == 0o600  # the owner alone: it holds what pupils sang


def test_a_take_that_was_sung_anew_is_heard_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    begun = counted(monkeypatch)
    (tmp_path / "a").write_bytes(b"one")
    for _ in range(2):
        list(review_list(listed(tmp_path, "a"), English(), 1, resume=tmp_path / "answers"))
    (tmp_path / "a").write_bytes(b"other")
    list(review_list(listed(tmp_path, "a"), English(), 1, resume=tmp_path / "answers"))
    list(review_list(listed(tmp_path, "a"), English(), 1, "librosa", resume=tmp_path / "answers"))
    assert begun == ["a", "a", "a"]


def test_another_file_is_not_written_over(tmp_path: Path) -> None:
    other = listed(tmp_path, "a")
    before = other.read_bytes()
    with pytest.raises(Trouble, match="holds no answers of companion review and was left as it is"):
        KeptAnswers(other, "companion")
    assert other.read_bytes() == before
    with pytest.raises(Trouble, match="could not be written"):
        KeptAnswers(tmp_path / "none" / "answers", "companion")


def test_no_room_for_an_answer_is_one_sentence_and_keeps_the_others(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    kept = KeptAnswers(tmp_path / "answers", "companion")
    job = Job("a", "kite", "a", "kite")
    kept.add(job, ReviewLine("{}", "a"))

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")  # ENOSPC

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(Trouble, match="no space left on device"):
        kept.add(job._replace(take="b"), ReviewLine("{}", "b"))
    monkeypatch.undo()
    kept.close()
    assert KeptAnswers(tmp_path / "answers", "companion").found([job])[0].line == "a"
    assert json.loads((tmp_path / "answers").read_text().splitlines()[0]) == HEAD


def test_progress_is_said_at_each_tenth(tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
                                        capsys: pytest.CaptureFixture[str]) -> None:
    counted(monkeypatch)
    path = listed(tmp_path, *["a"] * 15, "bad", *["a"] * 4)
    assert main(["review", str(path), "--jobs", "1", "--progress"]) == 0
    out, err = capsys.readouterr()
    assert len(out.splitlines()) == 20
    assert len(err.splitlines()) == 10
    assert err.splitlines()[0] == "2 of 20 takes done."
    assert err.splitlines()[-1] == "20 of 20 takes done. 1 could not be answered."
    seen: list[ReviewProgress] = []
    list(review_list(path, English(), 1, progress=seen.append))
    assert [p.done for p in seen] == list(range(1, 21))


def test_two_thousand_takes_are_handed_out_a_few_at_a_time(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Flat memory: of 2,000 takes never more are under way than each process has ahead of it."""
    from concurrent.futures import Future

    most = waiting = 0

    class Pool:
        def submit(self, work: Callable[..., ReviewLine], *arguments: object) -> Future[ReviewLine]:
            nonlocal most, waiting
            future: Future[ReviewLine] = Future()
            waiting += 1
            most = max(most, waiting)
            future.add_done_callback(lambda _: given())
            future.set_result(ReviewLine("{}", str(arguments[0])))
            return future

    def given() -> None:
        nonlocal waiting
        waiting = 0

    from contextlib import contextmanager

    @contextmanager
    def pool(count: int):  # type: ignore[no-untyped-def]
        yield Pool()

    monkeypatch.setattr("companion.lesson.review._pool", pool)
    found = list(review_list(listed(tmp_path, *(f"t{n}" for n in range(2000))), English(), jobs=2))
    assert len({f.line for f in found}) == 2000
    assert most <= 8


def alive(pid: int) -> bool:
    """Whether a process runs; one that ended and that nobody has asked about yet (state Z of proc(5)) does not."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="processes are looked up in /proc")
def test_no_process_outlives_a_review_that_was_killed(tmp_path: Path) -> None:
    log = tmp_path / "log"
    log.touch()
    code = ("import companion.lesson.review as review, review_faults, sys\n"
            "from companion.language import English\n"
            "if __name__ == '__main__':\n"
            "    review.review_row = review_faults.slow_row\n"
            "    list(review.review_list(sys.argv[1], English(), 2))\n")
    (tmp_path / "run.py").write_text(code)
    path = listed(tmp_path, *(f"t{n}" for n in range(200)), tune=log)
    program = subprocess.Popen([sys.executable, str(tmp_path / "run.py"), str(path)],
                               env={**os.environ, "PYTHONPATH": os.pathsep.join([str(ROOT), str(ROOT / "tests")])})
    end = time.monotonic() + 60
    while len(pids := {int(line.split()[1]) for line in log.read_text().splitlines()}) < 2 and time.monotonic() < end:
        time.sleep(0.05)
    program.kill()
    program.wait()
    assert len(pids) == 2
    end = time.monotonic() + 60
    while any(map(alive, pids)) and time.monotonic() < end:
        time.sleep(0.05)
    assert not any(map(alive, pids))


@pytest.mark.slow
@pytest.mark.skipif(os.name != "posix", reason="SIGKILL is POSIX's")
def test_on_a_dask_cluster_a_worker_that_is_killed_loses_nothing_and_nothing_comes_twice(
        tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two workers on this machine; one of them is killed while it works (Dask gives its takes to the other)."""
    distributed = pytest.importorskip("distributed", reason="the package distributed is not installed")
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join([str(ROOT), str(ROOT / "tests"), os.environ.get("PYTHONPATH", "")]))
    monkeypatch.setattr("companion.lesson.review.review_row", review_faults.slow_row)
    takes = [f"t{n}" for n in range(40)]
    log = tmp_path / "log"
    log.touch()
    with distributed.LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None) as cluster:
        found: list[ReviewLine] = []
        for row in review_list(listed(tmp_path, *takes, tune=log), English(), resume=tmp_path / "answers",
                               dask=cluster.scheduler_address):
            found.append(row)
            if len(found) == 6:
                os.kill(json.loads(row.json)["by"], signal.SIGKILL)
        assert [json.loads(f.json)["take"] for f in found] == takes
        assert not [f for f in found if f.failed]
        by = [json.loads(f.json)["by"] for f in found]
        assert len(set(by)) >= 2
        assert by[5] not in by[20:], "the worker that was killed did no more"
        kept = (tmp_path / "answers").read_text().splitlines()[1:]
        assert sorted(json.loads(line)["answer"]["take"] for line in kept) == sorted(takes)


@pytest.mark.slow
@pytest.mark.skipif(os.name != "posix", reason="SIGKILL is POSIX's")
def test_on_a_dask_cluster_a_take_that_ends_every_worker_is_given_up_alone(
        tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    distributed = pytest.importorskip("distributed", reason="the package distributed is not installed")
    dask = pytest.importorskip("dask")
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join([str(ROOT), str(ROOT / "tests"), os.environ.get("PYTHONPATH", "")]))
    monkeypatch.setattr("companion.lesson.review.review_row", review_faults.review_row)
    takes = ["t0", "t1", "dies", "t3", "t4"]
    with dask.config.set({"distributed.scheduler.allowed-failures": 1}), distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None) as cluster:
        found = list(review_list(listed(tmp_path, *takes, tune=tmp_path / "marker"), English(), dask=cluster.scheduler_address))
    assert [f.failed for f in found] == [t == "dies" for t in takes]
    assert "broke off twice" in found[2].line


def test_no_cluster_is_one_sentence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    assert main(["review", str(listed(tmp_path, "a")), "--dask", "tcp://127.0.0.1:1"]) == 2
    assert "reached by the package distributed" in capsys.readouterr().err
    monkeypatch.undo()
    pytest.importorskip("distributed", reason="the package distributed is not installed")
    monkeypatch.setattr("companion.lesson.review.DASK_WAIT_S", 0.3)
    for address in ("tcp://127.0.0.1:1", "nowhere"):
        assert main(["review", str(listed(tmp_path, "a")), "--dask", address]) == 2
        assert capsys.readouterr().err.startswith(f"No Dask scheduler answers at {address}. ")
