"""Many takes: a worker that dies loses nothing but a take that ends it again; a take may need a minute at most."""

from __future__ import annotations

import importlib
import os
import time
from pathlib import Path

import pytest
import review_faults

from companion.command import main
from companion.language import English
from companion.lesson import review_list
from companion.lesson.review import Job, review_take

review = importlib.import_module("companion.lesson.review")


@pytest.mark.skipif(os.name != "posix", reason="SIGKILL is POSIX's")
def test_a_worker_that_dies_loses_only_the_take_that_ends_it_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    takes = [f"t{n}" for n in range(9)]
    takes[2], takes[5] = "dies", "once"
    (tmp_path / "list.csv").write_text("take,tune\n" + "".join(f"{t},{tmp_path / 'marker'}\n" for t in takes))
    monkeypatch.setattr("companion.lesson.review.review_take", review_faults.review_take)
    found = list(review_list(tmp_path / "list.csv", English(), jobs=2))
    assert [f.take for f in found] == takes
    assert [f.take for f in found if f.error != "done"] == ["dies"]
    assert "broke off twice" in found[2].error


def test_a_take_that_needs_too_long_is_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    assert review.MOST_TAKE_S == 60.0  # seconds; a singer's phrase is answered in about one
    monkeypatch.setattr(review, "MOST_TAKE_S", 0.05)

    def endless(*_: object, **_named: object) -> None:
        end = time.monotonic() + 20
        while time.monotonic() < end:
            pass

    monkeypatch.setattr(review, "answer_take", endless)
    began = time.monotonic()
    assert "needed longer than 0.05 seconds" in review_take(Job("a", "kite", "a", "kite")).error
    assert time.monotonic() - began < 10


def test_the_exit_code_says_that_every_take_failed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "list.csv").write_text("take,tune\nnone.wav,kite\n")
    assert main(["review", str(tmp_path / "list.csv")]) == 2
    assert "There is no file" in capsys.readouterr().out
