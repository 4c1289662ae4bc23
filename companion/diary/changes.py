"""Changes to a pupil's page, read from what was typed and checked before any of them is made."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from companion.diary.copies import erase
from companion.diary.diary import Diary
from companion.diary.model import Pupil
from companion.diary.repair import aside
from companion.diary.settings import SettingName, read_setting, setting_name
from companion.diary.store import Unusable, beside, default_path
from companion.errors import Trouble
from companion.messages import _
from companion.tune import Pitch, lasting_name

STEPS = "CDEFGAB"


@dataclass(frozen=True, kw_only=True)
class Changes:
    """What is to be changed on a pupil's page, in the order in which it is done.

    tunes: to be set for `days` days, by the name of one that ships or the whole path of a file. consent_by: who allows
    that sound is kept, until the end of the day `consent_until`, or without an end.
    """

    settings: tuple[tuple[SettingName, Any], ...] = ()
    range: tuple[Pitch, Pitch] | None = None
    tunes: tuple[str, ...] = ()
    days: int = 7
    consent_by: str | None = None
    consent_until: date | None = None
    withdraw: bool = False


def read_changes(*, settings: Sequence[str] = (), range_names: Sequence[str] | None = None, tunes: Sequence[str] = (),
                 days: int = 7, consent_by: str | None = None, until: str | None = None,
                 withdraw: bool = False) -> Changes:
    """Changes from what was typed. Raises Trouble for the first that may not be.

    settings: each as NAME=VALUE. range_names: lowest and highest note, as "A3", "D5". until: a date as 2026-12-31.
    """
    consent_until = _read_date(until) if until is not None else None
    low_high = (read_pitch(range_names[0]), read_pitch(range_names[1])) if range_names else None
    pairs = tuple(_read_pair(text) for text in settings)
    if until and not consent_by:
        raise Trouble(_("--until says when a consent ends; give --consent WHO with it."))
    return Changes(settings=pairs, range=low_high, tunes=tuple(map(lasting_name, tunes)), days=days, consent_by=consent_by,
                   consent_until=consent_until, withdraw=withdraw)


def make_changes(diary: Diary, pupil: Pupil, changes: Changes) -> None:
    """Keep them all. Raises Trouble where the diary cannot be written, or where a range, a number of days or the last day
    of a consent cannot be."""
    diary.check_last_day(changes.consent_until)  # before anything is changed
    for name, value in changes.settings:
        diary.set_setting(pupil, name, value)
    if changes.range:
        low, high = changes.range
        diary.set_range(pupil, low.midi, high.midi)
    for tune in changes.tunes:
        diary.set_work(pupil, tune, changes.days)
    if changes.consent_by:
        diary.give_consent(pupil, changes.consent_by, changes.consent_until)
    if changes.withdraw:
        diary.withdraw_consent(pupil)


def read_pitch(name: str) -> Pitch:
    """A pitch from its name in scientific pitch notation: "A3", "Bb3", "F#4". Raises Trouble where it is none."""
    step, rest = name[:1].upper(), name[1:]
    alter = {"#": 1, "b": -1}.get(rest[:1], 0)
    octave = rest[1:] if alter else rest
    if not step or step not in STEPS or octave not in set("012345678"):
        raise Trouble(_("{name} is no note; give a letter and an octave, as A3, Bb3 or C5.").format(name=name))
    return Pitch(step, int(octave), alter)


def _read_pair(text: str) -> tuple[SettingName, Any]:
    """ "rate=130" as a setting and its value."""
    name, equals, value = text.partition("=")
    if not equals:
        raise Trouble(_("A setting is given as NAME=VALUE, not {text}. Settings are {SETTINGS}.").format(
                            text=text, SETTINGS=", ".join(SettingName)))
    known = setting_name(name)
    return known, read_setting(known, value)


def _read_date(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise Trouble(_("{text} is no date; give year, month and day as 2026-12-31.").format(text=text)) from None


def delete_pupil(nickname: str, path: str | Path | None = None) -> None:
    """Delete a pupil for good: from the diary, its copies, one that was begun beside it, and one that was mended.

    Raises Trouble where there is no such pupil, or where one of the two files cannot be used.
    """
    place = Path(path) if path else default_path()
    gone, unusable = False, []
    for file in (place, beside(place)):
        if file == place or file.exists():
            try:
                with Diary(file) as diary:
                    gone |= diary.forget(nickname)
            except Unusable as trouble:
                unusable.append(str(trouble))
    if unusable:
        raise Trouble(_("{unusable} {nickname} may still be in it and in its copies; mend it, then delete again.").format(
                            unusable=unusable[0], nickname=nickname))
    laid = aside(place)
    if gone and laid.is_file():  # what could be read of it is in the diary; of the rest nothing can be deleted alone
        erase(laid)
    if not gone:
        raise Trouble(_("The diary has no pupil {nickname}. companion diary lists the pupils.").format(
                            nickname=nickname))
