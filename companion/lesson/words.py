"""Answers as plain lines, the most important word first, the same for eye, ear and braille display."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from companion.lesson.answer import Answer, say_cell
from companion.match import Verdict


def count_line(counts: Mapping[Verdict, int]) -> str:
    """How many moves of how many went as written."""
    right, wrong, unsure = (counts[v] for v in (Verdict.RIGHT, Verdict.WRONG, Verdict.UNSURE))
    total = right + wrong + unsure
    if total == 0:
        return "One note, no move."
    line = f"{right} of {total} {'move' if total == 1 else 'moves'} as written"
    if wrong:
        line += f", {wrong} not that way"
    if unsure:
        line += f", {unsure} not sure"
    return line + "."


def note_line(found: Answer, index: int, american: bool = False) -> str:
    """One note: its number, its syllable, its name and its cell."""
    from companion.language.cues import bare

    heard = found.match.notes[index]
    syllable = f", {bare(heard.written.syllable)}" if heard.written.syllable else ""
    left_out = "" if heard.sung else " Not heard."
    return (f"Note {heard.written.number}{syllable}: "
            f"{say_cell(found.tune, heard.written, american)}.{left_out}")


def move_line(found: Answer, index: int) -> str:
    """One move: what the tune does, and what was heard."""
    move = found.match.moves[index]
    does = {"up": "goes up", "down": "goes down", "level": "stays"}
    verdict = {"right": "Right", "not that way": "Not that way", "not sure": "Not sure"}[move.verdict]
    heard = f", heard {move.heard}" if move.heard else "; what was sung there is not clear"
    return f"{verdict}. Note {move.start} to {move.end}: the tune {does[move.wanted]}{heard}."


def answer_lines(found: Answer, more: bool = False, american: bool = False) -> list[str]:
    """The cue, the count, then each move that was not right, then each note with its cell.

    Of a take that could not be followed at all nothing is said move by move, nor measured.
    """
    counts = found.match.counts
    followed = counts[Verdict.RIGHT] + counts[Verdict.WRONG] > 0 or not found.match.moves
    lines = [found.cue.say, count_line(counts)]
    if followed:
        lines += [move_line(found, i) for i, m in enumerate(found.match.moves) if m.verdict != "right" or more]
    if more and followed:
        from companion.language.cues import detail_lines

        lines += detail_lines(found.match, american)
    lines += [note_line(found, i, american) for i in range(len(found.match.notes))]
    return lines


def review_line(found: dict[str, Any]) -> str:
    """One take of a list in a line: all right, or the count and then the one thing to try, each said once."""
    name = " ".join(found["take"].split()) or "No take"
    if "error" in found:
        return f"{name}: {found['error']}"
    counts = found["counts"]
    if not counts["not that way"] and not counts["not sure"]:
        return f"{name}: {found['cue']}"
    # In a list nothing is sounded or sung again, and the count has just been given.
    cue = re.sub(r"^\S+ of \S+ right\. ", "", found["cue"])
    cue = cue.removesuffix(" Listen.").removesuffix(" Once more, please.")
    return f"{name}: {count_line(counts)} {cue}"
