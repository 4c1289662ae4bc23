"""Work on a stranger's file in a process of its own, which may be ended: limits of time and memory.

A file can be made so that its reader runs for ever or takes all memory. What is done here cannot harm more than
its own process.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import sys
import threading
from collections.abc import Callable
from multiprocessing.connection import Connection
from typing import Any, TypeVar

from companion.errors import Trouble
from companion.messages import _

T = TypeVar("T")

SECONDS = 60.0  # a take or a score that a person made is read in a few seconds; a minute allows for a slow machine
MEMORY_BYTES = 1_500_000_000  # private memory of the child; the numerical libraries alone take about a third


def run_limited(work: Callable[..., T], *args: Any, seconds: float = SECONDS, memory_bytes: int = MEMORY_BYTES) -> T:
    """`work(*args)` in a process of its own, ended after `seconds` or beyond `memory_bytes`.

    `work` and its arguments must be picklable (a function of a module). Raises what it raised if that is a `Trouble`,
    and `Trouble` where a limit was reached or the process died. Memory is limited where the system can (not on Windows).
    Where this is such a process already, the work is done in it, under its limits.
    """
    if multiprocessing.current_process().daemon:
        return work(*args)
    context = multiprocessing.get_context("spawn")  # a fork would copy the locks of threads that libraries run
    ours, theirs = context.Pipe(duplex=False)
    child = context.Process(target=_child, args=(theirs, work, args, memory_bytes), daemon=True)
    child.start()
    theirs.close()
    try:
        if not ours.poll(seconds):
            raise Trouble(_("This took longer than {seconds:g} seconds and was stopped. Give a shorter or simpler file.").format(
                seconds=seconds))
        done, result = ours.recv()
    except EOFError:
        raise Trouble(_("This needed too much memory and was stopped. Give a smaller or simpler file.")) from None
    finally:
        ours.close()
        child.terminate()
        child.join()
    if not done:
        raise result
    return result  # type: ignore[no-any-return]


def end_with_parent() -> None:
    """Called at the beginning of a process that was started for some work: it ends when the one that started it is gone.

    A killed program would else leave its processes behind, waiting or at work for nobody.
    """
    parent = multiprocessing.parent_process()
    if parent is None:
        return

    def wait() -> None:
        parent.join()
        os._exit(1)

    threading.Thread(target=wait, name="parent", daemon=True).start()


def _child(pipe: Connection, work: Callable[..., Any], args: tuple[Any, ...], memory_bytes: int) -> None:
    end_with_parent()
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ[name] = "1"  # threads of the numerical libraries each reserve memory of their own
    if sys.platform != "win32":
        import resource

        with contextlib.suppress(ValueError, OSError):
            resource.setrlimit(resource.RLIMIT_DATA, (memory_bytes, memory_bytes))
    try:
        pipe.send((True, work(*args)))
    except Trouble as trouble:
        pipe.send((False, trouble))
    except MemoryError:
        os._exit(1)
    except Exception as error:
        pipe.send((False, Trouble(_("This could not be read ({kind}). Give another file.").format(kind=type(error).__name__))))
