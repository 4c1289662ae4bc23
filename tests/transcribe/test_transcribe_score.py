"""From a sung take to a score, compared with the truth of the test singers (contours, and a few takes as sound)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from notate_takes import as_sound, as_track, performance
from tracked import track

from companion.braille import decode, encode
from companion.transcribe import TIMES, Given, Notation, notate
from companion.tune import load, save


def written(n: Notation) -> list[tuple[int, float, float]]:
    return [(x.midi, float(x.quarters), float(x.rest_after)) for x in n.tune.line()]


def truth(name: str) -> list[tuple[int, float, float]]:
    return [(x.midi, float(x.quarters), float(x.rest_after)) for x in load(name).line()]


@pytest.mark.parametrize(("name", "key", "metre"), [
    ("lantern", "C major", "4/4"), ("long-road", "D major", "4/4"), ("rain-down", "C major", "3/4"),
    ("march-home", "G major", ""), ("moon-sea", "F major", "3/4"), ("whole-row", "C major", "")])
def test_a_plain_take_is_written_as_it_was(name: str, key: str, metre: str) -> None:
    n = notate(as_track(performance(load(name))), name)
    assert n.key.name == key
    assert [m for m, *_ in written(n)] == [m for m, *_ in truth(name)]
    right = sum(a == b for a, b in zip(written(n), truth(name), strict=True))
    assert right >= len(truth(name)) - 1  # the last note's length is the singer's own
    # A tune of crotchets or quavers alone does not show its metre: there only its values are asked for.
    assert not metre or n.time.name == metre


def test_as_sound_too_and_back_from_braille_and_musicxml(tmp_path) -> None:
    n = notate(track(as_sound(performance(load("lantern"), shift=5.3))), "lantern")
    assert n.key.name == "F major"
    assert [m for m, *_ in written(n)] == [m + 5 for m, *_ in truth("lantern")]
    save(n.tune, tmp_path / "x.musicxml")
    for back in (load(tmp_path / "x.musicxml"), decode(list(encode(n.tune).lines)).tune):
        assert [(x.midi, x.quarters, x.rest_after) for x in back.line()] == \
            [(x.midi, x.quarters, x.rest_after) for x in n.tune.line()]


def test_drift_and_shrunken_steps_are_taken_out() -> None:
    tune = load("lantern")
    for style in ({"drift": 1.4}, {"drift": -1.2}, {"shrink": 0.94}):
        n = notate(as_track(performance(tune, 3, **style)), "x")
        assert [m for m, *_ in written(n)] == [m for m, *_ in truth("lantern")], style
    assert n.key.name == "C major"


def test_a_swinging_tempo_bends_and_is_followed() -> None:
    tune = load("march-home")
    p = performance(tune, 5)
    # Time stretched by up to 10 % to and fro, with a period of six seconds.
    t = np.arange(len(p.contour)) * 0.005
    bent = t + 0.1 * 6 / (2 * np.pi) * np.sin(2 * np.pi * t / 6)
    at = np.clip(np.searchsorted(bent, t), 0, len(t) - 1)
    n = notate(as_track(replace(p, contour=p.contour[at], level=p.level[at])), "x")
    right = sum(a[1] == b[1] for a, b in zip(written(n), truth("march-home"), strict=True))
    assert right >= len(truth("march-home")) - 1
    pace = [x.quarter_s for x in n.notes]
    assert max(pace) / min(pace) > 1.05


def test_a_given_tempo_and_time_lead() -> None:
    take = as_track(performance(load("lantern")))
    assert notate(take, "x", Given(time=TIMES["3/4"])).time.name == "3/4"
    slow = notate(take, "x", Given(bpm=60.0, time=TIMES["2/4"]))
    assert slow.quarter_bpm == pytest.approx(60, rel=0.15)
    assert [float(x.quarters) for x in slow.tune.line()][:3] == [0.5, 0.5, 0.5]
