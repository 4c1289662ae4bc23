"""English, with British or American names. Numbers, names of notes, values, keys and octaves."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date
from enum import StrEnum
from fractions import Fraction
from functools import cached_property
from typing import TYPE_CHECKING

from companion import messages
from companion.language.interface import CorrectionWords, Joining, Language

if TYPE_CHECKING:
    from companion.course import Vocabulary
    from companion.tune import Direction, Key, Pitch, Time

NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven",
           "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen", "twenty")
ORDINALS = ("zeroth", "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth",
            "tenth", "eleventh", "twelfth", "thirteenth", "fourteenth", "fifteenth", "sixteenth",
            "seventeenth", "eighteenth", "nineteenth", "twentieth")
OCTAVES = ("octave below the first", "first octave", "second octave", "third octave", "fourth octave",
           "fifth octave", "sixth octave", "seventh octave", "octave above the seventh")
ACCIDENTALS = {2: "double sharp", 1: "sharp", 0: "natural", -1: "flat", -2: "double flat"}
#: Undotted values in quarters, longest first.
BRITISH_VALUES: dict[Fraction, str] = {
    Fraction(8): "breve", Fraction(4): "semibreve", Fraction(2): "minim", Fraction(1): "crotchet",
    Fraction(1, 2): "quaver", Fraction(1, 4): "semiquaver", Fraction(1, 8): "demisemiquaver",
    Fraction(1, 16): "hemidemisemiquaver", Fraction(1, 32): "semihemidemisemiquaver",
}
AMERICAN_VALUES: dict[Fraction, str] = {
    Fraction(8): "double whole note", Fraction(4): "whole note", Fraction(2): "half note",
    Fraction(1): "quarter note", Fraction(1, 2): "eighth note", Fraction(1, 4): "sixteenth note",
    Fraction(1, 8): "thirty-second note", Fraction(1, 16): "sixty-fourth note",
    Fraction(1, 32): "hundred-and-twenty-eighth note",
}
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
          "December")
DIRECTIONS: dict[str, str] = {"up": "up", "down": "down", "level": "level"}
VOWELS = "aeiou"  # letters; no word here begins with a vowel's letter and another sound
DOTTED = ("", "dotted ", "double dotted ", "triple dotted ")

#: How accidentals are written in note names.
_SIGNS = {"#": 1, "♯": 1, "##": 2, "♯♯": 2, "x": 2, "b": -1, "♭": -1, "bb": -2, "♭♭": -2}
#: A note name with its sign and perhaps its octave: F#4, Bb, E♭3. Without an octave "Ebb" and "Ax" are words.
_NAME = re.compile(r"\b([A-G])(##|♯♯|♭♭|[#♯b♭]|(?:bb|x)(?=-?\d))(-?\d)?(?!\w)")
#: A as the name of a note or key. An article never stands before these, and has its capital only where a
#: sentence begins.
_LETTER_A = re.compile(
    r"""\bA(?=\s*(?:[,;:!?)\]]|\.(?:\s|$)|$)                                # A, fourth octave
          | [\s-]+(?:double\s+)?(?:sharp|flat|natural|major|minor)\b            # A flat major
          | \s+(?:is|was|has|goes|comes|stands|lies|sounds|and|or|to|then|in)\b  # A is one note lower
          | -?\d)                                                            # A4
      | (?<=[a-z,;]\s)A(?=\s)                                              # from A we go up
    """, re.VERBOSE)
_SAID_A = "[['eI]]"  # eSpeak's phonemes for the letter's name


class Variety(StrEnum):
    """Whose names are used. The values are those of the setting `variety` in the diary."""

    BRITISH = "british"
    AMERICAN = "american"


#: Names by the place in the key: as Curwen spelt them in Britain (1858), and as they are taught in America. From memory.
SOLFA = {Variety.BRITISH: ("doh", "ray", "me", "fah", "soh", "lah", "te"),
         Variety.AMERICAN: ("do", "re", "mi", "fa", "sol", "la", "ti")}


def _solfa(variety: Variety, pitch: Pitch, fifths: int) -> str:
    """Movable do: by the place in the key; in a minor key la is the keynote. What the key does not have is said with its
    accidental, "fah sharp"."""
    from companion.tune import Key, place_in_key

    place, alter = place_in_key(pitch, Key(fifths))
    name = SOLFA[variety][place]
    return f"{name} {ACCIDENTALS[alter]}" if alter in ACCIDENTALS and alter else name


class English(Language):
    """English. variety: British names (crotchet, bar, semitone) or American ones (quarter note, measure, half step)."""

    def __init__(self, variety: Variety | str = Variety.BRITISH) -> None:
        self.variety = Variety(variety)
        american = self.variety is Variety.AMERICAN
        self.code = "en_US" if american else "en_GB"
        self.voice = "gmw/en-US" if american else "gmw/en"
        self.values = AMERICAN_VALUES if american else BRITISH_VALUES
        self.translations = messages.translations(self.code)

    def __reduce__(self) -> tuple[type[English], tuple[Variety]]:
        return English, (self.variety,)  # the catalogue is read anew in another process

    def number(self, n: int) -> str:
        """In words up to twenty, in figures beyond."""
        return NUMBERS[n] if 0 <= n < len(NUMBERS) else str(n)

    def ordinal(self, n: int) -> str:
        """In words up to twentieth, as "21st" beyond."""
        if 0 < n < len(ORDINALS):
            return ORDINALS[n]
        ending = "th" if 10 <= n % 100 <= 20 else {1: "st", 2: "nd", 3: "rd"}.get(n % 10, "th")
        return f"{n}{ending}"

    def listed(self, items: Sequence[str], joining: Joining = Joining.AND) -> str:
        if len(items) < 2:
            return "".join(items)
        return f"{', '.join(items[:-1])} {joining.value} {items[-1]}"

    def capitalised(self, text: str) -> str:
        return text[:1].upper() + text[1:]

    def quoted(self, word: str) -> str:
        """Single quotation marks, double ones around an apostrophe."""
        return f'"{word}"' if "'" in word or "’" in word else f"'{word}'"

    def accidental(self, alter: int) -> str:
        return ACCIDENTALS[alter]

    def pitch_class(self, pitch: Pitch) -> str:
        if self.do_of is not None:
            return _solfa(self.variety, pitch, self.do_of)
        return f"{pitch.step} {ACCIDENTALS[pitch.alter]}" if pitch.alter else pitch.step

    def octave(self, n: int) -> str:
        return OCTAVES[n]

    def value(self, base: Fraction, dots: int = 0) -> str:
        return DOTTED[min(dots, 3)] + self.values[base]

    def a_value(self, base: Fraction, dots: int = 0) -> str:
        name = self.value(base, dots)
        return f"{'an' if name[0] in 'aeiou' else 'a'} {name}"

    def key(self, key: Key) -> str:
        return f"{self.pitch_class(key.tonic)} {key.mode}"

    def time(self, time: Time) -> str:
        return f"{' plus '.join(map(str, time.upper))} {time.lower} time"

    def direction(self, direction: Direction) -> str:
        return DIRECTIONS[direction]

    def indefinite(self, noun: str) -> str:
        return f"{'an' if noun[:1].lower() in VOWELS else 'a'} {noun}"

    @cached_property
    def vocabulary(self) -> Vocabulary:  # type: ignore[override]
        from companion.language.answers import english_vocabulary  # it brings in the course, and few commands ask questions

        return english_vocabulary(NUMBERS, ORDINALS, (BRITISH_VALUES, AMERICAN_VALUES))

    @cached_property
    def correction_words(self) -> CorrectionWords:  # type: ignore[override]
        from companion.language.english_corrections import correction_words  # few commands correct anything

        return correction_words({w: n for n, w in enumerate(NUMBERS)}, {w: n for n, w in enumerate(ORDINALS)},
                                {name: base for names in (BRITISH_VALUES, AMERICAN_VALUES) for base, name in names.items()})

    def weekday(self, day: date) -> str:
        return WEEKDAYS[day.weekday()]

    def full_date(self, day: date) -> str:
        return f"{day.day:02} {MONTHS[day.month - 1]} {day.year}"

    def spoken(self, text: str) -> str:
        """ "F#4" is said "F sharp 4", and "A" as the letter where it names a note; elsewhere it is the article."""
        def name(found: re.Match[str]) -> str:
            letter, sign, octave = found.groups()
            return f"{letter} {ACCIDENTALS[_SIGNS[sign]]}{' ' + octave if octave else ''}"

        text = _LETTER_A.sub(_SAID_A, _NAME.sub(name, text))
        return re.sub(r"(\b[B-G]|\]\])(-?\d)\b", r"\1 \2", text)  # "C4" as a letter and a number

    def day_of_year(self, day: date) -> str:
        return f"{self.weekday(day)} {day.day} {MONTHS[day.month - 1]}"
