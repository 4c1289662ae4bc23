"""Cells in their several forms (Unicode, Braille ASCII, dots), words in uncontracted UEB, cells in words."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from fractions import Fraction
from functools import lru_cache

from companion.braille import signs as S
from companion.braille.literary import (
    CODES,
    ENGLISH_CONTRACTED,
    WordLanguage,
    coded_words,
    folded,
    read_coded_words,
)
from companion.errors import Trouble
from companion.messages import _
from companion.tune import Pitch

_TO_ASCII = {chr(S.CELL_BASE + i): c for i, c in enumerate(S.ASCII)}
_TO_CELLS = {c: cell for cell, c in _TO_ASCII.items()} | {
    c.lower(): cell for cell, c in _TO_ASCII.items()} | {"`": S.cells("4"), "{": S.cells("246"),
                                                          "|": S.cells("1256"), "}": S.cells("12456"),
                                                          "~": S.cells("45")}


def to_ascii(text: str) -> str:
    """Unicode cells as North American Braille ASCII; what is no six-dot cell stays as it is."""
    return "".join(_TO_ASCII.get(c, c) for c in text)


def to_cells(text: str) -> str:
    """Braille ASCII as Unicode cells (lower case counts as upper); cells and line ends stay as they are."""
    return "".join(_TO_CELLS.get(c, c) for c in text)


def to_dots(text: str) -> str:
    """Cells as dot numbers: "⠐⠙" is "5-145"; an empty cell is a space between."""
    return " ".join("-".join(S.dots_of(c) for c in word) for word in text.split(S.SPACE))


def from_dots(text: str) -> str:
    """ "5-145" or "5 145" as cells; "0" is an empty cell. Raises ValueError for what is no dot number."""
    if not all(c in "012345678- \t" for c in text):
        raise ValueError(f"{text!r} is not dot numbers")
    return S.cells(text.replace("\t", " "))


def typed(text: str) -> tuple[str, str]:
    """Cells as people type them, and what of it is no cell.

    Unicode cells stay; dot numbers ("5-145", "5 145") where there is nothing else; otherwise Braille ASCII.
    Nothing is lost: characters that are no cell in that form come back as the second value, in order.
    """
    if any("\u2800" <= c <= "\u28ff" for c in text):
        cells = "".join(c for c in text if "\u2800" <= c <= "\u28ff")
        return cells, "".join(c for c in text if not ("\u2800" <= c <= "\u28ff" or c.isspace()))
    groups = text.replace("-", " ").split()
    if groups and all(g == "0" or (set(g) <= set("123456") and list(g) == sorted(set(g))) for g in groups):
        return from_dots(text), ""
    cells = to_cells(text)
    return "".join(c for c in cells if "\u2800" <= c <= "\u28ff"), "".join(
        c for c in cells if not ("\u2800" <= c <= "\u28ff" or c.isspace()))


def chord(keys: set[int]) -> str:
    """The cell of six keys held together, each a dot number 1 to 6. Raises ValueError for other keys."""
    if not keys <= {1, 2, 3, 4, 5, 6}:
        raise ValueError(f"keys {sorted(keys)} are not dots 1 to 6")
    return chr(S.CELL_BASE + sum(1 << (k - 1) for k in keys))


_PLAIN = str.maketrans(S.LETTERS)
PASSAGE = 3  # so many words in capitals have one sign (UEB 8.5)


#: Print forms that braille does not tell apart: marks that open and close a quotation go by what they do (UEB 7.6), a
#: letter's other forms and spaces by what they are; an undertie between words sung as one (NIM 16-8) parts them.
_SAME = str.maketrans({"„": "“", "‚": "‘", "‟": "“", "‑": "-", "−": "-", "‿": " ", "´": "’", "`": "‘", "ʼ": "’",
                       "\t": " ", "\n": " ", "\r": " ", "\f": " ", "\v": " ", "\u00a0": " ", "\u202f": " ", "\u2009": " "})
_LOW_QUOTES = re.compile("„([^“”„]*)“|‚([^‘’‚]*)‘")
#: What has no ink of its own: controls, joiners, soft hyphens, marks of direction.
_UNSEEN = ("Cc", "Cf")


def _plain_forms(text: str) -> str:
    """Text in composed letters, with one form of each mark; a low quotation mark makes the next high one a closing one."""
    text = unicodedata.normalize("NFC", text)
    if text.isascii():
        return text.translate(_SAME)
    text = _LOW_QUOTES.sub(lambda m: f"“{m[1]}”" if m[1] is not None else f"‘{m[2]}’", text).translate(_SAME)
    return "".join(c for c in text if unicodedata.category(c) not in _UNSEEN)


def _letter_cells(letter: str) -> tuple[str, str] | None:
    """A lower-case letter: its plain first letter ("" where it has none) and its cells; None where it has none."""
    if letter in S.STROKES:
        stroke, base = S.STROKES[letter]
        return "", S.cells(stroke) + S.LETTERS[base]
    if letter in S.LIGATURES:
        both = S.LIGATURES[letter]
        return both[0], S.LETTERS[both[0]] + S.LIGATURE + S.LETTERS[both[1]]
    if letter in S.OTHER_LETTERS:
        return "", S.cells(S.OTHER_LETTERS[letter])
    apart = unicodedata.normalize("NFD", letter)
    base, marks = apart[0], apart[1:]
    if base not in S.LETTERS or not all(m in S.ACCENTS for m in marks):
        return None
    return ("" if marks else base), "".join(S.cells(S.ACCENTS[m]) for m in marks) + S.LETTERS[base]


@lru_cache(maxsize=4096)
def _word(word: str) -> str:
    """One word, with no space in it."""
    if word.isascii() and word.isalpha():
        if word.islower():
            return word.translate(_PLAIN)
        if word[1:].islower() or len(word) == 1:
            return S.CAPITAL + word.lower().translate(_PLAIN)
    out = []
    number = shouting = False
    for at, raw in enumerate(word):
        if raw in S.UPPER_DIGITS:
            if not number:
                out.append(S.NUMBER)
            number, shouting = True, False
            out.append(S.UPPER_DIGITS[raw])
        elif raw in S.PUNCTUATION:
            shouting = False
            out.append(S.cells(S.PUNCTUATION[raw]))
            number = number and raw in ".,"
        elif found := _letter_cells(raw.lower()):
            first, letter = found
            if raw.isupper():
                # Two capitals and more: the sign once for all of them (UEB 8.4); it ends with the letters.
                if not shouting:
                    shouting = word[at + 1:at + 2].isupper()
                    out.append(S.CAPITAL_WORD if shouting else S.CAPITAL)
                    if not shouting:
                        letter = letter.replace(S.LIGATURE, S.CAPITAL + S.LIGATURE)  # both its letters are capitals
            else:
                if shouting:
                    out.append(S.CAPITAL_END)
                    shouting = False
                if number and first and first <= "j":
                    out.append(S.GRADE1)
            number = False
            out.append(letter)
        else:
            raise Trouble(_("The words have {letter}, which has no sign in Unified English Braille; write it in other "
                            "letters.").format(letter=f"“{raw}”"))
    return "".join(out)


def words(text: str, language: WordLanguage = WordLanguage.ENGLISH) -> str:
    """Text in uncontracted braille, Unified English Braille for English and Latin. Raises Trouble, naming it, for a letter
    that has no sign."""
    if code := CODES.get(language):
        return coded_words(_plain_forms(text), code)
    parts = _plain_forms(text).split(" ")
    if len(parts) < PASSAGE or text.islower():
        return S.SPACE.join(map(_word, parts))
    return S.SPACE.join(_with_passages(parts))


def _with_passages(parts: list[str]) -> Iterator[str]:
    """Words in cells, three words in capitals and more as a passage (UEB 8.5): one sign before the first letter, and one after
    the last word. Figures and marks that stand by themselves go on in it and are no words of it."""
    at = 0
    while at < len(parts):
        end = words_in = 0
        for k in range(at, len(parts)):
            if any(map(str.islower, parts[k])):
                break
            if any(map(str.isupper, parts[k])):
                end, words_in = k + 1, words_in + 1
            elif k == at:
                break
        if words_in < PASSAGE:
            end = max(end, at + 1)
            yield from map(_word, parts[at:end])
        else:
            begins = next(k for k, c in enumerate(parts[at]) if c.isupper())
            yield _word(parts[at][:begins]) + S.CAPITAL_PASSAGE + S.SPACE.join(
                _word(part.lower()) for part in (parts[at][begins:], *parts[at + 1:end])) + S.CAPITAL_END
        at = end


_READ_LETTERS = {cell: letter for letter, cell in S.LETTERS.items()}
_READ_PUNCTUATION = {S.cells(d): c for c, d in reversed(list(S.PUNCTUATION.items()))}
_READ_DIGITS = {cell: digit for digit, cell in S.UPPER_DIGITS.items()}
_READ_ACCENTS = {S.cells(d): mark for mark, d in S.ACCENTS.items()}
_READ_STROKES = {S.cells(stroke) + S.LETTERS[base]: letter for letter, (stroke, base) in S.STROKES.items()}
_READ_OTHERS = {S.cells(d): letter for letter, d in S.OTHER_LETTERS.items()}
_READ_LIGATURES = {S.LETTERS[both[0]] + capital + S.LIGATURE + S.LETTERS[both[1]]: letter
                   for letter, both in S.LIGATURES.items() for capital in ("", S.CAPITAL)}


_BEFORE_OPENING = frozenset(" ([{—–-“‘«")
_READ_THREES = {cells: sign for cells, sign in _READ_PUNCTUATION.items() if len(cells) == 3 and sign in "¿¡"}


class _WordReader:
    """Reads uncontracted UEB from left to right; what a capital or number sign has set holds until a sign ends it."""

    def __init__(self, cells: str) -> None:
        self.cells, self.at = cells, 0
        self.out: list[str] = []
        self.number = self.capital = self.capital_word = self.passage = False

    def read(self) -> str:
        while self.at < len(self.cells):
            self.at += self._long() or self._pair(self.cells[self.at:self.at + 2]) or self._single(self.cells[self.at])
        return "".join(self.out)

    def _long(self) -> int:
        """A ligature, a letter with a stroke, a sign of three cells; how many cells were read, 0 for none."""
        for length in (5, 4, 3):
            cells = self.cells[self.at:self.at + length]
            if letter := _READ_LIGATURES.get(cells) or _READ_STROKES.get(cells):
                self.number = False
                self._letter(letter)
                return length
        if cells == S.CAPITAL_PASSAGE:
            self.passage, self.number = True, False
            return 3
        if cells in _READ_THREES:
            self.out.append(_READ_THREES[cells])
            self.number = False
            return 3
        return 0

    def _pair(self, pair: str) -> int:
        """A sign of two cells, or a letter with an accent; how many cells were read, 0 for none."""
        accent, bare = _READ_ACCENTS.get(pair), _READ_LETTERS.get(self.cells[self.at + 2:self.at + 3])
        if pair == S.CAPITAL_WORD:
            self.capital_word = True
        elif pair == S.CAPITAL_END and (self.capital_word or self.passage):
            self.capital_word = self.passage = False
        elif accent and bare:
            self._letter(unicodedata.normalize("NFC", bare + accent))
            return 3
        elif letter := _READ_OTHERS.get(pair):
            self.number = False
            self._letter(letter)
        elif sign := _READ_PUNCTUATION.get(pair):
            self.out.append(sign)
            self.number = self.capital_word = False
        else:
            return 0
        return 2

    def _single(self, cell: str) -> int:
        """A sign of one cell; cells that are none are passed over."""
        if cell in (S.SPACE, " "):
            self.out.append(" ")
            self.number = self.capital_word = False
        elif cell == S.NUMBER:
            self.number, self.capital_word = True, False  # capitals end at what is no letter (UEB 8.4)
        elif cell == S.CAPITAL:
            self.capital, self.number = True, False
        elif cell == S.GRADE1:
            self.number = False
        elif self.number and cell in _READ_DIGITS:
            self.out.append(_READ_DIGITS[cell])
        elif letter := _READ_LETTERS.get(cell):
            self.number = False
            self._letter(letter)
        elif sign := _READ_PUNCTUATION.get(cell):
            self.capital_word = False
            self.number = self.number and sign in ".,"  # UEB 6.3: a point or comma goes on in the number, a hyphen ends it
            # Dots 236 open a quotation where a word begins, and ask after one (UEB 7.5, 7.6).
            opens = sign == "?" and (not self.out or self.out[-1] in _BEFORE_OPENING)
            self.out.append("“" if opens else sign)
        return 1

    def _letter(self, letter: str) -> None:
        capital = "ẞ" if letter == "ß" else letter.upper()
        self.out.append(capital if self.capital or self.capital_word or self.passage else letter)
        self.capital = False


def read_words(text: str, language: WordLanguage = WordLanguage.ENGLISH) -> str:
    """Uncontracted braille back to text (letters, digits, capitals where they are marked, and plain punctuation)."""
    if code := CODES.get(language):
        return read_coded_words(text, code)
    return _WordReader(text).read()


def pitch_only_heading() -> str:
    """What stands above a page that gives pitch and no values, so that nobody takes its quavers for quavers."""
    return _("reading exercise: pitch only")


def contracted(text: str, language: WordLanguage = WordLanguage.ENGLISH) -> str:
    """Text in contracted braille, by liblouis. Raises Trouble where the machine has it not, and for a language without
    contractions."""
    from companion.braille.louis import translate

    words(text, language)  # a letter without a sign is named; liblouis would write its number
    code = CODES.get(language)
    table = code.contracted if code else ENGLISH_CONTRACTED if language is WordLanguage.ENGLISH else ""
    if not table:
        raise Trouble(_("There is no contracted braille for words in {language}; ask for uncontracted ones.").format(
                            language=f"“{language}”"))
    return translate(plain_forms(text, language), table)


def plain_forms(text: str, language: WordLanguage) -> str:
    """Text as it is before it is written: composed letters, one form of each mark."""
    code = CODES.get(language)
    return folded(_plain_forms(text), code) if code else _plain_forms(text)


def note_cells(pitch: Pitch | None, base: Fraction, dots: int = 0, octave: bool = True,
               accidental: int | None = None) -> str:
    """The cells of one note standing alone: accidental, octave mark, note, dots; of a rest without a pitch.

    base: undotted value in quarters. accidental: semitones of the sign to write, None for no sign.
    """
    if pitch is None:
        return (S.REST_CELLS.get(base) or S.REST_CELLS[Fraction(4)] + S.BREVE + S.REST_CELLS[Fraction(4)]) \
            + S.DOT * dots
    out = "" if accidental is None else S.ACCIDENTALS[accidental]
    if octave:
        out += S.OCTAVES[min(8, max(0, pitch.octave))]
    if base == 8:
        whole = S.NOTE_CELLS[pitch.step, Fraction(4)]
        return out + whole + S.BREVE + whole
    return out + S.NOTE_CELLS[pitch.step, base] + S.DOT * dots


def letter_of(cell: str) -> str | None:
    """The print letter that a cell is in literary braille, None where it is none: the letter trap's other face."""
    return _READ_LETTERS.get(cell)
