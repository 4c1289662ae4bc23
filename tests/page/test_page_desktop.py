"""Starting by double click: the file on the desktop does what `companion page` does, whatever the folder is called."""

from __future__ import annotations

import ctypes
import ctypes.util
import os
import shlex
import subprocess
import sys
import time
import urllib.request
from http.cookiejar import CookieJar
from pathlib import Path

import pytest

from companion.command import main
from companion.language import choose_language
from companion.page import save_starters
from companion.page.desktop import batch_file, desktop_entry

#: What the rules of quoting are there for.
ODD = "it's 100 % \"a\" `b` $HOME \\ ünder"


def glib() -> tuple[ctypes.CDLL, ctypes.CDLL]:
    """GLib and its GIO, by which GNOME, Xfce and others start what stands on a desktop; skipped where they are missing."""
    names = [ctypes.util.find_library(name) for name in ("glib-2.0", "gio-2.0")]
    if not all(names):
        pytest.skip("GLib is not installed here.")
    base, gio = (ctypes.CDLL(name) for name in names)
    gio.g_desktop_app_info_new_from_filename.restype = ctypes.c_void_p
    for name in ("get_commandline", "get_name", "get_description"):
        function = getattr(gio, f"g_app_info_{name}")
        function.restype, function.argtypes = ctypes.c_char_p, [ctypes.c_void_p]
    return base, gio


def parsed(path: Path) -> tuple[str, list[str]]:
    """(description, command line) of a desktop entry, as GIO reads it."""
    base, gio = glib()
    info = gio.g_desktop_app_info_new_from_filename(str(path).encode())
    assert info, "no valid entry, or a program that is not there"
    line = gio.g_app_info_get_commandline(info)
    count, words = ctypes.c_int(), ctypes.POINTER(ctypes.c_char_p)()
    assert base.g_shell_parse_argv(line, ctypes.byref(count), ctypes.byref(words), None)
    assert gio.g_app_info_get_name(info) == b"companion"
    return gio.g_app_info_get_description(info).decode(), [words[i].decode() for i in range(count.value)]


def test_a_desktop_reads_the_entry_as_it_was_meant(tmp_path: Path) -> None:
    """By GIO, which expands % itself when it starts the command: a percent sign is doubled until then."""
    path = tmp_path / "companion.desktop"
    path.write_bytes(desktop_entry([sys.executable, "-m", "companion", "page", "--diary", ODD], "Singing"))
    assert parsed(path) == ("Singing", [sys.executable, "-m", "companion", "page", "--diary", ODD.replace("%", "%%")])


def test_it_is_put_where_it_was_asked_and_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "my desktop"
    assert main(["page", "--desktop", str(folder), "--american", "--diary", str(tmp_path / "d.db")]) == 0
    written, = folder.iterdir()
    assert os.access(written, os.X_OK)
    assert capsys.readouterr().out == f"{written} written: a double click on it, or Enter, starts companion in the browser.\n"
    if written.suffix == ".desktop":
        assert parsed(written)[1][1:] == ["-m", "companion", "page", "--american", "--diary", str(tmp_path / "d.db")]


def test_a_file_for_the_terminal_of_a_mac_runs_the_command(tmp_path: Path) -> None:
    path, = save_starters(choose_language("british"), ["--diary", ODD], tmp_path, "darwin")
    assert path.name == "companion.command"
    first, command = path.read_text(encoding="utf-8").splitlines()
    assert first == "#!/bin/sh"
    assert shlex.split(command) == ["exec", sys.executable, "-m", "companion", "page", "--diary", ODD]
    shown = path.with_name("shown")  # the same line by the same shell, with a program that says what it was given
    shown.write_text(command.replace(f"exec {shlex.quote(sys.executable)}", "printf '%s\\n'"), encoding="utf-8")
    said = subprocess.run(["/bin/sh", shown], capture_output=True, text=True, check=True).stdout
    assert said.splitlines() == ["-m", "companion", "page", "--diary", ODD]


def test_a_batch_file_quotes_its_folder_and_opens_no_window(tmp_path: Path) -> None:
    """After Microsoft's description of `start` and of batch files: a title first, % doubled, lines that end in CR LF."""
    made = batch_file([r"C:\100 % mine\python.exe", "-m", "companion", "page"]).decode()
    assert made == ('@echo off\r\nchcp 65001 >nul\r\n'
                    'start "companion" /min "C:\\100 %% mine\\python.exe" "-m" "companion" "page"\r\n')
    path, = save_starters(choose_language("british"), [], tmp_path, "win32")
    assert path.name == "companion.bat"


@pytest.mark.slow
@pytest.mark.skipif(sys.platform != "linux", reason="The file that starts it is another on this system.")
def test_a_double_click_opens_the_page_in_the_browser(tmp_path: Path) -> None:
    """What stands on the desktop is run as the desktop runs it; the browser that it opens is let in."""
    opened = tmp_path / "opened"
    browser = tmp_path / "browser"
    browser.write_text(f"#!/bin/sh\nprintf %s \"$1\" > {opened}.part && mv {opened}.part {opened}\n", encoding="utf-8")
    browser.chmod(0o755)
    path, = save_starters(choose_language("british"), ["--port", "0", "--diary", str(tmp_path / "d.db")], tmp_path / "desktop",
                          "linux")
    command = [word.replace("%%", "%") for word in parsed(path)[1]]
    started = subprocess.Popen(command, env={**os.environ, "BROWSER": str(browser)}, cwd="/", stdin=subprocess.DEVNULL,
                               stdout=subprocess.DEVNULL)
    try:
        end = time.monotonic() + 60
        while not opened.exists() and time.monotonic() < end:
            time.sleep(0.05)
        address = opened.read_text(encoding="utf-8")
        asked = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(CookieJar()))
        asked.open(address).close()
        assert "What shall we do?" in asked.open(address.partition("open/")[0]).read().decode()
    finally:
        started.terminate()
        started.wait()
