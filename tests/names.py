"""Every name that somebody meets, a line each: to be read by eye whenever one is new.

    python tests/names.py

Of each the question is whether somebody of the trade (a braille teacher, a singing teacher, an engraver) would take it for
an existing program's: then it is changed. Terms of the trade and of open standards are free.
"""

from __future__ import annotations

import argparse
import html
import importlib
import re
import sys
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(ROOT)]

from companion.command import COMMANDS  # noqa: E402


def commands() -> Iterator[str]:
    for name, what in COMMANDS.items():
        yield f"command {name}: {what}"
        parser = argparse.ArgumentParser(prog=name, add_help=False)
        importlib.import_module(f"companion.command.{name}").arguments(parser)
        for action in parser._actions:
            words = ", ".join(action.option_strings) or str(action.metavar or action.dest)
            choices = f" ({', '.join(map(str, action.choices))})" if action.choices else ""
            yield f"option of {name}: {words}{choices}: {action.help}"


def settings() -> Iterator[str]:
    from companion.course.drill import Order, QuestionKind
    from companion.diary.settings import Action, SettingName

    for kind, members in (("setting", SettingName), ("word for a key", Action), ("kind of question", QuestionKind),
                          ("order of facts", Order)):
        for member in members:
            yield f"{kind}: {member.value}"


def course() -> Iterator[str]:
    from companion.course import stages

    for stage in stages():
        yield f"stage {stage.number:g}: {stage.name}: {stage.title}"


def tunes() -> Iterator[str]:
    from companion.tune import catalogue

    for entry in catalogue():
        yield f"tune: {entry.name}: {entry.title}: {entry.words}"


#: What is read aloud or shown large on the page.
_SHOWN = re.compile(r"<(h[1-6]|label|legend|button|summary|th|option|title)\b[^>]*>(.*?)</\1>|aria-label=\"([^\"]+)\"", re.S)


def page() -> Iterator[str]:
    for path in sorted((ROOT / "companion" / "page" / "templates").glob("*.html")):
        for found in _SHOWN.finditer(path.read_text(encoding="utf-8")):
            text = found[2] if found[1] else found[3]
            text = " ".join(html.unescape(re.sub(r"<[^>]+>|{%.*?%}", " ", text, flags=re.S)).split())
            if text:
                yield f"page, {path.stem}, {found[1] or 'label'}: {text}"
    for path in sorted((ROOT / "companion" / "page" / "static").glob("*.css")):
        for name in sorted(set(re.findall(r"--[a-z-]+(?=:)", path.read_text(encoding="utf-8")))):
            yield f"look, {path.name}: {name}"


def forms() -> Iterator[str]:
    """Endings of the files that are written or read."""
    text = "\n".join(p.read_text(encoding="utf-8") for p in sorted((ROOT / "companion").glob("**/*.py")))
    for ending in sorted(set(re.findall(r"[\"' ](\.[a-z][a-z0-9]{1,8})[\"' ,;)]", text))):
        yield f"file form: {ending}"


def main() -> None:
    for part in (commands, settings, course, tunes, page, forms):
        for line in part():
            print(line)


if __name__ == "__main__":
    main()
