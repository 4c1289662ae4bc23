"""Errors that a user can cause, each one plain sentence: what was given, what was wanted, what to do."""

from __future__ import annotations


class Trouble(Exception):
    """Wrong use or unreadable input (exit code 2). Its text is the sentence to show."""

    exit_code = 2


class NothingSung(Trouble):
    """The take holds no singing that could be found (exit code 3)."""

    exit_code = 3
