"""Level, low start, files and devices of what is played."""

from __future__ import annotations

import subprocess
import sys
import warnings
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from companion.audio import playback
from companion.audio.glides import glide, starting_note
from companion.audio.playback import CAP_DBFS, LOW_START_DB, PEAK, finish, save_sound
from companion.audio.sound import PART_DB, Sound, active_db, concatenated, levelled, silence
from companion.errors import Trouble

RATE = 44100


def loudest_db(sound: Sound) -> float:
    """RMS of the loudest 50 ms, dB re full scale (a square wave of 1 is 0), window by window."""
    window = min(round(0.05 * sound.rate), len(sound.samples))
    if not window:
        return -120.0
    windows = np.lib.stride_tricks.sliding_window_view(sound.samples.astype(np.float64), window)
    return float(10 * np.log10(max(np.square(w).mean() for w in windows[::4]) + 1e-12))


def noise(seconds: float, level: float, seed: int = 1) -> Sound:
    samples = level * np.random.default_rng(seed).standard_normal(round(seconds * RATE))
    return Sound(samples.astype(np.float32), RATE)


@pytest.mark.parametrize("samples", [
    [], [0.0], [np.nan] * 5000, [1e300] * 5000, [-1e300, np.nan, np.inf, -np.inf, 0.5] * 1000, [1e-300] * 5000,
    [1.0, -1.0] * 5000, [np.inf], [3.0] * 10, [[0.5]] * 3000,
    ([1.0] + [0.0] * 999) * 90])
def test_whatever_comes_in_what_is_played_is_finite_and_under_the_cap(samples: list[float]) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        out = finish(Sound(np.array(samples, dtype=np.float64), RATE))  # type: ignore[arg-type]
    assert out.samples.dtype == np.float32
    assert len(out.samples) == len(samples)
    assert np.isfinite(out.samples).all()
    assert loudest_db(out) <= CAP_DBFS + 0.01
    assert not len(samples) or np.abs(out.samples).max() <= PEAK + 1e-6


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**31), st.floats(0.001, 20), st.sampled_from([8000, 22050, 44100, 48000]),
       st.floats(-60, 20))
def test_never_louder_than_the_cap_nor_than_it_was(seed: int, level: float, rate: int, cap: float) -> None:
    made = Sound(noise(0.7, level, seed).samples[:rate // 2], rate)
    out = finish(made, cap)
    assert loudest_db(out) <= min(cap, CAP_DBFS) + 0.01
    assert (np.abs(out.samples) <= np.abs(made.samples) + 1e-7).all()


def test_one_rogue_sample_makes_no_noise() -> None:
    samples = glide(60, 62).samples.astype(np.float64)
    samples[20000] = 1e300
    out = finish(Sound(samples, RATE))  # type: ignore[arg-type]
    assert np.abs(out.samples).max() <= PEAK


def test_it_starts_low_for_more_than_a_blink() -> None:
    out = finish(noise(3, 0.3))
    loudest = loudest_db(out)
    first = [loudest_db(Sound(out.samples[at * RATE // 10:(at + 1) * RATE // 10], RATE)) for at in range(4)]
    assert first[0] < loudest - LOW_START_DB + 0.5
    assert first == sorted(first)
    assert first[2] < loudest - 3
    assert loudest_db(Sound(out.samples[RATE:], RATE)) == pytest.approx(loudest, abs=0.5)


def test_no_part_jumps_out_of_a_softer_one() -> None:
    """A part 30 dB louder than the one before comes in by degrees, not at once."""
    out = finish(concatenated(noise(2, 0.005), silence(0.3, RATE), noise(2, 0.16)))
    loudest = loudest_db(out)
    come_in = out.samples[round(2.3 * RATE):round(2.4 * RATE)]
    assert loudest_db(Sound(come_in, RATE)) < loudest - LOW_START_DB + 2


def test_what_follows_a_long_silence_starts_low_again_and_a_short_one_does_not_matter() -> None:
    def second(gap: float) -> float:
        out = finish(concatenated(noise(2, 0.3), silence(gap, RATE), noise(2, 0.3)))
        at = round((2 + gap) * RATE)
        return loudest_db(Sound(out.samples[at:at + RATE // 10], RATE)) - loudest_db(out)

    assert second(10) < -LOW_START_DB + 2
    assert second(0.3) > -2


@pytest.mark.parametrize("part", [glide(48, 55), glide(72, 71, "voice"), starting_note(60), noise(1, 0.001)])
def test_levelled_parts_have_one_level(part: Sound) -> None:
    assert active_db(levelled(part)) == pytest.approx(PART_DB, abs=0.3)


@pytest.mark.parametrize("cap", [CAP_DBFS, -20.0, -30.0])
def test_parts_played_one_by_one_keep_their_balance_at_every_loudness(cap: float) -> None:
    """As a session plays them: a sentence, then a glide, each finished by itself."""
    from companion.audio.speech import speak
    from companion.language import English

    spoken = finish(levelled(speak("Four of five right. From 'snail' to 'wall' the tune goes up. Listen.", English())), cap)
    levels = [active_db(spoken), *(active_db(finish(glide(60, 62, t), cap)) for t in ("tune", "voice"))]
    assert max(levels) - min(levels) < 2
    assert np.mean(levels) == pytest.approx(PART_DB + cap - CAP_DBFS, abs=2)


def test_pauses_do_not_count_for_the_level() -> None:
    tone = starting_note(60)
    assert active_db(concatenated(tone, silence(5, RATE))) == pytest.approx(active_db(tone), abs=0.3)
    assert not levelled(silence(1, RATE)).samples.any()


@pytest.mark.parametrize("kind", ["wav", "flac"])
def test_saved_sound_reads_back_capped(tmp_path: Path, kind: str) -> None:
    import soundfile

    save_sound(noise(1, 3.0), tmp_path / f"a.{kind}")
    data, rate = soundfile.read(tmp_path / f"a.{kind}")
    assert rate == RATE
    assert loudest_db(Sound(data.astype(np.float32), rate)) <= CAP_DBFS + 0.01
    assert [p.name for p in tmp_path.iterdir()] == [f"a.{kind}"]


@pytest.mark.parametrize("name", ["a.mp3", "a", "missing/a.wav"])
def test_what_cannot_be_saved_is_one_sentence_and_leaves_nothing(tmp_path: Path, name: str) -> None:
    with pytest.raises(Trouble) as caught:
        save_sound(starting_note(60, 0.1), tmp_path / name)
    assert "\n" not in str(caught.value)
    assert not list(tmp_path.iterdir())


class Devices:
    """Stands in for sounddevice's list of devices: two loudspeakers and a microphone."""

    PortAudioError = type("PortAudioError", (Exception,), {})
    all = ({"name": "Desk speaker", "hostapi": 0, "max_output_channels": 2, "default_samplerate": 48000.0},
           {"name": "Microphone", "hostapi": 0, "max_output_channels": 0, "default_samplerate": 44100.0},
           {"name": "Desk speaker, rear", "hostapi": 0, "max_output_channels": 2, "default_samplerate": 44100.0})

    def __init__(self, there: int = 3) -> None:
        self.there = self.all[:there]

    def query_devices(self, device: int | None = None, kind: str = "") -> object:
        return self.there if device is None and not kind else self.there[device or 0]

    def query_hostapis(self) -> object:
        return ({"name": "ALSA"},)


def test_devices_are_found_by_name_part_or_number(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(playback, "portaudio", Devices)
    assert playback.find_loudspeaker("desk SPEAKER") == (0, 48000)  # a whole name goes before a part of one
    assert playback.find_loudspeaker("rear") == (2, 44100)
    assert playback.find_loudspeaker("2") == playback.find_loudspeaker(2) == (2, 44100)
    assert playback.find_loudspeaker() == (None, 48000)


@pytest.mark.parametrize(("device", "says"), [
    ("nosuch", "'nosuch'"), ("Microphone", "'Microphone'"), ("", "''"), ("speak", "several"), (7, "7"), (1, "1"),
    ("-1", "'-1'")])
def test_an_unknown_device_is_named_and_those_there_are_listed(
        monkeypatch: pytest.MonkeyPatch, device: str | int, says: str) -> None:
    monkeypatch.setattr(playback, "portaudio", Devices)
    with pytest.raises(Trouble) as caught:
        playback.find_loudspeaker(device)
    said = str(caught.value)
    assert says in said
    assert "Desk speaker, rear" in said
    assert "no loudspeaker to play on" not in said


def test_no_device_at_all_is_no_loudspeaker(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(playback, "portaudio", lambda: Devices(0))
    for device in (None, "nosuch", 3):
        with pytest.raises(Trouble, match="no loudspeaker to play on"):
            playback.find_loudspeaker(device)


def test_without_portaudio_one_sentence_says_what_to_install(tmp_path: Path) -> None:
    """A module of that name that fails as sounddevice does where the library is missing."""
    (tmp_path / "sounddevice.py").write_text("raise OSError('PortAudio library not found')")
    code = (f"import sys; sys.path.insert(0, {str(tmp_path)!r})\n"
            "from companion.audio.playback import play; from companion.audio.glides import glide\n"
            "from companion.errors import Trouble\n"
            "try: play(glide(60, 62))\nexcept Trouble as t: print(t)")
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True,
                         cwd=Path(__file__).parents[2], check=True).stdout
    assert out.count("\n") == 1
    assert "libportaudio2" in out
