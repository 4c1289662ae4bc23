"""An answer as sound: the cue spoken, then the glides of the move to try."""

from __future__ import annotations

from companion.cue.glides import RATE, move_glides
from companion.cue.sound import Sound, silence, together
from companion.cue.speech import speak
from companion.lesson.answer import Answer


def cue_sound(found: Answer, rate_wpm: int = 150, variety: str = "british") -> Sound:
    """The spoken cue and, where there is a move to try, the tune's glide and then the voice's own."""
    parts = [speak(found.cue.say, rate_wpm, variety)]
    if found.cue.move is not None:
        parts += [silence(0.3, RATE), move_glides(found.match, found.cue.move)]
    return together(*parts, rate=RATE)
