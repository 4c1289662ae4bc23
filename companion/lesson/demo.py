"""The main job shown on a take that ships: no microphone, no loudspeaker, no argument."""

from __future__ import annotations

import tempfile
from pathlib import Path

from companion.errors import Trouble
from companion.lesson.answer import Answer, answer
from companion.messages import _
from companion.places import shipped
from companion.tune import wall_for

TAKE, TUNE = "snail-wall-one-move-turned.flac", "snail-wall"


def demo_answer(american: bool = False) -> Answer:
    return answer(shipped("recordings") / TAKE, TUNE, american=american)


def demo_lines(found: Answer, sound: str | None = None, american: bool = False) -> list[str]:
    """Notes with their cells, moves, the hand's way, where the sound lies, and last the cue.

    sound: where to save it; Trouble is raised only where that was asked for and cannot be done.
    """
    from companion.language import English, Variety, hand_for_helper
    from companion.lesson.words import count_line, move_line, note_line

    lines = [note_line(found, i, american) for i in range(len(found.match.notes))]
    lines += [move_line(found, i) for i, m in enumerate(found.match.moves) if m.verdict != "right"]
    lines.append(count_line(found.match.counts))
    if found.cue.move is not None:
        wall = wall_for(n.midi for n in found.line)
        language = English(Variety.AMERICAN if american else Variety.BRITISH)
        lines.append("For the helper: " + hand_for_helper(language, found.cue.move.wanted_semitones, wall))
    try:
        lines.append(f"The cue spoken, then the tune's glide and the voice's own: {save_cue(found, sound, american)}")
    except Trouble as trouble:
        if sound:
            raise
        lines.append(str(trouble))
    return [*lines, found.cue.say]


def save_cue(found: Answer, sound: str | None = None, american: bool = False) -> Path:
    """Save the spoken cue and its glides, in the temporary folder if no place is given; returns where."""
    from companion.audio.playback import save
    from companion.lesson.sounds import cue_sound

    made = cue_sound(found, variety="american" if american else "british")
    path = Path(sound) if sound else Path(tempfile.gettempdir()) / "companion-demo.wav"
    try:
        if not sound and path.is_symlink():  # somebody else's link in a shared folder: never written through
            raise Trouble(_("{path} is a link.").format(path=path))
        save(made, path)
    except Trouble:
        if sound:
            raise
        path = Path(tempfile.mkdtemp(prefix="companion-")) / path.name  # another person's file holds the name
        save(made, path)
    return path
