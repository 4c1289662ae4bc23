"""A made-up language: every name and sentence in capitals, so that what did not come through it shows in small letters."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence

from companion.language import English, Joining


def loud(template: str) -> str:
    """A template in capitals; its places stay."""
    return re.sub(r"\{[^{}]*\}|[^{}]+", lambda found: found[0] if found[0][0] == "{" else found[0].upper(), template)


def _upper(name: str) -> Callable[..., str]:
    return lambda self, *given: str(getattr(English, name)(self, *given)).upper()


class Loud(English):
    """English in capitals."""

    def message(self, template: str) -> str:
        return loud(super().message(template))

    def plural(self, one: str, many: str, count: int) -> str:
        return loud(super().plural(one, many, count))

    def listed(self, items: Sequence[str], joining: Joining = Joining.AND) -> str:
        return f" {joining.upper()} ".join([", ".join(items[:-1]), items[-1]] if len(items) > 1 else items)


#: Names and numbers of the interface that give words.
for _name in ("number", "ordinal", "accidental", "pitch_class", "octave", "value", "key", "time", "direction", "weekday",
              "full_date"):
    setattr(Loud, _name, _upper(_name))
