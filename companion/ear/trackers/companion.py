"""Our own tracker: streaming pYIN with a gate of level and periodicity (`companion.ear.tracker`), given the whole sound."""

from __future__ import annotations

from companion.ear.model import PitchTrack
from companion.ear.sound import RATE, Sound
from companion.ear.tracker import Tracker, join


def track(sound: Sound) -> PitchTrack:
    """Pitch by our own tracker, decided with the whole sound known; see `PitchTracker`."""
    tracker = Tracker()
    return join([tracker.push(sound.at_rate(RATE).samples), tracker.finish()])
