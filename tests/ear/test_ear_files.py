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
    ("time_s,f0_hz\n-0.01,440\n", "Line 2 .* below zero"),
    ("time_s,f0_hz\nnan,440\n", "Line 2 .* has no time"),
    ("time_s,f0_hz\n0.0,440\n0.01,440\n1e15,440\n", "longer than an hour"),
    ("time_s,f0_hz\n0,440\n1,440\n2,440\n", "every 1 seconds, too seldom"),
    ("time_s,f0_hz\n0," + "4" * 200_000 + "\n", "no part of a pitch track"),
])
def test_broken_tracks(tmp_path: Path, text: str, says: str) -> None:
    (tmp_path / "t.csv").write_text(text)
    with pytest.raises(Trouble, match=says):
        read_track(tmp_path / "t.csv")


def test_what_no_voice_can_sing_counts_as_unvoiced(tmp_path: Path) -> None:
    """Trackers write an unvoiced frame as nothing, "nan" or a pitch below zero; their slips lie anywhere."""
    odd = ["", "nan", "-220", "1e9", "0.001", "1e308", "inf"]
    (tmp_path / "t.csv").write_text("time_s,f0_hz\n" + "".join(
        f"{i * 0.01:.2f},{odd[i] if i < len(odd) else 220}\n" for i in range(40)))
    found = read_track(tmp_path / "t.csv")
    assert found.f0_hz.tolist() == [0.0] * len(odd) + [220.0] * (40 - len(odd))


@pytest.mark.parametrize("scale", [2.0, 32768.0, 1e30])
def test_a_floating_point_file_on_any_scale_is_heard(tmp_path: Path, scale: float) -> None:
    soundfile.write(tmp_path / "t.wav", tone() * scale, RATE, subtype="FLOAT")
    found = hear_pitch(tmp_path / "t.wav")
    heard = found.f0_hz[found.f0_hz > 0]
    assert np.abs(read_sound(tmp_path / "t.wav").samples).max() < 1.1
    assert len(heard) > 80
    assert abs(1200 * np.log2(np.median(heard) / 440.0)) < 6


def test_samples_that_are_no_numbers_become_silence(tmp_path: Path) -> None:
    samples = np.column_stack([tone(), tone()])
    samples[100:200, 0], samples[300:400, 1] = np.nan, np.inf
    soundfile.write(tmp_path / "t.wav", samples, RATE, subtype="FLOAT")
    assert np.isfinite(read_sound(tmp_path / "t.wav").samples).all()


def test_a_header_that_claims_too_much_costs_no_memory(tmp_path: Path) -> None:
    """FLAC counts its samples in 36 bits of its first block (RFC 9639, 8.2)."""
    soundfile.write(tmp_path / "whole.flac", tone(), RATE)
    data = bytearray((tmp_path / "whole.flac").read_bytes())
    data[21] |= 0x0F
    data[22:26] = b"\xff" * 4
    (tmp_path / "claims.flac").write_bytes(data)
    assert abs(read_sound(tmp_path / "claims.flac").seconds - 1.0) < 0.01


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="there is no /dev/zero here")
def test_a_source_without_end_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("companion.ear.files.MOST_STREAM_BYTES", 10_000)
    with pytest.raises(Trouble, match="far larger than a take"):
        read_sound("/dev/zero")


def test_an_hour_is_the_most_and_no_more_is_decoded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("companion.ear.files.LONGEST_S", 0.5)
    monkeypatch.setattr("companion.ear.files.BLOCK", 4096)
    soundfile.write(tmp_path / "t.flac", tone(2.0), RATE)
    encode(tmp_path / "t.m4a", tone(2.0), RATE, "aac")
    for name in ("t.flac", "t.m4a"):
        with pytest.raises(Trouble, match="longer than an hour"):
            read_sound(tmp_path / name)


@pytest.mark.parametrize("name", ["", "a" * 5000 + ".wav"])
def test_names_that_no_file_can_have(name: str) -> None:
    with pytest.raises(Trouble, match=r"name of the take is empty|file name too long"):
        read_sound(name)


def test_a_take_opens_no_network_and_no_other_file(tmp_path: Path) -> None:
    """FFmpeg would bind the port of a session description (RFC 8866) and wait, and follow a list of files."""
    import socket
    import time

    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    (tmp_path / "s.wav").write_text("v=0\no=- 0 0 IN IP4 127.0.0.1\ns=x\nc=IN IP4 127.0.0.1\nt=0 0\n"
                                    f"m=audio {port} RTP/AVP 97\na=rtpmap:97 L16/44100/1\n")
    soundfile.write(tmp_path / "other.wav", tone(), RATE)
    (tmp_path / "l.wav").write_text(f"ffconcat version 1.0\nfile {tmp_path / 'other.wav'}\n")
    before = time.monotonic()
    for name in ("s.wav", "l.wav"):
        with pytest.raises(Trouble, match="could not be read as sound"):
            read_sound(tmp_path / name)
    assert time.monotonic() - before < 10  # the port was waited on for twenty seconds


def test_a_damaged_recording_is_said_in_our_one_sentence_alone(tmp_path: Path) -> None:
    """The decoder of MP3 writes notes of its own to standard error; a screen reader would read them out."""
    import subprocess
    import sys

    soundfile.write(tmp_path / "t.mp3", tone(3.0), RATE, format="MP3")
    data = bytearray((tmp_path / "t.mp3").read_bytes())
    data[6000:12000] = bytes(6000)
    (tmp_path / "t.mp3").write_bytes(data)
    code = ("import sys\nfrom companion.ear import read_sound\nprint(read_sound(sys.argv[1]).seconds > 0)\n"
            "print('ours', file=sys.stderr)")
    done = subprocess.run([sys.executable, "-c", code, str(tmp_path / "t.mp3")], capture_output=True, text=True,
                          cwd=Path(__file__).parents[2], check=True)
    assert (done.stdout, done.stderr) == ("True\n", "ours\n")
