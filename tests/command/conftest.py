"""Commands run inside the tests."""

from collections.abc import Callable

import pytest

from companion.command import main

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    """Run a command: its exit code, what it says, and what it says on standard error."""
    def go(*arguments: object) -> tuple[int, str, str]:
        try:
            code = main([str(a) for a in arguments])
        except SystemExit as leave:  # --help
            code = int(leave.code or 0)
        out, err = capsys.readouterr()
        return code, out, err

    return go
