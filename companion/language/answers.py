"""What people type for an answer, in English. British and American names are both understood."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction

from companion.course import PLAIN, Command, Vocabulary, key_name
from companion.tune import STEPS, Direction

#: Names of signs besides those that the course has for them. The double bar of the first stages is the final one.
_OTHER_NAMES: dict[str, tuple[str, ...]] = {
    **dict.fromkeys(("double bar", "double bar line", "double barline"), ("double bar", "final double bar")),
    **{w: (name,) for name, words in {
        "breath mark": ("breath", "breathe", "breathing mark", "take a breath", "comma"),
        "getting louder": ("louder", "crescendo", "cresc", "louder from here", "louder begins", "it gets louder"),
        "getting softer": ("softer", "quieter", "diminuendo", "dim", "decrescendo", "softer from here", "getting quieter"),
        "louder ends": ("crescendo ends", "end of crescendo", "end of getting louder"),
        "softer ends": ("diminuendo ends", "end of diminuendo"),
        "repeat to here": ("closing repeat", "end repeat", "repeat ends", "backward repeat", "closing sign", "repeat back",
                           "end of repeat", "end of the repeat"),
        "repeat from here": ("opening repeat", "start repeat", "repeat begins", "forward repeat", "opening sign",
                             "start of repeat", "start of the repeat", "beginning of the repeat"),
        "final double bar": ("end", "final bar", "the end", "final barline", "final bar line", "end bar", "end of the tune",
                             "end sign", "final double barline", "end of tune", "double bar at the end", "final"),
        "bar line": ("barline", "bar"),
        "dot": ("augmentation dot", "dotted", "a dot"),
        "fermata": ("pause", "pause sign", "hold"),
        "full bar rest": ("whole bar rest", "full measure rest", "whole measure rest", "bar rest", "measure rest",
                          "bar's rest", "whole bar's rest", "full bar's rest", "rest for a whole bar", "rest of a whole bar",
                          "a whole bar's rest"),
        "bar repeated": ("measure repeated", "bar repeat", "measure repeat", "repeat bar", "repeat the bar", "repeated bar",
                         "repeat measure", "same bar again", "bar again", "repeat the last bar", "repeat of the bar",
                         "repeated measure", "part measure repeat"),
        "ending 1": ("first ending", "first time bar", "1st ending", "first time", "1st time bar", "ending one", "first volta",
                     "prima volta"),
        "ending 2": ("second ending", "second time bar", "2nd ending", "second time", "2nd time bar", "ending two",
                     "second volta", "seconda volta"),
        "tie": ("ties", "tied"), "slur": ("slurs", "slurred", "legato"),
        "sharp": ("sharps",), "flat": ("flats",), "natural": ("naturals",),
        "number sign": ("number", "numeral sign", "numbers", "numeric sign"),
        "in-accord": ("in accord", "in accord sign", "second voice", "full bar in accord", "full measure in accord", "inaccord"),
        "interval of a third": ("third", "a third", "third interval", "interval third"),
        "interval of a fifth": ("fifth", "a fifth", "fifth interval", "interval fifth"),
        "interval of an octave": ("octave interval", "interval octave"),
        "segno": ("the sign", "dal segno sign", "sign to go back to"),
        "long slur begins": ("beginning of a long slur", "long slur opens", "start of a long slur", "long slur starts",
                             "opening of a long slur", "phrase begins", "long slur beginning"),
        "long slur ends": ("end of a long slur", "long slur closes", "long slur end", "phrase ends", "closing of a long slur"),
        "word sign": ("word", "words", "words sign"),
        "dynamic p": ("p", "piano", "soft", "quiet", "softly", "quietly"), "dynamic f": ("f", "forte", "loud", "loudly"),
        "dynamic mf": ("mf", "mezzo forte", "mezzoforte", "fairly loud"), "dynamic mp": ("mp", "mezzo piano"),
        "dynamic pp": ("pp", "pianissimo", "very soft"), "dynamic ff": ("ff", "fortissimo", "very loud"),
        "C, fourth octave": ("middle c",), "C, fifth octave": ("high c", "top c"), "time 4 4": ("four four", "four four time"),
        "time 3 4": ("three four", "three four time", "three quarter time"), "time 2 4": ("two four", "two four time"),
        "time 6 8": ("six eight", "six eight time"),
    }.items() for w in words},
}
ORDINAL_ENDINGS = ("st", "nd", "rd", "th")
_PARTS = {"half": Fraction(1, 2), "a half": Fraction(1, 2), "1/2": Fraction(1, 2), "half a": Fraction(1, 2),
          "one half": Fraction(1, 2), "quarter": Fraction(1, 4), "half of one": Fraction(1, 2),
          "a quarter": Fraction(1, 4), "1/4": Fraction(1, 4), "3/4": Fraction(3, 4), "three quarters": Fraction(3, 4),
          **{f"{n}{half}": Fraction(2 * k + 1, 2) for k, names in enumerate((("one", "1"), ("two", "2"), ("three", "3")), 1)
             for n in names for half in (" and a half", " 1/2", " and half", " and 1/2")}}
#: Other words for values: abbreviations and usual slips.
_OTHER_VALUES = {
    Fraction(4): ("whole", "semi breve", "semibreves", "whole notes"), Fraction(2): ("half", "minims", "half notes", "1/2 note"),
    Fraction(1): ("quarter", "crotchets", "crochet", "crochets", "crotchet note", "quarter notes", "1/4 note", "crotchit",
                  "quarternote"),
    Fraction(1, 2): ("eighth", "quavers", "8th", "8th note", "eighth notes", "1/8 note", "eight note", "quaver note"),
    Fraction(1, 4): ("sixteenth", "semi quaver", "semiquavers", "16th", "16th note", "sixteenth notes", "1/16 note"),
}
_SOLFA = {"do": "C", "doh": "C", "re": "D", "ray": "D", "mi": "E", "me": "E", "fa": "F", "fah": "F", "so": "G", "sol": "G",
          "soh": "G", "la": "A", "lah": "A", "ti": "B", "si": "B", "te": "B"}
_SPOKEN_STEPS = {"see": "C", "cee": "C", "dee": "D", "ee": "E", "eff": "F", "gee": "G", "ay": "A", "bee": "B"}
_MAJORS: tuple[str, ...] = ("c", "g", "d", "a", "e", "b", "f sharp", "c sharp")  # sharps, a fifth up each
_FLAT_MAJORS: tuple[str, ...] = ("f", "b flat", "e flat", "a flat", "d flat", "g flat", "c flat")
_MINORS: tuple[str, ...] = ("a", "e", "b", "f sharp", "c sharp", "g sharp", "d sharp", "a sharp")
_FLAT_MINORS: tuple[str, ...] = ("d", "g", "c", "f", "b flat", "e flat", "a flat")
_SYMBOLS = {"\N{MUSIC SHARP SIGN}": " sharp ", "\N{MUSIC FLAT SIGN}": " flat ", "\N{MUSIC NATURAL SIGN}": " natural ",
            "\N{VULGAR FRACTION ONE HALF}": " 1/2", "\N{VULGAR FRACTION ONE QUARTER}": " 1/4", "\u2019": "'",
            "\N{UPWARDS ARROW}": " up ", "\N{DOWNWARDS ARROW}": " down ", "=": " same "}
_COMMANDS: dict[Command, tuple[str, ...]] = {
    Command.STOP: ("stop", "quit", "exit", "q", "bye", "goodbye", "i want to stop", "stop now", "finish", "finished", "enough",
                   "i'm done", "done", "let's stop", "no more", "end the sitting", "leave"),
    Command.SKIP: ("skip", "next", "pass", "skip it", "skip this", "skip this one", "next one", "next question", "go on",
        "move on",
                   "leave it", "leave this one", "another one", "not now"),
    Command.AGAIN: ("again", "once more", "one more time", "say it again", "say again", "repeat it", "repeat that",
                    "repeat the question", "play it again", "play again", "can you repeat that", "can you say that again",
                    "what", "what was that", "pardon", "sorry", "listen again", "hear it again", "say that again",
                    "what did you say", "come again", "repeat please", "i didn't hear", "i did not hear that"),
    Command.DOTS: ("?", "??", "dots", "tell me the dots", "say the dots", "which dots", "what dots", "the dots"),
    Command.TUNE: ("tune", "play the tune", "the tune"), Command.KEY: ("key",),
    Command.HELP: ("help", "help me", "h?", "what can i type", "what do i do", "what should i do", "what now", "how",
                   "i need help", "can you help", "can you help me", "i'm stuck", "stuck", "hint", "what do i type"),
    Command.MORE: ("more",),
    Command.NOT_KNOWN: (
        "i don't know", "i dont know", "don't know", "dont know", "i do not know", "do not know", "dunno", "i dunno", "idk", "dk",
        "no idea", "i have no idea", "haven't a clue", "i haven't a clue", "no clue", "not sure", "i'm not sure", "im not sure",
        "i am not sure", "unsure", "i forgot", "i forget", "forgot", "forgotten", "i've forgotten", "i have forgotten",
        "i can't remember", "can't remember", "cannot remember", "i cannot remember", "i don't remember", "don't remember",
        "i dont remember", "i give up", "give up", "tell me", "show me", "what is it", "what's the answer", "the answer",
        "what is the answer", "tell me the answer", "answer", "don't no", "i don't no", "i don't know it", "i don't know this",
        "i don't know this one", "i don't know that one", "i can't", "i cannot", "can't", "i don't get it", "don't get it",
        "i can't do it", "i can't tell", "can't tell", "too hard", "it's too hard", "that's too hard", "haven't learned it",
        "never seen it", "we haven't had that", "we haven't done that", "beats me", "i don't understand", "don't understand",
        "i've no idea", "ive no idea", "who knows", "i wouldn't know", "i didn't know", "i don't really know",
        "i really don't know", "i'm lost", "lost"),
}
_DIRECTIONS: dict[Direction, tuple[str, ...]] = {
    Direction.UP: ("higher", "up", "high", "h", "u", "upwards", "upward", "rises", "rising", "raised", "above", "rose", "climbs",
                   "ascending", "upper", "the upper one", "top", "upper one", "upper voice", "the upper voice", "top voice"),
    Direction.DOWN: ("lower", "down", "low", "l", "d", "downwards", "downward", "falls", "falling", "below", "fell", "drops",
                     "descending", "deeper", "lower one", "lower voice", "the lower one", "the lower voice", "bottom", "under",
                     "bottom voice", "underneath"),
    Direction.LEVEL: ("same", "the same", "level", "stay", "stays", "s", "equal", "unchanged", "repeated", "stayed", "identical",
                      "no change", "neither", "didn't change", "doesn't change", "the same again", "it doesn't change",
                      "it didn't change", "same again", "neither higher nor lower"),
}
_YES: dict[bool, tuple[str, ...]] = {
    True: ("yes", "y", "yep", "yeah", "yup", "aye", "ok it does", "it does", "needs one", "it needs one", "a mark", "mark",
           "with a mark", "needs a mark", "it needs a mark", "true", "it has one", "sure", "of course", "definitely",
           "yes it does", "yes it needs one", "yes a mark", "yes it needs a mark"),
    False: ("no", "n", "nope", "nah", "it doesn't", "it does not", "no mark", "without", "without a mark", "none", "not needed",
            "doesn't need one", "it doesn't need one", "false", "no it doesn't", "no it does not", "no need", "no mark needed",
            "doesn't", "no it doesn't need one", "it doesn't need a mark", "never"),
}

_OPENINGS = ("it is", "it's", "its", "it was", "that is", "that's", "thats", "this is", "i think", "i believe", "i guess",
             "maybe", "perhaps", "is it", "is that", "probably", "must be", "um", "er", "erm", "uh", "hmm", "oh", "well",
             "ok", "okay", "so", "the note", "note", "number", "no", "sign for", "sign of", "the sign for", "it says",
             "it means", "called", "dynamic", "a", "an", "the", "sorry", "please", "could", "could it be", "mark for",
             "octave mark", "bar", "on", "the letter", "letter", "on the", "in the", "octave", "exactly", "answer",
             "my answer is", "and", "bars", "measure", "measures")
_ENDINGS = ("please", "i think", "i guess", "i believe", "maybe", "perhaps", "sign", "mark", "note", "notes", "times",
       "time",
            "beats", "beat", "crotchets", "crotchet", "quarter notes", "quarter note", "long", "one", "octave", "then",
            "is it", "right", "isn't it", "a crotchet", "a beat", "of a crotchet", "a quarter note", "sorry", "really",
            "at all", "it's", "a", "of a beat", "cell", "of a quarter note", "symbol", "bar")
_SMALL_WORDS = frozenset("it is it's its was that the second one note notes a goes went go moves moved sounds sounded i "
                         "think gets got then so second's than this maybe um er well oh to be hear heard of voice "
                         "much little bit slightly way way's by ok stays on "
                         "need needs please definitely".split())
_PROSE = frozenset("hi high he die no not so on or to hide feed hey this that it is nothing stop trees don't dont feed edge "
                   "head did do dog egg fig gig hid jig if of top pot pop sorry oh ok jk lol hmm dig fed eh gee id if ie "
                   "prs sport spot post port sort north spots stops ports root roots".split())
_NOTE_FORMS = ("{step} {dotted}{value}", "{step} as a {dotted}{value}", "{step} as an {value}", "{dotted}{value} {step}",
               "{step} a {dotted}{value}", "{step} and a {dotted}{value}", "{step} and it's a {dotted}{value}",
               "{dotted}{value} on {step}", "{step} is a {dotted}{value}", "{step} and {dotted}{value}",
               "{step} it's a {dotted}{value}", "{dotted}{value} note {step}", "note {step} {dotted}{value}",
               "{dotted}{value} the note {step}", "{step} {dotted}{value} note", "{dotted}{value} of {step}")
_PLACED_FORMS = ("{step}{place}", "{step} {place}", "{place} {step}", "{step} {octave}", "{octave} {step}",
       "{step} in the {octave}", "{step} in {octave}", "{step} of the {octave}",
                 "{step} the {octave}", "{octave} note {step}", "{octave} and {step}", "{step} and {octave}",
                 "{step} with the {octave} mark", "{step} {octave} mark", "{step} with {octave} mark")
_CELL_OPENINGS = ("the letter", "letter", "braille letter", "braille", "it is", "it's", "its", "cell", "cells", "i think",
                  "the keys", "keys", "key", "it's dots", "write", "i write", "i wrote", "that is", "that's", "um", "answer",
                  "is it", "maybe", "the cell", "i think it's", "i think it is", "chord", "the dots are", "press")

_KEY_FORMS = tuple(f"{before}{{count}} {{accidental}}{after}"
                   for before in ("", "key with ", "key of ", "key signature of ", "key signature with ", "key ",
                                  "key signature ")
                   for after in ("", " key", " in the key", " key signature", " signs", " in key"))
_TIME_FORMS = tuple(f"{before}{{upper}}{by}{{lower}}{after}" for before in ("", "time ", "time signature ", "time signature of ")
                    for by in (" ", "/", " by ", " over ", " / ", " on ") for after in ("", " time"))


def english_vocabulary(numbers: Sequence[str], ordinals: Sequence[str],
                       values: Sequence[Mapping[Fraction, str]]) -> Vocabulary:
    """The vocabulary. numbers, ordinals: words for 0, 1, 2 ... values: names of undotted values, British and American.

    It is one long call because a vocabulary is one table of many columns.
    """
    return Vocabulary(
        steps={**{step.lower(): step for step in STEPS}, **_SOLFA, **_SPOKEN_STEPS},
        values={**{name.replace("-", " "): value for names in values for value, name in names.items()},
                **{name: value for value, names in _OTHER_VALUES.items() for name in names}},
        octaves=_octaves(numbers, ordinals),
        accidentals={"sharp": 1, "sharps": 1, "flat": -1, "flats": -1},
        counts={numbers[n]: n for n in range(1, 8)},
        names={**{name: (name,) for name in PLAIN}, **_keys(), **_OTHER_NAMES},
        numbers={**{word: Fraction(n) for words in (numbers, ordinals) for n, word in enumerate(words)},
                 "once": Fraction(1), "twice": Fraction(2), "never": Fraction(0), "none": Fraction(0), "last": Fraction(-1),
                 "not once": Fraction(0), "not at all": Fraction(0), **_PARTS},
        directions={w: d for d, words in _DIRECTIONS.items() for w in words},
        yes_or_no={w: meant for meant, words in _YES.items() for w in words},
        commands={w: c for c, words in _COMMANDS.items() for w in words},
        name_like_commands={"repeat": Command.AGAIN, "end": Command.STOP, "the end": Command.STOP},
        dotted="dotted ",
        symbols=_SYMBOLS,
        note_forms=_NOTE_FORMS,
        placed_forms=_PLACED_FORMS,
        rest_forms=("{dotted}{value} rest", "rest of a {dotted}{value}", "rest {dotted}{value}", "{dotted}{value}'s rest",
                    "{dotted}{value} rests", "rest for a {dotted}{value}", "rest a {dotted}{value}"),
        key_forms=_KEY_FORMS,
        time_forms=_TIME_FORMS,
        ending_forms=("ending {number}", "ending number {number}"),
        dynamic_forms=("dynamic {dynamic}",),
        openings=_OPENINGS,
        endings=_ENDINGS,
        small_words=_SMALL_WORDS,
        ordinal_endings=ORDINAL_ENDINGS,
        cell_openings=_CELL_OPENINGS,
        cell_fillers=("dots", "dot", "and", "a", "with", "the", "number", "numbers", "points", "point", "plus", "please", "pins"),
        cell_breaks=("then", "followed by", "next cell", "new cell", "and then", "next", "after that", "first cell",
                     "second cell", "third cell", "space"),
        dot_words={numbers[n]: str(n) for n in range(1, 9)} | {"too": "2", "for": "4"},
        whole_cells={"full cell": "123456", "all six dots": "123456", "all six": "123456", "all dots": "123456",
                     "a full cell": "123456", "the full cell": "123456", "all the dots": "123456"},
        prose=_PROSE,
    )


def _octaves(numbers: Sequence[str], ordinals: Sequence[str]) -> dict[str, int]:
    return {phrase: n for n in range(1, 8) for phrase in (
        f"{ordinals[n]} octave", f"octave {n}", f"octave {numbers[n]}", f"octave number {n}", f"octave mark {n}",
        f"{ordinals[n]} octave mark", f"mark for the {ordinals[n]} octave", f"{ordinals[n]} octave sign",
        f"mark of the {ordinals[n]} octave", f"the {ordinals[n]} octave",
        *(f"{n}{ending} octave" for ending in ORDINAL_ENDINGS), *(f"{n}{ending} octave mark" for ending in ORDINAL_ENDINGS))}


def _keys() -> dict[str, tuple[str, ...]]:
    """Keys by their tonics: "g major" is 1 sharp, and so is "e minor"."""
    found: dict[str, tuple[str, ...]] = {}
    for names, mode in ((_MAJORS, "major"), (_MINORS, "minor")):
        found |= {f"{name} {mode}": (key_name(n),) for n, name in enumerate(names) if n}
    for names, mode in ((_FLAT_MAJORS, "major"), (_FLAT_MINORS, "minor")):
        found |= {f"{name} {mode}": (key_name(-n),) for n, name in enumerate(names, 1)}
    return found | {f"key of {name}": fact for name, fact in found.items()} \
        | {f"the key of {name}": fact for name, fact in found.items()}
