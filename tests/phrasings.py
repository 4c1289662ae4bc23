"""Phrasings of corrections with what they mean, from text files: a line each, PHRASING|MEANING, "-" for refused whole.

`python tests/phrasings.py [FILE ...]` counts, of tests/language's files, what is done as meant, refused, or done otherwise, and
names all that is not as meant.
"""

from __future__ import annotations

import sys
from collections import Counter
from fractions import Fraction
from pathlib import Path

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from companion.errors import Trouble
from companion.language import English, Language, read_corrections, read_order
from companion.transcribe import Action, Correction

REFUSED = "-"
NAMES = {Action.TAKE_OUT: "out", Action.NO_REST: "norest", Action.END_REST: "endrest", Action.OTHER_READING: "other",
         Action.NO_PICKUP: "nopickup", Action.NO_TRIPLET: "notriplet", Action.NO_SLUR: "noslur", Action.NO_REPEAT: "norepeat"}


def table(name: str) -> list[tuple[str, str]]:
    """The lines of a file of tests/language."""
    text = (Path(__file__).parent / "language" / name).read_text(encoding="utf-8")
    return [(phrase, meaning.rstrip("\n")) for phrase, _, meaning in (x.partition("|") for x in text.split("\n") if x)]


def pitch(step: str, alter: int, octave: int | None) -> str:
    """ "F#4", "Bb"."""
    return step + ("#" * alter if alter > 0 else "b" * -alter) + ("" if octave is None else str(octave))


def brief(c: Correction) -> str:
    """A correction as the tables write it: "value 3.2 4"."""
    name = NAMES.get(c.action, c.action.value)
    out = [name if not (c.action is Action.ADD and c.before) else "addbefore"]
    if c.action is Action.COPY:
        return f"copy {c.bar}-{c.last_bar} {c.other_bar}"
    if c.action is Action.REPEAT:
        return f"repeat {c.bar} {c.last_bar}"
    if c.which:
        w = c.which
        what = str(w.ticks) if w.ticks else pitch(w.step, w.alter, w.octave)
        out.append(f"{c.bar}.{'every ' if w.every else ''}{w.nth or ''}[{what}]")
    elif c.bar:
        out.append(f"{c.bar}.{c.note}")
    elif c.note:
        out.append(f"first {c.note}")
    if c.step:
        out.append(pitch(c.step, c.alter, c.octave))
    elif c.action is Action.PITCH:
        out.append({0: "natural", 1: "sharp", -1: "flat"}.get(c.alter, str(c.alter)))
    out += {Action.VALUE: [str(c.ticks)], Action.END_REST: [str(c.ticks)], Action.PICKUP: [str(c.ticks)] if c.ticks else [],
            Action.ADD: [str(c.ticks)],
            Action.MOVE: [str(c.semitones)], Action.TRANSPOSE: [str(c.semitones)], Action.SPLIT: [str(c.parts)],
            Action.SCALE: [str(Fraction(c.factor))], Action.TEMPO: [str(c.bpm)], Action.WORDS: [c.text], Action.TITLE: [c.text],
            Action.SYLLABLE: [c.text], Action.TIME: [c.time.name if c.time else ""], Action.KEY: [c.key.name if c.key else ""],
            Action.JOIN: [f"{c.other_bar}.{c.other_note}"] if c.other_note else [],
            Action.SLUR: [f"{c.other_bar}.{c.other_note}"]}.get(c.action, [])
    return " ".join(out)


def meant(text: str, language: Language | None = None) -> str:
    """What a phrasing is read as, in the tables' form."""
    language = language or English()
    if order := read_order(language, text):
        return f"order {order.value}"
    try:
        return "; ".join(brief(c) for c in read_corrections(language, text))
    except Trouble:
        return REFUSED


def main() -> None:
    names = sys.argv[1:] or [path.name for path in sorted((Path(__file__).parent / "language").glob("phrasings*.txt"))]
    for name in names:
        counts: Counter[str] = Counter()
        for phrase, meaning in table(name):
            found = meant(phrase).strip()
            kind = "as meant" if found == meaning.strip() else "refused" if found == REFUSED else "otherwise"
            counts[kind] += 1
            if kind != "as meant":
                print(f"{name}: {phrase}: meant {meaning or REFUSED}, {kind}" + (f", {found}" if kind == "otherwise" else ""))
        print(name, dict(counts))


if __name__ == "__main__":
    main()
