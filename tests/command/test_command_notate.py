"""The commands as a user meets them: what is printed, what is written, and one sentence for what goes wrong."""

from __future__ import annotations

import json
import re
from fractions import Fraction
from pathlib import Path

import pytest

from companion.command import main
from companion.language import English, Variety, bar_lines
from companion.tune import Bar, Mark, Note, Pitch, Tune, Tuplet, load

TAKE = Path(__file__).resolve().parents[2] / "recordings" / "snail-wall-right.flac"


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    try:
        code = main(arguments)
    except SystemExit as stop:
        code = int(stop.code or 0)
    out = capsys.readouterr()
    return code, out.out, out.err


def test_notate_json_and_files(capsys, tmp_path) -> None:
    files = [str(tmp_path / f"snail.{k}") for k in ("musicxml", "mid", "brf", "wav")]
    code, out, _ = run(capsys, "notate", str(TAKE), "--json", "--title", "Snail", *(x for f in files for x in ("--out", f)))
    assert code == 0
    data = json.loads(out)
    assert data["time"] == "2/4"
    assert data["key"].endswith("major")
    midi = [n["midi"] for n in data["notes"] if n["midi"]]
    assert [m - midi[0] for m in midi] == [0, 0, 2, 4, 4, 2, 0, 0, 0, 2, 4, 2, 2, 0]
    assert all(Path(f).stat().st_size > 60 for f in files)
    assert [n.midi for n in load(files[0]).line()] == midi
    assert load(files[0]).title == "Snail"


def test_notate_reads_back_what_it_wrote(capsys, tmp_path) -> None:
    path = str(tmp_path / "s.brf")
    words = "Snail on the wall, creep up slow. Snail on the wall, slide down home."
    code, said, _ = run(capsys, "notate", str(TAKE), "--out", path, "--words", words, "--fix", "no pickup")
    assert code == 0
    assert "The first note now begins the first bar." in said
    code, out, _ = run(capsys, "read", path, "--json")
    assert code == 0
    data = json.loads(out)
    assert data["problems"] == []
    assert len([n for n in data["notes"] if n["midi"]]) == 14


def test_a_name_that_cannot_be_written_is_refused_before_any_work(capsys, tmp_path) -> None:
    take = tmp_path / "take.flac"
    take.write_bytes(TAKE.read_bytes())
    for name, part in ((tmp_path / "x.doc", "x.doc ends in .doc"), (tmp_path / "none" / "x.mid", "There is no folder"),
                       (take, "would be lost")):
        code, out, err = run(capsys, "notate", str(take), "--out", str(tmp_path / "good.mid"), "--out", str(name))
        assert (code, out) == (2, "")
        assert part in err
    assert not (tmp_path / "good.mid").exists()
    assert take.read_bytes() == TAKE.read_bytes()


def test_the_score_is_said_bar_by_bar(capsys) -> None:
    code, out, _ = run(capsys, "notate", str(TAKE), "--fix", "no pickup")
    assert code == 0
    assert out.startswith("Snail wall right: 14 notes, ")
    assert re.search(r"^Bar 1: [A-G]( sharp| flat)? quaver in the (third|fourth) octave, [A-G]( sharp| flat)? quaver, ",
                     out, re.M)
    held = Tune(title="", bars=(
        Bar(number=1, notes=(Note(pitch=Pitch("C", 4), base=Fraction(1), tie=True),
                             Note(pitch=Pitch("C", 4), base=Fraction(1, 2), marks=(Mark.BREATH,)),
                             Note(pitch=Pitch("C", 5, 1), base=Fraction(1, 2), tie=True))),
        Bar(number=2, notes=(Note(pitch=Pitch("C", 5, 1), base=Fraction(1)), Note(pitch=None, base=Fraction(1))))))
    assert bar_lines(English(), held) == ["Bar 1: C crotchet in the fourth octave tied to a quaver, breath, "
                               "C sharp quaver in the fifth octave.", "Bar 2: C sharp crotchet held over, crotchet rest."]
    three = tuple(Note(pitch=Pitch(p, 4), base=Fraction(1, 2), tuplet=Tuplet(3, 2, where))
                  for p, where in (("C", "start"), ("D", ""), ("E", "stop")))
    assert bar_lines(English(Variety.AMERICAN), Tune(title="", bars=(Bar(number=1, notes=three),))) == [
        "Measure 1: triplet of C eighth note in the fourth octave, D eighth note, E eighth note."]


def test_a_take_is_all_right_against_its_own_score(capsys, tmp_path) -> None:
    path = str(tmp_path / "s.musicxml")
    run(capsys, "notate", str(TAKE), "--out", path)
    code, out, _ = run(capsys, "hear", str(TAKE), "--tune", path, "--json")
    assert code == 0
    assert json.loads(out)["counts"]["right"] == 13


@pytest.mark.parametrize(("arguments", "code", "part"), [
    (["notate", "nowhere.wav"], 2, "nowhere.wav"),
    (["notate", str(TAKE), "--time", "5/4"], 2, "5/4"),
    (["notate", str(TAKE), "--bpm", "900"], 2, "900"),
    (["notate", str(TAKE), "--key", "H dur"], 2, "H dur"),
    (["notate", str(TAKE), "--fix", "bar 40 note 1 is a crotchet"], 2, "no bar 40"),
    (["notate", str(TAKE), "--out", "x.docx"], 2, "x.docx"),
    (["notate", str(TAKE.with_name("snail-wall-too-noisy.flac"))], 3, "noisy"),
    (["exercises", "no-such-tune"], 2, "no-such-tune"),
    (["line", "lantern", "--phrase", "40"], 2, "no phrase 40"),
    (["line", "lantern", "--out", "x.doc"], 2, "x.doc"),
    (["wall", "lantern", "--shoulder", "900"], 2, "900"),
])
def test_one_sentence_for_what_goes_wrong(capsys, arguments: list[str], code: int, part: str) -> None:
    got, _, err = run(capsys, *arguments)
    assert got == code
    assert part in err
    assert "Traceback" not in err
    assert err.count("\n") == 1


def test_tapped_beats_from_a_file(capsys, tmp_path) -> None:
    beats = tmp_path / "beats.txt"
    beats.write_text("0.4\n0.9\nnot a time\n1.4\n1.9\n2.4\n", encoding="utf-8")
    code, out, _ = run(capsys, "notate", str(TAKE), "--json", "--time", "2/4", "--beats", str(beats))
    assert code == 0
    assert json.loads(out)["quarter_bpm"] == pytest.approx(120, rel=0.06)
    beats.write_text("0.4\n", encoding="utf-8")
    code, _, err = run(capsys, "notate", str(TAKE), "--beats", str(beats))
    assert code == 2
    assert "at least three" in err


def test_exercises_line_and_wall_speak_plainly(capsys, tmp_path) -> None:
    code, out, _ = run(capsys, "exercises", "snail-wall", "--level", "1")
    assert code == 0
    assert out.splitlines()[0].endswith(": exercises.")
    assert all("level 1" in line for line in out.splitlines() if line[:1].isdigit() and ". " in line[:4])
    code, answers, _ = run(capsys, "exercises", "snail-wall", "--answers", "--kind", "gap")
    assert "note is" in answers
    code, out, _ = run(capsys, "line", "snail-wall")
    assert out.startswith("'Snail' is the first, stays for 'on', up a step to 'the'")
    code, out, _ = run(capsys, "wall", "snail-wall", "--shoulder", "98", "--out", str(tmp_path / "w.txt"))
    assert code == 0
    assert (tmp_path / "w.txt").read_text().splitlines()[1].startswith("Clear the space first")


def test_line_and_wall_in_american_names(capsys) -> None:
    assert "up a semitone to 'light'" in run(capsys, "line", "moon-sea")[1]
    assert "up a half step to 'light'" in run(capsys, "line", "moon-sea", "--american")[1]
    out = run(capsys, "wall", "moon-sea", "--shoulder", "98", "--american")[1]
    assert "98 centimeters" in out
    assert "metre" not in out


def test_a_piece_of_work_is_kept_opened_mended_and_kept_again(capsys, tmp_path, monkeypatch) -> None:
    kept, both = str(tmp_path / "snail.zip"), str(tmp_path / "both.wav")
    code, said, _ = run(capsys, "notate", str(TAKE), "--keep", kept, "--compare", both, "--fix", "bar 1 note 1 is G")
    assert code == 0
    assert said.splitlines()[-2:] == [f"{both} written.", f"{kept} is kept; open it again with: notate {kept}"]
    assert Path(both).stat().st_size > 100_000
    # Tomorrow: no recording is wanted, and what was mended yesterday can be taken back.
    monkeypatch.setattr("sys.stdin", ["bar 1 note 2 is a rest\n", "undo\n", "undo\n", "bar 2 note 1 is A\n"])
    code, said, _ = run(capsys, "notate", kept, "--correct")
    assert code == 0
    assert said.count("The last correction is taken back.") == 2
    code, out, _ = run(capsys, "notate", kept, "--json")
    notes = [n for n in json.loads(out)["notes"] if n["midi"]]
    assert [n["midi"] for n in notes[:2]] == [60, 60] or notes[0]["midi"] == notes[1]["midi"]
    assert any(n["midi"] % 12 == 9 for n in notes if n["bar"] == 2)
    code, _, err = run(capsys, "notate", str(TAKE), "--keep", kept)
    assert code == 2
    assert "is there already and is not written over" in err
    code, _, err = run(capsys, "notate", kept, "--bpm", "90")
    assert (code, err.strip()) == (2, '--bpm belongs to a new take; for a kept piece of work say it as a correction, as --fix '
                                      '"in three".')
    Path(kept).write_bytes(b"PK damaged")
    code, _, err = run(capsys, "notate", kept)
    assert code == 2
    assert err.count("\n") == 1
    assert "cannot be opened: it is damaged" in err
