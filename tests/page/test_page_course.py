"""The later kinds of question on the page: typed ones, and rhythms that are clapped into the browser's microphone."""

from __future__ import annotations

import json
import re
import time
from fractions import Fraction
from html import unescape
from typing import Any

import numpy as np
import pytest
from clappers import clapped

from companion.course import Item, QuestionKind, clap_the_rhythm, pace_of, stages
from companion.course.tune_material import make_group
from companion.ear import RATE
from companion.tune import Bar, Key, Note, Pitch, Time, Tune

READY = "Press Enter when you have read it; then the beat begins."
#: Kinds that came with the later stages, and how each is asked.
ASKED = {
    QuestionKind.CLAP_THE_RHYTHM: "Then clap them with the beat that goes on.",
    QuestionKind.THINK_AND_SING: "and sing the last.",
    QuestionKind.WHICH_WAY: "In which order are its bars sung?",
    QuestionKind.OTHER_NOTE: "Which note sounds below it?",
    QuestionKind.UPPER_OR_LOWER: "Is what you read the upper or the lower one?",
    QuestionKind.FROM_THE_BACK: "which note is it?",
    QuestionKind.SING_FROM_ANOTHER: "Sing them all from there.",
}


def four_notes(*_options: Any) -> list[Item]:
    """One question: crotchet, quaver, quaver, minim."""
    notes = tuple(Note(pitch=Pitch(s, 4), base=Fraction(v)) for s, v in zip("CDEC", (1.0, 0.5, 0.5, 2.0), strict=True))
    bar = Bar(number=1, notes=notes, key=Key(), time=Time())
    return [clap_the_rhythm(make_group("x", Tune("", (bar,), phrase_starts=()), ()))]


def test_every_later_kind_is_asked_on_the_page(page: Any) -> None:
    for kind, words in ASKED.items():
        stage = next(s for s in reversed(stages()) if any(d.kind is kind for d in s.drills))
        asked = page.post("/course/drill", kind=kind.value, stage=stage.key, count="1")
        assert words in unescape(re.sub(r"\s+", " ", asked.text)), kind
        assert ("<audio" in asked.text) is (kind not in (QuestionKind.WHICH_WAY, QuestionKind.OTHER_NOTE,
                                                         QuestionKind.FROM_THE_BACK)), kind
        page.post("/course/answer", stop="yes")


def heard(opened: Any, until: str) -> list[dict[str, Any]]:
    """Messages up to the first that has `until`; the bytes of sounds are dropped."""
    out: list[dict[str, Any]] = []
    while not out or until not in out[-1]:
        message = opened.receive()
        if message.get("text"):
            out.append(json.loads(message["text"]))
    return out


def said(messages: list[dict[str, Any]]) -> list[str]:
    return [m["say"] for m in messages if "say" in m]


def begun(page: Any, opened: Any) -> list[str]:
    opened.send_text(json.dumps({"token": page.state.token, "kind": "drill", "rate": RATE, "question": "clap the rhythm",
                                 "stage": "9"}))
    return said(heard(opened, "ask"))


def test_a_rhythm_is_clapped_into_the_browsers_microphone(page: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("companion.page.course.drill_items", four_notes)
    beat_s = pace_of(four_notes()[0])
    hands = clapped([beat_s * (4 + o) for o in (0, 1, 1.5, 2)], "clap", np.random.default_rng(1), seconds=8 * beat_s)
    with page.socket() as opened:
        assert begun(page, opened)[-1] == READY, "nothing sounds before the bar was read"
        opened.send_text('{"typed": ""}')
        listens, *_unused, sound = heard(opened, "sound")
        assert listens == {"listens": True}, "the microphone is open before the first beat"
        for block in np.array_split(hands.samples, 20):
            opened.send_bytes(block.astype("<f4").tobytes())
        live, = page.state.live.values()
        end = time.monotonic() + 20
        while live.ears._waiting and time.monotonic() < end:
            time.sleep(0.01)
        opened.send_text(json.dumps({"played": sound["sound"]}))
        opened.send_bytes(bytes(4 * 2 * RATE))  # two more seconds, in which nobody claps
        told = said(heard(opened, "end"))
    assert told[0] == "Right, that is the rhythm."
    assert "One of one right." in told


def test_what_is_typed_while_the_beat_sounds_cuts_it_short_and_is_read(page: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("companion.page.course.drill_items", four_notes)
    with page.socket() as opened:
        begun(page, opened)
        opened.send_text('{"typed": ""}')
        heard(opened, "sound")
        opened.send_text('{"typed": "+"}')
        messages = heard(opened, "end")
    assert any("hush" in m for m in messages)
    assert "One of one right." in said(messages)


def test_a_sung_sitting_has_the_pupils_solfa_and_minutes(page: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """As the command and the typed sitting have them."""
    seen: list[tuple[str, float]] = []

    def sit(diary: Any, pupil: Any, some: Any, now: Any, io: Any, *_more: Any, minutes: float = 0.0) -> None:
        seen.append((io.language.in_key(1).pitch_class(Pitch("G", 4)), minutes))

    monkeypatch.setattr("companion.lesson.sit", sit, raising=False)
    page.post("/diary/new", pupil="Robin")
    page.post("/diary/change", pupil="Robin", **{"setting-note-names": "solfa", "setting-course-minutes": "11"})
    with page.socket() as opened:
        opened.send_text(json.dumps({"token": page.state.token, "kind": "course", "rate": RATE, "pupil": "Robin"}))
        heard(opened, "end")
    assert seen == [("doh", 11)], "G is doh in the key of one sharp"
