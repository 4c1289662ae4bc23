"""Which language is spoken. A second language is one more row of `LANGUAGES`."""

from __future__ import annotations

from collections.abc import Callable

from companion import messages
from companion.language.english import English, Variety
from companion.language.interface import Language

#: What makes each language, by the value of the setting `variety`.
LANGUAGES: dict[str, Callable[[], Language]] = {
    Variety.BRITISH: lambda: English(Variety.BRITISH),
    Variety.AMERICAN: lambda: English(Variety.AMERICAN),
}


def choose_language(variety: str) -> Language:
    """The language of all that is said from now on, one-off sentences with it. Raises KeyError for one that is not known."""
    language = LANGUAGES[variety]()
    messages.use(language.translations)
    return language
