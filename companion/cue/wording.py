"""What is said back: one breath. What went well, then at most one thing to try, in the tune's own words.

It names what the tune does, not what the singer did wrong; it never scolds, flatters or jokes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from companion.match.model import RIGHT, UNSURE, WRONG, HeardNote, Match, Move
from companion.tune.model import LineNote

NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven",
           "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen", "twenty")
ORDINALS = ("zeroth", "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth",
            "tenth", "eleventh", "twelfth", "thirteenth", "fourteenth", "fifteenth", "sixteenth",
            "seventeenth", "eighteenth", "nineteenth", "twentieth")
DOES = {"up": "goes up", "down": "goes down", "level": "stays on one note"}
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


def bare(syllable: str) -> str:
    """A syllable without the punctuation of its line."""
    return syllable.strip(" ,.;:!?\"“”()-‿").replace("‿", " ")


def called(notes: Sequence[LineNote], index: int) -> str:
    """How a note is called: by its syllable ("the second 'la'" where it comes again), else by its place.

    A note on which an earlier syllable is still sung is called by its place.
    """
    word = bare(notes[index].syllable)
    if not word:
        return f"the {ordinal(index + 1)} note"
    same = [i for i, n in enumerate(notes) if bare(n.syllable).lower() == word.lower()]
    if len(same) == 1:
        return f"'{word}'"
    return f"the {ordinal(same.index(index) + 1)} '{word}'"


def _pair(notes: Sequence[LineNote], start: int) -> str:
    """ "From 'snail' to 'wall'", "From the third note to the fourth"."""
    first, second = called(notes, start), called(notes, start + 1)
    if first.endswith(" note") and second.endswith(" note"):
        second = second.removesuffix(" note")
    return f"From {first} to {second}"


def move_to_try(match: Match) -> Move | None:
    """The one move to try: of those that are surely not that way the surest, of equals the first."""
    wrong = [m for m in match.moves if m.verdict == WRONG]
    return max(wrong, key=lambda m: (round(m.sure, 2), -m.start), default=None)


def cue_for(match: Match) -> Cue:
    """The cue for a match, one breath long."""
    notes = [n.written for n in match.notes]
    first = notes[0].number if notes else 1
    counts = match.counts
    total = len(match.moves)
    if not any(n.sung for n in match.notes):
        return Cue(NOTHING_SUNG, "nothing sung")
    if total == 0:
        return Cue("That is the note.", "one note")
    right = counts[RIGHT]
    if right == total:
        return Cue("Right. That move is as written." if total == 1 else
                   "Both right." if total == 2 else f"All {number(total)} right.", "all right")
    move = move_to_try(match)
    well = f"{number(right).capitalize()} of {number(total)} right. " if right else ""
    if move is not None:
        say = f"{well}{_pair(notes, move.start - first)} the tune {DOES[move.wanted]}. Listen."
        return Cue(say, "one to try", move)
    return Cue(well + _doubt(match.notes, match.moves, first), "not sure")


def _doubt(notes: Sequence[HeardNote], moves: Sequence[Move], first: int) -> str:
    written = [n.written for n in notes]
    missing = [i for i, n in enumerate(notes) if not n.sung]
    unclear = [m for m in moves if m.verdict == UNSURE]
    if missing and len(missing) * 2 < len(notes):
        others = "" if len(missing) == 1 else f" and {number(len(missing) - 1)} more"
        return f"I did not hear {called(written, missing[0])}{others}. Once more, please."
    if len(unclear) == 1 or len(unclear) * 2 <= len(moves):
        # The note that two unclear moves share is the one that was not caught; else where the move goes to.
        ends = [m.end for m in unclear]
        shared = next((m.start for m in unclear if m.start in ends), unclear[0].end)
        return f"I did not catch {called(written, shared - first)}. Once more, please."
    return "I could not follow the rest. Once more, please." if any(m.verdict == RIGHT for m in moves) else \
        "I could not follow that. Once more, please."


def smaller_piece(notes: Sequence[LineNote]) -> str:
    """Before a smaller piece is sung: "Just two notes now. Snail, wall."."""
    words = [bare(n.syllable) for n in notes if bare(n.syllable)]
    said = ", ".join(words)
    tail = f" {said[:1].upper()}{said[1:]}." if words and len(words) == len(notes) and len(words) <= 6 else ""
    return f"Just {number(len(notes))} {'note' if len(notes) == 1 else 'notes'} now.{tail}"


def detail_lines(match: Match) -> list[str]:
    """What a teacher asks for beyond the cue, a plain line each; nothing that was not measured."""
    notes = [n.written for n in match.notes]
    first = notes[0].number if notes else 1
    detail = match.detail
    lines: list[str] = []

    def name(n: int) -> str:
        return called(notes, n - first)

    for step in detail.get("steps", []):
        off = abs(float(step["off_semitones"]))
        lines.append(f"From {name(step['from'])} to {name(step['to'])} the move was {off:.1f} semitones "
                     f"{step['say']}.")
    known = [(abs(c), c, i) for i, c in enumerate(detail.get("tuning_cents", [])) if c is not None]
    if known and max(known)[0] >= TUNING_SAID:
        most, value, at = max(known)
        lines.append(f"Farthest from the singer's own key: {called(notes, at)}, {most:.0f} cents "
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
            lines.append(f"Not that way: {missed} of {sum(row.values())} of the kind {kind}.")
    return lines

