"""Sound in, pitch out. Nothing heavy is imported here."""

from __future__ import annotations

from pathlib import Path

from companion.ear.files import RATE, Sound, is_track_file, read_sound, read_track
from companion.ear.microphone import (
    CLIPPED,
    CLIPPED_SHARE,
    FAINT_DB,
    NOTHING_DB,
    Gone,
    Level,
    LevelAdvice,
    Microphone,
    level_of,
)
from companion.ear.model import PitchTrack, SungNote
from companion.ear.tracker import HOP, Tracker

__all__ = ["CLIPPED", "CLIPPED_SHARE", "FAINT_DB", "HOP", "NOTHING_DB", "RATE", "Gone", "Level", "LevelAdvice",
           "Microphone", "PitchTrack", "Sound", "SungNote", "Tracker", "hear_pitch", "is_track_file", "level_of",
           "read_sound", "read_track", "track"]


def track(sound: Sound) -> PitchTrack:
    """The pitch of a sound, frame by frame."""
    from companion.ear.tracker import track as run

    return run(sound.samples, sound.rate)


def hear_pitch(path: str | Path) -> PitchTrack:
    """The pitch track of a sound file, or a pitch-track file as it stands. Raises Trouble if unreadable."""
    if is_track_file(path):
        return read_track(path)
    return track(read_sound(path))
