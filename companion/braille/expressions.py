"""Numbers, signatures, metronome marks and words of expression as cells."""

from __future__ import annotations

import unicodedata
from fractions import Fraction
from itertools import pairwise

from companion.braille import signs as S
from companion.braille import text as T
from companion.braille.rhythm import ROWS
from companion.braille.units import MOST_DOTS
from companion.tune import DirectionKind, Jump, Key, ScoreDirection, Time


def _value_cells() -> dict[tuple[int, int], dict[str, str]]:
    out = {}
    for row, dots in enumerate(S.ROW_DOTS):
        cells = {step: S.cells(upper + dots) for step, upper in S.NAMES.items()} | {"": S.cells(S.ROW_RESTS[row])}
        out[row] = cells
    out[len(S.ROW_DOTS)] = {step: cell + S.BREVE + cell for step, cell in out[0].items()}
    return {(row, dots): {step: cell + S.DOT * dots for step, cell in cells.items()}
            for row, cells in out.items() for dots in range(MOST_DOTS + 1)}


#: Cells by row (4: the breve) and dots, then by letter; "" is the rest.
VALUE_CELLS = _value_cells()


def number_cells(digits: str, lower: bool = False) -> str:
    """Digits in upper or lowered cells, with no number sign."""
    return "".join((S.LOWER_DIGITS if lower else S.UPPER_DIGITS)[d] for d in digits)


def signs_cells(sign: str, count: int) -> str:
    """So many sharps, flats or naturals: up to three written out, else number, digit, sign."""
    return sign * count if count <= 3 else S.NUMBER + number_cells(str(count)) + sign


def key_cells(key: Key, old: Key | None = None) -> str:
    """A key signature; after an old one, the naturals that take back what no longer holds come first.

    Naturals (De Garmo, chapter 10): all of the old signs where the new key has other ones or none, else as many
    as fall away.
    """
    sign = S.ACCIDENTALS[1 if key.fifths > 0 else -1]
    new = signs_cells(sign, abs(key.fifths))
    if old is None or old.fifths == 0:
        return new
    same = key.fifths * old.fifths > 0
    gone = abs(old.fifths) - abs(key.fifths) if same else abs(old.fifths)
    return signs_cells(S.ACCIDENTALS[0], max(0, gone)) + new


def time_cells(time: Time) -> str:
    """A time signature: common, cut, or upper figures then lowered ones; 3+2 as two upper figures."""
    if time.symbol:
        return S.COMMON if time.symbol == "common" else S.CUT
    upper = S.PLUS.join(S.NUMBER + number_cells(str(u)) for u in time.upper)
    return upper + number_cells(str(time.lower), lower=True)


def metronome_cells(text: str) -> str:
    """ "1=96" (the beat's value in crotchets, then beats a minute) as note, sign, number; "" if it is not that."""
    unit, _, number = text.partition("=")
    try:
        beat_value, per_minute = Fraction(unit), round(float(number), 2)
    except (ValueError, ZeroDivisionError, OverflowError):
        return ""
    for dots in range(3):
        place = ROWS.get((beat_value / (2 - Fraction(1, 2**dots))).as_integer_ratio())
        if place and not place[1] and place[0] < 4:
            return VALUE_CELLS[place[0], dots]["C"] + S.METRONOME + T.words(f"{per_minute:g}")
    return ""


_JUMP, _WORDS, _DYNAMIC = DirectionKind.JUMP, DirectionKind.WORDS, DirectionKind.DYNAMIC  # looked up once: see `pieces`


def expression_text(said: ScoreDirection) -> str:
    """Words of expression as they stand in music: small letters, no accents, short forms where the code has one."""
    if said.kind is _JUMP:
        return Jump(said.text).short
    text = said.text.strip()
    text = text if said.kind is _DYNAMIC else text.lower()
    text = "".join(c for c in unicodedata.normalize("NFD", text) if not unicodedata.combining(c))
    return S.SHORT_WORDS.get(text, text).strip("()[] ")


def stands_apart(said: ScoreDirection) -> bool:
    """Several words, words with a point or an apostrophe before their end, and directions where to go, stand between word
    signs with a space on either side."""
    if said.kind is _JUMP:
        return Jump(said.text).sign is None
    if said.kind not in (_WORDS, _DYNAMIC):
        return False
    text = expression_text(said)
    return not set(text[:-1]).isdisjoint(" .'’") or text in ("c", "d")  # a single c or d would read as a hairpin


#: Letters as they are spelt where there are no accents.
_SPELT = str.maketrans({"ß": "ss", "ẞ": "ss", "œ": "oe", "æ": "ae", "Œ": "oe", "Æ": "ae"} | {
    letter: base for letter, (_stroke, base) in S.STROKES.items()})


def expression_cells(text: str) -> str:
    """The words themselves: letters, figures and plain points; the point of an abbreviation is dot 3. Letters as they are spelt
    without accents and ligatures; Trouble, naming it, for a letter that has no such spelling."""
    text = text.translate(_SPELT)
    if strange := next((c for c in text if c.isalpha() and c not in S.LETTERS and c.lower() not in S.LETTERS), ""):
        T.words(strange)
    out = ""
    for before, c in pairwise(f" {text}"):
        if c in S.UPPER_DIGITS:
            out += ("" if before in S.UPPER_DIGITS else S.NUMBER) + S.UPPER_DIGITS[c]
        else:
            out += S.DOT if c == "." else S.SPACE if c == " " else S.LETTERS.get(c) or _punctuation(c)
    return S.SPACE.join(filter(None, out.split(S.SPACE)))  # of a mark that is left out no space is left either


def _punctuation(c: str) -> str:
    cells = S.cells(S.PUNCTUATION.get(c, "0"))
    return cells if len(cells) == 1 and S.is_left(cells) else ""
