"""How far the hand goes up or down the wall for the notes of a tune, and how high it is for each of them.

A palm's width is the measure: it is always at hand, and it grows with the child. A palm for every two
semitones keeps an octave within an arm's sweep of a small child. A tune with more reach is drawn closer
together, on a `Wall` of its own, so that its highest note stays below a stretch and its lowest above the hip.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from companion.errors import Trouble
from companion.messages import _

PALM_CM = 7.0  # a child's palm is 6 to 8 cm wide; from memory
CM_PER_SEMITONE = PALM_CM / 2
#: A shoulder's height where none was given: that of a child of 120 cm, about seven years old. The shoulder
#: lies at 0.818 of the stature (Drillis and Contini 1966; from memory).
SHOULDER_CM = 98.0
LOWEST_SHOULDER_CM, HIGHEST_SHOULDER_CM = 40.0, 190.0  # a small child sitting; a tall adult standing
#: The highest reach stays below a stretch: this much above the shoulder, whatever the tune does.
ABOVE_SHOULDER = 0.25  # of the shoulder's height: about the crown of the head
BELOW_SHOULDER = 0.35  # of it: about the hip, so that nobody has to bend
GRAIN_CM = 0.5  # heights and distances are given in these


@dataclass(frozen=True)
class Wall:
    """Where the hand goes for the notes from `low` to `high` (MIDI numbers).

    cm_per_semitone: how far a semitone is. lowest_cm: the height of the lowest note above the floor.
    """

    low: float
    high: float
    cm_per_semitone: float
    lowest_cm: float

    def height_cm(self, midi: float) -> float:
        """Height of the hand for a note, cm above the floor. A note beyond the tune stays at its edge."""
        return self.lowest_cm + (min(max(midi, self.low), self.high) - self.low) * self.cm_per_semitone

    def distance_cm(self, semitones: float) -> float:
        """How far the hand goes for a move, cm, at least 0."""
        return abs(semitones) * self.cm_per_semitone

    def palms(self, semitones: float) -> float:
        """How many palms' widths the hand goes, in halves; never less than half a palm for a move."""
        halves = round(self.distance_cm(semitones) / PALM_CM * 2)
        return max(1, halves) / 2 if semitones else 0.0

    def palms_are_rough(self, semitones: float) -> bool:
        """Whether the palms of a move, on a wall drawn closer, differ from its centimetres by more than a grain."""
        return abs(self.palms(semitones) * PALM_CM - self.distance_cm(semitones)) > GRAIN_CM


#: For a move that belongs to no tune in particular: a palm for every two semitones.
PLAIN_WALL = Wall(0, 127, CM_PER_SEMITONE, 0.0)


def wall_for(midi: Iterable[float], shoulder_cm: float = SHOULDER_CM) -> Wall:
    """The wall for a tune's notes (MIDI numbers) and a shoulder so high above the floor, standing or sitting.

    The tune's middle lies at the shoulder, or lower where it would go above a stretch; a tune too wide to
    stay above the hip as well is drawn closer together. Raises Trouble for a shoulder that cannot be,
    ValueError where there are no notes.
    """
    if not LOWEST_SHOULDER_CM <= shoulder_cm <= HIGHEST_SHOULDER_CM:
        raise Trouble(_("The shoulder's height was {shoulder_cm:g} cm; give {lowest:g} to "
                        "{highest:g}, measured from the floor.").format(
                            shoulder_cm=shoulder_cm, lowest=LOWEST_SHOULDER_CM, highest=HIGHEST_SHOULDER_CM))
    notes = list(midi)
    low, high = min(notes), max(notes)
    bottom = math.ceil(shoulder_cm * (1 - BELOW_SHOULDER) / GRAIN_CM) * GRAIN_CM
    top = math.floor(shoulder_cm * (1 + ABOVE_SHOULDER) / GRAIN_CM) * GRAIN_CM
    room = (top - bottom) / (high - low) if high > low else CM_PER_SEMITONE
    if room < CM_PER_SEMITONE:
        # In whole grains where there is room for one, so that every height and every distance comes out even.
        cm = math.floor(room / GRAIN_CM) * GRAIN_CM or room
    else:
        cm = CM_PER_SEMITONE
    span = (high - low) * cm
    lowest = math.floor((shoulder_cm - span / 2) / GRAIN_CM) * GRAIN_CM
    return Wall(low, high, cm, min(lowest, top - span))  # never below `bottom`: less room lies above than below


def heights_cm(midi: Sequence[float], shoulder_cm: float = SHOULDER_CM) -> list[float]:
    """The height of the hand for each note of a tune (MIDI numbers), cm above the floor."""
    wall = wall_for(midi, shoulder_cm)
    return [wall.height_cm(m) for m in midi]
