"""The commands course, drill and sheet: by keys alone, as text, as JSON, and what is said when it goes wrong."""

import io
import json
import random
from pathlib import Path

import numpy as np
import pytest
from singers import RATE, VOICES, LineItem, Style, perform, render

from companion.command import main
from companion.course import FOLDER, Drill, Order, QuestionKind, make, material, stages
from companion.language import English, by_hand_hint


@pytest.fixture
def diary(tmp_path: Path) -> str:
    return str(tmp_path / "diary.sqlite")


def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], *arguments: str,
        keys: str = "") -> tuple[int, list[str], str]:
    monkeypatch.setattr("sys.stdin", io.StringIO(keys))
    try:
        code = main(list(arguments))
    except SystemExit as left:
        code = int(left.code or 0)
    out, error = capsys.readouterr()
    return code, out.splitlines(), error


def test_a_first_sitting_by_keys(monkeypatch, capsys, diary) -> None:  # type: ignore[no-untyped-def]
    code, lines, error = run(monkeypatch, capsys, "course", "Robin", "--new", "--silent", "--diary", diary,
                             keys="tune\nmore\n\nhelp\nhigher\nhigher\n?\nlower\nstop\n")
    assert (code, error) == (0, "")
    assert lines[0] == "Stage 1: Higher, lower, same."
    assert "This is Tick tock." in lines
    assert "Enter begins the questions; tune sounds Tick tock; more tells what may go wrong; stop ends." in lines
    assert "skip: go on without an answer." in lines
    assert any(line.startswith("For the helper: sing any note, then ") for line in lines)
    assert lines[-1].endswith(("right.", "next time."))
    code, lines, _ = run(monkeypatch, capsys, "course", "Robin", "--known", "--diary", diary)
    assert code == 0
    assert lines[0].startswith("Now: Stage 1")
    # The second sitting does not read the whole stage again.
    _, lines, _ = run(monkeypatch, capsys, "course", "robin", "--silent", "--diary", diary, keys="stop\n")
    assert lines[0].startswith("Now: Stage 1")


def test_the_adults_word(monkeypatch, capsys, diary) -> None:  # type: ignore[no-untyped-def]
    run(monkeypatch, capsys, "course", "Robin", "--new", "--diary", diary, "--pass", "1", "--pass", "c-d-e")
    _, lines, _ = run(monkeypatch, capsys, "course", "Robin", "--known", "--json", "--diary", diary)
    known = json.loads("\n".join(lines))
    assert (known["stage"], known["name"], sorted(known["passed"])) == (3, "f-g", ["1", "2"])
    _, lines, _ = run(monkeypatch, capsys, "course", "Robin", "--back", "2", "--diary", diary)
    assert lines[0].startswith("Stage 2: Three cells: C, D, E is taken back.")
    _, lines, _ = run(monkeypatch, capsys, "course", "Robin", "--begin-again", "--diary", diary)
    assert lines == ["The course of Robin begins again at the first stage."]
    _, lines, _ = run(monkeypatch, capsys, "course", "Robin", "--known", "--json", "--diary", diary)
    assert json.loads(lines[0])["stage"] == 1


def test_stages_are_listed_and_read_out(monkeypatch, capsys) -> None:  # type: ignore[no-untyped-def]
    _, lines, _ = run(monkeypatch, capsys, "course", "--list")
    assert len(lines) == len(stages()) == 29
    _, lines, _ = run(monkeypatch, capsys, "course", "--words")
    assert "Crotchet: a note of one beat. Stage 8." in lines
    _, lines, _ = run(monkeypatch, capsys, "course", "--stage", "8", "--american")
    assert lines[0] == "Stage 8: Quarter notes."
    assert not any("rotchet" in line or "uaver" in line for line in lines)
    _, lines, _ = run(monkeypatch, capsys, "course", "--stage", "c-d-e", "--json")
    assert json.loads(lines[0])["introduces"] == ["quaver", "C", "D", "E"]


def test_a_drill_by_typed_cells(monkeypatch, capsys) -> None:  # type: ignore[no-untyped-def]
    code, lines, _ = run(monkeypatch, capsys, "drill", "write the cell", "--fact", "C", "--fact", "D", "--order",
                         "up", "--count", "4", "--silent", keys="145\n⠑\nd\n124\ne\n")
    assert code == 0
    assert lines == ["Write the note C.", "Right. C, dots 1 4 5.", "Write the note D.", "Right. D, dots 1 5.",
                     "Write the note C.", "Right. C, dots 1 4 5.", "Write the note D.",
                     "That cell is E. D is one note lower: dots 1 5.", "Write the note D.", "Right. D, dots 1 5.",
                     "Three of four right."]


def test_a_drill_of_bars_from_a_recording(monkeypatch, capsys, tmp_path) -> None:  # type: ignore[no-untyped-def]
    m = material("five-quavers", ("values", "octave marks", "bars"))
    item = make(Drill(QuestionKind.READ_AND_SING, order=Order.UP, count=1), m, random.Random(1))[0]
    import soundfile

    rng = np.random.default_rng(5)
    sung = perform([LineItem(n.midi, 1.0) for n in item.sung], Style(miss=0.05, shift=2.0), rng)
    path = tmp_path / "take.wav"
    soundfile.write(path, render(sung, VOICES[1], "formants", rng), RATE)
    code, lines, _ = run(monkeypatch, capsys, "drill", "read and sing", "--tune", "five-quavers", "--leave-out",
                         "values", "--leave-out", "octave marks", "--leave-out", "bars", "--order", "up",
                         "--count", "1", "--silent", "--as", "ascii", keys=f"{path}\n")
    assert code == 0
    assert lines == ["Read these four notes in silence. You hear the first. Then sing them.", "DEFG",
                     "For the helper: sing or play C.", by_hand_hint(English()), "All three right. C, D, E, F.",
                     "One of one right."]


def test_a_sung_answer_through_the_microphone(monkeypatch, capsys) -> None:  # type: ignore[no-untyped-def]
    m = material("five-quavers", ("values", "octave marks", "bars"))
    item = make(Drill(QuestionKind.READ_AND_SING, order=Order.UP, count=1), m, random.Random(1))[0]
    rng = np.random.default_rng(6)
    sung = perform([LineItem(n.midi, 1.0) for n in item.sung], Style(miss=0.05, shift=1.0), rng)
    samples = np.concatenate([np.zeros(RATE // 2), render(sung, VOICES[0], "formants", rng), np.zeros(2 * RATE)])
    samples = (samples + rng.normal(0, 1e-4, len(samples))).astype(np.float32)

    class FromFile:
        def __init__(self, name: str | None = None) -> None:
            self.at = 0

        def read(self, timeout_s: float = 0.1) -> np.ndarray:
            block = samples[self.at:self.at + 1024]
            self.at += 1024
            return block if len(block) else np.zeros(1024, dtype=np.float32)

        def close(self) -> None:
            pass

    monkeypatch.setattr("companion.lesson.course_session.Microphone", FromFile)
    code, lines, _ = run(monkeypatch, capsys, "drill", "read and sing", "--stage", "3", "--order", "up", "--count",
                         "1", "--silent", "--listen")
    assert code == 0
    assert lines[-2:] == ["All three right. C, D, E, F.", "One of one right."]


def test_without_a_microphone_the_sitting_goes_on_by_keys(monkeypatch, capsys) -> None:  # type: ignore[no-untyped-def]
    from companion.errors import Trouble

    def none(name: str | None = None) -> None:
        raise Trouble("There is no microphone. Plug one in.")

    monkeypatch.setattr("companion.lesson.course_session.Microphone", none)
    code, lines, _ = run(monkeypatch, capsys, "drill", "read and sing", "--stage", "3", "--count", "2", "--silent",
                         "--listen", keys="+\n+\n")
    assert code == 0
    assert lines.count("There is no microphone. Plug one in.") == 1
    assert lines[-1] == "Two of two right."


def test_drills_for_programs(monkeypatch, capsys) -> None:  # type: ignore[no-untyped-def]
    _, lines, _ = run(monkeypatch, capsys, "drill")
    assert "name the cell. Reads a cell and names it." in lines
    _, first, _ = run(monkeypatch, capsys, "drill", "which bar", "--tune", "heron", "--seed", "4", "--json")
    _, again, _ = run(monkeypatch, capsys, "drill", "which bar", "--tune", "heron", "--seed", "4", "--json")
    assert first == again
    items = json.loads(first[0])
    assert len(items) == 8
    assert all(len(i["choices"]) == 2 and i["answer"] in ("1", "2") for i in items)


def test_a_drill_is_remembered_for_a_pupil(monkeypatch, capsys, diary) -> None:  # type: ignore[no-untyped-def]
    run(monkeypatch, capsys, "course", "Robin", "--new", "--pass", "1", "--diary", diary)
    run(monkeypatch, capsys, "drill", "write the cell", "--fact", "C", "--count", "1", "--silent", "--pupil",
        "Robin", "--diary", diary, "--on", "2026-09-01", keys="145\n")
    _, lines, _ = run(monkeypatch, capsys, "course", "Robin", "--known", "--json", "--diary", diary, "--on",
                      "2026-09-02")
    assert json.loads(lines[0])["due"] == ["C | name to cell"]


@pytest.mark.slow
def test_sheets(monkeypatch, capsys, diary, tmp_path) -> None:  # type: ignore[no-untyped-def]
    run(monkeypatch, capsys, "course", "Robin", "--new", "--pass", "1", "--diary", diary)
    for arguments in (("stage", "2"), ("tune", "heron"), ("drill", "3"), ("key",), ("key", "5"),
                      ("drill", "--tune", "heron", "--kind", "read and sing", "--count", "3"),
                      ("week", "Robin", "--diary", diary, "--on", "2026-09-07")):
        code, lines, error = run(monkeypatch, capsys, "sheet", *arguments)
        assert (code, error) == (0, ""), arguments
        assert len(lines) > 5
        for ending in ("brf", "html", "pdf", "txt"):
            path = tmp_path / f"x.{ending}"
            code, lines, _ = run(monkeypatch, capsys, "sheet", *arguments, "--out", str(path))
            for_both = arguments[0] in ("key", "week")
            helpers = tmp_path / f"x-helper.{ending}"
            assert lines == ([f"{path} written."] if for_both else [f"{path} written, for the pupil.",
                                                                     f"{helpers} written, for the helper."])
            assert path.stat().st_size > 100
            if not for_both:
                assert helpers.stat().st_size > path.stat().st_size
                helpers.unlink()
            code, lines, _ = run(monkeypatch, capsys, "sheet", *arguments, "--whole", "--out", str(path))
            assert lines == [f"{path} written."]
    _, lines, _ = run(monkeypatch, capsys, "sheet", "week", "Robin", "--diary", diary, "--on", "2026-09-07")
    assert lines[2].startswith("Monday 7: ")


def test_the_answers_are_on_the_helpers_sheet_alone(monkeypatch, capsys, tmp_path) -> None:  # type: ignore[no-untyped-def]
    for stage in ("2", "8", "13", "17"):
        for ending in ("txt", "html"):
            run(monkeypatch, capsys, "sheet", "drill", stage, "--out", str(tmp_path / f"d.{ending}"))
            pupils, helpers = (str((tmp_path / f"d{which}.{ending}").read_text()) for which in ("", "-helper"))
            assert "Answers" in helpers
            assert "Answers" not in pupils
            assert "sing or play" not in pupils
    _, lines, _ = run(monkeypatch, capsys, "sheet", "fingers", "3", "--out", str(tmp_path / "f.brf"))
    assert len(lines) == 2
    # C to G of the standard's table are the letters d to h; wide apart, on one line, after the stage's number.
    assert (tmp_path / "f.brf").read_text() == "#C  D   E   F   G   H\n"
    assert "F" in (tmp_path / "f-helper.brf").read_text()


def test_an_own_stage_is_checked_and_used(monkeypatch, capsys, tmp_path) -> None:  # type: ignore[no-untyped-def]
    text = (FOLDER / "03-f-g.toml").read_text(encoding="utf-8")
    path = tmp_path / "mine.toml"
    path.write_text(text.replace("number = 3", "number = 3.5").replace('name = "f-g"', 'name = "mine"').replace(
        'introduces = ["F", "G"]', "introduces = []"), encoding="utf-8")
    assert run(monkeypatch, capsys, "course", "--check", str(path))[1] == [
        "Stage 3.5: Two more cells: F and G is in order."]
    _, lines, _ = run(monkeypatch, capsys, "course", "--list", "--stages", str(tmp_path))
    assert len(lines) == 30
    untaught = text.replace("number = 3", "number = 2.5").replace('introduces = ["F", "G"]', 'introduces = ["F"]')
    (tmp_path / "more").mkdir()
    (tmp_path / "more" / "early.toml").write_text(untaught, encoding="utf-8")
    code, _, error = run(monkeypatch, capsys, "course", "--check", str(tmp_path / "more" / "early.toml"))
    assert code == 2
    assert "early.toml, line 5: the tune needs 'G'" in error
    path.write_text(path.read_text(encoding="utf-8").replace('kind = "name the cell"', 'kind = "guess"'),
                    encoding="utf-8")
    code, _, error = run(monkeypatch, capsys, "course", "--check", str(path))
    assert code == 2
    assert error.startswith(f"{path}, line ")
    assert "there is no drill 'guess'" in error


@pytest.mark.parametrize(("arguments", "say"), [
    (("course",), "Name a pupil"), (("course", "Nobody"), "no pupil Nobody"),
    (("course", "--stage", "99"), "no stage"),
    (("course", "--check", "/no/such"), "/no/such"), (("course", "--list", "--stages", "/no/such"), "/no/such"),
    (("course", "Robin", "--on", "yesterday"), "is no date"), (("drill", "guess"), "no drill"),
    (("drill", "name the cell", "--fact", "H"), "names no note"),
    (("drill", "name the cell", "--count", "0"), "count"),
    (("drill", "read and sing", "--tune", "no-such"), "no-such"),
    (("drill", "mark or no mark", "--tune", "tick-tock"), "nothing in this tune"),
    (("sheet", "stage"), "needs a number"), (("sheet", "tune"), "needs a tune"),
    (("sheet", "drill"), "needs a stage"), (("sheet", "fingers", "1"), "no cells"),
    (("sheet", "week", "Nobody"), "no pupil"), (("sheet", "stage", "2", "--out", "/no/such/x.brf"), "/no/such"),
    (("sheet", "stage", "2", "--out", "x.doc"), ".doc"), (("sheet", "poster"), "companion sheet tune snail-wall"),
])
def test_what_goes_wrong_is_one_sentence(monkeypatch, capsys, diary, arguments,
                                         say) -> None:  # type: ignore[no-untyped-def]
    if arguments[0] in ("course",) or "week" in arguments:
        arguments = (*arguments, "--diary", diary)
    code, lines, error = run(monkeypatch, capsys, *arguments)
    assert (code, lines) == (2, [])
    assert say in error
    assert "Traceback" not in error


def test_nothing_heavy_for_a_list_or_a_drill_of_cells() -> None:
    import subprocess
    import sys

    code = ("import sys, io; from companion.command import main; sys.stdin = io.StringIO('stop\\n');"
            "main(['course', '--list']); main(['drill', 'name the cell', '--fact', 'C', '--silent']);"
            "print([m for m in ('librosa', 'numba', 'scipy', 'music21', 'soundfile', 'fpdf', 'av') "
            "if m in sys.modules])")
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True,
                         cwd=Path(__file__).resolve().parents[2]).stdout
    assert out.splitlines()[-1] == "[]"
