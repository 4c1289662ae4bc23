"""A made-up language: every sentence and every name stands in brackets, what is put into a sentence does not.

So whatever letters are printed outside of brackets did not come through the language: it is data (a title, a syllable, a
pupil's name, a file), or it is English by accident.
"""

from __future__ import annotations

import gettext
import inspect
import re
import string
from collections.abc import Callable, Sequence
from functools import wraps
from typing import Any

from companion.language import English, Joining, Language

OPEN, CLOSE = "«", "»"


def bracketed(text: str) -> str:
    """Text in brackets; marks and digits alone are left as they are."""
    return f"{OPEN}{text}{CLOSE}" if re.search(r"[^\W\d_]", text) else text


def bracketed_template(template: str) -> str:
    """A template with each stretch of its own words in brackets, and its places outside of them."""
    out = ""
    for literal, place, form, conversion in string.Formatter().parse(template):
        out += bracketed(literal).replace("{", "{{").replace("}", "}}")
        if place is not None:
            out += "{" + place + (f"!{conversion}" if conversion else "") + (f":{form}" if form else "") + "}"
    return out


class Bracketing(gettext.NullTranslations):
    """Translates every sentence into itself, in brackets."""

    def gettext(self, message: str) -> str:
        return bracketed_template(message)

    def ngettext(self, msgid1: str, msgid2: str, n: int) -> str:
        return bracketed_template(msgid1 if n == 1 else msgid2)


def _bracketing(method: Callable[..., str]) -> Callable[..., str]:
    @wraps(method)
    def run(*arguments: Any, **more: Any) -> str:
        return bracketed(method(*arguments, **more))

    return run


class MadeUp(English):
    """English in which everything that is said can be told from data."""

    def __init__(self) -> None:
        super().__init__()
        self.translations = Bracketing()

    def listed(self, items: Sequence[str], joining: Joining = Joining.AND) -> str:
        if len(items) < 2:
            return "".join(items)
        return f"{', '.join(items[:-1])} {bracketed(joining.value)} {items[-1]}"

    def capitalised(self, text: str) -> str:
        return re.sub(rf"^({OPEN}*)(\w)", lambda m: m[1] + m[2].upper(), text)

    def quoted(self, word: str) -> str:
        return English.quoted(self, word)


#: What gives back a word of the song or of a sentence, with marks added.
_OWN = ("listed", "capitalised", "quoted", "message", "plural")
for _method_name, _method in inspect.getmembers(English, inspect.isfunction):
    if not _method_name.startswith("_") and _method_name not in _OWN and _method.__annotations__.get("return") == "str":
        setattr(MadeUp, _method_name, _bracketing(_method))


def outside(text: str) -> str:
    """What stands outside of brackets. Raises ValueError where brackets do not match: a sentence was cut."""
    kept, depth = [], 0
    for letter in text:
        if letter == OPEN:
            depth += 1
        elif letter == CLOSE:
            depth -= 1
            if depth < 0:
                raise ValueError(f"a bracket closes that never opened: {text!r}")
            kept.append(" ")
        elif not depth:
            kept.append(letter)
    if depth:
        raise ValueError(f"a bracket is not closed: {text!r}")
    return "".join(kept)


def words(text: str) -> set[str]:
    """Words of two letters and more, in small letters; a note's or a key's letter is no word."""
    return {w.lower() for w in re.findall(r"[^\W\d_]{2,}", text)}


def english(text: str, *data: str) -> set[str]:
    """Words outside of brackets that are not in the data."""
    return words(outside(text)) - set().union(*(words(d) for d in data)) if data else words(outside(text))


def made_up() -> Language:
    return MadeUp()
