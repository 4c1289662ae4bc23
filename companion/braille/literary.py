"""The literary braille codes that words may be written in, uncontracted: one row of facts a language.

English is Unified English Braille (UEB). Letters, capitals, numbers and marks of the others are those of liblouis 3.24
(de-g0.utb, fr-bfu-comp6.utb, es-g1.ctb, it-it-comp6.utb), with which a test compares them. German marks no capitals; where a
page has them all the same (de-g0-detailed.utb: dots 4 6, dots 4 5 before several), they are read.
Latin has no table there: it is written as English, whose letters it has.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cached_property

from companion.braille import signs as S
from companion.errors import Trouble
from companion.messages import _


class WordLanguage(StrEnum):
    """The language that words are in, by its ISO 639 code."""

    ENGLISH = "en"
    GERMAN = "de"
    FRENCH = "fr"
    SPANISH = "es"
    ITALIAN = "it"
    LATIN = "la"


_UPPER = {d: S.dots_of(cell) for d, cell in S.UPPER_DIGITS.items()}
#: Digits of the French code: a to i with dot 6, and 0 (Code braille français uniformisé).
_FRENCH_DIGITS = dict(zip("0123456789", "3456 16 126 146 1456 156 1246 12456 1256 246".split(), strict=True))
_COMMON = {",": "2", ";": "23", ":": "25", "!": "235", "-": "36", "…": "3-3-3"}


@dataclass(frozen=True)
class Literary:
    """One code, in dots. letters: those beside a to z. marks: punctuation. capital: before one capital; capital_word:
    before several; capital_end: where they end within a word, "" where such a word has single signs. over: marks that do
    not end capitals. number: before digits; in_number: marks after which it still holds; letter_sign: before a to j and
    the marks of `signed` after digits. plain and contracted: tables of liblouis, "" where there is none. folded: print
    forms that are written as another. capitals_read: the three signs of capitals where they are read and never written.
    """

    letters: Mapping[str, str]
    marks: Mapping[str, str]
    capital: str
    capital_word: str
    plain: str
    contracted: str = ""
    capital_end: str = ""
    over: str = ""
    number: str = "3456"
    digits: Mapping[str, str] = field(default_factory=lambda: _UPPER)
    in_number: str = ""
    letter_sign: str = ""
    signed: str = ""
    folded: Mapping[str, str] = field(default_factory=dict)
    capitals_read: tuple[str, str, str] = ("", "", "")

    @cached_property
    def letter_cells(self) -> dict[str, str]:
        return S.LETTERS | {letter: S.cells(dots) for letter, dots in self.letters.items()}

    @cached_property
    def mark_cells(self) -> dict[str, str]:
        return {mark: S.cells(dots) for mark, dots in self.marks.items()}

    @cached_property
    def digit_cells(self) -> dict[str, str]:
        return {digit: S.cells(dots) for digit, dots in self.digits.items()}

    @cached_property
    def signs(self) -> dict[str, str]:
        """Letters and marks by their cells: a letter before a mark, else the one named first; … is read as three points."""
        found = {cells: "..." if mark == "…" else mark for mark, cells in reversed(self.mark_cells.items())}
        return found | {cells: letter for letter, cells in reversed(self.letter_cells.items())}

    @cached_property
    def pairs(self) -> dict[str, tuple[str, str]]:
        """Marks that open and close with the same cells."""
        found = self.mark_cells
        return {found[a]: (a, b) for a, b in ("“”", "«»", "()", "¿?", "¡!") if a in found and found[a] == found.get(b)}


#: Quotation marks of one kind that other print has, and the apostrophe's other form.
_AS_QUOTES = {"«": "“", "»": "”", "’": "'"}
CODES: Mapping[WordLanguage, Literary] = {
    WordLanguage.GERMAN: Literary(
        {"ä": "345", "ö": "246", "ü": "1256", "ß": "2346", "é": "4-15", "è": "4-15", "ê": "4-15", "à": "4-1", "á": "4-1",
         "â": "4-1", "ç": "4-14", "ñ": "4-1345", "ô": "4-135", "î": "4-24"},
        _COMMON | {".": "3", "?": "26", "'": "6", "“": "236", "”": "356", "‘": "6-236", "’": "6-356", "(": "2356", ")": "2356",
                   "–": "6-36", "—": "6-36", "/": "5-2", "*": "6-35", "&": "5-136"},
        "", "", "de-g0.utb", "de-g2.ctb", in_number=".,", letter_sign="6", signed=":;!?", folded={"«": "”", "»": "“"},
        capitals_read=("46", "45", "6")),
    WordLanguage.FRENCH: Literary(
        {"à": "12356", "â": "16", "æ": "345", "ç": "12346", "é": "123456", "è": "2346", "ê": "126", "ë": "1246", "î": "146",
         "ï": "12456", "ô": "1456", "œ": "246", "ù": "23456", "û": "156", "ü": "1256"},
        _COMMON | {"…": "256-256-256", ".": "256", "?": "26", "'": "3", "«": "2356", "»": "2356", "“": "2356", "”": "2356",
                   "(": "236", ")": "356", "–": "36-36", "—": "456-36", "/": "34", "*": "35", "&": "5-123456"},
        "46", "46-46", "fr-bfu-comp6.utb", "fr-bfu-g2.ctb", capital_end="6-3", over="-", number="6", digits=_FRENCH_DIGITS,
        in_number=".,:-/", folded={"’": "”", "‘": "“"}),
    WordLanguage.SPANISH: Literary(
        {"á": "12356", "é": "2346", "í": "34", "ó": "346", "ú": "23456", "ü": "1256", "ñ": "12456"},
        _COMMON | {".": "3", "?": "26", "¿": "26", "¡": "235", "'": "3", "“": "236", "”": "236", "‘": "236", "(": "126",
                   ")": "345", "–": "36", "—": "36-36", "/": "6-2", "*": "35", "&": "6-12346"},
        "46", "46-46", "es-g1.ctb", "es-g2.ctb", folded=_AS_QUOTES),
    WordLanguage.ITALIAN: Literary(
        {"à": "12356", "è": "2346", "é": "123456", "ì": "34", "ò": "346", "ó": "346", "ù": "23456"},
        _COMMON | {".": "256", "?": "26", "'": "3", "“": "236", "”": "356", "(": "236", ")": "356", "–": "36-36",
                   "—": "36-36", "/": "256", "*": "35", "&": "12346"},
        "46", "4-6", "it-it-comp6.utb", in_number="-", folded=_AS_QUOTES | {"‘": "'"}),
}
#: Tables of liblouis for English, whose signs stand in `signs` and whose rules in `text`.
ENGLISH_PLAIN, ENGLISH_CONTRACTED = "en-ueb-g1.ctb", "en-ueb-g2.ctb"


def coded_words(text: str, code: Literary) -> str:
    """Text (composed letters, one form of each mark) in a code. Raises Trouble, naming it, for a letter without a sign."""
    return S.SPACE.join(_coded_word(word, code) for word in folded(text, code).split(" "))


def folded(text: str, code: Literary) -> str:
    """One form of each mark that the code does not tell apart; ’ is an apostrophe unless it ends a quotation."""
    text = re.sub(r"’(?=\w)", "'", text) if "‘" in text else text.replace("’", "'")
    text = text.replace("...", "…")
    return text.translate({ord(a): b for a, b in code.folded.items()})


def _coded_word(word: str, code: Literary) -> str:
    out: list[str] = []
    number = capitals = False
    for at, raw in enumerate(word):
        letter = raw.lower()
        if raw in code.digits:
            out.append(code.digit_cells[raw] if number else S.cells(code.number) + code.digit_cells[raw])
            number, capitals = True, False
        elif raw in code.marks:
            out.append((S.cells(code.letter_sign) if number and raw in code.signed else "") + code.mark_cells[raw])
            number, capitals = number and raw in code.in_number, capitals and raw in code.over
        elif letter in code.letter_cells:
            if raw != letter and code.capital and not capitals:
                capitals = _several_capitals(word[at:], code)
                out.append(S.cells(code.capital_word if capitals else code.capital))
            elif raw == letter and capitals:
                out.append(S.cells(code.capital_end))
                capitals = False
            if number and code.letter_sign and letter <= "j":
                out.append(S.cells(code.letter_sign))
            number = False
            out.append(code.letter_cells[letter])
        else:
            raise Trouble(_("The words have {letter}, which has no sign in the braille of their language; write it in other "
                            "letters.").format(letter=f"“{raw}”"))
    return "".join(out)


def _several_capitals(word: str, code: Literary) -> bool:
    """Whether the sign for several capitals stands at the beginning of this rest of a word."""
    count = next((k for k, letter in enumerate(word) if not letter.isupper()), len(word))
    if count > 1:
        return bool(code.capital_end) or not word[count:count + 1].islower()
    # A word goes on over some marks: SAINT-JEAN.
    stop = next((k for k, letter in enumerate(word) if not letter.isalpha() and letter not in code.over), len(word))
    letters = "".join(letter for letter in word[:stop] if letter.isalpha())
    return len(letters) > 1 and letters.isupper()


def read_coded_words(cells: str, code: Literary) -> str:
    """Cells of a code back to text; capitals where the code marks them. What is no sign is passed over."""
    return _CodeReader(cells, code).read()


_BEFORE_OPENING = frozenset(" ([—–-“‘«¿¡'")
_LONGEST_SIGN = 9


class _CodeReader:
    """Reads words from left to right; what a sign for capitals or numbers has set holds until something ends it."""

    def __init__(self, cells: str, code: Literary) -> None:
        self.cells, self.code, self.at = cells, code, 0
        self.out: list[str] = []
        self.number = self.capital = self.capitals = False
        self.open: set[str] = set()
        self.digits = {cell: digit for digit, cell in code.digit_cells.items()}
        signs = (code.capital, code.capital_word, code.capital_end) if code.capital else code.capitals_read
        self.one, self.several, self.end = (S.cells(dots) if dots else "" for dots in signs)

    def read(self) -> str:
        while self.at < len(self.cells):
            self.at += self._sign()
        return "".join(self.out)

    def _sign(self) -> int:
        """One sign; how many cells it has."""
        code, cells, at = self.code, self.cells, self.at
        if cells[at] in (S.SPACE, " "):
            self.out.append(" ")
            self.number = self.capitals = False
            return 1
        if self.number and cells[at] in self.digits:
            self.out.append(self.digits[cells[at]])
            return 1
        if self.number and code.letter_sign and cells[at] == S.cells(code.letter_sign) and (
                cells[at + 1:at + 2] in self.digits or code.signs.get(cells[at + 1:at + 2], "-") in code.signed):
            self.number = False
            return 1
        if length := self._setting():
            return length
        for length in range(min(_LONGEST_SIGN, len(cells) - at), 0, -1):
            if found := code.signs.get(cells[at:at + length]):
                self._put(found, cells[at:at + length])
                return length
        return 1

    def _setting(self) -> int:
        """A sign for capitals or numbers: how many cells it has, 0 for none."""
        here = self.cells[self.at:self.at + 2]
        if self.end and self.capitals and here.startswith(self.end) and self._letter_at(self.at + len(self.end)):
            self.capitals = False
            return len(self.end)
        if self.several and here.startswith(self.several):
            self.capitals = True
            return len(self.several)
        if self.one and here[0] == self.one:
            self.capital = True
        elif here[0] == S.cells(self.code.number) and here[1:] in self.digits:
            self.number, self.capitals = True, False
        else:
            return 0
        return 1

    def _letter_at(self, at: int) -> bool:
        """Whether a letter stands there, with its accent where that has a cell of its own."""
        return any(self.code.signs.get(self.cells[at:at + length], "").isalpha() for length in (1, 2))

    def _put(self, found: str, cells: str) -> None:
        if found in self.code.letter_cells:
            self.number = False
            self.out.append(found.upper() if (self.capital or self.capitals) and found != "ß" else found)
            self.capital = False
            return
        self.number = self.number and found in self.code.in_number
        self.capitals = self.capitals and found in self.code.over
        if found == "." and cells == self.code.mark_cells["'"] and self._within():
            found = "'"  # Spanish has one cell for both
        if pair := self.code.pairs.get(cells):
            opens = cells not in self.open and (not self.out or self.out[-1] in _BEFORE_OPENING)
            (self.open.add if opens else self.open.discard)(cells)
            found = pair[0] if opens else pair[1]
        self.out.append(found)

    def _within(self) -> bool:
        """Whether a letter stands before this cell and another after it."""
        after = self.cells[self.at + 1:self.at + 2]
        return bool(self.out) and self.out[-1].isalpha() and (self.code.signs.get(after, "").isalpha()
                                                              or after == (self.one or S.SPACE))
