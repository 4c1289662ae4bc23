"""Chord symbols in cells, as they stand in a line of their own below the music; `chords` reads such lines.

MBC 2015, section 23 (short-form scoring and chord symbols; from memory): a symbol is a capital letter, its sharp or flat as
in music, letters and upper figures; a bass note follows after a slash (dots 3 4). Its first cell stands below the first cell
of its note. Where symbols would run into each other, the music makes room: a music hyphen and spaces within a bar, further
spaces between bars. Signs of print other than letters, figures, sharp, flat and slash are not known here and are refused.
"""

from __future__ import annotations

import re

from companion.braille import signs as S
from companion.braille.groups import read_digits
from companion.errors import Trouble
from companion.messages import _
from companion.tune import ChordKind, ChordNote, ChordSymbol

SLASH = S.cells("34")
_ALTERS = {0: "", 1: S.ACCIDENTALS[1], -1: S.ACCIDENTALS[-1]}
_SIGNS = {cells: alter for alter, cells in _ALTERS.items()}
_BY_SUFFIX = {kind.suffix: kind for kind in ChordKind if kind.suffix is not None}
_STEPS = {S.LETTERS[step.lower()]: step for step in "ABCDEFG"}
_NOTE = f"{S.CAPITAL}(?P<{{0}}>[{''.join(_STEPS)}])(?P<{{0}}_alter>[{S.ACCIDENTALS[1]}{S.ACCIDENTALS[-1]}]?)"
_LETTERS = "|".join(sorted({"".join(S.LETTERS[c] for c in suffix.rstrip("0123456789")) for suffix in _BY_SUFFIX} - {""},
                           key=len, reverse=True))
_SYMBOL = re.compile(f"{_NOTE.format('root')}(?P<letters>(?:{_LETTERS})?)(?:{S.NUMBER}(?P<figures>"
                     f"[{''.join(S.UPPER_DIGITS.values())}]{{1,2}}))?(?:{SLASH}{_NOTE.format('bass')})?")
_BY_LETTER = {cells: letter for letter, cells in S.LETTERS.items()}


def chord_cells(chord: ChordSymbol, bar: int) -> str:
    """A chord symbol in cells. bar: its printed number. Raises Trouble for a kind that is not written here."""
    suffix = chord.kind.suffix
    if suffix is None:
        raise Trouble(_("Bar {number} has the chord symbol {chord}, which is not written here: only letters, figures, sharp, "
                        "flat and a bass note after a slash are. Write it as one of those, or leave --chords out.").format(
                            number=bar, chord=chord.name))
    letters = suffix.rstrip("0123456789")
    figures = suffix[len(letters):]
    out = _note_cells(chord.root) + "".join(S.LETTERS[c] for c in letters)
    if figures:
        out += S.NUMBER + "".join(S.UPPER_DIGITS[d] for d in figures)
    return out + (SLASH + _note_cells(chord.bass) if chord.bass else "")


def _note_cells(note: ChordNote) -> str:
    return S.CAPITAL + S.LETTERS[note.step.lower()] + _ALTERS[note.alter]


def read_chord(cells: str) -> ChordSymbol | None:
    """A chord symbol of its cells; None where they are none."""
    match = _SYMBOL.fullmatch(cells)
    if not match:
        return None
    figures = match["figures"]
    suffix = "".join(_BY_LETTER[c] for c in match["letters"]) + (str(read_digits(figures)) if figures else "")
    kind = _BY_SUFFIX.get(suffix)
    if kind is None:
        return None
    bass = ChordNote(_STEPS[match["bass"]], _SIGNS[match["bass_alter"]]) if match["bass"] else None
    return ChordSymbol(ChordNote(_STEPS[match["root"]], _SIGNS[match["root_alter"]]), kind, bass)


def is_chord_line(cells: str) -> bool:
    """Whether a line holds chord symbols and nothing else."""
    return cells[:1] == S.CAPITAL and all(read_chord(group) for group in cells.split(S.SPACE) if group)
