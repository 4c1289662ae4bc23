"""A note with the signs that belong to it, as cells: taken apart by the same tables that write it.

A group of cells between spaces (a bar, as a rule) falls into units: signs that stand before a note, the note or
rest, signs that stand after it. `split` cuts a group, `unit` reads one; both never raise, whatever the cells.
"""

from __future__ import annotations

import re
from functools import lru_cache

from companion.braille import signs as S
from companion.braille.rhythm import BREVE, GROUP, LARGER, REST, SMALLER
from companion.braille.text import read_words
from companion.tune import STEPS, ScoreDirection

#: Cells that words are made of: six-dot cells with any of dots 1, 2, 3 (a word of music ends where dots 4, 5, 6
#: stand alone, since the octave mark of the next note is due there), dot 3 itself apart.
TEXT_CELLS = "".join(c for c in (chr(S.CELL_BASE + i) for i in range(64))
                     if (ord(c) - S.CELL_BASE) & 7 and c not in (S.DOT, S.WORD))
_T = f"[{TEXT_CELLS}]"
_LOWER = "".join(S.LOWER_DIGITS.values())
_UPPER = "".join(S.UPPER_DIGITS.values())

#: What a sign does. "mark" carries its name; the rest are read by `unit`.
HEAD: dict[str, tuple[str, object]] = {
    **{cell: ("mark", name) for name, cell in S.BEFORE.items()},
    **{cell: ("octave", n) for n, cell in S.OCTAVES.items()},
    **{cell: ("accidental", n) for n, cell in S.ACCIDENTALS.items()},
    S.EDITORIAL: ("editorial", None), S.SLUR_OPEN: ("slur opens", None), S.SLUR_CLOSE: ("slur closes", None),
    S.TRIPLET: ("group", 3), S.LARGER_VALUES: ("size", LARGER), S.SMALLER_VALUES: ("size", SMALLER),
    S.FORWARD_REPEAT: ("forward", None), S.SEGNO: ("jump", "segno"), S.CODA: ("jump", "coda"),
    S.CRESCENDO_END: ("hairpin end", None), S.DIMINUENDO_END: ("hairpin end", None),
    **{S.GROUP + "".join(S.LOWER_DIGITS[d] for d in str(n)) + S.DOT: ("group", n) for n in range(2, 21)},
}
TAIL: dict[str, tuple[str, object]] = {
    S.DOT: ("dot", None), S.SLUR: ("slur", None), S.TIE: ("tie", None), S.SLUR_CLOSE: ("slur closes", None),
    S.AFTER["fermata"]: ("after", "fermata"), S.AFTER["breath"]: ("after", "breath"),
}
BARS: dict[str, tuple[str, object]] = {
    S.BACKWARD_REPEAT: ("backward", None), S.FINAL_BAR: ("barline", "final"), S.DOUBLE_BAR: ("barline", "double"),
    S.DOTTED_BAR: ("barline", "dotted"), S.IN_ACCORD: ("in-accord", None),
}
NOTES: dict[str, tuple[str, int]] = {}
RESTS: dict[str, int] = {}
for _row, _dots in enumerate(S.ROW_DOTS):
    for _name, _upper in S.NAMES.items():
        NOTES[S.cells(_upper + _dots)] = (_name, _row)
    RESTS[S.cells(S.ROW_RESTS[_row])] = _row
for _name in S.NAMES:
    _whole = S.NOTE_CELLS[_name, S.LARGER[0]]
    NOTES[_whole + S.BREVE + _whole] = (_name, BREVE)
RESTS[S.cells(S.ROW_RESTS[0]) + S.BREVE + S.cells(S.ROW_RESTS[0])] = BREVE


def _any(*tables: dict[str, object]) -> str:
    found = sorted({cell for table in tables for cell in table}, key=lambda c: (-len(c), c))
    return "|".join(map(re.escape, found))


_WORDS = f"{S.WORD}{_T}++{S.DOT}?"
_ENDING = f"{S.NUMBER}[{_LOWER}]++{S.DOT}?"
#: Signs that a dot 3 may follow, which keeps what comes next from running into them.
_DOTTED = dict.fromkeys((S.SEGNO, S.CODA, S.CRESCENDO_END, S.DIMINUENDO_END))
_HEADS = f"(?:{_any(_DOTTED)}){S.DOT}?|{_any(HEAD)}"  # type: ignore[arg-type]
_CORE = _any(NOTES, RESTS)  # type: ignore[arg-type]
_TAILS = _any(TAIL)  # type: ignore[arg-type]
_BARS = _any(BARS)  # type: ignore[arg-type]
_UNIT = re.compile(
    f"(?:(?!{_BARS})(?:{_HEADS}|{_WORDS}|{_ENDING}))++(?:(?:{_CORE})(?:{_TAILS})*+(?:{_BARS})*+|(?:{_BARS})*+)"
    f"|(?:{_CORE})(?:{_TAILS})*+(?:{_BARS})*+|(?:{_BARS})++|.", re.DOTALL)
_HEAD_TOKEN = re.compile(f"(?!{_BARS})(?:{_HEADS}|{_WORDS}|{_ENDING})", re.DOTALL)
_CORE_TOKEN = re.compile(_CORE)
_TAIL_TOKEN = re.compile(f"{_TAILS}|{_BARS}")

#: The order in which signs stand before a note (De Garmo; MBC 2015). A smaller number after a greater one is
#: out of order.
RANK = {"forward": 1, "ending": 1, "jump": 1, "words": 1, "hairpin end": 1, "slur opens": 2, "slur closes": 2,
        "group": 3, "size": 3, "mark": 4, "editorial": 5, "accidental": 5, "octave": 6}

split = _UNIT.findall


class Unit:
    """One unit of cells, read by itself: what the bar and the notes before must add is not in it.

    kind: "note", "rest" or "" for signs without a note. row: 0 to 3, or 4 for a breve. code: for
    `rhythm.read_bar`. octave, alter: None where no sign stands. slur: 0, 1, or 2 for a doubled one. reset:
    something stands here after which an octave mark is due. problems and said: places are offsets in the unit.
    """

    __slots__ = ("after", "alter", "backward", "barline", "before", "code", "core", "dots", "editorial", "ending",
                 "forward", "grace", "group", "index", "kind", "lead", "marks", "octave", "plain", "problems", "reset", "row",
                 "said", "size", "slur", "slur_closes", "slur_opens", "step", "tie", "unknown")

    def __init__(self) -> None:
        self.kind = self.step = self.grace = self.barline = ""
        self.row = self.dots = self.code = self.group = self.size = self.slur = 0
        self.slur_opens = self.slur_closes = 0
        self.index = 0  # of the letter, C 0 to B 6
        self.core = (0, 0)  # offset and cells of the note itself, its dots included
        self.lead = 0  # cells at its beginning that are not the note's own: words, repeat signs, an ending's number
        self.octave: int | None = None
        self.alter: int | None = None
        self.editorial = self.tie = self.forward = self.backward = self.reset = self.plain = self.unknown = False
        self.marks: tuple[str, ...] = ()
        self.after: tuple[str, ...] = ()
        self.before: tuple[ScoreDirection, ...] = ()
        self.ending: tuple[int, ...] = ()
        self.problems: tuple[tuple[int, str], ...] = ()
        self.said: tuple[tuple[int, int, str], ...] = ()


def _name_of(kind: str, value: object) -> str:
    if kind == "octave" and isinstance(value, int):
        return "octave mark"
    if kind == "accidental" and isinstance(value, int):
        return S.ACCIDENTAL_WORDS[value]
    names = {"group": "group sign", "size": "value sign", "editorial": "bracket", "slur opens": "slur's bracket",
             "slur closes": "slur's bracket", "forward": "repeat sign", "ending": "ending's number",
             "words": "word", "jump": "sign", "hairpin end": "hairpin's end"}
    return names.get(kind) or str(value)


def direction(text: str) -> ScoreDirection:
    """Words as they stood after a word sign, as a direction: a dynamic, a hairpin, a jump or words."""
    if text == "c":
        return ScoreDirection("crescendo")
    if text == "d":
        return ScoreDirection("diminuendo")
    if text in S.DYNAMICS:
        return ScoreDirection("dynamic", text)
    for jump, short in S.JUMP_WORDS.items():
        if text == short:
            return ScoreDirection("jump", jump)
    return ScoreDirection("words", S.LONG_WORDS.get(text, text))


def read_expression(cells: str) -> str:
    """Words within music back to text; dot 3 is the point of an abbreviation."""
    return "".join(read_words(part) if part != S.DOT else "." for part in re.split(f"({S.DOT})", cells))


@lru_cache(maxsize=20_000)
def unit(cells: str) -> Unit:
    """Read one unit. What is not understood is in its `problems`, never an error."""
    u = Unit()
    problems: list[tuple[int, str]] = []
    said: list[tuple[int, int, str]] = []
    marks: list[str] = []
    after: list[str] = []
    before: list[ScoreDirection] = []
    at = rank = 0
    previous = ""
    while match := _HEAD_TOKEN.match(cells, at):
        token = match[0]
        if token[0] == S.WORD and token.rstrip(S.DOT) not in HEAD:
            kind, value = "words", None
            text = read_words(token[1:].rstrip(S.DOT))
            ends = at + len(token)
            # Dot 3 is an abbreviation's point where it need not keep what comes next from running into the word.
            point = text in S.ABBREVIATIONS or (ends < len(cells) and not (ord(cells[ends]) - S.CELL_BASE) & 7)
            if token[-1] == S.DOT and point and len(text) > 1 and text not in S.DYNAMICS:
                text += "."
            before.append(direction(text))
            u.reset = True
            said.append((at, len(token), {"c": "louder from here", "d": "softer from here"}.get(
                text, f"dynamic {text}" if text in S.DYNAMICS else f"words: {text}")))
        elif token[0] == S.NUMBER:
            kind, value = "ending", None
            digits = "".join(str(_LOWER.index(c)) for c in token[1:].rstrip(S.DOT))
            u.ending = tuple(int(d) for d in digits if d != "0")
            u.reset = True
            said.append((at, len(token), f"ending {' and '.join(digits)}"))
        else:
            if token not in HEAD:
                token = token[:-1]
                said.append((at + len(token), 1, S.APART_WORDS))
            kind, value = HEAD[token]
            said.append((at, len(token), S.SIGN_WORDS.get(token) or f"group of {value}"))
            if kind == "mark":
                if value in ("appoggiatura", "short appoggiatura"):
                    u.grace = "short" if value == "short appoggiatura" else "long"
                else:
                    marks.append(str(value))
            elif kind == "octave" and isinstance(value, int):
                u.octave = value
            elif kind == "accidental" and isinstance(value, int):
                u.alter = value
            elif kind == "editorial":
                u.editorial = True
            elif kind == "slur opens":
                u.slur_opens += 1
            elif kind == "slur closes":
                u.slur_closes += 1
            elif kind == "group" and isinstance(value, int):
                u.group = value
            elif kind == "size" and isinstance(value, int):
                u.size = value
            elif kind == "forward":
                u.forward = u.reset = True
            elif kind == "jump":
                before.append(ScoreDirection("jump", str(value)))
                u.reset = True
            else:
                before.append(ScoreDirection("hairpin end"))
                u.reset = True
        now = RANK[kind]
        if now < rank:
            problems.append((at, f"The {_name_of(kind, value)} stands after the {previous}; "
                                 "it belongs before it."))
        elif now == rank == 6:
            problems.append((at, "There are two octave marks; the last one counts."))
        rank, previous = now, _name_of(kind, value)
        at += len(match[0])
        if now <= 1:
            u.lead = at
    if match := _CORE_TOKEN.match(cells, at):
        token = match[0]
        if token in NOTES:
            u.kind = "note"
            u.step, u.row = NOTES[token]
            u.index = STEPS.index(u.step)
        else:
            u.kind, u.row = "rest", RESTS[token]
        core = at
        at += len(token)
        after_core = at
        while match := _TAIL_TOKEN.match(cells, at):
            token = match[0]
            kind, value = TAIL.get(token) or BARS[token]
            if kind == "dot":
                if at != after_core + u.dots:
                    problems.append((at, "The dot stands apart from its note; it belongs right after the note."))
                elif u.dots == 4:
                    problems.append((at, "There are more than four dots after the note."))
                else:
                    u.dots += 1
                at += len(token)
                continue
            said.append((at, len(token), S.SIGN_WORDS[token]))
            if kind == "slur":
                u.slur += 1
            elif kind == "tie":
                u.tie = True
            elif kind == "slur closes":
                u.slur_closes += 1
            elif kind == "after":
                after.append(str(value))
            else:
                _bar_sign(u, kind, value, at, problems)
            at += len(token)
        u.core = (core, after_core + u.dots - core)
    else:
        while match := _TAIL_TOKEN.match(cells, at):
            token = match[0]
            if token not in BARS:
                break
            said.append((at, len(token), S.SIGN_WORDS[token]))
            _bar_sign(u, *BARS[token], at, problems)
            at += len(token)
        if rank >= 2 and at == len(cells) and not (u.backward or u.barline):
            problems.append((0, f"The {previous} has no note after it."))
    if at < len(cells):
        u.unknown = True
        problems.append((at, "This sign is not known here; it is passed over."))
    if u.kind == "rest" and (u.octave is not None or u.alter is not None):
        problems.append((0, "A rest has neither octave mark nor accidental; they are passed over."))
    u.marks = tuple(marks)
    u.after = tuple(after)
    u.before = tuple(before)
    u.problems = tuple(problems)
    u.said = tuple(said)
    u.code = u.row + 8 * u.dots + (REST if u.kind == "rest" else 0)
    u.plain = u.kind != "" and not (
        marks or after or before or u.grace or u.barline or u.slur or u.slur_opens or u.slur_closes or u.group
        or u.size or u.ending or u.forward or u.backward or u.editorial or problems)
    return u


def _bar_sign(u: Unit, kind: str, value: object, at: int, problems: list[tuple[int, str]]) -> None:
    u.reset = True
    if kind == "backward":
        u.backward = True
    elif kind == "barline":
        u.barline = str(value)
    else:
        problems.append((at, "Here begins a second voice in the same bar; only one voice at a time is read."))


def shape_of(units: list[Unit]) -> tuple[int, ...]:
    """The cells of a bar as `rhythm.read_bar` wants them; grace notes have no time and are left out."""
    shape: list[int] = []
    for u in units:
        if u.kind and not u.grace:
            if u.size:
                shape.append(u.size)
            if u.group:
                shape.append(GROUP + u.group)
            shape.append(u.code)
    return tuple(shape)
