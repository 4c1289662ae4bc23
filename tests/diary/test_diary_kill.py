"""kill -9 at random moments of a scripted session: the diary opens, and every take said to be saved is there."""

from __future__ import annotations

import os
import random
import signal
import time
from pathlib import Path

import pytest
import scripted_diary

from companion.diary import Diary

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="Windows has neither fork nor kill -9")


def run_and_kill(path: Path, moments: random.Random, sound: bool) -> list[int]:
    """Run the script on a diary and kill it somewhere in the next take or two; the takes that it said saved.

    The process is a fork of this one, so that nothing has to be loaded again.
    """
    read, write = os.pipe()
    child = os.fork()
    if not child:
        try:
            with os.fdopen(write, "w") as said:
                scripted_diary.run(path, sound, said)
        finally:
            os._exit(1)
    os.close(write)
    with os.fdopen(read) as said:
        enough = moments.randrange(1, 6)
        saved = [int(said.readline()) for _ in range(enough)]
        time.sleep(moments.uniform(0.0, 0.02))  # in the middle of whatever it does then
        os.kill(child, signal.SIGKILL)
        saved += [int(line) for line in said if line.endswith("\n")]
    assert os.WTERMSIG(os.waitpid(child, 0)[1]) == signal.SIGKILL
    return saved


def check(path: Path, runs: int) -> None:
    moments = random.Random(11)
    saved: list[int] = []
    for run in range(runs):
        saved += run_and_kill(path, moments, sound=run % 2 == 1)
        with Diary(path) as diary:
            pupil = diary.pupil("Wren")
            takes = {t.number: t for t in diary.takes(pupil)}
            assert set(saved) <= set(takes)
            # At most the one take in progress at each kill is there without having been said.
            assert len(takes) - len(saved) <= run + 1
            for take in takes.values():
                assert len(take.moves) == 3
                assert len(take.notes) == 4
    assert len(saved) >= runs


def test_twenty_kills_lose_nothing(tmp_path: Path) -> None:
    check(tmp_path / "diary.sqlite", 20)


@pytest.mark.overnight
def test_two_hundred_kills_lose_nothing(tmp_path: Path) -> None:
    check(tmp_path / "diary.sqlite", 200)
