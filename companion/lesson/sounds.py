"""An answer as sound: the cue spoken, then the glides of the move to try; and the note to start on."""

from __future__ import annotations

from companion.audio import OUTPUT_RATE, RATE_WPM, Sound, concatenated, levelled, move_glides, silence, speak, starting_note
from companion.language import Language, start_line
from companion.lesson.answer import Answer
from companion.tune import LineNote

AFTER_SPEECH_S = 0.3  # long enough that the first tone is not taken for the end of a word


def said_then(language: Language, say: str, *sounds: Sound, rate_wpm: int = RATE_WPM) -> Sound:
    """A sentence spoken and then sounds, all at one level. Raises Trouble where speech is not to be had."""
    parts = [levelled(speak(say, language, rate_wpm))]
    for sound in sounds:
        parts += [silence(AFTER_SPEECH_S, OUTPUT_RATE), levelled(sound)]
    return concatenated(*parts, rate=OUTPUT_RATE)


def cue_sound(language: Language, found: Answer, rate_wpm: int = RATE_WPM) -> Sound:
    """The spoken cue and, where there is a move to try, the tune's glide and then the voice's own."""
    glides = [move_glides(found.match, found.advice.move)] if found.advice.move is not None else []
    return said_then(language, found.cue(language), *glides, rate_wpm=rate_wpm)


def start_sound(language: Language, note: LineNote, shift: float = 0.0, rate_wpm: int = RATE_WPM) -> Sound:
    """ "Start on G." and the tone itself, `shift` semitones from where the note is written."""
    return said_then(language, start_line(language, note.pitch, shift), starting_note(note.midi + shift), rate_wpm=rate_wpm)
