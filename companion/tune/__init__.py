"""The melody as data. Nothing heavy is imported here; `load` brings in music21 when it is called."""

from companion.tune.chords import ChordKind, ChordNote, ChordSymbol
from companion.tune.convert import from_music21, split_value
from companion.tune.files import LoadedPart, find, lasting_name, load, load_parts, save, shipped_names
from companion.tune.model import (
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
from companion.tune.shipped import Entry, IntervalKind, catalogue, describe, interval_kind
from companion.tune.signs import (
    ACCIDENTALS,
    CELL_BASE,
    Barline,
    DirectionKind,
    Display,
    Grace,
    Jump,
    Mark,
    Sign,
    Stands,
    cells,
)
from companion.tune.solfa import place_in_key, solfa, with_solfa
from companion.tune.syllables import ENGLISH, check_language, parted
from companion.tune.tune import Tune
from companion.tune.voice import Fit, fit, spell, transpose, transposed_key

__all__ = ["ACCIDENTALS", "CELL_BASE", "ENGLISH", "PLAIN_WALL", "STEPS", "STEP_SEMITONES", "VALUES", "Bar", "Barline",
           "ChordKind", "ChordNote", "ChordSymbol", "Direction", "DirectionKind", "Display", "Entry", "Fit", "Grace",
           "IntervalKind", "Jump", "Key", "LineNote", "LoadedPart", "Mark", "Note", "Pitch", "ScoreDirection", "Sign", "Stands",
           "Syllable", "Time", "Tune", "Tuplet", "Wall", "catalogue", "cells", "check_language", "describe", "direction_of",
           "find", "fit", "from_music21", "heights_cm", "interval_kind", "lasting_name", "load", "load_parts", "parted",
           "place_in_key", "save", "shipped_names", "solfa", "spell", "split_value", "to_musicxml", "transpose",
           "transposed_key", "wall_for", "with_solfa"]
