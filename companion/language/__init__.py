"""Everything that is composed from parts and heard or read by a person. English is one file; see `interface`."""

from companion.language.choice import LANGUAGES, choose_language
from companion.language.english import English, Variety
from companion.language.interface import Joining, Language
from companion.language.reach import hand_for_helper, hand_for_pupil

__all__ = [
    "LANGUAGES",
    "English",
    "Joining",
    "Language",
    "Variety",
    "choose_language",
    "hand_for_helper",
    "hand_for_pupil",
]
