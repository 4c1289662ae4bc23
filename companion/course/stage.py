"""Stages: read from TOML files, checked, and put in order. The form is described in stages/README.md.

The texts of a stage are data: `companion.language.course` looks each up in the catalogue, and then fills its places.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from functools import cache
from pathlib import Path
from typing import Any

from companion.braille import signs as S
from companion.course.drill import BY_EAR_ALONE, USUAL_COUNT, Drill, Order, QuestionKind, Way
from companion.course.facts import QUAVER, SIGNS, VALUE_NAMES, fact, letter_of, note_name, real
from companion.course.tune_material import LEAVE_OUT, Material, material
from companion.errors import Trouble
from companion.limits import run_limited
from companion.messages import _
from companion.places import decoded, read_named
from companion.tune import Tune, shipped_names

FOLDER = Path(__file__).parent / "stages"
MOST_WORDS = 120  # the adult's part: read aloud in under a minute
SENTENCES = 5  # and no more than this
MOST_IN_DRILL = 40  # questions
_KEYS = {"number", "name", "title", "aim", "introduces", "tune", "by_ear", "leave_out", "unseen", "need", "adult",
         "pupil", "term", "drill", "known", "trouble"}
_TABLES = {"term": {"word", "means"}, "drill": {"kind", "facts", "order", "count"},
           "known": {"way", "right", "of", "days"}, "trouble": {"sign", "do"}}


@dataclass(frozen=True)
class Evidence:
    """What shows that a stage is known: `right` of the last `of` answers of one way, on `days` days at least."""

    way: Way
    right: int
    of: int
    days: int


@dataclass(frozen=True)
class Term:
    """A word of the trade and what it means, in the stage where it is first used."""

    word: str
    means: str


@dataclass(frozen=True)
class HelpWith:
    """What usually goes wrong: how it shows, and what to do."""

    sign: str
    do: str


@dataclass(frozen=True)
class Stage:
    """One small part of the course. Texts are as they stand in the file, with places in curly brackets (`Place`)."""

    number: float
    name: str
    title: str
    aim: str
    introduces: tuple[str, ...]
    tune: str
    by_ear: bool
    leave_out: frozenset[str]
    unseen: bool
    need: tuple[str, ...]
    adult: tuple[str, ...]
    pupil: tuple[str, ...]
    terms: tuple[Term, ...]
    drills: tuple[Drill, ...]
    known: tuple[Evidence, ...]
    troubles: tuple[HelpWith, ...]
    path: str = field(default="", compare=False)

    @property
    def material(self) -> Material:
        """Its tune as it is shown."""
        return _material(self.tune, self.leave_out)

    def facts_of(self, kind: QuestionKind) -> tuple[str, ...]:
        """The facts that its first drill of a kind names; none for a kind that it lacks."""
        return next((d.facts for d in self.drills if d.kind is kind), ())

    @property
    def key(self) -> str:
        """Its number as the diary has it: "2", "4.5"."""
        return f"{self.number:g}"


@cache
def _material(tune: str, leave_out: frozenset[str]) -> Material:
    return material(tune, leave_out)


# --- places in texts ---

class PlaceKind(StrEnum):
    """What stands in a place."""

    CELLS = "cells"  # {C crotchet}: the dots of a fact's cells
    LETTER = "letter"  # {letter C}: the letter that the cell is in a book
    ADDED = "added"  # {added crotchet}: the dots that a value adds to the quaver


@dataclass(frozen=True)
class Place:
    """What a text leaves open, so that no stage states a cell by itself. dots: dot numbers, for ADDED."""

    kind: PlaceKind
    cells: str = ""
    letter: str = ""
    dots: tuple[int, ...] = ()


_PLACE = re.compile(r"\{([^{}]+)\}")


def place(text: str) -> Place:
    """What stands for the words between curly brackets. Raises KeyError or ValueError for words that are none."""
    if text.startswith("letter "):
        letter = letter_of(fact(text.removeprefix("letter ")))
        if letter is None:
            raise KeyError(text)
        return Place(PlaceKind.LETTER, letter=letter)
    if text.startswith("added "):
        value = VALUE_NAMES[text.removeprefix("added ")]
        more = set(S.dots_of(fact(note_name("C", value)).cells)) - set(S.dots_of(fact(note_name("C", QUAVER)).cells))
        return Place(PlaceKind.ADDED, dots=tuple(sorted(map(int, more))))
    return Place(PlaceKind.CELLS, fact(text).cells)


def fill_places(text: str, say: Callable[[Place], str]) -> str:
    """A text with its places filled by what `say` makes of them. Raises KeyError or ValueError for a place that is none."""
    return _PLACE.sub(lambda found: say(place(found[1])), text)


# --- stage files ---


MOST_BYTES = 1_000_000  # of a stage; those that ship have a hundredth of it


class _File:
    """One stage file under way: its text, for the line of what is amiss."""

    def __init__(self, path: Path) -> None:
        self.path = path
        try:
            data = read_named(path, MOST_BYTES)
            if len(data) > MOST_BYTES:
                raise Trouble(_("{path} is far larger than a stage. Check its name and folder.").format(path=path))
            self.text = decoded(data).replace("\r\n", "\n")
        except UnicodeDecodeError as error:
            raise Trouble(_("{path} is not UTF-8 text. Save it as UTF-8.").format(path=path)) from error
        try:
            self.data: dict[str, Any] = tomllib.loads(self.text)
        except tomllib.TOMLDecodeError as error:
            found = re.search(r"at line (\d+)", str(error))
            line = int(found[1]) if found else len(self.text.splitlines()) or 1
            what = str(error).split(" (at")[0]
            raise Trouble(_("{path}, line {line}: this is not the form of a stage file ({what}). See "
                            "stages/README.md.").format(path=path, line=line, what=what[:1].lower() + what[1:])) from error

    def line(self, key: str, table: str = "", index: int = 0) -> int:
        """The line of a key, of a table's nth entry where one is given; 1 where it is missing altogether."""
        lines = self.text.splitlines()
        start = self._start(lines, table, index) if table else 0
        for i in range(start, len(lines)):
            if re.match(rf"\s*(?:\[\[\s*{re.escape(key)}\s*\]\]|{re.escape(key)}\s*=)", lines[i]):
                return i + 1
            if table and i > start and lines[i].lstrip().startswith("[["):
                break
        return start + 1

    @staticmethod
    def _start(lines: Sequence[str], table: str, index: int) -> int:
        """Where the nth entry of a table begins, 0 where there is none."""
        starts = [i for i, text in enumerate(lines) if re.match(rf"\s*\[\[\s*{table}\s*\]\]", text)]
        return starts[index] if index < len(starts) else 0

    def wrong(self, say: str, key: str, table: str = "", index: int = 0) -> Trouble:
        """What is amiss, as a whole sentence, with the file and the line before it."""
        return Trouble(_("{path}, line {line}: {say}").format(
                             path=self.path, line=self.line(key, table, index), say=say))

    def part(self) -> _Part:
        """The stage itself: the keys before the tables."""
        return _Part(self, self.data)

    def entries(self, table: str) -> Iterator[_Part]:
        """The entries of a table. Raises Trouble where it has not its form, or is missing and must be there."""
        entries = self.data.get(table, [])
        if not isinstance(entries, list) or not all(isinstance(e, dict) for e in entries):
            raise self.wrong(_("write [[{table}]] on a line of its own, and its parts below.").format(table=table), table)
        if not entries and table != "term":
            raise self.wrong(_("a stage needs at least one [[{table}]].").format(table=table), table)
        for index, entry in enumerate(entries):
            part = _Part(self, entry, table, index)
            for key in entry:
                if key not in _TABLES[table]:
                    raise part.wrong(_("{key!r} is not part of [[{table}]]; it has {keys}.").format(
                                           key=key, table=table, keys=", ".join(sorted(_TABLES[table]))), key)
            yield part


@dataclass(frozen=True)
class _Part:
    """A part of a stage file: the stage's own keys, or one entry of a table."""

    file: _File
    data: dict[str, Any]
    table: str = ""
    index: int = 0

    def wrong(self, say: str, key: str) -> Trouble:
        return self.file.wrong(say, key, self.table, self.index)

    def get(self, key: str, kind: type, default: Any = None) -> Any:
        """The value of a key. Raises Trouble where it lacks and has no default, or is of another kind."""
        value = self.data.get(key, default)
        if value is None and self.table:
            raise self.wrong(_("the [[{table}]] here lacks {key}. Add it.").format(table=self.table, key=key), self.table)
        if value is None:
            raise self.wrong(_("the stage lacks {key}. Add it.").format(key=key), key)
        if kind is float and isinstance(value, int) and not isinstance(value, bool):
            return float(value)
        if not isinstance(value, kind) or (kind is int and isinstance(value, bool)):
            wanted = {str: _("{key} should be text in quotes."), int: _("{key} should be a whole number."),
                      float: _("{key} should be a number."), list: _("{key} should be a list in [ ]."),
                      bool: _("{key} should be true or false.")}[kind]
            raise self.wrong(wanted.format(key=key), key)
        return value

    def texts(self, key: str, default: Any = None) -> list[str]:
        out = self.get(key, list, default)
        if not all(isinstance(x, str) and x.strip() for x in out):
            raise self.wrong(_("{key} should be a list of texts in quotes.").format(key=key), key)
        return list(out)

    def checked(self, text: str, key: str) -> str:
        """A text as it is, once each of its places is found to be one."""
        try:
            fill_places(text, str)
        except (KeyError, ValueError) as error:
            raise self.wrong(_("{{{place}}} names no note or sign. README.md lists what may stand in curly "
                               "brackets.").format(place=error.args[0]), key) from error
        return text

    def text(self, key: str) -> str:
        return self.checked(self.get(key, str), key)

    def filled_texts(self, key: str, default: Any = None) -> tuple[str, ...]:
        return tuple(self.checked(t, key) for t in self.texts(key, default))


def line_of_key(path: str | Path, key: str) -> int:
    """The line on which a key of the stage itself stands, 1 where it is missing."""
    return _File(Path(path)).line(key)


def read_stage(path: str | Path) -> Stage:
    """One stage from its file, by `run_limited` if it is somebody's own. Raises Trouble, "file, line: sentence", for the first
    thing amiss."""
    return _read_stage(path) if Path(path).parent == FOLDER else run_limited(_read_stage, path, small=True)


def _read_stage(path: str | Path) -> Stage:
    f = _File(Path(path))
    part = f.part()
    for key in f.data:
        if key not in _KEYS:
            raise part.wrong(_("{key!r} is not part of a stage. A stage has: {keys}.").format(
                                   key=key, keys=", ".join(sorted(_KEYS))), key)
    title, aim = part.get("title", str), part.text("aim")
    introduces, adult = _introduced(part), _adult(part)
    pupil, leave_out = part.filled_texts("pupil"), _left_out(part)
    stage = Stage(
        number=part.get("number", float), name=part.get("name", str), title=title, aim=aim,
        introduces=introduces, tune=_tune(part), by_ear=part.get("by_ear", bool, False), leave_out=leave_out,
        unseen=part.get("unseen", bool, False), need=part.filled_texts("need", []), adult=adult, pupil=pupil,
        terms=tuple(Term(p.get("word", str), p.text("means")) for p in f.entries("term")),
        drills=tuple(map(_drill, f.entries("drill"))), known=tuple(map(_evidence, f.entries("known"))),
        troubles=tuple(HelpWith(p.text("sign"), p.text("do")) for p in f.entries("trouble")), path=str(f.path))
    served = {drill.way for drill in stage.drills}
    for index, evidence in enumerate(stage.known):
        if evidence.way not in served:
            raise f.wrong(_("no drill of this stage goes {way!r}, so it could never be shown. Add one, or choose another "
                            "way.").format(way=str(evidence.way)), "way", "known", index)
    return stage


def _introduced(part: _Part) -> tuple[str, ...]:
    signs = part.texts("introduces", [])
    for sign in signs:
        if sign not in SIGNS:
            raise part.wrong(_("{sign!r} is no sign that can be introduced. README.md lists them.").format(sign=sign),
                             "introduces")
    return tuple(signs)


def _adult(part: _Part) -> tuple[str, ...]:
    """The adult's part, which is read aloud and so is short."""
    adult = part.filled_texts("adult")
    words = sum(len(fill_places(t, _as_long_as_said).split()) for t in adult)
    if words > MOST_WORDS:
        raise part.wrong(_("the adult's part has {words} words; {most} at most. Say less.").format(
                               words=words, most=MOST_WORDS), "adult")
    if len(adult) > SENTENCES:
        raise part.wrong(_("the adult's part has {count} sentences; {most} at most.").format(
                               count=len(adult), most=SENTENCES), "adult")
    return adult


def _as_long_as_said(filled: Place) -> str:
    """So many words as a place has when it is said: one for "dots" or "then", and one a dot."""
    return " ".join(f"X {' '.join(S.dots_of(c))}" for c in filled.cells) or " ".join(["X", *map(str, filled.dots)])


def _left_out(part: _Part) -> frozenset[str]:
    leave_out = part.texts("leave_out", [])
    for word in leave_out:
        if word not in LEAVE_OUT:
            raise part.wrong(_("{word!r} cannot be left out; these can: {words}.").format(
                                   word=word, words=", ".join(LEAVE_OUT)), "leave_out")
    return frozenset(leave_out)


def _tune(part: _Part) -> str:
    """The name of a tune that ships, or the path of a file beside the stage."""
    tune = str(part.get("tune", str))
    if tune in shipped_names():
        return tune
    beside = part.file.path.parent / tune
    if not beside.is_file():
        raise part.wrong(_("there is no tune {tune!r}: no tune with this name ships, and no file lies beside the stage. "
                           "companion tunes lists those that ship.").format(tune=tune), "tune")
    return str(beside)


def _drill(part: _Part) -> Drill:
    kind = part.get("kind", str)
    if kind not in set(QuestionKind):
        raise part.wrong(_("there is no drill {kind!r}. There are: {kinds}.").format(
                               kind=kind, kinds=", ".join(QuestionKind)), "kind")
    facts = part.texts("facts", [])
    for name in facts:
        if real(name) is None:
            raise part.wrong(_("{name!r} names no note or sign. README.md says how they are named.").format(name=name),
                             "facts")
    order = part.get("order", str, Order.MIXED)
    if order not in set(Order):
        raise part.wrong(_("there is no order {order!r}. There are: {orders}.").format(
                               order=order, orders=", ".join(Order)), "order")
    count = part.get("count", int, USUAL_COUNT)
    if not 1 <= count <= MOST_IN_DRILL:
        raise part.wrong(_("count should lie from 1 to {most}.").format(most=MOST_IN_DRILL), "count")
    return Drill(QuestionKind(kind), tuple(facts), Order(order), count)


def _evidence(part: _Part) -> Evidence:
    way = part.get("way", str)
    if way not in set(Way):
        raise part.wrong(_("there is no way {way!r}. There are: {ways}.").format(way=way, ways=", ".join(Way)), "way")
    right, of, days = part.get("right", int), part.get("of", int), part.get("days", int, 1)
    if not 1 <= right <= of or not 1 <= days <= of:
        raise part.wrong(_("right and days cannot be more than of, nor less than 1."), "right")
    return Evidence(Way(way), right, of, days)


# --- all stages ---

@cache
def _shipped() -> tuple[Stage, ...]:
    return tuple(sorted((read_stage(p) for p in sorted(FOLDER.glob("*.toml"))), key=lambda s: s.number))


def stages(own: str | Path | None = None) -> tuple[Stage, ...]:
    """All stages in order: those that ship and those in the folder `own`, which take the place of a shipped one
    with the same number or slip in between. Raises Trouble for the first thing amiss.
    """
    if own is None:
        return _shipped()
    folder = Path(own)
    files = sorted(folder.glob("*.toml")) if folder.is_dir() else [folder] if folder.is_file() else []
    if not files:
        raise Trouble(_("There is no stage file in {folder}. Give a folder with .toml files in the form that "
                        "stages/README.md describes.").format(folder=folder))
    mine: dict[float, Stage] = {}
    for path in files:
        stage = read_stage(path)
        if stage.number in mine:
            raise Trouble(_("{path}, line {line}: {other} has the number {number:g} too. Give each stage its own.").format(
                                path=path, line=line_of_key(path, "number"), other=mine[stage.number].path,
                                number=stage.number))
        mine[stage.number] = stage
    merged = {s.number: s for s in _shipped()} | mine
    found = tuple(merged[n] for n in sorted(merged))
    for amiss in untaught(found):
        if amiss.stage.path in {str(p) for p in files}:
            raise _untaught_trouble(amiss)
    return found


def check_stages(path: str | Path) -> tuple[Stage, ...]:
    """An adult's own stage, or all in a folder, read and checked beside those that ship. Raises Trouble, file, line
    and sentence."""
    place = Path(path)
    if place.is_dir():
        files = {str(p) for p in place.glob("*.toml")}
        return tuple(s for s in stages(place) if s.path in files)
    own = read_stage(place)
    among = sorted([s for s in stages() if s.number != own.number] + [own], key=lambda s: s.number)
    for amiss in untaught(among):
        if amiss.stage == own:
            raise _untaught_trouble(amiss)
    return (own,)


def find_stage(which: str | float, among: Sequence[Stage] | None = None) -> Stage:
    """A stage by its number or name. Raises Trouble where there is none."""
    some = among if among is not None else stages()
    for s in some:
        if str(which).strip().lower() in (s.key, s.name):
            return s
    raise Trouble(_("There is no stage {which}. There are {number:g} to {number2:g}; companion course --list names "
                    "them.").format(which=which, number=some[0].number, number2=some[-1].number))


def taught(upto: float, among: Sequence[Stage] | None = None) -> frozenset[str]:
    """All signs that the stages up to a number have brought in."""
    return frozenset(sign for s in (among if among is not None else stages()) if s.number <= upto
                     for sign in s.introduces)


def with_song(some: Sequence[Stage], song: Tune, name: str) -> tuple[Stage, ...]:
    """The stages with a song of the pupil's own as the tune of those that it suits. name: what it is loaded by.

    It suits a stage that is read, whose tune may be known, where all of the song's signs have been taught, and where it has
    of what the stage brings whatever the stage's own tune has of it.
    """
    return tuple(replace(s, tune=name) if _suits(s, song, taught(s.number, some)) else s for s in some)


def _suits(stage: Stage, song: Tune, known: frozenset[str]) -> bool:
    if stage.by_ear or stage.unseen:
        return False
    shown = Material(song.title, song, stage.leave_out)
    signs = shown.signs.union(*(g.signs for g in shown.groups))
    brought = frozenset(stage.introduces) & stage.material.signs
    return bool(shown.groups) and signs <= known and brought <= signs


class UsedIn(StrEnum):
    """Where a stage asks for a sign."""

    TUNE = "tune"
    BARS = "bars"
    DRILL = "drill"


@dataclass(frozen=True)
class Use:
    """What asks for some signs: the tune as shown, its bars, or a fact in a drill."""

    where: UsedIn
    signs: frozenset[str]
    fact: str = ""
    kind: QuestionKind | None = None


def used_signs(stage: Stage) -> list[Use]:
    """Every sign that a stage asks for, by where: its tune as shown, its bars, and each drill's facts."""
    out: list[Use] = []
    if not stage.by_ear:
        out.append(Use(UsedIn.TUNE, stage.material.signs))
        out.append(Use(UsedIn.BARS, frozenset().union(*(g.signs for g in stage.material.groups))))
    for drill in stage.drills:
        if drill.kind not in BY_EAR_ALONE:
            out += [Use(UsedIn.DRILL, fact(name).signs, name, drill.kind) for name in drill.facts]
    return out


@dataclass(frozen=True)
class Untaught:
    """A sign that a stage asks for before it was taught."""

    stage: Stage
    sign: str
    use: Use


def untaught(some: Sequence[Stage]) -> list[Untaught]:
    """What is asked before it was taught, stage by stage."""
    return [Untaught(stage, sign, use) for stage in some for known in [taught(stage.number, some)]
            for use in used_signs(stage) for sign in sorted(use.signs - known)]


def _untaught_trouble(amiss: Untaught) -> Trouble:
    path = Path(amiss.stage.path)
    if amiss.use.where is UsedIn.TUNE:
        say = _("the tune needs {sign!r}, which no stage up to this one introduces. Add it to introduces, or leave it out.")
    elif amiss.use.where is UsedIn.BARS:
        say = _("the bars of the tune need {sign!r}, which no stage up to this one introduces. Add it to introduces, or "
                "leave it out.")
    else:
        say = _("{fact!r} in the drill {kind!r} needs {sign!r}, which no stage up to this one introduces. Add it to "
                "introduces, or leave it out.")
    return _File(path).wrong(say.format(sign=amiss.sign, fact=amiss.use.fact, kind=str(amiss.use.kind)), "introduces")
