"""A file on the desktop that starts the page by double click, for who never opens a terminal.

Linux: an entry after the Desktop Entry Specification 1.5 (freedesktop.org), on the desktop and in the menu of programs.
macOS: a .command file, which Terminal runs. Windows: a .bat file. None needs more than the Python that runs this.
"""

from __future__ import annotations

import shlex
import sys
from collections.abc import Sequence
from pathlib import Path

from companion.language import Language
from companion.messages import _
from companion.page.frame import HERE
from companion.places import write_whole

NAME = "companion"
ICON = HERE / "static" / "icon.svg"


def save_starters(language: Language, options: Sequence[str], folder: Path | None = None,
                  system: str = sys.platform) -> list[Path]:
    """Write what starts `companion page` with these options; the files written. Raises OSError.

    folder: None for the user's own desktop, and on Linux the menu too. system: as `sys.platform` has it.
    """
    command = [sys.executable, "-m", "companion", "page", *options]
    if system == "win32":
        written = [(f"{NAME}.bat", batch_file(_without_console(command)))]
    elif system == "darwin":
        written = [(f"{NAME}.command", f"#!/bin/sh\nexec {shlex.join(command)}\n".encode())]
    else:
        written = [(f"{NAME}.desktop", desktop_entry(command, language.message("Singing and music braille, in your browser")))]
    out = []
    for place in ([folder] if folder is not None else _own_places(system)):
        place.mkdir(parents=True, exist_ok=True)
        for name, data in written:
            write_whole(place / name, data)
            (place / name).chmod(0o755)
            out.append(place / name)
    return out


def _own_places(system: str) -> list[Path]:
    import platformdirs

    desktop = Path(platformdirs.user_desktop_dir())
    return [desktop] if system in ("win32", "darwin") else [desktop, Path(platformdirs.user_data_dir()) / "applications"]


def _without_console(command: Sequence[str]) -> list[str]:
    """The same by the Python that opens no black window, where it is there."""
    windowless = Path(command[0]).with_name("pythonw.exe")
    return [str(windowless), *command[1:]] if windowless.exists() else list(command)


def desktop_entry(command: Sequence[str], comment: str) -> bytes:
    """A desktop entry that runs a command without a terminal."""
    return "\n".join(["[Desktop Entry]", "Type=Application", "Version=1.5", f"Name={NAME}", f"Comment={_escaped(comment)}",
                      f"Exec={_escaped(' '.join(map(_quoted, command)))}", f"Icon={_escaped(str(ICON))}", "Terminal=false",
                      "Categories=Education;Music;", ""]).encode()


def _quoted(argument: str) -> str:
    """An argument of Exec: in double quotes, in which these four are escaped; a percent sign is doubled (section 7)."""
    for character in '\\"`$':
        argument = argument.replace(character, "\\" + character)
    return '"' + argument.replace("%", "%%") + '"'


def _escaped(text: str) -> str:
    """A value of type string (section 4)."""
    return text.replace("\\", "\\\\").replace("\n", "\\n")


def batch_file(command: Sequence[str]) -> bytes:
    """A batch file that runs a command and does not stay open. chcp 65001: it is read as UTF-8."""
    quoted = " ".join('"' + part.replace("%", "%%") + '"' for part in command)
    return "\r\n".join(["@echo off", "chcp 65001 >nul", f'start "{NAME}" /min {quoted}', ""]).encode()


def starter_lines(paths: Sequence[Path]) -> list[str]:
    """What was written and how it is used."""
    lines = [_("{path} written: a double click on it, or Enter, starts companion in the browser.").format(path=path)
             for path in paths[:1]]
    if paths[1:]:
        lines.append(_("It is in the menu of programs too. Where the desktop asks, choose Allow Launching once."))
    return lines
