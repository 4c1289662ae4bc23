"""Trackers behind one interface: the conventions that each has to keep, and ours against the reference."""

import json

import numpy as np
import pytest

from companion.command import main
from companion.ear import DEFAULT_TRACKER, RATE, Sound, Tracker, join, pitch_tracker, read_sound, track, tracker_names
from companion.errors import Trouble
from companion.places import shipped

TAKE = shipped("recordings") / "snail-wall-right.flac"
SINE = Sound(np.sin(2 * np.pi * 200.0 * np.arange(RATE) / RATE).astype(np.float32), RATE)
SILENT = {"empty": np.zeros(0), "one sample": np.zeros(1), "less than a frame": np.zeros(300), "silence": np.zeros(RATE // 2)}


@pytest.mark.parametrize("name", tracker_names())
def test_every_tracker_keeps_the_conventions(name: str) -> None:
    found = track(SINE, name)
    n = len(found.time_s)
    assert {len(found.f0_hz), len(found.sure), len(found.level_db), len(found.harmonic)} == {n}
    assert found.time_s[0] == 0.0
    assert np.diff(found.time_s) == pytest.approx(found.hop_s)
    assert 0.005 <= found.hop_s <= 0.013
    assert found.duration_s == pytest.approx(1.0)
    assert abs(n * found.hop_s - 1.0) < 0.02
    middle = slice(n // 4, 3 * n // 4)
    assert found.f0_hz[middle] == pytest.approx(200.0, rel=0.0116)  # 20 cents; bins are 10 wide
    assert found.level_db[middle] == pytest.approx(-3.01, abs=0.1)  # RMS of a sine of amplitude 1
    assert ((found.sure >= 0) & (found.sure <= 1)).all()
    assert (found.sure[found.f0_hz == 0] == 0).all()


@pytest.mark.parametrize("name", tracker_names())
@pytest.mark.parametrize("samples", SILENT.values(), ids=SILENT)
def test_silence_has_no_voice_and_is_no_error(name: str, samples: np.ndarray) -> None:
    found = track(Sound(samples.astype(np.float32), RATE), name)
    assert len(found.time_s) >= 1
    assert not found.f0_hz.any()
    assert found.duration_s == pytest.approx(len(samples) / RATE)


@pytest.mark.parametrize("name", tracker_names())
def test_the_pitch_does_not_depend_on_the_rate_of_the_sound(name: str) -> None:
    found = track(SINE.at_rate(48000), name)
    n = len(found.time_s)
    assert found.f0_hz[n // 4:3 * n // 4] == pytest.approx(200.0, rel=0.0116)
    assert found.duration_s == pytest.approx(1.0, abs=0.001)


def test_ours_agrees_with_librosa_on_a_take_that_ships() -> None:
    """Outside reference: librosa.pyin. Where both hear voice the pitch is the same to a quarter of a semitone."""
    sound = read_sound(TAKE)
    ours, reference = track(sound), track(sound, "librosa")
    assert ours.time_s == pytest.approx(reference.time_s)
    assert ours.level_db == pytest.approx(reference.level_db, abs=0.01)
    both = (ours.f0_hz > 0) & (reference.f0_hz > 0)
    assert both.sum() > 200
    cents = 1200 * np.abs(np.log2(ours.f0_hz[both] / reference.f0_hz[both]))
    assert np.mean(cents < 25) > 0.95
    assert np.median(cents) < 10  # the width of a bin of both
    assert np.mean((ours.f0_hz > 0) == (reference.f0_hz > 0)) > 0.85  # librosa calls tails and breath sung


def test_the_stream_gives_nearly_the_frames_of_the_whole() -> None:
    """Features are the same; a frame at the edge of voice may be decided otherwise with more look-ahead."""
    sound, stream = read_sound(TAKE), Tracker()
    blocks = [stream.push(sound.samples[i:i + 441]) for i in range(0, len(sound.samples), 441)]
    whole = track(sound)
    parts = join([*blocks, stream.finish()])
    assert (parts.time_s == whole.time_s).all()
    assert (parts.level_db == whole.level_db).all()
    assert np.mean(parts.f0_hz == whole.f0_hz) > 0.99


def test_the_usual_tracker_is_ours_and_the_option_says_so() -> None:
    import argparse

    from companion.command.parser import tracker_argument

    parser = argparse.ArgumentParser()
    tracker_argument(parser)
    assert parser.parse_args([]).tracker == DEFAULT_TRACKER
    assert {DEFAULT_TRACKER, "librosa"} <= set(tracker_names())


def test_a_tracker_that_there_is_not_is_one_sentence(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(Trouble, match="There is no pitch tracker yin"):
        pitch_tracker("yin")
    assert main(["hear", str(TAKE), "--tune", "snail-wall", "--tracker", "yin"]) == 2
    error = capsys.readouterr().err
    assert error.startswith("There is no pitch tracker yin. There are: ")
    assert "companion" in error
    assert "librosa" in error


@pytest.mark.parametrize("tracker", [DEFAULT_TRACKER, pytest.param("librosa", marks=pytest.mark.slow)])
def test_a_take_that_ships_is_judged_alike_by_both(tracker: str, capsys: pytest.CaptureFixture[str]) -> None:
    """What was sung: recordings/README.md."""
    turned = TAKE.with_name("snail-wall-one-move-turned.flac")
    main(["hear", str(TAKE), "--tune", "snail-wall", "--tracker", tracker, "--json"])
    right = json.loads(capsys.readouterr().out)["counts"]
    main(["hear", str(turned), "--tune", "snail-wall", "--tracker", tracker, "--json"])
    wrong = json.loads(capsys.readouterr().out)["counts"]
    assert (right["right"], right["not that way"]) == (13, 0)
    assert (wrong["right"], wrong["not that way"]) == (12, 1)
