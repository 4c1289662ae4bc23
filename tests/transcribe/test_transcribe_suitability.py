"""What is no tune is refused."""

from __future__ import annotations

import numpy as np
import pytest
from notate_takes import HOP_S, as_sound, performance
from tracked import track

from companion.ear import PitchTrack
from companion.errors import NothingSung
from companion.language import English, doubt_line
from companion.transcribe import SoundDoubt, doubts_of, notate
from companion.tune import load


def flat(f0: np.ndarray, level: float = -20.0, sure: float = 0.9) -> PitchTrack:
    n = len(f0)
    voiced = f0 > 0
    return PitchTrack(np.arange(n) * HOP_S, f0, np.where(voiced, sure, 0.0), np.where(voiced, level, -80.0),
                      np.where(voiced, 0.95, 0.1), HOP_S, n * HOP_S)


@pytest.mark.parametrize(("take", "part"), [
    (flat(np.zeros(400)), "Nothing sung"),
    (flat(np.full(500, 220.0)), "Only 1 sung note"),
    (flat(220 * 2 ** (np.linspace(0, 19, 600) / 12)), "slides all the way"),
    (flat(220 * 2 ** (5 * np.sin(np.arange(600) / 45) / 12)), "slides all the way"),
])
def test_what_is_no_tune_is_refused_in_one_sentence(take: PitchTrack, part: str) -> None:
    with pytest.raises(NothingSung, match=part) as error:
        notate(take)
    assert str(error.value).count("\n") == 0


@pytest.mark.parametrize("text", [
    "The little boat went down the river in the morning, and nobody knew where it would stop.",
    "Good morning everybody, my name is Robin and today we are going to learn a new song.", "One, two, three, four."])
def test_speech_is_refused(text: str) -> None:
    from companion.audio import speak
    from companion.language import English

    spoken = speak(text, English())
    with pytest.raises(NothingSung, match="sounds like speech"):
        notate(track(spoken.samples, spoken.rate))


def test_a_hum_is_written_and_noise_is_said() -> None:
    from singers import noisy

    sound = as_sound(performance(load("lantern"), shift=5.0))
    n = notate(track(noisy(sound, np.random.default_rng(2), 8.0)), "x")
    assert n.sound is SoundDoubt.UNCLEAR
    assert doubt_line(English(), doubts_of(n)[0]).startswith("The sound is not clear")
