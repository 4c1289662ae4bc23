"""What is sung and how: from a line of notes to pitch and timing, with all the faults of singers.

The truth of a performance is known: for each written note whether it is sung, at which pitch and when, and
for each move which way it truly goes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

STEP_S = 0.005  # spacing of the pitch contour
VOWELS = ("a", "e", "i", "o", "u")


@dataclass(frozen=True)
class LineItem:
    """A written note: MIDI number, quarters, syllable, quarters of rest after it."""

    midi: int
    quarters: float
    syllable: str = "la"
    rest_after: float = 0.0


@dataclass(frozen=True)
class Style:
    """How a line is sung. Semitones, seconds, fractions; 0 is the plain thing."""

    shift: float = 0.0
    quarter_s: float = 0.5
    waver: float = 0.05  # spread of the logarithm of lengths
    shrink: float = 1.0
    drift: float = 0.0  # semitones over the whole line
    miss: float = 0.12  # spread of each note's pitch
    vibrato: float = 0.0  # semitones to each side
    vibrato_hz: float = 5.5
    scoop: float = 0.0  # semitones from below, over 0.09 s
    slide_s: float = 0.05
    fall: float = 0.0  # semitones by which the last 0.12 s of a phrase falls
    turned: int | None = None  # the move from this note (from 0) goes the other way ...
    turned_stays: bool = False  # ... and the rest follows it, instead of coming back to the key
    left_out: tuple[int, ...] = ()
    added_after: int | None = None
    legato: float = 0.8  # chance that notes are joined without a gap


@dataclass
class Sung:
    """One sung note. `written` is its index in the line, None for an added one."""

    written: int | None
    midi: float
    onset_s: float
    duration_s: float
    syllable: str
    joined: bool  # no silence before it
    consonant: str = ""  # "", "nasal" or "stop"


@dataclass
class Performance:
    """Notes sung, in order, and the contour: MIDI pitch (NaN in silence) every STEP_S, and its level 0 to 1."""

    line: tuple[LineItem, ...]
    style: Style
    notes: list[Sung]
    contour: np.ndarray
    level: np.ndarray
    seconds: float
    tags: dict[str, object] = field(default_factory=dict)

    def interval(self, i: int) -> float | None:
        """True sung interval of the move from written note i, None if either note was left out."""
        found = {n.written: n.midi for n in self.notes if n.written is not None}
        return found[i + 1] - found[i] if i in found and i + 1 in found else None


def _turn(line: Sequence[LineItem], targets: np.ndarray, at: int, stays: bool) -> None:
    wanted = line[at + 1].midi - line[at].midi
    sung = targets[at + 1] - targets[at]
    new = -sung if wanted else (2.0 if at % 2 else -2.0)
    change = targets[at] + new - targets[at + 1]
    if stays:
        targets[at + 1:] += change
    else:
        targets[at + 1] += change


def perform(line: Sequence[LineItem], style: Style, rng: np.random.Generator) -> Performance:
    """Sing a line. All chance comes from `rng`, so the same seed gives the same performance."""
    n = len(line)
    written = np.array([x.midi for x in line], dtype=float)
    targets = written[0] + (written - written[0]) * style.shrink + style.shift
    when = np.cumsum([0.0] + [x.quarters + x.rest_after for x in line])
    targets = targets + style.drift * when[:-1] / max(when[-1], 1e-9)
    targets = targets + rng.normal(0, style.miss, n).clip(-2 * style.miss, 2 * style.miss)
    if style.turned is not None and style.turned + 1 < n:
        _turn(line, targets, style.turned, style.turned_stays)
    notes: list[Sung] = []
    now = 0.3
    joined = False
    for i, item in enumerate(line):
        length = item.quarters * style.quarter_s * float(np.exp(rng.normal(0, style.waver)))
        if i in style.left_out:
            now += 0.3 * length
            joined = False
            continue
        gap = 0.0
        repeated = bool(notes) and abs(notes[-1].midi - targets[i]) < 0.7
        consonant = str(rng.choice(["nasal", "stop", "stop", ""], p=[0.35, 0.3, 0.15, 0.2]))
        if repeated and not consonant and joined:
            consonant = "nasal"
        if joined and rng.random() > style.legato:
            joined, gap = False, 0.04 + 0.06 * rng.random()
        if consonant == "stop" and notes:
            gap = max(gap, 0.05 + 0.05 * rng.random())
            joined = False
        now += gap
        notes.append(Sung(i, float(targets[i]), now, max(0.1, length - gap), item.syllable, joined, consonant))
        now += max(0.1, length - gap)
        joined = item.rest_after == 0
        if not joined:
            now += item.rest_after * style.quarter_s
        if style.added_after == i:
            extra = 0.18 + 0.1 * rng.random()
            notes.append(Sung(None, float(targets[i] + rng.choice([-3, -2, 2, 3])), now, extra, "la", True, "nasal"))
            now += extra
    seconds = now + 0.45
    contour = np.full(int(np.ceil(seconds / STEP_S)), np.nan)
    level = np.zeros(len(contour))
    for k, note in enumerate(notes):
        _draw(contour, level, notes, k, style, rng)
        del note
    return Performance(tuple(line), style, notes, contour, level, seconds)


def _draw(contour: np.ndarray, level: np.ndarray, notes: list[Sung], k: int, style: Style,
          rng: np.random.Generator) -> None:
    note = notes[k]
    a, b = round(note.onset_s / STEP_S), round((note.onset_s + note.duration_s) / STEP_S)
    b = min(b, len(contour))
    t = np.arange(b - a) * STEP_S
    pitch = np.full(b - a, note.midi)
    pitch += np.cumsum(rng.normal(0, 0.006, len(t)))
    if style.vibrato:
        ramp = np.clip((t - 0.15) / 0.2, 0, 1)
        pitch += style.vibrato * ramp * np.sin(2 * np.pi * style.vibrato_hz * t + rng.uniform(0, 6))
    if style.scoop and not note.joined and rng.random() < 0.7:
        depth, reach = style.scoop * rng.uniform(0.5, 1.0), 0.09
        pitch -= depth * np.clip(1 - t / reach, 0, 1)
    last = k == len(notes) - 1 or not notes[k + 1].joined
    if note.joined and k and style.slide_s:
        reach = min(style.slide_s * rng.uniform(0.6, 1.4), 0.4 * note.duration_s)
        pitch += (notes[k - 1].midi - note.midi) * 0.5 * (1 + np.cos(np.pi * np.clip(t / reach, 0, 1))) * (t < reach)
    if last and style.fall and rng.random() < 0.6:
        reach = min(0.12, 0.3 * note.duration_s)
        left = note.duration_s - t
        pitch -= style.fall * np.clip(1 - left / reach, 0, 1)
    contour[a:b] = pitch
    shape = np.ones(len(t)) * rng.uniform(0.75, 1.0)
    if not note.joined:
        shape *= np.clip(t / 0.03, 0, 1)
    elif note.consonant == "nasal":
        shape *= 1 - 0.75 * np.exp(-0.5 * ((t - 0.03) / 0.018) ** 2)
    if last:
        shape *= np.clip((note.duration_s - t) / 0.06, 0, 1)
    level[a:b] = shape


MAJOR = (0, 2, 4, 5, 7, 9, 11)
MINOR = (0, 2, 3, 5, 7, 8, 10)


def melody(rng: np.random.Generator, notes: int) -> list[LineItem]:
    """A short tune like a folk song: mostly steps, some skips and repeated notes, few leaps; plain rhythms."""
    scale = MAJOR if rng.random() < 0.75 else MINOR
    tonic = int(rng.integers(58, 66))
    place = int(rng.choice([0, 2, 4]))
    items = []
    values = [0.5, 0.5, 1.0, 1.0, 1.0, 1.5, 2.0]
    for i in range(notes):
        midi = tonic + 12 * (place // 7) + scale[place % 7]
        last = i == notes - 1
        quarters = 2.0 if last else float(rng.choice(values))
        rest = 0.5 if not last and i % 5 == 4 and rng.random() < 0.4 else 0.0
        items.append(LineItem(midi, quarters, str(rng.choice(SYLLABLES)), rest))
        size = int(rng.choice([0, 1, 2, 3, 4], p=[0.14, 0.5, 0.2, 0.1, 0.06]))
        way = 1 if rng.random() < (0.5 - 0.07 * (place - 3)) else -1
        place = int(np.clip(place + way * size, -2, 9))
    return items


SYLLABLES = ("la", "no", "mee", "sun", "day", "loo", "ta", "moon", "see", "bell", "go", "nee", "dark", "rain")


@dataclass(frozen=True)
class VoiceKind:
    """A kind of voice: middle of its range (MIDI), size of the vocal tract (1 = an adult man's), breath."""

    name: str
    middle: float
    tract: float
    breath: float
    vibrato: float


VOICES = (
    VoiceKind("small child", 69.0, 1.42, 0.05, 0.0),
    VoiceKind("older child", 66.0, 1.28, 0.03, 0.08),
    VoiceKind("low adult", 48.0, 1.0, 0.02, 0.15),
    VoiceKind("high adult", 65.0, 1.16, 0.02, 0.35),
    VoiceKind("breathy", 62.0, 1.2, 0.22, 0.1),
)


def some_style(rng: np.random.Generator, voice: VoiceKind, line: Sequence[LineItem],
               turned: bool) -> tuple[Style, dict[str, object]]:
    """A singer's ways, drawn from the mix that the checks name: scoops, drift, shrunken steps, notes left out."""
    middle = (min(x.midi for x in line) + max(x.midi for x in line)) / 2
    shift = voice.middle - middle + rng.normal(0, 2.0)
    shrunk = rng.random() < 0.2
    out: tuple[int, ...] = ()
    at = int(rng.integers(0, len(line) - 1)) if turned else None
    if rng.random() < 0.12 and len(line) > 5:
        choice = [i for i in range(1, len(line) - 1) if at is None or i not in (at, at + 1)]
        out = (int(rng.choice(choice)),)
    style = Style(
        shift=float(shift), quarter_s=float(rng.uniform(0.4, 0.65)), waver=float(rng.uniform(0.02, 0.12)),
        shrink=0.65 if shrunk else float(rng.uniform(0.92, 1.05)),
        drift=float(rng.choice([0.0, rng.normal(0, 0.8)])), miss=float(rng.uniform(0.04, 0.16)),
        vibrato=voice.vibrato * float(rng.uniform(0.3, 1.2)), vibrato_hz=float(rng.uniform(4.8, 6.3)),
        scoop=float(rng.choice([0.0, rng.uniform(0.5, 2.0)])), slide_s=float(rng.uniform(0.02, 0.12)),
        fall=float(rng.choice([0.0, 0.0, rng.uniform(0.5, 2.5)])), turned=at,
        turned_stays=bool(rng.random() < 0.4), left_out=out,
        legato=float(rng.uniform(0.6, 1.0)))
    return style, {"voice": voice.name, "shrunk": shrunk, "turned": at is not None, "left_out": bool(out)}
