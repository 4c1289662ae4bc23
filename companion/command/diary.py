"""`companion diary`: what is remembered of a pupil, what is set, and who has allowed what."""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import asdict
from typing import Any

from companion.diary import (
    Diary,
    Pupil,
    check_diary,
    decrypt_export,
    delete_pupil,
    export_pupil,
    import_pupil,
    make_changes,
    read_changes,
    repair_diary,
    restore_copy,
    week_of,
    weeks_of,
)
from companion.errors import Trouble
from companion.language import (
    Language,
    change_lines,
    check_lines,
    course_week_line,
    deletion_line,
    deletion_question,
    export_line,
    import_line,
    new_page,
    no_pupils,
    not_reached_line,
    nothing_deleted_line,
    passphrase_again,
    passphrase_question,
    pupil_line,
    repair_lines,
    setting_line,
    week_lines,
    weeks_lines,
)
from companion.messages import _


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("pupil", nargs="?", metavar="PUPIL", help=_("a nickname; without one the pupils are listed"))
    parser.add_argument("--new", action="store_true", help=_("begin a page for this pupil"))
    parser.add_argument("--set", metavar="TUNE", action="append", default=[], help=_("set a tune for the week"))
    parser.add_argument("--days", type=int, default=7, metavar="N", help=_("for how many days it is set (7)"))
    parser.add_argument("--range", nargs=2, metavar=("LOW", "HIGH"),
                        help=_("the comfortable range, as note names like A3 D5"))
    parser.add_argument("--setting", metavar="NAME=VALUE", action="append", default=[],
                        help=_("a setting that lasts, such as rate=130, speech=off, minutes=8, keys=f9:go"))
    parser.add_argument("--settings", action="store_true", help=_("list the settings"))
    parser.add_argument("--weeks", action="store_true", help=_("the last weeks, a line each"))
    parser.add_argument("--consent", metavar="WHO", help=_("someone responsible allows sound to be kept"))
    parser.add_argument("--until", metavar="DATE", help=_("last day of the consent, as 2026-12-31"))
    parser.add_argument("--withdraw", action="store_true", help=_("end the consent and delete the sound"))
    parser.add_argument("--export", metavar="FILE.zip", help=_("everything of this pupil: JSON, MusicXML, sound"))
    parser.add_argument("--import", dest="imported", metavar="FILE.zip",
                        help=_("put an export into this diary, as on another machine; nothing that is there is changed"))
    parser.add_argument("--encrypt", action="store_true",
                        help=_("encrypt the export with a passphrase that is asked for; its name ends in .age (needs pyrage)"))
    parser.add_argument("--decrypt", metavar="FILE.age", help=_("open an encrypted export; it is written beside, without .age"))
    parser.add_argument("--delete", action="store_true",
                        help=_("delete this pupil for good; at a terminal the name is asked for again"))
    parser.add_argument("--yes", action="store_true", help=_("delete without asking"))
    parser.add_argument("--check", action="store_true", help=_("look through the whole diary, and list its copies"))
    parser.add_argument("--repair", action="store_true",
                        help=_("mend a damaged diary from its copies and what is readable; the damaged file is laid aside"))
    parser.add_argument("--restore", metavar="COPY",
                        help=_("put what a copy of a diary holds into this one; nothing that is there is changed"))
    parser.add_argument("--diary", metavar="FILE", help=_("another diary than the one in your data folder"))
    parser.add_argument("--json", action="store_true", help=_("print JSON for programs"))


def run(options: argparse.Namespace) -> int:
    if options.check or options.repair or options.restore:
        return _mend(options)
    if options.decrypt:
        plain = decrypt_export(options.decrypt, _passphrase(options.language, again=False))
        _print([_("{path} written.").format(path=plain)], {"written": str(plain)} if options.json else None)
        return 0
    if options.imported:
        with Diary(options.diary) as diary:
            name, merged = import_pupil(diary, options.imported)
        _print([import_line(options.language, name, merged.takes)],
               {"nickname": name, "takes": merged.takes} if options.json else None)
        return 0
    if options.pupil is None:
        if options.delete:
            raise Trouble(_("--delete wants a pupil; give a nickname before it."))
        return _list_pupils(options)
    if options.delete:
        if not options.yes and not _confirmed(options):
            print(nothing_deleted_line(options.language))
            return 0
        delete_pupil(options.pupil, options.diary)
        _print([deletion_line(options.language, options.pupil), not_reached_line(options.language)],
               {"deleted": options.pupil} if options.json else None)
        return 0
    with Diary(options.diary) as diary:
        pupil = diary.pupil(options.pupil, new=options.new)
        lines = _changed(diary, pupil, options)
        if options.json:
            _print([], _page(diary, diary.pupil(options.pupil), options.language))
        else:
            _print(lines or _week(diary, pupil, options.language))
    return 0


def _week(diary: Diary, pupil: Pupil, language: Language) -> list[str]:
    """The week as sung, and what the course did where it has been begun."""
    from companion.course import stages, week_of_course

    course = week_of_course(diary, pupil, stages())
    return week_lines(language, week_of(diary, pupil)) + ([course_week_line(language, course)] if course else [])


def _confirmed(options: argparse.Namespace) -> bool:
    """Whether a pupil is to be deleted: a program says so by the option alone, a person types the name once more."""
    if not sys.stdin.isatty():
        return True
    print(deletion_question(options.language, options.pupil), flush=True)
    return sys.stdin.readline().split() == str(options.pupil).split()


def _mend(options: argparse.Namespace) -> int:
    """Check, mend or restore the diary itself; 2 where a check finds it damaged."""
    if options.check:
        check = check_diary(options.diary)
        _print(check_lines(options.language, check),
               {"sound": check.sound, "copies": [str(path) for path, _at in check.copies]} if options.json else None)
        return 0 if check.sound else 2
    repaired = restore_copy(options.restore, options.diary) if options.restore else repair_diary(options.diary)
    _print(repair_lines(options.language, repaired),
           {"pupils": repaired.pupils, "takes": repaired.takes,
            "aside": str(repaired.aside) if repaired.aside else None} if options.json else None)
    return 0


def _print(lines: list[str], data: Any = None) -> None:
    print("\n".join(lines) if data is None else json.dumps(data, ensure_ascii=False))


def _list_pupils(options: argparse.Namespace) -> int:
    with Diary(options.diary) as diary:
        found = [(pupil.nickname, len(diary.takes(pupil))) for pupil in diary.pupils()]
    lines = [pupil_line(options.language, name, takes) for name, takes in found]
    _print(lines or [no_pupils(options.language)],
           [{"nickname": name, "takes": takes, "say": line} for (name, takes), line in zip(found, lines, strict=True)]
           if options.json else None)
    return 0


def _changed(diary: Diary, pupil: Pupil, options: argparse.Namespace) -> list[str]:
    """Make the changes that were asked for; a line for each, and for the settings, the weeks and the export where asked for."""
    language = options.language
    changes = read_changes(settings=options.setting, range_names=options.range, tunes=options.set, days=options.days,
                           consent_by=options.consent, until=options.until, withdraw=options.withdraw)
    make_changes(diary, pupil, changes)
    lines = [new_page(language, pupil.nickname)] if options.new else []
    lines += change_lines(language, pupil.nickname, changes, diary.path)
    if options.settings:
        lines += [setting_line(language, name, value) for name, value in diary.settings(pupil).items()]
    if options.weeks:
        lines += weeks_lines(language, weeks_of(diary, pupil))
    if options.export:
        passphrase = _passphrase(language, again=True) if options.encrypt else None
        lines.append(export_line(language, options.export, len(export_pupil(diary, pupil, options.export, passphrase))))
    return lines


def _passphrase(language: Language, again: bool) -> str:
    """Asked for at a terminal, where it is not shown; a program gives it as the first line of standard input."""
    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\n")
    import getpass

    first = getpass.getpass(passphrase_question(language))
    if again and getpass.getpass(passphrase_again(language)) != first:
        raise Trouble(_("The two passphrases differ; nothing was written. Try again."))
    return first


def _page(diary: Diary, pupil: Pupil, language: Language) -> dict[str, Any]:
    """A pupil's page as JSON."""
    consent = diary.consent(pupil)
    return {"nickname": pupil.nickname, "low": pupil.low, "high": pupil.high,
            "lines": _week(diary, pupil, language),
            "settings": diary.settings(pupil), "takes": len(diary.takes(pupil)),
            "work": [{"tune": w.tune, "until": w.until.isoformat(), "takes": w.takes} for w in diary.work(pupil)],
            "moves": [asdict(t) for t in diary.tally(pupil)],
            "consent": None if consent is None else
            {"given_by": consent.given_by, "until": consent.until.isoformat() if consent.until else None}}
