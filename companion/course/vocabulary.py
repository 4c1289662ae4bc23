"""What is typed for an answer, read into facts. The words of a language are a `Vocabulary`, which the language fills.

Nothing here knows a word of any language; `companion.language.answers` has those of English.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from functools import cached_property

from companion.braille import from_dots, to_cells
from companion.braille import signs as S
from companion.course.facts import Fact, key_name, note_name, octave_name, placed_name, real, rest_name
from companion.tune import Direction

MOST_CELLS = 400  # of what is typed; a line of braille has 40
ASCII = "ascii:"  # before Braille ASCII that looks like something else


class Command(StrEnum):
    """What may be typed instead of an answer."""

    STOP = "stop"
    SKIP = "skip"
    AGAIN = "again"
    TUNE = "tune"
    KEY = "key"
    HELP = "help"
    MORE = "more"


@dataclass(frozen=True, eq=False)
class Vocabulary:
    """The words in which people answer: lower case, one space between words, no full stop at the end.

    steps: letters of notes ("c" to "C"). values: undotted, in quarters. octaves: whole phrases to 0 (below the first)
    to 8. accidentals: 1 for sharps, -1 for flats. counts: of the signs of a key. names: any other name to that of a fact.
    numbers: counts, ordinals and parts. directions, yes_or_no, commands: what they mean.

    note_forms ... ending_forms: how parts are put together, with {step}, {dotted}, {value}, {octave}, {count},
    {accidental}, {upper}, {lower} or {number} for a part. dotted: the word, its space after it included.
    openings: what may stand before a name and says nothing. around_numbers: what may stand before and after a number.
    ordinal_endings: of ordinals in figures. octave_fillers: what is passed over where an octave is asked for.
    cell_fillers, cell_breaks: words among dot numbers that say nothing, and that begin a new cell.
    """

    steps: Mapping[str, str]
    values: Mapping[str, Fraction]
    octaves: Mapping[str, int]
    accidentals: Mapping[str, int]
    counts: Mapping[str, int]
    names: Mapping[str, str]
    numbers: Mapping[str, Fraction]
    directions: Mapping[str, Direction]
    yes_or_no: Mapping[str, bool]
    commands: Mapping[str, Command]
    dotted: str
    note_forms: tuple[str, ...]
    placed_forms: tuple[str, ...]
    rest_forms: tuple[str, ...]
    key_forms: tuple[str, ...]
    time_forms: tuple[str, ...]
    ending_forms: tuple[str, ...]
    dynamic_forms: tuple[str, ...]
    openings: tuple[str, ...]
    around_numbers: tuple[tuple[str, ...], tuple[str, ...]]
    ordinal_endings: tuple[str, ...]
    octave_fillers: tuple[str, ...]
    cell_fillers: tuple[str, ...]
    cell_breaks: tuple[str, ...]

    # --- small words ---

    def command(self, text: str) -> Command | None:
        """What is asked for instead of an answer, None where it is an answer."""
        return self.commands.get(text.strip().lower())

    def direction(self, text: str) -> Direction | None:
        return self.directions.get(text.lower().strip(" ."))

    def yes(self, text: str) -> bool | None:
        return self.yes_or_no.get(text.lower().strip(" ."))

    def number(self, text: str) -> Fraction | None:
        """ "2", "two", "1.5", "one and a half", "2nd", "second"; None for what is no number."""
        text = text.strip().lower()
        before, after = self.around_numbers
        for word in before:
            text = text.removeprefix(word)
        for word in after:
            text = text.removesuffix(word)
        text = text.strip(" .")
        if text in self.numbers:
            return self.numbers[text]
        found = re.fullmatch(rf"([0-9]{{1,3}}(?:[.,][0-9]{{1,3}})?)(?:{'|'.join(self.ordinal_endings)})?", text)
        return Fraction(found[1].replace(",", ".")) if found else None

    def octave(self, text: str) -> int | None:
        """An octave where only that is asked for: "4", "fourth", "the fourth octave"."""
        text = text.lower()
        for word in self.octave_fillers:
            text = text.replace(word, "")
        value = self.number(text)
        return int(value) if value is not None and value in range(len(S.OCTAVE_WORDS)) else None

    # --- names ---

    def fact(self, text: str) -> Fact | None:
        """The fact that a name means: "c", "C crotchet", "quarter note C", "4th octave", "2 sharps"; None for none."""
        plain = re.sub(r"[\s,.!?]+", " ", text.strip().lower()).strip()
        # "A minim" is the note A; only what cannot be read with its article is read without it.
        bare = re.sub(rf"^(?:{_any(self.openings)})+", "", plain)
        return self._fact(plain) or (self._fact(bare) if bare != plain else None)

    def _fact(self, plain: str) -> Fact | None:
        if plain in self.steps:
            return real(self.steps[plain])
        if plain in self.names:
            return real(self.names[plain])
        if plain in self.octaves:
            return real(octave_name(self.octaves[plain]))
        for pattern in self._patterns:
            if found := pattern.fullmatch(plain):
                return self._built({k: v for k, v in found.groupdict().items() if v is not None})
        return None

    @cached_property
    def _patterns(self) -> tuple[re.Pattern[str], ...]:
        parts = {"step": _any(self.steps), "value": _any(self.values), "octave": _any(self.octaves),
                 "accidental": _any(self.accidentals), "count": f"[1-7]|{_any(self.counts)}", "upper": "[0-9]+",
                 "lower": "[0-9]+", "number": "[1-9]", "dynamic": "[a-z]+"}
        forms = (*self.note_forms, *self.placed_forms, *self.rest_forms, *self.key_forms, *self.time_forms,
                 *self.ending_forms, *self.dynamic_forms)
        filled = []
        for form in forms:
            text = re.escape(form).replace(r"\{", "{").replace(r"\}", "}")
            for name, part in parts.items():
                text = text.replace(f"{{{name}}}", f"(?P<{name}>{part})")
            filled.append(re.compile(text.replace("{dotted}", f"(?P<dotted>{re.escape(self.dotted)})?")))
        return tuple(filled)

    def _built(self, found: Mapping[str, str]) -> Fact | None:
        """The fact that is put together from the parts of a form."""
        dotted = "dotted" in found
        if "octave" in found:
            return real(placed_name(self.steps[found["step"]], self.octaves[found["octave"]]))
        if "step" in found:
            return real(note_name(self.steps[found["step"]], self.values[found["value"]], dotted))
        if "value" in found:
            return real(rest_name(self.values[found["value"]], dotted))
        if "count" in found:
            count = self.counts.get(found["count"]) or int(found["count"])
            return real(key_name(count * self.accidentals[found["accidental"]]))
        if "upper" in found:
            return real(f"time {int(found['upper'])} {int(found['lower'])}")
        if "number" in found:
            return real(f"ending {found['number']}")
        return real(f"dynamic {found['dynamic']}")

    # --- cells ---

    def cells(self, text: str) -> list[str]:
        """What typed cells may mean, likeliest first: Unicode cells, dots ("145", "5-145", "dots 1 4 5", "dot 5,
        then 1 4 5"), or Braille ASCII ("D"; after "ascii:" whatever it looks like). Empty for what is none of these.
        """
        text = text.strip()[:MOST_CELLS]
        if text.lower().startswith(ASCII):
            return [_six_dots(to_cells(text[len(ASCII):].strip()))]
        if unicode_cells := "".join(c for c in text if 0x2800 <= ord(c) <= 0x28FF):
            return [_six_dots(unicode_cells.strip(S.SPACE))]
        groups = self._dot_numbers(text)
        if groups is not None:
            return _dot_readings(groups)
        cells = to_cells(text.replace(" ", S.SPACE))
        return [cells] if cells and all(0x2800 <= ord(c) < 0x2840 for c in cells) else []

    def _dot_numbers(self, text: str) -> list[list[str]] | None:
        """Groups of dot numbers, a group for each cell; None where other things stand among them."""
        words = re.sub(rf"\b(?:{_any(self.cell_breaks)})\b|,", " - ", text.lower())
        bare = re.sub(rf"\b(?:{_any(self.cell_fillers)})\b", " ", words).strip(" .")
        if not re.fullmatch(r"[0-6\s-]+", bare) or not re.search(r"[1-6]", bare):
            return None
        return [g.split() for g in bare.split("-") if g.strip()]


def _any(words: Collection[str]) -> str:
    """A pattern for any of these, longer ones first."""
    return "|".join(map(re.escape, sorted(words, key=len, reverse=True)))


def _dot_readings(groups: list[list[str]]) -> list[str]:
    out = []
    if any(len(g) > 1 for g in groups) and all(len(d) == 1 for g in groups for d in g):
        # "1 4 5" is one cell as it is said; as three cells it comes second.
        out.append("".join(from_dots("".join(g)) for g in groups))
    out.append("".join(from_dots(d) for d in itertools.chain.from_iterable(groups)))
    return list(dict.fromkeys(out))


def _six_dots(cells: str) -> str:
    """Dots 7 and 8, which some displays add for capitals and the cursor, do not count."""
    return "".join(chr(0x2800 + (ord(c) - 0x2800 & 0x3F)) if 0x2800 <= ord(c) <= 0x28FF else c for c in cells)
