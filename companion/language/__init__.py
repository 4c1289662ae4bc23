"""Everything that is composed from parts and heard or read by a person. English is one file; see `interface`.

What a subject needs is loaded when a name of it is first asked for, because each subject imports the facts that it
tells of, and a command tells of few.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from companion.language.choice import LANGUAGES, choose_language
from companion.language.english import English, Variety
from companion.language.interface import Joining, Language

if TYPE_CHECKING:
    from companion.language.diary import (
        change_lines,
        deletion_line,
        export_line,
        kept_beside,
        new_page,
        no_pupils,
        pupil_line,
        setting_line,
        week_lines,
    )
    from companion.language.lesson import (
        LessonSentence,
        given_line,
        greeting,
        key_line,
        lesson_place,
        line_kept,
        phrase_place,
        sung_line_place,
        sung_line_title,
        title_and_phrases,
        title_line,
    )
    from companion.language.microphone import level_line, sing_for_level
    from companion.language.moves import moves_of_kind, next_time, went_well
    from companion.language.reach import hand_for_helper, hand_for_pupil

__all__ = [
    "LANGUAGES",
    "English",
    "Joining",
    "Language",
    "LessonSentence",
    "Variety",
    "change_lines",
    "choose_language",
    "deletion_line",
    "export_line",
    "given_line",
    "greeting",
    "hand_for_helper",
    "hand_for_pupil",
    "kept_beside",
    "key_line",
    "lesson_place",
    "level_line",
    "line_kept",
    "moves_of_kind",
    "new_page",
    "next_time",
    "no_pupils",
    "phrase_place",
    "pupil_line",
    "setting_line",
    "sing_for_level",
    "sung_line_place",
    "sung_line_title",
    "title_and_phrases",
    "title_line",
    "week_lines",
    "went_well",
]

#: The names of each subject.
_SUBJECTS = {
    "diary": ("change_lines", "deletion_line", "export_line", "kept_beside", "new_page", "no_pupils",
              "pupil_line", "setting_line", "week_lines"),
    "lesson": ("LessonSentence", "given_line", "greeting", "key_line", "lesson_place", "line_kept",
               "phrase_place", "sung_line_place", "sung_line_title", "title_and_phrases",
               "title_line"),
    "moves": ("moves_of_kind", "next_time", "went_well"),
    "microphone": ("level_line", "sing_for_level"),
    "reach": ("hand_for_helper", "hand_for_pupil"),
}


def __getattr__(name: str) -> Any:
    for subject, names in _SUBJECTS.items():
        if name in names:
            return getattr(import_module(f"{__name__}.{subject}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
