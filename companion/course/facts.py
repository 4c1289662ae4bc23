"""What can be known about cells: a fact is a name and its cells, both from the tables of `braille`.

A fact is made of signs. "C crotchet" is made of the signs "C" and "crotchet"; a stage says which signs it
brings in, and nothing may be asked before all its signs were.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from functools import cache

from companion.braille import Meaning, MeaningKind, key_cells, say_dots, time_cells
from companion.braille import signs as S
from companion.braille import text as T
from companion.tune import STEPS, VALUES, Key, Note, Pitch, Time

VALUE_NAMES = {british: value for value, (british, _) in VALUES.items()}
AMERICAN = dict(VALUES.values())

#: Signs that stand alone, by the name that the course uses, which for most is that of the tables.
COURSE_NAMES = {"breath": "breath mark", "louder from here": "getting louder", "softer from here": "getting softer"}
#: Signs of the tables that the course teaches. Of two with the same cells the first is the likelier.
_TAUGHT = (*S.OCTAVE_WORDS, *S.ACCIDENTAL_WORDS.values(), "dot", "tie", "slur", "long slur begins", "long slur ends",
          "number sign", "repeat from here", "repeat to here", "final double bar", "double bar", "bar line", "word sign",
          "fermata", "breath", "louder from here", "softer from here", "louder ends", "softer ends", "triplet", "staccato",
          "accent", "tenuto", "music hyphen", "bar repeated", "full bar rest")
PLAIN: dict[str, str] = {COURSE_NAMES.get(name, name): S.BY_NAME[name].cells for name in _TAUGHT}
#: Signs that are told from what stands with them, not from one fixed cell.
BUILT = ("key signature", "time signature", "ending", "words", "dynamic")
RESTS = tuple(f"{name} rest" for name in VALUE_NAMES if VALUE_NAMES[name] <= 4)
SIGNS: tuple[str, ...] = (*STEPS, *VALUE_NAMES, *RESTS, *PLAIN, *BUILT)

_NOTE = re.compile(rf"([A-G])(?: (dotted )?({'|'.join(sorted(VALUE_NAMES, key=len, reverse=True))}))?")
_REST = re.compile(rf"(dotted )?({'|'.join(sorted(VALUE_NAMES, key=len, reverse=True))}) rest")
_PLACED = re.compile(rf"([A-G]), ({'|'.join(S.OCTAVE_WORDS[1:8])})")
_KEY = re.compile(r"([1-7]) (sharp|flat)s?")
_TIME = re.compile(r"time (\d+) (\d+)")
_ENDING = re.compile(r"ending ([1-9])")
_DYNAMIC = re.compile(r"dynamic ([a-z]+)")


@dataclass(frozen=True)
class Fact:
    """A name, its cells (Unicode), and the signs that one must know for it.

    kind: "note", "rest", "placed note", "key", "time" or "sign".
    """

    name: str
    cells: str
    signs: frozenset[str]
    kind: str

    @property
    def dots(self) -> str:
        """As said: "dots 1 4 5"."""
        return say_dots(self.cells)


@cache
def fact(name: str) -> Fact:
    """A fact by its name: "C", "C crotchet", "C dotted minim", "C, fourth octave", "crotchet rest", "sharp",
    "2 flats", "time 3 4", "ending 1", "dynamic p" ... A note with no value named is a quaver; where notes have
    different values it is named as one ("C quaver"), so that the question asks for the length too.

    Raises KeyError for a name that is none.
    """
    if found := _NOTE.fullmatch(name):
        step, dotted, value = found.groups()
        cells = T.note_cells(Pitch(step, 4), VALUE_NAMES[value or "quaver"], 1 if dotted else 0, octave=False)
        signs = {step, value or "quaver"} | ({"dot"} if dotted else set())
        return Fact(name, cells, frozenset(signs), "note")
    if found := _PLACED.fullmatch(name):
        step, octave = found.groups()
        cells = T.note_cells(Pitch(step, S.OCTAVE_WORDS.index(octave)), Fraction(1, 2))
        return Fact(name, cells, frozenset({step, "quaver", octave}), "placed note")
    if cells := PLAIN.get(name) or (S.BY_NAME[name].cells if name in S.BY_NAME else ""):
        return Fact(name, cells, frozenset({name}), "sign")
    if found := _REST.fullmatch(name):
        dotted, value = found.groups()
        cells = T.note_cells(None, VALUE_NAMES[value], 1 if dotted else 0)
        return Fact(name, cells, frozenset({f"{value} rest"} | ({"dot"} if dotted else set())), "rest")
    if found := _KEY.fullmatch(name):
        count, sign = int(found[1]), found[2]
        cells = key_cells(Key(count if sign == "sharp" else -count))
        return Fact(name, cells, frozenset({"key signature", sign}), "key")
    if found := _TIME.fullmatch(name):
        return Fact(name, time_cells(Time((int(found[1]),), int(found[2]))), frozenset({"time signature"}), "time")
    if found := _ENDING.fullmatch(name):
        return Fact(name, S.NUMBER + S.LOWER_DIGITS[found[1]], frozenset({"ending"}), "sign")
    if found := _DYNAMIC.fullmatch(name):
        return Fact(name, S.WORD + T.words(found[1]), frozenset({"word sign", "dynamic"}), "sign")
    raise KeyError(name)


def said_signs(meaning: Meaning) -> frozenset[str]:
    """The signs behind what some cells of a braille page say.

    What the course does not teach stands for itself, as a sign that no stage introduces.
    """
    kind = meaning.kind
    if kind is MeaningKind.SIGN and meaning.sign:
        return frozenset({COURSE_NAMES.get(meaning.sign.name, meaning.sign.name)})
    if kind is MeaningKind.NOTE and meaning.note:
        return _note_signs(meaning.note)
    if kind is MeaningKind.KEY and meaning.key and meaning.key.fifths:
        return frozenset({"key signature", "sharp" if meaning.key.fifths > 0 else "flat"})
    if kind is MeaningKind.BAR_REPEAT and not meaning.numbers:
        return frozenset({"bar repeated"})
    return frozenset(_KIND_SIGNS.get(kind, {kind.value}))


def _note_signs(note: Note) -> frozenset[str]:
    if note.pitch is None and note.whole_bar:
        return frozenset({"full bar rest"})
    if note.grace:
        return frozenset({"grace note"})
    value = VALUES[note.base][0]
    dots = {"dot"} if note.dots else set()
    return frozenset({f"{value} rest"} | dots if note.pitch is None else {note.pitch.step, value} | dots)


_KIND_SIGNS: dict[MeaningKind, set[str]] = {
    MeaningKind.TIME: {"time signature"}, MeaningKind.ENDING: {"ending"}, MeaningKind.DYNAMIC: {"word sign", "dynamic"},
    MeaningKind.WORDS: {"word sign"}, MeaningKind.LYRICS: {"words"}, MeaningKind.HEADING: {"words"},
}


@cache
def by_cells(cells: str, known: frozenset[str] | None = None) -> tuple[Fact, ...]:
    """All facts with these cells, likeliest first; of two readings of a note's cell the larger value first.

    known: only facts all of whose signs are among these.
    """
    names = [*STEPS, *(f"{s} {d}{v}" for d in ("", "dotted ") for v in VALUE_NAMES for s in STEPS if v != "quaver"
                       and VALUE_NAMES[v] <= 4), *(f"{s}, {o}" for o in S.OCTAVE_WORDS[1:8] for s in STEPS),
             *(n for n in PLAIN if n not in ("bar line",)), *RESTS,
             *(f"{n} {sign}{'s' if n > 1 else ''}" for sign in ("sharp", "flat") for n in range(1, 8)),
             *(f"ending {n}" for n in range(1, 4))]
    found = [f for f in map(fact, names) if f.cells == cells]
    return tuple(f for f in found if known is None or f.signs <= known)


def letter_of(f: Fact) -> str | None:
    """The letter that a single cell is in a book, None where it is none: the letter trap."""
    return T.letter_of(f.cells) if len(f.cells) == 1 else None
