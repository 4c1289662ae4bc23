"""Which language is spoken.

English is here by its two varieties. A second language is one file `companion/language/CODE.py` with a function
`language()` that gives its `Language`, and its catalogue `locale/CODE`: it is then found by its code.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from importlib import import_module

from companion import messages
from companion.errors import Trouble
from companion.language.english import English, Variety
from companion.language.interface import Language
from companion.messages import _


def _other(code: str) -> Language:
    made: Language = import_module(f"companion.language.{code}").language()
    return made


#: What makes each language, by the value of the setting `variety`.
LANGUAGES: dict[str, Callable[[], Language]] = {
    **{variety.value: partial(English, variety) for variety in Variety},
    **{code: partial(_other, code) for code in messages.catalogues() if not code.startswith("en_")},
}


def choose_language(name: str) -> Language:
    """The language of all that is said from now on, one-off sentences with it. Raises Trouble for one that is not known."""
    if name not in LANGUAGES:
        raise Trouble(_("There is no language {name}. There are {names}.").format(name=name, names=", ".join(LANGUAGES)))
    language = LANGUAGES[name]()
    messages.use(language.translations)
    return language
