"""What a stranger's file may cost: refused in one sentence before anything heavy, and private files stay private."""

from __future__ import annotations

import os
import signal
import stat
import struct
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from companion.braille import read_file
from companion.command import main
from companion.course import check_stages
from companion.diary import Diary, import_pupil
from companion.ear import read_sound, read_track
from companion.errors import Trouble
from companion.limits import run_limited
from companion.paper import read_pef
from companion.places import read_within, write_whole
from companion.transcribe import open_work
from companion.tune import load

SCORE = """<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>V</part-name></score-part></part-list>
<part id="P1"><measure number="1">{left}<attributes><divisions>{divisions}</divisions><time><beats>{beats}</beats>
<beat-type>4</beat-type></time></attributes><note><pitch><step>C</step><octave>4</octave></pitch>
<duration>{duration}</duration><type>quarter</type></note></measure></part></score-partwise>"""
USUAL = {"left": "", "divisions": "1", "beats": "4", "duration": "1"}


@pytest.mark.parametrize("change", [
    {"beats": "1000000000"}, {"beats": "9" * 5000}, {"divisions": "1" + "0" * 12}, {"duration": "99999999999"},
    {"left": '<barline location="left"><ending number="1-999999999" type="start"/></barline>'},
    {"left": '<barline location="left"><repeat direction="forward" times="1000000000"/></barline>'}])
def test_numbers_that_no_score_has_are_refused_before_the_heavy_reader(
        tmp_path: Path, change: dict[str, str], monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "trap.musicxml"
    path.write_text(SCORE.format(**USUAL))
    assert len(load(path).line()) == 1
    path.write_text(SCORE.format(**{**USUAL, **change}))
    monkeypatch.setattr("companion.tune.files._parse_musicxml", lambda *_: pytest.fail("the heavy reader was begun"))
    with pytest.raises(Trouble, match=r"trap\.musicxml (says|holds)"):
        load(path)


def midi(*tracks: bytes, count: int | None = None, quarter: int = 480) -> bytes:
    """A standard MIDI file (RP-001) of these tracks. count: how many its head says that there are."""
    return (b"MThd" + struct.pack(">IHHH", 6, 1, len(tracks) if count is None else count, quarter)
            + b"".join(b"MTrk" + struct.pack(">I", len(t)) + t for t in tracks))


NOTE = b"\x00\x90\x3c\x40\x83\x60\x80\x3c\x00"  # C4 for 480 ticks
END = b"\x00\xff\x2f\x00"
LONG_NAME = b"\x00\xff\x03\x81\x80\x00" + b"n" * 16_384


@pytest.mark.parametrize(("data", "says"), [
    (midi(NOTE * 21 + END), "holds more than a score can"),
    (midi(b"\x00\xb0\x40\x7f" * 61 + NOTE + END), "holds more than a score can"),  # a pedal that never rests
    (midi(*[NOTE + END] * 5, count=60_000), "holds more than a score can"),
    (midi(LONG_NAME + NOTE + END), "holds more than a score can"),
    (midi(NOTE + b"\xff\xff\xff\x7f\x90\x3c\x40" + END), "lasts longer than any tune"),
    (midi(NOTE + b"\xff\xff\xff\xff\x7f\x90\x3c\x40" + END), "could not be read as MIDI"),
    (midi(NOTE + END, quarter=0), "could not be read as MIDI"),
    (midi(NOTE + END, quarter=0xE728), "counts time in frames of film"),
])
def test_a_midi_file_beyond_its_budget_is_refused_before_the_heavy_reader(
        tmp_path: Path, data: bytes, says: str, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "trap.mid"
    path.write_bytes(midi(NOTE * 3 + END))
    assert len(load(path).line()) == 3
    monkeypatch.setattr("companion.tune.files.MOST_NOTES", 20)
    monkeypatch.setattr("companion.tune.files.MOST_EVENTS", 60)
    monkeypatch.setattr("companion.tune.files._parse_midi", lambda *_: pytest.fail("the heavy reader was begun"))
    path.write_bytes(data)
    with pytest.raises(Trouble, match=says):
        load(path)


def test_the_size_of_a_midi_file_is_counted_as_the_heavy_reader_counts_it() -> None:
    """music21's own events of a file with running status, a meta event and a note of no force, which is an end."""
    from music21 import midi as m21

    from companion.tune.midi import measure_midi

    data = midi(b"\x00\xff\x03\x02ab" + NOTE + b"\x00\x90\x3e\x40\x10\x3e\x00\x00\xc0\x05\x00\xe0\x00\x40" + END, NOTE + END)
    theirs = m21.MidiFile()
    theirs.readstr(data)
    events = [e for t in theirs.tracks for e in t.events if not e.isDeltaTime()]
    size = measure_midi(data, 1000)
    assert (size.quarter, size.tracks, size.events) == (480, 2, len(events))
    assert size.notes == sum(e.isNoteOn() and e.velocity > 0 for e in events) == 3
    assert (size.ticks, size.text) == (480 + 16, 2)


def test_a_limited_process_starts_no_other(monkeypatch: pytest.MonkeyPatch, limits_as_for_users: None) -> None:
    """The page reads what strangers send in a process of its own, which may start no other."""
    monkeypatch.setattr("multiprocessing.process._current_process._config", {"daemon": True})
    monkeypatch.setattr("multiprocessing.get_context", lambda *_: pytest.fail("another process was begun"))
    assert run_limited(len, b"abc") == 3


class Apart(Exception):
    """A process was to be begun."""


def _export(path: Path) -> Any:
    return import_pupil(Diary(path.with_name("d.sqlite")), path)


@pytest.mark.parametrize(("name", "read"), [
    ("a.wav", read_sound), ("a.csv", read_track), ("a.musicxml", load), ("a.mid", load), ("a.brf", read_file),
    ("a.pef", read_pef), ("a.zip", open_work), ("a.toml", check_stages), ("a.zip", _export)])
def test_what_a_stranger_gives_is_read_in_a_process_that_may_be_ended(
        tmp_path: Path, name: str, read: Callable[[Path], object], monkeypatch: pytest.MonkeyPatch,
        limits_as_for_users: None) -> None:
    def begins(*_: object) -> None:
        raise Apart

    (tmp_path / name).write_bytes(b"x")
    monkeypatch.setattr("threading.active_count", lambda: 1)
    monkeypatch.setattr("sys.platform", "linux")
    monkeypatch.setattr("multiprocessing.get_context", begins)
    with pytest.raises(Apart):
        read(tmp_path / name)


def _eats() -> int:
    return len(bytearray(4_000_000_000))


def _dies() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def _refuses() -> None:
    raise Trouble("Give another.")


def _waits() -> None:
    time.sleep(60)


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere a process is started from nothing")
def test_what_eats_memory_dies_or_never_ends_is_one_sentence(monkeypatch: pytest.MonkeyPatch, limits_as_for_users: None) -> None:
    monkeypatch.setattr("threading.active_count", lambda: 1)
    for work, says in ((_eats, "needed too much memory"), (_dies, "too much memory or broke its reader"),
                       (_refuses, "Give another."), (_waits, "took longer than 0.3 seconds")):
        with pytest.raises(Trouble, match=says):
            run_limited(work, seconds=0.3 if work is _waits else 30)
    assert run_limited(os.getpid) != os.getpid()
    sent = run_limited(np.arange, 100_000)
    assert (sent[-1], sent.flags.writeable) == (99_999, True)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="named pipes are POSIX's")
def test_a_pipe_without_a_writer_holds_nobody_up(tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
                                                 capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setattr("companion.places.PIPE_S", 0.05)
    pipe = tmp_path / "pipe.wav"
    os.mkfifo(pipe)
    began = time.monotonic()
    for arguments in (("hear", str(pipe), "--tune", "kite"), ("read", str(pipe)), ("notate", str(pipe)),
                      ("review", str(pipe))):
        assert main(arguments) == 2, arguments
        assert str(pipe) in capsys.readouterr().err
    assert time.monotonic() - began < 30


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="there is no /dev/zero here")
def test_an_endless_stage_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert len(read_within(Path("/dev/zero"), 1000)) == 1001
    assert main(["course", "--check", "/dev/zero"]) == 2
    assert "far larger" in capsys.readouterr().err


def test_a_sound_longer_than_an_hour_is_refused_from_its_header(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "long.wav"
    size = 2 * 8000 * 3700
    with path.open("wb") as file:  # a hole in the file: no disk is needed
        file.write(b"RIFF" + struct.pack("<I", size + 36) + b"WAVEfmt " + struct.pack("<IHHIIHH", 16, 1, 1, 8000, 16000, 2, 16)
                   + b"data" + struct.pack("<I", size))
        file.truncate(size + 44)
    monkeypatch.setattr("companion.ear.files.read_within", lambda *_: pytest.fail("it was read"))
    with pytest.raises(Trouble, match="longer than an hour"):
        read_sound(path)


@pytest.mark.skipif(os.name != "posix", reason="modes are POSIX's")
def test_private_files_are_the_owners_alone_and_rewriting_keeps_rights(tmp_path: Path) -> None:
    """0600: read and write for the owner, nothing for others (POSIX file modes)."""
    secret, plain = tmp_path / "robin.zip", tmp_path / "tune.brf"
    write_whole(secret, b"x", private=True)
    assert stat.S_IMODE(secret.stat().st_mode) == 0o600
    plain.touch(mode=0o600)
    write_whole(plain, b"y")
    assert stat.S_IMODE(plain.stat().st_mode) == 0o600
    plain.chmod(0o644)
    write_whole(plain, b"z", private=True)
    assert stat.S_IMODE(plain.stat().st_mode) == 0o600


def test_an_export_is_the_owners_alone(tmp_path: Path) -> None:
    diary, out = str(tmp_path / "d.sqlite"), tmp_path / "robin.zip"
    assert main(["diary", "Robin", "--new", "--diary", diary, "--export", str(out)]) == 0
    for file in (out, tmp_path / "d.sqlite"):
        assert stat.S_IMODE(file.stat().st_mode) == 0o600


def test_the_demo_writes_to_no_name_that_can_be_guessed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from companion.language import English
    from companion.lesson import demo_answer, save_cue

    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    secret = tmp_path / "secret"
    secret.write_text("kept")
    (tmp_path / "companion-demo.wav").symlink_to(secret)
    path = save_cue(English(), demo_answer())
    assert secret.read_text() == "kept"
    assert stat.S_IMODE(path.parent.stat().st_mode) == 0o700  # tempfile.mkdtemp: for the owner alone
    assert path.parent.parent == tmp_path


@pytest.mark.parametrize(("name", "shown"), [("a\x1b[2Jb", "a\\u001b[2Jb"), ("a\u202egpj", "a\\u202egpj")])
def test_marks_that_cannot_be_seen_are_shown_as_their_numbers(name: str, shown: str,
                                                              capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["read", f"/nowhere/{name}.brf"]) == 2
    said = capsys.readouterr().err
    assert shown in said
    assert name not in said


def test_long_names_are_shortened(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["read", f"{'x' * 100_000}.brf"]) == 2
    assert len(capsys.readouterr().err) < 600


@pytest.mark.parametrize("height", ["0", "-3"])
def test_a_page_without_lines_is_wrong_use(tmp_path: Path, height: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["line", "kite", f"--height={height}", "--out", str(tmp_path / "a.brf")]) == 2
    assert f"A page of {height} lines" in capsys.readouterr().err
