"""Talk before and after a song is not written down, and no singing is lost as talk."""

from __future__ import annotations

import json
from itertools import pairwise

import numpy as np
import pytest
from other_sounds import speech
from singers import VOICES, Style, melody, noisy, perform, render
from tracked import track

from companion.ear import find_notes, read_sound
from companion.places import shipped
from companion.transcribe import notate
from companion.transcribe.talk import _singing, talk_silenced
from companion.tune import load

RATE = 22050


def voiced_s(samples: np.ndarray) -> float:
    found = track(samples)
    return float(np.count_nonzero(talk_silenced(found).f0_hz > 0)) * found.hop_s


def singing(seed: int) -> np.ndarray:
    rng = np.random.default_rng([3, seed])
    take = perform(melody(rng, 9), Style(miss=0.1, vibrato=0.1, scoop=0.5, fall=0.5), rng)
    return noisy(render(take, VOICES[seed], "formants", rng), rng, 40.0)


@pytest.mark.parametrize("seed", [0, 1, 3])
def test_singing_alone_stays_as_it_is(seed: int) -> None:
    found = track(singing(seed))
    assert talk_silenced(found) is found


@pytest.mark.parametrize("seed", range(6))
def test_talk_alone_stays_for_the_sentence_that_says_so(seed: int) -> None:
    found = track(speech(np.random.default_rng(seed)))
    assert talk_silenced(found) is found


def test_talk_around_a_song_is_silence_and_the_song_is_whole() -> None:
    """Nine notes; talk ends and begins 0.3 s from them. A sentence that eSpeak says on one tone may stay."""
    pause = np.zeros(round(0.3 * RATE), dtype=np.float32)
    song, said = singing(1), [0.3 * s / np.abs(s).max() for s in map(speech, map(np.random.default_rng, (8, 1)))]
    whole = np.concatenate([said[0], pause, song, pause, said[1]])
    start, end = (len(said[0]) + len(pause)) / RATE, (len(said[0]) + len(pause) + len(song)) / RATE
    heard, kept = track(whole), talk_silenced(track(whole))
    inside = (heard.time_s >= start) & (heard.time_s < end)
    assert np.array_equal(kept.f0_hz[inside], heard.f0_hz[inside])
    assert np.count_nonzero(kept.f0_hz[~inside]) < 0.3 * np.count_nonzero(heard.f0_hz[~inside])


def test_a_short_or_unsure_stretch_is_what_is_around_it() -> None:
    assert _singing([9.0, -1.5, 9.0], [1.0, 1.0]) == [True, True, True]
    assert _singing([9.0, -4.5, 9.0], [1.0, 1.0]) == [True, False, True]
    assert _singing([-9.0, 1.5, -9.0, 8.0], [1.0] * 3) == [False, False, False, True]
    assert _singing([], []) == []


def test_nobody_goes_on_from_singing_to_talk_in_one_breath() -> None:
    """A quick last strain, whose short notes sound like talk, is kept; talk that surely is none goes."""
    assert _singing([35.0, -5.0], [0.22]) == [True, True]
    assert _singing([35.0, -5.0], [0.9]) == [True, False]
    assert _singing([35.0, -20.0], [0.22]) == [True, False]


def test_a_shipped_take_with_talk_before_it_is_written_down_without_the_talk() -> None:
    path = shipped("recordings") / "snail-wall-talk-before.flac"
    assert json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))["kind"] == "all right"
    found = track(read_sound(path).samples)
    notes, line = notate(found).notes, load("snail-wall").line()
    assert len(notes) == len(line) < len(find_notes(found))
    moves = [b.midi - a.midi for a, b in pairwise(notes)]
    assert moves == [b.midi - a.midi for a, b in pairwise(line)]
