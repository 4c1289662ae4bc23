"""`companion hear`, `review`, `tunes`, `demo`: real files in, the contract's JSON and exit codes out."""

import json
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile

from companion.diary import Diary, SessionKind
from companion.language import English
from companion.lesson import demo_answer
from companion.places import shipped
from companion.tune import load

ROOT = Path(__file__).resolve().parents[2]
RECORDINGS = shipped("recordings")
TAKES = sorted(RECORDINGS.glob("*.flac"))
RIGHT_TAKE = RECORDINGS / "snail-wall-right.flac"
Run = Callable[..., tuple[int, str, str]]


def heard(run: Run, take: Path, tune: str = "snail-wall", *more: object) -> dict:
    code, out, err = run("hear", take, "--tune", tune, "--json", *more)
    assert (code, err) == (0, "")
    return json.loads(out)


def verdicts(found: dict) -> list[str]:
    return [m["verdict"] for m in found["moves"]]


@pytest.mark.parametrize("take", TAKES, ids=lambda p: p.stem)
def test_every_shipped_take_is_answered_as_its_truth_says(run: Run, take: Path) -> None:
    truth = json.loads(take.with_suffix(".json").read_text(encoding="utf-8"))
    found = heard(run, take, truth["tune"])
    assert verdicts(found) == [m["verdict"] for m in truth["moves"]]
    if "kind" in truth:
        assert found["kind"] == truth["kind"]
        assert truth["attempts"] in (None, found["attempts"])
    for asked, given in zip(truth["moves"], found["moves"], strict=True):
        if asked["heard"] is not None:
            assert given["heard"] == asked["heard"]


@pytest.mark.parametrize("kind", ["m4a", "mp3", "ogg", "48 kHz stereo"])
def test_other_kinds_of_file_give_the_same_answer(run: Run, tmp_path: Path, kind: str) -> None:
    import soxr

    sound, rate = soundfile.read(RECORDINGS / "snail-wall-one-move-turned.flac")
    path = tmp_path / ("take.wav" if " " in kind else f"take.{kind}")
    if kind == "m4a":
        import av

        with av.open(str(path), "w") as out:
            stream = out.add_stream("aac", rate=44100)
            stream.layout = "mono"
            samples = soxr.resample(sound, rate, 44100).astype(np.float32)[None, :]
            frame = av.AudioFrame.from_ndarray(samples, format="fltp", layout="mono")
            frame.sample_rate = 44100
            resampler = av.AudioResampler(format="fltp", layout="mono", rate=44100, frame_size=1024)
            for piece in (*resampler.resample(frame), *resampler.resample(None)):
                out.mux(stream.encode(piece))
            out.mux(stream.encode(None))
    elif " " in kind:
        sound = soxr.resample(sound, rate, 48000)
        soundfile.write(path, np.column_stack([sound, 0.6 * sound]), 48000)
    else:
        soundfile.write(path, sound, rate)
    truth = json.loads((RECORDINGS / "snail-wall-one-move-turned.json").read_text(encoding="utf-8"))
    assert verdicts(heard(run, path)) == [m["verdict"] for m in truth["moves"]]


def test_json_has_the_contracts_keys(run: Run) -> None:
    found = heard(run, RIGHT_TAKE)
    assert set(found) >= {"take", "tune", "shift_semitones", "notes", "moves", "counts", "closeness", "cue"}
    assert set(found["notes"][0]) >= {"number", "written", "syllable", "sung", "midi", "onset_s", "duration_s",
                                      "dots", "cells"}
    assert set(found["moves"][0]) >= {"from", "to", "wanted", "heard", "verdict", "sure", "wanted_semitones",
                                      "sung_semitones"}
    # MBC 2015, table 1: C as a quaver is dots 145; the fourth octave's mark is dot 5 (3.2.2).
    assert (found["notes"][0]["dots"], found["notes"][0]["cells"]) == ("5-145", "⠐⠙")
    assert found["notes"][0]["written"] == "C4"
    assert found["notes"][0]["syllable"] == "Snail"
    assert sum(found["counts"].values()) == len(found["moves"]) == len(found["notes"]) - 1
    assert 0 <= found["closeness"] <= 1


def test_a_note_left_out_has_nulls(run: Run) -> None:
    found = heard(run, RECORDINGS / "snail-wall-note-left-out.flac")
    out = [n for n in found["notes"] if not n["sung"]]
    assert [n["number"] for n in out] == [3]
    assert out[0]["midi"] is out[0]["onset_s"] is out[0]["duration_s"] is None


def test_text_says_the_cue_first_then_the_count(run: Run) -> None:
    code, out, _ = run("hear", RECORDINGS / "snail-wall-one-move-turned.flac", "--tune", "snail-wall")
    lines = out.splitlines()
    assert code == 0
    assert lines[0].endswith(" the tune goes up."), "nothing sounds, so nobody is asked to listen"
    assert lines[1].startswith("12 of 13 moves as written")
    assert f"{lines[0]} Listen." == heard(run, RECORDINGS / "snail-wall-one-move-turned.flac")["cue"]


def test_the_evidence_for_one_move(run: Run) -> None:
    """Truth of the take: note 3 is sung two semitones below note 2, where the tune goes two up (recordings/README.md)."""
    take = RECORDINGS / "snail-wall-one-move-turned.flac"
    code, out, err = run("hear", take, "--tune", "snail-wall", "--why", "from the first 'on' to the first 'the'")
    assert (code, err) == (0, "")
    lines = out.splitlines()
    assert lines[0] == "Not that way. Note 2 to 3: the tune goes up, heard down."
    assert lines[2].startswith("Written: 2 semitones up. Sung: 1.9 semitones down")
    assert run("hear", take, "--tune", "snail-wall", "--why", "2")[1] == out
    why = heard(run, take, "snail-wall", "--why", 2)["why"]
    assert (why["from"], why["to"], why["verdict"], why["heard"], why["doubt"]) == (2, 3, "not that way", "down", None)
    assert why["say"] == lines
    assert why["posterior"]["down"] > 0.85 > why["posterior"]["up"] + why["posterior"]["level"]
    first, second = why["notes"]
    assert first["to_s"] == pytest.approx(second["from_s"], abs=0.1)
    assert second["midi"] - first["midi"] == pytest.approx(why["sung_semitones"], abs=0.01)
    left_out = heard(run, RECORDINGS / "snail-wall-note-left-out.flac", "snail-wall", "--why", "2 to 3")["why"]
    assert (left_out["verdict"], left_out["doubt"], left_out["notes"][1]["midi"]) == ("not sure", "note not sung", None)


def test_a_move_that_is_none_is_one_sentence(run: Run) -> None:
    for typed, said in (("99", "There is no move '99' here."), ("to 'wall'", "There are several moves")):
        code, out, err = run("hear", RIGHT_TAKE, "--tune", "snail-wall", "--why", typed)
        assert (code, out, err.count("\n")) == (2, "", 1)
        assert err.startswith(said)


def test_a_phrase_alone(run: Run, tmp_path: Path) -> None:
    whole = heard(run, RIGHT_TAKE)
    sound, rate = soundfile.read(RIGHT_TAKE)
    cut = int((whole["notes"][7]["onset_s"] - 0.1) * rate)
    soundfile.write(tmp_path / "second.wav", sound[cut:], rate)
    found = heard(run, tmp_path / "second.wav", "snail-wall", "--phrase", 2)
    assert [n["number"] for n in found["notes"]] == list(range(8, 15))
    assert verdicts(found) == ["right"] * 6
    code, _, err = run("hear", RIGHT_TAKE, "--tune", "snail-wall", "--phrase", 9)
    assert code == 2
    assert "phrases 1 to 2" in err


def sung_track(path: Path, name: str) -> Path:
    """A pitch track of a tune that ships, as written: half a second a note, a tenth of silence between."""
    rows = ["time_s,f0_hz"]
    for k, note in enumerate(load(name).line()):
        hz = 440.0 * 2 ** ((note.midi - 69) / 12)
        rows += [f"{(k * 60 + j) * 0.01:.2f},{hz if j < 50 else 0.0:.3f}" for j in range(60)]
    path.write_text("\n".join(rows))
    return path


def test_a_recorded_take_is_kept_where_a_pupil_is_named_and_once(run: Run, tmp_path: Path) -> None:
    take, path = sung_track(tmp_path / "t.csv", "tick-tock"), tmp_path / "d.sqlite"
    asked = ("hear", take, "--tune", "Tick tock", "--short", "--pupil", "robin", "--diary", path)
    code, out, err = run(*asked)
    assert (code, out, err) == (2, "", "The diary has no pupil robin. companion diary lists the pupils.\n")
    with Diary(path) as diary:
        diary.set_work(diary.pupil("Robin", new=True), "tick-tock")
    assert run(*asked)[1].splitlines()[-1] == "Kept in Robin's diary."
    assert run(*asked)[1].splitlines()[-1] == "It was in Robin's diary already."
    found = heard(run, take, "tick-tock", "--pupil", "Robin", "--diary", path)
    assert found["kept"] is True
    other = heard(run, take, "kite", "--pupil", "Robin", "--diary", path)
    assert (other["kind"], other["kept"]) == ("another tune", False)
    with Diary(path) as diary:
        robin = diary.pupil("Robin")
        kept, = diary.takes(robin)
        assert (kept.session, kept.tune, kept.cue) == (SessionKind.RECORDED, "tick-tock", found["cue"])
        assert [m.verdict for m in kept.moves] == verdicts(found)
        assert diary.work(robin)[0].takes == 1, "it counts for what was set"
        assert diary.sounds(robin) == []


def test_a_pitch_track_is_a_take(run: Run, tmp_path: Path) -> None:
    assert set(verdicts(heard(run, sung_track(tmp_path / "t.csv", "tick-tock"), "tick-tock"))) == {"right"}


# Bad input: one plain sentence, the contract's exit code, no traceback.


def rng_noise(seconds: float) -> np.ndarray:
    return 0.1 * np.random.default_rng(5).normal(0, 1, int(22050 * seconds))


def bad_takes(folder: Path) -> dict[str, tuple[Path, int]]:
    rate = 22050
    silence, click = np.zeros(rate * 2), np.zeros(rate * 2)
    click[rate] = 0.9
    for name, sound in (("silence", silence), ("click", click), ("noise", rng_noise(2.0)), ("short", silence[:30])):
        soundfile.write(folder / f"{name}.wav", sound, rate)
    (folder / "empty.wav").touch()
    (folder / "text.wav").write_text("This is no sound.")
    whole = RIGHT_TAKE.read_bytes()
    (folder / "cut.flac").write_bytes(whole[:20])
    (folder / "folder.wav").mkdir()
    (folder / "t.csv").write_text("time,pitch\n0,1\n")
    codes = {"silence.wav": 3, "click.wav": 3, "noise.wav": 3, "short.wav": 3, "missing.wav": 2, "empty.wav": 2,
             "text.wav": 2, "cut.flac": 2, "folder.wav": 2, "t.csv": 2}
    return {name: (folder / name, code) for name, code in codes.items()}


@pytest.mark.parametrize("name", ["silence.wav", "click.wav", "noise.wav", "short.wav", "missing.wav", "empty.wav",
                                  "text.wav", "cut.flac", "folder.wav", "t.csv"])
def test_a_bad_take_is_one_sentence(run: Run, tmp_path: Path, name: str) -> None:
    path, wanted = bad_takes(tmp_path)[name]
    code, out, err = run("hear", path, "--tune", "snail-wall", "--json")
    assert (code, out) == (wanted, "")
    assert err.count("\n") == 1
    assert err.rstrip().endswith(".")
    assert "Traceback" not in err


BOMB = ('<?xml version="1.0"?><!DOCTYPE b [<!ENTITY a "aaaaaaaaaa">'
        + "".join(f'<!ENTITY {n} "{"&" + m + ";" * 1}&{m};&{m};&{m};">' for m, n in zip("abcdefgh", "bcdefghi", strict=True))
        + "]><score-partwise>&i;</score-partwise>")


@pytest.mark.parametrize("name, text", [
    ("broken.musicxml", "<score-partwise><part"), ("empty.musicxml", ""), ("bomb.musicxml", BOMB),
    ("broken.mid", "MThd"), ("what.docx", "x")])
def test_a_bad_tune_is_one_sentence(run: Run, tmp_path: Path, name: str, text: str) -> None:
    (tmp_path / name).write_text(text)
    for arguments in (["hear", RIGHT_TAKE, "--tune", tmp_path / name], ["braille", tmp_path / name]):
        code, out, err = run(*arguments)
        assert (code, out) == (2, "")
        assert err.count("\n") == 1
        assert "Traceback" not in err


def test_an_unknown_tune_suggests_the_nearest(run: Run) -> None:
    code, _, err = run("hear", RIGHT_TAKE, "--tune", "snail-wal")
    assert code == 2
    assert "snail-wall" in err


def test_a_name_over_two_lines_is_told_in_one(run: Run, tmp_path: Path) -> None:
    (tmp_path / "a\nb.wav").touch()
    code, _, err = run("hear", tmp_path / "a\nb.wav", "--tune", "mole")
    assert (code, err.count("\n")) == (2, 1)


def limited(*arguments: object, file_size: int | None = None, stdout: object = subprocess.PIPE) -> subprocess.CompletedProcess:
    """A run in a process of its own, with a limit on the size of files as a full disk would set one."""
    import resource

    def limit() -> None:
        if file_size is not None:
            resource.setrlimit(resource.RLIMIT_FSIZE, (file_size, file_size))

    return subprocess.run([sys.executable, "-m", "companion", *map(str, arguments)], cwd=ROOT, text=True,
                          stdout=stdout, stderr=subprocess.PIPE, preexec_fn=limit, check=False)


@pytest.mark.skipif(sys.platform == "win32", reason="limits on the size of files are set as on Linux and macOS")
def test_a_full_disk_leaves_nothing_half_written(tmp_path: Path) -> None:
    (tmp_path / "cue.wav").write_bytes(b"the old one")
    done = limited("hear", RIGHT_TAKE, "--tune", "snail-wall", "--sound", tmp_path / "cue.wav", file_size=4096)
    assert (done.returncode, done.stdout) == (2, ""), "nothing is answered before what was asked for is saved"
    assert done.stderr.count("\n") == 1
    assert "could not be written" in done.stderr
    assert (tmp_path / "cue.wav").read_bytes() == b"the old one"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["cue.wav"]


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no /dev/full here")
def test_output_to_a_full_place_is_one_sentence() -> None:
    with open("/dev/full", "w") as full:
        done = limited("tunes", stdout=full)
    assert done.returncode == 2
    assert "Traceback" not in done.stderr
    assert Path("/dev/full").is_char_device()


def test_no_portaudio_is_said_in_one_sentence(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # What sounddevice raises on import where the system has no PortAudio.
    (tmp_path / "sounddevice.py").write_text("raise OSError('PortAudio library not found')")
    monkeypatch.syspath_prepend(str(tmp_path))
    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    code, out, err = run("hear", RIGHT_TAKE, "--tune", "snail-wall", "--speak")
    assert code == 2
    assert out.startswith("All thirteen right.")  # the answer is there all the same
    assert err.count("\n") == 1
    assert "libportaudio2" in err
    assert "Traceback" not in err


# Many takes.


def test_a_list_goes_on_past_a_broken_one(run: Run, tmp_path: Path) -> None:
    takes = [RECORDINGS / f"snail-wall-{name}.flac" for name in ("right", "one-move-turned", "stopped-early")]
    rows = ["take,tune"] + [f"{takes[k % 3]},snail-wall" for k in range(8)]
    rows[5] = "gone.flac,snail-wall"
    (tmp_path / "list.csv").write_text("\n".join(rows))
    code, out, err = run("review", tmp_path / "list.csv", "--json")
    found = [json.loads(line) for line in out.splitlines()]
    assert (code, err, len(found)) == (0, "", 8)
    assert set(found[4]) == {"take", "error"}
    assert found[4]["take"] == "gone.flac"
    for k, one in enumerate(found):
        if k != 4:
            assert one["take"] == str(takes[k % 3])
            assert verdicts(one) == verdicts(found[k % 3])


def test_a_review_uses_every_core(monkeypatch: pytest.MonkeyPatch) -> None:
    from companion.lesson.review import workers

    monkeypatch.setattr("os.cpu_count", lambda: 6)
    assert workers(None, 50) == 6
    assert workers(None, 2) == 2
    assert workers(3, 50) == 3
    assert workers(5000, 5000) == 61


@pytest.mark.slow
def test_a_review_speaks_american_where_asked(run: Run, tmp_path: Path) -> None:
    """In a long line without words the cue counts notes in their bar, one process or two."""
    hz: list[float] = [0.0] * 30
    for k, note in enumerate(load("two-octaves-meet").line()):
        hz += [440.0 * 2.0 ** ((note.midi - (5 if k == 9 else 0) - 69) / 12)] * 40 + [0.0] * 8
    (tmp_path / "t.csv").write_text("time_s,f0_hz\n" + "".join(f"{k * 0.01:.2f},{f:.1f}\n" for k, f in enumerate(hz)))
    (tmp_path / "l.csv").write_text("take,tune\n" + "t.csv,two-octaves-meet\n" * 2)
    for jobs in (1, 2):
        _, out, _ = run("review", tmp_path / "l.csv", "--jobs", jobs, "--american")
        assert out.count("of measure two") == 2, out


def test_lists_as_spreadsheets_write_them(run: Run, tmp_path: Path) -> None:
    """RFC 4180 quotes; semicolons, tabs, a byte order mark, capitals, blank lines, other columns, other orders."""
    (tmp_path / 'a "b", c.flac').write_bytes(RIGHT_TAKE.read_bytes())
    (tmp_path / "mine.musicxml").write_bytes((shipped("exercises") / "snail-wall.musicxml").read_bytes())
    for text in ('take,tune\n"a ""b"", c.flac",snail-wall\n', '\n\nTune;Pupil;Take\nmine.musicxml;Wren;"a ""b"", c.flac"\n',
                 '\ufefftake\ttune\r\n\r\n"a ""b"", c.flac"\tmine.musicxml\r\n\r\n',
                 f'take,tune\n{RIGHT_TAKE},{tmp_path / "mine.musicxml"}\n'):
        (tmp_path / "l.csv").write_text(text, encoding="utf-8")
        code, out, err = run("review", tmp_path / "l.csv", "--json")
        assert (code, err) == (0, "")
        assert set(verdicts(json.loads(out))) == {"right"}, text


def test_what_a_line_of_a_list_lacks_is_said(run: Run, tmp_path: Path) -> None:
    (tmp_path / "l.csv").write_text("take,tune\n,snail-wall\nx.flac\nx.flac,\n")
    code, out, err = run("review", tmp_path / "l.csv", "--jobs", 1)
    assert (code, err) == (2, "")  # every take of the list failed
    assert [line.partition(" Put")[0] for line in out.splitlines()] == [
        "No take: This line of the list names no take.", *["x.flac: This line of the list names no tune."] * 2]


def test_a_line_of_a_review_says_each_thing_once(run: Run, tmp_path: Path) -> None:
    names = ("right", "one-move-turned", "note-left-out")
    (tmp_path / "l.csv").write_text("take,tune\n" + "".join(f"{RECORDINGS}/snail-wall-{n}.flac,snail-wall\n"
                                                            for n in names))
    _, out, _ = run("review", tmp_path / "l.csv", "--jobs", 1)
    assert [line.partition(".flac: ")[2] for line in out.splitlines()] == [
        "All thirteen right.",
        "12 of 13 moves as written, 1 not that way. From the first 'on' to the first 'the' the tune goes up.",
        "11 of 13 moves as written, 2 not sure. I did not hear the first 'the'."]


@pytest.mark.slow
def test_of_a_take_that_could_not_be_followed_nothing_is_measured(run: Run, tmp_path: Path) -> None:
    sound, rate = soundfile.read(RECORDINGS / "snail-wall-too-noisy.flac", start=round(1.1 * 22050))  # in its third note
    soundfile.write(tmp_path / "one-note.flac", sound, rate)
    _, out, _ = run("hear", tmp_path / "one-note.flac", "--tune", "snail-wall", "--more")
    lines = out.splitlines()
    assert lines[0].startswith("I heard you sing, but could not follow.")
    assert all(line.startswith("Note ") for line in lines[2:])
    _, out, _ = run("hear", RECORDINGS / "snail-wall-note-left-out.flac", "--tune", "snail-wall")
    assert "Not sure. Note 2 to 3: the tune goes up; what was sung there is not clear." in out.splitlines()


def test_the_sound_of_a_cue_never_replaces_the_take(run: Run, tmp_path: Path) -> None:
    take = tmp_path / "t.flac"
    take.write_bytes(RIGHT_TAKE.read_bytes())
    (tmp_path / "link.flac").symlink_to(take)
    for name in ("t.flac", "link.flac"):
        code, out, err = run("hear", take, "--tune", "snail-wall", "--sound", tmp_path / name)
        assert (code, out, err.count("\n")) == (2, "", 1)
        assert "would be lost" in err
    assert take.read_bytes() == RIGHT_TAKE.read_bytes()


@pytest.mark.parametrize("arguments", [("hear", RIGHT_TAKE, "--tune", "snail-wall"), ("demo",)])
def test_a_name_that_is_no_sounds_is_refused_before_the_answer(run: Run, tmp_path: Path, arguments: tuple[object, ...]) -> None:
    code, out, err = run(*arguments, "--sound", tmp_path / "cue.doc")
    assert (code, out) == (2, "")
    assert "sound is saved as .wav or .flac" in err


def begun(found: dict) -> list[float]:
    return [n["onset_s"] for n in found["notes"] if n["onset_s"] is not None]


@pytest.mark.slow
def test_no_note_begins_before_the_take(run: Run, tmp_path: Path) -> None:
    voice = 0.3 * np.sin(2 * np.pi * 220 * np.arange(22050 * 2) / 22050)
    soundfile.write(tmp_path / "t.wav", voice, 22050)
    assert min(begun(heard(run, tmp_path / "t.wav", "tick-tock"))) >= 0
    (tmp_path / "t.csv").write_text("time_s,f0_hz\n" + "".join(f"{1e6 + k * 0.01:.2f},220\n" for k in range(200)))
    assert min(begun(heard(run, tmp_path / "t.csv", "tick-tock"))) >= 1e6 - 1


def test_a_take_in_which_no_note_is_found_is_nothing_sung(run: Run, tmp_path: Path) -> None:
    """Pitches that jump about with every hundredth of a second, as a tracker gives of a rattle."""
    hz = np.random.default_rng(1).uniform(80, 900, 500)
    (tmp_path / "t.csv").write_text("time_s,f0_hz\n" + "".join(f"{k * 0.01:.2f},{f:.1f}\n" for k, f in enumerate(hz)))
    (tmp_path / "one.mid").write_bytes(
        b"MThd\x00\x00\x00\x06\x00\x00\x00\x01\x00\x60MTrk\x00\x00\x00\x0c\x00\x90\x3c\x40\x60\x80\x3c\x00\x00\xff\x2f\x00")
    code, out, err = run("hear", tmp_path / "t.csv", "--tune", tmp_path / "one.mid", "--json")
    assert (code, out, err.count("\n")) == (3, "", 1)


def test_more_notes_than_one_take_can_be_held_against(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("companion.lesson.answer.MOST_NOTE_SECONDS", 60.0)
    code, out, err = run("hear", RIGHT_TAKE, "--tune", "snail-wall")
    assert (code, out) == (2, "")
    assert "14 notes" in err
    assert "--phrase" in err


@pytest.mark.parametrize(("data", "says"), [
    (b"take,tune\n\n", "names no take"), (b"take,tune\n" + b"x" * 200_000 + b",y\n", "too long"),
    (b"\x00\xff" * 50, "no text"), (b"take,tune\n\x00\x01,y\n", "no text")])
def test_a_list_that_is_none_is_one_sentence(run: Run, tmp_path: Path, data: bytes, says: str) -> None:
    (tmp_path / "l.csv").write_bytes(data)
    code, out, err = run("review", tmp_path / "l.csv")
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert says in err


@pytest.mark.parametrize(("name", "says"), [("", "name of the list is empty"), ("none.csv", "There is no file"),
                                            (".", "is a folder"), ("a" * 300, "file name too long")])
def test_a_list_that_is_not_there_is_one_sentence(run: Run, name: str, says: str) -> None:
    code, out, err = run("review", name)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert says in err


@pytest.mark.parametrize("text", ["", "a,b\n1,2\n"])
def test_a_list_without_its_header_is_one_sentence(run: Run, tmp_path: Path, text: str) -> None:
    (tmp_path / "l.csv").write_text(text)
    code, out, err = run("review", tmp_path / "l.csv")
    assert (code, out) == (2, "")
    assert "take,tune" in err


# The main job shown.


def test_the_demo_ends_with_its_cue(run: Run, tmp_path: Path) -> None:
    code, out, err = run("demo", "--sound", tmp_path / "demo.wav")
    assert (code, err) == (0, "")
    assert out.splitlines()[-1] == demo_answer().cue(English())
    sound, _ = soundfile.read(tmp_path / "demo.wav")
    assert 2 < len(sound) / soundfile.info(tmp_path / "demo.wav").samplerate < 30
    assert 0.05 < np.abs(sound).max() <= 0.9


def test_the_demo_saves_its_sound_with_json_too(run: Run, tmp_path: Path) -> None:
    code, out, err = run("demo", "--json", "--sound", tmp_path / "demo.wav")
    assert (code, err, json.loads(out)["cue"]) == (0, "", demo_answer().cue(English()))
    assert soundfile.info(tmp_path / "demo.wav").duration > 2


def test_the_demo_writes_through_nobodys_link_and_over_nobodys_folder(
        run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    (tmp_path / "theirs").write_text("theirs")
    for make in (lambda p: p.symlink_to(tmp_path / "theirs"), lambda p: p.mkdir()):
        place = tmp_path / "companion-demo.wav"
        make(place)
        code, out, err = run("demo")
        assert (code, err) == (0, "")
        saved = re.search(r"the voice's own: (.+)", out)
        assert saved
        assert soundfile.info(saved[1]).duration > 2
        assert Path(saved[1]) != place
        assert (tmp_path / "theirs").read_text() == "theirs"
        place.unlink() if place.is_symlink() else place.rmdir()


def test_the_demo_goes_on_without_speech(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    from companion.errors import Trouble

    def none(*_: object, **__: object) -> None:
        raise Trouble("No voice is installed. Install one.")

    monkeypatch.setattr("companion.lesson.sounds.speak", none)
    code, out, err = run("demo")
    assert (code, err) == (0, "")
    assert out.splitlines()[-2:] == ["No voice is installed. Install one.", demo_answer().cue(English())]


def test_the_tunes_are_a_plain_line_each(run: Run) -> None:
    code, out, err = run("tunes")
    assert (code, err) == (0, "")
    assert out.splitlines()[0] == (
        "tick-tock: 10 notes, C major, 2 beats in a bar, 2 semitones from lowest to highest. "
        "Moves: 2 level, 7 by step. Begins: Tick tock, tick tock.")


def test_demo_and_tunes_in_american_names(run: Run, tmp_path: Path) -> None:
    _, out, _ = run("demo", "--american", "--sound", tmp_path / "demo.wav")
    assert "C, fourth octave, quarter note: dot 5" in out
    assert "7 centimeters" in out
    _, out, _ = run("tunes", "--american")
    assert "beats in a measure" in out
    assert "by half step" in out
    assert not re.search("semitone| bar[, ]|crotchet|quaver(?!s:)", out)


def test_the_readme_shows_the_demos_own_words(run: Run, tmp_path: Path) -> None:
    _, out, _ = run("demo", "--sound", tmp_path / "demo.wav")
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    shown = re.search(r"<!-- demo -->\n```\n(.*?)```", readme, re.S)
    assert shown
    given = [x for x in out.splitlines() if str(tmp_path) not in x]
    assert [x for x in shown[1].splitlines() if "companion-demo.wav" not in x] == given


# A take as it comes.


@pytest.mark.slow
def test_a_take_of_another_tune_is_told_as_such_and_no_move_is_judged(run: Run) -> None:
    code, out, _ = run("hear", RIGHT_TAKE, "--tune", "heron", "--short")
    assert (code, out.splitlines()) == (
        0, ["I could not find 'Heron' in this recording. It sounds like 'Snail on the wall'."])
    found = heard(run, RIGHT_TAKE, "heron")
    assert (found["kind"], found["likelier"]) == ("another tune", "Snail on the wall")
    assert set(verdicts(found)) == {"not sure"}


def test_the_stretch_that_was_judged_is_said_and_a_stop_is_no_wrong_note(run: Run, tmp_path: Path) -> None:
    sound, rate = soundfile.read(RIGHT_TAKE)
    truth = heard(run, RIGHT_TAKE, "snail-wall")
    assert (truth["kind"], truth["attempts"]) == ("all right", 1)
    assert 0.5 < truth["heard_from_s"] < 0.8 < 4.4 < truth["heard_to_s"] < 4.9
    end = truth["notes"][7]["onset_s"] - 0.02  # seven notes, six moves
    soundfile.write(tmp_path / "stopped.flac", np.concatenate([sound[:round(end * rate)], np.zeros(rate)]), rate)
    found = heard(run, tmp_path / "stopped.flac", "snail-wall")
    assert found["kind"] == "stopped early"
    assert verdicts(found) == ["right"] * 6 + ["not sure"] * 7
    assert [n["sung"] for n in found["notes"]] == [True] * 7 + [False] * 7
    assert found["cue"].startswith("The first six right. You stopped at ")


def test_the_tune_after_itself_is_judged_once_and_both_attempts_are_counted(run: Run, tmp_path: Path) -> None:
    sound, rate = soundfile.read(RIGHT_TAKE)
    soundfile.write(tmp_path / "twice.flac", np.concatenate([sound, sound]), rate)
    found = heard(run, tmp_path / "twice.flac", "snail-wall")
    assert (found["kind"], found["attempts"]) == ("all right", 2)
    assert found["heard_from_s"] > len(sound) / rate


def test_a_phrase_is_found_inside_a_take_of_the_whole_tune(run: Run) -> None:
    for phrase in (1, 2):
        code, out, _ = run("hear", RIGHT_TAKE, "--tune", "snail-wall", "--phrase", phrase, "--short")
        assert (code, out) == (0, "All six right.\n")


def test_a_folder_of_takes_of_one_tune_is_reviewed_by_name(run: Run, tmp_path: Path) -> None:
    for name in ("b.flac", "a.flac"):
        (tmp_path / name).write_bytes(RIGHT_TAKE.read_bytes())
    (tmp_path / "notes.txt").write_text("no take")
    code, out, _ = run("review", tmp_path, "--tune", "snail-wall", "--jobs", 1)
    assert (code, out) == (0, "a.flac: All thirteen right.\nb.flac: All thirteen right.\n")
    code, out, err = run("review", tmp_path)
    assert (code, out) == (2, "")
    assert "--tune" in err


def test_a_list_may_name_a_phrase_a_part_and_a_verse(run: Run, tmp_path: Path) -> None:
    (tmp_path / "l.csv").write_text(f"take,tune,phrase,part,verse\n{RIGHT_TAKE},snail-wall,2,1,\n"
                                    f"{RIGHT_TAKE},snail-wall,x,,\n{RIGHT_TAKE},snail-wall,,,9\n{RIGHT_TAKE},snail-wall,,Alto,\n")
    _, out, _ = run("review", tmp_path / "l.csv", "--jobs", 1)
    lines = [line.partition(": ")[2] for line in out.splitlines()]
    assert lines[0] == "All six right."
    assert "whole number" in lines[1]
    assert "no verse 9" in lines[2]
    assert "Alto" in lines[3]
