"""The main job shown on a take that ships: no microphone, no loudspeaker, no argument."""

from __future__ import annotations

import tempfile
from pathlib import Path

from companion.errors import Trouble
from companion.language import Language, count_line, hand_for_helper, move_line
from companion.lesson.answer import Answer, answer_take
from companion.lesson.words import note_line
from companion.match import Verdict
from companion.places import shipped
from companion.tune import wall_for

TAKE, TUNE = "snail-wall-one-move-turned.flac", "snail-wall"


def demo_answer() -> Answer:
    """The answer to the take that ships."""
    return answer_take(shipped("recordings") / TAKE, TUNE)


def demo_lines(language: Language, found: Answer, sound: str | None = None) -> list[str]:
    """Notes with their cells, moves, the hand's way, where the sound lies, and last the cue.

    sound: where to save it; Trouble is raised only where that was asked for and cannot be done.
    """
    lines = [note_line(language, found, i) for i in range(len(found.match.notes))]
    lines += [move_line(language, m) for m in found.match.moves if m.verdict != Verdict.RIGHT]
    lines.append(count_line(language, found.match.counts))
    if found.advice.move is not None:
        wall = wall_for(n.midi for n in found.line)
        lines.append(language.message("For the helper: {hand}").format(
            hand=hand_for_helper(language, found.advice.move.wanted_semitones, wall)))
    try:
        lines.append(language.message("The cue spoken, then the tune's glide and the voice's own: {path}").format(
            path=save_cue(language, found, sound)))
    except Trouble as trouble:
        if sound:
            raise
        lines.append(str(trouble))
    return [*lines, found.cue(language)]


def save_cue(language: Language, found: Answer, sound: str | None = None) -> Path:
    """Save the spoken cue and its glides, in a new temporary folder if no place is given; returns where."""
    # Here and not above: sound files and speech are loaded only where they are made.
    from companion.audio import save_sound
    from companion.lesson.sounds import cue_sound

    made = cue_sound(language, found)
    # A folder of our own: in the shared temporary folder a name that can be guessed may be somebody's link or pipe.
    path = Path(sound) if sound else Path(tempfile.mkdtemp(prefix="companion-")) / "companion-demo.wav"
    save_sound(made, path)
    return path
