"""What is heard back: speech, tones and glides, playback with its cap. Nothing heavy is imported here: NumPy is all."""

from companion.audio.glides import OUTPUT_RATE, glide, line_sound, move_glides, starting_note
from companion.audio.playback import (
    CAP_DBFS,
    Playing,
    check_name,
    finish,
    loudspeakers,
    play,
    portaudio,
    save_sound,
    start_playing,
)
from companion.audio.sound import concatenated, levelled, silence
from companion.audio.speech import RATE_WPM, speak
from companion.ear import Sound

__all__ = ["CAP_DBFS", "OUTPUT_RATE", "RATE_WPM", "Playing", "Sound", "check_name", "concatenated", "finish", "glide",
           "levelled", "line_sound", "loudspeakers", "move_glides", "play", "portaudio", "save_sound", "silence", "speak",
           "start_playing", "starting_note"]
