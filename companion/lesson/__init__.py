"""The live loop: play, wait, listen, answer; in the lesson and at home.

A name is loaded when it is first asked for, because a command needs few of them, and the first word of a session must
come within half a second.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from companion.lesson.run import SessionOptions, check_level, run_lesson, run_practise

__all__ = ["SessionOptions", "check_level", "run_lesson", "run_practise"]

_MODULES = {"run": ("SessionOptions", "check_level", "run_lesson", "run_practise")}


def __getattr__(name: str) -> Any:
    for module, names in _MODULES.items():
        if name in names:
            return getattr(import_module(f"{__name__}.{module}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
