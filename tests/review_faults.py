"""Work on a take that ends its process, for a test: imported in the workers too."""

from __future__ import annotations

import json
import os
import signal
import time
from pathlib import Path

from companion.language import Language
from companion.lesson.review_kept import ReviewLine
from companion.lesson.takes_list import Job

SLOW_S = 0.2


def review_row(job: Job, tracker: str, language: Language) -> ReviewLine:
    """Dies for a take "dies"; for "once" only where the file beside it is not there yet; says by which process it was done."""
    marker = Path(job.tune_path)
    if job.take == "dies" or (job.take == "once" and not marker.exists()):
        marker.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return ReviewLine(json.dumps({"take": job.take, "by": os.getpid()}), "done")


def slow_row(job: Job, tracker: str, language: Language) -> ReviewLine:
    """Long enough for a worker to be ended in the middle; writes down each take that it has done."""
    time.sleep(SLOW_S)
    with Path(job.tune_path).open("a") as log:
        log.write(f"{job.take} {os.getpid()}\n")
    return review_row(job._replace(take="x" if job.take == "dies" else job.take), tracker, language)
