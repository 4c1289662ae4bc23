"""Nothing is English by accident: whole runs in a made-up language, in which every sentence and name stands in brackets.

What is left outside of brackets has to be data: titles, syllables, names of pupils, files and options. And American: no
sentence of the catalogue in which a British word of the trade stands is without an American one.
"""

from __future__ import annotations

import contextlib
import gettext
import html
import io
import json
import re
import sys
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from babel.messages.pofile import read_po
from live_room import PLAIN, Room, RoomSession, session, sung
from made_up_language import MadeUp, english, made_up, outside

from companion import messages
from companion.command import COMMANDS, main
from companion.course import stages
from companion.diary import Action, Diary, SessionKind
from companion.language import LANGUAGES, English, Variety
from companion.lesson.live import Echo, Lesson
from companion.lesson.practise import Practise, Set
from companion.lesson.voice_range import FindRange
from companion.places import shipped
from companion.tune import LineNote, load

RECORDINGS = shipped("recordings")
TURNED = RECORDINGS / "snail-wall-one-move-turned.flac"


def text_of(tune: str) -> str:
    """A shipped tune's name, title, syllables and whole words: data, in whatever language."""
    syllables = [(n.syllable, n.word_place in ("begin", "middle")) for n in load(tune).line()]
    whole = "".join(text + ("" if more else " ") for text, more in syllables)
    return " ".join([tune, load(tune).title, whole, *(text for text, _ in syllables)])


SNAIL = text_of("snail-wall")
Run = Callable[..., str]


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> Run:
    """A command in the made-up language: all that it has said and written as lines."""
    monkeypatch.setitem(LANGUAGES, Variety.BRITISH.value, made_up)
    # What is said before a language is chosen (help, a command that there is not) is said with these.
    monkeypatch.setattr(messages, "_active", made_up().translations)
    monkeypatch.chdir(tmp_path)

    def do(*arguments: object, typed: Sequence[str] = ()) -> str:
        monkeypatch.setattr(sys, "stdin", io.StringIO("".join(f"{line}\n" for line in typed)))
        with contextlib.suppress(SystemExit):
            main([str(a) for a in arguments])
        out, err = capsys.readouterr()
        return out + err

    return do


# --- the made-up language itself ---


def test_it_tells_words_from_data() -> None:
    language = made_up()
    assert language.message("From {first} to {second}.").format(first="snail", second=language.number(2)) == \
        "«From »snail« to »«two»."
    assert english("«From »snail« to »«two». Oops.", "Snail") == {"oops"}
    with pytest.raises(ValueError, match="never opened"):
        outside("cut»")
    # Every method that says something is wrapped.
    assert not {name for name in dir(English) if getattr(English, name) is getattr(MadeUp, name)
                and getattr(getattr(English, name), "__annotations__", {}).get("return") == "str"} - {"message", "plural"}


# --- commands ---

OPTIONS = re.compile(r"--?[a-z-]+|\b[A-Z]{2,}(?:[.=][A-Za-z]+)?\b|companion(?: [a-z]+)?")


@pytest.mark.parametrize("name", ["", *COMMANDS])
def test_help(run: Run, name: str) -> None:
    said = run(*([name] if name else []), "--help")
    assert "«" in said
    left = OPTIONS.sub("", outside(said))
    # Values of an option are typed as they stand; the first word of a line of the list is a command.
    assert english(left, " ".join(COMMANDS),
                   "cells ascii dots under after brf pef on off up down and mixed stage tune drill key week "
                   "de en es fr it la bars lines song none solfa top") == set()


@pytest.mark.parametrize("arguments", [
    ("hear",), ("hear", "x.wav"), ("hear", "x.wav", "--tune"), ("hear", "x.wav", "--tune", "mole", "--phrase", "two"),
    ("hear", "x.wav", "--tune", "mole", "--json=1"), ("hear", "x.wav", "y.wav", "--tune", "mole"),
    ("wall", "mole", "--shoulder", "high"), ("braille", "mole", "--as", "print"), ("haer",), ("hear", "x.wav", "--tune", "mole")])
def test_wrong_use(run: Run, arguments: tuple[str, ...]) -> None:
    said = run(*arguments)
    assert "«" in said
    left = OPTIONS.sub("", outside(said))
    assert english(left, " ".join(arguments), " ".join(COMMANDS), "cells ascii dots pef song wav snail wall") == set()


@pytest.mark.parametrize("take", ["one-move-turned", "right", "note-left-out", pytest.param("too-noisy", marks=pytest.mark.slow)])
@pytest.mark.parametrize("more", [(), ("--more",), ("--phrase", "1")], ids=str)
def test_hear(run: Run, take: str, more: tuple[str, ...]) -> None:
    said = run("hear", RECORDINGS / f"snail-wall-{take}.flac", "--tune", "snail-wall", *more)
    assert said.count("«") > 5
    assert english(said, SNAIL) == set()


def test_hear_json(run: Run) -> None:
    """What programs read is as it was; the sentence in it is the language's."""
    found = json.loads(run("hear", TURNED, "--tune", "snail-wall", "--json"))
    assert english(found["cue"], SNAIL) == set()
    assert {m["verdict"] for m in found["moves"]} == {"right", "not that way"}


def test_demo_and_review(run: Run, tmp_path: Path) -> None:
    assert english(run("demo", "--sound", tmp_path / "cue.wav"), SNAIL, str(tmp_path / "cue.wav")) == set()
    (tmp_path / "list.csv").write_text(f"take,tune\n{TURNED},snail-wall\n{RECORDINGS}/snail-wall-right.flac,snail-wall\n"
                                       "nothing.wav,snail-wall\n,snail-wall\n", encoding="utf-8")
    assert english(run("review", tmp_path / "list.csv", "--jobs", "1"), SNAIL, str(TURNED), str(RECORDINGS), "right nothing wav",
                   str(tmp_path)) == set()


def test_tunes(run: Run) -> None:
    said = run("tunes")
    assert said.count("«") > 50
    all_tunes = " ".join(text_of(path.stem) for path in shipped("exercises").glob("*.musicxml"))
    assert english(said, all_tunes) == set()


@pytest.mark.parametrize("tune", ["snail-wall", "lantern"])
def test_braille_line_and_wall(run: Run, tune: str, tmp_path: Path) -> None:
    text = text_of(tune)
    assert english(run("braille", tune, "--as", "dots"), text) == set()
    assert english(run("braille", tune, "--out", "a.brf"), "a.brf") == set()
    assert english(run("line", tune), text) == set()
    assert english(run("wall", tune, "--shoulder", "98"), text) == set()


def test_read(run: Run, tmp_path: Path) -> None:
    run("braille", "lantern", "--out", "a.brf")
    text = text_of("lantern")
    said = run("read", "a.brf")
    assert said.count("«") > 5
    assert english(said, text, "a.brf") == set()
    whole = (tmp_path / "a.brf").read_text(encoding="ascii")
    for at in (len(whole) // 3, len(whole) // 2, 2 * len(whole) // 3):
        (tmp_path / "b.brf").write_text(whole[:at] + whole[at + 1:], encoding="ascii")
        found = json.loads(run("read", "b.brf", "--json"))
        sung = " ".join(word for note in found["notes"] for word in note["words"] if word)  # some have lost a letter
        assert english(run("read", "b.brf"), text, sung, "b.brf") == set()
        for problem in found["problems"]:
            assert english(problem["say"], text, sung) == set()


def test_notate(run: Run) -> None:
    named = "snail-wall-right"  # a tune without a title goes by its file's name
    said = run("notate", RECORDINGS / "snail-wall-right.flac")
    assert said.count("«") > 5
    assert english(said, SNAIL, named) == set()
    said = run("notate", RECORDINGS / "snail-wall-right.flac", "--correct", typed=[
        "help", "bar 1 note 2 is a crotchet", "in three", "undo", "bar 2 note 1 is E", "nonsense", ""])
    assert english(said, SNAIL, named, "nonsense") == set()


@pytest.mark.parametrize("tune", ["snail-wall", "lantern"])
def test_exercises(run: Run, tune: str) -> None:
    text = text_of(tune)
    for more in ((), ("--answers",)):
        said = run("exercises", tune, *more)
        assert said.count("«") > 50
        assert english(said, text) == set()


TYPED = ("c", "higher", "the same", "1 4 5", "15", "d", "", "?", "e", "145", "up", "crotchet", "yes", "c d e", "nonsense", "help",
         "4", "minim", "sharp", "a", "key", "more", "tune", "+", "-", "skip")


@pytest.mark.parametrize("stage", [1, 4, 9, 14, 20])
def test_course(run: Run, stage: int) -> None:
    tunes = text_of(next(s.tune for s in stages() if s.number == stage))
    passed = [x for n in range(1, stage) for x in ("--pass", n)]
    diary = ("--diary", "d.sqlite", "--on", "2026-03-02")
    assert english(run("course", "Robin", "--new", *diary, *passed), tunes, "Robin") == set()
    quiet = ("--silent", "--speech", "off", "--as", "dots")
    said = run("course", "Robin", *diary, *quiet, typed=TYPED * 4)
    assert said.count("«") > 20
    typed_words = " ".join(TYPED)
    left = OPTIONS.sub("", outside(said))
    assert english(left, tunes, "Robin", typed_words) == set()
    assert english(OPTIONS.sub("", outside(run("course", "Robin", "--known", *diary))), tunes, "Robin") == set()
    assert english(OPTIONS.sub("", outside(run("course", "--stage", stage))), tunes, "Robin") == set()
    assert english(OPTIONS.sub("", outside(run("sheet", "stage", stage))), tunes, "Robin") == set()
    assert english(OPTIONS.sub("", outside(run("sheet", "week", "Robin", *diary))), tunes, "Robin") == set()


def test_course_lists(run: Run) -> None:
    assert english(run("course", "--list")) == set()
    assert english(run("course", "--words")) == set()


@pytest.mark.parametrize("kind", ["name the cell", "write the cell", "higher or lower", "say the octave", "how many beats",
                                  "find the wrong cell", "which bar", "write what you hear", "read and sing"])
def test_drill(run: Run, kind: str) -> None:
    text = text_of("lantern")
    said = run("drill", kind, "--tune", "lantern", "--seed", "4", "--silent", "--speech", "off", "--as", "dots", typed=TYPED)
    assert "«" in said
    assert english(OPTIONS.sub("", outside(said)), text, " ".join(TYPED)) == set()


def test_sheets(run: Run) -> None:
    assert english(run("sheet", "tune", "snail-wall"), SNAIL) == set()
    assert english(run("sheet", "drill", "9"), text_of(next(s.tune for s in stages() if s.number == 9))) == set()
    assert english(run("sheet", "key")) == set()


TAGS = re.compile(r"<style.*?</style>|<svg.*?</svg>|<[^>]*>", re.DOTALL)


@pytest.mark.parametrize("arguments", [
    ("sheet", "stage", "9"), ("sheet", "tune", "lantern"), ("sheet", "drill", "4"), ("sheet", "key"),
    ("wall", "lantern", "--shoulder", "98")], ids=" ".join)
def test_large_print(run: Run, arguments: tuple[str, ...], tmp_path: Path) -> None:
    there = {s.number: s.tune for s in stages()}
    tune = "lantern" if "lantern" in arguments else there[float(arguments[2])] if len(arguments) > 2 else ""
    said = run(*arguments, "--out", "a.html")
    assert english(said, "a.html") == set()
    page = html.unescape(TAGS.sub(" ", (tmp_path / "a.html").read_text(encoding="utf-8")))
    assert page.count("«") > 5
    assert english(OPTIONS.sub("", outside(page)), text_of(tune) if tune else "") == set()


def test_a_booklet(run: Run, tmp_path: Path) -> None:
    run("exercises", "lantern", "--out", "book")
    texts = sorted(tmp_path.glob("book*.txt")) + sorted(tmp_path.glob("book*.html"))
    assert len(texts) > 1
    for path in texts:
        page = html.unescape(TAGS.sub(" ", path.read_text(encoding="utf-8")))
        assert page.count("«") > 50
        assert english(OPTIONS.sub("", outside(page)), text_of("lantern")) == set()


def test_diary(run: Run) -> None:
    diary = ("--diary", "d.sqlite")
    said = run("diary", *diary)
    said += run("diary", "Robin", *diary, "--new", "--set", "snail-wall", "--range", "A3", "D5", "--consent", "Ada",
                "--until", "2099-01-01", "--setting", "rate=130", "--setting", "keys=f9:go", "--export", "robin.zip")
    for arguments in (("Robin",), (), ("Robin", "--settings"), ("Robin", "--setting", "nonsense=1"), ("Robin", "--withdraw"),
                      ("Robyn",), ("Robin", "--setting", "rate=5"), ("Robin", "--delete")):
        said += run("diary", *arguments, *diary)
    assert said.count("«") > 30
    left = OPTIONS.sub("", outside(said))
    data = ("speech rate variety loudness detail tempo minutes keys microphone loudspeaker keep sound days go on off wait "
            "course british short note names letters "
            "nonsense Robin Robyn Ada robin.zip sqlite snail wall Snail on the wall")
    assert english(left, data, str(Path.cwd())) == set()


# --- sessions, in time of sound ---


def said_in(here: RoomSession) -> str:
    return "\n".join(here.out.said)  # type: ignore[attr-defined]


@pytest.fixture
def room_session(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Callable[..., RoomSession]:
    monkeypatch.setitem(LANGUAGES, Variety.BRITISH.value, made_up)
    diary = Diary(tmp_path / "d.sqlite")
    pupil = diary.pupil("Pip", new=True)

    def make(kind: SessionKind, **settings: object) -> RoomSession:
        return session(Room(), kind=kind, diary=diary, pupil=pupil, **settings)

    return make


class Child:
    """Misses the first takes of seven and of five notes, and the third altogether."""

    def __init__(self) -> None:
        self.takes = 0

    def __call__(self, line: Sequence[LineNote], shift: float, quarter_s: float) -> np.ndarray | None:
        self.takes += 1
        if self.takes == 3:
            return None
        turned = min(3, len(line) - 2) if self.takes < 6 and len(line) > 3 else None
        return sung(line, shift, quarter_s, replace(PLAIN, turned=turned, turned_stays=True))


@pytest.mark.slow
def test_practise(room_session: Callable[..., RoomSession]) -> None:
    here = room_session(SessionKind.PRACTISE)
    here.pupil_sings = Child()
    Practise(here, lambda: [Set("snail-wall", load("snail-wall"))], 4, warm_up=True, helper=True).run()
    said = said_in(here)
    assert said.count("«") > 20
    assert english(said, SNAIL, "Pip") == set()


def test_lesson(room_session: Callable[..., RoomSession]) -> None:
    here = room_session(SessionKind.LESSON, detail="more")
    tune = load("snail-wall")
    takes: list[int] = []

    def pupil(line: Sequence[LineNote], shift: float, quarter_s: float) -> np.ndarray:
        takes.append(len(line))
        return sung(line, shift, quarter_s, replace(PLAIN, turned=3 if len(takes) == 1 else None, turned_stays=True))

    def on_say(text: str) -> None:
        # The last of what is said after a take, where the setting asks for more: then the first phrase once more.
        if text.startswith("«It is given") and len(here.taken) == 1:
            here.ears.put(sung(tune.phrase(1), here.shift, 60 / 76), 1.5)  # type: ignore[attr-defined]

    here.pupil_sings = pupil
    here.out.on_say = on_say  # type: ignore[attr-defined]
    lesson = Lesson(here, tune, "snail-wall")
    place = lesson.place()
    lesson.run()
    assert [t.kind for t in here.taken] == ["one to try", "all right", "all right"]
    for action in Action:
        here.serve(action, place)
    said = said_in(here)
    assert said.count("«") > 20
    assert english(said, SNAIL, " ".join(here.keys.bound)) == set()


@pytest.mark.slow
def test_a_lesson_without_a_tune_and_finding_the_range(room_session: Callable[..., RoomSession], tmp_path: Path) -> None:
    here = room_session(SessionKind.LESSON)
    echo = Echo(here, tmp_path / "lines")
    line = load("snail-wall").phrase(1)

    def on_say(text: str) -> None:
        if len(echo.lines) == 0:
            here.ears.put(sung(line, -5.0, 0.5), 0.8)  # type: ignore[attr-defined]
        elif not here.taken:
            here.ears.put(sung(echo.lines[-1].notes, 2.0, 0.5), 0.8)  # type: ignore[attr-defined]
        elif not echo.kept and text not in done:
            done.append(text)
            for key in ("w", "k", "q", "q"):
                here.keys.press(key)

    done: list[str] = []
    here.out.on_say = on_say  # type: ignore[attr-defined]
    echo.run()
    assert echo.kept
    assert english(said_in(here), "Pip") == set()
    there = room_session(SessionKind.PRACTISE)
    there.pupil_sings = lambda line, shift, quarter_s: (
        sung(line, shift, quarter_s) if all(58 <= n.midi <= 72 for n in line) else None)
    FindRange(there).run()
    assert english(said_in(there)) == set()


# --- American ---

#: Words that one side uses and the other does not (common usage), where they are no part of another word or term.
BRITISH = re.compile(r"(?<!double )(?<!final )(?<!wall )\b(?:semibreve|minim|crotchet|quaver|semiquaver|bar|semitone|"
                     r"centimetre)s?\b(?! lines?\b)", re.IGNORECASE)


def test_every_sentence_with_a_british_word_has_an_american_one() -> None:
    folder = Path(sys.modules["companion.language"].__file__ or "").parent / "locale"
    with (folder / "companion.pot").open("rb") as file:
        template = read_po(file)
    american = English(Variety.AMERICAN)
    checked = 0
    for message in template:
        forms = message.id if isinstance(message.id, tuple) else (message.id,)
        for text, n in zip(forms, (1, 2), strict=False):
            plain = re.sub(r"\{[^{}]*\}|\"[^\"]*\"|companion practise|--practise", "", text)
            if BRITISH.search(plain):
                checked += 1
                said = american.plural(forms[0], forms[1], n) if len(forms) > 1 else american.message(text)
                said = re.sub(r"\{[^{}]*\}|\"[^\"]*\"|companion practise|--practise", "", said)
                assert not BRITISH.search(said), f"{text!r} is {said!r}"
    assert checked > 100
    assert isinstance(american.translations, gettext.GNUTranslations)
