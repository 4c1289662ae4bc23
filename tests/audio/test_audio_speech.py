"""What eSpeak NG is given to say, and what happens when it is cut short."""

from __future__ import annotations

import ctypes
import subprocess
import sys
import threading
from pathlib import Path

import numpy as np
import pytest

from companion.audio import speak, speech
from companion.audio.speech import speak_to
from companion.language import English, Variety

ENGLISH = English()


def phonemes(text: str, folder: Path, language: English = ENGLISH) -> str:
    """What eSpeak NG says, in its own phoneme letters (espeak_SetPhonemeTrace of speak_lib.h)."""
    library, _ = speech._start()
    libc = ctypes.CDLL(None)
    libc.fopen.restype = ctypes.c_void_p
    trace = folder / "trace.txt"
    file = ctypes.c_void_p(libc.fopen(str(trace).encode(), b"w"))
    library.espeak_SetPhonemeTrace(1, file)
    try:
        speak(text, language)
    finally:
        library.espeak_SetPhonemeTrace(0, None)
        libc.fclose(file)
    return trace.read_text().strip()


def test_the_engine_says_the_letter_and_the_article_as_they_are_said(tmp_path: Path) -> None:
    letter, article = "'eI", "a#"
    assert phonemes("Start on A flat.", tmp_path).endswith(f"{letter} fl'at")
    assert phonemes("A is one note lower.", tmp_path).startswith(letter)
    assert phonemes("A little closer.", tmp_path).startswith(article)
    assert "h'aS" not in phonemes("F#4", tmp_path)
    assert phonemes("F#4", tmp_path) == phonemes("F sharp 4", tmp_path)


def test_what_goes_wrong_in_the_sink_comes_out_and_ends_the_sentence() -> None:
    class OurFault(Exception):
        pass

    calls = []

    def sink(samples: np.ndarray) -> bool:
        calls.append(len(samples))
        raise OurFault("the disk is full")

    with pytest.raises(OurFault, match="the disk is full"):
        speak_to(sink, "One, two, three, four, five, six, seven.", ENGLISH.voice)
    assert len(calls) == 1
    assert speak("And on it goes.", ENGLISH).seconds > 0.5, "the engine is as good as new"


def test_ctrl_c_while_speaking_comes_out_too() -> None:
    def sink(samples: np.ndarray) -> bool:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        speak_to(sink, "One, two, three.", ENGLISH.voice)


def test_a_signal_while_speaking_is_never_lost() -> None:
    """Ctrl+C at many moments of a sentence: it comes out each time, and the next sentence is spoken whole."""
    code = """
import signal, threading, time
from companion.audio import speak
from companion.language import English
text = "Four of five right. From snail to wall the tune goes up. Listen."
whole = speak(text, English()).seconds
out = 0
for k in range(40):
    try:
        signal.setitimer(signal.ITIMER_REAL, 0.0002 + 0.00005 * k)
        speak(text * 6, English())
        time.sleep(0.05)
    except KeyboardInterrupt:
        out += 1
print(out, abs(speak(text, English()).seconds - whole) < 0.1)
"""
    code = code.replace("out = 0", "out = 0\nsignal.signal(signal.SIGALRM, signal.default_int_handler)")
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=Path(__file__).parents[2])
    assert (done.stdout.strip(), done.stderr) == ("40 True", "")


def test_a_sentence_can_be_stopped() -> None:
    whole = speak("One, two, three, four, five, six, seven, eight, nine, ten.", ENGLISH)
    got = []

    def sink(samples: np.ndarray) -> bool:
        got.append(len(samples))
        return len(got) < 3

    rate = speak_to(sink, "One, two, three, four, five, six, seven, eight, nine, ten.", ENGLISH.voice)
    assert sum(got) / rate < whole.seconds / 2
    assert len(got) == 3


def test_a_sink_that_speaks_is_told_so_and_does_not_hang() -> None:
    def sink(samples: np.ndarray) -> bool:
        speak("Again.", ENGLISH)
        return True

    with pytest.raises(RuntimeError, match="may not speak"):
        speak_to(sink, "Once.", ENGLISH.voice)


def test_several_threads_speak_one_after_the_other() -> None:
    lengths: list[float] = []
    threads = [threading.Thread(target=lambda: lengths.append(speak("From snail to wall.", ENGLISH).seconds))
               for _ in range(4)]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    assert max(lengths) - min(lengths) < 0.15
    assert min(lengths) > 0.8


@pytest.mark.parametrize("text", ["", " ", "\0", "\udc80", "‿", "[[", "<speak>", "ß 🎵", "one\0two", "x" * 5000])
def test_odd_text_is_spoken_or_silent(text: str) -> None:
    stop = []
    speak_to(lambda s: stop.append(1) or len(stop) < 20, text, ENGLISH.voice)  # type: ignore[func-returns-value]


def test_zero_does_not_end_the_text() -> None:
    assert speak("one\0two three four", ENGLISH).seconds > 1.5 * speak("one", ENGLISH).seconds


def test_no_heavy_library_stands_before_the_first_word() -> None:
    code = ("import sys; from companion.audio import speak; from companion.language import English;"
            "speak('Hello.', English());"
            "heavy = {'librosa', 'numba', 'scipy', 'music21', 'soundfile', 'sounddevice'};"
            "print(sorted(heavy & set(sys.modules)))")
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True,
                         cwd=Path(__file__).parents[2], check=True).stdout
    assert out.strip() == "[]"


def test_each_variety_has_a_voice_of_its_own(tmp_path: Path) -> None:
    """The stressed vowel of "tomato" is that of "father" in Britain and that of "face" in America (Wells 1982)."""
    assert "A:" in phonemes("tomato", tmp_path, ENGLISH)
    assert "eI" in phonemes("tomato", tmp_path, English(Variety.AMERICAN))


def test_a_voice_that_there_is_not_is_an_error_and_not_another_voice() -> None:
    with pytest.raises(ValueError, match="'no such voice'"):
        speak_to(lambda samples: True, "One.", "no such voice")
    assert speak("One.", ENGLISH).seconds > 0.2


@pytest.mark.parametrize(("short", "given"), [
    ("C:\\USERS\\ZO~1\\data", b"C:\\USERS\\ZO~1\\data"), ("", b"C:\\Users\\Zo\xeb\\data")])
def test_on_windows_a_path_outside_ascii_is_given_by_its_short_name(
        monkeypatch: pytest.MonkeyPatch, short: str, given: bytes) -> None:
    """GetShortPathNameW gives the number of letters it wrote, 0 where short names are turned off (Microsoft's reference);
    the code page stands in as Latin-1."""
    import codecs

    class Kernel32:
        def GetShortPathNameW(self, path: str, into: ctypes.Array[ctypes.c_wchar], size: int) -> int:
            into.value = short
            return len(short)

    monkeypatch.setattr(speech.sys, "platform", "win32")
    monkeypatch.setattr(ctypes, "windll", type("", (), {"kernel32": Kernel32()}), raising=False)
    codecs.register(lambda name: codecs.lookup("latin-1") if name == "mbcs" else None)
    assert speech.espeak_path("C:\\Users\\Zo\u00eb\\data") == given
    assert speech.espeak_path("C:\\Users\\Zoe\\data") == b"C:\\Users\\Zoe\\data"
