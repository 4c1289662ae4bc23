"""What people type for an answer, in English. British and American names are both understood."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction

from companion.course import PLAIN, Command, Vocabulary
from companion.tune import STEPS, Direction

#: Names of signs besides those that the course has for them.
_OTHER_NAMES = {
    "octave mark": "fourth octave", "breath": "breath mark", "louder": "getting louder", "softer": "getting softer",
    "crescendo": "getting louder", "diminuendo": "getting softer", "repeat": "repeat to here", "end": "final double bar",
    "final bar": "final double bar", "augmentation dot": "dot", "pause": "fermata", "whole bar rest": "full bar rest",
    "full measure rest": "full bar rest", "whole measure rest": "full bar rest", "measure repeated": "bar repeated",
    "first ending": "ending 1", "second ending": "ending 2", **{w: f"dynamic {w}" for w in ("p", "mf", "mp", "pp", "ff")},
}
ORDINAL_ENDINGS = ("st", "nd", "rd", "th")
_PARTS = {"half": Fraction(1, 2), "a half": Fraction(1, 2), "1/2": Fraction(1, 2), "quarter": Fraction(1, 4),
          "a quarter": Fraction(1, 4), "1/4": Fraction(1, 4), "3/4": Fraction(3, 4), "three quarters": Fraction(3, 4),
          "one and a half": Fraction(3, 2), "1 1/2": Fraction(3, 2), "two and a half": Fraction(5, 2),
          "2 1/2": Fraction(5, 2), "three and a half": Fraction(7, 2), "3 1/2": Fraction(7, 2)}

def english_vocabulary(numbers: Sequence[str], ordinals: Sequence[str],
                       values: Sequence[Mapping[Fraction, str]]) -> Vocabulary:
    """The vocabulary. numbers, ordinals: words for 0, 1, 2 ... values: names of undotted values, British and American."""
    return Vocabulary(
        steps={step.lower(): step for step in STEPS},
        values={name: value for names in values for value, name in names.items()},
        octaves=_octaves(ordinals),
        accidentals={"sharp": 1, "sharps": 1, "flat": -1, "flats": -1},
        counts={numbers[n]: n for n in range(1, 8)},
        names={**{name: name for name in PLAIN}, **_OTHER_NAMES},
        numbers={**{word: Fraction(n) for words in (numbers, ordinals) for n, word in enumerate(words)},
                 "once": Fraction(1), "twice": Fraction(2), "never": Fraction(0), **_PARTS},
        directions={**dict.fromkeys(("higher", "up", "high", "h", "u"), Direction.UP),
                    **dict.fromkeys(("lower", "down", "low", "l", "d"), Direction.DOWN),
                    **dict.fromkeys(("same", "the same", "level", "stay", "stays", "s"), Direction.LEVEL)},
        yes_or_no={"yes": True, "y": True, "no": False, "n": False},
        commands={"stop": Command.STOP, "skip": Command.SKIP, "?": Command.AGAIN, "tune": Command.TUNE, "key": Command.KEY,
                  "help": Command.HELP, "more": Command.MORE},
        dotted="dotted ",
        note_forms=("{step} {dotted}{value}", "{step} as a {dotted}{value}", "{step} as an {value}", "{dotted}{value} {step}"),
        placed_forms=("{step} {octave}", "{octave} {step}"),
        rest_forms=("{dotted}{value} rest",),
        key_forms=("{count} {accidental}", "key with {count} {accidental}", "key of {count} {accidental}"),
        time_forms=tuple(f"{before}{{upper}}{by}{{lower}}{after}" for before in ("", "time ") for by in (" ", "/", " by ")
                         for after in ("", " time")),
        ending_forms=("ending {number}",),
        dynamic_forms=("dynamic {dynamic}",),
        openings=("a ", "an ", "the ", "it is ", "it's ", "note ", "sign for "),
        around_numbers=(("note ",), (" times", " beats")),
        ordinal_endings=ORDINAL_ENDINGS,
        octave_fillers=("octave", "the "),
        cell_fillers=("dots", "dot", "and"),
        cell_breaks=("then",),
    )


def _octaves(ordinals: Sequence[str]) -> dict[str, int]:
    return {phrase: n for n in range(1, 8) for phrase in (
        f"{ordinals[n]} octave", f"octave {n}", *(f"{n}{ending} octave" for ending in ORDINAL_ENDINGS))}
