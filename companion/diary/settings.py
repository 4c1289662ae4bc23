"""Settings that last, per pupil: their names, what they may be, and what they are if nobody has said."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from companion.errors import Trouble
from companion.messages import N_, _, catalogues

#: A session at home never lasts longer: a young voice tires (common practice of singing teachers).
MOST_MINUTES = 20


class SettingName(StrEnum):
    """Names as they are typed, kept in the diary's file and given in JSON."""

    SPEECH = "speech"
    RATE = "rate"
    VARIETY = "variety"
    LOUDNESS = "loudness"
    DETAIL = "detail"
    TEMPO = "tempo"
    MINUTES = "minutes"
    COURSE_MINUTES = "course-minutes"
    COURSE_SONG = "course-song"
    NOTE_NAMES = "note-names"
    KEYS = "keys"
    MICROPHONE = "microphone"
    LOUDSPEAKER = "loudspeaker"
    KEEP_SOUND_DAYS = "keep-sound-days"
    WAIT_FOR_GO = "wait-for-go"


class Speech(StrEnum):
    """Words spoken, or left as lines of text to a screen reader."""

    ON = "on"
    OFF = "off"


class WaitForGo(StrEnum):
    """Whether the next phrase of a lesson waits for the key "go"."""

    ON = "on"
    OFF = "off"


class NoteNames(StrEnum):
    """How the course calls notes: by letters, or by their place in the key (movable do)."""

    LETTERS = "letters"
    SOLFA = "solfa"


class Detail(StrEnum):
    """How much is said of a take without being asked."""

    SHORT = "short"
    MORE = "more"


class Action(StrEnum):
    """What a key or pedal may be bound to in a session, by the words that are typed in a setting."""

    GO = "go"
    AGAIN = "again"
    NEXT = "next"
    BACK = "back"
    WHERE = "where"
    REPEAT = "repeat"
    SLOWER = "slower"
    FASTER = "faster"
    LOWER = "lower"
    HIGHER = "higher"
    MORE = "more"
    KEEP = "keep"
    HELP = "help"
    PAUSE = "pause"
    STRIKE = "strike"
    ME = "me"
    HOME = "set-for-home"
    SUMMARY = "summary"
    QUIT = "quit"


#: Whose names are used; `companion.language` has a language for each, found by its catalogue.
VARIETIES = ("british", "american", *(code for code in catalogues() if not code.startswith("en_")))

#: All settings of a pupil, as `Diary.settings` gives them.
Settings = dict[SettingName, Any]


@dataclass(frozen=True)
class Setting:
    """default: where nobody has said. read: makes a value of text or raises ValueError. refusal: the sentence then."""

    default: Any
    read: Callable[[str], Any]
    refusal: str


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
    return {k.strip(): Action(v.strip()).value for k, v in pairs.items()}


SETTINGS: dict[SettingName, Setting] = {
    SettingName.SPEECH: Setting(Speech.ON.value, _one_of(*Speech), N_("{name} was {text}; give on or off.")),
    SettingName.RATE: Setting(150, _between(80, 300), N_("{name} was {text}; give 80 to 300 words a minute.")),
    SettingName.VARIETY: Setting("british", _one_of(*VARIETIES), N_("{name} was {text}; give british or american.")),
    SettingName.LOUDNESS: Setting(-20.0, _between(-50, -14, whole=False),
                                  N_("{name} was {text}; give -50 to -14 dB below full scale.")),
    SettingName.DETAIL: Setting(Detail.SHORT.value, _one_of(*Detail), N_("{name} was {text}; give short or more.")),
    SettingName.TEMPO: Setting(1.0, _between(0.4, 1.5, whole=False),
                               N_("{name} was {text}; give 0.4 to 1.5 times the tune's own.")),
    SettingName.MINUTES: Setting(10, _between(1, MOST_MINUTES), N_("{name} was {text}; give 1 to {MOST_MINUTES} minutes.")),
    SettingName.COURSE_MINUTES: Setting(8, _between(1, MOST_MINUTES),
                                        N_("{name} was {text}; give 1 to {MOST_MINUTES} minutes.")),
    SettingName.COURSE_SONG: Setting("", str, N_("{name} was {text}; give the name of a file.")),
    SettingName.NOTE_NAMES: Setting(NoteNames.LETTERS.value, _one_of(*NoteNames),
                                    N_("{name} was {text}; give letters or solfa.")),
    SettingName.KEYS: Setting({}, _keys, N_("{name} was {text}; give pairs of key and action like f9:go,pagedown:again.")),
    SettingName.MICROPHONE: Setting("", str, N_("{name} was {text}; give the name of a device.")),
    SettingName.LOUDSPEAKER: Setting("", str, N_("{name} was {text}; give the name of a device.")),
    SettingName.KEEP_SOUND_DAYS: Setting(30, _between(1, 3650), N_("{name} was {text}; give 1 to 3650 days.")),
    SettingName.WAIT_FOR_GO: Setting(WaitForGo.OFF.value, _one_of(*WaitForGo), N_("{name} was {text}; give on or off.")),
}


def default_settings() -> Settings:
    """The settings of somebody for whom nobody has said anything."""
    return {name: setting.default for name, setting in SETTINGS.items()}


def kept_setting(name: SettingName, value: Any) -> Any:
    """A setting as it was kept; its default where it may not be that, as in a damaged diary."""
    if name is SettingName.KEYS:
        whole = isinstance(value, dict) and all(isinstance(x, str) for pair in value.items() for x in pair)
        return value if whole else SETTINGS[name].default
    try:
        return SETTINGS[name].read(str(value))
    except (ValueError, OverflowError):
        return SETTINGS[name].default


def setting_name(name: str) -> SettingName:
    """A setting by the name that was typed. Raises Trouble where there is none."""
    try:
        return SettingName(name)
    except ValueError:
        raise Trouble(_("There is no setting {name}. Settings are {SETTINGS}.").format(
                            name=name, SETTINGS=", ".join(SettingName))) from None


def read_setting(name: SettingName, text: str) -> Any:
    """A setting's value from text. Raises Trouble where it may not be that."""
    try:
        return SETTINGS[name].read(text)
    except ValueError:
        raise Trouble(_(SETTINGS[name].refusal).format(name=name, text=text, MOST_MINUTES=MOST_MINUTES)) from None
