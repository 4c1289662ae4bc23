"""Options that hold for all tests: `--slow` adds the checks that CI runs, `--overnight` those of many minutes each."""

from collections.abc import Iterator

import pytest

pytest_plugins = ("soundcard",)  # fixtures soundcard and soundcard_apart: tests/soundcard.py


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--slow", action="store_true", help="also run the long checks (CI does)")
    parser.addoption("--overnight", action="store_true", help="also run the checks of many minutes each (by hand)")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    for item in items:
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
