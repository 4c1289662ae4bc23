"""The page in Firefox: everything that needs no microphone."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from page.browser import served
from page.firefox import Firefox, firefox, missing
from page.test_page_looks import CUT, PLACES, SMALL

from companion.language import choose_language
from companion.lesson import answer_take
from companion.places import shipped

pytestmark = [pytest.mark.slow, pytest.mark.skipif(bool(missing()), reason=missing() or "-")]
TAKE = shipped("recordings") / "snail-wall-one-move-turned.flac"


@pytest.fixture(scope="module")
def opened(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Firefox, str]]:
    with served(tmp_path_factory.mktemp("page")) as address, firefox() as found:
        found.goto(address)
        found.wait_for("document.querySelector('h1')?.textContent === 'What shall we do?'")
        yield found, address.partition("open/")[0]


def axe_source() -> str:
    """axe-core, as it comes with axe-playwright-python."""
    import axe_playwright_python

    return next(Path(axe_playwright_python.__file__).parent.rglob("axe.min.js")).read_text(encoding="utf-8")


def test_axe_finds_nothing_and_nothing_is_cut_at_320_pixels(opened: tuple[Firefox, str]) -> None:
    page, first = opened
    axe = axe_source()
    for place in PLACES:
        page.size(1280, 900)
        page.goto(first + place)
        page.evaluate("document.querySelectorAll('details').forEach((e) => { e.open = true; })")
        page.call("script.evaluate", expression=axe, target={"context": page.window}, awaitPromise=False)
        found: Any = page.evaluate("axe.run().then((x) => x.violations.map((v) => v.id + ' ' + v.nodes[0].html))")
        assert found == [], place
        page.size(320, 640)
        assert page.evaluate("document.documentElement.scrollWidth") <= 320, place
        assert page.evaluate(f"({CUT})()") == [], place
        assert page.evaluate(f"({SMALL})()") == [], place
    page.size(1280, 900)


def test_by_keyboard_alone_to_a_tune_and_along_its_braille(opened: tuple[Firefox, str]) -> None:
    page, first = opened
    page.goto(first)
    page.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    while page.evaluate("document.activeElement.getAttribute('href')") != "/tunes":
        page.press("Tab")
        assert page.evaluate("document.activeElement !== document.body")
    page.press("Enter")
    page.wait_for("location.pathname === '/tunes'")
    while page.evaluate("document.activeElement.getAttribute('href')") != "/tunes/snail-wall":
        page.press("Tab")
    page.press("Enter")
    page.wait_for("location.pathname === '/tunes/snail-wall' && document.readyState === 'complete'")
    while page.evaluate("document.activeElement.classList.contains('stop')") is not True:
        page.press("Tab")
    before = page.evaluate("document.activeElement.id")
    page.press("ArrowRight")
    assert page.evaluate("document.activeElement.id") != before
    page.press("PageDown")
    says = page.evaluate("document.activeElement.textContent.trim()")
    assert "dot" in says
    assert page.evaluate("document.getElementById('stop-now').textContent") == says


def test_six_keys_write_and_can_be_changed(opened: tuple[Firefox, str]) -> None:
    page, first = opened
    page.goto(first + "read")
    page.evaluate("document.getElementById('chords').click()")
    page.evaluate("document.getElementById('cells').focus()")
    page.press("k", together=True)
    page.press("f", "j", "k", "l", together=True)
    assert page.evaluate("document.getElementById('cells').value") == "⠐⠹"
    assert page.evaluate("document.getElementById('written').textContent") == "dots 1 4 5 6"
    page.evaluate("document.getElementById('change-keys').open = true")
    for typed, said in (("abcabc", "That is not six different keys. Nothing was changed."),
                        ("vcxm,.", "These keys are kept on this machine.")):
        page.evaluate(f"document.getElementById('chord-keys').value = '{typed}'")
        page.evaluate("document.getElementById('keep-keys').click()")
        assert page.evaluate("document.getElementById('keys-kept').textContent") == said
    page.goto(first + "read")
    assert "V C X are dots 1 2 3, M , . are dots 4 5 6" in page.evaluate("document.getElementById('chord-help').textContent")
    assert page.evaluate("document.getElementById('chords').checked"), "as it was left"
    page.evaluate("document.getElementById('cells').focus()")
    page.press("v", "m", together=True)
    assert page.evaluate("document.getElementById('cells').value") == "⠉"
    page.evaluate("localStorage.clear()")


def test_a_recording_is_heard_and_a_score_written(opened: tuple[Firefox, str]) -> None:
    page, first = opened
    page.goto(first + "hear")
    page.evaluate("document.getElementById('tune').value = 'snail-wall'")
    page.choose_files("#take", TAKE)
    page.evaluate("document.querySelector('form button:not([type])').click()")
    page.wait_for("document.getElementById('heard')?.textContent")
    assert page.evaluate("document.getElementById('heard').textContent") == answer_take(TAKE, "snail-wall").cue(
        choose_language("british"))
    page.goto(first + "score")
    page.choose_files("#take", TAKE)
    page.evaluate("document.getElementById('title').value = 'My line'")
    page.evaluate("document.querySelector('form button:not([type])').click()")
    page.wait_for("document.body.innerText.includes('Mend it')")
    assert page.evaluate("document.body.innerText.includes('My line: ')")


def test_a_pupil_a_sitting_and_a_sheet(opened: tuple[Firefox, str]) -> None:
    page, first = opened
    page.goto(first + "course")
    page.evaluate("document.getElementById('sitting-pupil').value = 'Robin'")
    page.evaluate("document.querySelector('form[action=\"/course/begin\"] button').click()")
    page.wait_for("location.pathname === '/course/sitting' && document.activeElement?.id === 'answer'")
    page.press("Enter")
    page.wait_for("document.getElementById('said')?.textContent.includes('?') || document.querySelector('#said audio') !== null")
    page.goto(first + "diary")
    assert page.evaluate("document.body.innerText.includes('Robin: no takes') || document.body.innerText.includes('Robin')")
    page.goto(first + "papers")
    page.evaluate("document.querySelector('form[action=\"/papers/line\"] button').click()")
    page.wait_for("document.querySelector('a[href$=\"finger-line.brf\"]') !== null")


def test_where_there_is_no_microphone_it_is_said_once_and_the_form_stays(opened: tuple[Firefox, str]) -> None:
    page, first = opened
    page.goto(first + "lesson")
    page.evaluate("document.querySelector('#begin button').click()")
    page.wait_for("document.getElementById('cue').textContent.length > 0")
    assert page.evaluate("[...document.querySelectorAll('#cue p')].map((e) => e.textContent)") == [
        "There is no microphone. Plug one in, then begin again."]
    assert page.evaluate("!document.getElementById('begin').hidden")
