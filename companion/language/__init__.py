"""Everything that is composed from parts and heard or read by a person. English is one file; see `interface`."""

from companion.language.english import English, Variety
from companion.language.interface import Joining, Language

__all__ = ["English", "Joining", "Language", "Variety"]
