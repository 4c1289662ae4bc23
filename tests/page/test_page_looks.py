"""How the pages look and are handled in a real browser: axe, reflow, targets, keyboard, six keys, the cursor."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from page.browser import browser, entered, missing, served

from companion.diary import Diary

needs_browser = pytest.mark.skipif(bool(missing()), reason=missing() or "-")
PLACES = ("", "sing", "lesson", "practise", "range", "level", "read", "hear", "review", "score", "course", "course/aloud",
          "course/questions", "course/stage/2", "course/words", "diary", "tunes", "tunes/snail-wall", "papers",
          "guide", "guide/privacy", "nowhere")
#: What a finger must be able to hit is 44 pixels high and wide (WCAG 2.2, 2.5.5); links in running text are let be.
SMALL = """() => [...document.querySelectorAll("a, button, input, select, textarea, summary")].filter((e) => e.offsetParent)
  .map((e) => (["checkbox", "radio"].includes(e.type) ? e.parentElement : e))
  .filter((e) => e.getBoundingClientRect().height < 43.9 || e.getBoundingClientRect().width < 43.9)
  .map((e) => e.outerHTML.slice(0, 100))"""
CUT = """() => [...document.querySelectorAll("body *")].filter((e) => !e.closest("svg, .hidden, .skip"))
  .filter((e) => e.getBoundingClientRect().right > innerWidth + 1 || e.scrollWidth > e.clientWidth + 1 && e.clientWidth
    && getComputedStyle(e).overflowX !== "visible" && !e.matches("input, select, textarea"))
  .map((e) => e.outerHTML.slice(0, 100))"""


@pytest.fixture(scope="module")
def opened(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Any, str]]:
    with served(tmp_path_factory.mktemp("page")) as address, browser() as found:
        yield entered(found, address, viewport={"width": 1000, "height": 800})


def states(page: Any, address: str) -> Iterator[str]:
    """Every page, and those that come after something was done; its name."""
    for place in PLACES:
        page.goto(address + place)
        yield place or "home"
    page.goto(address + "diary")
    page.fill("#pupil", "Robin")
    page.click("text=Begin a page")
    yield "pupil"
    page.locator("details", has_text="Delete this pupil").evaluate("(e) => { e.open = true; }")
    page.click("text=Delete this pupil")
    yield "delete"
    page.goto(address + "read")
    page.fill("#cells", "⠐⠹⠱⠫⠬ ⠻⠣")
    page.click("button:has-text('Read it back')")
    yield "reading"
    page.goto(address + "course")
    page.fill("#sitting-pupil", "Robin")
    page.click("text=Begin, answers are typed")
    yield "sitting"
    page.goto(address)
    page.click("text=Show me, with no microphone")
    page.wait_for_selector("#heard", timeout=60_000)
    yield "answer"


@needs_browser
@pytest.mark.slow
def test_axe_finds_nothing_nothing_is_cut_and_all_can_be_hit(opened: tuple[Any, str]) -> None:
    """axe-core in light, dark and forced colours; at 320 pixels, which is 400 % of 1280 (WCAG 2.2, 1.4.10)."""
    from axe_playwright_python.sync_playwright import Axe

    page, address = opened
    faults: list[str] = []
    page.on("console", lambda m: faults.append(m.text) if m.type == "error" and "404" not in m.text else None)
    for name in states(page, address):
        page.evaluate("document.querySelectorAll('details').forEach((e) => { e.open = true; })")
        for colours in ({"color_scheme": "light"}, {"color_scheme": "dark"}, {"forced_colors": "active"}):
            page.emulate_media(**colours)
            found = Axe().run(page)
            assert found.violations_count == 0, (name, colours, found.generate_report())
        page.emulate_media(color_scheme="light", forced_colors="none")
        page.set_viewport_size({"width": 320, "height": 640})
        assert page.evaluate("document.documentElement.scrollWidth") <= 320, name
        assert page.evaluate(CUT) == [], name
        assert page.evaluate(SMALL) == [], name
        size = page.evaluate("Math.min(...[...document.querySelectorAll('p, li, label, button, a')].map("
                             "(e) => parseFloat(getComputedStyle(e).fontSize)))")
        assert size >= 20, name
        page.set_viewport_size({"width": 1000, "height": 800})
    assert faults == []


@pytest.mark.slow
@needs_browser
def test_a_blind_newcomer_is_in_with_two_keys_and_hears_where(opened: tuple[Any, str], tmp_path: Path) -> None:
    """The one check with a browser that always runs: the first page by keyboard, and what a screen reader is given.

    The first time the demo stands first, as soon as there is a diary the singing does.
    """
    with served(tmp_path) as address:
        page, first = entered(opened[0].context.browser, address)
        tree = page.locator("body").aria_snapshot()
        for part in ('link "To the main part"', "main:", 'heading "What shall we do?" [level=1]', 'link "Sing with a tune"',
                     'link "The diary"', 'button "Show me, with no microphone"', "contentinfo:"):
            assert part in tree, tree
        assert page.title() == "What shall we do?, companion"
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.className") == "skip"
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.textContent") == "Show me, with no microphone"
        Diary(tmp_path / "diary.db").close()
        page.goto(first)
        page.keyboard.press("Tab")
        page.keyboard.press("Tab")
        page.keyboard.press("Enter")
        page.wait_for_url("**/sing")
        assert page.title() == "Sing with a tune, companion"
        page.close()


@needs_browser
@pytest.mark.slow
def test_cells_are_written_with_six_keys_and_taken_back(opened: tuple[Any, str]) -> None:
    page, address = opened
    page.goto(address + "read")
    page.check("#chords")
    page.focus("#cells")

    def chord(keys: str) -> str:
        for key in keys:
            page.keyboard.down(key)
        for key in keys:
            page.keyboard.up(key)
        return str(page.inner_text("#written"))

    assert chord("k") == "dot 5"
    assert chord("fjkl") == "dots 1 4 5 6"
    assert chord("fkl") == "dots 1 5 6"
    page.keyboard.press("x")
    page.keyboard.press("Space")
    assert page.input_value("#cells") == "⠐⠹⠱⠀"
    page.keyboard.press("Backspace")
    assert page.inner_text("#written") == "taken back: a free cell"
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.id") == "chords"
    page.click("button:has-text('Read it back')")
    assert "Bar 1: C, fourth octave, crotchet; D, fourth octave, crotchet." in page.inner_text("main")
    page.wait_for_load_state()
    assert page.is_checked("#chords"), "as it was left"
    page.uncheck("#chords")
    assert not page.is_visible("#chord-help")


@needs_browser
@pytest.mark.slow
def test_the_cursor_goes_by_sign_bar_and_line_and_a_problem_leads_to_its_place(opened: tuple[Any, str]) -> None:
    page, address = opened
    page.goto(address + "read")
    page.fill("#cells", "⠐⠹⠱⠫⠻ ⠳⠪⠺⠐⠹\n⠐⠹⠱⠫⠬ ⠻⠣")
    page.click("button:has-text('Read it back')")
    page.wait_for_selector("#amiss")
    page.wait_for_load_state()  # its scripts have run

    def here() -> str:
        return str(page.evaluate("document.activeElement.id + ' ' + document.activeElement.textContent.trim()"))

    page.focus(".stop")
    assert "octave" in here()
    page.keyboard.press("ArrowRight")
    assert "C, crotchet: dots 1 4 5 6" in here()
    assert "C, crotchet" in page.inner_text("#stop-now")
    page.keyboard.press("PageDown")
    assert "G, crotchet" in here()
    page.keyboard.press("ArrowDown")
    assert here().startswith("at-2-1 ")
    page.keyboard.press("ArrowUp")
    assert here().startswith("at-1-1 ")
    with page.expect_request("**/note/60.wav"):
        page.keyboard.press("ArrowRight")
        page.keyboard.press("Enter")
    page.locator("#amiss ~ ul a").last.click()
    assert here().startswith("at-2-")


@needs_browser
@pytest.mark.slow
def test_a_drill_is_answered_by_chords(opened: tuple[Any, str]) -> None:
    """The keys S D F and J K L stand for dots 3 2 1 and 4 5 6; a note as a quaver has dots 1 2 4 5 (its letter)."""
    dots = {"C": "145", "D": "15", "E": "124", "F": "1245", "G": "125", "A": "24", "B": "245"}
    keys = dict(zip("123456", "fdsjkl", strict=True))
    page, address = opened
    page.goto(address + "course")
    page.select_option("#kind", "write the cell")
    page.select_option("#drill-stage", "2")
    page.click("text=Begin the questions")
    page.wait_for_url("**/course/sitting")
    page.wait_for_load_state()
    question = page.inner_text("#said")
    name = next(word.strip(".,?") for word in question.split() if word.strip(".,?") in dots)
    page.check("#chords")
    page.focus("#answer")
    for dot in dots[name]:
        page.keyboard.down(keys[dot])
    for dot in dots[name]:
        page.keyboard.up(keys[dot])
    page.keyboard.press("Enter")
    page.wait_for_function("document.querySelector('#said')?.innerText.includes('Right')")  # the answer is another page
