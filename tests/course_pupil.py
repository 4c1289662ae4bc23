"""An adult and a child for the course's tests: they type cells and names in many forms, and sing.

`sung` gives the pitch track of a synthesised singer at once; `sung_aloud` makes the sound and lets the ear
hear it. All chance comes from the seed.
"""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np
from singers import RATE, VOICES, LineItem, Style, perform, render
from singers.performance import STEP_S

from companion.braille import to_ascii, to_dots
from companion.course import Item, Judged, TuneToHear, Wants, check
from companion.ear import PitchTrack, Sound
from companion.language import English, Variety, reply_text
from companion.lesson import SittingIO
from companion.match import Verdict
from companion.tune import LineNote

BRITISH, AMERICAN = English(), English(Variety.AMERICAN)
EVERY = 3  # of the singer's steps of 5 ms make a frame: enough for the match, and quick


def _performance(line: Sequence[LineNote], seed: int, turned: int | None, quarter_s: float):  # type: ignore[no-untyped-def]
    rng = np.random.default_rng(seed)
    quick = max(n.quarters for n in line) * 2 <= 1
    items = [LineItem(n.midi, float(n.quarters), "la", float(n.rest_after)) for n in line]
    style = Style(shift=float(rng.uniform(-4, 4)), quarter_s=quarter_s * (2 if quick else 1), miss=0.08,
                  shrink=0.95, turned=turned)
    return perform(items, style, rng), rng


def sung(line: Sequence[LineNote], seed: int = 1, turned: int | None = None,
         quarter_s: float = 0.36) -> PitchTrack:
    """A pitch track of a child who sings the line in a key of its own; one move (from 0) the other way."""
    done, _ = _performance(line, seed, turned, quarter_s)
    contour = done.contour[::EVERY]
    hz = np.where(np.isnan(contour), 0.0, 440.0 * 2 ** ((np.nan_to_num(contour) - 69) / 12))
    there = hz > 0
    hop = EVERY * STEP_S
    return PitchTrack(np.arange(len(hz)) * hop, hz, np.where(there, 0.95, 0.0), np.where(there, -20.0, -70.0),
                      np.where(there, 0.9, 0.1), hop, len(hz) * hop)


def sung_notes(pitches: Sequence[int], lengths: Sequence[float], shift: float = 0.0, seed: int = 4) -> PitchTrack:
    """A pitch track of someone who sings these pitches and lengths (in crotchets), so many semitones away."""
    style = Style(shift=shift, quarter_s=0.5, miss=0.05)
    items = [LineItem(p, n, "la", 0.0) for p, n in zip(pitches, lengths, strict=True)]
    contour = perform(items, style, np.random.default_rng(seed)).contour[::EVERY]
    hz = np.where(np.isnan(contour), 0.0, 440.0 * 2 ** ((np.nan_to_num(contour) - 69) / 12))
    there, hop = hz > 0, EVERY * STEP_S
    return PitchTrack(np.arange(len(hz)) * hop, hz, np.where(there, 0.95, 0.0), np.where(there, -20.0, -70.0),
                      np.where(there, 0.9, 0.1), hop, len(hz) * hop)


def sung_aloud(line: Sequence[LineNote], seed: int = 1, turned: int | None = None) -> PitchTrack:
    """The same through the air: made as sound by the singer of formants, and heard by the ear."""
    from companion.ear import track

    done, rng = _performance(line, seed, turned, 0.5)
    return track(Sound(render(done, VOICES[seed % 2], "formants", rng), RATE))


def judged(item: Item, text: str) -> Judged:
    """A typed answer judged, in English."""
    return check(item, text, BRITISH.vocabulary)


class Answered(NamedTuple):
    """A typed answer judged, and what is said back."""

    verdict: Verdict
    say: str
    cards: Mapping[str, Verdict]


def answered(item: Item, text: str) -> Answered:
    found = judged(item, text)
    return Answered(found.verdict, reply_text(BRITISH, item, found), found.cards)


def said(item: Item, text: str, language: English = BRITISH) -> str:
    """What is said back to a typed answer."""
    return reply_text(language, item, check(item, text, language.vocabulary))


def typed(item: Item, rng: random.Random) -> str:
    """The right answer, typed in one of the forms that people use."""
    if item.wants is Wants.CELLS:
        ascii_form = to_ascii(item.answer)
        forms = [item.answer, to_dots(item.answer), f"ascii:{ascii_form}"]
        if any(c.isalpha() for c in ascii_form):
            forms.append(ascii_form.lower())
        return rng.choice(forms)
    if item.wants is Wants.NAME:
        return rng.choice([item.answer, item.answer.upper(), f"the {item.answer}."])
    if item.wants in (Wants.SUNG, Wants.CLAPPED):
        return "+"
    if item.wants is Wants.DIRECTION:
        return rng.choice({"higher": ["higher", "up", "h"], "lower": ["lower", "down"], "same": ["same", "level"]}[
            item.answer])
    return item.answer


def wrong(item: Item) -> str:
    """An answer that is surely not right."""
    return {"cells": "⠟⠟⠟", "name": "number sign" if item.answer != "number sign" else "tie", "number": "17",
            "place": "17", "choice": "2" if item.answer == "1" else "1",
            "direction": "same" if item.answer != "same" else "higher",
            "octave": "7", "yes or no": "no" if item.answer == "yes" else "yes", "sung": "-", "clapped": "-",
            "route": "1 7"}[item.wants]


class Pair:
    """An adult at the keys and a child who sings. miss: the share of answers that go wrong.

    heard: every so many sung answers are heard by the program, the others by the adult, who types + or -.
    aloud: every so many of those heard are made as sound, the others are pitch tracks; 0 for none.
    """

    def __init__(self, seed: int = 1, miss: float = 0.0, aloud: int = 0, heard: int = 1) -> None:
        self.rng = random.Random(seed)
        self.miss, self.aloud, self.heard = miss, aloud, heard
        self.tried = 0
        self.said: list[str] = []
        self.shown: list[str] = []
        self.asked: list[Item] = []
        self.item: Item | None = None
        self.sang = 0

    def io(self, hands_free: bool = False) -> SittingIO:
        return SittingIO(BRITISH, self.read, self.said.append, self.shown.append, self.sound, self.listen, hands_free)

    def sound(self, item: Item | TuneToHear) -> None:
        if isinstance(item, TuneToHear):
            return
        self.item = item
        self.asked.append(item)

    def read(self) -> str | None:
        if self.item is None:
            return ""  # Enter, to begin
        return wrong(self.item) if self.rng.random() < self.miss else typed(self.item, self.rng)

    def listen(self, item: Item) -> PitchTrack | None:
        self.tried += 1
        if self.tried % self.heard:
            return None
        self.sang += 1
        turned = 0 if self.rng.random() < self.miss else None
        seed = self.rng.randrange(10**6)
        if self.aloud and self.sang % self.aloud == 0:
            return sung_aloud(item.sung, seed, turned)
        return sung(item.sung, seed, turned)
