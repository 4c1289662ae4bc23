"""What goes back to pupil and teacher: words, speech, glides, and the hand's way on the wall."""

from companion.cue.sound import Sound
from companion.cue.wording import Cue, cue_for

__all__ = ["Cue", "Sound", "cue_for"]
