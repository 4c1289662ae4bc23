"""The microphone's level in sentences."""

from __future__ import annotations

from companion.ear import LevelAdvice
from companion.language.interface import Language
from companion.messages import N_

LEVELS: dict[LevelAdvice, str] = {
    LevelAdvice.GOOD: N_("Good. The voice is clear."),
    LevelAdvice.TOO_SHORT: N_("That was too short. Sing for three seconds."),
    LevelAdvice.NO_SOUND: N_("The microphone gives no sound at all. It may be muted, or this program may not be allowed to "
                             "listen."),
    LevelAdvice.TOO_LOUD: N_("Too loud: the sound is cut off. Go back a little, or turn the microphone down."),
    LevelAdvice.FAINT: N_("Faint. Come closer to the microphone, or turn it up."),
    LevelAdvice.LOUD_ROOM: N_("The room is loud, or nobody sang. Find a quieter place, or come closer."),
}


def level_line(language: Language, advice: LevelAdvice) -> str:
    """What to change about the microphone."""
    return language.message(LEVELS[advice])


def sing_for_level(language: Language, name: str, rate: int) -> str:
    """Before the level is measured. name, rate: of the microphone, in Hz."""
    return language.message("{name}, {rate} Hz. Sing for three seconds, then be silent for one.").format(
        name=name, rate=rate)
