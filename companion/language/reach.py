"""A move as a hand's way up or down the wall, in words, for the pupil and for the helper.

A palm's width is the measure: it is always at hand, and it grows with the child. A palm for every two
semitones keeps an octave within an arm's sweep of a small child. A tune with more reach is drawn closer
together, on a `Wall` of its own, so that its highest note stays below a stretch and its lowest above the
hip; words and heights come from the same wall and agree.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from companion.errors import Trouble
from companion.language.cues import NUMBERS
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
GRAIN_CM = 0.5  # heights and ways are told in these

CAUTION = "Clear the space first, and let someone who can see it say that it is clear."


@dataclass(frozen=True)
class Wall:
    """Where the hand goes for the notes from `low` to `high` (MIDI numbers), cm above the floor.

    cm_per_semitone: how far a semitone is. middle_cm: the height of the middle between low and high.
    """

    low: float
    high: float
    cm_per_semitone: float
    lowest_cm: float

    def height_cm(self, midi: float) -> float:
        """Height of the hand for a note, cm above the floor. A note beyond the tune stays at its edge."""
        return self.lowest_cm + (min(max(midi, self.low), self.high) - self.low) * self.cm_per_semitone

    def way_cm(self, semitones: float) -> float:
        """How far the hand goes for a move, cm, at least 0."""
        return abs(semitones) * self.cm_per_semitone


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
        # In whole grains where there is room for one, so that every height and every way comes out even.
        cm = math.floor(room / GRAIN_CM) * GRAIN_CM or room
    else:
        cm = CM_PER_SEMITONE
    span = (high - low) * cm
    lowest = math.floor((shoulder_cm - span / 2) / GRAIN_CM) * GRAIN_CM
    return Wall(low, high, cm, min(lowest, top - span))  # never below `bottom`: less room lies above than below


#: For a move that belongs to no tune in particular: a palm for every two semitones.
PLAIN = Wall(0, 127, CM_PER_SEMITONE, 0.0)


def heights_cm(midi: list[int], shoulder_cm: float = SHOULDER_CM) -> list[float]:
    """The height of the hand for each note of a tune, cm above the floor."""
    wall = wall_for(midi, shoulder_cm)
    return [wall.height_cm(m) for m in midi]


def palms(semitones: float, wall: Wall = PLAIN) -> float:
    """How many palms' widths the hand goes, in halves; never less than half a palm for a move."""
    halves = round(wall.way_cm(semitones) / PALM_CM * 2)
    return max(1, halves) / 2 if semitones else 0.0


def _width(semitones: float, wall: Wall) -> str:
    n = palms(semitones, wall)
    if n <= 0.5:
        return "half a palm's width"
    if n == 1:
        return "a palm's width"
    whole = NUMBERS[int(n)] if n < len(NUMBERS) else str(int(n))
    return f"{whole} {'and a half ' if n % 1 else ''}palms' widths"


def _centimetres(semitones: float, wall: Wall, american: bool) -> str:
    cm = round(wall.way_cm(semitones), 1)
    return f"{cm:g} centi{'meter' if american else 'metre'}{'' if cm == 1 else 's'}"


def for_pupil(wanted: str, semitones: float, wall: Wall = PLAIN) -> str:
    """One sentence for the pupil: "Hand up the wall, a palm's width.". wanted: "up", "down" or "level"."""
    if wanted == "level":
        return "Hand still: the note stays."
    return f"Hand {wanted} the wall, {_width(semitones, wall)}."


def for_helper(wanted: str, semitones: float, wall: Wall = PLAIN, american: bool = False) -> str:
    """For the helper: "The tune climbs here. Lift the hand by a palm's width, 7 centimetres.".

    wanted: "up", "down" or "level". wall: that of the tune (`wall_for`). american: centimeters.
    """
    if wanted == "level":
        return "The tune stays here. Keep the hand where it is."
    # On a wall drawn closer the palm is a rough measure; the centimetres are those of `heights_cm`.
    rough = abs(palms(semitones, wall) * PALM_CM - wall.way_cm(semitones)) > GRAIN_CM
    way = f"{'about ' if rough else ''}{_width(semitones, wall)}, {_centimetres(semitones, wall, american)}"
    if wanted == "up":
        return f"The tune climbs here. Lift the hand by {way}."
    return f"The tune comes down here. Lower the hand by {way}."
