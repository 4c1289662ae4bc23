"""The shape of the code: order of imports, no cycle, short functions, prose where it belongs, the catalogue as built."""

from __future__ import annotations

import subprocess
import sys

import pytest
import structure

#: Literals of three words and more outside the language package that no person is shown as they stand: values of enums
#: and of JSON, names of signs and facts (templates of the catalogue), errors for programmers, CSS and SVG.
MOST_PROSE = 114


@pytest.mark.parametrize("package", structure.PACKAGES)
def test_a_package_imports_from_earlier_ones_and_only_what_they_name(package: str) -> None:
    assert structure.wrong_imports(package) == []


def test_no_files_import_each_other_in_a_circle() -> None:
    assert structure.cycles() == []


@pytest.mark.parametrize("package", structure.PACKAGES)
def test_functions_are_short_or_say_why_not(package: str) -> None:
    """At most 60 lines and a complexity of 20 (radon), else a reason in the docstring."""
    assert structure.too_long(package) == []


@pytest.mark.parametrize("package", structure.PACKAGES)
def test_what_holds_arrays_is_not_compared_field_by_field(package: str) -> None:
    assert structure.arrays_compared(package) == []


def test_prose_stays_in_the_language_package() -> None:
    found = [x for package in structure.PACKAGES if package != "language" for x in structure.prose_outside(package)]
    assert len(found) <= MOST_PROSE, "\n".join(found)


def test_the_catalogue_is_what_the_code_says() -> None:
    done = subprocess.run([sys.executable, "tests/catalogue.py", "--check"], cwd=structure.ROOT, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr


def test_a_misspelt_verdict_is_a_type_error(tmp_path) -> None:  # type: ignore[no-untyped-def]
    path = tmp_path / "slip.py"
    path.write_text("from companion.match import Match, Verdict\n\n"
                    "def right(match: Match) -> bool:\n    return match.moves[0].verdict == Verdict.RIHGT\n\n"
                    "def count(match: Match) -> int:\n    return match.counts['rihgt']\n")
    done = subprocess.run([sys.executable, "-m", "mypy", "--strict", "--follow-imports=silent", "--config-file",
                           str(structure.ROOT / "pyproject.toml"), str(path)],
                          cwd=structure.ROOT, capture_output=True, text=True)
    assert "slip.py:4" in done.stdout, done.stdout
    assert "slip.py:7" in done.stdout, done.stdout
