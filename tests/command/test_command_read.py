"""`companion read`: what is no braille is told as such."""

import json
from pathlib import Path

import pytest

from companion.command import main
from companion.places import shipped


@pytest.mark.parametrize("path, kind", [
    (shipped("recordings") / "snail-wall-right.flac", "a sound"),
    (shipped("exercises") / "kite.musicxml", "MusicXML")], ids=["flac", "musicxml"])
def test_another_kind_of_file_is_no_braille(path: Path, kind: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["read", str(path)]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert kind in err
    assert err.count("\n") == 1


def test_part_of_a_page_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One bar, or all from one on, with what is amiss in them alone; a bar that is not there is named."""
    page = tmp_path / "page.txt"
    page.write_text("⠀⠀⠀⠀⠀⠀⠀⠀⠀⠀⠼⠙⠲\n⠐⠹⠱⠫⠻⠀⠗⠫⠀⠗⠏⠀⠳⠫⠱⠀⠝⠕⠣⠅\n", encoding="utf-8")
    assert main(["read", str(page), "--bar", "2"]) == 0
    assert capsys.readouterr().out.splitlines() == [
        "Bar 2: G, fourth octave, minim; E, fourth octave, crotchet.", "1 thing to look at:",
        "Line 2, cell 7: Bar 2 has 3 beats; 4 are wanted."]
    assert main(["read", str(page), "--from", "4"]) == 0
    out = capsys.readouterr().out.splitlines()
    assert [line.split(":")[0] for line in out] == ["Bar 4", "Bar 5", "1 thing to look at", "Line 2, cell 13"]
    assert main(["read", str(page), "--bar", "3", "--json"]) == 0
    made = json.loads(capsys.readouterr().out)
    assert [n["name"] for n in made["notes"]] == ["G4", "E4"]
    assert made["problems"] == []
    assert main(["read", str(page), "--bar", "9"]) == 2
    assert capsys.readouterr().err == "There is no bar 9; give a number from 1 to 5.\n"
