"""Answers as plain lines, the most important word first, the same for eye, ear and braille display."""

from __future__ import annotations

from companion.language import Language, bare, count_line, cue_sentences, detail_lines, move_line, unsure_moves_line
from companion.lesson.answer import Answer, say_cell
from companion.lesson.reviewed import Reviewed
from companion.match import CueKind, Verdict
from companion.places import shown

MANY_UNSURE = 3  # moves that are not sure, which one line names together


def note_line(language: Language, found: Answer, index: int) -> str:
    """One note: its number, its syllable, its name and its cell."""
    heard = found.match.notes[index]
    cell = say_cell(language, found.tune, heard.written)
    if heard.written.syllable:
        line = language.message("Note {number}, {syllable}: {cell}.").format(
            number=heard.written.number, syllable=bare(heard.written.syllable), cell=cell)
    else:
        line = language.message("Note {number}: {cell}.").format(number=heard.written.number, cell=cell)
    return line if heard.sung else f"{line} {language.message('Not heard.')}"


def answer_lines(language: Language, found: Answer, more: bool = False, sounds: bool = True) -> list[str]:
    """The cue, the count, then each move that was not right (several that are not sure in one line), then each note with its
    cell.

    more: every move by itself, also the right ones, and what was measured. sounds: see `Answer.cue`. Of a take that
    could not be followed at all nothing is said move by move, nor measured.
    """
    match = found.match
    lines = [found.cue(language, sounds), count_line(language, match.counts)]
    if found.followed:
        unsure = [m for m in match.moves if m.verdict is Verdict.UNSURE]
        together = len(unsure) >= MANY_UNSURE and not more
        lines += [move_line(language, m) for m in match.moves
                  if more or m.verdict is Verdict.WRONG or (m.verdict is Verdict.UNSURE and not together)]
        lines += [unsure_moves_line(language, unsure)] if together else []
    if more and found.followed:
        lines += detail_lines(language, match)
    return lines + [note_line(language, found, i) for i in range(len(match.notes))]


def review_line(language: Language, reviewed: Reviewed) -> str:
    """One take of a list in a line: all right, or the count and then the one thing to try, each said once."""
    name = shown(reviewed.take) or language.message("No take")
    found = reviewed.answer
    if found is None:
        return f"{name}: {reviewed.error}"
    if found.advice.kind in (CueKind.ALL_RIGHT, CueKind.ONE_NOTE):
        return f"{name}: {found.cue(language)}"
    # In a list nothing is sounded or sung again, and the right moves have just been counted.
    cue = cue_sentences(language, found.match, found.advice, found.tune.title, found.likelier, counted=not found.advice.right)
    well = "" if found.advice.right else cue.well
    return " ".join(s for s in (f"{name}: {count_line(language, found.match.counts)}", well, cue.about) if s)
