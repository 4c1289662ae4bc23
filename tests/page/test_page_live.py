"""Sessions in a real browser: what is announced, once each, and what is kept.

Who sings does so when the page says that it listens, and sounds take no time (`scripted.js`): a busy machine makes these
tests longer, never different. That microphone and loudspeaker of the browser itself work is asserted where sound is recorded
(`test_page_walks.py`) and where the level is checked.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from page.browser import browser, entered, missing, served, sung_when_asked, voice, written
from singers import LineItem

from companion.tune import load

pytestmark = [pytest.mark.slow, pytest.mark.skipif(bool(missing()), reason=missing() or "-")]
STEPS = (0, 2, 4, 5, 7)
LATE_MS = 120_000  # on a machine that does much else at the same time
#: Keeps what a screen reader is given: every addition to the live region.
WATCH = """() => {
  window.announced = [];
  const region = document.getElementById("cue");
  new MutationObserver((changes) => {
    for (const change of changes) for (const node of change.addedNodes)
      if (region.getAttribute("aria-live") === "polite") window.announced.push(node.textContent);
  }).observe(region, { childList: true, subtree: true, characterData: true });
}"""
LISTENING = "() => document.getElementById('now').textContent === 'Listening.'"


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with served(tmp_path_factory.mktemp("page")) as found:
        yield found


@pytest.fixture(scope="module")
def chromium(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """A browser whose own microphone hears a quiet room."""
    with browser(written(tmp_path_factory.mktemp("quiet") / "quiet.wav", 60.0)) as found:
        yield found


def begun(found: Any, address: str, path: str, *voices: np.ndarray, **fields: str) -> Any:
    """A page whose session was begun by keyboard. voices: what is sung, one each time that it listens."""
    page, first = entered(found, address)
    page.set_default_timeout(LATE_MS)
    if voices:
        sung_when_asked(page, *voices)
    page.goto(first.rstrip("/") + path)
    page.evaluate(WATCH)
    page.evaluate("document.querySelectorAll('details').forEach((e) => { e.open = true; })")
    for name, value in fields.items():
        field = page.locator(f"[name={name}]").first
        if field.evaluate("e => e.tagName") == "SELECT":
            field.select_option(value)
        elif field.get_attribute("type") in ("checkbox", "radio"):
            page.locator(f"[name={name}][value={value}]").check()
        else:
            field.fill(value)
    page.locator("#begin button").focus()
    page.keyboard.press("Enter")
    return page


def until(page: Any, text: str) -> list[str]:
    """What was announced, once a line with `text` is among it."""
    from playwright.sync_api import TimeoutError as TooLate

    try:
        page.wait_for_function("(text) => window.announced.some((line) => line.includes(text))", arg=text, timeout=LATE_MS)
    except TooLate:
        pytest.fail(f"{text} was not announced, but {page.evaluate('window.announced')}; now: {page.inner_text('#now')}")
    announced: list[str] = page.evaluate("window.announced")
    return announced


def line(low: int) -> list[LineItem]:
    return [LineItem(low + s, 2 if i == len(STEPS) - 1 else 1) for i, s in enumerate(STEPS)]


def phrase(tune: str, up: int) -> list[LineItem]:
    """The first phrase of a tune, so many semitones above what is written."""
    return [LineItem(n.midi + up, float(n.quarters), n.syllable) for n in load(tune).phrase(1)]


def ended(page: Any) -> None:
    """The key that ends, twice, as it asks for; asked again where the machine took too long to press it."""
    for _unused in range(5):
        before = len(page.evaluate("window.announced"))
        page.keyboard.press("q")
        page.wait_for_function("(n) => window.announced.slice(n).some((line) => line.includes('once more ends it'))", arg=before,
                               timeout=LATE_MS)
        page.keyboard.press("q")
        page.wait_for_function("(n) => document.getElementById('talk').hidden || window.announced.slice(n).includes('We go on.')",
                               arg=before, timeout=LATE_MS)
        if page.evaluate("document.getElementById('talk').hidden"):
            break
    assert until(page, "ended")[-1] == "The session has ended."
    assert page.evaluate("document.activeElement.textContent") == "Begin"


def test_a_lesson_without_a_tune(address: str, chromium: Any) -> None:
    """The teacher sings a line, the pupil answers it, wrong and then right; each line is announced once."""
    page = begun(chromium, address, "/lesson", voice(line(52), kind=2), voice(line(64), turned=2, seed=2),
                 voice(line(64), seed=3))
    announced = until(page, "All four right.")
    assert announced == ["Sing or play a line.", "Five notes.", "Now the pupil.",
                         "From the third note to the fourth the tune goes up. Listen.",
                         "All four right."]
    assert page.evaluate("document.activeElement.id") == "go"
    assert "over it the voice" in page.locator("#drawn").aria_snapshot()
    assert page.locator("#drawn polyline.voice").count() == 1
    assert page.locator("#kept svg").count() == 1, "the take before stays, with what was said of it"
    assert "From the third note to the fourth" in page.locator("#kept").text_content()
    ended(page)
    page.close()


def test_a_lesson_with_a_tune_hears_what_the_command_hears(address: str, chromium: Any, tmp_path: Path) -> None:
    """The cue of the page is the cue of `companion hear` on the same voice."""
    from companion.language import choose_language, cue_text
    from companion.lesson import answer_take

    sung = voice(phrase("snail-wall", 4), turned=2, seed=9)
    heard = answer_take(written(tmp_path / "alone.wav", 0.3, sung, 1.0), "snail-wall", 1)
    expected = cue_text(choose_language("british"), heard.match, heard.advice, counted=False)  # as a lesson says it
    page = begun(chromium, address, "/sing", sung, tune="snail-wall")
    page.evaluate("""() => { window.longest = 0; new MutationObserver(() => {
        const way = document.querySelector('#drawn path.voice')?.getAttribute('d') ?? '';
        window.longest = Math.max(window.longest, way.length);
      }).observe(document.getElementById('drawn'), { subtree: true, childList: true, attributes: true }); }""")
    announced = until(page, expected.split(".")[0])
    assert page.evaluate("window.longest") > 60, "drawn while it is sung"
    assert page.inner_text("#hand").startswith("The tune ")
    assert page.evaluate("window.played") >= 1, "the line was given"
    assert announced[-1] == expected
    page.wait_for_function(LISTENING, timeout=LATE_MS)
    assert page.locator("#drawn polyline.voice").count() == 1, "it stays to be looked at until the phrase is sung once more"
    assert "the tune goes" in expected
    assert len(announced) == len(set(announced)) == 2
    page.close()


def test_words_spoken_by_the_page_are_shown_and_not_announced(chromium: Any, tmp_path: Path) -> None:
    with served(tmp_path) as address:  # of its own: the next form begins with the choice that was made last
        page = begun(chromium, address, "/lesson", speech="on")
        page.wait_for_function("() => document.getElementById('cue').textContent.includes('Sing or play a line.')",
                               timeout=LATE_MS)
        assert page.evaluate("window.announced") == []
        assert page.get_attribute("#cue", "aria-live") == "off"
        page.goto(address.partition("open/")[0] + "practise")
        assert page.is_checked("#speech-on")
        page.close()


def test_at_home_a_pupil_is_greeted_and_hears_the_tune_set(address: str, chromium: Any) -> None:
    """No key: greeting, title, the line given; then the pupil's right answer is said back and remembered."""
    page = begun(chromium, address, "/practise", voice(phrase("tick-tock", 2), seed=7), pupil="Wren", tune="tick-tock",
                 warm_up="no", minutes="2")
    announced = until(page, "right.")
    assert "Wren" in announced[0]
    assert announced[-1].endswith("right.")
    ended(page)
    page.goto(address.partition("open/")[0] + "diary")
    assert "Wren: 1 take" in page.inner_text("main")
    page.close()


def test_it_is_shown_when_it_listens_and_not_announced(address: str, chromium: Any) -> None:
    """A screen reader that said it would be heard as singing."""
    page = begun(chromium, address, "/sing", voice(phrase("tick-tock", 2), seed=7), tune="tick-tock")
    page.wait_for_function(LISTENING, timeout=LATE_MS)
    assert page.get_attribute("#now", "aria-live") == "off"
    until(page, "right.")
    assert "Listening." not in page.evaluate("window.announced")
    page.close()


def test_a_microphone_denied_or_missing_is_said_once_and_the_form_stays(address: str) -> None:
    for options, words in (({"allowed": False}, "may not use the microphone"), ({"there": False}, "There is no microphone")):
        with browser(**options) as found:
            page = begun(found, address, "/lesson")
            assert len(until(page, words)) == 1
            assert page.is_visible("#begin")
            if "allowed" in options:  # and is allowed afterwards
                page.context.grant_permissions(["microphone"])
                page.keyboard.press("Enter")
                assert until(page, "Sing or play a line.")[-1] == "Sing or play a line."


def test_a_connection_that_breaks_is_joined_again(address: str, chromium: Any) -> None:
    """The socket is closed under a session; the page says so and the session says that the microphone is back."""
    page, first = entered(chromium, address)
    page.add_init_script("""window.sockets = []; const Real = WebSocket;
        window.WebSocket = class extends Real { constructor(...a) { super(...a); window.sockets.push(this); } };""")
    page.goto(first + "lesson")
    page.evaluate(WATCH)
    page.click("#begin button")
    until(page, "Sing or play a line.")
    page.evaluate("window.sockets[0].close()")
    announced = until(page, "microphone is back")
    assert page.evaluate("window.sockets.length") == 2
    assert announced[0] == "Sing or play a line."
    page.wait_for_function(LISTENING, timeout=LATE_MS)
    page.close()


def test_a_second_tab_takes_the_session_and_the_first_is_told(address: str, chromium: Any) -> None:
    first = begun(chromium, address, "/lesson")
    until(first, "Sing or play a line.")
    second = begun(chromium, address, "/lesson")
    until(second, "Sing or play a line.")
    assert until(first, "another tab")[-1] == "The session goes on in another tab, so this one has ended."
    assert not second.evaluate("document.getElementById('talk').hidden")
    first.close()
    second.close()


def test_what_a_screen_reader_is_given_in_a_session(address: str, chromium: Any) -> None:
    page = begun(chromium, address, "/lesson")
    until(page, "Sing or play a line.")
    page.wait_for_function(LISTENING, timeout=LATE_MS)
    tree = page.locator("body").aria_snapshot()
    for part in ('heading "Lesson" [level=1]', 'status: Listening.', "- status:\n", "paragraph: Sing or play a line.",
                 'group "The session"', 'button "Go on"', 'button "Once more (A)"', 'button "End (Q)"'):
        assert part in tree, tree
    page.close()


def test_a_drill_is_answered_by_voice_and_by_keys_while_it_listens(address: str, chromium: Any) -> None:
    """The whole of a tune is sung; at the next question a button types "I do not know" in the middle of listening."""
    items = [LineItem(n.midi, float(n.quarters), n.syllable) for n in load("tick-tock").line()]
    page = begun(chromium, address, "/course/questions", voice(items, seed=4), question="the whole tune", tune="tick-tock")
    announced = until(page, "right.")
    reply = next(line for line in announced if "right." in line)
    assert not any(word in reply.lower() for word in ("not", "once more", "listen")), reply
    assert any(set(line) <= {chr(0x2800 + n) for n in range(64)} for line in announced), "cells, for a braille display"
    page.wait_for_function(LISTENING, timeout=LATE_MS)
    before = len(page.evaluate("window.announced"))
    page.locator("button:has-text('I do not know')").focus()
    page.keyboard.press("Enter")
    page.wait_for_function("(n) => window.announced.length > n", arg=before, timeout=LATE_MS)
    page.locator("button:has-text('End (Q)')").focus()
    page.keyboard.press("Enter")
    until(page, "The session has ended.")
    page.close()


def test_a_device_that_slept_says_so_and_goes_on(address: str, chromium: Any) -> None:
    page, first = entered(chromium, address)
    page.clock.install()
    page.goto(first + "lesson")
    page.evaluate(WATCH)
    page.click("#begin button")
    until(page, "Sing or play a line.")
    page.wait_for_function("() => performance.now() > 2500", timeout=LATE_MS)  # its timer has ticked
    page.clock.fast_forward("02:00")
    announced = until(page, "This device was asleep. The session goes on.")
    assert announced.count("This device was asleep. The session goes on.") == 1
    page.keyboard.press("i")
    page.wait_for_function("(n) => window.announced.length > n", arg=len(announced), timeout=LATE_MS)
    page.close()


#: A microphone that is not there at first, then is, and can be pulled out: `window.pull()`.
UNSTEADY = """
    const real = navigator.mediaDevices.getUserMedia.bind(navigator.mediaDevices);
    let asked = 0;
    navigator.mediaDevices.getUserMedia = async (wanted) => {
      if (asked++ === 0) throw new DOMException("", "NotFoundError");
      const stream = await real(wanted);
      window.pull = () => { const track = stream.getTracks()[0]; track.stop(); track.dispatchEvent(new Event("ended")); };
      return stream;
    };"""


def test_a_microphone_that_comes_late_and_goes_and_comes_back(address: str, chromium: Any) -> None:
    page, first = entered(chromium, address)
    page.add_init_script(UNSTEADY)
    page.goto(first + "lesson")
    page.evaluate(WATCH)
    page.click("#begin button")
    assert until(page, "There is no microphone. Plug one in, then begin again.")
    page.click("#begin button")
    until(page, "Sing or play a line.")
    page.evaluate("window.pull()")
    until(page, "The microphone has gone.")
    announced = until(page, "microphone is back")
    assert len([line for line in announced if "has gone" in line]) == 1
    page.close()


def test_microphone_and_loudspeaker_are_checked_by_ear(address: str, tmp_path: Path) -> None:
    """A soft note to set the loudspeaker by, then three seconds of singing, then one sentence what to change.

    By the browser's own microphone and loudspeaker: somebody sings all the time.
    """
    with browser(written(tmp_path / "level.wav", 1.0, *[voice(line(64), seed=k) for k in range(8)])) as found:
        page = begun(found, address, "/level")
        announced = until(page, "The session has ended.")
    assert announced[0].startswith("A soft note comes now.")
    assert announced[1].startswith("Sing for three seconds")
    assert len(announced) == 4
    assert announced[2].endswith(".")
