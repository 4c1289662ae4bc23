"""The diary in sentences: a pupil's week, settings, consent, what is set, what was changed."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any

from companion.diary import (
    Changes,
    Comparison,
    DiaryCheck,
    KeptSound,
    Repaired,
    SettingName,
    SetTune,
    Suggestion,
    Sung,
    Week,
    tune_title,
)
from companion.language.interface import Language
from companion.language.moves import kind_of_moves


def _takes(language: Language, n: int) -> str:
    return language.plural("{n} take", "{n} takes", n).format(n=n)


def _days(language: Language, n: int) -> str:
    return language.plural("{n} day", "{n} days", n).format(n=n)


# --- the week ---


def week_lines(language: Language, week: Week) -> list[str]:
    """Five lines: what was sung, what was set, what changed, what is next, what sound is kept."""
    return [sung_line(language, week.nickname, week.sung), work_line(language, week.work),
            comparison_line(language, week.comparison), suggestion_line(language, week.suggestion),
            sound_line(language, week.sound)]


def sung_line(language: Language, nickname: str, sung: Sung) -> str:
    if not sung.takes:
        return language.message("{name} has sung nothing in the last seven days.").format(name=nickname)
    times = language.plural("{n} time", "{n} times", sung.takes).format(n=sung.takes)
    template = language.message("{name} sang {times} on {days} of the last seven. From note to note the voice went the right way "
                                "{right} times of {total}; {unclear} could not be told.") if sung.unsure else \
        language.message("{name} sang {times} on {days} of the last seven. From note to note the voice went the right way "
                         "{right} times of {total}.")
    return template.format(name=nickname, times=times, days=_days(language, sung.days), right=sung.right, total=sung.moves,
                           unclear=sung.unsure)


def weeks_lines(language: Language, weeks: Sequence[tuple[date, Sung]]) -> list[str]:
    """A line for each week, the newest first. weeks: Monday and what was sung, oldest first."""
    if not weeks:
        return [language.message("Nothing was sung in the last weeks.")]
    return [_week_line(language, monday, sung) for monday, sung in reversed(weeks)]


def _week_line(language: Language, monday: date, sung: Sung) -> str:
    day = language.day_of_year(monday)
    if not sung.takes:
        return language.message("Week from {day}: nothing sung.").format(day=day)
    return language.message("Week from {day}: {takes} on {days}; {right} of {total} moves right.").format(
        day=day, takes=_takes(language, sung.takes), days=_days(language, sung.days), right=sung.right, total=sung.moves)


def work_line(language: Language, work: Sequence[SetTune]) -> str:
    if not work:
        return language.message("Nothing is set.")
    tunes = []
    for item in work:
        one = language.plural("{tune}, sung {n} time", "{tune}, sung {n} times", item.takes) if item.takes else \
            language.message("{tune}, not sung yet")
        tunes.append(one.format(tune=item.title, n=item.takes))
    return language.message("Set until {day}: {tunes}.").format(day=language.weekday(work[-1].until), tunes="; ".join(tunes))


def comparison_line(language: Language, comparison: Comparison | None) -> str:
    if comparison is None:
        return language.message("Whether it is better than before cannot be told yet.")
    if not comparison.marked:
        return language.message("It goes as well as in the weeks before.")
    now, before = comparison.now, comparison.before
    template = language.message("Better than before: {moves}, right {right} times of {total}; in the weeks before {right_before} "
                                "of {total_before}.") if comparison.change > 0 else \
        language.message("Harder than before: {moves}, right {right} times of {total}; in the weeks before {right_before} of "
                         "{total_before}.")
    return template.format(moves=kind_of_moves(language, now.kind), right=now.right, total=now.total,
                           right_before=before.right, total_before=before.total)


def suggestion_line(language: Language, suggestion: Suggestion | None) -> str:
    if suggestion is None:
        return language.message("Next: any song will do; nothing stands out as hard.")
    tally = suggestion.tally
    line = language.message("Next: {moves}, which went right {right} times of {total}.").format(
        moves=kind_of_moves(language, tally.kind), right=tally.right, total=tally.total)
    if not suggestion.tunes:
        return line
    tunes = language.message("Songs with many of them: {tunes}.").format(tunes=", ".join(map(tune_title, suggestion.tunes)))
    return f"{line} {tunes}"


def sound_line(language: Language, sound: KeptSound) -> str:
    """What sound is kept, and by whose leave."""
    consent, n = sound.consent, sound.takes
    if consent is None:
        if not n:
            return language.message("Recordings: none kept, as nobody has consented.")
        return language.plural("Recordings: {n} is kept from before; no consent holds now.",
                               "Recordings: {n} are kept from before; no consent holds now.", n).format(n=n)
    days = _days(language, sound.days)
    if consent.until is None:
        return language.plural("Recordings: kept for {days}, as {who} has consented; {n} is here.",
                               "Recordings: kept for {days}, as {who} has consented; {n} are here.", n).format(
                                   days=days, who=consent.given_by, n=n)
    return language.plural("Recordings: kept for {days}, as {who} has consented until {date}; {n} is here.",
                           "Recordings: kept for {days}, as {who} has consented until {date}; {n} are here.", n).format(
                               days=days, who=consent.given_by, date=language.full_date(consent.until), n=n)


# --- pupils, settings and changes ---


def no_pupils(language: Language) -> str:
    return language.message("The diary has no pupils yet.")


def pupil_line(language: Language, nickname: str, takes: int) -> str:
    """One pupil of the list: the name, and how many takes are kept."""
    return language.plural("{name}: {n} take in all.", "{name}: {n} takes in all.", takes).format(name=nickname, n=takes)


def setting_value(language: Language, value: Any) -> str:
    """A setting's value: as it is typed, pairs one after the other, or a word where there is none."""
    if isinstance(value, dict):
        return ", ".join(f"{key}: {action}" for key, action in value.items()) or language.message("none")
    return str(value) if value != "" else language.message("the usual one")


def setting_line(language: Language, name: SettingName, value: Any) -> str:
    return language.message("{name}: {value}.").format(name=name, value=setting_value(language, value))


def new_page(language: Language, nickname: str) -> str:
    return language.message("{name} has a page.").format(name=nickname)


def change_lines(language: Language, nickname: str, changes: Changes, path: Path) -> list[str]:
    """A line for each change that was made. path: of the diary."""
    lines = [language.message("{name} is {value} for {pupil}.").format(
                 name=name, value=setting_value(language, value), pupil=nickname) for name, value in changes.settings]
    if changes.range:
        low, high = changes.range
        lines.append(language.message("Range {low} to {high} kept.").format(low=low.name, high=high.name))
    lines += [language.plural("{tune} is set for {n} day.", "{tune} is set for {n} days.", changes.days).format(
                  tune=tune_title(tune), n=changes.days) for tune in changes.tunes]
    if changes.consent_by:
        lines.append(language.message("Consent of {who} kept. Sound lies in {path} and nowhere else.").format(
                         who=changes.consent_by, path=path))
    if changes.withdraw:
        lines.append(language.message("Consent ended. The sound kept under it is deleted."))
    return lines


def export_line(language: Language, path: str, files: int) -> str:
    return language.plural("{path} written, {n} file in it.", "{path} written, {n} files in it.", files).format(
        path=path, n=files)


def deletion_question(language: Language, nickname: str) -> str:
    """Asked at a terminal before a pupil is deleted; the name typed again is the answer."""
    return language.message("All that is kept of {name} would be deleted for good. Type the name again to delete it; Enter alone "
                            "leaves all as it is.").format(name=nickname)


def nothing_deleted_line(language: Language) -> str:
    return language.message("Nothing was deleted.")


def check_lines(language: Language, check: DiaryCheck) -> list[str]:
    """Whether a diary is sound, and what copies there are."""
    first = language.message("The diary {path} is sound.").format(path=check.path) if check.sound else check.fault
    copies = [language.message("Copy of {time} UTC: {path}").format(time=f"{at:%Y-%m-%d %H:%M}", path=path)
              for path, at in check.copies]
    return [first, *(copies or [language.message("There is no copy of it.")])]


def repair_lines(language: Language, repaired: Repaired) -> list[str]:
    """What a diary holds after it was mended or a copy was put back."""
    pupils = language.plural("{n} pupil", "{n} pupils", repaired.pupils).format(n=repaired.pupils)
    lines = [language.message("The diary is sound: {pupils}, {takes}.").format(
        pupils=pupils, takes=_takes(language, repaired.takes))]
    if repaired.aside is not None:
        lines.append(language.message("The damaged file was laid aside as {path}. Delete it when nothing is missing.").format(
            path=repaired.aside))
    return lines


def deletion_line(language: Language, nickname: str) -> str:
    return language.message("{name} is deleted for good.").format(name=nickname)


def not_reached_line(language: Language) -> str:
    """After a deletion: what it does not reach."""
    return language.message("What was handed over, printed or written to other files is not reached, nor are backups that this "
                            "machine makes of itself.")


def passphrase_question(language: Language) -> str:
    """Asked at a terminal; what is typed after it is not shown."""
    return language.message("Passphrase, which is not shown: ")


def passphrase_again(language: Language) -> str:
    return language.message("The same passphrase again: ")


def import_line(language: Language, nickname: str, takes: int) -> str:
    """After an export was put into the diary. takes: those that were not there."""
    return language.plural("{name} is in the diary; {n} take was new.", "{name} is in the diary; {n} takes were new.",
                           takes).format(name=nickname, n=takes)
