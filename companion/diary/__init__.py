"""What is remembered: pupils, their settings and consents, takes and what was set.

Nothing heavy is imported. What looks at takes and tunes is loaded when it is first asked for: a session at home opens
its diary before its first word.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from companion.diary.diary import Diary, open_or_beside
from companion.diary.model import (
    Consent,
    KeptTake,
    Pupil,
    Purpose,
    SessionKind,
    TakeMove,
    Tally,
    Work,
)
from companion.diary.settings import (
    MOST_MINUTES,
    SETTINGS,
    VARIETIES,
    Action,
    Detail,
    NoteNames,
    SettingName,
    Settings,
    Speech,
    WaitForGo,
    default_settings,
    read_setting,
)
from companion.diary.store import Locked, Unusable, beside, default_path
from companion.lazy import loader

if TYPE_CHECKING:
    from companion.diary.changes import Changes, delete_pupil, make_changes, read_changes
    from companion.diary.export import check_encryption, decrypt_export, export_pupil
    from companion.diary.importing import import_pupil
    from companion.diary.repair import DiaryCheck, Repaired, check_diary, repair_diary, restore_copy
    from companion.diary.week import (
        Comparison,
        KeptSound,
        SetTune,
        Suggestion,
        Sung,
        Week,
        next_kind,
        suggestion,
        tune_title,
        week_of,
        weeks_of,
    )

__all__ = ["MOST_MINUTES", "SETTINGS", "VARIETIES", "Action", "Changes", "Comparison", "Consent", "Detail", "Diary",
           "DiaryCheck", "KeptSound", "KeptTake", "Locked", "NoteNames", "Pupil", "Purpose", "Repaired", "SessionKind", "SetTune",
           "SettingName", "Settings", "Speech", "Suggestion", "Sung", "TakeMove", "Tally", "Unusable", "WaitForGo",
           "Week", "Work", "beside", "check_diary", "check_encryption", "decrypt_export", "default_path",
           "default_settings", "delete_pupil", "export_pupil", "import_pupil", "make_changes", "next_kind",
           "open_or_beside", "read_changes", "read_setting", "repair_diary", "restore_copy", "suggestion", "tune_title",
           "week_of", "weeks_of"]

__getattr__ = loader(__name__, {
    "changes": ("Changes", "delete_pupil", "make_changes", "read_changes"),
    "export": ("check_encryption", "decrypt_export", "export_pupil"),
    "importing": ("import_pupil",),
    "repair": ("DiaryCheck", "Repaired", "check_diary", "repair_diary", "restore_copy"),
    "week": ("Comparison", "KeptSound", "SetTune", "Suggestion", "Sung", "Week", "next_kind", "suggestion",
             "tune_title", "week_of", "weeks_of"),
})
