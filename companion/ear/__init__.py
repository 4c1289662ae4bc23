"""Sound in, pitch out. Nothing heavy is imported here: NumPy is all."""

from __future__ import annotations

from pathlib import Path

from companion.ear.devices import devices_called
from companion.ear.files import is_track_file, read_sound, read_track
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
)
from companion.ear.model import PitchTrack, SungNote
from companion.ear.notes import cheapest_path, find_notes, measured, steadiness, weighted_median
from companion.ear.sound import RATE, Sound
from companion.ear.tracker import HOP, Tracker, join
from companion.ear.trackers import DEFAULT_TRACKER, PitchTracker, pitch_tracker, tracker_names

__all__ = ["CLIPPED", "CLIPPED_SHARE", "DEFAULT_TRACKER", "FAINT_DB", "HOP", "NOTHING_DB", "RATE", "Level", "LevelAdvice",
           "Microphone", "MicrophoneGone", "PitchTrack", "PitchTracker", "Resampler", "Sound", "SungNote", "Tracker",
           "cheapest_path", "devices_called", "find_microphone", "find_notes", "hear_pitch", "is_track_file", "join", "level_of",
           "measured", "pitch_tracker", "read_sound", "read_track", "steadiness", "track", "tracker_names",
           "weighted_median"]


def track(sound: Sound, tracker: str = DEFAULT_TRACKER) -> PitchTrack:
    """The pitch of a sound, frame by frame, by the tracker of that name (see `PitchTracker`).

    Raises Trouble where there is no tracker of that name.
    """
    return pitch_tracker(tracker)(sound)


def hear_pitch(path: str | Path, tracker: str = DEFAULT_TRACKER) -> PitchTrack:
    """The pitch track of a sound file, or a pitch-track file as it stands. Raises Trouble if unreadable."""
    run = pitch_tracker(tracker)
    if is_track_file(path):
        return read_track(path)
    return run(read_sound(path))
