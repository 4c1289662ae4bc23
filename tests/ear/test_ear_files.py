"""Sound files of every kind that people have, and what cannot be read."""

from pathlib import Path

import numpy as np
import pytest
import soundfile

from companion.ear import hear_pitch, read_sound, read_track
from companion.errors import Trouble

RATE = 48000


def tone(seconds: float = 1.0, hz: float = 440.0, rate: int = RATE) -> np.ndarray:
    t = np.arange(int(seconds * rate)) / rate
    return 0.3 * sum(np.sin(2 * np.pi * hz * k * t) / k for k in (1, 2, 3))


def encode(path: Path, samples: np.ndarray, rate: int, codec: str) -> None:
    """M4A and WebM as phones and browsers write them, by PyAV."""
    import av

    with av.open(str(path), "w") as out:
        stream = out.add_stream(codec, rate=rate)
        stream.layout = "mono"
        frame = av.AudioFrame.from_ndarray(samples.astype(np.float32)[None, :], format="fltp", layout="mono")
        frame.sample_rate = rate
        resampler = av.AudioResampler(format=stream.format or "fltp", layout="mono", rate=rate,
                                      frame_size=stream.codec_context.frame_size or 1024)
        for piece in resampler.resample(frame):
            out.mux(stream.encode(piece))
        for piece in resampler.resample(None):
            out.mux(stream.encode(piece))
        out.mux(stream.encode(None))


@pytest.mark.parametrize("kind", ["wav", "flac", "ogg", "mp3", "m4a", "webm"])
def test_every_kind_of_file_is_heard_at_its_pitch(tmp_path: Path, kind: str) -> None:
    path = tmp_path / f"take.{kind}"
    if kind in ("m4a", "webm"):
        encode(path, tone(), RATE, "aac" if kind == "m4a" else "libopus")
    else:
        soundfile.write(path, np.column_stack([tone(), 0.5 * tone()]), RATE)
    found = hear_pitch(path)
    heard = found.f0_hz[found.f0_hz > 0]
    assert abs(found.duration_s - 1.0) < 0.1
    assert len(heard) > 80
    # ISO 16: A4 is 440 Hz; the tracker's bins are ten cents wide.
    assert abs(1200 * np.log2(np.median(heard) / 440.0)) < 6


@pytest.mark.parametrize("rate", [8000, 11025, 44100, 96000])
def test_any_rate_becomes_the_working_rate(tmp_path: Path, rate: int) -> None:
    soundfile.write(tmp_path / "t.wav", tone(0.5, 330.0, rate), rate)
    sound = read_sound(tmp_path / "t.wav")
    assert sound.rate == 22050
    assert abs(sound.seconds - 0.5) < 0.01


@pytest.mark.parametrize(("name", "data", "says"), [
    ("empty.wav", b"", "empty"),
    ("text.wav", b"this is no sound, only words in a row\n" * 20, "could not be read as sound"),
    ("head.wav", b"RIFF\x00\x00\x00\x00WAVE", "could not be read|holds no sound"),
    ("x.m4a", b"\x00\x00\x00\x18ftypM4A nothing", "could not be read as sound"),
])
def test_unreadable_files(tmp_path: Path, name: str, data: bytes, says: str) -> None:
    (tmp_path / name).write_bytes(data)
    with pytest.raises(Trouble, match=says) as trouble:
        read_sound(tmp_path / name)
    assert "\n" not in str(trouble.value)


def test_missing_file_and_folder(tmp_path: Path) -> None:
    with pytest.raises(Trouble, match="no file"):
        read_sound(tmp_path / "none.wav")
    with pytest.raises(Trouble, match="folder"):
        read_sound(tmp_path)


def test_a_cut_recording_is_read_as_far_as_it_goes(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "whole.wav", tone(), RATE)
    data = (tmp_path / "whole.wav").read_bytes()
    (tmp_path / "cut.wav").write_bytes(data[:len(data) // 2])
    assert 0.4 < read_sound(tmp_path / "cut.wav").seconds < 0.6


def test_a_pitch_track_is_read(tmp_path: Path) -> None:
    path = tmp_path / "t.csv"
    path.write_text("time_s,f0_hz\n" + "".join(f"{i * 0.01:.3f},{440 if i > 5 else 0}\n" for i in range(50)))
    found = read_track(path)
    assert len(found.f0_hz) == 50
    assert np.count_nonzero(found.f0_hz) == 44
    assert abs(found.midi[20] - 69.0) < 1e-9


def test_a_coarse_or_uneven_track_is_brought_to_an_even_spacing(tmp_path: Path) -> None:
    path = tmp_path / "t.csv"
    path.write_text("time_s,f0_hz\n" + "".join(f"{i * 0.032:.4f},220\n" for i in range(30)))
    found = read_track(path)
    assert found.hop_s == pytest.approx(0.01)
    assert np.allclose(found.f0_hz, 220.0)


@pytest.mark.parametrize(("text", "says"), [
    ("0.0,440\n0.1,440\n", "no header line"),
    ("time_s,f0_hz\n0.0,440\n0.0,440\n", "back in time"),
    ("time_s,f0_hz\n0.0,high\n", "Line 2"),
    ("time_s,f0_hz\n", "no pitch track"),
])
def test_broken_tracks(tmp_path: Path, text: str, says: str) -> None:
    (tmp_path / "t.csv").write_text(text)
    with pytest.raises(Trouble, match=says):
        read_track(tmp_path / "t.csv")
