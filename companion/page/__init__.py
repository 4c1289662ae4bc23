"""The local web page: the same companion in a browser, for this machine alone."""

from __future__ import annotations

from typing import TYPE_CHECKING

from companion.lazy import loader

if TYPE_CHECKING:
    from companion.page.desktop import save_starters, starter_lines
    from companion.page.serve import run_page

__all__ = ["run_page", "save_starters", "starter_lines"]

__getattr__ = loader(__name__, {"desktop": ("save_starters", "starter_lines"), "serve": ("run_page",)})
