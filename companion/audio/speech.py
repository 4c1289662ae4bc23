"""Speech by eSpeak NG, which the package espeakng-loader carries; no system package is needed.

One process speaks through one engine, and the engine is not safe for several threads at a time, so all of
it goes through one lock.
"""

from __future__ import annotations

import ctypes
import os
import sys
import threading
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from companion.ear import Sound
from companion.errors import Trouble
from companion.language import Language
from companion.messages import _

RATE_WPM = 150  # words a minute: calm, and clear to a child; eSpeak's own default is 175
_SYNCHRONOUS = 2  # AUDIO_OUTPUT_SYNCHRONOUS of espeak-ng/speak_lib.h
_DO_NOT_EXIT = 0x8000  # espeakINITIALIZE_DONT_EXIT
_CHARS_UTF8 = 1
_PHONEMES = 0x100  # espeakPHONEMES: [[...]] in the text is phonemes
_PARAMETER_RATE = 1
_OK = 0  # EE_OK
_BUFFER_MS = 60
LONGEST_WINDOWS_PATH = 32_768  # letters (Microsoft, "Maximum path length limitation")

_lock = threading.Lock()
_engine: tuple[Any, int] | None = None
_Callback = ctypes.CFUNCTYPE(ctypes.c_int, ctypes.POINTER(ctypes.c_short), ctypes.c_int, ctypes.c_void_p)


class _Sentence:
    """One sentence on its way: where its samples go, and what went wrong there (ctypes would only print it)."""

    def __init__(self, sink: Callable[[NDArray[np.float32]], bool]) -> None:
        self.sink = sink
        self.fault: BaseException | None = None
        self.given_up = False  # whoever waited for it was interrupted
        self.rate = 0
        self.speaker: int | None = None  # the thread that speaks it

    def receive(self, samples: NDArray[np.float32]) -> bool:
        """Pass samples on; False where the sentence is to stop."""
        if self.fault is not None or self.given_up:
            return False
        try:
            return bool(self.sink(samples))
        except BaseException as fault:
            self.fault = fault
            return False

    def speak(self, data: bytes, voice: str, rate_wpm: int) -> None:
        """Speak it, in the thread of this call, once the engine is free."""
        global _now
        self.speaker = threading.get_ident()
        with _lock:
            if self.given_up:
                return
            try:
                library, self.rate = _start()
                if library.espeak_SetVoiceByName(voice.encode()) != _OK:
                    raise ValueError(f"no voice of eSpeak NG is called {voice!r}")
                library.espeak_SetParameter(_PARAMETER_RATE, int(min(450, max(80, rate_wpm))), 0)
                _now = self
                library.espeak_Synth(data, len(data), 0, 0, 0, _CHARS_UTF8 | _PHONEMES, None, None)
            except BaseException as fault:
                self.fault = fault
            finally:
                _now = None


_now: _Sentence | None = None  # what the engine speaks


def _receive(wave: Any, count: int, events: Any) -> int:
    # Returning 1 stops the sentence.
    if not wave or count <= 0 or _now is None:
        return 0
    samples = np.ctypeslib.as_array(wave, shape=(count,)).astype(np.float32) / 32768.0
    return 0 if _now.receive(samples) else 1


_receive_c = _Callback(_receive)  # kept here: the engine holds only a pointer to it


def espeak_path(path: str) -> bytes:
    """A path as eSpeak NG opens it: on Windows by the C library, in the system's code page, so that a folder with other
    letters is named by its short name of eight and three letters, which is ASCII."""
    if sys.platform != "win32" or path.isascii():
        return os.fsencode(path)
    short = ctypes.create_unicode_buffer(LONGEST_WINDOWS_PATH)
    written = ctypes.windll.kernel32.GetShortPathNameW(path, short, len(short))
    return (short.value if written and short.value.isascii() else path).encode("mbcs", "replace")


def _start() -> tuple[Any, int]:
    global _engine
    if _engine is None:
        try:
            import espeakng_loader

            library = ctypes.CDLL(espeakng_loader.get_library_path())
            data = espeak_path(str(espeakng_loader.get_data_path()))
        except (ImportError, OSError) as error:
            raise Trouble(_("Speech is not available: the package espeakng-loader could not be loaded. Install it "
                            "with pip, or use --speech off.")) from error
        rate = library.espeak_Initialize(_SYNCHRONOUS, _BUFFER_MS, data, _DO_NOT_EXIT)
        if rate <= 0:
            raise Trouble(_("Speech could not be started. Install espeakng-loader anew, or use --speech off."))
        library.espeak_SetSynthCallback(_receive_c)
        _engine = (library, int(rate))
    return _engine


def speak_to(sink: Callable[[NDArray[np.float32]], bool], text: str, voice: str, rate_wpm: int = RATE_WPM) -> int:
    """Speak `text` block by block into `sink`, which returns False to stop. Returns the rate in Hz.

    voice: a name of eSpeak NG, as `Language.voice` has it. rate_wpm: 80 to 450. Raises ValueError for a voice that
    there is not, Trouble where speech is not to be had, and whatever `sink` raises, which also ends the sentence.
    `sink` may not speak itself: there is one engine.
    """
    now = _now
    if now is not None and now.speaker == threading.get_ident():
        raise RuntimeError("The sink of a sentence may not speak another one.")
    # A lone half of a surrogate pair, as broken text may hold, has no UTF-8; a zero would end the text.
    data = text.replace("\0", " ").encode("utf-8", "replace") + b"\0"
    sentence = _Sentence(sink)
    # In a thread of its own: Ctrl+C is raised in the main thread between any two steps of Python, and inside a function
    # that C has called it would be printed and lost.
    worker = threading.Thread(target=sentence.speak, args=(data, voice, rate_wpm), name="speech", daemon=True)
    try:
        worker.start()
        worker.join()
    except BaseException:
        sentence.given_up = True
        raise
    if sentence.fault is not None:
        raise sentence.fault
    return sentence.rate


def speak(text: str, language: Language, rate_wpm: int = RATE_WPM) -> Sound:
    """`text` as sound, in the voice of its language. The same text twice differs by a little: do not compare samples."""
    parts: list[NDArray[np.float32]] = []

    def keep(samples: NDArray[np.float32]) -> bool:
        parts.append(samples.copy())
        return True

    rate = speak_to(keep, language.spoken(text), language.voice, rate_wpm)
    return Sound(np.concatenate(parts) if parts else np.zeros(0, dtype=np.float32), rate)
