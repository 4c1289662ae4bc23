"""A move as the hand's way up or down the wall, said to the pupil and to the helper. The measures: `tune.reach`."""

from __future__ import annotations

from companion.language.interface import Language
from companion.tune import PLAIN_WALL, Direction, Wall, direction_of


def _width(language: Language, palms: float) -> str:
    """ "half a palm's width", "a palm's width", "two and a half palms' widths". palms: in halves."""
    if palms <= 0.5:
        return language.message("half a palm's width")
    if palms == 1:
        return language.message("a palm's width")
    whole = int(palms)
    template = (language.plural("{n} and a half palms' widths", "{n} and a half palms' widths", whole) if palms % 1
                else language.plural("{n} palm's width", "{n} palms' widths", whole))
    return template.format(n=language.number(whole))


def hand_for_pupil(language: Language, semitones: float, wall: Wall = PLAIN_WALL) -> str:
    """One sentence for the pupil: "Hand up the wall, a palm's width.". semitones: of the move, signed."""
    templates = {
        Direction.UP: language.message("Hand up the wall, {width}."),
        Direction.DOWN: language.message("Hand down the wall, {width}."),
        Direction.LEVEL: language.message("Hand still: the note stays."),
    }
    return templates[direction_of(semitones)].format(width=_width(language, wall.palms(semitones)))


def hand_for_helper(language: Language, semitones: float, wall: Wall = PLAIN_WALL) -> str:
    """For the helper: "The tune climbs here. Lift the hand by a palm's width, 7 centimetres.".

    semitones: of the move, signed. wall: that of the tune (`wall_for`).
    """
    direction = direction_of(semitones)
    if direction is Direction.LEVEL:
        return language.message("The tune stays here. Keep the hand where it is.")
    if wall.palms_are_rough(semitones):
        templates = {
            Direction.UP: language.message("The tune climbs here. Lift the hand by about {width}, {distance}."),
            Direction.DOWN: language.message("The tune comes down here. Lower the hand by about {width}, {distance}."),
        }
    else:
        templates = {
            Direction.UP: language.message("The tune climbs here. Lift the hand by {width}, {distance}."),
            Direction.DOWN: language.message("The tune comes down here. Lower the hand by {width}, {distance}."),
        }
    cm = round(wall.distance_cm(semitones), 1)
    said = language.plural("{n} centimetre", "{n} centimetres", 1 if cm == 1 else 2).format(n=f"{cm:g}")
    return templates[direction].format(width=_width(language, wall.palms(semitones)), distance=said)
