"""Folk tunes of music21's Essen collection, and shipped ones, sung by the test singers with known truth.

The tunes are split by file: those of TEST are only reported on; what `companion/transcribe/counts.json` holds was counted
on the others (`notate_counts.py`). Files of Chinese tunes (han) are left out of both: their key is given as a
signature, not as a keynote.
"""

from __future__ import annotations

import random
import re
import sys
import warnings
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from singers import VOICES, LineItem, Performance, Style, noisy, perform, render, room  # noqa: E402

from companion.transcribe import key_of  # noqa: E402
from companion.tune import Key, Tune  # noqa: E402

TEST = ("kinder0", "irl", "erk5", "fink0", "lot", "lux", "boehme20", "ballad50", "dva0")
LEFT_OUT = ("han", "test", "variant")
METRES = {"2/4": (2, 4), "3/4": (3, 4), "4/4": (4, 4), "C": (4, 4), "6/8": (6, 8)}
CONDITIONS = ("steady", "drifting", "swinging", "scoops", "vibrato", "room", "noise")
NOTE = re.compile(r"[_^=]*([A-Ga-gz])[,']*[0-9/]*(-?)")  # of ABC: enough to count the notes of a line
SYLLABLES = ("la", "no", "mee", "sun", "day", "loo", "ta", "moon", "see", "bell", "go", "nee", "dark", "rain")
#: WORLD stretches an unvoiced beginning with its syllable, so that its notes would begin late: none of these.
VOICED_SYLLABLES = ("la", "no", "mee", "loo", "moon", "nee", "rain", "low", "my", "way")
QUICKEST_S = 0.155  # no syllable is sung quicker than this: singers slow down instead


@dataclass(frozen=True)
class FolkTune:
    """A tune, its key as given (mode by its thirds: the collection names only the keynote)."""

    tune: Tune
    tonic: int
    mode: str

    @property
    def metre(self) -> str:
        return f"{sum(self.tune.time.upper)}/{self.tune.time.lower}"

    @property
    def place(self) -> int:
        """Ticks (four a crotchet) of the first note after its bar line."""
        return int((self.tune.time.quarters - self.tune.pickup) * 4) if self.tune.pickup else 0

    def key(self, shift: int = 0) -> Key:
        return key_of((self.tonic + shift) % 12, self.mode)


def _phrase_starts(text: str) -> list[int]:
    """Numbers of the notes with which lines of the ABC text begin: the collection writes a phrase a line."""
    starts, count, held = [], 0, False
    for line in text.splitlines():
        if re.match(r"^[A-Za-z]:", line) or not line.strip():
            continue
        before = count
        for m in NOTE.finditer(re.sub(r'"[^"]*"|![^!]*!|\[[A-Z]:[^\]]*\]|%.*', "", line)):
            if m.group(1) == "z":
                held = False
                continue
            count += not held
            held = bool(m.group(2))
        if count > before:
            starts.append(before + 1)
    return [*starts, count]


def as_folk_tune(tune: Tune, starts: list[int] | None = None, fewest: int = 16, named_mode: bool = False) -> FolkTune | None:
    """The tune with its truth, or None where it is not of the kind that is measured.

    named_mode: its key names the mode, and the keynote is that of the mode; a strain may end on any note.
    """
    if (sum(tune.time.upper), tune.time.lower) not in METRES.values() or sum(b.time is not None for b in tune.bars) > 1:
        return None
    line = tune.line()
    if not fewest <= len(line) <= 70 or max(n.midi for n in line) - min(n.midi for n in line) > 19:
        return None
    if any((n.quarters * 4).denominator != 1 or n.quarters <= 0 or (n.rest_after * 4).denominator != 1 for n in line):
        return None
    if any(b.quarters != tune.time.quarters for b in tune.bars[1:-1]) or tune.bars[0].quarters > tune.time.quarters:
        return None
    tonic = tune.key.tonic.midi % 12 if named_mode else (7 * tune.key.fifths) % 12
    weight: Counter[int] = Counter()
    for n in line:
        weight[(n.midi - tonic) % 12] += float(n.quarters)
    if not named_mode and (line[-1].midi - tonic) % 12 not in (0, 3, 4, 7):  # its header's key is doubtful
        return None
    if starts is not None:
        if starts[-1] != len(line):
            return None
        tune = replace(tune, phrase_starts=tuple(starts[:-1]))
    return FolkTune(tune, tonic, "minor" if weight[3] > weight[4] else "major")


def folk_tunes(test: bool, seed: int = 77) -> Iterator[FolkTune]:
    """Tunes of the collection in an order that the seed decides; of the files for tests, or of all the others."""
    from music21 import converter, corpus

    from companion.errors import Trouble
    from companion.tune import from_music21

    texts = []
    for path in sorted(map(str, corpus.getCorePaths())):
        name = Path(path).stem
        if "essenFolksong" not in path or not path.endswith(".abc") or name.startswith(LEFT_OUT):
            continue
        if name.startswith(TEST) == test:
            pieces = re.split(r"(?m)^X:\s*", Path(path).read_text(encoding="latin-1"))[1:]
            texts += [(f"{name}:{k}", "X:" + piece) for k, piece in enumerate(pieces)]
    random.Random(seed).shuffle(texts)
    for source, text in texts:
        metre = re.search(r"(?m)^M:\s*(\S+)", text)
        if metre is None or metre.group(1) not in METRES:
            continue
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                score = converter.parseData(text, format="abc")
            tune = from_music21(score.parts[0], title=source, source=source)
        except (Trouble, Exception):  # music21 raises whatever its parser meets
            continue
        found = as_folk_tune(tune, _phrase_starts(text))
        if found is not None:
            yield found


def first_strain(text: str) -> str | None:
    """The ABC text of a dance up to its first double bar, without ornaments, fingerings and chord names; None if no music.

    A dance is played through twice or more; its first strain, mostly of eight bars, is what somebody would sing.
    """
    head, found, body = re.split(r"(?m)^(K:.*)$", text, maxsplit=1) if re.search(r"(?m)^K:", text) else (text, "", "")
    lines = [line for line in re.sub(r"\\\s*\n", " ", body).splitlines() if not re.match(r"^\s*([A-Za-z]:|%)", line)]
    music = re.sub(r'"[^"]*"|\{[^}]*\}|![^!]*!|\[[A-Z]:[^\]]*\]|%.*|[~uvTHMPS.](?=[_^=]*[A-Ga-g(])', "", "\n".join(lines))
    music = re.sub(r"^\s*\|?:", "", music.strip())
    strain = re.split(r":\||::|\|\||\|\]|\|:|\[?1(?=[ (\"A-Ga-g])", music)[0].strip()
    if strain.count("|") < 3:
        return None
    headers = "\n".join(re.findall(r"(?m)^[XTML]:.*$", head))
    return f"{headers}\n{found}\n{strain} |\n"


def _breaths(tune: Tune) -> list[int]:
    """Numbers of the notes that begin each four bars, counted from the first note, and how many notes there are."""
    line, starts, length = tune.line(), [], 4 * tune.time.quarters
    for k, n in enumerate(line, 1):
        if n.onset_quarters >= len(starts) * length:
            starts.append(k)
    if len(line) - starts[-1] < 4:
        starts.pop()
    return [*starts, len(line)]


#: Collections of music21's corpus: those that `counts.json` was counted on, and one that is only reported on.
COUNTED_DANCES, TEST_DANCES = ("ryansMammoth", "airdsAirs"), ("oneills1850", "northumbrian", "americanfife")


def dance_tunes(collection: str, seed: int = 77) -> Iterator[FolkTune]:
    """First strains of a collection of music21's corpus, in an order that the seed decides, with a breath every four bars."""
    from music21 import converter, corpus

    from companion.tune import from_music21

    texts = []
    for path in sorted(map(str, corpus.getCorePaths())):
        if collection in path and path.endswith(".abc"):
            pieces = re.split(r"(?m)^X:\s*", Path(path).read_text(encoding="latin-1"))[1:]
            texts += [(f"{Path(path).stem}:{k}", "X:" + piece) for k, piece in enumerate(pieces)]
    random.Random(seed).shuffle(texts)
    for source, text in texts:
        text = re.sub(r"(?m)^M:\s*C\|", "M:4/4", text)  # a reel in cut time is written in four here
        metre, strain = re.search(r"(?m)^M:\s*(\S+)", text), first_strain(text)
        if metre is None or metre.group(1) not in METRES or strain is None:
            continue
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                score = converter.parseData(strain, format="abc")
            tune = from_music21((list(score.parts) or [score])[0], title=source, source=source)
            found = as_folk_tune(tune, _breaths(tune), named_mode=True)
        except Exception:  # music21 raises whatever its parser meets
            continue
        if found is not None:
            yield found


def hymn_tunes(seed: int = 77) -> Iterator[FolkTune]:
    """Sopranos of the Bach chorales of music21's corpus, their phrases parted at fermatas; only reported on."""
    from music21 import converter, corpus, expressions

    from companion.tune import from_music21

    paths = sorted(str(p) for p in corpus.getCorePaths() if "bach" in str(p) and str(p).endswith(".mxl"))
    random.Random(seed).shuffle(paths)
    for path in paths:
        try:
            part = converter.parse(path).parts[0]
            sounding = [n for n in part.recurse().notes if n.tie is None or n.tie.type == "start"]
            held = [any(isinstance(e, expressions.Fermata) for e in n.expressions) for n in sounding]
            tune = from_music21(part, title=f"bach:{Path(path).stem}", source=path)
            starts = [1, *(k + 2 for k, h in enumerate(held[:-1]) if h), len(held)]
            found = as_folk_tune(tune, starts)
        except Exception:  # music21 raises whatever its parser meets
            continue
        if found is not None:
            yield found


@dataclass(frozen=True)
class Sung:
    """A take with its truth: sound (mono float32, 22050 Hz), the performance, and how it was sung."""

    samples: np.ndarray
    performance: Performance
    condition: str
    voice: str


def sing(folk: FolkTune, k: int, seed: int, maker: str = "formants") -> Sung:
    """Take number k of a set: voices and conditions go round; all chance comes from the seed and k."""
    rng = np.random.default_rng([seed, k])
    line = folk.tune.line()
    condition = CONDITIONS[k % len(CONDITIONS)]
    voice = VOICES[(k // len(CONDITIONS) + k) % len(VOICES)]
    # As the singers of `singers.some_style`: a crotchet of 0.4 to 0.65 s; in 6/8 a quaver is a third of such a beat.
    quarter_s = float(rng.uniform(0.3, 0.43) if folk.metre == "6/8" else rng.uniform(0.4, 0.65))
    quarter_s = max(quarter_s, min(QUICKEST_S / float(min(n.quarters for n in line)), 0.65))
    total = float(line[-1].onset_quarters + line[-1].quarters)
    phase, periods = rng.uniform(0, 6.28), max(1.0, total / 16 * rng.uniform(0.7, 1.3))
    words = VOICED_SYLLABLES if maker == "speech" else SYLLABLES
    items = []
    for n in line:
        at = float(n.onset_quarters + n.quarters / 2)
        bend = 1 + 0.1 * np.sin(2 * np.pi * periods * at / total + phase) if condition == "swinging" else 1.0
        items.append(LineItem(n.midi, float(n.quarters) * bend, str(rng.choice(words)), float(n.rest_after) * bend))
    for i in range(len(line) - 1):  # a breath between phrases is taken out of the last note
        if line[i].phrase != line[i + 1].phrase and line[i].rest_after == 0 and items[i].quarters * quarter_s > 0.35:
            breath = min(float(rng.uniform(0.12, 0.3)) / quarter_s, items[i].quarters * 0.4)
            items[i] = LineItem(items[i].midi, items[i].quarters - breath, items[i].syllable, breath)
    low, high = min(x.midi for x in items), max(x.midi for x in items)
    shift = float(np.clip(voice.middle - (low + high) / 2 + rng.normal(0, 1.5), 42.5 - low, 82.0 - high))
    style = Style(
        shift=shift, quarter_s=quarter_s, waver=float(rng.uniform(0.02, 0.07)), shrink=float(rng.uniform(0.95, 1.03)),
        drift=float(rng.choice([-1, 1]) * rng.uniform(0.5, 1.5)) if condition == "drifting" else float(rng.normal(0, 0.15)),
        miss=float(rng.uniform(0.04, 0.14)),
        vibrato=float(rng.uniform(0.3, 0.6)) if condition == "vibrato" else voice.vibrato * float(rng.uniform(0, 0.5)),
        vibrato_hz=float(rng.uniform(4.8, 6.3)), scoop=float(rng.uniform(0.8, 2.0)) if condition == "scoops" else 0.0,
        slide_s=float(rng.uniform(0.02, 0.1)), fall=float(rng.choice([0, 0, rng.uniform(0.5, 2.0)])),
        legato=float(rng.uniform(0.6, 1)))
    performance = perform(items, style, rng)
    samples = render(performance, voice, maker, rng)
    if condition == "room":
        samples = room(samples, rng, float(rng.uniform(0.3, 0.6)), float(rng.uniform(0.08, 0.2)))
    samples = noisy(samples, rng, 20.0 if condition == "noise" else float(rng.uniform(35, 50)))
    return Sung((samples / max(1.0, float(np.abs(samples).max()) / 0.9)).astype(np.float32), performance, condition,
                voice.name)


def tapped(folk: FolkTune, performance: Performance, rng: np.random.Generator) -> tuple[float, ...]:
    """Times of the beats as a helper would tap them along, 25 ms off in the mean."""
    line = folk.tune.line()
    beat = 1.5 if folk.metre == "6/8" else 1.0
    before = folk.place / 4
    at = [before + float(line[n.written].onset_quarters) for n in performance.notes if n.written is not None]
    when = [n.onset_s for n in performance.notes if n.written is not None]
    beats = np.arange(np.ceil(at[0] / beat), np.floor(at[-1] / beat) + 1) * beat
    return tuple(float(x) for x in np.sort(np.interp(beats, at, when) + rng.normal(0, 0.025, len(beats))))
