"""A second language is one file and one catalogue: tried in a process of its own, with German for a few words."""

from __future__ import annotations

import io
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo

from companion.errors import Trouble
from companion.language import choose_language

ROOT = Path(__file__).resolve().parents[2]
GERMAN = '''
"""German: the names of notes and numbers; a test's, with what is needed for one answer."""
import gettext
from companion import messages
from companion.language.english import English

class German(English):
    def __init__(self):
        super().__init__()
        self.code, self.voice = "de", "gmw/de"
        self.translations = gettext.translation("companion", messages.LOCALE, ["de"])
    def number(self, n):
        return ("null", "eins", "zwei", "drei", "vier", "fünf", "sechs", "sieben", "acht", "neun", "zehn", "elf",
                "zwölf", "dreizehn")[n] if n < 14 else str(n)

def language():
    return German()
'''


@pytest.mark.slow
def test_a_language_is_one_file_and_one_catalogue(tmp_path: Path) -> None:
    for folder in ("companion", "exercises", "recordings"):
        shutil.copytree(ROOT / folder, tmp_path / folder, ignore=shutil.ignore_patterns("__pycache__"))
    (tmp_path / "companion" / "language" / "de.py").write_text(GERMAN, encoding="utf-8")
    place = tmp_path / "companion" / "language" / "locale" / "de" / "LC_MESSAGES"
    place.mkdir(parents=True)
    catalog = Catalog(locale="de")
    catalog.add("All {n} right.", "Alle {n} richtig.")
    catalog.add("There is no file {path}. Check its name and folder.", "Es gibt keine Datei {path}.")
    stream = io.BytesIO()
    write_mo(stream, catalog)
    (place / "companion.mo").write_bytes(stream.getvalue())

    def run(*words: str) -> str:
        done = subprocess.run([sys.executable, "-m", "companion", *words], cwd=tmp_path, capture_output=True, text=True,
                              env={"COMPANION_LANGUAGE": "de", "PYTHONPATH": str(tmp_path), "PATH": "",
                                   "HOME": str(tmp_path)}, encoding="utf-8")
        return done.stdout + done.stderr

    take = tmp_path / "recordings" / "snail-wall-right.flac"
    assert run("hear", str(take), "--tune", "snail-wall").splitlines()[0] == "Alle dreizehn richtig."
    assert run("hear", "gone.wav", "--tune", "snail-wall").strip() == "Es gibt keine Datei gone.wav."
    assert "variety" in run("diary", "Robin", "--new", "--setting", "variety=de", "--diary", str(tmp_path / "d"))


def test_a_language_that_is_not_there_is_one_sentence() -> None:
    with pytest.raises(Trouble, match=r"There is no language klingon\. There are british, american"):
        choose_language("klingon")
