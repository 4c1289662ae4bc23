"""Work on a stranger's file in a process of its own, which may be ended: limits of time and memory.

A file can be made so that its reader runs for ever or takes all memory. What is done here cannot harm more than
its own process.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import pickle
import sys
import threading
from collections.abc import Callable, Iterator
from multiprocessing.connection import Connection
from typing import Any, TypeVar

from companion.errors import Trouble
from companion.messages import _

T = TypeVar("T")

SECONDS = 60.0  # a take or a score that a person made is read in a few seconds; a minute allows for a slow machine
MEMORY_BYTES = 1_500_000_000  # private memory of the child; the numerical libraries alone take about a third


#: Whether this process was begun for such work, with limits of its own.
_limited_already = False


def run_limited(work: Callable[..., T], *args: Any, seconds: float = SECONDS, memory_bytes: int = MEMORY_BYTES,
                small: bool = False) -> T:
    """`work(*args)` in a process of its own, ended after `seconds` or beyond `memory_bytes`.

    `work` and its arguments must be picklable (a function of a module), and so must what it gives. Raises what it raised if
    that is a `Trouble`, and `Trouble` where a limit was reached or the process died. Memory is limited where the system can
    (not on Windows). Where this is such a process already, the work is done in it, under its limits.

    On Linux a program of one thread is copied, which takes some hundredths of a second. Elsewhere a process is started from
    nothing and loads its libraries anew, a second or two; small: what is to be read is so small that it is not worth that,
    and is then read here.
    """
    if _limited_already or multiprocessing.current_process().daemon:
        return work(*args)
    # A copy would hold the locks of other threads for ever; and other systems' own libraries do not bear it.
    copied = sys.platform == "linux" and threading.active_count() == 1
    if small and not copied:
        return work(*args)
    context: Any = multiprocessing.get_context("fork" if copied else "spawn")
    ours, theirs = context.Pipe(duplex=False)
    child = context.Process(target=_child, args=(theirs, work, args, memory_bytes), daemon=True)
    with deaf_to_ctrl_c():
        child.start()
    theirs.close()
    try:
        if not ours.poll(seconds):
            raise Trouble(_("This took longer than {seconds:g} seconds and was stopped. Give a shorter or simpler file.").format(
                seconds=seconds))
        done, result = _received(ours)
    except EOFError:
        raise Trouble(_("This needed too much memory or broke its reader, and was stopped. Give a smaller or simpler "
                        "file.")) from None
    finally:
        ours.close()
        child.terminate()
        child.join()
    if not done:
        raise result
    return result  # type: ignore[no-any-return]


def limit_this_process(memory_bytes: int = MEMORY_BYTES) -> None:
    """Called at the beginning of a process that was started for some work: what it reads needs no other process."""
    global _limited_already
    _limited_already = True
    if sys.platform != "win32":
        import resource

        with contextlib.suppress(ValueError, OSError):
            resource.setrlimit(resource.RLIMIT_DATA, (memory_bytes, memory_bytes))


@contextlib.contextmanager
def deaf_to_ctrl_c() -> Iterator[None]:
    """A process that is started in here never hears Ctrl+C, which a terminal sends to all: whoever started it hears it and ends
    it, and one sentence is said instead of a traceback of each."""
    if sys.platform == "win32":
        yield
        return
    import signal

    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


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
    if sys.platform != "win32":  # a copy has what the program does at these
        import signal

        for number in (signal.SIGTERM, signal.SIGHUP):
            signal.signal(number, signal.SIG_DFL)
    end_with_parent()
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ[name] = "1"  # threads of the numerical libraries each reserve memory of their own
    limit_this_process(memory_bytes)
    try:
        _send(pipe, (True, work(*args)))
    except Trouble as trouble:
        _send(pipe, (False, trouble))
    except MemoryError:
        os._exit(1)
    except Exception as error:
        _send(pipe, (False, Trouble(_("This could not be read ({kind}). Give another file.").format(kind=type(error).__name__))))


def _send(pipe: Connection, what: tuple[bool, Any]) -> None:
    """Arrays are sent as they lie in memory: an hour of sound, pickled, would be there once more."""
    arrays: list[pickle.PickleBuffer] = []
    data = pickle.dumps(what, protocol=5, buffer_callback=arrays.append)
    pipe.send((data, len(arrays)))
    for array in arrays:
        pipe.send_bytes(array.raw())


def _received(pipe: Connection) -> tuple[bool, Any]:
    data, count = pipe.recv()
    arrays = [bytearray(pipe.recv_bytes()) for _ in range(count)]
    done, result = pickle.loads(data, buffers=arrays)
    return bool(done), result
