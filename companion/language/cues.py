"""What is said back: one breath. What went well, then at most one thing to try, in the tune's own words.

It names what the tune does, not what the singer did wrong; it never scolds, flatters or jokes.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from companion.match.model import Match, Move, Verdict
from companion.tune.model import VALUES, Key, LineNote, Pitch
from companion.tune.voice import spell

NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven",
           "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen", "twenty")
ORDINALS = ("zeroth", "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth",
            "tenth", "eleventh", "twelfth", "thirteenth", "fourteenth", "fifteenth", "sixteenth",
            "seventeenth", "eighteenth", "nineteenth", "twentieth")
DOES = {"up": "goes up", "down": "goes down", "level": "stays on one note"}
#: A tune of one move: it names the way, which is all there is to name.
ONE_RIGHT = {"up": "Right. You went up.", "down": "Right. You went down.", "level": "Right. You stayed."}
COUNTED = 9  # notes that are counted from the beginning; farther on they are counted in their bar
MOST_LISTED = 6  # words said one by one before a smaller piece
MOST_IN_NAME = 3  # words on one note: more is a line of text that stands there by mistake
MOST_WORDS = 24  # what is spoken calmly in one breath: at 150 words a minute just under ten seconds
TUNING_SAID = 30  # cents: less is not worth a word to a learner
DRIFT_SAID = 40  # cents over a phrase
NOTHING_SUNG = "I heard no singing. A little closer, and sing again."


@dataclass(frozen=True)
class Cue:
    """What is said back. kind: "all right", "one to try", "not sure", "nothing sung" or "one note".

    move: the one move to try, where there is one.
    """

    say: str
    kind: str
    move: Move | None = None


def number(n: int) -> str:
    """A number in words up to twenty, in figures beyond."""
    return NUMBERS[n] if 0 <= n < len(NUMBERS) else str(n)


def ordinal(n: int) -> str:
    """A place in words up to twentieth, as "21st" beyond."""
    if 0 < n < len(ORDINALS):
        return ORDINALS[n]
    ending = "th" if 10 <= n % 100 <= 20 else {1: "st", 2: "nd", 3: "rd"}.get(n % 10, "th")
    return f"{n}{ending}"


#: What stands around a word in a line of text and is no part of it.
_AROUND = " \t\r\n,.;:!?…\"“”„«»()[]{}-‐‑‒–—―_*‿"


def bare(syllable: str) -> str:
    """A syllable without the punctuation of its line. Apostrophes of the word itself stay: "don't", "'tis"."""
    word = " ".join(syllable.replace("‿", " ").replace("[[", "").replace("]]", "").split()).strip(_AROUND)
    # Single quotation marks: an opening one always goes, a straight or closing one where both ends have one
    # or where it closes after a full stop or comma.
    while word:
        if word[0] in "‘‚":
            word = word[1:]
        elif len(word) > 1 and word[0] == "'" and word[-1] in "'’":
            word = word[1:-1]
        elif len(word) > 1 and word[-1] in "'’" and (word[-2] in _AROUND or "‘" in syllable):
            word = word[:-1]
        elif word in "'’":
            return ""
        else:
            return word
        word = word.strip(_AROUND)
    return word


def quoted(word: str) -> str:
    """A word in quotation marks: single ones, double ones around an apostrophe."""
    return f'"{word}"' if "'" in word or "’" in word else f"'{word}'"


@dataclass(frozen=True)
class _Sung:
    """What is sung on a note: a whole word, or one part (syllable) of it; which time the word comes."""

    word: str
    part: int
    parts: int
    time: int
    times: int

    @property
    def of_word(self) -> str:
        again = f"the {ordinal(self.time)} " if self.times > 1 else ""
        return f"{again}{quoted(self.word)}"

    @property
    def name(self) -> str:
        return self.of_word if self.parts == 1 else f"the {ordinal(self.part)} part of {self.of_word}"


def _sung_words(notes: Sequence[LineNote]) -> list[_Sung | None]:
    """The word on each note. None: no syllable begins there, or the rest of its word lies outside `notes`."""
    words: list[list[int]] = []  # places of the notes on which each word's syllables begin
    open_word: list[int] = []
    for i, note in enumerate(notes):
        if not bare(note.syllable):
            continue
        if note.word_place in ("middle", "end"):
            if open_word:
                open_word.append(i)
                if note.word_place == "end":
                    words.append(open_word)
                    open_word = []
        elif note.word_place == "begin":
            open_word = [i]
        else:
            words.append([i])
            open_word = []
    said = ["".join(bare(notes[i].syllable) for i in places) for places in words]
    keys = [word.lower() for word in said]
    found: list[_Sung | None] = [None] * len(notes)
    for k, places in enumerate(words):
        if len(said[k].split()) > MOST_IN_NAME:
            continue
        for part, i in enumerate(places, 1):
            found[i] = _Sung(said[k], part, len(places), keys[:k + 1].count(keys[k]), keys.count(keys[k]))
    return found


def _in_bar(notes: Sequence[LineNote], index: int) -> int | None:
    """Which note of its bar it is, from 1. None where the bar has no plain number or does not lie here once."""
    bar = notes[index].bar
    there = [i for i, n in enumerate(notes) if n.bar == bar]
    whole = there[-1] - there[0] + 1 == len(there) and (there[0] > 0 or notes[0].number == 1)
    return index - there[0] + 1 if bar > 0 and whole else None


def _places(notes: Sequence[LineNote], indexes: Sequence[int], american: bool) -> list[str]:
    """Names by place, of one kind: "the third note"; far into a line "the second note of bar five"."""
    if max(indexes) >= COUNTED:
        inside = [_in_bar(notes, i) for i in indexes]
        bar = "measure" if american else "bar"
        if all(n is not None for n in inside):
            return [f"the {ordinal(n or 0)} note of {bar} {number(notes[i].bar)}"
                    for n, i in zip(inside, indexes, strict=True)]
    return [f"the {ordinal(i + 1)} note" for i in indexes]


def called(notes: Sequence[LineNote], index: int, american: bool = False) -> str:
    """How a note is called: by its word ("the second 'la'" where it comes again), else by its place.

    A syllable goes by its whole word: "the first part of 'lantern'". A note on which an earlier syllable is
    still sung, or a word that is not whole within `notes`, goes by its place. american: measure, not bar.
    """
    word = _sung_words(notes)[index]
    return word.name if word else _places(notes, [index], american)[0]


def _pair(notes: Sequence[LineNote], start: int, american: bool = False, words: bool = True) -> str:
    """ "From 'snail' to 'wall'", "From the third note to the fourth": both ends by the same kind of name."""
    sung = _sung_words(notes)
    first, second = sung[start], sung[start + 1]
    if not words or first is None or second is None:
        one, two = _places(notes, [start, start + 1], american)
        if one.endswith(" note"):
            two = two.removesuffix(" note")
        elif one.partition(" of ")[2] == two.partition(" of ")[2]:
            one = one.partition(" note")[0]  # "from the first to the second note of bar five"
        return f"From {one} to {two}"
    if first.parts > 1 and second.part == first.part + 1:
        return f"From the {ordinal(first.part)} to {second.name}"
    if first.parts == second.parts == 1 and first.times > 1 and first.word.lower() == second.word.lower():
        return f"From {first.name} to the {ordinal(second.time)}"
    return f"From {first.name} to {second.name}"


def move_to_try(match: Match) -> Move | None:
    """The one move to try: of those that are surely not that way the surest, of equals the first."""
    wrong = [m for m in match.moves if m.verdict == Verdict.WRONG]
    return max(wrong, key=lambda m: (round(m.sure, 2), -m.start), default=None)


def cue_for(match: Match, american: bool = False) -> Cue:
    """The cue for a match, one breath long. american: measure, not bar."""
    notes = [n.written for n in match.notes]
    first = notes[0].number if notes else 1
    total = len(match.moves)
    if not any(n.sung for n in match.notes):
        return Cue(NOTHING_SUNG, "nothing sung")
    if total == 0:
        return Cue("That is the note.", "one note")
    right = match.counts[Verdict.RIGHT]
    if right == total:
        return Cue(ONE_RIGHT[match.moves[0].wanted] if total == 1 else
                   "Both right." if total == 2 else f"All {number(total)} right.", "all right")
    move = move_to_try(match)
    if move is None:
        return Cue(_doubt(match, american), "not sure")
    tries = [f"{_went_well(match)} {_pair(notes, move.start - first, american, words)} the tune "
             f"{DOES[move.wanted]}. Listen." for words in (True, False)]
    return Cue(next((say for say in tries if len(say.split()) <= MOST_WORDS), tries[1]), "one to try", move)


def _went_well(match: Match) -> str:
    """What went well, and nothing that was not heard: moves, else the notes that were sung."""
    right, total = match.counts[Verdict.RIGHT], len(match.moves)
    if right:
        count = number(right) if total < len(NUMBERS) else str(right)  # never "twenty of 21"
        return f"{count.capitalize()} of {number(total)} right."
    sung, notes = sum(n.sung for n in match.notes), len(match.notes)
    if sung == notes:
        return f"You sang {'both' if notes == 2 else f'all {number(notes)}'} notes."
    return f"I heard {number(sung) if notes < len(NUMBERS) else sung} of {number(notes)} notes."


def _doubt(match: Match, american: bool) -> str:
    written = [n.written for n in match.notes]
    first = written[0].number
    missing = [i for i, n in enumerate(match.notes) if not n.sung]
    unclear = [m for m in match.moves if m.verdict == Verdict.UNSURE]
    if missing and len(missing) * 2 < len(written):
        others = "" if len(missing) == 1 else f" and {number(len(missing) - 1)} more"
        what = f"did not hear {called(written, missing[0], american)}{others}"
    elif len(unclear) == 1 or len(unclear) * 2 <= len(match.moves):
        # The note that two unclear moves share is the one that was not caught; else where the move goes to.
        ends = [m.end for m in unclear]
        shared = next((m.start for m in unclear if m.start in ends), unclear[0].end)
        what = f"did not catch {called(written, shared - first, american)}"
    else:
        what = "could not follow the rest" if match.counts[Verdict.RIGHT] else "could not follow"
    if match.counts[Verdict.RIGHT]:
        return f"{_went_well(match)} I {what}. Once more, please."
    return f"I heard you sing, but {what}. Once more, please."


def start_line(pitch: Pitch, shift: float = 0.0) -> str:
    """The note to begin on: "Start on G.", "Start on B flat.". shift: semitones from where it is written.

    A moved note is called by the nearest note of the scale of twelve, spelled as in C major.
    """
    if round(shift):
        pitch = spell(pitch.midi + round(shift), Key())
    sign = {-2: " double flat", -1: " flat", 0: "", 1: " sharp", 2: " double sharp"}[pitch.alter]
    return f"Start on {pitch.step}{sign}."


def smaller_piece(notes: Sequence[LineNote], within: Sequence[LineNote] | None = None) -> str:
    """Before a smaller piece is sung: "Just two notes now. Snail, wall.".

    within: the phrase from which the piece is taken. With it, part of a word is said as such ("Just two notes
    now. The second part of 'lantern', then 'glow'."), and a longer piece by its ends.
    """
    say = f"Just {number(len(notes))} {'note' if len(notes) == 1 else 'notes'} now."
    sung = _sung_words(notes)
    if 0 < len(notes) <= MOST_LISTED and all(sung):
        words = ", ".join(s.word for s in sung if s and s.part == 1)
        return f"{say} {words[:1].upper()}{words[1:]}."
    phrase = list(within or ())
    at = next((i for i, n in enumerate(phrase) if notes and n.number == notes[0].number), None)
    around = _sung_words(phrase)[at:at + len(notes)] if at is not None else []
    if len(notes) < 2 or len(around) != len(notes):
        return say
    first, last = around[0], around[-1]
    if first is None or last is None:
        return say
    if len(notes) == 2:
        return f"{say} {first.name[:1].upper()}{first.name[1:]}, then {last.name}."
    return f"{say} From {first.name} to {last.name}."


def detail_lines(match: Match, american: bool = False) -> list[str]:
    """What a teacher asks for beyond the cue, a plain line each; nothing that was not measured.

    american: half steps, not semitones; measure, not bar.
    """
    notes = [n.written for n in match.notes]
    first = notes[0].number if notes else 1
    detail = match.detail
    lines: list[str] = []

    def name(n: int) -> str:
        return called(notes, n - first, american)

    for step in detail.get("steps", []):
        off = abs(float(step["off_semitones"]))
        unit = ("half step" if american else "semitone") + ("" if off == 1 else "s")
        lines.append(f"{_pair(notes, step['from'] - first, american)} the move was {off:g} {unit} "
                     f"{step['say']}.")
    known = [(abs(c), c, i) for i, c in enumerate(detail.get("tuning_cents", [])) if c is not None]
    if known and max(known)[0] >= TUNING_SAID:
        most, value, at = max(known)
        lines.append(f"Farthest from the singer's own key: {called(notes, at, american)}, {most:.0f} cents "
                     f"{'high' if value > 0 else 'low'}.")
    drift = detail.get("drift_cents")
    if drift is not None:
        lines.append("The key held." if abs(drift) < DRIFT_SAID else
                     f"The key {'rose' if drift > 0 else 'sank'} by {abs(drift):.0f} cents over the phrase.")
    highest = detail.get("highest")
    if highest and not highest["agrees"]:
        lines.append(f"The highest sung was {name(highest['sung'])}; the tune's highest is "
                     f"{name(highest['written'][0])}.")
    for length in detail.get("lengths", []):
        lines.append(f"{name(length['note'])[:1].upper()}{name(length['note'])[1:]} was {length['say']}.")
    for kind, row in sorted(detail.get("kinds", {}).items()):
        missed = row["not that way"]
        if missed:
            lines.append(f"Not that way: {missed} of {_moves_called(kind, sum(row.values()), american)}.")
    return lines


def _moves_called(kind: str, count: int, american: bool) -> str:
    """ "4 steps up", "1 leap down", "3 moves that stay": so many moves of a kind as `match.detail` names it."""
    what, _, way = kind.partition(" ")
    many = "" if count == 1 else "s"
    if what == "level":
        return f"{count} move{many} that stay{'s' if count == 1 else ''}"
    name = "half step" if american and what == "semitone" else what
    return f"{count} {name}{many} {way}".rstrip()


#: British words and American ones (common usage on both sides).
AMERICAN_WORDS = {**dict(VALUES.values()), "bar": "measure", "bar line": "bar line", "semibreves": "whole notes",
                  "bars": "measures", "semitone": "half step"}


def in_american(text: str) -> str:
    """The same text with American names: "quarter note" for "crotchet", "measure" for "bar"."""
    def swap(found: re.Match[str]) -> str:
        word = found[0]
        plural = word.lower() not in AMERICAN_WORDS
        key = word.lower().removesuffix("s") if plural else word.lower()
        new = AMERICAN_WORDS[key] + ("s" if plural else "")
        return new[:1].upper() + new[1:] if word[:1].isupper() else new

    names = sorted((n for n in AMERICAN_WORDS if n != "bar line"), key=len, reverse=True)
    # "double bar", "bar line" and "wall bar" keep their name.
    pattern = rf"(?<!double )\b(?:{'|'.join(names)})s?\b(?! line)"
    out = re.sub(pattern, swap, text, flags=re.IGNORECASE)
    return re.sub(r"\ba (eighth note)", r"an \1", out)
