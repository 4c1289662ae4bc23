"""Solfa names as the words of a tune: movable do, which is the keynote of the major key with the tune's signature.

In a minor key the keynote is la, as tonic sol-fa has it. A raised note's name ends in i, a lowered one's in e (ra for re); the
names are from memory, common practice of the teaching room.
"""

from __future__ import annotations

from dataclasses import replace

from companion.tune.model import STEPS, Key, Note, Pitch, Syllable
from companion.tune.tune import Tune

NAMES = ("do", "re", "mi", "fa", "so", "la", "ti")
_RAISED = {"do": "di", "re": "ri", "fa": "fi", "so": "si", "la": "li"}
_LOWERED = {"re": "ra", "mi": "me", "so": "se", "la": "le", "ti": "te"}


def place_in_key(pitch: Pitch, key: Key) -> tuple[int, int]:
    """Which letter of the major key with this signature a note has, 0 for its keynote's to 6, and by how many semitones it is
    raised or (below 0) lowered there."""
    tonic = Key(key.fifths).tonic
    return (STEPS.index(pitch.step) - STEPS.index(tonic.step)) % len(STEPS), pitch.alter - key.alter(pitch.step)


def solfa(pitch: Pitch, key: Key) -> str:
    """The name of a note in a key: "do", "fi". A raised mi or ti, and whatever else has no name of its own, keeps that of its
    letter."""
    place, change = place_in_key(pitch, key)
    name = NAMES[place]
    return (_RAISED if change > 0 else _LOWERED).get(name, name) if change else name


def with_solfa(tune: Tune) -> Tune:
    """The tune with the solfa name of each sung note as its words, in place of others."""
    bars = []
    key = tune.key
    held = False
    for bar in tune.bars:
        key = bar.key or key
        notes: list[Note] = []
        for note in bar.notes:
            sung = note.pitch is not None and not note.grace and not held
            name = (Syllable(solfa(note.pitch, key)),) if sung and note.pitch is not None else ()
            notes.append(replace(note, syllables=name))
            held = note.tie if not note.grace else held
        bars.append(replace(bar, notes=tuple(notes)))
    return replace(tune, bars=tuple(bars))
