"""What the command asks of the diary, in order, each answered by a plain line."""

from __future__ import annotations

from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import Any

from companion.diary.diary import Diary
from companion.diary.model import Pupil
from companion.diary.settings import SETTINGS, read_setting
from companion.diary.store import Unusable, beside, default_path
from companion.diary.week import week_lines
from companion.errors import Trouble
from companion.messages import _


def midi_of(name: str) -> int:
    """MIDI number of a note name such as "A3", "Bb3" or "F#4". Raises Trouble where it is none."""
    from companion.tune import STEP_SEMITONES, Pitch

    step, rest = name[:1].upper(), name[1:]
    alter = {"#": 1, "b": -1}.get(rest[:1], 0)
    octave = rest[1:] if alter else rest
    if step not in STEP_SEMITONES or not octave.isdigit() or int(octave) > 8:
        raise Trouble(_("{name} is no note; give a letter and an octave, as A3, Bb3 or C5.").format(name=name))
    return Pitch(step, int(octave), alter).midi


def listing(path: str | None) -> list[dict[str, Any]]:
    with Diary(path) as diary:
        out = []
        for pupil in diary.pupils():
            takes = len(diary.takes(pupil))
            out.append({"nickname": pupil.nickname, "takes": takes,
                        "say": f"{pupil.nickname}: {takes} {'take' if takes == 1 else 'takes'} in all."})
        return out


def told(options: Any) -> list[str]:
    """Do what the options say and return what is to be said. Raises Trouble, one sentence."""
    if options.delete:
        return forget(options.pupil, options.diary)
    with Diary(options.diary) as diary:
        return _told(diary, diary.pupil(options.pupil, new=options.new), options)


def _told(diary: Diary, pupil: Pupil, options: Any) -> list[str]:
    from companion.tune import find

    # All that could be refused is looked at before anything is written.
    until = _date(options.until)
    span = [midi_of(n) for n in options.range] if options.range else None
    pairs = []
    for text in options.setting:
        name, equals, value = text.partition("=")
        if not equals:
            raise Trouble(_("A setting is given as NAME=VALUE, not {text}. Settings are {SETTINGS}.").format(
                                text=text, SETTINGS=', '.join(SETTINGS)))
        pairs.append((name, read_setting(name, value)))
    if options.until and not options.consent:
        raise Trouble(_("--until says when a consent ends; give --consent WHO with it."))
    tunes = []
    for tune in options.set:
        found = find(tune)
        tunes.append(tune if not Path(tune).is_file() else str(found.resolve()))
    lines: list[str] = []
    if options.new:
        lines.append(f"{pupil.nickname} has a page.")
    for name, value in pairs:
        diary.set_setting(pupil, name, value)
        lines.append(f"{name} is {_said(value)} for {pupil.nickname}.")
    if span:
        diary.set_range(pupil, *span)
        lines.append(f"Range {options.range[0]} to {options.range[1]} kept.")
    for tune in tunes:
        diary.set_work(pupil, tune, options.days)
        lines.append(f"{Path(tune).stem} is set for {options.days} days.")
    if options.consent:
        diary.give_consent(pupil, options.consent, until)
        lines.append(f"Consent of {options.consent} kept. Sound lies in {diary.path} and nowhere else.")
    if options.withdraw:
        diary.withdraw_consent(pupil)
        lines.append("Consent ended. The sound kept under it is deleted.")
    if options.settings:
        lines += [f"{name}: {_said(value)}." for name, value in diary.settings(pupil).items()]
    if options.export:
        from companion.diary.export import export

        names = export(diary, pupil, options.export)
        lines.append(f"{options.export} written, {len(names)} files in it.")
    return lines or week_lines(diary, pupil)


def _said(value: Any) -> str:
    if isinstance(value, dict):
        return ", ".join(f"{k}: {v}" for k, v in value.items()) or "none"
    return str(value) if value != "" else "the usual one"


def _date(text: str | None) -> date | None:
    if text is None:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise Trouble(_("{text} is no date; give year, month and day as 2026-12-31.").format(text=text)) from None


def page(options: Any) -> dict[str, Any]:
    """A pupil's page as JSON."""
    if options.delete:
        return {"deleted": options.pupil}
    with Diary(options.diary) as diary:
        pupil = diary.pupil(options.pupil)
        consent = diary.consent(pupil)
        return {"nickname": pupil.nickname, "low": pupil.low, "high": pupil.high,
                "lines": week_lines(diary, pupil),
                "settings": diary.settings(pupil), "takes": len(diary.takes(pupil)),
                "work": [{"tune": w.tune, "until": w.until.isoformat(), "takes": w.takes}
                         for w in diary.work(pupil)],
                "moves": [asdict(t) for t in diary.tally(pupil)],
                "consent": None if consent is None else
                {"given_by": consent.given_by, "until": consent.until.isoformat() if consent.until else None}}


def forget(nickname: str, path: str | None) -> list[str]:
    """Delete a pupil from the diary and from one that was begun beside it."""
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
        raise Trouble(_("{unusable} {nickname} may still be in it; nothing can be deleted from such a file but the "
                        "whole of it.").format(unusable=unusable[0], nickname=nickname))
    if not gone:
        raise Trouble(_("The diary has no pupil {nickname}. companion diary lists the pupils.").format(
                            nickname=nickname))
    return [f"{nickname} is deleted for good."]
