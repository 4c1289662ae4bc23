"""Pitch trackers for whole recordings, one file each.

To add one, put a file beside this one with a function `track` as `PitchTracker` describes it. Its name is the file's,
and `companion hear --tracker NAME` takes it; nothing else is to be changed.
"""

from __future__ import annotations

import pkgutil
from importlib import import_module
from typing import Protocol, cast

from companion.ear.model import PitchTrack
from companion.ear.sound import Sound
from companion.errors import Trouble
from companion.messages import _

#: The tracker that everything uses where no other is asked for: our streaming pYIN.
DEFAULT_TRACKER = "companion"


class PitchTracker(Protocol):
    """Finds the pitch of a whole recording, frame by frame.

    sound: mono, any rate and length. A tracker brings it to the rate that it works at (`Sound.at_rate`).

    The result is a `PitchTrack`, its arrays of one length n:
    - frame i is centred at `time_s[i]` = i * `hop_s`, seconds; `hop_s` lies between 0.005 and 0.013, and the frames
      cover the sound from its first sample to its last;
    - `f0_hz` in Hz, 0 where the frame is unvoiced; `sure` is the probability of voice at that pitch, 0 to 1, 0 where
      it is unvoiced, 1 where a tracker only says yes or no;
    - `level_db` by `companion.ear.level.frame_levels`, so that a level means the same whoever tracks; `harmonic` NaN where
      a tracker has no such measure; `guess_hz` and `octave` may be left out;
    - `duration_s` is the length of the sound.

    Look-ahead: the whole recording may be used. A tracker that decides while the sound comes in is
    `companion.ear.Tracker`, the streaming form of the tracker "companion".

    Errors: silence, noise and an empty sound are tracks without voice, never errors. Raises Trouble where the library
    that it needs is not installed.
    """

    def __call__(self, sound: Sound) -> PitchTrack: ...


def tracker_names() -> list[str]:
    """Names of the trackers that there are, in alphabetical order."""
    return sorted(m.name for m in pkgutil.iter_modules(__path__))


def pitch_tracker(name: str = DEFAULT_TRACKER) -> PitchTracker:
    """The tracker of that name. Raises Trouble where there is none."""
    if name not in tracker_names():
        raise Trouble(_("There is no pitch tracker {name}. There are: {names}.").format(
                            name=name, names=", ".join(tracker_names())))
    return cast(PitchTracker, import_module(f"{__name__}.{name}").track)
