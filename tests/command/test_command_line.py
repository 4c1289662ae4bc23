"""The command line itself: help, wrong use, streams that are closed."""

import argparse
import importlib
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from companion.command import COMMANDS, EXAMPLES

ROOT = Path(__file__).resolve().parents[2]
RIGHT_TAKE = ROOT / "recordings" / "snail-wall-right.flac"
Run = Callable[..., tuple[int, str, str]]


def test_unknown_commands_and_options(run: Run) -> None:
    assert run("haer")[0] == 2
    assert "Did you mean hear?" in run("haer")[2]
    code, out, err = run("hear", RIGHT_TAKE)
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    assert run("--help")[0] == 0


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_every_command_has_help(run: Run, name: str) -> None:
    code, out, _ = run(name, "--help")
    assert code == 0
    assert f"companion {name}" in out
    # Plain lines for ear and braille display: nothing set in columns, no indent, a name first.
    assert not re.search(r"\S {2,}\S|^ ", out, re.M)
    assert all(line.endswith(".") for line in out.splitlines() if ": " in line)


@pytest.mark.parametrize(("arguments", "says"), [
    (("hear", "x.wav"), "--tune TUNE is missing: MusicXML or MIDI, or the name of a tune that ships"),
    (("hear",), "TAKE and --tune TUNE are missing. Write it as in companion hear song.wav --tune snail-wall.\n"),
    (("sheet",), "WHAT is missing: stage N, fingers N (one line of its cells), tune TUNE, drill N, key (of all cells, or up to "
                 "stage N), or week PUPIL. "
                 "Write it as in companion sheet tune snail-wall.\n"),
    (("hear", "x.wav", "--tune"), "--tune wants something after it."),
    (("hear", "x.wav", "--tune", "mole", "--phrase", "two"), "--phrase takes a whole number, not 'two'."),
    (("hear", "x.wav", "--tune", "mole", "--json=1"), "--json takes nothing after it, not '1'."),
    (("hear", "x.wav", "y.wav", "--tune", "mole"), "This is not known here: y.wav."),
    (("wall", "mole", "--shoulder", "high"), "--shoulder takes a number, not 'high'."),
])
def test_wrong_use_is_said_plainly(run: Run, arguments: tuple[str, ...], says: str) -> None:
    code, out, err = run(*arguments)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert err.startswith(says)


@pytest.mark.parametrize("name", sorted(EXAMPLES))
def test_what_is_missing_is_said_with_an_example_that_works(run: Run, name: str) -> None:
    code, out, err = run(name)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert err.endswith(f"Write it as in companion {name} {EXAMPLES[name]}.\n")
    assert "missing" not in run(name, *EXAMPLES[name].split(), "--no-such-option")[2]


def test_a_choice_that_is_none_is_said_plainly(run: Run) -> None:
    _, _, err = run("braille", "mole", "--as", "print")
    assert re.match(r"--as takes one of '?cells'?, '?ascii'?, '?dots'?, '?pef'?, not 'print'\. ", err)
    code, _, err = run("sheet", "snail-wall")
    assert code == 2
    assert err.endswith("not 'snail-wall'. Write it as in companion sheet tune snail-wall.\n")


def test_the_list_of_tunes_says_what_its_moves_are(run: Run) -> None:
    assert "a step is two of them" in run("tunes")[1].splitlines()[-1]


def test_closed_streams_are_no_fault() -> None:
    shell = f"cd {ROOT} && {sys.executable} -m companion"
    for command in (f"{shell} tunes >&-", f"{shell} tunes <&- >/dev/null", f"{shell} --help | true"):
        done = subprocess.run(["sh", "-c", command], stderr=subprocess.PIPE, text=True, check=False)
        assert (done.returncode, done.stderr) == (0, "")


def test_the_version_is_told_installed_or_not(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    from importlib.metadata import PackageNotFoundError

    def none(name: str) -> str:
        raise PackageNotFoundError(name)

    monkeypatch.setattr("importlib.metadata.version", none)
    code, out, err = run("--version")
    assert (code, err) == (0, "")
    assert out.startswith("companion")


@pytest.mark.parametrize(("arguments", "says"), [
    (("diary", "Robin", "--range", "A3"), "--range wants 2 things after it. companion diary --help says what can be given.\n"),
    (("lesson", "--p", "Robin"), "This is not known here: --p. companion lesson --help says"),
])
def test_more_wrong_use_is_said_plainly(run: Run, arguments: tuple[str, ...], says: str) -> None:
    code, out, err = run(*arguments)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert err.startswith(says)


def test_help_and_errors_of_an_american_run_are_american(run: Run) -> None:
    assert "centimetres" in run("wall", "--help")[1]
    american = run("wall", "--american", "--help")[1]
    assert "centimeters" in american
    assert "centimetre" not in american


def test_a_shortened_option_is_not_known(run: Run) -> None:
    """A slip may not turn into another option: --del deleted a pupil."""
    assert run("tunes", "--amer")[0] == 2


def test_every_command_and_option_that_the_readme_names_is_there() -> None:
    """Also those of a pupil's own words: what is bound is a setting, and no tune."""
    text = (ROOT / "README.md").read_text(encoding="utf-8") + (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    named = re.findall(r"`(?:\.venv/bin/)?companion ([a-z]+)([^`]*)`", text)
    assert len(named) > 20
    for name, rest in named:
        assert name in COMMANDS, name
        parser = argparse.ArgumentParser()
        importlib.import_module(f"companion.command.{name}").arguments(parser)
        known = {option for action in parser._actions for option in action.option_strings}
        assert set(re.findall(r"--[a-z-]+", rest)) <= known, (name, rest)
        assert "--set keys" not in rest
    for script in re.findall(r"`(?:\.venv/bin/)?python (tests/[\w/]+\.py)", text):
        assert (ROOT / script).is_file(), script
