"""The main tasks from the first page to their end by keyboard alone, and what a screen reader is given on the way."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from page.browser import browser, entered, missing, served, sung_when_asked, voice, written
from singers import LineItem

from companion.tune import load

pytestmark = [pytest.mark.slow, pytest.mark.skipif(bool(missing()), reason=missing() or "-")]
MOST_TABS = 90
LATE_MS = 90_000
#: The name by which a screen reader calls what has the focus: its label, its text.
NAME = """() => { const e = document.activeElement;
  return (e.labels?.length ? [...e.labels].map((x) => x.textContent).join(" ") : e.ariaLabel || e.textContent).trim(); }"""
#: Live regions that say something.
SAYING = """() => [...document.querySelectorAll('[role="status"], [role="alert"], [aria-live="polite"]')]
  .map((e) => e.textContent.trim()).filter(Boolean)"""


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with served(tmp_path_factory.mktemp("page")) as found:
        yield found


@pytest.fixture(scope="module")
def sung(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """A browser whose microphone hears a child sing a phrase, once for each page that opens it."""
    items = [LineItem(n.midi, float(n.quarters), n.syllable) for n in load("snail-wall").phrase(1)]
    with browser(written(tmp_path_factory.mktemp("sung") / "sung.wav", 1.0, voice(items, seed=3), 60.0)) as found:
        yield found


def tab_to(page: Any, name: str) -> None:
    """Press Tab until what is called `name` has the focus, as someone does who cannot see where it is."""
    for _unused in range(MOST_TABS):
        if page.evaluate(NAME).startswith(name):
            return
        page.keyboard.press("Tab")
    pytest.fail(f"{name} is not reached with Tab: {page.locator('main').aria_snapshot()}")


def enter(page: Any, name: str, then: str | re.Pattern[str] = "") -> None:
    """Go to what is called `name` and press Enter; then: the page that is waited for, by its address."""
    tab_to(page, name)
    page.keyboard.press("Enter")
    if then:
        page.wait_for_url(then, timeout=LATE_MS)
        page.wait_for_load_state()


def renewed(page: Any, name: str) -> None:
    """Press what is called `name`, and wait for the page that comes of it, which may have the same address."""
    page.evaluate("window.before = true")
    enter(page, name)
    page.wait_for_function("() => !window.before && document.readyState === 'complete'", timeout=LATE_MS)


def typed(page: Any, name: str, text: str) -> None:
    tab_to(page, name)
    page.keyboard.type(text)


#: Every line that is announced, in the session's own region.
CUES = "() => [...document.querySelectorAll('#log li')].map((e) => e.textContent)"


def phrase(up: int) -> list[LineItem]:
    return [LineItem(n.midi + up, float(n.quarters), n.syllable) for n in load("snail-wall").phrase(1)]


def until_said(page: Any, text: str) -> None:
    page.wait_for_function(f"(text) => ({CUES})().some((line) => line.includes(text))", arg=text, timeout=LATE_MS)


def test_singing_from_the_first_page_to_its_end(address: str, sung: Any) -> None:
    """A tune is chosen, sung wrong and then right; the session is ended and begun again, with no more than keys."""
    page, first = entered(sung, address)
    sung_when_asked(page, voice(phrase(3), turned=2, seed=9), voice(phrase(3), seed=6))
    page.goto(first)
    enter(page, "Sing with a tune", "**/sing")
    tab_to(page, "Tune")
    page.keyboard.type("Snail on")
    enter(page, "Begin")
    until_said(page, "the tune goes")
    assert page.evaluate(NAME) == "Go on", "one key is enough from here"
    tree = page.locator("main").aria_snapshot()
    assert tree.index('group "The session"') < tree.index('button "Go on"') < tree.index('button "End (Q)"')
    until_said(page, "All six right.")
    page.keyboard.press("q")
    until_said(page, "once more ends it")
    page.keyboard.press("q")
    until_said(page, "The session has ended.")
    assert page.evaluate(NAME) == "Begin"
    said = page.evaluate(CUES)
    assert len([line for line in said if "the tune goes" in line]) == 1
    page.close()


def test_a_lesson_from_the_first_page(address: str, sung: Any) -> None:
    """The teacher sings, the pupil answers, and what was sung is in the diary under the name that was typed."""
    page, first = entered(sung, address)
    sung_when_asked(page, voice(phrase(-8), kind=2, seed=4), voice(phrase(3), seed=6))
    page.goto(first)
    enter(page, "Lesson", "**/lesson")
    typed(page, "Pupil's nickname", "Fern")
    enter(page, "Begin")
    until_said(page, "Now the pupil.")
    until_said(page, "All six right.")
    enter(page, "More keys")
    enter(page, "The lesson in brief (I)")
    page.wait_for_function(f"(n) => ({CUES})().length > n", arg=len(page.evaluate(CUES)), timeout=LATE_MS)
    page.keyboard.press("q")
    until_said(page, "once more ends it")
    page.keyboard.press("q")
    until_said(page, "The session has ended.")
    enter(page, "What shall we do?", first)
    enter(page, "The diary", "**/diary")
    tab_to(page, "Fern: 1 take")
    page.close()


def test_at_home_from_the_first_page(address: str, sung: Any) -> None:
    """A name, Begin, and no key more: it goes on by itself."""
    page, first = entered(sung, address)
    sung_when_asked(page, voice(phrase(2), seed=7))
    page.goto(first)
    enter(page, "At home", "**/practise")
    tab_to(page, "Tune")
    page.keyboard.type("Snail on")
    tab_to(page, "Pupil's nickname")
    page.keyboard.press("Control+a")
    page.keyboard.type("Moss")
    enter(page, "More choices")
    tab_to(page, "Begin with the tune, without a warm-up")
    page.keyboard.press("Space")
    enter(page, "Begin")
    until_said(page, "right.")
    assert "Moss" in page.evaluate(CUES)[0]
    page.close()


def test_cells_are_written_read_back_and_sung_as_a_tune(address: str, sung: Any) -> None:
    """By six keys; then what it says, and on to the tune that comes of it."""
    page, _first = entered(sung, address)
    enter(page, "Read and write braille", "**/read")
    tab_to(page, "Write with six keys")
    page.keyboard.press("Space")
    tab_to(page, "Other keys")
    while page.evaluate("document.activeElement.id") != "cells":
        page.keyboard.press("Shift+Tab")
    for chord in ("k", "fjkl", "fkl", "fdjl"):
        for key in chord:
            page.keyboard.down(key)
        for key in chord:
            page.keyboard.up(key)
    assert page.evaluate(SAYING)[-1] == "dots 1 2 4 6"
    enter(page, "Read it back")
    page.wait_for_selector("h2:has-text('Sign by sign')", timeout=LATE_MS)
    tree = page.locator("main").aria_snapshot()
    assert 'button "C, fourth octave' in tree or 'button "C, crotchet: dots 1 4 5 6"' in tree, tree
    page.evaluate("localStorage.clear()")
    enter(page, "Make a tune of it", "**/tunes/*")
    enter(page, "Sing it", "**/sing?tune=*")
    page.close()


def test_from_voice_to_score_recorded_asked_and_mended(address: str, sung: Any) -> None:
    page, _first = entered(sung, address)
    enter(page, "From voice to score", "**/score")
    enter(page, "Record now instead")
    page.wait_for_function("() => document.getElementById('recording').textContent.startsWith('Recording.')", timeout=LATE_MS)
    page.wait_for_function("(end) => performance.now() > end", arg=page.evaluate("performance.now()") + 7000, timeout=LATE_MS)
    assert page.evaluate(NAME) == "Stop recording", "the focus stays on the button"
    page.keyboard.press("Enter")
    page.wait_for_function("() => document.getElementById('recording').textContent.startsWith('Recorded: ')", timeout=LATE_MS)
    assert page.evaluate("document.getElementById('take').files.length") == 1
    typed(page, "Title", "Garden gate")
    enter(page, "Write it down", "**/work/*")
    page.wait_for_selector("h2:has-text('Mend it')", timeout=LATE_MS)
    questions = 0
    while page.locator("h2:has-text('A question by ear')").count():
        questions += 1
        assert questions <= 3, "at most three questions"
        tree = page.locator("main").aria_snapshot()
        assert tree.index('heading "A question by ear"') < tree.index('button "I do not know"') < tree.index('heading "Mend it"')
        answer = page.locator("form[action$=settle] button").first.inner_text()
        renewed(page, answer)
        assert page.evaluate(SAYING) == ["Read again with that."], "one thing is announced"
    typed(page, "What is to be otherwise", "bar 1 note 1 is G")
    page.keyboard.press("Enter")
    page.wait_for_function("() => document.getElementById('heard')?.textContent.includes('is G now')", timeout=LATE_MS)
    assert page.evaluate(SAYING) == ["Bar 1, note 1 is G now."]
    assert page.evaluate("document.activeElement.id") == "heard", "what came of it has the focus"
    enter(page, "Take the last one back")
    page.wait_for_function("() => document.getElementById('heard')?.textContent.includes('taken back')", timeout=LATE_MS)
    with page.expect_download() as kept:
        enter(page, "braille, for embosser")
    assert kept.value.suggested_filename == "score.brf"
    enter(page, "Sing it, read it, make exercises of it", "**/tunes/*")
    assert page.title() == "Garden gate, companion"


def test_a_recording_made_in_the_page_is_heard(address: str, sung: Any) -> None:
    page, _first = entered(sung, address)
    enter(page, "Hear a recording", "**/hear")
    tab_to(page, "Tune")
    page.keyboard.type("Snail on")
    enter(page, "Record now instead")
    page.wait_for_function("() => document.getElementById('recording').textContent.startsWith('Recording.')", timeout=LATE_MS)
    page.wait_for_function("(end) => performance.now() > end", arg=page.evaluate("performance.now()") + 7000, timeout=LATE_MS)
    page.keyboard.press("Enter")
    enter(page, "Only a part of the tune")
    typed(page, "Phrase, by its number", "1")
    enter(page, "Hear it", "**/work/*")
    page.wait_for_selector("#heard", timeout=LATE_MS)
    assert page.evaluate(SAYING) == ["All six right."]


def test_a_pupil_begun_set_changed_and_deleted(address: str, sung: Any) -> None:
    page, _first = entered(sung, address)
    enter(page, "The diary", "**/diary")
    typed(page, "Nickname", "Robin")
    enter(page, "Begin a page", "**/diary/new")
    assert page.evaluate(SAYING) == ["Robin has a page."]
    enter(page, "Set it", "**/diary/change")
    assert "for 7 days" in page.evaluate(SAYING)[0]
    enter(page, "Settings")
    typed(page, "Minutes of a session", "")
    page.keyboard.press("Control+a")
    page.keyboard.type("7")
    enter(page, "Keep the settings")
    page.wait_for_function("() => document.querySelector('[role=status]')?.textContent.includes('minutes is 7')", timeout=LATE_MS)
    enter(page, "Take it along")
    tree = page.locator("main").aria_snapshot()
    assert tree.index('heading "This week"') < tree.index('heading "Set a tune"') < tree.index('button "Delete this pupil"')
    enter(page, "Delete this pupil", "**/diary/delete")
    tree = page.locator("main").aria_snapshot()
    assert tree.index("Nothing of it can be brought back.") < tree.index('button "Delete for good"') < tree.index(
        'link "Go back, delete nothing"')
    assert page.title() == "Delete Robin for good?, companion"
    enter(page, "Delete for good")
    page.wait_for_function("() => document.title.startsWith('Deleted')", timeout=LATE_MS)
    said, = page.evaluate(SAYING)
    assert said.startswith("Robin is deleted for good.")
    assert "backups" in said
    enter(page, "The diary", "**/diary")
    assert "Robin" not in page.inner_text("main")


def test_a_sheet_is_made_and_fetched(address: str, sung: Any) -> None:
    page, _first = entered(sung, address)
    enter(page, "Sheets and exercises", "**/papers")
    enter(page, "A stage to read")
    tab_to(page, "Stage")
    page.keyboard.press("ArrowDown")
    enter(page, "Make the sheet", "**/work/*")
    page.wait_for_selector("h2:has-text('Keep it')", timeout=LATE_MS)
    tree = page.locator("main").aria_snapshot()
    assert tree.index("status: Done.") < tree.index('heading "Keep it"') < tree.index('link "The helper') < tree.index(
        'heading "In full"')
    with page.expect_download() as kept:
        enter(page, "The pupil's sheet: braille")
    assert Path(kept.value.path()).stat().st_size > 100


def test_a_sitting_with_its_requests(address: str, sung: Any) -> None:
    page, _first = entered(sung, address)
    enter(page, "The course", "**/course")
    typed(page, "Pupil's nickname", "Wren")
    enter(page, "Begin, answers are typed", "**/course/sitting")
    assert page.evaluate("document.activeElement.id") == "answer", "ready to be answered"
    tree = page.locator("main").aria_snapshot()
    assert tree.index('heading "For the adult" [level=2]') < tree.index('heading "Say to the pupil" [level=2]') < tree.index(
        'textbox "Answer"') < tree.index('button "Begin the questions"') < tree.index('button "End the sitting"')
    assert "I do not know" not in tree, "nothing was asked yet"
    page.keyboard.press("Enter")
    page.wait_for_function("() => !document.getElementById('said').textContent.includes('Say to the pupil')", timeout=LATE_MS)
    renewed(page, "I do not know")
    enter(page, "End the sitting")
    page.wait_for_function("() => document.title.startsWith('The sitting has ended')", timeout=LATE_MS)


def test_a_problem_in_braille_leads_to_its_place(address: str, sung: Any) -> None:
    page, _first = entered(sung, address)
    enter(page, "Read and write braille", "**/read")
    typed(page, "Cells", "5-1456-156-1246-13456 12456-126")
    enter(page, "Read it back")
    page.wait_for_selector("#amiss", timeout=LATE_MS)
    tree = page.locator("main").aria_snapshot()
    assert tree.index('heading "To look at"') < tree.index('heading "Sign by sign"') < tree.index('heading "Bar by bar"')
    enter(page, "Line 1, cell")
    assert page.evaluate("document.activeElement.classList.contains('stop')")


def test_a_program_that_has_ended_is_said_on_the_page_once(sung: Any, tmp_path: Path) -> None:
    with served(tmp_path) as address:
        page, _first = entered(sung, address)
        page.wait_for_load_state("networkidle")
    page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")  # somebody comes back to the tab
    page.wait_for_function("() => document.getElementById('gone').textContent", timeout=LATE_MS)
    assert page.evaluate(SAYING) == [
        "The program has ended or was started anew. Start it again, from the desktop or with companion page; what was kept is "
        "there."]


def test_files_dropped_on_a_page_are_chosen_and_said(address: str, sung: Any) -> None:
    page, first = entered(sung, address)
    page.goto(first + "review")
    page.evaluate("""() => { const brought = new DataTransfer();
      for (const name of ["one.wav", "two.wav"]) brought.items.add(new File(["x"], name));
      document.querySelector("main").dispatchEvent(new DragEvent("drop",
        { dataTransfer: brought, bubbles: true, cancelable: true })); }""")
    assert page.evaluate("document.getElementById('take').files.length") == 2
    assert page.evaluate(SAYING) == ["Chosen: one.wav, two.wav."]
