"""Real tunes and worked examples that music21 carries, for the tests of braille and its benchmark."""

from __future__ import annotations

import contextlib
import io
import random
import re
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any, NamedTuple

from companion.braille import Habits, signs
from companion.braille.encode import _plain, heading
from companion.braille.lines import Lines
from companion.braille.pieces import Encoder
from companion.tune import Tune, from_music21

SPACE = "⠀"
OCTAVE = "[⠈⠘⠸⠐⠨⠰⠠]"


def essen_texts() -> list[tuple[str, str]]:
    """Name and ABC text of every folk melody of the Essen collection in music21's corpus (35 files)."""
    from music21 import corpus

    out = []
    for path in sorted(p for p in corpus.getCorePaths() if "essenFolksong" in str(p)):
        text = Path(path).read_text(encoding="utf-8", errors="replace")
        for piece in re.split(r"(?m)^(?=X:)", text):
            if piece.startswith("X:"):
                out.append((f"{Path(path).stem} {piece.splitlines()[0]}", piece))
    return out


def sample(count: int, seed: int = 7) -> list[tuple[str, str]]:
    """A fixed choice of them."""
    texts = essen_texts()
    random.Random(seed).shuffle(texts)
    return texts[:count]


def parse(abc: str) -> Any:
    """A music21 part with bars, accidentals shown where they are needed (the import leaves out some)."""
    from music21 import converter

    part = converter.parse(abc, format="abc").parts[0]
    if not part.hasMeasures():
        part = part.makeNotation(inPlace=False, cautionaryNotImmediateRepeat=False)
    key = None
    for measure in part.getElementsByClass("Measure"):
        key = measure.keySignature or key
        # Bar by bar, so that no reminder of another bar's accidentals is added: a Tune would not keep it.
        measure.makeAccidentals(inPlace=True, overrideStatus=True, useKeySignature=key or True,
                                cautionaryPitchClass=False, cautionaryNotImmediateRepeat=False)
    return part


def music21_groups(part: Any) -> list[str]:
    """What music21.braille writes for the part, cut at spaces, at a length that no line reaches. Alters the part."""
    from music21.braille import translate

    part.makeBeams(inPlace=True)
    with contextlib.redirect_stderr(io.StringIO()):
        text = translate.partToBraille(part, inPlace=True, maxLineLength=1_000_000)
    groups = [g for line in text.split("\n") if not line.startswith(SPACE * 3) for g in line.split(SPACE) if g]
    return groups[1:] if groups and re.fullmatch("⠼[⠁⠃⠉⠙⠑⠋⠛⠓⠊⠚]+", groups[0]) else groups


def align(ours: list[str], theirs: list[str]) -> list[tuple[str, str]]:
    """Groups beside each other. Bars of rest that we write together stand beside theirs one by one."""
    out = []
    k = 0
    for group in ours:
        if re.fullmatch("⠍{2,3}|⠼[⠁⠃⠉⠙⠑⠋⠛⠓⠊⠚]+⠍", group) and theirs[k:k + 1] == ["⠍"]:
            count = 1
            while re.fullmatch("⠶(?:⠼.+)?", "".join(theirs[k + count:k + count + 1])) and count < 3:
                count += 1
            out.append((group, SPACE.join(theirs[k:k + count])))
            k += count
        else:
            out.append((group, theirs[k] if k < len(theirs) else ""))
            k += 1
    return out + [("", group) for group in theirs[k:]]


def one_line(tune: Tune, habits: Habits | None = None) -> str:
    """All the music in one line of any length, without heading: for comparisons in which layout decides nothing."""
    encoder = Encoder(tune, False, False, habits or Habits())
    encoder.hoisted = heading(tune, False)[2]
    page = Lines(1_000_000)
    _plain(tune, encoder, page)
    page.end()
    return "".join(page.lines)


def our_groups(tune: Tune) -> list[str]:
    return [g for g in one_line(tune).split(SPACE) if g]


_SIGNS = f"[⠩⠣⠡](?={OCTAVE}?[^⠩⠣⠡])"
_NOTES = frozenset(cell for cell in signs.NOTE_CELLS.values())


def _names(bar: str) -> str:
    """A bar without accidentals, its notes without their values."""
    return "".join(chr(ord(c) & ~0x24) if c in _NOTES else c for c in re.sub(_SIGNS, "", bar))


def cause(tune: Tune, ours: str, theirs: str) -> str:
    """Why two bars differ, by the rule that decides."""
    if theirs.startswith(f"⠍{SPACE}⠶"):
        return "bars of rest are written together"
    if ours in "⠍⠥⠧⠭⠥⠄⠧⠄" and theirs == "⠍":
        return "a short bar of rest keeps its value"
    if re.sub(_SIGNS, "", ours) == re.sub(_SIGNS, "", theirs):
        if len(ours) < len(theirs):
            return "a reminder accidental that the bar does not need"
        if _repeats_a_sign(ours):
            return "an accidental that holds in another octave alone"
        return "other"
    if "⠣⠂" in ours:
        return "value signs where the bar does not settle the values"
    if _names(ours) == _names(theirs):
        if len(ours) <= len(theirs):
            return "grouping: only whole beats, counted from the bar line"
        if _repeats_a_sign(ours):
            return "an accidental that holds in another octave alone"
    return "other"


def _repeats_a_sign(bar: str) -> bool:
    """Whether the same accidental stands twice before the same letter."""
    found = [(m[1], ord(m[2]) & ~0x24) for m in re.finditer(f"([⠩⠣⠡]){OCTAVE}?([{''.join(_NOTES)}])", bar)]
    return len(set(found)) < len(found)


class Difference(NamedTuple):
    what: str
    detail: str


def compare(tune: Tune, back: Tune) -> list[Difference]:
    """What did not come back: bars, keys, times, pitches, values, ties, repeats."""
    if len(tune.bars) != len(back.bars):
        return [Difference("bars", f"{len(tune.bars)} and {len(back.bars)}")]
    out = []
    times: list[Any] = [None, None]
    keys = [0, 0]
    for a, b in zip(tune.bars, back.bars, strict=True):
        for side, bar in ((0, a), (1, b)):
            times[side] = bar.time or times[side]
            keys[side] = bar.key.fifths if bar.key else keys[side]
        if times[0] != times[1]:
            out.append(Difference("time", f"bar {a.number}: {times}"))
        if keys[0] != keys[1]:
            out.append(Difference("key", f"bar {a.number}: {keys}"))
        # (music21 reads ties between rests in some files: a rest has none.)
        notes = [[(n.pitch, _length(n, times[side]), n.tie and n.pitch is not None, bool(n.grace)) for n in bar.notes]
                 for side, bar in ((0, a), (1, b))]
        notes = [side or [(None, times[k].quarters if times[k] else Fraction(4), False, False)]
                 for k, side in enumerate(notes)]  # a bar whose rest is hidden in print is a bar of rest
        if notes[0] != notes[1]:
            out.append(Difference("notes", f"bar {a.number}: {notes[0]} and {notes[1]}"))
        signs = [(bar.forward_repeat, bool(bar.backward_repeat), bar.ending) for bar in (a, b)]
        if signs[0] != signs[1]:
            out.append(Difference("repeats", f"bar {a.number}: {signs}"))
    return out


def _length(note: Any, time: Any) -> Fraction:
    """A rest that fills its bar is as long as the bar, however it is written."""
    if note.pitch is None and (note.whole_bar or (time and note.quarters == time.quarters)):
        return time.quarters if time else Fraction(4)
    length: Fraction = note.quarters
    return length


class Example(NamedTuple):
    """A worked example of De Garmo's handbook as music21.braille.test has it."""

    name: str
    stream: Any
    lines: list[str]
    arguments: dict[str, Any]
    method: str


def handbook(name: str = "") -> Iterator[Example]:
    """The examples of music21.braille.test, each with the cells that the book prints. name: of one alone."""
    from music21.braille import test

    found: list[Example] = []

    class Collect(test.Test):
        def runB(self) -> None:
            found.append(Example(self._testMethodName, self.stream, self.expectedBraille.split("\n"),
                                 dict(self.methodArgs), self.method.__name__))

        def runE(self) -> None:
            pass

    for one in [name] if name else sorted(n for n in dir(Collect) if n.startswith(("test_", "xtest_"))):
        case = Collect(one)
        case.setUp()
        with contextlib.redirect_stderr(io.StringIO()):
            getattr(case, one)()
    yield from found


def tune_of(example: Example) -> Tune:
    """The example's stream as a tune; accidentals whose display is not decided are shown, as music21 does."""
    from music21 import stream

    part = example.stream
    if isinstance(part, stream.Measure):
        part = stream.Part()
        part.append(example.stream)
    for note in part.recurse().notes:
        for pitch in note.pitches:
            if pitch.accidental is not None and pitch.accidental.displayStatus is None:
                pitch.accidental.displayStatus = True
    return from_music21(part)


def printed(lines: list[str]) -> tuple[list[str], list[str]]:
    """Heading and groups of an example as printed, measure numbers and the book's dummy rests left away.

    Where a line ended within a bar its music hyphen is left away too; "|" stands before the first group of a
    line, whose octave mark the new line asks for.
    """
    heading: list[str] = []
    groups: list[str] = []
    for number, line in enumerate(lines):
        text = line.strip(SPACE + " ")
        if not text:
            continue
        indent = len(line) - len(line.lstrip(SPACE))
        if indent > 2 or (number == 0 and indent and re.fullmatch(SIGNATURE, text)):
            heading.append(text)
            continue
        first = True
        for group in text.split(SPACE):
            if not group or (first and re.fullmatch("⠼[⠁⠃⠉⠙⠑⠋⠛⠓⠊⠚]+⠄?", group)) or set(group) == {"⠄"}:
                continue
            if not groups and not heading and re.fullmatch(SIGNATURE, group):
                heading.append(group)
                continue
            if first and groups and groups[-1].endswith("⠐"):
                groups[-1] = f"{groups[-1][:-1]}|{group}"
            else:
                groups.append(f"|{group}" if first and groups else group)
            first = False
    return heading, groups


SIGNATURE = "(?=.)(?:[⠩⠣⠡]{1,3}|⠼[⠙⠑⠋⠛][⠩⠣⠡])?(?:⠼[⠁⠃⠉⠙⠑⠋⠛⠓⠊⠚]{1,2}[⠂⠆⠲⠦⠖⠔]{1,2}|⠨⠉|⠸⠉)?"


def same(ours: str, book: str) -> bool:
    """Whether a bar is the book's, where a mark after "|" is there only because a line begins."""
    marks = "(?:[⠦⠖⠲⠂⠆⠴⠐⠨⠸⠰⠠⠣⠩⠡⠜⠄⠉]|⠰⠃)*?"
    pattern = re.sub(rf"\\?\|({marks})({OCTAVE})(?=[^⠦⠖⠲])", lambda m: f"{re.escape(m[1])}{m[2]}?",
                     book, count=1)
    return re.fullmatch(pattern.replace("|", ""), ours) is not None
