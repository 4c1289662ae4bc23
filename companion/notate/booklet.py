"""Exercises as a booklet: for the embosser, in large print, and spoken; the answers apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING

from companion.braille import BraillePage, to_brf
from companion.braille import signs as S
from companion.braille import words as in_braille
from companion.braille.encode import wrap
from companion.errors import Trouble
from companion.notate.exercises import LEVELS, Exercise, Item
from companion.places import write_whole

if TYPE_CHECKING:
    from companion.cue.sound import Sound

#: Large print begins at 18 points (American Printing House; Clear Print of the RNIB asks for 16; from memory).
PRINT_PT = 20
CELLS_PT = 32
PAUSE_S, BETWEEN_S = 0.6, 2.5  # before the notes of an item; after it, to answer
QUARTER_S = 1.0  # quavers of half a second: slow enough for a beginner to follow


@dataclass(frozen=True)
class Booklet:
    """A title and exercises in order."""

    title: str
    exercises: tuple[Exercise, ...]

    def chosen(self, level: int | None = None, kinds: Sequence[str] = ()) -> Booklet:
        """Only exercises up to a level, and of some kinds. Raises Trouble where none is left."""
        kept = tuple(e for e in self.exercises if (level is None or e.level <= level)
                     and (not kinds or e.kind in kinds))
        if not kept:
            have = ", ".join(f"{e.kind} (level {e.level})" for e in self.exercises)
            raise Trouble(f"No exercise of that kind and level can be made from this tune. It gives: {have}.")
        return Booklet(self.title, kept)


def _head(e: Exercise, k: int) -> str:
    return f"{k}. {e.title}, level {e.level}"


def lines(b: Booklet, answers: bool = False) -> list[str]:
    """The booklet in plain words, to be read aloud or by a screen reader."""
    out = [f"{b.title}: {'answers' if answers else 'exercises'}."]
    for k, e in enumerate(b.exercises, 1):
        out += ["", f"{_head(e, k)}."]
        if not answers:
            out += [f"Level {e.level}: {LEVELS[e.level]}.", f"For the helper: {e.helper}"]
        for m, item in enumerate(e.items, 1):
            if answers:
                out.append(f"{m}: {item.answer}")
            else:
                out.append(f"{m}: {item.ask} Cells: {' / '.join(_dots(c) for c in item.cells)}.")
    return out


def _dots(cells: str) -> str:
    from companion.braille import to_dots

    return to_dots(cells.strip(S.SPACE))


def to_braille(b: Booklet, width: int = 40, height: int = 25, answers: bool = False) -> bytes:
    """The booklet as .brf. An item is never parted by the end of a page."""
    title = in_braille(f"{b.title}{', answers' if answers else ''}")
    blocks: list[list[str]] = [[x.rstrip(S.SPACE) for x in wrap(title, width)]]
    for k, e in enumerate(b.exercises, 1):
        ask = e.items[0].ask if len({i.ask for i in e.items}) == 1 else ""
        head = ["", *wrap(in_braille(_head(e, k)), width, 2)]
        if ask and not answers:
            head += wrap(in_braille(ask), width, 2)
        for m, item in enumerate(e.items, 1):
            block = [] if m > 1 else list(head)
            block += _item(item, m, width, answers, ask)
            blocks.append(block)
    pages: list[list[str]] = [[]]
    for block in blocks:
        if len(pages[-1]) + len(block) > height and pages[-1]:
            pages.append([])
        if not pages[-1] and block and block[0] == "":
            block = block[1:]
        pages[-1] += block
    flat: list[str] = []
    for n, page in enumerate(pages):
        if n:
            flat += [""] * (-len(flat) % height)
        flat += page
    return to_brf(BraillePage(tuple(flat), ()), height)


def _item(item: Item, m: int, width: int, answers: bool, ask: str) -> list[str]:
    label = in_braille(f"{m}") + S.SPACE
    cells = list(item.answer_cells if answers else item.cells)
    out: list[str] = []
    if answers and not (item.place and not item.answer_cells):
        text = in_braille(item.answer)
        out += wrap(label + text, width, 4)
        label = ""
    elif not ask:
        out += wrap(label + in_braille(item.ask), width, 4)
        label = ""
    for c in cells:
        music = c.strip(S.SPACE)
        if label and len(label) + len(music) <= width:
            out.append(label + music)
            label = ""
            continue
        if label:
            out.append(label.rstrip(S.SPACE))
            label = ""
        # Lines of music already fit the width with the indent of two that parts them from words.
        out.append((S.SPACE * 2 if len(music) + 2 <= width else "") + music)
    return out


def to_html(b: Booklet, answers: bool = False) -> bytes:
    """The booklet in large print for a helper: words, and the cells as they stand under the fingers."""
    what = "answers" if answers else "exercises"
    out = [f'<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8"><title>{escape(b.title)}: {what}</title>',
           f"<style>body {{ font: {PRINT_PT}pt/1.5 sans-serif; margin: 2cm; color: #000; background: #fff; }}",
           f"h1 {{ font-size: {PRINT_PT + 8}pt; }} h2 {{ font-size: {PRINT_PT + 4}pt; break-after: avoid; }}",
           f".cells {{ font-size: {CELLS_PT}pt; line-height: 1.3; letter-spacing: 0.06em; white-space: pre-wrap; }}",
           "li { margin-bottom: 0.8em; break-inside: avoid; }</style></head><body>",
           f"<h1>{escape(b.title)}: {what}</h1>"]
    for k, e in enumerate(b.exercises, 1):
        out.append(f"<h2>{escape(_head(e, k))}</h2>")
        if not answers:
            out.append(f"<p>Level {e.level}: {escape(LEVELS[e.level])}.</p>"
                       f"<p><strong>For the helper:</strong> {escape(e.helper)}</p>")
        out.append("<ol>")
        for item in e.items:
            cells = item.answer_cells if answers else item.cells
            shown = "\n".join(c.strip(S.SPACE) for c in cells)
            text = item.answer if answers else item.ask
            label = "Cells: " + "; ".join(_dots(c) for c in cells)
            out.append(f'<li>{escape(text)}<div class="cells" role="img" aria-label="{escape(label)}">'
                       f"{escape(shown)}</div></li>")
        out.append("</ol>")
    out.append("</body></html>")
    return ("\n".join(out) + "\n").encode("utf-8")


def to_sound(b: Booklet, variety: str = "british") -> Sound:
    """The booklet spoken: each exercise, each question, and what is to be heard, with time to answer."""
    from companion.cue.glides import RATE, line_sound
    from companion.cue.sound import silence, together
    from companion.cue.speech import speak

    parts = [speak(f"{b.title}. Exercises.", variety=variety)]
    for k, e in enumerate(b.exercises, 1):
        parts += [silence(PAUSE_S, RATE), speak(f"Exercise {k}. {e.title}.", variety=variety)]
        for m, item in enumerate(e.items, 1):
            parts.append(speak(f"{m}. {item.ask}", variety=variety))
            if item.play is not None and e.kind not in ("notes", "moves", "new tunes", "rhythm"):
                parts += [silence(PAUSE_S, RATE), line_sound(item.play, 0.0, QUARTER_S)]
            parts.append(silence(BETWEEN_S, RATE))
    return together(*parts, rate=RATE)


def save(b: Booklet, base: str | Path, width: int = 40, height: int = 25, sound: bool = False,
         variety: str = "british") -> list[str]:
    """Write BASE.brf, BASE.html, BASE.txt, the same with -answers, and BASE.wav where sound is wanted.

    Returns the names written.
    """
    base = Path(base)
    if base.suffix.lower() in (".brf", ".html", ".txt", ".wav"):
        base = base.with_suffix("")
    names = []
    for answers in (False, True):
        stem = base.with_name(base.name + ("-answers" if answers else ""))
        for suffix, data in ((".brf", to_braille(b, width, height, answers)), (".html", to_html(b, answers)),
                             (".txt", ("\n".join(lines(b, answers)) + "\n").encode("utf-8"))):
            path = stem.with_name(stem.name + suffix)
            write_whole(path, data)
            names.append(str(path))
    if sound:
        from companion.cue.playback import save as save_sound

        path = base.with_name(base.name + ".wav")
        save_sound(to_sound(b, variety), path)
        names.append(str(path))
    return names
