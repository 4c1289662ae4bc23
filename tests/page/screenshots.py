"""Makes the pictures of the page that README shows: `python tests/page/screenshots.py` (Chromium and Pillow are needed)."""

from __future__ import annotations

import io
import sys
import tempfile
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from page.browser import browser, entered, served, voice, written  # noqa: E402
from page.test_page_live import begun, until  # noqa: E402
from singers import LineItem  # noqa: E402

from companion.tune import load  # noqa: E402

FOLDER = ROOT / "recordings"
COLOURS = 32  # of a palette: the page has few, and each picture stays small


def kept(page: Any, name: str, width: int, height: int) -> None:
    from PIL import Image

    page.set_viewport_size({"width": width, "height": height})
    page.evaluate("window.scrollTo(0, 0)")
    picture = Image.open(io.BytesIO(page.screenshot())).convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE)
    picture.save(FOLDER / name, optimize=True)
    print(f"{name}: {(FOLDER / name).stat().st_size // 1000} kB")


def main() -> None:
    phrase = load("snail-wall").phrase(1)
    items = [LineItem(n.midi + 4, float(n.quarters), n.syllable) for n in phrase]
    with tempfile.TemporaryDirectory() as folder, served(Path(folder)) as address:
        sound = written(Path(folder) / "sung.wav", 14.0, voice(items, turned=4, seed=5), 30.0)
        with browser(sound) as found:
            page = begun(found, address, "/sing", tune="snail-wall", pupil="Wren")
            page.evaluate("document.querySelectorAll('details').forEach((e) => { e.open = false; })")
            until(page, "Listen.")
            kept(page, "page-sing.png", 800, 760)
            page.close()
            page, first = entered(found, address)
            kept(page, "page-first.png", 800, 900)
            page.emulate_media(color_scheme="dark")
            page.goto(first + "tunes/snail-wall")
            page.locator(".stop").nth(2).focus()
            kept(page, "page-braille-dark.png", 800, 1120)


if __name__ == "__main__":
    main()
