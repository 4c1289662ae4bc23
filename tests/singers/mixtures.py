"""Takes as they come: a line with talk, other lines, false starts, stops and other tunes around it.

`mixture(kind, maker, tunes, seed, number)` makes one take with its truth. What is sung is one performance, so
that lines may follow each other within one breath; what is said is eSpeak NG's, in several voices and rates.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import pairwise

import numpy as np
from other_sounds import speech

from companion.ear import PitchTrack
from companion.tune import LineNote
from singers import RATE, VOICES, LineItem, line_of, noisy, perform, render, room, some_style
from singers.performance import STEP_S, SYLLABLES, Performance


class Kind(StrEnum):
    """What a take holds beside the line, or instead of it."""

    PLAIN = "plain"
    TALK_BEFORE = "talk before"
    TALK_AFTER = "talk after"
    TALK_BOTH = "talk before and after"
    LINE_BEFORE = "another line before"
    LINE_AFTER = "another line after"
    TWICE = "the tune twice"
    FALSE_START = "a false start, then the tune"
    RESTART = "a restart in mid-line"
    STOPPED = "stopped early"
    LATE = "a late start"
    INSIDE = "a phrase inside the whole tune"
    OTHER_TUNE = "another tune"
    TALK = "talk alone"


#: Kinds of take that do not hold the line.
WITHOUT = (Kind.OTHER_TUNE, Kind.TALK)


class Sound(StrEnum):
    """Where it is sung."""

    CLEAR = "clear"
    ROOM = "room"
    NOISE = "noise"


#: A tune as phrases of items; what is sung or looked for is one phrase or two.
Phrases = tuple[tuple[LineItem, ...], ...]

NOTES = (5, 14)  # fewest and most notes of a line that is looked for, and of another tune
QUICKEST_S = 0.155  # no syllable is sung quicker than this: singers slow down instead
NOISE_DB = 10.0
HOP_S = 0.01  # of a pitch track without sound


@dataclass(frozen=True)
class Mixture:
    """One take and its truth.

    samples: mono float32 at RATE. line: what it is held against. sung: the true pitch (MIDI) of each note of the
    line in the attempt that is to be judged, None where that note was not sung. from_s, to_s: where that attempt
    lies. stopped_after: number of notes sung where the singer stopped early. attempts: how many there are. whole: the tune
    of which the line is a phrase, where all of it is sung.
    """

    kind: Kind
    sound: Sound
    maker: str
    samples: np.ndarray
    line: tuple[LineNote, ...]
    sung: tuple[float | None, ...]
    lengths_s: tuple[float | None, ...]
    from_s: float
    to_s: float
    stopped_after: int | None = None
    attempts: int = 1
    whole: tuple[LineNote, ...] = ()

    def interval(self, i: int) -> float | None:
        """True interval of the move from note i (from 0); None where it was not sung."""
        a, b = (self.sung[k] if k < len(self.sung) else None for k in (i, i + 1))
        return None if a is None or b is None else b - a


def _pick(tunes: Sequence[Phrases], rng: np.random.Generator, notes: tuple[int, int] = NOTES) -> tuple[int, list[LineItem]]:
    """(number of the tune, a line of it with so many notes): a phrase, or two that follow each other."""
    fewest, most = notes
    while True:
        k = int(rng.integers(len(tunes)))
        phrases = tunes[k]
        at = int(rng.integers(len(phrases)))
        line = list(phrases[at])
        if at + 1 < len(phrases) and (len(line) < fewest or rng.random() < 0.3):
            line += phrases[at + 1]
        if fewest <= len(line) <= most and len({x.midi for x in line}) > 1:
            return k, line


def _moves(line: Sequence[LineItem]) -> list[int]:
    return [b.midi - a.midi for a, b in pairwise(line)]


def _alike(one: Sequence[LineItem], two: Sequence[LineItem]) -> bool:
    """Would a listener take one for the other: the moves of the shorter stand in the longer, but for one or two?"""
    a, b = sorted((_moves(one), _moves(two)), key=len)
    apart = [sum(x != y for x, y in zip(a, b[k:], strict=False)) for k in range(len(b) - len(a) + 1)]
    return min(apart) <= max(1, len(a) // 4)


def _other(tunes: Sequence[Phrases], k: int, line: list[LineItem], rng: np.random.Generator) -> list[LineItem]:
    """Another line: of the same tune (the next one, the one before) or of any other."""
    for _ in range(30):
        near = [list(p) for p in tunes[k] if len(p) > 3]
        other = near[int(rng.integers(len(near)))] if near and rng.random() < 0.5 else _pick(tunes, rng)[1]
        if not _alike(line, other):
            return other
    return [LineItem(line[0].midi + d, 1.0, "la") for d in (0, -5, -1, -6, 2, -3)]


def _pause(items: list[LineItem], rng: np.random.Generator, least: float = 0.3) -> list[LineItem]:
    """The same with a pause of 0.3 to 2.5 quarters after it; three in ten go on within the breath where least is 0."""
    rest = 0.0 if least == 0.0 and rng.random() < 0.3 else float(rng.uniform(max(least, 0.3), 2.5))
    return [*items[:-1], replace(items[-1], rest_after=rest)]


def _moved(items: list[LineItem], rng: np.random.Generator) -> list[LineItem]:
    """The same begun on another note half of the time, as after a false start."""
    by = int(rng.choice([0, 0, -2, -1, 1, 2]))
    return [replace(x, midi=x.midi + by) for x in items]


def _score(kind: Kind, tunes: Sequence[Phrases], rng: np.random.Generator, notes: tuple[int, int],
           other_notes: tuple[int, int]) -> tuple[list[LineItem], list[LineItem], dict[int, int], int, int | None]:
    """(line looked for, items sung, place in items of each note of the line judged, attempts, stopped after)."""
    k, line = _pick(tunes, rng, notes)
    n = len(line)
    at, attempts, stopped = 0, 1, None
    sung = list(line)
    judged = range(n)
    if kind == Kind.LINE_BEFORE:
        before = _pause(_other(tunes, k, line, rng), rng, 0.0)
        at, sung = len(before), before + line
    elif kind == Kind.LINE_AFTER:
        sung = _pause(line, rng, 0.0) + _other(tunes, k, line, rng)
    elif kind == Kind.TWICE:
        at, attempts, sung = n, 2, _pause(_moved(line, rng), rng) + line
    elif kind == Kind.FALSE_START:
        stop = int(rng.integers(2, n - 1))
        at, attempts, sung = stop, 2, _pause(_moved(line[:stop], rng), rng) + line
    elif kind == Kind.RESTART:
        stop = int(rng.integers(3, n))
        again = int(rng.integers(1, stop))
        first = _pause(line[:stop], rng)
        sung = first + line[again:]
        place = {i: i if i < again else stop + i - again for i in range(n)}
        return line, sung, place, 2, None
    elif kind == Kind.STOPPED:
        stopped = int(rng.integers(max(min(3, n - 2), n // 3), n - 1))
        sung, judged = line[:stopped], range(stopped)
    elif kind == Kind.LATE:
        begin = int(rng.integers(1, max(2, n - 3)))
        sung, judged, at = line[begin:], range(begin, n), -begin
    elif kind == Kind.INSIDE:
        phrases = tunes[k]
        while len(phrases) < 3:
            k = int(rng.integers(len(tunes)))
            phrases = tunes[k]
        which = int(rng.integers(len(phrases)))
        line = list(phrases[which])
        judged = range(len(line))
        at = sum(len(p) for p in phrases[:which])
        sung = [x for p in phrases for x in p]
    elif kind == Kind.OTHER_TUNE:
        for _ in range(30):
            other, sung = _pick(tunes, rng, other_notes)
            if other != k and not _alike(line, sung):
                break
        judged = range(0)
    elif kind == Kind.TALK:
        judged = range(0)
    return line, sung, {i: at + i for i in judged}, attempts, stopped


def _voice_level(samples: np.ndarray) -> float:
    loud = np.sort(np.abs(samples))[-max(1, len(samples) // 4):]
    return float(np.sqrt(np.mean(loud**2))) + 1e-9


def _talk(rng: np.random.Generator, level: float) -> np.ndarray:
    said = speech(rng)
    return (said * level / _voice_level(said) * 10 ** (rng.uniform(-6, 3) / 20)).astype(np.float32)


@dataclass(frozen=True, eq=False)
class _Scene:
    """What is sung, before it is given a voice. first, last: places in it of the first and last note that is judged."""

    line: tuple[LineNote, ...]
    whole: tuple[LineNote, ...]
    performance: Performance
    place: dict[int, int]
    first: int
    last: int
    attempts: int
    stopped: int | None

    def mixture(self, kind: Kind, sound: Sound, maker: str, samples: np.ndarray, span_s: tuple[float, float]) -> Mixture:
        notes = {x.written: x for x in self.performance.notes if x.written is not None}
        there = [notes[self.place[i]] if i in self.place else None for i in range(len(self.line))]
        return Mixture(kind, sound, maker, samples, self.line,
                       tuple(None if x is None else x.midi for x in there),
                       tuple(None if x is None else x.duration_s for x in there), *span_s,
                       self.stopped, self.attempts, self.whole)


def _scene(kind: Kind, tunes: Sequence[Phrases], rng: np.random.Generator, number: int, notes: tuple[int, int],
           other_notes: tuple[int, int]) -> _Scene:
    line, items, place, attempts, stopped = _score(kind, tunes, rng, notes, other_notes)
    items = [replace(x, syllable=str(rng.choice(SYLLABLES))) for x in items]
    style, _ = some_style(rng, VOICES[number % len(VOICES)], items, turned=False)
    slowest = QUICKEST_S / min(x.quarters for x in items)
    style = replace(style, quarter_s=max(style.quarter_s, min(slowest, 0.7)), left_out=())
    first, last = (min(place.values()), max(place.values())) if place else (0, 0)
    if place and last > first and rng.random() < 0.25 and kind != Kind.RESTART:
        style = replace(style, turned=int(rng.integers(first, last)), turned_stays=bool(rng.random() < 0.4))
    performance = perform(items, style, rng)
    whole = line_of(performance) if kind == Kind.INSIDE else ()
    written = whole[first:last + 1] or line_of(replace(performance, line=tuple(line)))
    return _Scene(written, whole, performance, place, first, last, attempts, stopped)


def mixture(kind: Kind, maker: str, tunes: Sequence[Phrases], seed: int, number: int, notes: tuple[int, int] = NOTES,
            other_notes: tuple[int, int] = NOTES) -> Mixture:
    """Take `number` of a kind; all chance comes from the seed and the number. tunes: see `Phrases`.

    notes: fewest and most of the line. other_notes: the same of another tune that is sung instead.
    """
    rng = np.random.default_rng([seed, number, list(Kind).index(kind), len(maker)])
    scene = _scene(kind, tunes, rng, number, notes, other_notes)
    samples = render(scene.performance, VOICES[number % len(VOICES)], maker, rng)
    from_s, to_s = _span(scene.performance, scene.first, scene.last)
    gap = [np.zeros(int(RATE * rng.uniform(0.1, 1.0)), dtype=np.float32) for _ in range(2)]
    level = _voice_level(samples)
    if kind in (Kind.TALK_BEFORE, Kind.TALK_BOTH):
        lead = np.concatenate([_talk(rng, level), gap[0]])
        samples = np.concatenate([lead, samples])
        from_s, to_s = from_s + len(lead) / RATE, to_s + len(lead) / RATE
    if kind in (Kind.TALK_AFTER, Kind.TALK_BOTH):
        samples = np.concatenate([samples, gap[1], _talk(rng, level)])
    if kind == Kind.TALK:
        samples = np.concatenate([gap[0], _talk(rng, level), gap[1]])
    sound = list(Sound)[int(rng.choice(3, p=[0.5, 0.25, 0.25]))]
    if sound == Sound.ROOM:
        samples = room(samples, rng, float(rng.uniform(0.2, 0.6)), float(rng.uniform(0.05, 0.2)))
    samples = noisy(samples, rng, NOISE_DB if sound == Sound.NOISE else float(rng.uniform(30, 50)))
    samples = (samples / max(1.0, float(np.abs(samples).max()) / 0.9)).astype(np.float32)
    return scene.mixture(kind, sound, maker, samples, (from_s, to_s))


def without_sound(kind: Kind, tunes: Sequence[Phrases], seed: int, number: int, notes: tuple[int, int] = NOTES,
                  other_notes: tuple[int, int] = NOTES) -> tuple[Mixture, PitchTrack]:
    """The same without a voice, as a tracker that makes no mistake would have it; not of the kinds with talk."""
    rng = np.random.default_rng([seed, number, list(Kind).index(kind)])
    scene = _scene(kind, tunes, rng, number, notes, other_notes)
    every = round(HOP_S / STEP_S)
    midi, level = scene.performance.contour[::every], scene.performance.level[::every]
    sounds = ~np.isnan(midi)
    hz = np.where(sounds, 440.0 * 2 ** ((np.nan_to_num(midi) - 69) / 12), 0.0)
    level_db = np.where(sounds, 20 * np.log10(np.maximum(level, 1e-3)) - 20, -70.0) + rng.normal(0, 0.5, len(hz))
    pitch = PitchTrack(np.arange(len(hz)) * HOP_S, hz, np.where(sounds, 0.95, 0.0), level_db, np.where(sounds, 0.9, 0.1), HOP_S,
                       len(hz) * HOP_S, octave=np.zeros(len(hz)))
    span = _span(scene.performance, scene.first, scene.last)
    return scene.mixture(kind, Sound.CLEAR, "none", np.zeros(0, dtype=np.float32), span), pitch


def _span(performance: Performance, first: int, last: int) -> tuple[float, float]:
    inside = [n for n in performance.notes if n.written is not None and first <= n.written <= last]
    return (inside[0].onset_s, inside[-1].onset_s + inside[-1].duration_s) if inside else (0.0, 0.0)
