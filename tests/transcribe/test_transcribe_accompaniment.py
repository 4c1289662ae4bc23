"""What is no tune, or not one voice alone: a sentence each, and no word of it about a singer alone."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile
from notate_takes import as_sound, items, performance
from singers import LineItem, Style, corpus, melody, perform, render, room
from singers.performance import VOICES
from tracked import track

from companion.command import main
from companion.ear import read_sound
from companion.ear.files import RATE
from companion.transcribe.accompaniment import TAKE_FROM, TAKE_LASTING, accompaniment, check_voice, is_accompanied, sliding
from companion.tune import load

ACCOMPANIED = ("More than one voice or instrument sounds here, and a note may come from either. Record the voice alone, or "
               "listen to each note again.")
RECORDINGS = Path(__file__).resolve().parents[2] / "recordings"
VOICES_FETCHED = Path(__file__).resolve().parents[1] / "downloads"


def mixed(a: np.ndarray, b: np.ndarray, down_db: float = 0.0) -> np.ndarray:
    """Two sounds at one level, the second so many dB down."""
    n = max(len(a), len(b))
    out = np.zeros(n)
    for x, db in ((a, 0.0), (b, down_db)):
        out[:len(x)] += x / np.sqrt(np.mean(np.square(x))) * 10 ** (-db / 20)
    return (0.3 * out / np.abs(out).max()).astype(np.float32)


def under(semitones: int, seed: int, voice: int = 1) -> np.ndarray:
    """Lantern so far below itself, sung by another voice."""
    line = [LineItem(i.midi - semitones, i.quarters, i.syllable, i.rest_after) for i in items(load("lantern"))]
    p = perform(line, Style(miss=0.06, waver=0.03, slide_s=0.04, quarter_s=0.5), np.random.default_rng(seed))
    return render(p, VOICES[voice], "formants", np.random.default_rng(seed))


def piano(down: int) -> np.ndarray:
    """Struck tones that die away, so far below the notes of Lantern sung with crotchets of half a second."""
    line = items(load("lantern"))
    out = np.zeros(int((sum(i.quarters + i.rest_after for i in line) * 0.5 + 2) * RATE))
    t, at = np.arange(int(1.5 * RATE)) / RATE, 0.0
    for i in line:
        hz = 440 * 2 ** ((i.midi - down - 69) / 12)
        tone = sum(np.sin(2 * np.pi * hz * k * t) * np.exp(-t * (1.5 + 0.6 * k)) / k for k in range(1, 10))
        out[int(at * RATE):int(at * RATE) + len(t)] += tone[:len(out) - int(at * RATE)]
        at += (i.quarters + i.rest_after) * 0.5
    return out


def alone(samples: np.ndarray) -> bool:
    """Whether a take is found to be of one voice alone, with a third of the limits to spare."""
    sound = np.asarray(samples, dtype=np.float32)
    share, lasting = accompaniment(sound, track(sound, RATE))
    return share < TAKE_FROM / 1.5 and lasting < TAKE_LASTING / 1.5


def accompanied(samples: np.ndarray) -> bool:
    sound = np.asarray(samples, dtype=np.float32)
    return is_accompanied(sound, track(sound, RATE))


@pytest.mark.parametrize("take", sorted(RECORDINGS.glob("*.flac")), ids=lambda p: p.stem)
def test_no_shipped_singer_is_taken_to_be_accompanied(take: Path) -> None:
    assert alone(read_sound(take).samples)


@pytest.mark.parametrize("name", ["vocadito_10.wav", "vocadito_14.wav"])
def test_no_real_singer_is_taken_to_be_accompanied(name: str) -> None:
    if not (VOICES_FETCHED / name).exists():
        pytest.skip("Real voices are fetched by tests/fetch_voices.py.")
    sound = read_sound(VOICES_FETCHED / name)
    assert alone(sound.samples)
    assert sliding(track(sound.samples, RATE)) < 0.2


@pytest.mark.parametrize("voice", range(len(VOICES)))
def test_a_voice_alone_is_not_accompanied_in_a_room_either(voice: int) -> None:
    sound = as_sound(performance(load("lantern"), voice + 1, shift=VOICES[voice].middle - 65), voice)
    assert alone(sound)
    assert alone(room(sound, np.random.default_rng(1)))


def test_a_second_voice_or_a_piano_is_found() -> None:
    voice = as_sound(performance(load("lantern")))
    for sound in (mixed(voice, under(3, 2)), mixed(voice, under(4, 3, 0), 6), mixed(voice, piano(5)),
                  mixed(voice, piano(9), 8)):
        assert accompanied(sound)


def test_two_voices_are_said_whatever_is_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "two.wav"
    soundfile.write(path, mixed(as_sound(performance(load("lantern"))), under(3, 2)), RATE)
    code = main(["notate", str(path), "--fix", "in three"])
    said = capsys.readouterr()
    assert (code == 0 and ACCOMPANIED in said.out.splitlines()) or (code == 3 and said.err == f"{ACCOMPANIED}\n")


@pytest.mark.parametrize("seconds", [4, 20])
def test_one_long_slide_is_no_tune(seconds: int, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    t = np.arange(seconds * RATE) / RATE
    phase = np.cumsum(180 * 2 ** (t / seconds * 1.3)) / RATE
    soundfile.write(tmp_path / "slide.wav", 0.1 * sum(np.sin(2 * np.pi * k * phase) / k for k in range(1, 12)), RATE)
    assert main(["notate", str(tmp_path / "slide.wav")]) == 3
    out = capsys.readouterr()
    assert out.out == ""
    assert out.err.startswith("The pitch of this take slides all the way")


def test_a_whisper_is_no_tune() -> None:
    from companion.errors import NothingSung

    rng = np.random.default_rng(1)
    spectrum = np.fft.rfft(rng.normal(0, 1, 5 * RATE))
    hz = np.fft.rfftfreq(5 * RATE, 1 / RATE)
    breath = np.fft.irfft(spectrum * sum(np.exp(-0.5 * ((hz - f) / 120) ** 2) for f in (700, 1200, 2600)), 5 * RATE)
    found = track((0.3 * breath / np.abs(breath).max()).astype(np.float32), RATE)
    assert (found.f0_hz > 0).any()  # the ear takes such narrow noise for a voice
    with pytest.raises(NothingSung, match="breath or noise"):
        check_voice(found)


@pytest.mark.slow
def test_of_many_singers_none_is_accompanied_and_most_pairs_are() -> None:
    """Other singers than those that the limits were set on; in noise, in rooms, breathy, with scoops and vibrato."""
    for maker in ("formants", "speech"):
        assert all(alone(take.samples) for take in corpus(maker, 16, 9001))
    found = {"third": 0, "tune of its own": 0}
    for seed in range(401, 411):
        rng = np.random.default_rng(seed)
        first, second = melody(rng, 14), melody(rng, 14)
        low = [replace(i, midi=i.midi - 3) for i in first]
        sung = [render(perform(line, Style(miss=0.06, waver=0.03, slide_s=0.04, quarter_s=0.5), rng),
                       VOICES[(seed + k) % 4], ("formants", "speech")[(seed + k) % 2], rng)
                for k, line in enumerate((first, low, second))]
        found["third"] += accompanied(mixed(sung[0], sung[1], 6))
        found["tune of its own"] += accompanied(mixed(sung[0], sung[2], 6))
    assert found["third"] >= 9
    assert found["tune of its own"] >= 5
