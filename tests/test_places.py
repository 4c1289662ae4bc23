"""Text of files as people's systems write it, and names as they are shown."""

from __future__ import annotations

import io
import json
import os
import stat
import sys
from pathlib import Path

import pytest

from companion.braille import encode, read_file, to_ascii, to_cells
from companion.command import main
from companion.command.streams import VisibleOutput, input_encoding
from companion.course import stages
from companion.ear import read_track
from companion.lesson.review import read_list
from companion.places import decoded, is_utf16, shown
from companion.transcribe.takes import read_beats
from companion.tune import load, save


def redirected(text: str, page: str = "cp437") -> bytes:
    """What `program > file` writes in Windows PowerShell 5.1 where a program prints UTF-8: it takes the bytes for letters of
    the console's code page, ends lines with CR LF and writes UTF-16, little end first, with a byte order mark (Microsoft,
    about_Redirection and about_Character_Encoding)."""
    return b"\xff\xfe" + text.replace("\n", "\r\n").encode("utf-8").decode(page).encode("utf-16-le")


@pytest.mark.parametrize("page", ["cp437", "cp850"])
def test_text_that_a_shell_redirected_is_read_as_it_was_printed(page: str) -> None:
    assert decoded(redirected("⠐⠙ é “x”", page)) == "⠐⠙ é “x”"
    assert decoded("Zoë".encode("utf-16")) == "Zoë"  # an editor's own UTF-16, which went through no console
    for codec in ("utf-16-le", "utf-16-be", "utf-8-sig", "utf-8"):
        assert decoded("take,tune\n".encode(codec)) == "take,tune\n"
    assert not is_utf16(b"MThd\0\0\0\6\0\0")
    assert not is_utf16(b"")


def test_every_kind_of_text_file_may_be_one_that_a_shell_redirected(tmp_path: Path) -> None:
    tune = load("kite")
    page = encode(tune)
    here = tmp_path / "a"
    for text, name in (("\n".join(page.lines), "cells.txt"), ("\n".join(map(to_ascii, page.lines)), "ascii.brf")):
        (tmp_path / name).write_bytes(redirected(text))
        assert [n.midi for n in read_file(tmp_path / name).tune.line()] == [n.midi for n in tune.line()]
    save(tune, here.with_suffix(".musicxml"))
    here.with_suffix(".xml").write_bytes(redirected(here.with_suffix(".musicxml").read_text(encoding="utf-8")))
    assert load(here.with_suffix(".xml")).line() == tune.line()
    (tmp_path / "t.csv").write_bytes(redirected("time_s,f0_hz\n" + "".join(f"{k / 100},220\n" for k in range(20))))
    assert len(read_track(tmp_path / "t.csv").f0_hz) == 20
    (tmp_path / "l.csv").write_bytes(redirected("take,tune\nzoë.wav,kite\n"))
    assert [(j.take, j.tune) for j in read_list(tmp_path / "l.csv")] == [("zoë.wav", "kite")]
    (tmp_path / "b.txt").write_bytes(redirected("0.5\n1.0\n1.5\n2.0\n"))
    assert read_beats(tmp_path / "b.txt") == (0.5, 1.0, 1.5, 2.0)
    folder = tmp_path / "stages"
    folder.mkdir()
    shipped = next((Path(__file__).parents[1] / "companion" / "course" / "stages").glob("*.toml"))
    (folder / shipped.name).write_bytes(redirected(shipped.read_text(encoding="utf-8")))
    assert stages(folder)


@pytest.mark.parametrize("codec", ["utf-8", "utf-16", "utf-16-le"])
def test_what_is_typed_into_a_file_and_redirected_is_read(tmp_path: Path, codec: str) -> None:
    path = tmp_path / "typed.txt"
    path.write_bytes("D flat\n".encode(codec))
    with path.open(encoding="utf-8") as stream:
        stream.reconfigure(encoding=input_encoding(stream))
        assert stream.readline() == "D flat\n"
    assert input_encoding(io.StringIO("")) == "utf-8"


#: Clears the screen; turns the writing; a space without width; a tag beyond 16 bits. None may reach a terminal.
HIDDEN = {"\x1b": "\\u001b", "\u202e": "\\u202e", "\u200b": "\\u200b", "\x9b": "\\u009b", "\U000e0041": "\\udb40\\udc41"}


@pytest.mark.parametrize("hidden", HIDDEN)
def test_hidden_letters_are_shown_by_their_numbers_in_sentences_and_stay_json_in_json(hidden: str) -> None:
    assert shown(f"a{hidden}b\n c") == f"a{HIDDEN[hidden]}b c"
    stream = io.StringIO()
    print(f"a{hidden}b", file=VisibleOutput(stream, whole=False))  # type: ignore[type-var]
    print(json.dumps(f"a{hidden}b", ensure_ascii=False), file=VisibleOutput(stream, whole=True))  # type: ignore[type-var]
    line, data = stream.getvalue().splitlines()
    assert line == f"a{HIDDEN[hidden]}b"
    assert json.loads(data) == f"a{hidden}b"
    assert hidden not in data


def test_what_is_long_is_cut_only_where_it_is_a_name() -> None:
    stream = io.StringIO()
    dots = "-".join(["123456"] * 100)
    VisibleOutput(stream, whole=False).write(f"{'x' * 10_000}.wav {dots} end\n")
    name, kept, end = stream.getvalue().split()
    assert name == f"{'x' * 100}...{'x' * 96}.wav"
    assert (kept, end) == (dots, "end")


@pytest.mark.parametrize("arguments", [("braille", "t.musicxml"), ("line", "t.musicxml"), ("exercises", "t.musicxml"),
                                       ("wall", "t.musicxml", "--shoulder", "98"), ("braille", "t.musicxml", "--json"),
                                       ("diary", "Robin", "--diary", "d.sqlite", "--new", "--consent", "a\u202eb\x1b[2J")])
def test_no_name_of_a_strangers_file_reaches_a_terminal_with_what_it_would_obey(
        arguments: tuple[str, ...], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.chdir(tmp_path)
    save(load("kite"), "t.musicxml")
    text = Path("t.musicxml").read_text(encoding="utf-8").replace("<work-title>Kite", "<work-title>Ki\u202ete\x9b2J")
    Path("t.musicxml").write_text(text.replace("<text>", "<text>\u2066", 3), encoding="utf-8")
    main(arguments)
    said = "".join(capsys.readouterr())
    assert said
    assert not [c for c in said if c in "\u202e\u2066\x9b\x1b"]


@pytest.mark.skipif(os.name != "posix", reason="modes are POSIX's")
def test_what_holds_a_pupil_is_the_owners_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """0600, read and write for the owner alone (POSIX): the product's rule on children's data. A tune holds nobody."""
    monkeypatch.chdir(tmp_path)
    take = str(Path(__file__).parents[1] / "recordings" / "snail-wall-right.flac")
    before = os.umask(0o022)
    try:
        assert main(["diary", "Robin", "--new", "--set", "kite", "--diary", "d.sqlite", "--export", "robin.zip"]) == 0
        assert main(["hear", take, "--tune", "snail-wall", "--sound", "cue.wav"]) == 0
        assert main(["sheet", "week", "Robin", "--diary", "d.sqlite", "--out", "week.brf"]) == 0
        assert main(["exercises", "kite", "--pupil", "Robin", "--diary", "d.sqlite", "--out", "robin"]) == 0
        assert main(["braille", "kite", "--out", "kite.brf"]) == 0
        assert os.umask(0o022) == 0o022, "the rights of what this process writes otherwise are as they were"
    finally:
        os.umask(before)
    modes = {p.name: stat.S_IMODE(p.stat().st_mode) for p in tmp_path.iterdir() if p.is_file()}
    assert modes.pop("kite.brf") == 0o644
    assert len(modes) >= 10
    assert set(modes.values()) == {0o600}, modes


@pytest.mark.skipif(os.name != "posix", reason="a pipe that is closed at its other end")
@pytest.mark.parametrize("arguments", [
    ("hear", "TAKE", "--tune", "snail-wall", "--sound", "out.wav"), ("demo", "--sound", "out.wav"),
    ("demo", "--json", "--sound", "out.wav"), ("notate", "TAKE", "--out", "out.brf")])
def test_what_was_to_be_saved_is_saved_though_nobody_reads_what_is_printed(
        arguments: tuple[str, ...], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    class Closed(io.StringIO):
        def write(self, text: str) -> int:
            raise BrokenPipeError

    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "stdout", Closed())
    monkeypatch.setattr(os, "dup2", lambda *_: None)  # the test's own standard output stays open
    take = str(Path(__file__).parents[1] / "recordings" / "snail-wall-right.flac")
    assert main([take if a == "TAKE" else a for a in arguments]) == 0
    assert Path(arguments[-1]).stat().st_size > 50


def test_cells_are_not_hidden() -> None:
    assert shown(to_cells("1456")) == to_cells("1456")
