"""Options that hold for all tests: `--slow` adds the long checks that CI runs."""

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
