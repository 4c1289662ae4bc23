"""Work on a take that ends its process, for a test: imported in the workers too."""

from __future__ import annotations

import os
import signal
from pathlib import Path

from companion.lesson.review import Job, Reviewed


def review_take(job: Job, tracker: str) -> Reviewed:
    """Dies for a take "dies"; for "once" only where the file beside it is not there yet."""
    marker = Path(job.tune_path)
    if job.take == "dies" or (job.take == "once" and not marker.exists()):
        marker.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return Reviewed(job.take, job.tune, None, "done")
