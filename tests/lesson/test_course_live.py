"""In real time, on a sound card of software: a pupil who reads braille from the screen and sings it."""

import re
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from singers import RATE, VOICES, LineItem, Style, perform, render
from soundcard import RATE as CARD_RATE
from soundcard import ROOT, Recording, SoundCard

MIDI = {"D": 60, "E": 62, "F": 64, "G": 65, "H": 67, "I": 69, "J": 71}  # the letter trap, by heart
BREATH_S = 1.2  # after the first note has ended: a breath, and time for the microphone to open on a busy machine
LOUD = 0.003  # of full scale: the first note is far louder, the silence far softer


def wait_for_the_first_note(record: Recording, since: int) -> None:
    """Until a note has come out of the loudspeaker after `since` samples, and has ended."""
    end = time.monotonic() + 30
    while time.monotonic() < end:
        new = record.samples[since:]
        loud = np.flatnonzero(np.abs(new) > LOUD)
        if len(loud) and len(new) - loud[-1] > 0.25 * CARD_RATE:
            return
        time.sleep(0.05)
    raise AssertionError("no first note was sounded")


@pytest.mark.slow
def test_a_hands_free_sitting_read_from_the_screen_and_sung(soundcard_apart: SoundCard, tmp_path: Path) -> None:
    diary = str(tmp_path / "diary.sqlite")
    command = [sys.executable, "-m", "companion", "course", "Robin", "--diary", diary]
    for more in (["--new", "--pass", "1", "--pass", "2"],):
        subprocess.run([*command, *more], env=soundcard_apart.env, cwd=ROOT, check=True, capture_output=True)
    process = subprocess.Popen([*command, "--hands-free", "--speech", "off", "--as", "ascii", "--questions", "3"],
                               env=soundcard_apart.env, cwd=ROOT, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
                               stderr=subprocess.PIPE, text=True)
    lines: list[str] = []
    sung = 0
    assert process.stdout is not None
    end = time.monotonic() + 240
    with soundcard_apart.recording() as record:
        for text in process.stdout:
            line, since = text.strip(), len(record.samples)
            lines.append(line)
            assert time.monotonic() < end, lines[-5:]
            wanted = [MIDI[c] for c in line] if re.fullmatch(r"[D-J]{2,8}", line) else \
                [60, 67] if "then a higher one" in line else [67, 60] if "then a lower one" in line else \
                [64, 64] if "then the same one" in line else None
            if wanted:
                rng = np.random.default_rng(sung)
                performance = perform([LineItem(m, 1.0) for m in wanted], Style(shift=-2.0, miss=0.05), rng)
                voice = render(performance, VOICES[1], "formants", rng)
                wait_for_the_first_note(record, since)
                time.sleep(BREATH_S)
                soundcard_apart.voice(voice, RATE)
                sung += 1
    assert process.wait(10) == 0, process.stderr.read() if process.stderr else ""
    right = [x for x in lines if x.startswith(("Right.", "All ", "Both "))]
    assert sung >= 4, lines
    assert len(right) >= sung - 1, lines
    assert not any("tune goes" in x for x in lines), lines
    assert re.fullmatch(r"\w+ of \w+ right\.", lines[-2]), lines[-3:]
    assert lines[-1].startswith("Next time"), lines[-1]
