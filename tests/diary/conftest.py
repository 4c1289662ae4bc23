"""Folders for diaries."""

import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

MEMORY = Path("/dev/shm")  # a file system in memory, where Linux has it


@pytest.fixture
def tmp_path(tmp_path: Path) -> Iterator[Path]:
    """In memory where that can be: a thousand commits then wait for no disk. What a power cut leaves is SQLite's to test."""
    if not os.access(MEMORY, os.W_OK):
        yield tmp_path
        return
    with tempfile.TemporaryDirectory(prefix="pytest-companion-", dir=MEMORY) as folder:
        yield Path(folder)
