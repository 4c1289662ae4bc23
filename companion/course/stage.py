"""Stages: read from TOML files, checked, and put in order. The form is described in stages/README.md."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

from companion.course.drill import KINDS, ORDERS, USUAL_COUNT, WAY_WORDS, WAYS, Drill
from companion.course.facts import SIGNS, VALUE_NAMES, fact, letter_of
from companion.course.material import LEAVE_OUT, Material, material
from companion.errors import Trouble
from companion.language.cues import in_american, number
from companion.messages import _

FOLDER = Path(__file__).parent / "stages"
MOST_WORDS = 120  # the adult's part: read aloud in under a minute
SENTENCES = 5  # and no more than this
_KEYS = {"number", "name", "title", "aim", "introduces", "tune", "by_ear", "leave_out", "unseen", "need", "adult",
         "pupil", "term", "drill", "known", "trouble"}
_TABLES = {"term": {"word", "means"}, "drill": {"kind", "facts", "order", "count"},
           "known": {"way", "right", "of", "days"}, "trouble": {"sign", "do"}}


@dataclass(frozen=True)
class Evidence:
    """What shows that a stage is known: `right` of the last `of` answers of one way, on `days` days at least."""

    way: str
    right: int
    of: int
    days: int

    def say(self) -> str:
        """ "Reads a cell and names it: nine of the last ten right, on two days."."""
        days = "" if self.days < 2 else f", on {number(self.days)} days"
        return f"{WAY_WORDS[self.way]}: {number(self.right)} of the last {number(self.of)} right{days}."


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
    """One small part of the course. Texts are as they are said, with all dots filled in from the tables."""

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

    @property
    def label(self) -> str:
        """ "Stage 2: Three cells: C, D, E"."""
        return f"Stage {self.number:g}: {self.title}"

    def lines(self, american: bool = False) -> list[str]:
        """The whole stage as plain lines: the adult's part first, then the pupil's, and what may go wrong."""
        return [*self.beginning(american), *self.rest(american)]

    def beginning(self, american: bool = False) -> list[str]:
        """What is read out where a stage begins: for the adult, then for the pupil."""
        out = [f"{self.label}.", self.aim, "For the adult.", *self.adult]
        out += ["You need:", *self.need] if self.need else []
        out += [f"{t.word[:1].upper()}{t.word[1:]}: {t.means}" for t in self.terms]
        out += ["Say to the pupil.", *self.pupil]
        return [in_american(line) for line in out] if american else out

    def rest(self, american: bool = False) -> list[str]:
        """What shows that it is known, what usually goes wrong, and what to do."""
        out = ["It is known when:", *(e.say() for e in self.known)]
        out += ["What may go wrong."]
        for trouble in self.troubles:
            out += [trouble.sign, trouble.do]
        return [in_american(line) for line in out] if american else out


@cache
def _material(tune: str, leave_out: frozenset[str]) -> Material:
    return material(tune, leave_out)


_PLACE = re.compile(r"\{([^{}]+)\}")


def filled(text: str) -> str:
    """Text with its places filled from the tables of `braille`, so that no stage states a cell by itself.

    {C crotchet} gives "dots 1 4 5 6"; {letter C} gives "d"; {added crotchet} gives "dot 6", what a value adds
    to the quaver. Raises KeyError for a place that is none.
    """
    return _PLACE.sub(lambda found: _fill(found[1]), text)


def _fill(place: str) -> str:
    if place.startswith("letter "):
        letter = letter_of(fact(place.removeprefix("letter ")))
        if letter is None:
            raise KeyError(place)
        return letter
    if place.startswith("added "):
        value = place.removeprefix("added ")
        if value not in VALUE_NAMES:
            raise KeyError(place)
        from companion.braille.signs import dots_of

        more = sorted(set(dots_of(fact(f"C {value}").cells)) - set(dots_of(fact("C").cells)))
        return f"{'dot' if len(more) == 1 else 'dots'} {' and '.join(more)}" if more else "no more dots"
    return fact(place).dots


class _File:
    """One stage file under way: its text, for the line of what is amiss."""

    def __init__(self, path: Path) -> None:
        self.path = path
        try:
            self.text = path.read_text(encoding="utf-8")
        except OSError as error:
            raise Trouble(_("{path} could not be read: {reason}. Check its name and folder.").format(
                                path=path, reason=(error.strerror or str(error)).lower())) from error
        except UnicodeDecodeError as error:
            raise Trouble(_("{path} is not UTF-8 text. Save it as UTF-8.").format(path=path)) from error
        try:
            self.data: dict[str, Any] = tomllib.loads(self.text)
        except tomllib.TOMLDecodeError as error:
            found = re.search(r"at line (\d+)", str(error))
            line = int(found[1]) if found else len(self.text.splitlines()) or 1
            what = str(error).split(" (at")[0]
            raise Trouble(_("{path}, line {line}: this is not the form of a stage file ({what}{what2}). See "
                            "stages/README.md.").format(path=path, line=line, what=what[:1].lower(), what2=what[1:])) from error

    def line(self, key: str, table: str = "", place: int = 0) -> int:
        """The line of a key, of a table's nth entry where one is given; 1 where it is missing altogether."""
        lines = self.text.splitlines()
        start, seen = 0, -1
        if table:
            for i, text in enumerate(lines):
                if re.match(rf"\s*\[\[\s*{table}\s*\]\]", text):
                    seen += 1
                    if seen == place:
                        start = i
                        break
        for i in range(start, len(lines)):
            if re.match(rf"\s*(?:\[\[\s*{re.escape(key)}\s*\]\]|{re.escape(key)}\s*=)", lines[i]):
                return i + 1
            if table and i > start and lines[i].lstrip().startswith("[["):
                break
        return start + 1

    def wrong(self, say: str, key: str, table: str = "", place: int = 0) -> Trouble:
        return Trouble(_("{path}, line {place}: {say}").format(
                             path=self.path, place=self.line(key, table, place), say=say))

    def get(self, key: str, kind: type, of: dict[str, Any], table: str = "", place: int = 0,
            default: Any = None) -> Any:
        value = of.get(key, default)
        if value is None:
            raise self.wrong(f"{'the [[' + table + ']] here' if table else 'the stage'} lacks {key}. Add it.",
                             table or key, table, place)
        if kind is float and isinstance(value, int) and not isinstance(value, bool):
            return float(value)
        if not isinstance(value, kind) or (kind is int and isinstance(value, bool)):
            names = {str: "text in quotes", int: "a whole number", float: "a number", list: "a list in [ ]",
                     bool: "true or false"}
            raise self.wrong(f"{key} should be {names[kind]}.", key, table, place)
        return value

    def texts(self, key: str, of: dict[str, Any], table: str = "", place: int = 0,
              default: Any = None) -> list[str]:
        out = self.get(key, list, of, table, place, default)
        if not all(isinstance(x, str) and x.strip() for x in out):
            raise self.wrong(f"{key} should be a list of texts in quotes.", key, table, place)
        return list(out)

    def fill(self, text: str, key: str, table: str = "", place: int = 0) -> str:
        try:
            return filled(text)
        except KeyError as error:
            raise self.wrong(f"{{{error.args[0]}}} names no note or sign. README.md lists what may stand in "
                             "curly brackets.", key, table, place) from error


def line_of_key(path: str | Path, key: str) -> int:
    """The line on which a key of the stage itself stands, 1 where it is missing."""
    return _File(Path(path)).line(key)


def read_stage(path: str | Path) -> Stage:
    """One stage from its file. Raises Trouble, "file, line: sentence", for the first thing amiss."""
    f = _File(Path(path))
    d = f.data
    for key in d:
        if key not in _KEYS:
            raise f.wrong(f"{key!r} is not part of a stage. A stage has: {', '.join(sorted(_KEYS))}.", key)
    title, aim = f.get("title", str, d), f.fill(f.get("aim", str, d), "aim")
    introduces = f.texts("introduces", d, default=[])
    for sign in introduces:
        if sign not in SIGNS:
            raise f.wrong(f"{sign!r} is no sign that can be introduced. README.md lists them.", "introduces")
    adult = [f.fill(t, "adult") for t in f.texts("adult", d)]
    words = sum(len(t.split()) for t in adult)
    if words > MOST_WORDS:
        raise f.wrong(f"the adult's part has {words} words; {MOST_WORDS} at most. Say less.", "adult")
    if len(adult) > SENTENCES:
        raise f.wrong(f"the adult's part has {len(adult)} sentences; {SENTENCES} at most.", "adult")
    pupil = [f.fill(t, "pupil") for t in f.texts("pupil", d)]
    leave_out = f.texts("leave_out", d, default=[])
    for word in leave_out:
        if word not in LEAVE_OUT:
            raise f.wrong(f"{word!r} cannot be left out; these can: {', '.join(LEAVE_OUT)}.", "leave_out")
    tune = f.get("tune", str, d)
    beside = f.path.parent / tune
    from companion.tune import shipped_names

    if tune not in shipped_names():
        if not beside.is_file():
            raise f.wrong(f"there is no tune {tune!r}: no tune with this name ships, and no file lies beside "
                          "the stage. companion tunes lists those that ship.", "tune")
        tune = str(beside)
    stage = Stage(
        number=f.get("number", float, d), name=f.get("name", str, d), title=title, aim=aim,
        introduces=tuple(introduces), tune=tune, by_ear=f.get("by_ear", bool, d, default=False),
        leave_out=frozenset(leave_out), unseen=f.get("unseen", bool, d, default=False),
        need=tuple(f.fill(t, "need") for t in f.texts("need", d, default=[])), adult=tuple(adult),
        pupil=tuple(pupil), terms=tuple(_terms(f)), drills=tuple(_drills(f)), known=tuple(_known(f)),
        troubles=tuple(_troubles(f)), path=str(f.path))
    served = {drill.way for drill in stage.drills}
    for place, evidence in enumerate(stage.known):
        if evidence.way not in served:
            raise f.wrong(f"no drill of this stage goes {evidence.way!r}, so it could never be shown. Add one, or "
                          "choose another way.", "way", "known", place)
    return stage


def _entries(f: _File, table: str) -> Iterable[tuple[int, dict[str, Any]]]:
    entries = f.data.get(table, [])
    if not isinstance(entries, list) or not all(isinstance(e, dict) for e in entries):
        raise f.wrong(f"write [[{table}]] on a line of its own, and its parts below.", table)
    if not entries and table != "term":
        raise f.wrong(f"a stage needs at least one [[{table}]].", table)
    for place, entry in enumerate(entries):
        for key in entry:
            if key not in _TABLES[table]:
                raise f.wrong(f"{key!r} is not part of [[{table}]]; it has {', '.join(sorted(_TABLES[table]))}.",
                              key, table, place)
        yield place, entry


def _terms(f: _File) -> Iterable[Term]:
    for i, e in _entries(f, "term"):
        yield Term(f.get("word", str, e, "term", i), f.fill(f.get("means", str, e, "term", i), "means", "term", i))


def _drills(f: _File) -> Iterable[Drill]:
    for i, e in _entries(f, "drill"):
        kind = f.get("kind", str, e, "drill", i)
        if kind not in KINDS:
            raise f.wrong(f"there is no drill {kind!r}. There are: {', '.join(KINDS)}.", "kind", "drill", i)
        facts = f.texts("facts", e, "drill", i, default=[])
        for name in facts:
            try:
                fact(name)
            except (KeyError, ValueError):
                raise f.wrong(f"{name!r} names no note or sign. README.md says how they are named.", "facts",
                              "drill", i) from None
        order = f.get("order", str, e, "drill", i, default="mixed")
        if order not in ORDERS:
            raise f.wrong(f"there is no order {order!r}. There are: {', '.join(ORDERS)}.", "order", "drill", i)
        count = f.get("count", int, e, "drill", i, default=USUAL_COUNT)
        if not 1 <= count <= 40:
            raise f.wrong("count should lie from 1 to 40.", "count", "drill", i)
        yield Drill(kind, tuple(facts), order, count)


def _known(f: _File) -> Iterable[Evidence]:
    for i, e in _entries(f, "known"):
        way = f.get("way", str, e, "known", i)
        if way not in WAYS:
            raise f.wrong(f"there is no way {way!r}. There are: {', '.join(WAYS)}.", "way", "known", i)
        right, of = f.get("right", int, e, "known", i), f.get("of", int, e, "known", i)
        days = f.get("days", int, e, "known", i, default=1)
        if not 1 <= right <= of or not 1 <= days <= of:
            raise f.wrong("right and days cannot be more than of, nor less than 1.", "right", "known", i)
        yield Evidence(way, right, of, days)


def _troubles(f: _File) -> Iterable[HelpWith]:
    for i, e in _entries(f, "trouble"):
        yield HelpWith(*(f.fill(f.get(key, str, e, "trouble", i), key, "trouble", i) for key in ("sign", "do")))


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
            raise Trouble(_("{path}, line {number}: {path2} has the number {number2:g} too. Give each stage its own.").format(
                                path=path, number=line_of_key(path, 'number'), path2=mine[stage.number].path,
                                number2=stage.number))
        mine[stage.number] = stage
    together = {s.number: s for s in _shipped()} | mine
    found = tuple(together[n] for n in sorted(together))
    problems = untaught(found)
    for stage, say in problems:
        if stage.path in {str(p) for p in files}:
            raise Trouble(_("{path}, line {introduces}: {say}").format(
                                path=stage.path, introduces=line_of_key(stage.path, 'introduces'), say=say))
    return found


def find_stage(which: str | float, among: Sequence[Stage] | None = None) -> Stage:
    """A stage by its number or name. Raises Trouble where there is none."""
    some = among if among is not None else stages()
    for s in some:
        if str(which).strip().lower() in (f"{s.number:g}", s.name):
            return s
    raise Trouble(_("There is no stage {which}. There are {number:g} to {number2:g}; companion course --list names "
                    "them.").format(which=which, number=some[0].number, number2=some[-1].number))


def taught(upto: float, among: Sequence[Stage] | None = None) -> frozenset[str]:
    """All signs that the stages up to a number have brought in."""
    return frozenset(sign for s in (among if among is not None else stages()) if s.number <= upto
                     for sign in s.introduces)


def used_signs(stage: Stage) -> dict[str, frozenset[str]]:
    """Every sign that a stage asks for, by where: its tune as shown, its bars, and each drill's facts."""
    out: dict[str, frozenset[str]] = {}
    if not stage.by_ear:
        out["the tune"] = stage.material.signs
        out["the bars of the tune"] = frozenset().union(*(g.signs for g in stage.material.groups))
    for drill in stage.drills:
        if drill.kind in ("higher or lower", "sing the move", "where it turns"):
            continue  # by ear alone: facts there are only pitches to be sounded
        for name in drill.facts:
            out[f"{name!r} in the drill {drill.kind!r}"] = fact(name).signs
    return out


def untaught(some: Sequence[Stage]) -> list[tuple[Stage, str]]:
    """What is asked before it was taught: each stage with a sentence."""
    out = []
    for stage in some:
        known = taught(stage.number, some)
        for where, signs in used_signs(stage).items():
            for sign in sorted(signs - known):
                out.append((stage, f"{where} needs {sign!r}, which no stage up to this one introduces. Add it to "
                                   "introduces, or leave it out."))
    return out
