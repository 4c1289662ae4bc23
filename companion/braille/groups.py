"""Groups of cells that are no bar of notes: signatures, numbers, repeats, rests of several bars, words.

A group is what stands between spaces. What each says is here too.
"""

from __future__ import annotations

import re
from fractions import Fraction
from functools import lru_cache

from companion.braille import signs as S
from companion.braille.model import Meaning, MeaningKind
from companion.braille.rhythm import BASES
from companion.braille.signs import WHOLE_REST, Role
from companion.braille.text import read_words
from companion.braille.units import NOTES, Unit, read_expression, shape_of, split, unit
from companion.tune import DirectionKind, Key, ScoreDirection, Time

_U, _L = "".join(S.UPPER_DIGITS.values()), "".join(S.LOWER_DIGITS.values())
_SHARP, _FLAT, _NATURAL = S.ACCIDENTALS[1], S.ACCIDENTALS[-1], S.ACCIDENTALS[0]
_TIME = (f"{S.COMMON}|{S.CUT}|{S.NUMBER}[{_U}]{{1,3}}(?:{S.PLUS}{S.NUMBER}[{_U}]{{1,3}})*[{_L}]{{1,2}}")
SIGNATURE = re.compile(
    f"(?P<naturals>{_NATURAL}{{1,3}}|{S.NUMBER}[{_U}]{_NATURAL})?"
    f"(?P<key>{_SHARP}{{1,3}}|{_FLAT}{{1,3}}|{S.NUMBER}[{_U}](?:{_SHARP}|{_FLAT}))?(?P<time>{_TIME})?")
METRONOME_MARK = re.compile(f"(?P<note>[{''.join(n for n in NOTES if len(n) == 1)}])(?P<dots>{S.DOT}{{0,2}})"
                        f"{S.METRONOME}(?P<number>{S.NUMBER}[{_U}]{{1,4}}(?:{S.PUNCT_POINT}[{_U}]{{1,3}})?)")
BAR_NUMBER = re.compile(f"{S.NUMBER}(?P<number>[{_U}]{{1,4}})(?P<within>{S.DOT}?)")
REPEAT = re.compile(f"{S.BAR_REPEAT}(?:{S.NUMBER}(?P<times>[{_U}]{{1,3}}))?(?P<tail>.*)", re.DOTALL)
RESTS = re.compile(f"(?:(?P<few>{WHOLE_REST}{{2,3}})|{S.NUMBER}(?P<many>[{_U}]{{1,3}}){WHOLE_REST})(?P<tail>.*)",
                    re.DOTALL)
TEXT = S.LEFT_CELLS.replace(S.WORD, "")
EXPRESSION = f"{S.WORD}[{TEXT}]++(?:[{S.SPACE}\n][{TEXT}]++)*+{S.WORD}(?=[{S.SPACE}\n]|$)"
EXPRESSIONS = re.compile(f"{EXPRESSION}|{S.WORD}[{TEXT}]++(?:{S.SPACE}[{TEXT}]++)++$")
GROUPS = re.compile(f"{EXPRESSION}|[^{S.SPACE}\n]++")
#: Only a group that begins with one of these can be something else than notes.
SPECIAL = frozenset((S.NUMBER, S.BAR_REPEAT, WHOLE_REST, S.WORD, _SHARP, _FLAT, _NATURAL, S.COMMON[0], S.CUT[0]))
assert S.METRONOME == S.BAR_REPEAT  # so that one look finds either within a group
DIGIT = {cell: d for d, cell in S.UPPER_DIGITS.items()} | {cell: d for d, cell in S.LOWER_DIGITS.items()}


def read_digits(cells: str) -> int:
    return int("".join(DIGIT[c] for c in cells if c in DIGIT))


@lru_cache(maxsize=1024)
def read_signature(cells: str) -> tuple[Key | None, Time | None] | None:
    """Key and time that a group of cells gives, each None where it does not; None where it is no signature."""
    match = SIGNATURE.fullmatch(cells)
    if not match or not cells:
        return None
    key = time = None
    if signs := match["key"]:
        count = read_digits(signs[1]) if signs[0] == S.NUMBER else len(signs)
        if count > 7:
            return None
        key = Key(count if signs[-1] == _SHARP else -count)
    elif match["naturals"]:
        key = Key(0)
    if signs := match["time"]:
        if signs in (S.COMMON, S.CUT):
            time = Time((4,), 4, "common") if signs == S.COMMON else Time((2,), 2, "cut")
        else:
            lower = "".join(c for c in signs if c in _L and c != S.PLUS)
            upper = tuple(read_digits(part) for part in signs[:len(signs) - len(lower)].split(S.PLUS))
            if 0 in upper or read_digits(lower) not in (1, 2, 4, 8, 16, 32, 64):
                return None
            time = Time(upper, read_digits(lower))
    return key, time


def read_metronome(match: re.Match[str]) -> ScoreDirection:
    row = NOTES[match["note"]][1]
    base = BASES[row] * (2 - Fraction(1, 2 ** len(match["dots"])))
    return ScoreDirection(DirectionKind.METRONOME, f"{base}={read_words(match['number'])}")


@lru_cache(maxsize=10_000)
def read_group(group: str) -> tuple[list[str], list[Unit], bool, tuple[int, ...]]:
    """A group's cells cut into units, the units, whether all are plain, and its shape. Not to be changed."""
    cells = split(group)
    units = [unit(piece) for piece in cells]
    return cells, units, all(u.plain for u in units), shape_of(units)


def all_bar_signs(cells: str) -> bool:
    """Whether cells are signs of a bar line and nothing else."""
    return all(not (u := unit(piece)).kind and not u.unknown for piece in split(cells))


def is_expression(cells: str) -> bool:
    """Whether cells are words between word signs."""
    return cells[:1] == S.WORD and cells[-1:] == S.WORD


def meanings(cells: str) -> list[tuple[int, int, Meaning]]:
    """What a group that is no bar of notes says: (offset, cells, meaning)."""
    length = len(cells)
    if cells[:1] == S.BAR_REPEAT:
        times = (read_digits(cells[2:]),) if length > 1 else ()
        return [(0, length, Meaning(MeaningKind.BAR_REPEAT, numbers=times))]
    if cells == S.HYPHEN:
        return [(0, 1, Meaning(MeaningKind.SIGN, S.sign_of(Role.HYPHEN)))]
    if is_expression(cells):
        return [(0, length, Meaning(MeaningKind.WORDS, text=read_expression(cells[1:-1])))]
    if match := METRONOME_MARK.fullmatch(cells):
        return [(0, length, metronome_meaning(match))]
    if signature := read_signature(cells):
        return signature_meanings(cells, *signature)
    if cells[:1] == S.NUMBER and cells[-1:] == WHOLE_REST:
        return [(0, length, Meaning(MeaningKind.BARS_OF_REST, numbers=(read_digits(cells[1:-1]),)))]
    if set(cells) == {WHOLE_REST}:
        return [(i, 1, Meaning(MeaningKind.SIGN, S.sign_of(Role.WHOLE_REST))) for i in range(length)]
    if BAR_NUMBER.fullmatch(cells):
        return [(0, length, Meaning(MeaningKind.BAR_NUMBER, numbers=(read_digits(cells),)))]
    return list(unit(cells).said)


def metronome_meaning(match: re.Match[str]) -> Meaning:
    return Meaning(MeaningKind.METRONOME, text=read_metronome(match).text)


def signature_meanings(cells: str, key: Key | None, time: Time | None) -> list[tuple[int, int, Meaning]]:
    """What a key and time signature say, one after the other."""
    match = SIGNATURE.fullmatch(cells)
    at = len(cells) - len(match["time"] or "") if match else 0
    out = []
    if key is not None:
        out.append((0, at, Meaning(MeaningKind.KEY, key=key)))
    if time is not None:
        out.append((at, len(cells) - at, Meaning(MeaningKind.TIME, time=time)))
    return out


def time_name(time: Time) -> str:
    """As the JSON of the commands has it: "4 4 time", "common time"."""
    return f"{time.symbol} time" if time.symbol else f"{' + '.join(map(str, time.upper))} {time.lower} time"
