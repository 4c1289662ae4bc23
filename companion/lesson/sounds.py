"""An answer as sound: the cue spoken, then the glides of the move to try; and the note to start on."""

from __future__ import annotations

from companion.audio.glides import RATE, move_glides, starting_note
from companion.audio.sound import Sound, levelled, silence, together
from companion.audio.speech import RATE_WPM, speak
from companion.language.cues import start_line
from companion.lesson.answer import Answer
from companion.tune.model import LineNote

AFTER_SPEECH_S = 0.3  # long enough that the first tone is not taken for the end of a word


def said_then(say: str, *sounds: Sound, rate_wpm: int = RATE_WPM, variety: str = "british") -> Sound:
    """A sentence spoken and then sounds, all at one level. Raises Trouble where speech is not to be had."""
    parts = [levelled(speak(say, rate_wpm, variety))]
    for sound in sounds:
        parts += [silence(AFTER_SPEECH_S, RATE), levelled(sound)]
    return together(*parts, rate=RATE)


def cue_sound(found: Answer, rate_wpm: int = RATE_WPM, variety: str = "british") -> Sound:
    """The spoken cue and, where there is a move to try, the tune's glide and then the voice's own."""
    glides = [move_glides(found.match, found.cue.move)] if found.cue.move is not None else []
    return said_then(found.cue.say, *glides, rate_wpm=rate_wpm, variety=variety)


def start_sound(note: LineNote, shift: float = 0.0, rate_wpm: int = RATE_WPM, variety: str = "british") -> Sound:
    """ "Start on G." and the tone itself, `shift` semitones from where the note is written."""
    return said_then(start_line(note.pitch, shift), starting_note(note.midi + shift), rate_wpm=rate_wpm,
                     variety=variety)
