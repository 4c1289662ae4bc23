"""Answers judged: typed names and cells in any form, numbers, choices, and sung takes.

An answer is right, not that way, or not sure; what is not right teaches: it says what the given answer is,
and how the wanted one lies to it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from companion.braille import from_dots, needs_octave, say_dots, to_cells
from companion.braille import signs as S
from companion.course.drill import HIGHER, Item, card, plain_number, said_line
from companion.course.facts import AMERICAN, PLAIN, VALUE_NAMES, Fact, by_cells, fact, letter_of
from companion.errors import NothingSung
from companion.language import English
from companion.language.braille import say_problem
from companion.language.cues import ORDINALS, cue_text, in_american, number, ordinal
from companion.match import Match, Verdict, advise
from companion.tune import STEPS

if TYPE_CHECKING:
    from companion.ear import PitchTrack

#: What a helper presses for an answer that was spoken aloud.
HEARD_RIGHT, HEARD_WRONG = "+", "-"
DIRECTIONS = {"higher": "higher", "up": "higher", "high": "higher", "h": "higher", "u": "higher",
              "lower": "lower", "down": "lower", "low": "lower", "l": "lower", "d": "lower",
              "same": "same", "the same": "same", "level": "same", "stay": "same", "stays": "same", "s": "same"}
_FRACTIONS = {"half": 0.5, "a half": 0.5, "1/2": 0.5, "quarter": 0.25, "a quarter": 0.25, "1/4": 0.25,
              "3/4": 0.75, "three quarters": 0.75, "one and a half": 1.5, "1 1/2": 1.5, "two and a half": 2.5,
              "2 1/2": 2.5, "three and a half": 3.5, "3 1/2": 3.5}
MOST_CELLS = 400
MOST_NAMED = 6  # notes that are named after a right bar; more is no longer one breath
FAR = 3  # notes: farther apart, "so many notes higher" helps no more, and the other octave may be nearer


@dataclass(frozen=True)
class Judged:
    """say: what is said back. cards: a verdict for each thing remembered.

    match: for a sung answer, what was heard.
    """

    verdict: str
    say: str
    cards: dict[str, str] = field(default_factory=dict)
    match: Match | None = None


def read_cells(text: str) -> list[str]:
    """What typed cells may mean, likeliest first: Unicode cells, dots ("145", "5-145", "dots 1 4 5", "dot 5,
    then 1 4 5"), or Braille ASCII ("D"; after "ascii:" whatever it looks like). Empty for what is none of these.
    """
    text = text.strip()[:MOST_CELLS]
    if text.lower().startswith("ascii:"):
        return [_six_dots(to_cells(text[6:].strip()))]
    if any(0x2800 <= ord(c) <= 0x28FF for c in text):
        cells = "".join(c for c in text if 0x2800 <= ord(c) <= 0x28FF)
        return [_six_dots(cells.strip(S.SPACE))]
    words = re.sub(r"\bthen\b|,", " - ", text.lower())
    bare = re.sub(r"\b(dots?|and)\b", " ", words).strip(" .")
    if bare and re.fullmatch(r"[0-6\s-]+", bare) and re.search(r"[1-6]", bare):
        groups = [g.split() for g in bare.split("-") if g.strip()]
        out = []
        if groups and any(len(g) > 1 for g in groups) and all(len(d) == 1 for g in groups for d in g):
            # "1 4 5" is one cell as it is said; as three cells it comes second.
            out.append("".join(from_dots("".join(g)) for g in groups))
        out.append("".join(from_dots(d) for g in groups for d in g))
        return list(dict.fromkeys(out))
    cells = to_cells(text.replace(" ", S.SPACE))
    return [cells] if cells and all(0x2800 <= ord(c) < 0x2840 for c in cells) else []


def _six_dots(cells: str) -> str:
    """Dots 7 and 8, which some displays add for capitals and the cursor, do not count."""
    return "".join(chr(0x2800 + (ord(c) - 0x2800 & 0x3F)) if 0x2800 <= ord(c) <= 0x28FF else c for c in cells)


def read_number(text: str) -> float | None:
    """ "2", "two", "1.5", "one and a half", "2nd", "second"; None for what is no number."""
    text = text.strip().lower().removeprefix("note ").removesuffix(" times").removesuffix(" beats").strip(" .")
    if text in _FRACTIONS:
        return _FRACTIONS[text]
    if text in ("once", "twice", "never"):
        return {"once": 1.0, "twice": 2.0, "never": 0.0}[text]
    for n in range(21):
        if text in (number(n), ordinal(n)):
            return float(n)
    if found := re.fullmatch(r"([0-9]{1,3}(?:[.,][0-9]{1,3})?)(?:st|nd|rd|th)?", text):
        return float(found[1].replace(",", "."))
    return None


def read_name(text: str) -> str | None:
    """The fact that a name means: "c", "C crotchet", "quarter note C", "4th octave", "2 sharps"; None for none."""
    plain = re.sub(r"[\s,.!?]+", " ", text.strip().lower()).strip()
    # "A minim" is the note A; only what cannot be read with its article is read without it.
    bare = re.sub(r"^(?:a |an |the |it is |it's |note |sign for )+", "", plain)
    return _read_name(plain) or (_read_name(bare) if bare != plain else None)


def _read_name(plain: str) -> str | None:
    for british, american in AMERICAN.items():
        plain = re.sub(rf"\b{american}\b", british, plain)
    for n, word in enumerate(ORDINALS[:8]):
        plain = re.sub(rf"\b(?:{n}(?:st|nd|rd|th)|{word}) octave\b|\boctave {n}\b", f"{word} octave", plain)
    if re.fullmatch(r"[a-g]", plain):
        return plain.upper()
    values = "|".join(sorted(VALUE_NAMES, key=len, reverse=True))
    for pattern in (rf"(?P<step>[a-g])(?: as a)? (?P<dot>dotted )?(?P<value>{values})",
                    rf"(?P<dot>dotted )?(?P<value>{values}) (?P<step>[a-g])"):
        if found := re.fullmatch(pattern, plain):
            return f"{found['step'].upper()} {found['dot'] or ''}{found['value']}"
    if found := re.fullmatch(r"(?:(?P<a>[a-g]) (?P<o>\w+ octave)|(?P<p>\w+ octave) (?P<b>[a-g]))", plain):
        return _real(f"{(found['a'] or found['b']).upper()}, {found['o'] or found['p']}")
    plain = _SHORT.get(plain, plain)
    plain = re.sub(r"^(key (with|of) )", "", plain)
    plain = re.sub(r"^(?:time )?(\d+)(?: |/| by )(\d+)(?: time)?$", r"time \1 \2", plain)
    for n, word in enumerate(("one", "two", "three", "four", "five", "six", "seven"), 1):
        plain = re.sub(rf"^{word} (sharp|flat)s?$", f"{n} \\1{'s' if n > 1 else ''}", plain)
    return _real(plain)


_SHORT = {"octave mark": "fourth octave", "breath": "breath mark", "louder": "getting louder",
          "softer": "getting softer", "repeat": "repeat to here", "first ending": "ending 1",
          "second ending": "ending 2", "double bar": "double bar", "end": "final double bar",
          "final bar": "final double bar", "augmentation dot": "dot", "crescendo": "getting louder",
          "diminuendo": "getting softer", "pause": "fermata", "whole bar rest": "full bar rest",
          **{f"{w}": f"dynamic {w}" for w in ("p", "mf", "mp", "pp", "ff")}}


def _real(name: str) -> str | None:
    try:
        return fact(name).name
    except (KeyError, ValueError):
        return None


def check(item: Item, text: str, american: bool = False) -> Judged:
    """Judge a typed answer. "+" and "-" are a helper's word for an answer that was spoken or sung aloud.

    What cannot be read is not sure, with a sentence on what to give. Sung answers go to `check_take`.
    """
    text = text.strip()
    if text == HEARD_RIGHT:
        found = _judged(item, Verdict.RIGHT, praise(item))
    elif text == HEARD_WRONG:
        found = _judged(item, Verdict.WRONG, answer_words(item))
    else:
        found = _CHECKS[item.wants](item, text)
    return Judged(found.verdict, in_american(found.say), found.cards, found.match) if american else found


def _judged(item: Item, verdict: str, say: str) -> Judged:
    return Judged(verdict, say, dict.fromkeys(item.cards, verdict) if verdict != Verdict.UNSURE else {})


def praise(item: Item) -> str:
    """What is said to a right answer: it says the fact again, so that ear and finger meet once more."""
    if item.wants == "name":
        return f"Right. {_said_start(item.answer)}, {say_dots(item.cells)}."
    if item.wants == "octave":
        return f"Right. {_said_start(item.answer)}, {say_dots(_octave_mark(item))}."
    if item.wants == "sung" and item.cells and len(item.sung) <= MOST_NAMED:
        return f"Right. {said_line(item.sung)}."
    if item.wants == "cells" and item.group is None:
        return f"Right. {_said_start(item.about[0])}, {say_dots(item.answer)}."
    return "Right."


def answer_words(item: Item) -> str:
    """The right answer in a sentence."""
    if item.wants == "name":
        return f"That cell is {item.answer}, {say_dots(item.cells)}."
    if item.wants == "octave":
        return f"The mark is {say_dots(_octave_mark(item))}: {item.answer}."
    if item.wants == "cells":
        return f"It is written {say_dots(item.answer)}."
    if item.wants == "direction":
        return f"{_moved(item.answer)} Listen again."
    if item.wants == "choice":
        return f"It was number {number(int(item.answer))}. Listen again."
    if item.wants == "yes or no":
        return f"{item.answer.capitalize()}. {_mark_rule(item)}"
    if item.wants == "sung" and not item.cells:
        return f"{_wanted_way(item.answer)} Listen, then sing both."
    if item.wants == "sung" and len(item.sung) <= MOST_NAMED:
        return f"It says {said_line(item.sung)}. Read it again, listen to the first note, then sing."
    if item.wants == "sung":
        return "Once more. Read, listen to the first note, then sing."
    if item.kind == "where it turns":
        return f"It turned on the {ordinal(int(item.answer))} note. Listen again."
    if item.kind == "find the wrong cell":
        return f"It was the {ordinal(int(item.answer))} note. {_heard_there(item)}"
    return f"It was {_amount(item.answer)}. {_count_again(item)}"


def how_it_goes(item: Item) -> str:
    """For a helper who judges a sung answer by ear: "For the helper: C; up to D, E; again E."."""
    if item.wants != "sung":
        return "The word key helps only where the answer is sung."
    if not item.cells:
        return f"For the helper: {_wanted_way(item.answer)[:1].lower()}{_wanted_way(item.answer)[1:]}"
    return f"For the helper: {said_line(item.sung)}."


def _octave_mark(item: Item) -> str:
    return S.OCTAVES[S.OCTAVE_WORDS.index(item.answer)]


def _amount(answer: str) -> str:
    value = float(answer)
    if value == int(value):
        return number(int(value))
    return {0.5: "half of one", 0.25: "a quarter of one", 1.5: "one and a half"}.get(value, answer)


def _count_again(item: Item) -> str:
    if item.kind == "how often":
        return "Listen again, and lift a finger each time."
    return f"It says {item.group.said}." if item.group else f"It is {item.about[0]}."


def _moved(answer: str) -> str:
    return {"higher": "The second note was higher: hand up the wall.",
            "lower": "The second note was lower: hand down the wall.",
            "same": "The second note was the same: hand still."}[answer]


def _check_name(item: Item, text: str) -> Judged:
    wanted = fact(item.answer)
    # Numbers alone are dots typed where a name is wanted, unless numbers are what the cells say.
    name = read_name(text) if wanted.kind == "time" or not re.fullmatch(r"[\d\s]+", text) else None
    if item.answer in S.OCTAVE_WORDS and (value := read_number(text)) in range(1, len(S.OCTAVE_WORDS)):
        name = S.OCTAVE_WORDS[int(value or 0)]  # "4" or "fourth" for "fourth octave"
    if name is None:
        return _judged(item, Verdict.UNSURE, f"I could not read {text[:20]!r}. Give a name, such as {_example(item.answer)}.")
    given = fact(name)
    if wanted.kind == "note" and len(item.answer) > 1 and name == item.answer[0]:
        return _judged(item, Verdict.UNSURE, f"{name}, yes. And how long is it?")
    if given.cells == wanted.cells:
        return _judged(item, Verdict.RIGHT, praise(item))
    if wanted.kind == "placed note" and given.kind == "note" and name == item.answer[0]:
        return _judged(item, Verdict.UNSURE, f"{name}, yes. And in which octave?")
    return _judged(item, Verdict.WRONG, f"That cell is {wanted.name}, {say_dots(wanted.cells)}."
                   + (_trap_read(wanted, given) or _relation(given, wanted)))


def _example(answer: str) -> str:
    """A name of the same kind that is not the answer, of what is taught no later than it."""
    same = {"note": ("D", "C"), "placed note": ("C, fourth octave", "D, fourth octave"),
            "rest": ("crotchet rest", "minim rest"), "key": ("1 sharp", "1 flat"), "time": ("time 4 4", "time 3 4"),
            "sign": ("fourth octave", "fifth octave")}[fact(answer).kind]
    return next(name for name in same if name != answer)


def _trap_read(wanted: Fact, given: Fact) -> str:
    """The letter trap met head on: somebody read the cell of C as the letter d, and said D."""
    letter = letter_of(wanted)
    if letter and given.kind == "note" and given.name[0].lower() == letter and wanted.kind == "note":
        return f" In a book it is the letter {letter}; the note is one letter earlier."
    return ""


def _relation(given: Fact, wanted: Fact) -> str:
    """How what was answered lies to what was wanted: " D is one note higher: 1 5."."""
    if given.kind not in ("note", "placed note") or wanted.kind not in ("note", "placed note"):
        return f" {given.name[:1].upper()}{given.name[1:]} is {say_dots(given.cells)}."
    apart = STEPS.index(given.name[0]) - STEPS.index(wanted.name[0])
    if apart == 0 or abs(apart) > FAR:
        return f" {given.name} is {say_dots(given.cells)}."
    return f" {given.name} is {_notes_apart(apart)}: {say_dots(given.cells)}."


def _notes_apart(steps: int) -> str:
    n = abs(steps)
    return f"{number(n)} {'note' if n == 1 else 'notes'} {'higher' if steps > 0 else 'lower'}"


def _check_cells(item: Item, text: str) -> Judged:
    readings = read_cells(text)
    if not readings:
        return _judged(item, Verdict.UNSURE, f"I could not read {text[:20]!r} as cells. Give dots, such as 145, or "
                       "braille.")
    if any(_bare(r) == _bare(item.answer) for r in readings):
        return _judged(item, Verdict.RIGHT, praise(item))
    wanted_length = len(item.answer)
    given = next((r for r in readings if len(r) == wanted_length), readings[0])
    if wanted_length == 1 and len(given) == 1:
        return _judged(item, Verdict.WRONG, _one_cell(fact(item.about[0]), given, item.known))
    if item.group is not None:
        return _other_writing(item, readings) or _judged(item, Verdict.WRONG, _compare(item, given))
    return _judged(item, Verdict.WRONG, f"That is {what_is(given, item.known)}. {_said_start(item.about[0])} is "
                   f"{say_dots(item.answer)}.")


def _other_writing(item: Item, readings: list[str]) -> Judged | None:
    """A bar that says the same notes in other cells, as the decoder reads it: right where nothing is amiss in it
    (a mark too many, say), else what is amiss. None where the notes differ."""
    if item.answer[0] not in S.OCTAVES.values() and not any(o in item.answer for o in S.OCTAVES.values()):
        return None  # a row without marks is no music that the decoder could read
    for cells in readings:
        found = _decoded(cells)
        if found is not None and found[0] == (_decoded(item.answer) or ((), ""))[0]:
            if found[1]:
                return _judged(item, Verdict.WRONG, f"The notes are right. {found[1]}")
            shorter = " It can be written with fewer marks." if len(cells) > len(item.answer) else ""
            return _judged(item, Verdict.RIGHT, f"Right.{shorter}")
    return None


def _decoded(cells: str) -> tuple[tuple[object, ...], str] | None:
    """The notes of one bar as (pitch, quarters), and the first thing amiss in it ("" for nothing)."""
    from companion.braille import decode

    reading = decode([cells])
    if len(reading.tune.bars) != 1:
        return None
    notes = tuple((n.pitch, n.quarters, n.tie, n.slur_starts, n.slur_stops, n.marks)
                  for n in reading.tune.bars[0].notes)
    return notes, say_problem(English(), reading.problems[0]) if reading.problems else ""


def _bare(cells: str) -> str:
    return cells.strip(S.SPACE)


def _said_start(name: str) -> str:
    return name[:1].upper() + name[1:]


def what_is(cells: str, known: frozenset[str] | None = None) -> str:
    """What some cells are: a note or a sign that is known where they are one, else their dots."""
    found = by_cells(cells, known)
    return found[0].name if found else say_dots(cells)


def mirrored(cell: str) -> str:
    """The cell with its two columns changed over, a slip of fingers that meet braille from both sides."""
    swap = {"1": "4", "2": "5", "3": "6", "4": "1", "5": "2", "6": "3", "0": "0"}
    return S.cells("".join(sorted(swap[d] for d in S.dots_of(cell))))


def _one_cell(wanted: Fact, given: str, known: frozenset[str] | None = None) -> str:
    """ "That cell is E. D is one note lower: 1 5."."""
    found = by_cells(given, known)
    tail = f"{_said_start(wanted.name)} is {say_dots(wanted.cells)}."
    if wanted.kind == "note" and "quaver" in wanted.signs and S.LETTERS.get(wanted.name[0].lower()) == given:
        return (f"That is the letter {wanted.name.lower()}. The note {wanted.name} has the next letter, "
                f"{letter_of(wanted)}: {say_dots(wanted.cells)}.")
    mirror = " The two sides of the cell changed over." if mirrored(wanted.cells) == given else ""
    note = next((f for f in found if f.kind == "note"), None)
    if note is not None and wanted.kind == "note":
        apart = STEPS.index(wanted.name[0]) - STEPS.index(note.name[0])
        if apart:
            lies = f"{_notes_apart(apart)}: " if abs(apart) <= FAR else ""
            return f"That cell is {note.name}.{mirror} {wanted.name} is {lies}{say_dots(wanted.cells)}."
        more = sorted(set(S.dots_of(wanted.cells)) - set(S.dots_of(given)))
        less = sorted(set(S.dots_of(given)) - set(S.dots_of(wanted.cells)))
        change = " and ".join([f"add {_dots(more)}"] * bool(more) + [f"take away {_dots(less)}"] * bool(less))
        name = note.name if " " in note.name else f"{note.name} as a quaver"
        return f"That is {name}. For {wanted.name}, {change}: {say_dots(wanted.cells)}."
    if found:
        return f"That cell is {found[0].name}.{mirror} {tail}"
    return f"That is {say_dots(given)}.{mirror} {tail}"


def _dots(dots: list[str]) -> str:
    return f"{'dot' if len(dots) == 1 else 'dots'} {' and '.join(dots)}"


def _compare(item: Item, given: str) -> str:
    """Where a written bar first differs from what was heard, in a sentence that can be acted on."""
    wanted = _bare(item.answer)
    given = _bare(given)
    at = next((i for i, (a, b) in enumerate(zip(wanted, given, strict=False)) if a != b),
              min(len(wanted), len(given)))
    well = "" if at == 0 else "The first cell is right. " if at == 1 else \
        f"The first {number(at)} cells are right. "
    if at == len(wanted):
        return f"{well}Then something follows that was not sung: {say_dots(given[at:at + 2])}."
    rest = wanted[at:]
    sign = next((name for name, cells in _LONGEST_FIRST if rest.startswith(cells)), None)
    found = by_cells(rest[0], item.signs) or by_cells(rest[0], item.known)
    cells = PLAIN[sign] if sign else rest[0]
    name = f"{sign or found[0].name}, {say_dots(cells)}" if sign or found else say_dots(cells)
    if at == len(given):
        return f"{well}Something is missing after it: {name}."
    got = by_cells(given[at], item.known)
    wrote = f" You wrote {got[0].name}." if got else f" You wrote {say_dots(given[at])}."
    return f"{well or 'First '}{'Next ' if well else ''}comes {name}.{wrote}"


_LONGEST_FIRST = sorted(((n, c) for n, c in PLAIN.items() if n != "bar line" and len(c) > 1),
                        key=lambda pair: -len(pair[1]))


def _check_number(item: Item, text: str) -> Judged:
    value = read_number(text)
    if value is None:
        return _judged(item, Verdict.UNSURE, f"I could not read {text[:20]!r} as a number. Give one, such as 2.")
    if plain_number(value) == item.answer:
        return _judged(item, Verdict.RIGHT, "Right." if item.kind != "find the wrong cell" else
                       f"Right. {_heard_there(item)}")
    return _judged(item, Verdict.WRONG, answer_words(item))


def _heard_there(item: Item) -> str:
    note = item.played[int(item.answer) - 1]
    return f"There {note.pitch.step} was sung."


def _check_choice(item: Item, text: str) -> Judged:
    value = read_number(text)
    if value not in range(1, len(item.choices) + 1):
        return _judged(item, Verdict.UNSURE, "Give 1 for the first or 2 for the second.")
    return _judged(item, Verdict.RIGHT, "Right.") if str(int(value or 0)) == item.answer else \
        _judged(item, Verdict.WRONG, answer_words(item))


def _check_direction(item: Item, text: str) -> Judged:
    given = DIRECTIONS.get(text.lower().strip(" ."))
    if given is None:
        return _judged(item, Verdict.UNSURE, "Say higher, lower or same.")
    if given != item.answer:
        return _judged(item, Verdict.WRONG, answer_words(item))
    return _judged(item, Verdict.RIGHT, f"Right, {'the ' if given == 'same' else ''}{given}.")


def _check_octave(item: Item, text: str) -> Judged:
    value = read_number(text.lower().replace("octave", "").replace("the ", "").strip())
    if value is None or value != int(value) or not 0 <= value < len(S.OCTAVE_WORDS):
        return _judged(item, Verdict.UNSURE, "Give the octave, such as 4 or fourth.")
    if S.OCTAVE_WORDS[int(value)] == item.answer:
        return _judged(item, Verdict.RIGHT, praise(item))
    return _judged(item, Verdict.WRONG, f"{answer_words(item)} "
                   f"{_said_start(S.OCTAVE_WORDS[int(value)])} is {say_dots(S.OCTAVES[int(value)])}.")


def _check_yes(item: Item, text: str) -> Judged:
    given = {"yes": "yes", "y": "yes", "no": "no", "n": "no"}.get(text.lower().strip(" ."))
    if given is None:
        return _judged(item, Verdict.UNSURE, "Answer yes or no.")
    return _judged(item, Verdict.RIGHT, f"Right. {_mark_rule(item)}") if given == item.answer else \
        _judged(item, Verdict.WRONG, answer_words(item))


#: Names of intervals by letters counted with both ends (standard terms).
_INTERVALS = {1: "a repeated note", 2: "a second", 3: "a third", 4: "a fourth", 5: "a fifth", 6: "a sixth",
              7: "a seventh", 8: "an octave"}


def _mark_rule(item: Item) -> str:
    """Why (MBC 2015, 3.2.2)."""
    a, b = item.played[0].pitch, item.played[1].pitch
    size = abs(b.diatonic - a.diatonic) + 1
    name = _INTERVALS.get(size, f"{number(size)} notes")
    if size >= 6:
        return f"That is {name}: a sixth or more always has a mark."
    if size >= 4:
        return (f"That is {name}, into another octave: it needs a mark." if needs_octave(a, b) else
                f"That is {name} in the same octave: no mark.")
    return f"That is {name}: it never needs a mark."


def _check_sung(item: Item, text: str) -> Judged:
    return check_take(item, text)


_CHECKS = {"name": _check_name, "cells": _check_cells, "number": _check_number, "place": _check_number,
           "choice": _check_choice, "direction": _check_direction, "octave": _check_octave,
           "yes or no": _check_yes, "sung": _check_sung}


def check_take(item: Item, take: str | Path | PitchTrack, american: bool = False) -> Judged:
    """Judge a sung answer by the same match as every take: a sound file, a pitch-track file, or a track.

    All moves right is right; a move surely the other way is not that way; anything else is not sure.
    Every move is remembered by its kind. Raises Trouble where a file cannot be read.
    """
    from companion.ear import hear_pitch
    from companion.match import match_take

    track = hear_pitch(take) if isinstance(take, (str, Path)) else take
    try:
        match = match_take(track, item.sung)
    except NothingSung:
        from companion.language.cues import NOTHING_SUNG

        return Judged(Verdict.UNSURE, NOTHING_SUNG)
    advice = advise(match)
    counts = match.counts
    verdict = (Verdict.WRONG if counts[Verdict.WRONG] else Verdict.RIGHT if counts[Verdict.RIGHT] == len(match.moves)
               else Verdict.UNSURE)
    say = cue_text(English(), match, advice)
    cards: dict[str, str] = {}
    steps = [n.pitch.step for n in item.sung]
    if verdict == Verdict.RIGHT and item.kind == "sing the cell":
        say = f"Right. {steps[0]} to {steps[1]}."
    elif verdict == Verdict.RIGHT and item.cells and len(steps) <= MOST_NAMED:
        say = f"{say} {', '.join(steps)}."
    elif advice.move is not None and item.kind == "sing the move":
        say = f"{_wanted_way(item.answer)} Listen."
    elif advice.move is not None and item.cells:
        # The cue in the tune's words, and the two cells that it is about.
        at = advice.move.start - item.sung[0].number
        say = say.replace(". Listen.", f": {steps[at]}, then {steps[at + 1]}. Listen.")
    if verdict != Verdict.UNSURE:
        cards = {c: verdict for c in item.cards if c.split(" | ")[0] not in _MOVES}
    for m in match.moves:
        if m.verdict != Verdict.UNSURE:
            name = card(m.kind, item.way)
            # One wrong move of a kind outweighs right ones in the same take.
            if cards.get(name) != Verdict.WRONG:
                cards[name] = m.verdict
    return Judged(verdict, in_american(say) if american else say, cards, match)


def _wanted_way(answer: str) -> str:
    return {"higher": "The second note goes up.", "lower": "The second note goes down.",
            "same": "The second note stays."}[answer]


_MOVES = frozenset(f"{kind} {way}" for kind in ("semitone", "step", "skip", "leap")
                   for way in ("up", "down")) | {"level"}

__all__ = ["HIGHER", "Judged", "check", "check_take", "read_cells", "read_name", "read_number"]
