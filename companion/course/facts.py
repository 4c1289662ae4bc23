"""What can be known about cells: a fact is a name and its cells, both from the tables of `braille`.

A fact is made of signs. "C crotchet" is made of the signs "C" and "crotchet"; a stage says which signs it
brings in, and nothing may be asked before all its signs were. Names of facts and signs are identifiers: they stand
in stage files and in the diary, and are said through `companion.language.questions.fact_name`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction
from functools import cache

from companion.braille import Meaning, MeaningKind, key_cells, note_cells, time_cells, words
from companion.braille import letter_of as letter_of_cell
from companion.braille import signs as S
from companion.tune import STEPS, VALUES, Key, Note, Pitch, Time

QUAVER = Fraction(1, 2)
VALUE_NAMES = {british: value for value, (british, _) in VALUES.items()}
NAMES_OF_VALUES = {value: name for name, value in VALUE_NAMES.items()}

#: Signs that stand alone, by the name that the course uses, which for most is that of the tables.
COURSE_NAMES = {"second voice": "in-accord", "breath": "breath mark",
                "louder from here": "getting louder", "softer from here": "getting softer"}
#: Signs of the tables that the course teaches. Of two with the same cells the first is the likelier.
_TAUGHT = (*S.OCTAVE_WORDS, *S.ACCIDENTAL_WORDS.values(), "dot", "tie", "slur", "long slur begins", "long slur ends",
          "number sign", "repeat from here", "repeat to here", "final double bar", "double bar", "bar line", "word sign",
          "fermata", "breath", "louder from here", "softer from here", "louder ends", "softer ends", "triplet", "staccato",
          "accent", "tenuto", "music hyphen", "bar repeated", "full bar rest", "segno", "second voice",
          *(f"interval of {n}" for n in ("a second", "a third", "a fourth", "a fifth", "a sixth", "a seventh", "an octave")))
PLAIN: dict[str, str] = {COURSE_NAMES.get(name, name): S.BY_NAME[name].cells for name in _TAUGHT}
#: Signs that are known from what stands with them, not from one fixed cell.
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


class FactKind(StrEnum):
    """What a fact is about."""

    NOTE = "note"
    PLACED = "placed note"  # with its octave mark
    REST = "rest"
    KEY = "key"
    TIME = "time"
    OCTAVE = "octave mark"
    ACCIDENTAL = "accidental"
    ENDING = "ending"
    DYNAMIC = "dynamic"
    SIGN = "sign"


@dataclass(frozen=True)
class Fact:
    """A name, its cells (Unicode), and the signs that one must know for it.

    step: letter of a note, "" for none. value: undotted, in quarters; None where a note's value is not named, which
    is then a quaver. number: of an octave or an ending, semitones of an accidental, sharps (flats negative) of a key.
    time: of a time signature. dynamic: its letters ("mf").
    """

    name: str
    cells: str
    signs: frozenset[str]
    kind: FactKind
    step: str = ""
    value: Fraction | None = None
    dotted: bool = False
    number: int = 0
    time: Time | None = None
    dynamic: str = ""

    @property
    def is_note(self) -> bool:
        """Whether it is a note, with its octave mark or without."""
        return self.kind in (FactKind.NOTE, FactKind.PLACED)

    @property
    def quarters(self) -> Fraction:
        """How long it lasts, in crotchets; a note whose value is not named is a quaver."""
        return (self.value or QUAVER) * (Fraction(3, 2) if self.dotted else 1)


@cache
def fact(name: str) -> Fact:
    """A fact by its name: "C", "C crotchet", "C dotted minim", "C, fourth octave", "crotchet rest", "sharp",
    "2 flats", "time 3 4", "ending 1", "dynamic p" ... A note with no value named is a quaver; where notes have
    different values it is named as one ("C quaver"), so that the question asks for the length too.

    Raises KeyError for a name that is none.
    """
    if cells := PLAIN.get(name) or (S.BY_NAME[name].cells if name in S.BY_NAME else ""):
        return _sign(name, cells)
    for pattern, make in _BUILDERS:
        if found := pattern.fullmatch(name):
            return replace(make(found), name=name)
    raise KeyError(name)


def _sign(name: str, cells: str) -> Fact:
    made = Fact(name, cells, frozenset({name}), FactKind.SIGN)
    if name in S.OCTAVE_WORDS:
        return replace(made, kind=FactKind.OCTAVE, number=S.OCTAVE_WORDS.index(name))
    alter = next((n for n, words in S.ACCIDENTAL_WORDS.items() if words == name), None)
    return made if alter is None else replace(made, kind=FactKind.ACCIDENTAL, number=alter)


def _note(found: re.Match[str]) -> Fact:
    step, dotted, value = found.groups()
    base = VALUE_NAMES[value or "quaver"]
    cells = note_cells(Pitch(step, 4), base, 1 if dotted else 0, octave=False)
    signs = {step, value or "quaver"} | ({"dot"} if dotted else set())
    return Fact("", cells, frozenset(signs), FactKind.NOTE, step, base if value else None, bool(dotted))


def _placed(found: re.Match[str]) -> Fact:
    step, octave = found.groups()
    number = S.OCTAVE_WORDS.index(octave)
    return Fact("", note_cells(Pitch(step, number), QUAVER), frozenset({step, "quaver", octave}), FactKind.PLACED,
                step, number=number)


def _rest(found: re.Match[str]) -> Fact:
    dotted, value = found.groups()
    cells = note_cells(None, VALUE_NAMES[value], 1 if dotted else 0)
    return Fact("", cells, frozenset({f"{value} rest"} | ({"dot"} if dotted else set())), FactKind.REST,
                value=VALUE_NAMES[value], dotted=bool(dotted))


def _key(found: re.Match[str]) -> Fact:
    fifths = int(found[1]) if found[2] == "sharp" else -int(found[1])
    return Fact("", key_cells(Key(fifths)), frozenset({"key signature", found[2]}), FactKind.KEY, number=fifths)


def _time(found: re.Match[str]) -> Fact:
    time = Time((int(found[1]),), int(found[2]))
    return Fact("", time_cells(time), frozenset({"time signature"}), FactKind.TIME, time=time)


def _ending(found: re.Match[str]) -> Fact:
    return Fact("", S.NUMBER + S.LOWER_DIGITS[found[1]], frozenset({"ending"}), FactKind.ENDING, number=int(found[1]))


def _dynamic(found: re.Match[str]) -> Fact:
    return Fact("", S.WORD + words(found[1]), frozenset({"word sign", "dynamic"}), FactKind.DYNAMIC,
                dynamic=found[1])


#: How the name of a built fact looks, and what makes it.
_BUILDERS = ((_NOTE, _note), (_PLACED, _placed), (_REST, _rest), (_KEY, _key), (_TIME, _time), (_ENDING, _ending),
             (_DYNAMIC, _dynamic))


def note_name(step: str, value: Fraction | None = None, dotted: bool = False) -> str:
    """The name of a note's fact: "C", "C crotchet", "C dotted minim"."""
    if value is None:
        return step
    return f"{step} {'dotted ' if dotted else ''}{NAMES_OF_VALUES[value]}"


def placed_name(step: str, octave: int) -> str:
    """The name of a note's fact with its octave mark: "C, fourth octave"."""
    return f"{step}, {S.OCTAVE_WORDS[octave]}"


def rest_name(value: Fraction, dotted: bool = False) -> str:
    """The name of a rest's fact: "crotchet rest"."""
    return f"{'dotted ' if dotted else ''}{NAMES_OF_VALUES[value]} rest"


def octave_name(octave: int) -> str:
    """The name of an octave mark's fact, 0 to 8: "fourth octave"."""
    return S.OCTAVE_WORDS[octave]


def key_name(fifths: int) -> str:
    """The name of a key signature's fact: "2 flats"."""
    return f"{abs(fifths)} {'sharp' if fifths > 0 else 'flat'}{'' if abs(fifths) == 1 else 's'}"


def ending_name(number: int) -> str:
    """The name of an ending's fact: "ending 1"."""
    return f"ending {number}"


def real(name: str) -> Fact | None:
    """A fact by its name, None where there is none."""
    try:
        return fact(name)
    except (KeyError, ValueError):
        return None


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
    value = NAMES_OF_VALUES[note.base]
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


def mirrored(cell: str) -> str:
    """The cell with its two columns changed over: as it lies on a slate, and a slip of fingers that meet braille from both
    sides."""
    swap = {"1": "4", "2": "5", "3": "6", "4": "1", "5": "2", "6": "3", "0": "0"}
    return S.cells("".join(sorted(swap[d] for d in S.dots_of(cell))))


def interval_steps(f: Fact) -> int:
    """How many letters an interval sign spans, both ends counted: 3 for a third; 0 for another fact."""
    return next((e.value for e in S.TABLE if e.role is S.Role.INTERVAL and e.sign.name == f.name
                 and isinstance(e.value, int)), 0)


def letter_of(f: Fact) -> str | None:
    """The letter that a single cell is in a book, None where it is none: the letter trap."""
    return letter_of_cell(f.cells) if len(f.cells) == 1 else None
