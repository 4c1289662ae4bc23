"""In real time, on a sound card of software: a pupil who reads braille from the screen and sings it."""

import re
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from singers import RATE, VOICES, LineItem, Style, perform, render
from soundcard import ROOT, SoundCard

MIDI = {"D": 60, "E": 62, "F": 64, "G": 65, "H": 67, "I": 69, "J": 71}  # the letter trap, by heart
BEFORE_SINGING_S = 1.9  # the first note lasts a second; then a breath


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
    end = time.monotonic() + 120
    for text in process.stdout:
        line = text.strip()
        lines.append(line)
        assert time.monotonic() < end, lines[-5:]
        wanted = [MIDI[c] for c in line] if re.fullmatch(r"[D-J]{2,8}", line) else \
            [60, 67] if "then a higher one" in line else [67, 60] if "then a lower one" in line else \
            [64, 64] if "then the same one" in line else None
        if wanted:
            rng = np.random.default_rng(sung)
            performance = perform([LineItem(m, 1.0) for m in wanted], Style(shift=-2.0, miss=0.05), rng)
            time.sleep(BEFORE_SINGING_S)
            soundcard_apart.voice(render(performance, VOICES[1], "formants", rng), RATE)
            sung += 1
    assert process.wait(10) == 0, process.stderr.read() if process.stderr else ""
    right = [x for x in lines if x.startswith(("Right.", "All ", "Both "))]
    assert sung >= 4, lines
    assert len(right) >= sung - 1, lines
    assert not any("tune goes" in x for x in lines), lines
    assert re.fullmatch(r"\w+ of \w+ right\.", lines[-1]), lines[-1]
