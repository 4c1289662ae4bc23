"""One answer to one take: match, cue and cells put together, for the command line, the page and the loop."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from companion.errors import NothingSung, Trouble
from companion.messages import _
from companion.tune.model import LineNote, Tune

if TYPE_CHECKING:
    from companion.language.cues import Cue
    from companion.match.model import Match


# A take is held against all of a line at once, in time and memory that grow with both: at the second bound
# about a minute and 2 GB. A song of five minutes and a hundred notes lies inside.
MOST_NOTES = 1500
MOST_NOTE_SECONDS = 40_000.0


@dataclass(frozen=True)
class Answer:
    """A take's name, the tune and the notes it was held against, the match and the cue."""

    take: str
    tune: Tune
    tune_name: str
    line: tuple[LineNote, ...]
    match: Match
    cue: Cue

    def as_json(self) -> dict[str, Any]:
        """The keys that programs may rely on, and `detail` for more that a teacher might ask."""
        notes = []
        for heard in self.match.notes:
            dots, cells = cell_of(self.tune, heard.written)
            notes.append({
                "number": heard.written.number, "written": heard.written.pitch.name,
                "syllable": heard.written.syllable, "sung": heard.sung, "midi": heard.midi,
                # The first frame stands for half a hop before it too: never said to be before the take begins.
                "onset_s": None if heard.onset_s is None else max(0.0, heard.onset_s),
                "duration_s": heard.duration_s, "dots": dots, "cells": cells})
        moves = [{
            "from": m.start, "to": m.end, "wanted": m.wanted, "heard": m.heard, "verdict": m.verdict,
            "sure": m.sure, "wanted_semitones": m.wanted_semitones, "sung_semitones": m.sung_semitones}
            for m in self.match.moves]
        return {"take": self.take, "tune": self.tune_name, "shift_semitones": self.match.shift_semitones,
                "notes": notes, "moves": moves, "counts": self.match.counts,
                "closeness": self.match.closeness, "cue": self.cue.say, "detail": self.match.detail}


def cell_of(tune: Tune, note: LineNote) -> tuple[str, str]:
    """(dots, cells) of a note standing alone, with its octave mark: ("5-145", "⠐⠙") for C4, a quaver."""
    from companion.braille import note_cells, to_dots

    bar, place = note.sources[0]
    written = tune.bars[bar].notes[place]
    cells = note_cells(written.pitch, written.base, written.dots)
    return to_dots(cells), cells


def say_cell(tune: Tune, note: LineNote, american: bool = False) -> str:
    """The same in words: "C, fourth octave: dot 5, then 1 4 5"."""
    from companion.braille import say_note

    bar, place = note.sources[0]
    written = tune.bars[bar].notes[place]
    return say_note(written.pitch, cell_of(tune, note)[1], written.base, written.dots, american)


def chosen_line(tune: Tune, phrase: int | None) -> tuple[LineNote, ...]:
    """The whole tune as sung, or one phrase of it. Raises Trouble where there is no such phrase."""
    if phrase is None:
        return tune.line()
    try:
        return tune.phrase(phrase)
    except IndexError:
        last = max((n.phrase for n in tune.line()), default=0)
        raise Trouble(_("{tune} has no phrase {phrase}; it has phrases 1 to {last}. Give one of those.").format(
                            tune=tune.title or 'This tune', phrase=phrase, last=last)) from None


def answer(take: str | Path, tune_name: str | Path, phrase: int | None = None, part: str | None = None,
           american: bool = False) -> Answer:
    """Hold a take (sound file, or CSV pitch track) against a tune (file or shipped name).

    Raises Trouble where either cannot be read, NothingSung where nothing was sung.
    """
    from companion.ear import hear_pitch
    from companion.language.cues import cue_for
    from companion.match.take import match_take
    from companion.tune import load

    tune = load(tune_name, part=part)
    line = chosen_line(tune, phrase)
    pitch = hear_pitch(take)
    seconds = len(pitch.f0_hz) * pitch.hop_s
    if len(line) > MOST_NOTES or seconds * len(line) > MOST_NOTE_SECONDS:
        raise Trouble(_("{tune} has {line} notes and the take lasts {seconds:.0f} seconds, too much to hold one "
                        "against the other. Give one phrase with --phrase, and a take of that phrase.").format(
                            tune=tune.title or 'This tune', line=len(line), seconds=seconds))
    match = match_take(pitch, line)
    if not any(n.sung for n in match.notes):
        raise NothingSung(_("No note of the tune was found in this take. Sing a little closer to the microphone, "
                            "and once more."))
    return Answer(str(take), tune, str(tune_name), line, match, cue_for(match, american))


def answer_or_error(job: tuple[str, str, str, str], american: bool = False) -> dict[str, Any]:
    """For a list of takes: the answer as JSON, or {"take", "error"}.

    job: take and tune as named in the list, and the paths they stand for.
    """
    take, tune, take_path, tune_path = job
    if not take:
        return {"take": take, "error": "This line of the list names no take. Put the name of a file under take."}
    if not tune:
        return {"take": take, "error": "This line of the list names no tune. Put a file, or a tune that ships, under "
                                       "tune."}
    try:
        found = answer(take_path, tune_path, american=american).as_json()
    except Trouble as trouble:
        return {"take": take, "error": str(trouble)}
    except Exception as error:
        return {"take": take, "error": f"This is a fault of ours: {type(error).__name__}: {error}"}
    return {**found, "take": take, "tune": tune}
