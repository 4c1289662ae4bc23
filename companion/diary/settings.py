"""Settings that last, per pupil: their names, what they may be, and what they are if nobody has said."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from companion.errors import Trouble
from companion.messages import _

#: A session at home never lasts longer: a young voice tires (common practice of singing teachers).
MOST_MINUTES = 20


@dataclass(frozen=True)
class Setting:
    """default; `read` makes a value of text or raises ValueError; `wanted` ends the sentence of refusal."""

    default: Any
    read: Callable[[str], Any]
    wanted: str


def _between(low: float, high: float, whole: bool = True) -> Callable[[str], Any]:
    def read(text: str) -> Any:
        value = float(text)
        if not low <= value <= high or (whole and value != int(value)):
            raise ValueError(text)
        return int(value) if whole else value

    return read


def _one_of(*words: str) -> Callable[[str], str]:
    def read(text: str) -> str:
        if text.lower() not in words:
            raise ValueError(text)
        return text.lower()

    return read


def _keys(text: str) -> dict[str, str]:
    pairs = dict(part.split(":", 1) for part in text.split(",") if part)
    if not all(k and v for k, v in pairs.items()):
        raise ValueError(text)
    return {k.strip(): v.strip() for k, v in pairs.items()}


SETTINGS: dict[str, Setting] = {
    "speech": Setting("on", _one_of("on", "off"), "on or off"),
    "rate": Setting(150, _between(80, 300), "80 to 300 words a minute"),
    "variety": Setting("british", _one_of("british", "american"), "british or american"),
    "loudness": Setting(-20.0, _between(-50, -14, whole=False), "-50 to -14 dB below full scale"),
    "detail": Setting("short", _one_of("short", "more"), "short or more"),
    "tempo": Setting(1.0, _between(0.4, 1.5, whole=False), "0.4 to 1.5 times the tune's own"),
    "minutes": Setting(10, _between(1, MOST_MINUTES), f"1 to {MOST_MINUTES} minutes"),
    "keys": Setting({}, _keys, "pairs of key and action like f9:go,pagedown:again"),
    "microphone": Setting("", str, "the name of a device"),
    "loudspeaker": Setting("", str, "the name of a device"),
    "keep-sound-days": Setting(30, _between(1, 3650), "1 to 3650 days"),
}


def read_setting(name: str, text: str) -> Any:
    """A setting's value from text. Raises Trouble where there is no such setting or it may not be that."""
    if name not in SETTINGS:
        raise Trouble(_("There is no setting {name}. Settings are {SETTINGS}.").format(
                            name=name, SETTINGS=', '.join(SETTINGS)))
    try:
        return SETTINGS[name].read(text)
    except ValueError:
        raise Trouble(_("{name} was {text}; give {wanted}.").format(
                            name=name, text=text, wanted=SETTINGS[name].wanted)) from None
