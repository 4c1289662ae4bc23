"""One-off sentences (errors, help) in the language that was chosen, through the standard library's gettext.

    raise Trouble(_("There is no file {path}. Check its name and folder.").format(path=path))

The sentence is the key of the catalogue, so it stands whole in the source, with named places for values. A table
that is filled before the language is chosen marks its sentences with `N_` and looks them up when they are said. What is
composed from parts (numbers, names of notes, cues) is made in `companion.language` instead.
"""

from __future__ import annotations

import gettext
from contextvars import ContextVar
from pathlib import Path

#: Catalogues of translated sentences: locale/CODE/LC_MESSAGES/companion.mo.
LOCALE = Path(__file__).resolve().parent / "language" / "locale"

_active: gettext.NullTranslations = gettext.NullTranslations()
#: What holds for one thread or task alone, where several people are served by one process.
_own: ContextVar[gettext.NullTranslations | None] = ContextVar("translations", default=None)


def catalogues() -> tuple[str, ...]:
    """Codes of the languages that have a catalogue, such as "en_US"."""
    return tuple(sorted(path.name for path in LOCALE.iterdir() if path.is_dir()))


def translations(code: str) -> gettext.NullTranslations:
    """The catalogue of a language; none for one that has none, whose sentences are then those of the code."""
    return gettext.translation("companion", LOCALE, [code], fallback=True)


def use(translations: gettext.NullTranslations) -> None:
    """Say one-off sentences with these translations from now on: in the whole process, or after `apart` in this thread or
    task. Called where the language is chosen."""
    global _active
    if _own.get() is None:
        _active = translations
    else:
        _own.set(translations)


def apart() -> None:
    """From now on a language that is chosen in this thread or task holds for it alone."""
    _own.set(_own.get() or _active)


def _(message: str) -> str:
    """The sentence in the language in use; itself where the catalogue does not have it."""
    return (_own.get() or _active).gettext(message)


def N_(message: str) -> str:  # named as gettext's users name it
    """Marks a sentence for the catalogue and leaves it as it is; `_` or `Language.message` looks it up when it is said."""
    return message
