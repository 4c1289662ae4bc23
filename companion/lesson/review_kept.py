"""Answers of a long list kept in a file as they come, so that a list that was broken off goes on where it stopped.

A line a take, of JSON. A line that was cut off by the stop is passed over, and its take is heard again.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

from companion.errors import Trouble
from companion.lesson.takes_list import Job
from companion.messages import _

HEAD = {"form": "answers of companion review", "version": 1}


@dataclass(frozen=True)
class ReviewLine:
    """A take of a list as it is given out. json: as `companion hear --json`, or {"take", "error"}; line: the same in words."""

    json: str
    line: str
    failed: bool = False


class KeptAnswers:
    """The file of the answers of a list. Raises Trouble where it cannot be written, or is another file."""

    def __init__(self, path: str | Path, tracker: str) -> None:
        self.path, self._tracker = Path(path), tracker
        try:
            self._file = self._opened()
        except OSError as error:
            raise self._unwritable(error) from error

    def _opened(self) -> BinaryIO:
        descriptor = os.open(self.path, os.O_RDWR | os.O_CREAT | getattr(os, "O_BINARY", 0), 0o600)  # a pupil's answers
        file = os.fdopen(descriptor, "r+b")
        first = file.readline(1000)
        if not first:
            file.write(_line(HEAD))
        elif _read(first) != HEAD:
            file.close()
            raise Trouble(_("{path} holds no answers of companion review and was left as it is. Give a new name.").format(
                                path=self.path))
        return file

    def _unwritable(self, error: OSError) -> Trouble:
        return Trouble(_("{path} could not be written: {reason}. Choose another place or make room.").format(
                           path=self.path, reason=(error.strerror or str(error)).lower()))

    def found(self, work: Sequence[Job]) -> dict[int, ReviewLine]:
        """Of which takes of the list the answers are there, by their places in it; what changed since is not."""
        places: dict[str, list[int]] = {}
        for place, job in enumerate(work):
            places.setdefault(self._key(job), []).append(place)
        found: dict[int, ReviewLine] = {}
        for row in self._rows():
            for place in places.get(str(row.get("of")), ()):
                found[place] = ReviewLine(json.dumps(row["answer"], ensure_ascii=False), str(row["line"]))
        return found

    def _rows(self) -> Iterator[dict[str, Any]]:
        self._file.seek(0)
        end = 0
        for line in self._file:
            if not line.endswith(b"\n"):
                break  # cut off: what follows is written over it
            end += len(line)
            row = _read(line)
            if isinstance(row, dict) and {"of", "line", "answer"} <= set(row):
                yield row
        self._file.seek(end)
        self._file.truncate()

    def _key(self, job: Job) -> str:
        """What an answer depends on: the take and the tune as they are now, and what of them is meant."""
        return json.dumps([*job, self._tracker, _stamp(job.take_path), _stamp(job.tune_path)])

    def add(self, job: Job, answer: ReviewLine) -> None:
        """Keep an answer; it is on the disk when this returns. Raises Trouble where there is no room."""
        try:
            self._file.write(_line({"of": self._key(job), "line": answer.line, "answer": json.loads(answer.json)}))
            self._file.flush()
            os.fsync(self._file.fileno())
        except OSError as error:
            raise self._unwritable(error) from error

    def close(self) -> None:
        try:
            self._file.close()
        except OSError as error:
            raise self._unwritable(error) from error


def _line(row: object) -> bytes:
    return json.dumps(row, ensure_ascii=False).encode("utf-8", "replace") + b"\n"


def _read(line: bytes) -> Any:
    try:
        return json.loads(line)
    except (ValueError, RecursionError):
        return None


def _stamp(path: str) -> list[int] | None:
    """Size and time of change of a file; None where there is none, as for the name of a shipped tune."""
    try:
        found = os.stat(path)
    except (OSError, ValueError):
        return None
    return [found.st_size, found.st_mtime_ns]
