"""The main job shown on a take that ships: no microphone, no loudspeaker, no argument."""

from __future__ import annotations

import tempfile
from pathlib import Path

from companion.lesson.answer import Answer, answer
from companion.places import shipped

TAKE, TUNE = "snail-wall-one-move-turned.flac", "snail-wall"


def demo_answer() -> Answer:
    return answer(shipped("recordings") / TAKE, TUNE)


def demo_lines(found: Answer, sound: str | None = None) -> list[str]:
    """Notes with their cells, moves, the hand's way, where the sound lies, and last the cue."""
    from companion.cue.playback import save
    from companion.cue.reach import for_helper, wall_for
    from companion.lesson.sounds import cue_sound
    from companion.lesson.words import count_line, move_line, note_line

    lines = [note_line(found, i) for i in range(len(found.match.notes))]
    lines += [move_line(found, i) for i, m in enumerate(found.match.moves) if m.verdict != "right"]
    lines.append(count_line(found.match.counts))
    if found.cue.move is not None:
        wall = wall_for(n.midi for n in found.line)
        lines.append("For the helper: " + for_helper(found.cue.move.wanted, found.cue.move.wanted_semitones, wall))
    path = Path(sound) if sound else Path(tempfile.gettempdir()) / "companion-demo.wav"
    save(cue_sound(found), path)
    lines.append(f"The cue spoken, then the tune's glide and the voice's own: {path}")
    return [*lines, found.cue.say]
