"""What is handed out holds everything: the wheel what runs, the source archive what builds and tests it."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import tarfile
import tomllib
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
NEVER = {"__pycache__", "downloads"}


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the wheel and the source archive, built by the project's own build system, offline."""
    pytest.importorskip("hatchling", reason="the package hatchling is not installed")
    folder = tmp_path_factory.mktemp("dist")
    subprocess.run([sys.executable, "-m", "hatchling", "build", "-d", str(folder)], cwd=ROOT, check=True, capture_output=True)
    return folder


def files_of(folder: str) -> Iterator[str]:
    """The files of a folder of the project, relative to the project."""
    for path in sorted((ROOT / folder).rglob("*")):
        if path.is_file() and not NEVER & set(path.parts):
            yield path.relative_to(ROOT).as_posix()


def test_the_wheel_holds_every_file_of_the_program_and_what_ships(built: Path) -> None:
    (wheel,) = built.glob("*.whl")
    there = {name for name in zipfile.ZipFile(wheel).namelist() if ".dist-info/" not in name}
    wanted = {*files_of("companion"), *(f"companion/shipped/{name}" for folder in ("exercises", "recordings")
                                        for name in files_of(folder))}
    assert there == wanted
    assert any(name.endswith(".mo") for name in there)
    licence = [name for name in zipfile.ZipFile(wheel).namelist() if name.endswith("licenses/LICENSE")]
    assert licence


def test_the_source_archive_builds_and_tests_itself(built: Path) -> None:
    (archive,) = built.glob("*.tar.gz")
    with tarfile.open(archive) as tar:
        there = {name.partition("/")[2] for name in tar.getnames()}
    for folder in ("companion", "exercises", "recordings", "tests"):
        assert set(files_of(folder)) <= there, folder
    assert {"pyproject.toml", "README.md", "DEVELOPERS.md", "LICENSE"} <= there


@pytest.mark.slow
def test_the_wheel_runs_away_from_its_sources(built: Path, tmp_path: Path) -> None:
    (wheel,) = built.glob("*.whl")
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(tmp_path / "site")

    def run(*arguments: str) -> str:
        return subprocess.run([sys.executable, "-m", "companion", *arguments], cwd=tmp_path, check=True, capture_output=True,
                              text=True, env={**os.environ, "PYTHONPATH": str(tmp_path / "site")}).stdout

    assert len(json.loads(run("demo", "--json"))["notes"]) == 14
    assert run("guide", "pupil").startswith("Guide for the pupil.\n")
    assert "20" in run("course", "--list")
    assert "measure" in run("tunes", "--american")


def test_each_dependency_says_why_it_is_there() -> None:
    """A line in DEVELOPERS.md for each, so that nothing is installed that nothing uses."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    said = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    wanted = [*project["dependencies"], *(d for extra in project["optional-dependencies"].values() for d in extra)]
    names = {d.split(">")[0].split("<")[0].split("=")[0].split("[")[0].strip() for d in wanted}
    missing = [name for name in sorted(names) if f"| {name} |" not in said]
    assert not missing


#: Modules of packages that are called otherwise; and what no line imports, with what wants it there.
MODULES = {"espeakng-loader": "espeakng_loader", "fpdf2": "fpdf", "praat-parselmouth": "parselmouth",
           "axe-playwright-python": "axe_playwright_python"}
BY_OTHERS = {"python-multipart": "starlette's forms", "websockets": "uvicorn", "httpx": "starlette's client for tests",
             "setuptools": "pyworld", "pytest-xdist": "pytest -n", "pytest-rerunfailures": "pytest.mark.flaky",
             "ruff": "a command", "mypy": "a command", "hatchling": "python -m hatchling"}


def test_nothing_is_installed_that_nothing_imports() -> None:
    """What the program asks for is imported by the program, what the tests ask for by the tests."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = project["optional-dependencies"]
    for folder, wanted in (("companion", [*project["dependencies"], *extras["print"], *extras["dask"], *extras["encrypt"]]),
                           ("tests", extras["test"])):
        text = "\n".join(p.read_text(encoding="utf-8") for p in sorted((ROOT / folder).glob("**/*.py")))
        modules = set(re.findall(r"^[ \t]*(?:import|from) (\w+)", text, re.M)) | set(re.findall(r'importorskip\("(\w+)"', text))
        for line in wanted:
            name = re.split("[<>=]", line)[0]
            used = MODULES.get(name, name) in modules
            assert used or name in BY_OTHERS, (folder, name)


def test_the_lock_names_exact_versions_with_their_hashes() -> None:
    lines = [line for line in (ROOT / ".ci" / "lock.txt").read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    assert all(re.fullmatch(r"[a-z0-9][a-z0-9.-]*==[^ ]+ --hash=sha256:[0-9a-f]{64}", line) for line in lines)
    names = {line.split("==")[0] for line in lines}
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert {re.split("[<>=]", d)[0].lower().replace("_", "-") for d in project["dependencies"]} <= names


def test_an_audit_tells_what_is_known_and_what_was_not_looked_up() -> None:
    """A report in pip-audit's form (its README: JSON)."""
    from lock import known_faults

    assert known_faults({"dependencies": [
        {"name": "one", "version": "1.0", "vulns": []}, {"name": "two", "skip_reason": "not found on PyPI"},
        {"name": "three", "version": "3.0", "vulns": [{"id": "PYSEC-1", "fix_versions": ["3.1"], "aliases": []}]}]}) == (
            2, ["three 3.0: PYSEC-1, mended in 3.1"])
