"""The live loop: play, wait, listen, answer; in the lesson and at home.

A name is loaded when it is first asked for, because a command needs few of them, and the first word of a session must
come within half a second.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from companion.lazy import loader

if TYPE_CHECKING:
    from companion.lesson.correcting import corrected
    from companion.lesson.course_json import glossary_json, progress_json, question_json, stage_json
    from companion.lesson.course_session import hear_answer, terminal
    from companion.lesson.course_sitting import Sitting, SittingIO, Tally, drill_sitting, judge_stages, sit
    from companion.lesson.question_sound import shift_for, sound_of_question
    from companion.lesson.run import SessionOptions, check_level, run_lesson, run_practise

__all__ = ["SessionOptions", "Sitting", "SittingIO", "Tally", "check_level", "corrected", "drill_sitting",
           "glossary_json", "hear_answer", "judge_stages", "progress_json", "question_json", "run_lesson",
           "run_practise", "shift_for", "sit", "sound_of_question", "stage_json", "terminal"]

__getattr__ = loader(__name__, {
    "course_json": ("glossary_json", "progress_json", "question_json", "stage_json"),
    "course_session": ("hear_answer", "terminal"),
    "course_sitting": ("Sitting", "SittingIO", "Tally", "drill_sitting", "judge_stages", "sit"),
    "question_sound": ("shift_for", "sound_of_question"),
    "correcting": ("corrected",),
    "run": ("SessionOptions", "check_level", "run_lesson", "run_practise"),
})
