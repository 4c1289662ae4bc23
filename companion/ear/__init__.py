"""Sound in, pitch out. Nothing heavy is imported here."""

from __future__ import annotations

from pathlib import Path

from companion.ear.files import Sound, is_track_file, read_sound, read_track
from companion.ear.model import PitchTrack, SungNote
from companion.ear.notes import steadiness, weighted_median
from companion.ear.tracker import join

__all__ = ["PitchTrack", "Sound", "SungNote", "hear_pitch", "is_track_file", "join", "read_sound", "read_track", "steadiness",
           "track", "weighted_median"]


def track(sound: Sound) -> PitchTrack:
    """The pitch of a sound, frame by frame."""
    from companion.ear.tracker import track as run

    return run(sound.samples, sound.rate)


def hear_pitch(path: str | Path) -> PitchTrack:
    """The pitch track of a sound file, or a pitch-track file as it stands. Raises Trouble if unreadable."""
    if is_track_file(path):
        return read_track(path)
    return track(read_sound(path))
