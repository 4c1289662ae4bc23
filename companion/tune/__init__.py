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
from companion.tune.voice import Fit, fit, spell, transpose

__all__ = ["Bar", "Direction", "Entry", "Fit", "Key", "LineNote", "Note", "Pitch", "ScoreDirection", "Syllable", "Time",
           "Tune", "Tuplet", "catalogue", "direction_of", "find", "fit", "load", "save", "shipped_names", "spell",
           "transpose"]
