"""Options that hold for all tests: `--slow` adds the long checks that CI runs."""

from collections.abc import Iterator

import pytest

pytest_plugins = ("soundcard",)  # fixtures soundcard and soundcard_apart: tests/soundcard.py


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--slow", action="store_true", help="also run the long checks (CI does)")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if config.getoption("--slow"):
        return
    for item in items:
        if "slow" in item.keywords:
            item.add_marker(pytest.mark.skip(reason="a long check: pytest --slow runs it"))


@pytest.fixture(autouse=True)
def british_again() -> Iterator[None]:
    """A command run inside a test chooses the language of one-off sentences for the whole process: taken back."""
    yield
    import gettext

    from companion import messages

    messages.use(gettext.NullTranslations())
