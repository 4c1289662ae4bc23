"""What is no singing is not judged: speech, claps, a passing car, a barking dog, a slammed door."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
from other_sounds import KINDS, other_sounds
from singers import RATE

from companion.lesson.listen import HeardKind, Listener
from companion.tune import load

BLOCK = 441


def judged(kind: str, count: int, seed: int) -> int:
    """How many of so many sounds of a kind were taken for singing."""
    tune = load("snail-wall")
    lines = [tune.phrase(1), tune.phrase(2), load("kite").phrase(1)]
    taken = 0
    for k, sound in enumerate(other_sounds(kind, count, seed)):
        ear = Listener(lines[k % 3], silence_s=60.0)
        for start in range(0, len(sound), BLOCK):
            heard = ear.push(sound[start:start + BLOCK])
            if heard is not None:
                taken += heard.kind == HeardKind.TAKE
                break
    return taken


@pytest.mark.parametrize("kind", [
    k if k in ("speech", "door", "claps") else pytest.param(k, marks=pytest.mark.slow) for k in sorted(KINDS)])
def test_six_sounds_of_a_kind_are_not_judged(kind: str) -> None:
    assert judged(kind, 6, seed=17) == 0


@pytest.mark.overnight
@pytest.mark.parametrize("kind", sorted(KINDS))
def test_at_most_one_of_two_hundred_is_judged(kind: str) -> None:
    taken = judged(kind, 200, seed=18)
    print(f"{kind}: {taken} of 200 taken for singing")
    assert taken <= 2


def listen_for(ear: Listener, seconds: float, noise: float, seed: int = 0) -> list[str]:
    rng = np.random.default_rng(seed)
    kinds = []
    for _ in range(round(seconds * RATE / 2205)):
        heard = ear.push(rng.normal(0, noise, 2205).astype(np.float32))
        if heard is not None:
            kinds.append(heard.kind)
    return kinds


def test_silence_is_told_after_as_long_as_was_asked() -> None:
    ear = Listener(load("snail-wall").phrase(1), silence_s=7.0)
    assert listen_for(ear, 6.9, 1e-3) == []
    assert listen_for(ear, 0.2, 1e-3) == [HeardKind.SILENCE] * 2


@pytest.mark.slow
def test_a_hum_without_end_is_told_as_such() -> None:
    ear = Listener(load("snail-wall").phrase(1), silence_s=600.0)
    t = np.arange(40 * RATE) / RATE
    rng = np.random.default_rng(1)
    # A vacuum cleaner: a tone that goes on, and one that was never meant as singing.
    hum = sum(np.sin(2 * np.pi * 220 * k * t) / k for k in range(1, 8)) * 0.1 + rng.normal(0, 0.01, len(t))
    kinds = [h.kind for s in range(0, len(hum), 2205)
             if (h := ear.push(hum[s:s + 2205].astype(np.float32))) is not None]
    assert kinds == [HeardKind.NOISE, HeardKind.NOISE]  # twenty seconds each


@pytest.mark.overnight
def test_half_an_hour_of_waiting_costs_no_memory() -> None:
    """With talk, claps and dogs now and then; what Python holds after 3 and after 30 minutes (tracemalloc)."""
    import tracemalloc

    ear = Listener(load("snail-wall").phrase(1), silence_s=4000.0)
    others = [s for kind in ("speech", "claps", "dog") for s in other_sounds(kind, 3, 5)]
    held = []
    tracemalloc.start()
    for minute in range(30):
        rng = np.random.default_rng(minute)
        sound = rng.normal(0, 1e-3, 60 * RATE).astype(np.float32)
        for k in range(4):
            other = others[(minute + k) % len(others)]
            at = int((5 + 13 * k) * RATE)
            sound[at:at + len(other)] += other
        for start in range(0, len(sound), 2205):
            assert ear.push(sound[start:start + 2205]) is None
        held.append(tracemalloc.get_traced_memory()[0])
    tracemalloc.stop()
    print(f"held after 3 minutes {held[2] / 1e6:.2f} MB, after 30 {held[-1] / 1e6:.2f} MB")
    assert held[-1] < held[2] * 1.1 + 100_000
    # No sample was lost or made: the ear's own count is that of what went in.
    assert ear.seconds == pytest.approx(1800.0)


@pytest.mark.slow
def test_talk_just_before_the_singing_is_not_held_against_the_pupil() -> None:
    """A sentence, a third of a second or more of silence, then the phrase, right: no move is called wrong."""
    from live_room import sung

    line = load("snail-wall").phrase(1)
    right = 0
    for k, talk in enumerate(other_sounds("speech", 8, 23)):
        rng = np.random.default_rng(k)
        said = talk[RATE:len(talk) - 2 * RATE]
        sound = np.concatenate([np.zeros(RATE), said, np.zeros(int(rng.uniform(0.3, 0.9) * RATE)),
                                sung(line, 2.0, 0.6, seed=k), np.zeros(2 * RATE)])
        sound = (sound + rng.normal(0, 1e-4, len(sound))).astype(np.float32)
        ear = Listener(line, 0.6, silence_s=60.0)
        heard = next(h for s in range(0, len(sound), BLOCK) if (h := ear.push(sound[s:s + BLOCK])) is not None)
        if heard.kind == HeardKind.TAKE:
            assert heard.match is not None
            assert heard.match.counts["not that way"] == 0
            right += heard.match.counts["right"] == 6
    assert right >= 5


@pytest.mark.slow
def test_a_teacher_who_speaks_before_the_line_gives_the_line_alone() -> None:
    from live_room import PLAIN
    from singers import VOICES, LineItem, perform, render

    from companion.lesson.sung_line import tune_of

    steps = (0, 2, 4, 5, 7, 4, 0)
    items = [LineItem(53 + s, 2 if i == 6 else 1, "la") for i, s in enumerate(steps)]
    good = 0
    for k, talk in enumerate(other_sounds("speech", 8, 29)):
        rng = np.random.default_rng(k)
        voice = render(perform(items, PLAIN, rng), VOICES[2], "formants", rng)
        said = talk[RATE:len(talk) - 2 * RATE]
        sound = np.concatenate([np.zeros(RATE), said, np.zeros(int(rng.uniform(0.3, 0.7) * RATE)), voice,
                                np.zeros(2 * RATE)])
        sound = (sound + rng.normal(0, 1e-4, len(sound))).astype(np.float32)
        ear = Listener(None, silence_s=60.0)
        heard = next(h for s in range(0, len(sound), BLOCK) if (h := ear.push(sound[s:s + BLOCK])) is not None)
        line = tune_of(heard.track, "Line") if heard.track is not None else None
        if line is not None:
            midi = [n.midi - line.notes[0].midi for n in line.notes]
            good += midi == list(steps)
    assert good >= 6


def piano(midi: Sequence[int], seconds: float) -> np.ndarray:
    """Strings struck together: partials that die away, the higher the sooner (after Fletcher and Rossing 1998, chapter 12)."""
    t = np.arange(int(seconds * RATE)) / RATE
    out = np.zeros(len(t))
    for m in midi:
        f0 = 440.0 * 2.0 ** ((m - 69) / 12)
        for k in range(1, 9):
            out += np.sin(2 * np.pi * k * f0 * t) / k * np.exp(-t * (1.2 + 0.5 * k))
    return 0.12 * out * np.clip(t / 0.005, 0, 1)


@pytest.mark.parametrize("before", [[(60, 64, 67)], [(60,), (64,), (67,), (64,)], []], ids=["a chord", "a prelude", "nothing"])
@pytest.mark.parametrize("after", [True, pytest.param(False, marks=pytest.mark.slow)], ids=["talk after", "nothing after"])
def test_what_a_piano_gives_before_the_line_and_talk_after_it_are_no_part_of_it(before: list[tuple[int, ...]],
                                                                                after: bool) -> None:
    from live_room import PLAIN
    from singers import VOICES, LineItem, perform, render

    from companion.lesson.sung_line import tune_of

    steps = (0, 2, 4, 5, 7, 4, 0)
    items = [LineItem(60 + s, 2 if i == 6 else 1, "la") for i, s in enumerate(steps)]
    good = 0
    for k, talk in enumerate(other_sounds("speech", 4, 31)):
        rng = np.random.default_rng(k)
        voice = render(perform(items, PLAIN, rng), VOICES[3], "formants", rng)
        parts = [np.zeros(RATE), *(piano(chord, 0.6) for chord in before), np.zeros(int(0.3 * RATE)), voice]
        if after:
            parts += [np.zeros(int(0.4 * RATE)), talk[RATE:len(talk) - 2 * RATE]]
        sound = np.concatenate([*parts, np.zeros(2 * RATE)])
        sound = (sound + rng.normal(0, 1e-4, len(sound))).astype(np.float32)
        ear = Listener(None, silence_s=60.0)
        heard = next(h for s in range(0, len(sound), BLOCK) if (h := ear.push(sound[s:s + BLOCK])) is not None)
        line = tune_of(heard.track, "Line") if heard.track is not None else None
        good += line is not None and [n.midi - line.notes[0].midi for n in line.notes] == list(steps)
    assert good >= 3


@pytest.mark.parametrize("before", [[(60, 64, 67)], [(72,), (69,), (65,)]], ids=["a chord", "a prelude"])
def test_what_a_piano_gives_before_a_tunes_line_is_not_held_against_the_pupil(before: list[tuple[int, ...]]) -> None:
    from live_room import sung

    line = load("snail-wall").phrase(1)
    sound = np.concatenate([np.zeros(RATE), *(piano(chord, 0.6) for chord in before), np.zeros(int(0.3 * RATE)),
                            sung(line, 0.0, 0.6), np.zeros(2 * RATE)])
    sound = (sound + np.random.default_rng(1).normal(0, 1e-4, len(sound))).astype(np.float32)
    ear = Listener(line, 0.6, silence_s=60.0)
    heard = next(h for s in range(0, len(sound), BLOCK) if (h := ear.push(sound[s:s + BLOCK])) is not None)
    assert heard.match is not None
    assert heard.match.counts["right"] == 6
    assert not heard.played


def test_a_tunes_line_that_is_played_on_the_piano_is_no_answer_of_the_pupils() -> None:
    from live_room import Room, session, sung

    from companion.diary import SessionKind
    from companion.lesson.live import Lesson

    tune = load("snail-wall")
    line = tune.phrase(1)
    played = np.concatenate([piano((n.midi,), 0.7 * float(n.quarters)) for n in line]).astype(np.float32)
    room = Room()
    here = session(room, kind=SessionKind.LESSON)
    answers = [played, sung(tune.phrase(2), 0.0, 0.7)]
    here.pupil_sings = lambda line, shift, quarter_s: answers.pop(0) if answers else None

    def on_say(text: str) -> None:
        if text == "Now you.":
            room.put(sung(line, here.shift, 0.7), 1.0)

    here.out.on_say = on_say  # type: ignore[attr-defined]
    Lesson(here, tune, "snail-wall").run()
    assert here.out.said[1:] == ["Now you.", "All six right.", "All six right.", "That was the last phrase."]  # type: ignore[attr-defined]
    assert len(here.taken) == 2
    # Nothing was learnt of a teacher's voice.
    assert here.voices.model.register is None


def test_a_line_that_is_played_as_a_whole_is_the_line() -> None:
    from tracked import track

    from companion.lesson.sung_line import tune_of

    sound = np.concatenate([np.zeros(RATE // 2), *(piano((60 + s,), 0.5) for s in (0, 2, 4, 5, 7)), np.zeros(RATE)])
    line = tune_of(track(sound.astype(np.float32)), "Line")
    assert line is not None
    assert [n.midi for n in line.notes] == [60, 62, 64, 65, 67]
