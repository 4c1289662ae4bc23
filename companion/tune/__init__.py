"""The melody as data. Nothing heavy is imported here; `load` brings in music21 when it is called."""

from companion.tune.catalogue import Entry, IntervalKind, catalogue, describe, interval_kind
from companion.tune.convert import from_music21, split_value
from companion.tune.files import find, load, save, shipped_names
from companion.tune.model import (
    JUMPS,
    MARKS,
    STEP_SEMITONES,
    STEPS,
    VALUES,
    Bar,
    Direction,
    Key,
    LineNote,
    Note,
    Pitch,
    ScoreDirection,
    Syllable,
    Time,
    Tuplet,
    direction_of,
)
from companion.tune.musicxml import to_musicxml
from companion.tune.reach import PLAIN_WALL, Wall, heights_cm, wall_for
from companion.tune.tune import Tune
from companion.tune.voice import Fit, fit, spell, transpose, transposed_key

__all__ = ["JUMPS", "MARKS", "PLAIN_WALL", "STEPS", "STEP_SEMITONES", "VALUES", "Bar", "Direction", "Entry", "Fit",
           "IntervalKind", "Key", "LineNote", "Note", "Pitch", "ScoreDirection", "Syllable", "Time", "Tune", "Tuplet", "Wall",
           "catalogue", "describe", "direction_of", "find", "fit", "from_music21", "heights_cm", "interval_kind", "load",
           "save", "shipped_names", "spell", "split_value", "to_musicxml", "transpose", "transposed_key", "wall_for"]
