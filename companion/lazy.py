"""Names of a package that are loaded when they are first asked for (PEP 562), so that a command loads only what it uses.

A package names its public API in `__init__.py` three times: for type checkers (under `TYPE_CHECKING`), in `__all__`, and
in the table that is handed in here. `tests/test_structure.py` holds the three together.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from importlib import import_module
from typing import Any


def loader(package: str, modules: Mapping[str, Sequence[str]]) -> Callable[[str], Any]:
    """The `__getattr__` of a package. modules: the names that each of its modules gives."""
    module_of = {name: module for module, names in modules.items() for name in names}

    def load(name: str) -> Any:
        if name not in module_of:
            raise AttributeError(f"module {package!r} has no attribute {name!r}")
        return getattr(import_module(f"{package}.{module_of[name]}"), name)

    return load
