"""A kept piece of work: opened as it was, undo and all; never written over; damage is one sentence."""

from __future__ import annotations

import io
import json
import random
import zipfile
from pathlib import Path

import numpy as np
import pytest
from notate_takes import as_track, performance

from companion.ear import Sound
from companion.errors import Trouble
from companion.language import English, read_corrections
from companion.transcribe import TIMES, Given, Transcription, check_keep, keep_work, mended, notate, open_work, worded
from companion.transcribe.takes import Transcription as Work
from companion.tune import load

ENGLISH = English()


def work() -> Work:
    n = notate(as_track(performance(load("lantern"))), "Lantern, \u201cthe\u201d glow", Given(time=TIMES["4/4"]))
    done = worded(Transcription(n, takes=2), "Lan-tern glow, lan-tern low")
    fixes = ["bar 1 note 1 is F sharp", "bar 2 note 1 is a dotted crotchet", "repeat bars 1 to 2"]
    return mended(done, [read_corrections(ENGLISH, fix) for fix in fixes]).taken_back()


def test_it_opens_as_it_was_kept(tmp_path: Path) -> None:
    made, path = work(), tmp_path / "lantern.zip"
    keep_work(made, path)
    back = open_work(path)
    assert back.notation == made.notation
    assert (back.past, back.undone, back.takes) == (made.past, made.undone, 2)
    assert back.taken_back().taken_back().notation == made.past[0]
    assert back.made_again().notation == made.undone[0]
    # A mended note holds when the take is read again, also after it was kept.
    again = mended(back, [read_corrections(ENGLISH, "in three")]).notation
    assert again.time.name == "3/4"
    mended_note = next(note for note in again.notes if note.pitch_given)
    assert mended_note.pitch(again.key).name == back.notation.notes[0].pitch(back.notation.key).name == "F#4"
    assert any(note.value_given and note.ticks == 6 for note in again.notes)


def test_it_is_made_of_open_formats(tmp_path: Path) -> None:
    made, path = work(), tmp_path / "lantern.zip"
    sung = Sound(np.sin(np.arange(22050) * 0.05).astype(np.float32) * 0.3, 22050)
    voiced = Transcription(made.notation, sounds=(sung,))
    keep_work(voiced, path, with_sound=True)
    with zipfile.ZipFile(path) as file:
        assert sorted(file.namelist()) == ["score.musicxml", "take-1.flac", "work.json"]
        (tmp_path / "score.musicxml").write_bytes(file.read("score.musicxml"))
        assert json.loads(file.read("work.json"))["form"] == 1
        assert file.read("take-1.flac")[:4] == b"fLaC"
    assert [n.midi for n in load(tmp_path / "score.musicxml").line()] == [n.midi for n in made.notation.tune.line()]
    assert open_work(path).sounds[0].samples == pytest.approx(sung.samples, abs=1e-4)
    # No recording is kept where nobody has said so.
    keep_work(voiced, tmp_path / "plain.zip")
    assert open_work(tmp_path / "plain.zip").sounds == ()
    assert (path.stat().st_mode & 0o077) == 0


def test_nothing_is_written_over(tmp_path: Path) -> None:
    made, path = work(), tmp_path / "lantern.zip"
    path.write_text("somebody's")
    with pytest.raises(Trouble, match="is there already and is not written over"):
        keep_work(made, path)
    assert path.read_text() == "somebody's"
    keep_work(made, path, opened=path)  # the file that it was opened from: its earlier states are inside
    assert open_work(path).past == made.past
    with pytest.raises(Trouble, match=r"a file that ends in \.zip"):
        check_keep(tmp_path / "lantern.musicxml")
    with pytest.raises(Trouble, match="There is no folder"):
        check_keep(tmp_path / "nowhere" / "lantern.zip")


def test_whatever_is_amiss_is_one_sentence(tmp_path: Path) -> None:
    made, path = work(), tmp_path / "lantern.zip"
    keep_work(made, path)
    whole = path.read_bytes()
    rng = random.Random(4)
    damaged = [b"", b"PK", whole[:len(whole) // 2], whole[:-30], b"\0" * 500, _with({}), _with({"form": 1}), _with([]),
               _with({"form": 1, "now": {"notes": []}}), _with("x" * 10), _with({"form": 1, "now": None})]
    facts = json.loads(zipfile.ZipFile(io.BytesIO(whole)).read("work.json"))
    for change in ({"place": 99}, {"notes": facts["now"]["notes"][:1]}, {"notes": "abc"}, {"time_estimate": None},
                   {"key_estimate": {"value": {"fifths": 99, "mode": "x"}}}):
        damaged.append(_with({**facts, "now": {**facts["now"], **change}}))
    for _ in range(60):  # bytes turned at random
        some = bytearray(whole)
        for _turn in range(3):
            some[rng.randrange(len(some))] ^= 1 << rng.randrange(8)
        damaged.append(bytes(some))
    refused = 0
    for data in damaged:
        path.write_bytes(data)
        said = refusal(path)
        refused += said != ""
        assert "\n" not in said
        assert path.read_bytes() == data
    assert refused >= 20
    path.write_bytes(_with({**facts, "form": 2}))
    with pytest.raises(Trouble, match="kept by a later version"):
        open_work(path)
    with pytest.raises(Trouble, match="could not be read"):
        open_work(tmp_path / "missing.zip")


def refusal(path: Path) -> str:
    """ "" where it opens."""
    try:
        open_work(path)
    except Trouble as trouble:
        return str(trouble)
    return ""


def _with(facts: object) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as file:
        file.writestr("work.json", json.dumps(facts))
    return out.getvalue()
