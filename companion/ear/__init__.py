"""Sound in, pitch out. Nothing heavy is imported here: NumPy is all, and a name is loaded when it is first asked for."""

from __future__ import annotations

from typing import TYPE_CHECKING

from companion.lazy import loader

if TYPE_CHECKING:
    from companion.ear.claps import Claps, find_claps, own_beat
    from companion.ear.devices import devices_called, devices_with
    from companion.ear.files import is_track_file, read_sound, read_track
    from companion.ear.hearing import hear_pitch, track
    from companion.ear.microphone import (
        CLIPPED,
        CLIPPED_SHARE,
        FAINT_DB,
        NOTHING_DB,
        Level,
        LevelAdvice,
        Microphone,
        MicrophoneGone,
        Resampler,
        find_microphone,
        level_of,
        waiting_blocks,
    )
    from companion.ear.model import PitchTrack, SungNote
    from companion.ear.notes import Doubtful, find_notes, find_notes_and_doubts, steadiness, weighted_median
    from companion.ear.sound import RATE, Sound
    from companion.ear.tracker import HOP, Tracker, join
    from companion.ear.trackers import DEFAULT_TRACKER, PitchTracker, pitch_tracker, tracker_names

__all__ = [
    "CLIPPED",
    "CLIPPED_SHARE",
    "DEFAULT_TRACKER",
    "FAINT_DB",
    "HOP",
    "NOTHING_DB",
    "RATE",
    "Claps",
    "Doubtful",
    "Level",
    "LevelAdvice",
    "Microphone",
    "MicrophoneGone",
    "PitchTrack",
    "PitchTracker",
    "Resampler",
    "Sound",
    "SungNote",
    "Tracker",
    "devices_called",
    "devices_with",
    "find_claps",
    "find_microphone",
    "find_notes",
    "find_notes_and_doubts",
    "hear_pitch",
    "is_track_file",
    "join",
    "level_of",
    "own_beat",
    "pitch_tracker",
    "read_sound",
    "read_track",
    "steadiness",
    "track",
    "tracker_names",
    "waiting_blocks",
    "weighted_median",
]

__getattr__ = loader(__name__, {
    "claps": ("Claps", "find_claps", "own_beat"),
    "devices": ("devices_called", "devices_with"),
    "files": ("is_track_file", "read_sound", "read_track"),
    "hearing": ("hear_pitch", "track"),
    "microphone": ("CLIPPED", "CLIPPED_SHARE", "FAINT_DB", "NOTHING_DB", "Level", "LevelAdvice", "Microphone",
                   "MicrophoneGone", "Resampler", "find_microphone", "level_of", "waiting_blocks"),
    "model": ("PitchTrack", "SungNote"),
    "notes": ("Doubtful", "find_notes", "find_notes_and_doubts", "steadiness", "weighted_median"),
    "sound": ("RATE", "Sound"),
    "tracker": ("HOP", "Tracker", "join"),
    "trackers": ("DEFAULT_TRACKER", "PitchTracker", "pitch_tracker", "tracker_names"),
})
