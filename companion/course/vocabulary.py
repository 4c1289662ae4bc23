"""What is typed for an answer, read into facts. The words of a language are a `Vocabulary`, which the language fills.

Nothing here knows a word of any language; `companion.language.answers` has those of English.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from functools import cached_property
from typing import TypeVar

from companion.braille import signs as S
from companion.braille import to_cells
from companion.course.facts import Fact, FactKind, ending_name, key_name, note_name, octave_name, placed_name, real, rest_name
from companion.tune import Direction

T = TypeVar("T")

MOST_CELLS = 400  # of what is typed; a line of braille has 40
ASCII = "ascii:"  # before Braille ASCII that looks like something else


class Command(StrEnum):
    """What may be typed instead of an answer."""

    STOP = "stop"
    SKIP = "skip"
    AGAIN = "again"
    DOTS = "dots"
    NOT_KNOWN = "not known"
    TUNE = "tune"
    KEY = "key"
    HELP = "help"
    MORE = "more"


@dataclass(frozen=True, eq=False)
class Vocabulary:
    """The words in which people answer: lower case, one space between words, no punctuation but apostrophes.

    steps: letters of notes and other names for them ("c" to "C"). values: undotted, in quarters. octaves: whole phrases
    to 0 (below the first) to 8. accidentals: 1 for sharps, -1 for flats. counts: of the signs of a key. names: any other
    name to those of the facts that it may mean. numbers: counts, ordinals and parts. directions, yes_or_no, commands:
    what they mean. name_like_commands: commands unless a name is wanted, of which they may be one.

    note_forms ... ending_forms: how parts are put together, with {step}, {dotted}, {value}, {octave}, {count},
    {place}, {accidental}, {upper}, {lower} or {number} for a part. dotted: the word, its space after it included. symbols:
    characters and the words that they stand for.
    openings, endings: what may stand before and after an answer and says nothing. small_words: what may stand anywhere
    around a direction, a number, yes or no.
    ordinal_endings: of ordinals in figures.
    cell_openings: before cells. cell_fillers, cell_breaks: words among dot numbers that say nothing, and that begin a
    new cell. dot_words: numbers of dots. whole_cells: cells in words, to their dots. prose: words that could be cells,
    and are none.
    """

    steps: Mapping[str, str]
    values: Mapping[str, Fraction]
    octaves: Mapping[str, int]
    accidentals: Mapping[str, int]
    counts: Mapping[str, int]
    names: Mapping[str, tuple[str, ...]]
    numbers: Mapping[str, Fraction]
    directions: Mapping[str, Direction]
    yes_or_no: Mapping[str, bool]
    commands: Mapping[str, Command]
    name_like_commands: Mapping[str, Command]
    dotted: str
    symbols: Mapping[str, str]
    note_forms: tuple[str, ...]
    placed_forms: tuple[str, ...]
    rest_forms: tuple[str, ...]
    key_forms: tuple[str, ...]
    time_forms: tuple[str, ...]
    ending_forms: tuple[str, ...]
    dynamic_forms: tuple[str, ...]
    openings: tuple[str, ...]
    endings: tuple[str, ...]
    small_words: frozenset[str]
    ordinal_endings: tuple[str, ...]
    cell_openings: tuple[str, ...]
    cell_fillers: tuple[str, ...]
    cell_breaks: tuple[str, ...]
    dot_words: Mapping[str, str]
    whole_cells: Mapping[str, str]
    prose: frozenset[str]

    # --- small words ---

    def command(self, text: str, name_wanted: bool = False) -> Command | None:
        """What is asked for instead of an answer, None where it is an answer."""
        found = self.commands.get(text.strip().lower())
        for plain in self._bared(_plain(text)):
            found = found or self.commands.get(plain) or (None if name_wanted else self.name_like_commands.get(plain))
        return found

    def direction(self, text: str) -> Direction | None:
        """Which way, from a word or from a sentence with no more than that in it."""
        return self._one_of(text, self.directions)

    def yes(self, text: str) -> bool | None:
        return self._one_of(text, self.yes_or_no)

    def _one_of(self, text: str, words: Mapping[str, T]) -> T | None:
        """The one meaning in a text of known words; None where there are several, or a word is not known."""
        plain = _plain(self._spelt(text))
        for bare in self._bared(plain):
            if bare in words:
                return words[bare]
        found = {words[w] for w in plain.split() if w in words}
        known = all(w in words or w in self.small_words for w in plain.split())
        return found.pop() if known and len(found) == 1 else None

    def number(self, text: str) -> Fraction | None:
        """ "2", "two", "1.5", "one and a half beats", "2nd", "the second note"; None for what is no number."""
        text = self._spelt(text).strip(" .!?\"'")
        for bare in self._bared(re.sub(r"\s+", " ", text)):
            bare = bare.strip(" .!?")
            if bare in self.numbers:
                return self.numbers[bare]
            found = re.fullmatch(rf"([0-9]{{1,3}}(?:[.,][0-9]{{1,3}})?)(?:{'|'.join(self.ordinal_endings)})?", bare)
            if found:
                return Fraction(found[1].replace(",", "."))
        return None

    def route(self, text: str) -> tuple[int, ...] | None:
        """Bars in the order in which they are sung: "1 2 1 3", "1,2,1,3", "1213", "one two one three", "bar 1, then 2";
        None for what is none."""
        words = re.findall(r"[a-z']+|[0-9]+", self._spelt(text))
        some: list[int] = []
        for word in words:
            if word.isdigit():
                some += [int(word)] if len(words) > 1 and len(word) < 3 else [int(d) for d in word]
            elif (n := self.numbers.get(word)) is not None and n.denominator == 1 and n > 0:
                some.append(int(n))
            elif word not in self.small_words and word not in self.openings and word not in self.cell_breaks \
                    and word not in self.cell_fillers and word not in self.endings:
                return None
        return tuple(some) if some else None

    def octave(self, text: str) -> int | None:
        """An octave where only that is asked for: "4", "fourth", "the fourth octave", "octave number 4"."""
        placed = next((f for f in self.facts(text) if f.kind in (FactKind.OCTAVE, FactKind.PLACED)), None)
        value = self.number(text) if placed is None else placed.number
        return int(value) if value is not None and value in range(len(S.OCTAVE_WORDS)) else None

    def value(self, text: str) -> tuple[Fraction, bool] | None:
        """A note's value alone, undotted, and whether it is dotted: "a dotted crotchet"."""
        for bare in self._bared(_plain(self._spelt(text))):
            undotted = bare.removeprefix(self.dotted)
            if undotted in self.values:
                return self.values[undotted], undotted != bare
        return None

    # --- names ---

    def fact(self, text: str) -> Fact | None:
        """The likeliest fact that a name means, None for none."""
        return next(iter(self.facts(text)), None)

    def facts(self, text: str) -> tuple[Fact, ...]:
        """What a name may mean, likeliest first: "c", "C crotchet", "quarter note C", "4th octave", "2 sharps"."""
        # "A minim" is the note A; only what cannot be read with its article is read without it.
        for bare in self._bared(_plain(self._spelt(text))):
            if found := tuple(f for f in self._facts(bare) if f is not None):
                return found
        return ()

    def _spelt(self, text: str) -> str:
        """In lower case, with words for symbols."""
        text = text.lower()
        for symbol, word in self.symbols.items():
            text = text.replace(symbol, word)
        return text

    def _bared(self, plain: str) -> Iterator[str]:
        """A text, and what is left of it as words that say nothing are taken away from its end and its beginning."""
        ended = [plain]
        while ending := max((e for e in self.endings if ended[-1].endswith(f" {e}")), key=len, default=None):
            ended.append(ended[-1].removesuffix(ending).strip())
        for begun in ended:
            yield begun
            while opening := max((o for o in self.openings if begun.startswith(f"{o} ")), key=len, default=None):
                begun = begun.removeprefix(opening).strip()
                yield begun

    def _facts(self, plain: str) -> Iterator[Fact | None]:
        if plain in self.steps:
            yield real(self.steps[plain])
        for name in self.names.get(plain, ()):
            yield real(name)
        if plain in self.octaves:
            yield real(octave_name(self.octaves[plain]))
        for pattern in self._patterns:
            if found := pattern.fullmatch(plain):
                yield self._built({k: v for k, v in found.groupdict().items() if v is not None})
                return
    @cached_property
    def _patterns(self) -> tuple[re.Pattern[str], ...]:
        parts = {"step": _any(self.steps), "value": _any(self.values), "octave": _any(self.octaves),
                 "accidental": _any(self.accidentals), "count": f"[1-7]|{_any(self.counts)}", "upper": "[0-9]{1,2}",
                 "lower": "[0-9]{1,2}", "number": "[1-9]", "dynamic": "[a-z]+",
                 "place": f"[1-7]|{_any([w for w, n in self.numbers.items() if n in range(1, 8)])}"}
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
        if "place" in found:
            return real(placed_name(self.steps[found["step"]], int(self.numbers.get(found["place"]) or found["place"])))
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
            return real(ending_name(int(found["number"])))
        return real(f"dynamic {found['dynamic']}")

    # --- cells ---

    def cells(self, text: str) -> list[str]:
        """What typed cells may mean, likeliest first: Unicode cells, dots ("145", "1-4-5", "dots 1, 4 and 5", "dot 5,
        then 1 4 5", "d145"), the keys of a braille keyboard (FJK), or Braille ASCII ("D"; after "ascii:" whatever it
        looks like). Empty for what is none of these.
        """
        text = text.strip()[:MOST_CELLS]
        if text.lower().startswith(ASCII):
            return [_six_dots(to_cells(text[len(ASCII):].strip()))]
        if unicode_cells := "".join(c for c in text if 0x2800 <= ord(c) <= 0x28FF):
            return _without_number(_six_dots(unicode_cells.strip(S.SPACE)))
        plain = _plain(text)
        if plain in self.whole_cells:
            return [S.cells(self.whole_cells[plain])]
        segments = self._dot_numbers(text)
        if segments is not None:
            return _dot_readings(segments)
        # "Keys" is no opening that says nothing: it says that these are keys.
        bare = re.sub(rf"^(?:(?:{_any(self.cell_openings)})\s+)+", "", text, flags=re.IGNORECASE).strip(" '\"`") or text
        forms = (text.replace(" ", S.SPACE), bare.replace(" ", S.SPACE), bare.replace(" ", ""))
        ascii_cells = [c for c in map(to_cells, forms)
                       if c and all(0x2800 <= ord(x) < 0x2840 for x in c)]
        return list(dict.fromkeys([*ascii_cells, *_keys(bare)]))

    def surely_cells(self, text: str) -> bool:
        """Whether a text that can be read as cells is meant so, and is no sentence."""
        text = text.strip()
        if text.lower().startswith(ASCII) or any(0x2800 <= ord(c) <= 0x28FF for c in text) \
                or _plain(text) in self.whole_cells:
            return True
        segments = self._dot_numbers(text)
        if segments is not None:
            return True
        if self.command(text) is not None or re.fullmatch(r"[\d\s,.-]*\d[\d\s,.-]*", text):
            return False  # a wish, or numbers that are no dots
        bare = re.sub(rf"^(?:(?:{_any(self.cell_openings)})\s+)+", "", text, flags=re.IGNORECASE)
        return bool(bare) and (len(bare) == 1 or not self.facts(text)) and self._looks_like_a_bar(bare)

    def _looks_like_a_bar(self, bare: str) -> bool:
        """Whether Braille ASCII could be a bar: runs of letters of one value, or chords, and no words or names."""
        runs = re.findall(r"[a-z']+", bare.lower())
        names = len(runs) > 1 and all(r in self.steps for r in runs)
        words = any(r in self.prose for r in runs) or (bare[-1] in "'?!.," and any(len(r) > 1 for r in runs))
        if names or words or (len(bare) > 1 and set(bare) == {"."}):
            return False
        chords = (set(r) <= KEYS and len(set(r)) == len(r) for r in runs)
        return all(len(r) == 1 or set(r) <= QUAVERS or set(r) <= MINIMS or chord for r, chord in zip(runs, chords, strict=True))

    def _dot_numbers(self, text: str) -> list[list[list[str]]] | None:
        """Dot numbers: parts between which a new cell surely begins, in each groups, in each tokens; None where other
        things stand among them."""
        words = re.sub(r"\b[dp][-. ]?(?=[0-9])", " ", f" {text.lower()} ")
        words = re.sub(rf"\b(?:{_any(self.dot_words)})\b", lambda m: self.dot_words[m[0]], words)
        words = re.sub(rf"\b(?:{_any(self.cell_breaks)})\b|[;|/\n]", " : ", words)
        words = re.sub(rf"\b(?:{_any(self.cell_fillers)})\b|[,&+.\u2010-\u2015]", " - ", words)
        bare = re.sub(rf"^[\s-]*(?:{_any(self.cell_openings)})\b", " ", words).strip(" .!?'\"()`:-")
        if not re.fullmatch(r"[0-8\s:-]+", bare) or not re.search(r"[1-6]", bare):
            return None
        return [[g.split() for g in part.split("-") if g.strip()] for part in bare.split(":") if part.strip(" -")]


#: Letters of Braille ASCII that are notes; a run of letters all of one value may be a bar.
QUAVERS, MINIMS, KEYS = frozenset("defghij"), frozenset("nopqrst"), frozenset("fdsjkl")
MOST_READINGS = 24


def _plain(text: str) -> str:
    """Lower case, one space between words, no punctuation but apostrophes."""
    text = text.lower().replace("\u2019", "'").replace("\u2018", "'")
    return re.sub(r"[\s,.!?;:\"()`\u201c\u201d_*-]+", " ", text).strip(" '")


def _any(words: Collection[str]) -> str:
    """A pattern for any of these, longer ones first."""
    return "|".join(map(re.escape, sorted(words, key=len, reverse=True)))


def _dot_readings(parts: Sequence[Sequence[Sequence[str]]]) -> list[str]:
    """Cells that dot numbers may mean. "1-4-5" is one cell as it is said; as three cells it comes last."""
    each = [_part_readings(groups) for groups in parts]
    return list(dict.fromkeys("".join(chosen) for chosen in itertools.islice(itertools.product(*each), MOST_READINGS)))


def _part_readings(groups: Sequence[Sequence[str]]) -> list[str]:
    tokens = [t for g in groups for t in g]
    single = all(len(t) == 1 for t in tokens)
    in_groups = "".join(_cells_of("".join(g)) if all(len(t) == 1 for t in g) else "".join(map(_cells_of, g))
                        for g in groups)
    apart = "".join(map(_cells_of, tokens))
    mixed = len(groups) > 1 and any(len(g) > 1 for g in groups)
    if not single:
        return [in_groups, apart]
    together = _cells_of("".join(tokens))
    # "5, 1 4 5" shows by its spaces where the cells end; "1, 4 and 5" and "1-4-5" are one.
    return [in_groups, together, apart] if mixed else [together, apart]


def _cells_of(digits: str) -> str:
    """One cell, in whatever order its dots are; where a dot comes twice a new cell begins wherever they go down.

    Dots 7 and 8 do not count."""
    digits = digits.replace("7", "").replace("8", "")
    if len(set(digits)) == len(digits):
        return S.cells("".join(sorted(digits))) if digits else ""
    runs = [digits[0]]
    for d in digits[1:]:
        if d > runs[-1][-1]:
            runs[-1] += d
        else:
            runs.append(d)
    return "".join(map(S.cells, runs))


#: The six keys of a braille keyboard on a usual one, from the left: dots 3 2 1 and 4 5 6.
_DOT_OF_KEY = {"f": "1", "d": "2", "s": "3", "j": "4", "k": "5", "l": "6"}


def _keys(text: str) -> list[str]:
    """Chords of the six keys as cells: "fjk", "k fjk", "f+j+k"; none where other keys are among them."""
    chords = re.split(r"[\s,]+", text.lower().strip())
    chords = [re.sub(r"[+-]", "", c) for c in chords]
    if not all(c and set(c) <= KEYS and len(set(c)) == len(c) for c in chords):
        return []
    cells = ["".join(sorted(_DOT_OF_KEY[k] for k in c)) for c in chords]
    found = ["".join(map(S.cells, cells))]
    together = "".join(cells)
    if len(cells) > 1 and all(len(c) == 1 for c in cells) and len(set(together)) == len(together):
        found.append(S.cells("".join(sorted(together))))
    return found


def _without_number(cells: str) -> list[str]:
    """A line from a display: as it is, and without the number of its bar before it."""
    number, space, rest = cells.partition(S.SPACE)
    return [cells, rest.strip(S.SPACE)] if space and rest and number.startswith(S.NUMBER) else [cells]


def _six_dots(cells: str) -> str:
    """Dots 7 and 8, which some displays add for capitals and the cursor, do not count."""
    return "".join(chr(0x2800 + (ord(c) - 0x2800 & 0x3F)) if 0x2800 <= ord(c) <= 0x28FF else c for c in cells)
