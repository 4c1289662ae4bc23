"""Sessions in a real browser, whose microphone is fed with made singers: what is announced, once each, and what is kept."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from page.browser import browser, entered, missing, served, voice, written
from singers import LineItem

from companion.tune import load

pytestmark = [pytest.mark.slow, pytest.mark.skipif(bool(missing()), reason=missing() or "-")]
STEPS = (0, 2, 4, 5, 7)
#: Keeps what a screen reader is given: every addition to the live region.
WATCH = """() => {
  window.announced = [];
  const region = document.getElementById("cue");
  new MutationObserver((changes) => {
    for (const change of changes) for (const node of change.addedNodes)
      if (region.getAttribute("aria-live") === "polite") window.announced.push(node.textContent);
  }).observe(region, { childList: true, subtree: true, characterData: true });
}"""


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with served(tmp_path_factory.mktemp("page")) as found:
        yield found


def begun(found: Any, address: str, path: str, sings: Path | None = None, **fields: str) -> Any:
    """A page whose session was begun by keyboard. sings: what its microphone hears after `window.sing()`."""
    page, first = entered(found, address)
    if sings is not None:
        page.add_init_script(SINGER % b64encode(sings.read_bytes()).decode())
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


def until(page: Any, text: str, seconds: float = 90.0) -> list[str]:
    """What was announced, once a line with `text` is among it."""
    page.wait_for_function("(text) => window.announced.some((line) => line.includes(text))", arg=text, timeout=seconds * 1000)
    announced: list[str] = page.evaluate("window.announced")
    return announced


def line(low: int) -> list[LineItem]:
    return [LineItem(low + s, 2 if i == len(STEPS) - 1 else 1) for i, s in enumerate(STEPS)]


def test_a_lesson_without_a_tune(address: str, tmp_path: Path) -> None:
    """The teacher sings a line, the pupil answers it, wrong and then right; each line is announced once."""
    sound = written(tmp_path / "two.wav", 1.5, voice(line(52), kind=2), 6.0, voice(line(64), turned=2, seed=2), 11.0,
                    voice(line(64), seed=3), 8.0)
    with browser(sound) as found:
        page = begun(found, address, "/lesson")
        announced = until(page, "All four right.")
        assert announced == ["Sing or play a line.", "Five notes.", "Now the pupil.",
                             "From the third note to the fourth the tune goes up. Listen.",
                             "All four right."]
        assert page.evaluate("document.activeElement.id") == "go"
        assert "over it the voice" in page.locator("#drawn").aria_snapshot()
        assert page.locator("#drawn polyline.voice").count() == 1
        assert page.locator("#kept svg").count() == 1, "the take before stays, with what was said of it"
        assert "From the third note to the fourth" in page.locator("#kept").text_content()
        page.keyboard.press("q")
        until(page, "once more ends it")
        page.keyboard.press("q")
        page.wait_for_function("() => document.getElementById('talk').hidden")
        assert until(page, "ended")[-1] == "The session has ended."
        assert page.evaluate("document.activeElement.textContent") == "Begin"


def test_a_lesson_with_a_tune_hears_what_the_command_hears(address: str, tmp_path: Path) -> None:
    """The cue of the page is the cue of `companion hear` on the same file."""
    from companion.language import choose_language, cue_text
    from companion.lesson import answer_take

    phrase = load("snail-wall").phrase(1)
    items = [LineItem(n.midi + 4, float(n.quarters), n.syllable) for n in phrase]
    sung = voice(items, turned=2, seed=5)
    alone = written(tmp_path / "alone.wav", 0.3, sung, 1.0)
    heard = answer_take(alone, "snail-wall", 1)
    expected = cue_text(choose_language("british"), heard.match, heard.advice, counted=False)  # as a lesson says it
    with browser(written(tmp_path / "later.wav", 14.0, sung, 20.0)) as found:
        page = begun(found, address, "/sing", tune="snail-wall")
        page.wait_for_function("() => (document.querySelector('#drawn path.voice')?.getAttribute('d') ?? '').length > 60",
                               timeout=40_000)  # drawn while it is sung
        announced = until(page, expected.split(".")[0])
        assert page.inner_text("#hand").startswith("The tune ")
    assert announced[-1] == expected
    assert "the tune goes" in expected
    assert len(announced) == len(set(announced)) == 2


def test_words_spoken_by_the_page_are_shown_and_not_announced(address: str, tmp_path: Path) -> None:
    with browser(written(tmp_path / "quiet.wav", 30.0)) as found:
        page = begun(found, address, "/lesson", speech="on")
        page.wait_for_function("() => document.getElementById('cue').textContent.includes('Sing or play a line.')")
        assert page.evaluate("window.announced") == []
        assert page.get_attribute("#cue", "aria-live") == "off"


def test_at_home_a_pupil_is_greeted_and_hears_the_tune_set(address: str, tmp_path: Path) -> None:
    """No key: greeting, title, the line given; then the pupil's right answer is said back and remembered."""
    phrase = load("tick-tock").phrase(1)
    items = [LineItem(n.midi + 2, float(n.quarters), n.syllable) for n in phrase]
    with browser() as found:
        page = begun(found, address, "/practise", written(tmp_path / "home.wav", 0.5, voice(items, seed=7), 0.5), pupil="Wren",
                     tune="tick-tock", warm_up="no", minutes="2")
        page.wait_for_function("() => document.querySelector('main').innerText.includes('tock')", timeout=60_000)
        page.wait_for_timeout(6500)  # the line is given in three seconds; then it listens for about seven
        page.evaluate("window.sing()")
        announced = until(page, "right.")
        assert "Wren" in announced[0]
        assert announced[-1].endswith("right.")
        page.keyboard.press("q")
        page.keyboard.press("q")
        until(page, "The session has ended.")
        page.goto(address.partition("open/")[0] + "diary")
        assert "Wren: 1 take" in page.inner_text("main")


def test_a_microphone_denied_or_missing_is_said_once_and_the_form_stays(address: str) -> None:
    for options, words in (({"allowed": False}, "may not use the microphone"), ({"there": False}, "There is no microphone")):
        with browser(**options) as found:
            page = begun(found, address, "/lesson")
            assert len(until(page, words)) == 1
            assert page.is_visible("#begin")


def test_a_connection_that_breaks_is_joined_again(address: str, tmp_path: Path) -> None:
    """The socket is closed under a session; the page says so and the session says that the microphone is back."""
    with browser(written(tmp_path / "quiet.wav", 60.0)) as found:
        page, first = entered(found, address)
        page.add_init_script("""window.sockets = []; const Real = WebSocket;
            window.WebSocket = class extends Real { constructor(...a) { super(...a); window.sockets.push(this); } };""")
        page.goto(first + "lesson")
        page.evaluate(WATCH)
        page.click("#begin button")
        until(page, "Sing or play a line.")
        page.evaluate("window.sockets[0].close()")
        announced = until(page, "microphone is back", 20)
        assert page.evaluate("window.sockets.length") == 2
        assert announced[0] == "Sing or play a line."
        assert page.inner_text("#now") == "The session is open."


def test_a_second_tab_takes_the_session_and_the_first_is_told(address: str, tmp_path: Path) -> None:
    with browser(written(tmp_path / "quiet.wav", 60.0)) as found:
        first = begun(found, address, "/lesson")
        until(first, "Sing or play a line.")
        second = begun(found, address, "/lesson")
        until(second, "Sing or play a line.")
        assert until(first, "another tab")[-1] == "The session goes on in another tab, so this one has ended."
        assert not second.evaluate("document.getElementById('talk').hidden")


def test_what_a_screen_reader_is_given_in_a_session(address: str, tmp_path: Path) -> None:
    with browser(written(tmp_path / "quiet.wav", 60.0)) as found:
        page = begun(found, address, "/lesson")
        until(page, "Sing or play a line.")
        tree = page.locator("body").aria_snapshot()
    for part in ('heading "Lesson" [level=1]', 'status: The session is open.', "- status:\n", "paragraph: Sing or play a line.",
                 'group "The session"', 'button "Go on"', 'button "Once more (A)"', 'button "End (Q)"'):
        assert part in tree, tree


#: A microphone in whose room somebody sings when asked to: `window.sing()`. %s: the voice, a WAV in base 64.
SINGER = """
    const wav = Uint8Array.from(atob("%s"), (c) => c.charCodeAt(0));
    navigator.mediaDevices.getUserMedia = async () => {
      const room = new AudioContext(), out = room.createMediaStreamDestination();
      const noise = room.createBuffer(1, room.sampleRate, room.sampleRate), air = room.createBufferSource();
      noise.getChannelData(0).forEach((x, i, all) => { all[i] = (Math.random() - 0.5) * 0.001; });
      air.buffer = noise; air.loop = true; air.connect(out); air.start();
      window.sing = async () => {
        const voice = room.createBufferSource();
        voice.buffer = await room.decodeAudioData(wav.slice().buffer);
        voice.connect(out); voice.start();
      };
      return out.stream;
    };"""
LISTENING = "() => document.getElementById('now').textContent === 'Listening.'"


def test_a_drill_is_answered_by_voice_and_by_keys_while_it_listens(address: str, tmp_path: Path) -> None:
    """The whole of a tune is sung; at the next question a button types "I do not know" in the middle of listening."""
    items = [LineItem(n.midi, float(n.quarters), n.syllable) for n in load("tick-tock").line()]
    sound = written(tmp_path / "drill.wav", 0.5, voice(items, seed=4), 0.5).read_bytes()
    with browser() as found:
        page, first = entered(found, address)
        page.add_init_script(SINGER % b64encode(sound).decode())
        page.goto(first + "course/questions")
        page.evaluate(WATCH)
        page.select_option("[name=question]", "the whole tune")
        page.select_option("[name=tune]", "tick-tock")
        page.locator("#begin button").focus()
        page.keyboard.press("Enter")
        page.wait_for_function(LISTENING, timeout=60_000)
        page.evaluate("window.sing()")
        announced = until(page, "right.")
        reply = next(line for line in announced if "right." in line)
        assert not any(word in reply.lower() for word in ("not", "once more", "listen")), reply
        assert any(set(line) <= {chr(0x2800 + n) for n in range(64)} for line in announced), "cells, for a braille display"
        page.wait_for_function(LISTENING, timeout=60_000)
        before = len(page.evaluate("window.announced"))
        page.locator("button:has-text('I do not know')").focus()
        page.keyboard.press("Enter")
        page.wait_for_function("(n) => window.announced.length > n", arg=before, timeout=60_000)
        page.locator("button:has-text('End (Q)')").focus()
        page.keyboard.press("Enter")
        until(page, "The session has ended.")


def test_a_device_that_slept_says_so_and_goes_on(address: str, tmp_path: Path) -> None:
    with browser(written(tmp_path / "quiet.wav", 60.0)) as found:
        page, first = entered(found, address)
        page.clock.install()
        page.goto(first + "lesson")
        page.evaluate(WATCH)
        page.click("#begin button")
        until(page, "Sing or play a line.")
        page.wait_for_function("() => performance.now() > 2500")  # its timer has ticked
        page.clock.fast_forward("02:00")
        announced = until(page, "This device was asleep. The session goes on.")
        assert announced.count("This device was asleep. The session goes on.") == 1
        page.keyboard.press("i")
        page.wait_for_function("(n) => window.announced.length > n", arg=len(announced))


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


def test_a_microphone_that_comes_late_and_goes_and_comes_back(address: str, tmp_path: Path) -> None:
    with browser(written(tmp_path / "quiet.wav", 60.0)) as found:
        page, first = entered(found, address)
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


def test_a_microphone_that_was_denied_is_allowed_afterwards(address: str, tmp_path: Path) -> None:
    with browser(written(tmp_path / "quiet.wav", 60.0), allowed=False) as found:
        page = begun(found, address, "/lesson")
        until(page, "may not use the microphone")
        page.context.grant_permissions(["microphone"])
        page.keyboard.press("Enter")
        assert until(page, "Sing or play a line.")[-1] == "Sing or play a line."


def test_microphone_and_loudspeaker_are_checked_by_ear(address: str, tmp_path: Path) -> None:
    """A soft note to set the loudspeaker by, then three seconds of singing, then one sentence what to change."""
    with browser(written(tmp_path / "level.wav", 1.0, *[voice(line(64), seed=k) for k in range(8)])) as found:
        page = begun(found, address, "/level")
        announced = until(page, "The session has ended.")
    assert announced[0].startswith("A soft note comes now.")
    assert announced[1].startswith("Sing for three seconds")
    assert len(announced) == 4
    assert announced[2].endswith(".")
