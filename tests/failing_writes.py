"""Processes whose writes fail: by the system's own limit (POSIX, setrlimit), with EFBIG or by ending them with SIGXFSZ."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from typing import TextIO


def with_limit(limit: int, kills: bool, work: Callable[[TextIO], None]) -> tuple[list[str], bool]:
    """What `work` says in a process that may write files of `limit` bytes at most, and whether it was ended there."""
    import resource
    import signal

    read, write = os.pipe()
    child = os.fork()
    if not child:
        try:
            signal.signal(signal.SIGXFSZ, signal.SIG_DFL if kills else signal.SIG_IGN)
            resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
            resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
            with os.fdopen(write, "w") as said:
                work(said)
            os._exit(0)
        except BaseException as fault:
            print(f"{type(fault).__name__}: {fault}", file=sys.stderr)
            os._exit(1)
    os.close(write)
    with os.fdopen(read) as pipe:
        lines = pipe.read().splitlines()
    status = os.waitpid(child, 0)[1]
    killed = os.WIFSIGNALED(status)
    assert killed or os.WEXITSTATUS(status) == 0, lines
    return lines, killed
