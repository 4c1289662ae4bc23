"""Every value that cannot be is wrong use: exit code 2 and one sentence that says what was given; never a fault of ours."""

from __future__ import annotations

import struct
from collections.abc import Callable
from pathlib import Path

import pytest

from companion.diary import Diary

RIGHT_TAKE = Path(__file__).resolve().parents[2] / "recordings" / "snail-wall-right.flac"
Run = Callable[..., tuple[int, str, str]]

HEAR = ("hear", RIGHT_TAKE, "--tune", "kite")
DIARY = ("diary", "Robin", "--diary", "d.sqlite")
#: What is typed, and a part of the one sentence that is said. "\u00b2" is a digit for Unicode and no number for `int`.
BAD: list[tuple[tuple[object, ...], str]] = [
    (("hear", "no-bits.wav", "--tune", "kite"), "could not be read as sound"),
    (("hear", "bits.wav", "--tune", "kite"), "could not be read as sound"),
    (("hear", "no-channel.wav", "--tune", "kite"), "could not be read as sound"),
    (("hear", "no-rate.wav", "--tune", "kite"), "could not be read as sound"),
    (("hear", "near.csv", "--tune", "kite"), "a pitch every 1e-09 seconds, closer than a voice changes"),
    (("hear", "loop.wav", "--tune", "kite"), "There is no file loop.wav"),
    (("hear", RIGHT_TAKE, "--tune", "loop.mid"), "There is no file loop.mid"),
    ((*HEAR, "--part", "\u00b2"), "no part \u00b2"),
    ((*HEAR, "--phrase", "\u00b2"), "not '\u00b2'"),
    ((*HEAR, "--phrase", "0"), "no phrase 0"),
    ((*HEAR, "--phrase", "9" * 20), "no phrase 9999"),
    ((*HEAR, "--tracker", "../x"), "no pitch tracker ../x"),
    ((*HEAR, "--sound", "loop.wav"), "could not be written"),
    (("read", "loop.brf"), "loop.brf could not be read"),
    (("course", "--check", "loop.toml"), "loop.toml could not be read"),
    (("course", "--stage", "\u00b2"), "no stage \u00b2"),
    (("course", "Robin", "--on", "\u00b2"), "\u00b2 is no date"),
    (("course", "Robin", "--on", "0001-01-01", "--diary", "d.sqlite"), "0001-01-01 is no date"),
    (("course", "Robin", "--questions", "-1"), "--questions was -1"),
    (("drill", "name the cell", "--count", "0"), "The count was 0"),
    (("drill", "name the cell", "--fact", "\u00b2"), "names no note or sign"),
    (("line", "kite", "--height=0", "--out", "a.brf"), "A page of 0 lines"),
    (("line", "kite", "--width=-5", "--out", "a.brf"), "A line of -5 cells"),
    (("line", "kite", "--width=1", "--out", "a.brf"), "A line of 1 cells"),
    (("line", "kite", "--width=99999999", "--out", "a.brf"), "A line of 99999999 cells"),
    (("exercises", "kite", "--width=-5"), "A line of -5 cells"),
    (("exercises", "kite", "--height=1", "--out", "ex"), "A page of 1 lines"),
    (("exercises", "kite", "--kind", "\u00b2"), "\u00b2"),
    (("exercises", "kite", "--practise", "\u00b2"), "\u00b2"),
    (("braille", "kite", "--width=121"), "A line of 121 cells"),
    (("braille", "kite", "--part", "\u00b2"), "no part \u00b2"),
    (("braille", "kite", "--out", "loop.brf"), "could not be written"),
    (("wall", "kite", "--shoulder", "nan"), "nan"),
    (("wall", "kite", "--shoulder", "1e400"), "inf"),
    (("sheet", "stage", "\u00b2"), "no stage \u00b2"),
    (("sheet", "drill", "2", "--count", "-1"), "The count was -1"),
    (("notate", RIGHT_TAKE, "--bpm", "nan"), "nan"),
    (("notate", RIGHT_TAKE, "--bpm", "1e300"), "1e+300"),
    (("notate", RIGHT_TAKE, "--time", "\u00b2"), "\u00b2"),
    (("notate", RIGHT_TAKE, "--beats", "loop.csv"), "loop.csv could not be read"),
    (("notate", RIGHT_TAKE, "--counted-in", "-1"), "-1"),
    (("notate", RIGHT_TAKE, "--fix", "bar \u00b2 note 2 is a crotchet"), "\u00b2"),
    ((*DIARY, "--range", "A\u00b2", "C5"), "A\u00b2 is no note"),
    ((*DIARY, "--range", "D5", "A3"), "lowest note and then the highest"),
    ((*DIARY, "--set", "kite", "--days", "9" * 20), "The days were 9"),
    ((*DIARY, "--setting", "rate=\u00b2"), "rate was \u00b2"),
    ((*DIARY, "--setting", "rate=nan"), "rate was nan"),
    ((*DIARY, "--setting", "keep-sound-days=1e10"), "keep-sound-days was 1e10"),
    ((*DIARY, "--setting", "keys=f9:fly"), "keys was f9:fly"),
    ((*DIARY, "--consent", "Mother", "--until", "0001-01-01"), "0001-01-01 is past"),
    ((*DIARY, "--export", "/nowhere/x.zip"), "could not be written"),
    (("diary", "--restore", "loop.csv", "--diary", "d.sqlite"), "There is no file loop.csv"),
    (("practise", "Robin", "--minutes", "nan", "--diary", "d.sqlite"), "The minutes were nan"),
    (("lesson", "kite", "--bind", "\u00b2"), "\u00b2 binds no key"),
    (("review", "loop.csv"), "There is no file loop.csv"),
    (("review", "near.csv", "--jobs", "0"), "near.csv"),
    (("page", "--port", "99999999", "--no-browser"), "99999999"),
]


def wav(bits: int = 16, channels: int = 1, rate: int = 8000) -> bytes:
    """A RIFF WAVE file of a second of silence with these in its header."""
    return (b"RIFF" + struct.pack("<I", 16036) + b"WAVEfmt "
            + struct.pack("<IHHIIHH", 16, 1, channels, rate, 16000, 2, bits) + b"data" + struct.pack("<I", 16000) + bytes(16000))


def test_a_bad_value_is_wrong_use_and_said_in_one_sentence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, run: Run) -> None:
    monkeypatch.chdir(tmp_path)
    for name, data in (("no-bits.wav", wav(bits=0)), ("bits.wav", wav(bits=255)), ("no-channel.wav", wav(channels=0)),
                       ("no-rate.wav", wav(rate=0))):
        Path(name).write_bytes(data)
    Path("near.csv").write_text("time_s,f0_hz\n" + "".join(f"{k * 1e-9:.10f},220\n" for k in range(40)))
    for ending in ("wav", "mid", "brf", "toml", "csv"):
        Path(f"loop.{ending}").symlink_to(f"loop.{ending}")
    with Diary("d.sqlite") as diary:
        diary.pupil("Robin", new=True)
    wrong = []
    for typed, says in BAD:
        code, out, err = run(*typed)
        if (code, out, err.count("\n")) != (2, "", 1) or says not in err or not err.endswith(".\n"):
            wrong.append((typed, code, out[:80], err))
    assert not wrong
