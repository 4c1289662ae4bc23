"""Where phrases begin, when nobody has said: slurs, rests, breath marks, lines of words, else bars."""

from __future__ import annotations

from collections.abc import Sequence

from companion.tune.model import LineNote, Note, Time
from companion.tune.signs import Mark

LONG_NOTES = 12  # a phrase of more notes than one breath carries is looked at again
FEW_NOTES = 3  # a cut that would leave fewer notes than this is no phrase
END_OF_LINE = ",.;:!?"


def phrase_numbers(line: Sequence[LineNote], first: Sequence[Note], last: Sequence[Note], time: Time,
                   phrase_starts: Sequence[int] | None = None) -> list[int]:
    """A phrase number, from 1, for each of N sung notes.

    `first`, `last`: the written notes with which each sung note begins and ends (they differ in a tie).
    What the score says outright leads (`phrase_starts`, as in `Tune`; breath marks, rests of a beat or more, the end
    of a line of words); a long slur over several notes comes next; with none of these, every two bars
    where that leaves phrases of a breath, else every four.
    """
    if not line:
        return []
    if phrase_starts is not None:
        return _count(len(line), {n - 1 for n in phrase_starts})
    starts = set()
    for i in range(1, len(line)):
        before = line[i - 1]
        if Mark.BREATH in last[i - 1].marks or before.rest_after >= time.beat or _line_of_words_ends(line, i):
            starts.add(i)
    if not starts:
        starts = _slurs(first, last)
    if not starts:
        starts = _bars(time, line)
    return _count(len(line), {s for s in starts if s >= 2 and len(line) - s >= 2})


def _line_of_words_ends(line: Sequence[LineNote], i: int) -> bool:
    ahead = line[i].syllable
    said = next((line[k].syllable for k in range(i - 1, -1, -1) if line[k].syllable), "") if ahead else ""
    return bool(said and said.rstrip("'\"’”)")[-1:] in tuple(END_OF_LINE)
                and (ahead.lstrip("'\"‘“(")[:1].isupper() or said[-1:] in ".!?;"))


def _slurs(first: Sequence[Note], last: Sequence[Note]) -> set[int]:
    """Beginnings of slurs of four notes and more, where such slurs cover the most of the tune."""
    depth, opened, starts, covered = 0, 0, set(), 0
    for i, (a, b) in enumerate(zip(first, last, strict=True)):
        if a.slur_starts and depth == 0:
            opened = i
        depth += a.slur_starts - b.slur_stops
        if b.slur_stops and depth <= 0:
            depth = 0
            if i - opened >= FEW_NOTES:
                starts.add(opened)
                covered += i - opened + 1
    return starts - {0} if covered * 2 >= len(first) else set()


def _bars(time: Time, line: Sequence[LineNote]) -> set[int]:
    per_bar = len(line) / max(1.0, float((line[-1].onset_quarters + line[-1].quarters) / time.quarters))
    every = 4 if per_bar * 4 <= LONG_NOTES * 0.75 else 2
    # Counted from the tune's first note, so that a pickup leads into each phrase as into the first.
    span = time.quarters * every
    return {i for i in range(1, len(line)) if line[i].onset_quarters // span != line[i - 1].onset_quarters // span}


def _count(notes: int, starts: set[int]) -> list[int]:
    number, out = 1, []
    for i in range(notes):
        number += i in starts and i > 0
        out.append(number)
    return out
