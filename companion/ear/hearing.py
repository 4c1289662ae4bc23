"""The pitch of a sound or a file, by any of the trackers."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from companion.ear.files import is_track_file, read_sound, read_track
from companion.ear.model import PitchTrack
from companion.ear.sound import Sound
from companion.ear.trackers import DEFAULT_TRACKER, pitch_tracker


def track(sound: Sound, tracker: str = DEFAULT_TRACKER) -> PitchTrack:
    """The pitch of a sound, frame by frame, by the tracker of that name (see `PitchTracker`).

    Raises Trouble where there is no tracker of that name.
    """
    return pitch_tracker(tracker)(sound)


def hear_pitch(path: str | Path, tracker: str = DEFAULT_TRACKER,
               check_length: Callable[[float], None] = lambda seconds: None) -> PitchTrack:
    """The pitch track of a sound file, or a pitch-track file as it stands. Raises Trouble if unreadable.

    check_length: given how many seconds there are before the work on them, which takes long; may raise.
    """
    run = pitch_tracker(tracker)
    if is_track_file(path):
        found = read_track(path)
        check_length(len(found.f0_hz) * found.hop_s)
        return found
    sound = read_sound(path)
    check_length(sound.seconds)
    return run(sound)
