"""From a sung take to a score, held against the truth of the test singers (contours, and a few takes as sound)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from notate_takes import HOP_S, as_sound, as_track, performance

from companion.braille import decode, encode
from companion.ear.model import PitchTrack
from companion.ear.tracker import track
from companion.errors import NothingSung, Trouble
from companion.language import English, doubt_line, score_json
from companion.transcribe import (
    TIMES,
    DoubtKind,
    Estimate,
    Given,
    Notation,
    ScoreNote,
    SoundDoubt,
    doubts_of,
    lay_out,
    notate,
    notate_together,
    take_of,
    unsure_bars,
)
from companion.transcribe.pitches import find_pitches
from companion.transcribe.rhythm import Evidence, moves, read, smoothed
from companion.tune import Key, load, save


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


def test_key_is_found_with_a_runner_up_and_spelled() -> None:
    # A harmonic minor scale down and up in G minor: E flat and B flat, and F sharp as the raised seventh.
    midi = [67, 69, 70, 72, 74, 75, 74, 72, 70, 69, 67, 66, 67, 70, 69, 66, 67]
    p = find_pitches([m + 0.3 for m in midi], [0.5] * len(midi))
    assert p.midi.tolist() == midi
    assert p.key == Key(-2, "minor")
    assert p.confidence > p.runner_up_confidence > 0
    tune = lay_out([ScoreNote(m, 4) for m in midi], TIMES["4/4"], 0, p.key)
    assert {x.pitch.name for x in tune.line()} == {"G4", "A4", "Bb4", "C5", "D5", "Eb5", "F#4"}


def test_a_given_key_leads() -> None:
    midi = [60, 62, 64, 65, 67, 65, 64, 62, 60]
    assert find_pitches(midi, [0.5] * 9).key.name == "C major"
    assert find_pitches(midi, [0.5] * 9, tonic=9, mode="minor").key.name == "A minor"


def evidence(values: list[float], quarter_s: float, late: float = 0.0) -> Evidence:
    at = np.concatenate([[0.0], np.cumsum(values)]) * quarter_s + late
    degrees = np.array([0, 4, 7, 4] * 20)[:len(values)]
    return Evidence(at, degrees, moves([60 + d for d in degrees]), np.zeros(len(values), dtype=bool))


def test_values_of_exact_times_are_exact() -> None:
    values = [1, 0.5, 0.5, 1, 1, 1.5, 0.5, 2, 1, 1, 0.5, 0.5, 1, 4]
    best = max(read(evidence(values, 0.5), TIMES["4/4"]), key=lambda r: r.log_likelihood)
    assert (best.ticks / 4).tolist() == values
    assert best.quarter_s == pytest.approx([0.5] * len(values), rel=0.05)
    assert best.value_posterior.sum(axis=1) == pytest.approx([1.0] * len(values))
    assert min(best.value_posterior[i, t] for i, t in enumerate(best.ticks[:-1])) > 0.8


def test_tapped_beats_lead_where_the_tempo_alone_would_say_otherwise() -> None:
    values = [1.0] * 12 + [2.0]
    # A crotchet every 0.36 s is sung; beats are tapped twice as slowly, so what is sung are quavers.
    e = evidence(values, 0.36)
    free = max(read(e, TIMES["2/4"]), key=lambda r: r.log_likelihood)
    taps = [0.72 * k + 0.01 * (-1) ** k for k in range(7)]
    led = max(read(e, TIMES["2/4"], beats_s=taps), key=lambda r: r.log_likelihood)
    assert led.ticks[:-1].tolist() == [2] * 12
    assert free.ticks[:-1].tolist() != led.ticks[:-1].tolist() or led.quarter_s[0] > 0.6


def test_taps_are_smoothed_and_stay_in_order() -> None:
    taps = np.arange(8) * 0.5 + np.array([0.02, -0.02] * 4)
    out = smoothed(taps)
    assert np.abs(np.diff(out) - 0.5).max() < np.abs(np.diff(taps) - 0.5).max() / 2
    assert (np.diff(out) > 0).all()


def test_a_given_tempo_and_time_lead() -> None:
    take = as_track(performance(load("lantern")))
    assert notate(take, "x", Given(time=TIMES["3/4"])).time.name == "3/4"
    slow = notate(take, "x", Given(bpm=60.0, time=TIMES["2/4"]))
    assert slow.quarter_bpm == pytest.approx(60, rel=0.15)
    assert [float(x.quarters) for x in slow.tune.line()][:3] == [0.5, 0.5, 0.5]


def test_bars_are_numbered_as_they_are_printed() -> None:
    n = notate(as_track(performance(load("lantern"))), "x")
    assert list(n.bars) == [x.bar for x in n.tune.line()]
    assert [place for bar, place in n.positions if bar == 1] == list(range(1, n.bars.count(1) + 1))


def test_doubts_name_the_bar_and_another_reading() -> None:
    n = notate(as_track(performance(load("lantern"))), "x")
    k = 4
    unsure = replace(
        n, doubtful=(), time_estimate=replace(n.time_estimate, confidence=1.0),
        key_estimate=replace(n.key_estimate, confidence=1.0),
        notes=tuple(replace(note, pitch_confidence=1.0, value_confidence=0.4 if i == k else 0.999,
                            other_ticks=6 if i == k else note.other_ticks) for i, note in enumerate(n.notes)))
    found = doubts_of(unsure)
    assert [(d.kind, d.bar, d.other_ticks) for d in found] == [(DoubtKind.VALUE, n.bars[k], 6)]
    assert unsure_bars(unsure) == [found[0].bar]
    key = Estimate(n.key, 0.5, Key(1), 0.4)
    first = doubts_of(replace(unsure, key_estimate=key))[0]
    assert (first.kind, first.other_key) == (DoubtKind.KEY, Key(1))
    quiet = replace(unsure, notes=tuple(replace(x, value_confidence=1.0) for x in unsure.notes))
    assert doubts_of(quiet) == []
    assert [d.kind for d in doubts_of(replace(quiet, sound=SoundDoubt.ACCOMPANIED))] == [DoubtKind.ACCOMPANIED]


def test_json_has_what_the_contract_names() -> None:
    data = score_json(English(), notate(as_track(performance(load("rain-down"))), "x"))
    assert data["key"] == "C major"
    assert data["time"] == "3/4"
    assert data["quarter_bpm"] == pytest.approx(120, rel=0.1)
    assert {"midi", "quarters", "bar"} <= set(data["notes"][0])
    assert sum(n["quarters"] for n in data["notes"] if n["bar"] == 1) == 3
    assert isinstance(data["problems"], list)


def test_takes_together_mend_each_other() -> None:
    tune = load("lantern")
    good = [as_track(performance(tune, seed)) for seed in (11, 12)]
    spoiled = as_track(performance(tune, 13, left_out=(5,)))  # one note left out, in another key
    lower = as_track(performance(tune, 14, shift=-3.0))
    alone = notate(spoiled, "x")
    assert len(alone.notes) == len(tune.line()) - 1
    together = notate_together([spoiled, lower, *good], "x")
    assert together.takes == 4
    intervals = np.diff([e.midi for e in together.notation.notes])
    assert intervals.tolist() == np.diff([m for m, *_ in truth("lantern")]).tolist()
    assert together.agreement[5] < 1.0  # and where one differs, it is not sure
    assert together.notation.notes[5].value_confidence < 1.0


def flat(f0: np.ndarray, level: float = -20.0, sure: float = 0.9) -> PitchTrack:
    n = len(f0)
    voiced = f0 > 0
    return PitchTrack(np.arange(n) * HOP_S, f0, np.where(voiced, sure, 0.0), np.where(voiced, level, -80.0),
                      np.where(voiced, 0.95, 0.1), HOP_S, n * HOP_S)


@pytest.mark.parametrize(("take", "part"), [
    (flat(np.zeros(400)), "Nothing sung"),
    (flat(np.full(500, 220.0)), "Only 1 sung note"),
    (flat(220 * 2 ** (np.linspace(0, 19, 600) / 12)), "slides all the way"),
    (flat(220 * 2 ** (5 * np.sin(np.arange(600) / 45) / 12)), "slides all the way"),
])
def test_what_is_no_tune_is_refused_in_one_sentence(take: PitchTrack, part: str) -> None:
    with pytest.raises(NothingSung, match=part) as error:
        notate(take)
    assert str(error.value).count("\n") == 0


@pytest.mark.parametrize("text", [
    "The little boat went down the river in the morning, and nobody knew where it would stop.",
    "Good morning everybody, my name is Robin and today we are going to learn a new song.", "One, two, three, four."])
def test_speech_is_refused(text: str) -> None:
    from companion.audio import speak
    from companion.language import English

    spoken = speak(text, English())
    with pytest.raises(NothingSung, match="sounds like speech"):
        notate(track(spoken.samples, spoken.rate))


def test_ten_minutes_are_refused_before_they_are_tracked(tmp_path) -> None:
    import soundfile

    path = tmp_path / "long.flac"
    soundfile.write(path, np.zeros(8000 * 600, dtype=np.float32), 8000)
    with pytest.raises(Trouble, match="10 minutes"):
        take_of(path)


def test_a_hum_is_written_and_noise_is_said() -> None:
    from singers import noisy

    sound = as_sound(performance(load("lantern"), shift=5.0))
    n = notate(track(noisy(sound, np.random.default_rng(2), 8.0)), "x")
    assert n.sound is SoundDoubt.UNCLEAR
    assert doubt_line(English(), doubts_of(n)[0]).startswith("The sound is not clear")
