"""`companion read`: what is no braille is told as such."""

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
