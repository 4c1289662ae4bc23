"""The live loop: play, wait, listen, answer; in the lesson and at home. Answers to takes, one or many.

A name is loaded when it is first asked for, because a command needs few of them, and the first word of a session must
come within half a second.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from companion.lazy import loader

if TYPE_CHECKING:
    from companion.lesson.answer import Answer, answer_take, why_json
    from companion.lesson.comparing import compared_sound
    from companion.lesson.correcting import asked, corrected
    from companion.lesson.course_json import glossary_json, progress_json, question_json, stage_json
    from companion.lesson.course_session import hear_answer, record_claps, terminal
    from companion.lesson.course_sitting import (
        Sitting,
        SittingIO,
        Tally,
        drill_sitting,
        judge_stages,
        place,
        pupils_language,
        sit,
    )
    from companion.lesson.demo import demo_answer, demo_lines, save_cue
    from companion.lesson.keeping import Kept, keep_answer, kept_line
    from companion.lesson.keys import Keys
    from companion.lesson.out import Out
    from companion.lesson.question_sound import led_in, shift_for, sound_of_question
    from companion.lesson.review import ReviewProgress, review_list
    from companion.lesson.reviewed import Reviewed, review_take
    from companion.lesson.run import Devices, SessionOptions, check_level, run_lesson, run_practise
    from companion.lesson.session import Taken
    from companion.lesson.sounds import cue_sound
    from companion.lesson.takes_list import Job
    from companion.lesson.words import answer_lines, review_line

__all__ = ["Answer", "Devices", "Job", "Kept", "Keys", "Out", "ReviewProgress", "Reviewed", "SessionOptions", "Sitting",
           "SittingIO", "Taken", "Tally", "answer_lines", "answer_take", "asked", "check_level", "compared_sound", "corrected",
           "cue_sound", "demo_answer", "demo_lines", "drill_sitting", "glossary_json", "hear_answer", "judge_stages",
           "keep_answer", "kept_line", "led_in", "place", "progress_json", "pupils_language", "question_json", "record_claps",
           "review_line", "review_list", "review_take", "run_lesson", "run_practise", "save_cue", "shift_for", "sit",
           "sound_of_question", "stage_json", "terminal", "why_json"]

__getattr__ = loader(__name__, {
    "answer": ("Answer", "answer_take", "why_json"),
    "comparing": ("compared_sound",),
    "correcting": ("asked", "corrected"),
    "course_json": ("glossary_json", "progress_json", "question_json", "stage_json"),
    "course_session": ("hear_answer", "record_claps", "terminal"),
    "course_sitting": ("Sitting", "SittingIO", "Tally", "drill_sitting", "judge_stages", "place",
                       "pupils_language", "sit"),
    "demo": ("demo_answer", "demo_lines", "save_cue"),
    "keeping": ("Kept", "keep_answer", "kept_line"),
    "keys": ("Keys",),
    "out": ("Out",),
    "question_sound": ("led_in", "shift_for", "sound_of_question"),
    "review": ("ReviewProgress", "review_list"),
    "reviewed": ("Reviewed", "review_take"),
    "run": ("Devices", "SessionOptions", "check_level", "run_lesson", "run_practise"),
    "session": ("Taken",),
    "sounds": ("cue_sound",),
    "takes_list": ("Job",),
    "words": ("answer_lines", "review_line"),
})
