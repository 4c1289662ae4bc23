"""What is heard back: speech, tones and glides, playback with its cap. Nothing heavy is imported here: NumPy is all.

A name is loaded when it is first asked for: the first word of a session is spoken before tunes and matches are loaded.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from companion.ear import Sound
from companion.lazy import loader

if TYPE_CHECKING:
    from companion.audio.glides import OUTPUT_RATE, glide, line_sound, move_glides, starting_note, tone
    from companion.audio.playback import (
        CAP_DBFS,
        Loudspeaker,
        Playing,
        check_name,
        finish,
        loudspeakers,
        play,
        portaudio,
        save_sound,
        start_playing,
    )
    from companion.audio.pulse import count_in, with_beats
    from companion.audio.sound import concatenated, levelled, silence
    from companion.audio.speech import RATE_WPM, speak

__all__ = ["CAP_DBFS", "OUTPUT_RATE", "RATE_WPM", "Loudspeaker", "Playing", "Sound", "check_name", "concatenated",
           "count_in", "finish", "glide", "levelled", "line_sound", "loudspeakers", "move_glides", "play", "portaudio",
           "save_sound", "silence", "speak", "start_playing", "starting_note", "tone", "with_beats"]

__getattr__ = loader(__name__, {
    "glides": ("OUTPUT_RATE", "glide", "line_sound", "move_glides", "starting_note", "tone"),
    "playback": ("CAP_DBFS", "Loudspeaker", "Playing", "check_name", "finish", "loudspeakers", "play", "portaudio",
                 "save_sound", "start_playing"),
    "pulse": ("count_in", "with_beats"),
    "sound": ("concatenated", "levelled", "silence"),
    "speech": ("RATE_WPM", "speak"),
})
