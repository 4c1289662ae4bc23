"""What asks the program to end: Ctrl+C, a system that shuts down, a terminal that is closed."""

from __future__ import annotations

import os
import signal
import sys
import threading
from types import FrameType, TracebackType
from typing import Any

#: Ctrl+C; asked to end; the terminal is gone; Ctrl+Break on Windows. Each where the system has it.
NAMES = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")
AGAIN_S = 0.02  # after which a signal that came where nothing can be raised is raised once more


class Ending:
    """While this is open, the first of these signals raises KeyboardInterrupt where the program is at work, so that all that
    waits to be closed or saved is; a second ends it at once. What somebody has told the system to ignore (`nohup`) stays
    ignored. In other threads than the main one nothing is changed.

    Where nothing can be raised (in a destructor, in a callback of a library) Python drops it: it is raised again right after.

    code: 128 and the number of the signal that came, as shells have it; None where none did.
    """

    def __init__(self) -> None:
        self.code: int | None = None
        self._before: dict[int, Any] = {}
        self._hook = sys.unraisablehook
        self._over = False

    def __enter__(self) -> Ending:
        if threading.current_thread() is threading.main_thread():
            for name in NAMES:
                number = getattr(signal, name, None)
                if number is not None and signal.getsignal(number) not in (signal.SIG_IGN, None):
                    self._before[number] = signal.signal(number, self._came)
            self._hook, sys.unraisablehook = sys.unraisablehook, self._dropped
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self._over = True
        for number, handler in self._before.items():
            signal.signal(number, handler)
        if sys.unraisablehook == self._dropped:
            sys.unraisablehook = self._hook

    def _dropped(self, what: Any) -> None:
        """Python's hook for what could not be raised."""
        if self.code is None or not issubclass(what.exc_type, KeyboardInterrupt):
            self._hook(what)
            return
        again = threading.Timer(AGAIN_S, self._again, [threading.get_ident()])
        again.daemon = True
        again.start()

    def _again(self, thread: int) -> None:
        if not self._over:
            import ctypes  # help has no need of it

            ctypes.pythonapi.PyThreadState_SetAsyncExc(ctypes.c_ulong(thread), ctypes.py_object(KeyboardInterrupt))

    def _came(self, number: int, _frame: FrameType | None) -> None:
        if self.code is not None:
            os._exit(128 + number)
        self.code = 128 + number
        raise KeyboardInterrupt
