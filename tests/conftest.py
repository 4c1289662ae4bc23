"""Options that hold for all tests: `--slow` adds the checks that CI runs, `--overnight` those of many minutes each."""

import os
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from companion import limits

# What is compiled is kept, also where the environment asks for nothing to be: tests start some hundred processes.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False

#: numba's cache is not safe for two processes that fill it at once, so each worker of pytest-xdist has its own.
if worker := os.environ.get("PYTEST_XDIST_WORKER"):
    os.environ["NUMBA_CACHE_DIR"] = str(Path(__file__).parents[1] / ".pytest_cache" / "numba" / worker)
#: Files whose tests run by the clock (a terminal, a browser; and every file in which a test wants a sound card): one after
#: another, never two at once, the slow ones too.
BY_THE_CLOCK = ("keys", "course_live", "kill", "page_live", "page_walks", "page_firefox")
CARDS = {"soundcard", "soundcard_apart"}
#: Files that run librosa, which compiles for a quarter of a minute when it is first used: in one worker, so only once.
LIBROSA = ("glides", "pulse", "rhythm", "decision_time", "course_drills", "trackers", "pyin")

# Strangers' files are read in processes of their own, which would take a second or two each in pytest's workers: here they
# are read in the tests' process, but where a test is about that (`limits_as_for_users`).
limits._limited_already = True

pytest_plugins = ("soundcard",)  # fixtures soundcard and soundcard_apart: tests/soundcard.py


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--slow", action="store_true", help="also run the long checks (CI does)")
    parser.addoption("--overnight", action="store_true", help="also run the checks of many minutes each (by hand)")


@pytest.hookimpl(tryfirst=True)  # before pytest-xdist reads the groups
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    cards = {item for item in items if CARDS & set(getattr(item, "fixturenames", ()))}
    with_card = {item.path for item in cards}
    for item in items:
        file = item.path.stem  # with `-n 2 --dist loadgroup` a file's tests run in one worker and share its fixtures
        timed = any(word in file for word in BY_THE_CLOCK)
        by_the_clock = timed or item.path in with_card
        librosa = any(word in file for word in LIBROSA)
        item.add_marker(pytest.mark.xdist_group("by the clock" if by_the_clock else "librosa" if librosa else file))
        if timed or item in cards:  # a machine that is busy for a moment is no fault: what runs by the clock is tried again
            item.add_marker(pytest.mark.flaky(reruns=2))
        for kind in ("slow", "overnight"):
            if item.get_closest_marker(kind) and not config.getoption(f"--{kind}"):
                item.add_marker(pytest.mark.skip(reason=f"a long check: pytest --{kind} runs it"))


@pytest.fixture(autouse=True)
def british_again() -> Iterator[None]:
    """A command run inside a test chooses the language of one-off sentences for the whole process: taken back."""
    yield
    import gettext

    from companion import messages

    messages.use(gettext.NullTranslations())


@pytest.fixture
def limits_as_for_users(monkeypatch: pytest.MonkeyPatch) -> None:
    """Strangers' files are read in a process of their own, as outside the tests."""
    monkeypatch.setattr(limits, "_limited_already", False)
