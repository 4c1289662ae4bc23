"""What is no tune is refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from notate_takes import HOP_S, as_sound, as_track, performance
from tracked import track

from companion.ear import PitchTrack, SungNote
from companion.errors import NothingSung
from companion.language import English, doubt_line
from companion.transcribe import SoundDoubt, doubts_of, notate
from companion.transcribe.suitability import crowding, in_turn
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


def test_a_song_lies_on_a_scale_and_talk_does_not() -> None:
    """Rayleigh's test by hand: eight notes on one place of the semitone come to 8, four here and four between to 0."""
    on = [SungNote(0.3 * k, 0.2, 60.3 + midi, 0.3, 0.05) for k, midi in enumerate((0, 2, 4, 5, 4, 2, 7, 0))]
    assert crowding(on) == pytest.approx(8.0)
    half = [replace(n, midi=n.midi + (0.5 if k % 4 > 1 else 0.0)) for k, n in enumerate(on)]
    assert crowding(half) < 1.0
    drifting = [replace(n, midi=n.midi + 0.125 * k) for k, n in enumerate(on)]  # over a whole semitone, evenly
    assert crowding(drifting) == pytest.approx(7.0)


def sung(*phrases: tuple[int, ...]) -> list[SungNote]:
    """Notes of 0.3 s, with half a second between phrases."""
    return [SungNote(0.3 * k + 0.5 * p + 2.4 * p, 0.3, float(midi), 0.05, 0.9)
            for p, phrase in enumerate(phrases) for k, midi in enumerate(phrase)]


def test_two_singers_in_turn_are_told_and_said() -> None:
    """A man's answer to a child, mostly an octave lower; a tune of a wide range by one voice is none."""
    child, man = (67, 69, 71, 72, 71, 69, 67), (55, 57, 59, 60, 59, 57, 55)
    assert in_turn(sung(child, man, child, man))
    assert in_turn(sung(child, man))
    assert not in_turn(sung(child, child))
    assert not in_turn(sung(child + man))  # in one breath
    assert not in_turn(sung((60, 62, 64, 65, 67, 69, 71, 72), (72, 71, 69, 67, 65, 64, 62, 60), (72, 74, 72, 71)))
    n = notate(as_track(performance(load("moon-sea"))))
    doubt = doubts_of(replace(n, sound=SoundDoubt.IN_TURN))[0]
    assert doubt_line(English(), doubt).startswith("Two voices seem to sing here in turn, one lower than the other")
