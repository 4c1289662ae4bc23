"""The guide: what it says is printed is printed, in every form, and it promises no more than is true."""

from __future__ import annotations

import shlex
import shutil
from pathlib import Path

import html5lib
import pytest

from companion.braille import from_brf
from companion.command import COMMANDS, main
from companion.diary import default_path, default_settings
from companion.diary.copies import COPIES
from companion.language import English, Variety
from companion.lesson.keys import USUAL, help_lines
from companion.workbook import GuideMark, GuidePart, guide_html, guide_lines, guide_sheet

TAKE = Path(__file__).resolve().parents[2] / "recordings" / "snail-wall-one-move-turned.flac"
KEYS = {"space or enter", "w", "p or escape", "?", "q", "a", "s", "l"}
#: These open a session or a page; the tests of those hold them.
LIVE = ("companion page", "companion lesson", "companion practise")


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A reader's folder with the recording that the guide speaks of, and a diary of its own."""
    monkeypatch.setattr("platformdirs.user_data_dir", lambda *_, **_named: str(tmp_path / "data"))
    monkeypatch.chdir(tmp_path)
    shutil.copy(TAKE, "song.wav")
    return tmp_path


def typed_and_printed(part: GuidePart) -> list[tuple[str, list[str]]]:
    """Each line that is typed, with the lines that are said to be printed after it."""
    found: list[tuple[str, list[str]]] = []
    for line in guide_lines(part):
        if line.mark is GuideMark.TYPED:
            found.append((line.text, []))
        elif line.mark is GuideMark.PRINTED:
            found[-1][1].append(line.text)
    return found


@pytest.mark.parametrize("part", GuidePart)
def test_what_the_guide_says_is_printed_is_printed(part: GuidePart, home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert typed_and_printed(part)
    if part is GuidePart.PRIVACY:
        main(["diary", "Robin", "--new"])
    capsys.readouterr()
    for typed, printed in typed_and_printed(part):
        program, *arguments = shlex.split(typed)
        assert (program, arguments[0] in COMMANDS) == ("companion", True)
        if typed.startswith(LIVE):
            continue
        assert main(arguments) == 0, typed
        said = capsys.readouterr().out.replace(str(default_path()), "YOUR DATA FOLDER").splitlines()
        if printed and printed[-1] == "...":
            assert len(said) > len(printed) - 1, typed
            said = [*said[:len(printed) - 1], "..."]
        assert said == printed or not printed, typed


def test_the_live_commands_take_what_the_guide_types(monkeypatch: pytest.MonkeyPatch) -> None:
    begun: list[str] = []
    monkeypatch.setattr("companion.command.lesson.run_lesson", lambda *_: begun.append("lesson"))
    monkeypatch.setattr("companion.command.practise.run_practise", lambda *_, **_named: begun.append("practise"))
    monkeypatch.setattr("companion.page.run_page", lambda *_: begun.append("page"), raising=False)
    for part in GuidePart:
        for typed, _printed in typed_and_printed(part):
            if typed.startswith(LIVE):
                assert main(shlex.split(typed)[1:]) == 0
    assert set(begun) == {"lesson", "practise", "page"}


def test_the_keys_are_those_of_a_session() -> None:
    told = [line.text for part in (GuidePart.TEACHER, GuidePart.PUPIL) for line in guide_lines(part)
            if line.mark is GuideMark.ITEM and line.text.split(": ")[0] in KEYS]
    assert len(told) >= 9
    assert set(told) <= set(help_lines(English(), USUAL))


def test_numbers_that_the_guide_names_are_those_of_the_program() -> None:
    text = {part: " ".join(line.text for line in guide_lines(part)) for part in GuidePart}
    assert "after ten minutes if nobody has said otherwise and after twenty at most" in text[GuidePart.TEACHER]
    assert "for thirty days if nobody has set another time" in text[GuidePart.PRIVACY]
    assert "up to three copies" in text[GuidePart.PRIVACY]
    settings = default_settings()
    assert (settings["minutes"], settings["keep-sound-days"], COPIES) == (10, 30, 3)  # type: ignore[index]


@pytest.mark.parametrize("ending", ["txt", "html", "brf"])
def test_every_form_has_every_part(home: Path, ending: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["guide", "--out", f"guide.{ending}"]) == 0
    data = (home / f"guide.{ending}").read_bytes()
    if ending == "brf":
        lines = from_brf(data)
        assert max(map(len, lines)) <= 40
        assert len(lines) > 200
        return
    text = data.decode()
    for part in GuidePart:
        title = guide_sheet(English(), [part]).title
        assert title in text
    if ending == "html":
        html5lib.HTMLParser(strict=True).parse(text)
    else:
        assert "Type: companion hear song.wav --tune snail-wall --short\n" in text, "what is typed ends as it stands"
        assert max(len(line) for line in text.splitlines()) < 500


def test_a_part_as_html_for_a_page_that_has_its_own_title() -> None:
    body = guide_html(English(), GuidePart.PRIVACY)
    assert "<h1" not in body
    assert "<html" not in body
    assert body.count("<h2") == 7
    html5lib.HTMLParser(strict=True).parseFragment(body)


def test_an_american_guide_is_american(capsys: pytest.CaptureFixture[str]) -> None:
    assert guide_sheet(English(Variety.AMERICAN), [GuidePart.HELPER]) != guide_sheet(English(), [GuidePart.HELPER])
    assert main(["guide", "helper", "--american"]) == 0
    said = capsys.readouterr().out
    assert "98 centimeters" in said
    assert "companion practise Robin --helper\n" in said
