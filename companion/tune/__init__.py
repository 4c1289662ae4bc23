"""The melody as data. Nothing heavy is imported here; `load` brings in music21 when it is called."""

from companion.tune.catalogue import Entry, catalogue
from companion.tune.files import find, load, save, shipped_names
from companion.tune.model import (
    Bar,
    Direction,
    Key,
    LineNote,
    Note,
    Pitch,
    ScoreDirection,
    Syllable,
    Time,
    Tune,
    Tuplet,
    direction_of,
)
from companion.tune.reach import PLAIN_WALL, Wall, heights_cm, wall_for
from companion.tune.voice import Fit, fit, spell, transpose

__all__ = ["PLAIN_WALL", "Bar", "Direction", "Entry", "Fit", "Key", "LineNote", "Note", "Pitch", "ScoreDirection",
           "Syllable", "Time", "Tune", "Tuplet", "Wall", "catalogue", "direction_of", "find", "fit", "heights_cm", "load",
           "save", "shipped_names", "spell", "transpose", "wall_for"]
