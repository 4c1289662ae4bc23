"""What is remembered: pupils, their settings and consents, takes and what was set. Nothing heavy is imported."""

from companion.diary.diary import RECORDING, Diary, open_or_beside
from companion.diary.model import Consent, KeptTake, Pupil, TakeMove, Tally, Work
from companion.diary.settings import MOST_MINUTES, SETTINGS, read_setting
from companion.diary.store import Locked, Unusable, beside, default_path

__all__ = ["MOST_MINUTES", "RECORDING", "SETTINGS", "Consent", "Diary", "KeptTake", "Locked", "Pupil", "TakeMove",
           "Tally", "Unusable", "Work", "beside", "default_path", "open_or_beside", "read_setting"]
