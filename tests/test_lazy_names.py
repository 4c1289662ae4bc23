"""Packages whose names are loaded late: the three lists of names agree, and every name is there."""

from __future__ import annotations

import ast
import importlib
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PACKAGES = [p.parent.name for p in sorted((ROOT / "companion").glob("*/__init__.py"))
            if "__getattr__ = loader(" in p.read_text(encoding="utf-8")]


@pytest.mark.parametrize("package", PACKAGES)
def test_the_lists_of_names_agree(package: str) -> None:
    tree = ast.parse((ROOT / "companion" / package / "__init__.py").read_text(encoding="utf-8"))
    for_checkers = {f"{node.module}.{alias.name}" for block in tree.body if isinstance(block, ast.If)
                    for node in block.body if isinstance(node, ast.ImportFrom) for alias in node.names}
    table = next(node.value.args[1] for node in tree.body if isinstance(node, ast.Assign) and isinstance(node.value, ast.Call)
                 and getattr(node.targets[0], "id", "") == "__getattr__")
    late = {f"companion.{package}.{module}.{name}" for module, names in ast.literal_eval(table).items() for name in names}
    assert for_checkers == late
    loaded = importlib.import_module(f"companion.{package}")
    assert {name.rpartition(".")[2] for name in late} <= set(loaded.__all__)
    for name in loaded.__all__:
        assert getattr(loaded, name) is not None
    with pytest.raises(AttributeError, match="no_such_name"):
        _ = loaded.no_such_name


def test_little_stands_before_the_first_word() -> None:
    """What a session at home loads before its greeting: nothing of tunes, matches or scores."""
    code = ("import sys; import companion.command.practise, companion.lesson.run;"
            "from companion.language import choose_language, greeting; greeting(choose_language('british'), 'Pip');"
            "print(sorted(m.split('.')[1] for m in sys.modules if m.count('.') == 1 and m.startswith('companion.')))")
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True).stdout
    assert not {"tune", "match", "braille", "course", "transcribe", "paper", "workbook"} & set(ast.literal_eval(out)), out
