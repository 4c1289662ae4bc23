"""The live loop: play, wait, listen, answer; in the lesson and at home.

A name is loaded when it is first asked for, because a command needs few of them, and the first word of a session must
come within half a second.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from companion.lazy import loader

if TYPE_CHECKING:
    from companion.lesson.correcting import corrected
    from companion.lesson.run import SessionOptions, check_level, run_lesson, run_practise

__all__ = ["SessionOptions", "check_level", "corrected", "run_lesson", "run_practise"]

__getattr__ = loader(__name__, {
    "correcting": ("corrected",),
    "run": ("SessionOptions", "check_level", "run_lesson", "run_practise"),
})
