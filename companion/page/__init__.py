"""The local web page: the same companion in a browser, for this machine alone."""

from __future__ import annotations

from typing import TYPE_CHECKING

from companion.lazy import loader

if TYPE_CHECKING:
    from companion.page.serve import run_page

__all__ = ["run_page"]

__getattr__ = loader(__name__, {"serve": ("run_page",)})
