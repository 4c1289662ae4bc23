"""What can be done on the page without a browser's help: each answer is that of the command of the same job."""

from __future__ import annotations

import asyncio
import errno
import json
import os
import re
import subprocess
import sys
from html import unescape
from pathlib import Path
from typing import Any

import pytest

from companion.braille import decode
from companion.course import QuestionKind, Way
from companion.diary import Diary, SettingName
from companion.errors import Trouble
from companion.language import choose_language, kind_name, say_problem, task_line
from companion.lesson import answer_lines, answer_take
from companion.page import frame
from companion.page.kept import Tunes
from companion.page.live import Live, read_greeting
from companion.places import shipped
from companion.tune import load

TAKE = shipped("recordings") / "snail-wall-one-move-turned.flac"
PLACES = ("/", "/sing", "/lesson", "/practise", "/range", "/level", "/read", "/hear", "/score", "/course", "/course/aloud",
          "/course/questions", "/review",
          "/course/stage/2", "/course/words", "/diary", "/tunes", "/tunes/snail-wall", "/papers", "/guide", "/guide/teacher",
          "/guide/privacy", "/nowhere")


#: The seven notes as quavers (New International Manual of Braille Music Notation, table 2), in Unicode.
NOTES = dict(zip("⠙⠑⠋⠛⠓⠊⠚", "CDEFGAB", strict=True))


def text_of(found: Any) -> str:
    """A page as plain text."""
    return unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", found.text)))


@pytest.mark.parametrize("place", PLACES)
def test_every_page_is_valid_html_with_one_heading_and_its_title_first(page: Any, place: str) -> None:
    found = page.get(place)
    assert found.status_code == (404 if place == "/nowhere" else 200), text_of(found)
    checked(page, found)


def test_pages_that_come_after_something_was_done_are_valid_too(page: Any) -> None:
    """A pupil, a question before deletion, braille read back, a sitting, an answer, a sheet, a problem."""
    checked(page, page.post("/diary/new", pupil="Robin"))
    checked(page, page.post("/diary/delete", pupil="Robin"))
    checked(page, page.post("/read", cells="⠐⠹⠱⠫⠬ ⠻⠣"))
    checked(page, page.post("/course/begin", pupil="Robin"))
    checked(page, page.post("/course/drill", kind="name the cell", stage="2"))
    checked(page, page.done(page.post("/demo")))
    checked(page, page.done(page.post("/papers/sheet", what="key", stage="2")))
    checked(page, page.post("/papers/wall", tune="tick-tock", shoulder="high"))
    checked(page, page.get("/"))


def test_every_kind_of_question_and_way_of_learning_has_its_words() -> None:
    """A kind that is added without them would break the pages of the course and of the sheets."""
    english = choose_language("british")
    assert len({kind_name(english, kind) for kind in QuestionKind}) == len(QuestionKind)
    assert len({task_line(english, way) for way in Way}) == len(Way)


def checked(page: Any, found: Any) -> None:
    """Valid HTML, one heading which begins the title, landmarks, names that are there once, tokens, labels."""
    html5lib = pytest.importorskip("html5lib")
    assert len(found.content) < 60_000
    parser = html5lib.HTMLParser(namespaceHTMLElements=False)
    tree = parser.parse(found.text)
    assert parser.errors == []
    heading, = tree.iter("h1")
    assert tree.find("head/title").text == f"{heading.text}, companion"
    assert [e.tag for e in tree.find("body") if e.tag in ("header", "main", "footer")][-2:] == ["main", "footer"]
    ids = [e.get("id") for e in tree.iter() if e.get("id")]
    assert len(ids) == len(set(ids))
    for form in tree.iter("form"):
        if form.get("method") == "post":
            assert [e.get("value") for e in form.iter("input") if e.get("name") == "token"] == [page.state.token]
    for field in [e for name in ("input", "select", "textarea") for e in tree.iter(name) if e.get("type") != "hidden"]:
        assert any(label.get("for") == field.get("id") for label in tree.iter("label")), field.get("name")


def test_the_first_page_with_all_that_it_loads_is_under_60_kb(page: Any) -> None:
    found = page.get("/")
    parts = re.findall(r'(?:href|src)="(/static/[^"]+)"', found.text)
    assert len(parts) >= 4
    assert len(found.content) + sum(len(page.get(part).content) for part in parts) < 60_000


def test_nothing_heavy_is_loaded_before_the_first_page() -> None:
    code = ("import sys, warnings; warnings.simplefilter('ignore'); from starlette.testclient import TestClient;"
            "from companion.page.app import make_app; from companion.page.frame import State;"
            "from companion.language import choose_language; here = 'http://127.0.0.1:1';"
            "state = State(choose_language('british'), 1); client = TestClient(make_app(state), base_url=here);"
            "assert client.get('/').status_code == 403;"
            "client.get('/open/' + state.keys.lasting); found = client.get('/');"
            "assert found.status_code == 200 and 'What shall we do?' in found.text;"
            "print(sorted({'librosa', 'numba', 'scipy', 'music21', 'av', 'soundfile', 'sklearn'} & set(sys.modules)))")
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "[]"


def test_a_recording_is_answered_as_the_command_answers_it(page: Any) -> None:
    found = page.done(page.post("/hear", tune="snail-wall", files={"take": ("any name.flac", TAKE.read_bytes())}))
    expected = answer_take(TAKE, "snail-wall")
    english = choose_language("british")
    said = text_of(found)
    assert "<h1>What was heard</h1>" in found.text
    assert f"What was heard: {expected.cue(english)}" in text_of(page.get("/")), "what was left is found again"
    for line in answer_lines(english, expected):
        assert line in said
    told = page.get(str(found.url) + "/json").json()
    assert {**told, "take": ""} == {**json.loads(json.dumps(expected.as_json(english))), "take": ""}
    assert "The tune climbs here" in said
    assert 'role="img"' in found.text
    assert "A ring marks where the voice went another way." in said
    assert page.get(str(found.url) + "/sound/cue.wav").content[:4] == b"RIFF"


def test_a_recording_is_kept_where_a_pupil_is_named(page: Any, tmp_path: Path) -> None:
    key = page.state.tunes.keep(load("snail-wall"), "Snail")
    sent = {"take": ("take.flac", TAKE.read_bytes())}
    assert "The diary has no pupil Robin." in text_of(page.post("/hear", tune=key, pupil="Robin", files=sent))
    page.post("/diary/new", pupil="Robin")
    for says in ("Kept in Robin's diary.", "It was in Robin's diary already."):
        assert says in text_of(page.done(page.post("/hear", tune=key, pupil="robin", files=sent)))
    with Diary(page.state.diary) as there:
        take, = there.takes(there.pupil("Robin"))
        assert take.tune == str(tmp_path / "tunes" / "Snail.musicxml"), "a tune that was sent is kept with it"
        assert "robin" not in str(page.get("/").url).lower()


def test_one_phrase_and_many_recordings_are_answered_as_the_commands_answer_them(page: Any) -> None:
    """The second of the files is no sound: it is named by its own name, and the rest go on, as with `companion review`."""
    english = choose_language("british")
    sent = {"first one.flac": TAKE.read_bytes(), "notes.wav": b"RIFF" + b"0" * 999}
    files = [("take", named) for named in sent.items()]
    found = page.done(page.post("/review", tune="snail-wall", phrase="2", files=files))
    lines = page.get(str(found.url) + "/file/review.jsonl").text.splitlines()
    assert [json.loads(line)["take"] for line in lines] == ["first one.flac", "notes.wav"]
    expected = answer_take(TAKE, "snail-wall", 2)
    assert {**json.loads(lines[0]), "take": "", "tune": ""} == {
        **json.loads(json.dumps(expected.as_json(english))), "take": "", "tune": ""}
    assert "notes.wav: " in text_of(found)
    assert "companion-" not in text_of(found)
    for wrong in ({"phrase": "many"}, {"phrase": "0"}, {"verse": "-1"}):
        assert page.post("/hear", tune="snail-wall", files={"take": ("a.flac", b"x")}, **wrong).status_code == 400


def test_a_score_is_written_mended_taken_back_and_fetched(page: Any) -> None:
    found = page.done(page.post("/score", title="My line", files=[("take", ("a.flac", TAKE.read_bytes()))] * 2))
    assert "My line: " in text_of(found)
    first = text_of(found)
    mended = page.post(f"/work/{str(found.url).rpartition('/')[2]}/mend", correction="bar 1 note 1 is G")
    assert "Bar 1, note 1 is G now." in text_of(mended)
    wrong = page.post(f"/work/{str(found.url).rpartition('/')[2]}/mend", correction="make it nicer")
    assert 'class="cue"' in wrong.text
    back = page.post(f"/work/{str(found.url).rpartition('/')[2]}/mend", undo="yes")
    assert "The last correction is taken back." in text_of(back)
    assert text_of(back).partition("In full")[2] == first.partition("In full")[2]
    for form, begins in (("musicxml", b"<?xml"), ("pef", b"<?xml"), ("mid", b"MThd"), ("wav", b"RIFF")):
        assert page.get(f"{found.url}/score.{form}").content.startswith(begins)
    for _unused in range(3):  # at most three questions, each with answers to be pressed
        now = page.get(found.url)
        answers = re.findall(r'name="answer" value="([^"]+)"', now.text)
        if not answers:
            break
        assert "?" in text_of(now).partition("A question by ear")[2]
        assert "Read again with that." in text_of(page.post(f"{found.url}/settle", answer=answers[0]))
    assert "A question by ear" not in text_of(page.get(found.url))
    kept = page.post(f"/work/{str(found.url).rpartition('/')[2]}/keep")
    assert "<h1>My line</h1>" in kept.text
    assert "My line" in text_of(page.get("/sing"))


def test_braille_is_read_sign_by_sign_and_what_is_amiss_leads_to_its_place(page: Any) -> None:
    found = page.post("/read", cells="⠐⠹⠱⠫⠬ ⠻⠣")
    stops = re.findall(r'class="stop" id="([^"]+)".*?<span class="hidden">([^<]+)</span>', found.text)
    assert stops[1] == ("at-1-2", "C, crotchet: dots 1 4 5 6")
    places = re.findall(r'<li><a href="#(at-[^"]+)">', found.text)
    assert len(places) == 2
    assert set(places) <= {place for place, _says in stops}
    said = text_of(found)
    for problem in decode(["⠐⠹⠱⠫⠬ ⠻⠣"]).problems:
        assert said.count(say_problem(choose_language("british"), problem)) == 1, "said once"
    assert "Nothing amiss was found." in text_of(page.post("/read", cells="⠐⠹⠱⠫⠻"))
    hinted = page.post("/read", cells="⠐⠹⠐⠱⠐⠫⠐⠻")
    odd = [say_problem(choose_language("british"), hint) for hint in decode(["⠐⠹⠐⠱⠐⠫⠐⠻"]).hints]
    assert len(odd) > 0
    assert all(line in text_of(hinted).partition("Perhaps right as it is")[2].partition("Sign by sign")[0] for line in odd)
    assert "no note in it" in text_of(page.post("/read/keep", cells="⠼"))
    tune = page.post("/read/keep", cells="⠐⠹⠱⠫⠻")
    assert "/tunes/" in str(tune.url)
    assert "Move by move: up, up, up." in text_of(tune)


def test_braille_ascii_and_dots_are_read_too(page: Any) -> None:
    for typed in ('"?:$]', "5-1456-156-1246-12456"):
        notes = "; ".join(f"{name}, fourth octave, crotchet" for name in "CDEF")
        assert f"Bar 1: {notes}." in text_of(page.post("/read", cells=typed))


def test_a_pupil_from_the_first_page_to_deletion(page: Any, tmp_path: Path) -> None:
    assert "Robin has a page." in text_of(page.post("/diary/new", pupil="Robin"))
    said = text_of(page.post("/diary/change", pupil="Robin", set="snail-wall", days="5"))
    assert "Snail on the wall" in said
    assert "minutes is 8 for Robin." in text_of(page.post("/diary/change", pupil="Robin", **{"setting-minutes": "8"}))
    assert page.post("/diary/change", pupil="Robin", **{"setting-minutes": "90"}).status_code == 400
    changed = page.post("/diary/change", pupil="Robin", low="A3", high="D5")
    assert re.search(r'id="low"[^>]* value="A3"', changed.text)
    assert re.search(r'id="setting-minutes"[^>]* value="8"', changed.text)
    asked = page.post("/course/begin", pupil="Robim")
    assert "Did you mean Robin?" in text_of(asked)
    assert "--" not in text_of(asked)
    assert "Robim" not in text_of(page.get("/diary"))
    given = page.post("/diary/change", pupil="Robin", consent="Her mother", until="2099-12-31")
    assert "End the consent and delete the sound" in text_of(given)
    assert "Who allows it" in text_of(page.post("/diary/change", pupil="Robin", withdraw="yes"))
    assert page.post("/diary/export", pupil="Robin").content[:2] == b"PK"
    week = page.done(page.post("/papers/sheet", what="week", pupil="Robin"))
    assert "Robin" in text_of(week)
    asked = page.post("/diary/delete", pupil="Robin")
    assert "Delete Robin for good?" in text_of(asked)
    assert "Robin" in text_of(page.get("/diary"))
    beyond = "What was handed over, printed or written to other files is not reached, nor are backups"
    assert beyond in text_of(asked)
    done = text_of(page.post("/diary/delete", pupil="Robin", sure="yes"))
    assert "Robin is deleted for good." in done
    assert beyond in done
    assert "Robin" not in text_of(page.get("/diary"))
    assert b"Robin" not in b"".join(path.read_bytes() for path in tmp_path.iterdir())
    assert page.get(week.url).status_code == 404, "a sheet about the pupil is gone too"


def test_a_score_with_several_parts_asks_which_and_takes_its_number(page: Any) -> None:
    parts = "".join(
        f'<part id="P{k}"><measure number="1"><attributes><divisions>1</divisions><time><beats>2</beats><beat-type>4</beat-type>'
        f"</time></attributes>" + f"<note><pitch><step>{step}</step><octave>4</octave></pitch><duration>1</duration></note>" * 2
        + "</measure></part>" for k, step in ((1, "C"), (2, "E")))
    music = ('<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>High</part-name></score-part>'
             f'<score-part id="P2"><part-name>Low</part-name></score-part></part-list>{parts}</score-partwise>').encode()
    asked = page.post("/tunes", files={"file": ("duet.musicxml", music)})
    assert asked.status_code == 400
    assert "duet.musicxml has 2 parts" in text_of(asked)
    assert "Say which part is wanted" in text_of(asked)
    assert "Move by move: level." in text_of(page.post("/tunes", part="2", files={"file": ("duet.musicxml", music)}))


def test_a_tune_of_ones_own_can_be_set_for_the_week_and_outlasts_the_program(page: Any, tmp_path: Path) -> None:
    """It is kept as a file beside the diary; set twice it is kept once."""
    page.post("/diary/new", pupil="Robin")
    key = str(page.post("/read/keep", cells="⠐⠹⠱⠫⠻").url).rpartition("/")[2]
    for _unused in range(2):
        assert page.post("/diary/change", pupil="Robin", set=key, days="5").status_code == 200
    kept, = (tmp_path / "tunes").iterdir()
    with Diary(tmp_path / "diary.db") as diary:
        assert {work.tune for work in diary.work(diary.pupil("Robin"))} == {str(kept)}
    assert [n.pitch.name for n in load(kept).line()] == ["C4", "D4", "E4", "F4"]


def test_a_tune_of_ones_own_that_is_sung_under_a_nickname_outlasts_the_program(page: Any, tmp_path: Path,
                                                                               monkeypatch: pytest.MonkeyPatch) -> None:
    """Its name stands in the diary, with each take and with what is set for home in the midst of a session."""
    key = page.state.tunes.keep(load("kite"), "Kite")

    def tune_of(name: str) -> str:
        greeting = read_greeting(page.state, json.dumps({"token": page.state.token, "kind": "sing", "tune": name, "rate": 44100,
                                                         "pupil": "Robin"}))
        return Live(page.state, greeting, asyncio.new_event_loop())._tune(greeting)

    assert tune_of("kite") == "kite"
    assert [tune_of(key), tune_of(key)] == [str(tmp_path / "tunes" / "Kite.musicxml")] * 2
    assert load(tmp_path / "tunes" / "Kite.musicxml").line() == load("kite").line()

    def full(*_: object, **_named: object) -> None:
        raise Trouble("The disk is full. Make room.")

    monkeypatch.setattr(frame, "write_whole", full)
    other = page.state.tunes.keep(load("mole"), "Mole")
    assert tune_of(other) == page.state.tunes.place(other), "a child waits: the session begins all the same"


@pytest.mark.parametrize("step", ["tempfile.TemporaryDirectory", "tempfile.mkstemp", "os.open"])
def test_a_full_disk_is_said_in_one_sentence_and_nothing_is_lost(page: Any, monkeypatch: pytest.MonkeyPatch, step: str) -> None:
    """Uploads, what is kept and what is made: the disk, or its inodes, are used up (ENOSPC: POSIX, open)."""
    page.post("/diary/new", pupil="Robin")
    page.post("/diary/change", pupil="Robin", **{"setting-rate": "130"})
    key = page.state.tunes.keep(load("kite"), "Kite")
    earlier = page.state.tunes  # whose folder stays; another is made anew
    page.state.tunes = Tunes(earlier._sent)
    score = (shipped("exercises") / "kite.musicxml").read_bytes()

    def full(*_: object, **_named: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patch:
        patch.setattr(step, full)
        for path, fields, files in (
                ("/tunes", {}, {"file": ("k.musicxml", score)}), ("/read/keep", {"cells": "⠐⠹⠱⠫⠻"}, None),
                ("/diary/export", {"pupil": "Robin"}, None), ("/diary/change", {"pupil": "Robin", "set": key}, None)):
            found = page.post(path, files=files, **fields)
            said = text_of(found)
            assert (found.status_code, "no space left on device" in said) == (400, True) or found.status_code == 200, (path, said)
            assert "fault" not in said, path
    with Diary(page.state.diary) as there:
        robin = there.pupil("Robin")
        assert there.settings(robin)[SettingName.RATE] == 130
        assert there.integrity() == [("ok",)]
    assert page.get("/").status_code == 200
    assert page.post("/tunes", files={"file": ("k.musicxml", score)}).status_code == 200


def test_a_drill_and_a_sitting_are_answered_by_typing(page: Any) -> None:
    asked = page.post("/course/drill", kind="name the cell", stage="2", count="2")
    assert "Which note is this?" in text_of(asked)
    shown = re.search(r'<span class="hidden">(.)</span>', asked.text)
    assert shown is not None
    name = NOTES[shown[1]]
    assert "dot" not in text_of(asked).partition("Tell me the dots")[0].partition("Six keys")[0]
    told = page.post("/course/answer", answer=re.search(r'value="([^"]+)">Tell me the dots', asked.text)[1])
    assert re.search(r"[Dd]ots? \d", text_of(told).partition("Six keys")[0])
    right = page.post("/course/answer", answer=name)
    assert "Right" in text_of(right) or "Yes" in text_of(right), text_of(right)
    assert "ended" in text_of(page.post("/course/answer", stop="yes"))
    begun = page.post("/course/begin", pupil="Robin")
    assert "Stage 1" in text_of(begun)
    assert "<audio" in begun.text
    assert page.get(re.search(r'/sound/[^"]+', begun.text)[0]).content[:4] == b"RIFF"
    assert "ended" in text_of(page.post("/course/answer", stop="yes"))
    assert "Stage 1" in text_of(page.post("/course/judge", pupil="Robin", what="pass", stage="1"))
    assert page.post("/course/judge", pupil="Robin", what="begin-again").status_code == 400
    assert page.post("/course/judge", pupil="Robin", what="begin-again", sure="yes").status_code == 200


@pytest.mark.parametrize(("path", "fields", "files"), [
    ("/papers/sheet", {"what": "stage", "stage": "2"},
     {f"{name}.{ending}" for name in ("sheet", "sheet-helper") for ending in ("brf", "pef", "html", "pdf", "txt")}),
    ("/papers/sheet", {"what": "key", "stage": "3"}, {"sheet.brf", "sheet.pef", "sheet.html", "sheet.pdf", "sheet.txt"}),
    ("/papers/line", {"tune": "tick-tock"}, {"finger-line.pdf", "finger-line.brf", "finger-line.pef", "finger-line.txt"}),
    ("/papers/wall", {"tune": "tick-tock", "shoulder": "98"},
     {"wall-card.html", "wall-card.pdf", "wall-card.brf", "wall-card.pef"}),
    ("/papers/exercises", {"tune": "tick-tock", "level": "1"},
     {"exercises.brf", "exercises.pef", "exercises-answers.pef", "exercises-answers.html"})])
def test_paper_is_made_read_here_and_fetched(page: Any, path: str, fields: dict[str, str], files: set[str]) -> None:
    found = page.done(page.post(path, **fields))
    names = set(re.findall(r'/file/([^"]+)"', found.text))
    assert files <= names, text_of(found)[:400]
    for name in files:
        kept = page.get(f"{found.url}/file/{name}")
        assert len(kept.content) > 50
        assert kept.headers["content-disposition"].startswith("attachment")
        if name.endswith(".pef"):
            assert kept.headers["content-type"] == "application/x-pef+xml"
            assert b'xmlns="http://www.daisy.org/ns/2008/pef"' in kept.content
    if "sheet-helper.txt" in names:  # what is for the helper alone is not under the pupil's hands
        pupils, helpers = (page.get(f"{found.url}/file/{name}.txt").text for name in ("sheet", "sheet-helper"))
        assert len(pupils) < len(helpers)
        assert set(pupils.splitlines()) < set(helpers.splitlines())
    assert len(text_of(found).partition("In full")[2]) > 100


def test_a_job_that_is_gone_is_said_in_one_sentence(page: Any) -> None:
    assert "There is no such page here." in text_of(page.get("/work/nothing"))


def test_american_words_everywhere() -> None:
    import warnings

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from starlette.testclient import TestClient
    from companion.page.app import make_app
    from companion.page.frame import State

    here = "http://127.0.0.1:8017"
    state = State(choose_language("american"), 8017)
    client = TestClient(make_app(state), base_url=here, headers={"origin": here})
    client.get(f"/open/{state.keys.lasting}")
    found = client.post("/read", data={"token": state.token, "cells": "⠐⠹⠱⠫⠻"})
    assert 'lang="en-US"' in found.text
    assert "Measure by measure" in text_of(found)
    assert "C, quarter note" in text_of(found)
    assert "crotchet" not in text_of(found)


def test_the_guide_and_what_is_kept_are_a_link_from_every_page(page: Any) -> None:
    from companion.workbook import GuidePart, guide_sheet

    foot = page.get("/course").text.partition("<footer>")[2]
    assert {"/guide", "/guide/privacy"} <= set(re.findall(r'href="([^"]+)"', foot))
    listed = text_of(page.get("/guide"))
    for part in GuidePart:
        title = guide_sheet(choose_language("british"), [part]).title
        assert title in listed
        assert f"<h1>{title}</h1>" in unescape(page.get(f"/guide/{part}").text)
    assert "No recording is kept unless someone responsible for the child has said so." in text_of(page.get("/guide/privacy"))
    assert page.get("/guide/nothing").status_code == 404


def test_a_sitting_says_how_its_questions_begin_and_then_how_they_are_answered(page: Any) -> None:
    """Before the first question nothing can be left unknown; an empty answer begins, as Enter does in the terminal."""
    begun = page.post("/course/begin", pupil="Robin")
    checked(page, begun)
    assert "Begin the questions" in text_of(begun)
    assert "I do not know" not in text_of(begun)
    asked = page.post("/course/answer", answer="")
    checked(page, asked)
    assert "I do not know" in text_of(asked)
    assert "Begin the questions" not in text_of(asked)
