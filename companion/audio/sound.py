"""Sound that goes out: parts joined, and brought to one level."""

from __future__ import annotations

import numpy as np

from companion.ear import Sound

#: Level of every part of a cue while it sounds, RMS, dB re full scale. Near the -23 LUFS of broadcasts (EBU
#: R 128), and so low that speech, whose loudest moments lie 8 dB above its level and its peaks 16, stays
#: under the cap and is not brought down alone.
PART_DB = -24.0
FRAME_S = 0.05
#: Frames this far below the loudest are pauses and do not count for the level (after ITU-T P.56, whose
#: active speech level leaves out what lies 15.9 dB below it; frames, not its envelope, are measured here).
PAUSE_DB = 25.0
SILENT_DB = -120.0


def silence(seconds: float, rate: int) -> Sound:
    return Sound(np.zeros(round(seconds * rate), dtype=np.float32), rate)


def concatenated(*sounds: Sound, rate: int = 44100) -> Sound:
    """Sounds one after the other, at one rate."""
    parts = [s.at_rate(rate).samples for s in sounds]
    return Sound(np.concatenate(parts) if parts else np.zeros(0, dtype=np.float32), rate)


def active_db(sound: Sound) -> float:
    """RMS level while it sounds, pauses left out, dB re full scale (a square wave of 1 is 0; silence -120)."""
    size = max(1, min(len(sound.samples), round(FRAME_S * sound.rate)))
    frames = sound.samples[:len(sound.samples) // size * size].astype(np.float64).reshape(-1, size)
    power = np.mean(frames**2, axis=1) if len(frames) else np.zeros(1)
    loud = power[power >= power.max() * 10 ** (-PAUSE_DB / 10)]
    return max(SILENT_DB, float(10 * np.log10(loud.mean() + 1e-12)))


def levelled(sound: Sound, level_db: float = PART_DB) -> Sound:
    """The same sound, brought to one level while it sounds, so that parts may follow each other.

    Silence stays silence. Samples are not clipped here: `playback.finish` holds the peaks of the whole.
    """
    now = active_db(sound)
    if now <= SILENT_DB + 20:
        return sound
    return Sound(np.asarray(sound.samples * 10 ** ((level_db - now) / 20), dtype=np.float32), sound.rate)
