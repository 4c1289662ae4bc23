"""Exercises as a booklet: for the embosser, in large print, and spoken; the answers apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING

from companion.braille import signs as S
from companion.braille import to_dots
from companion.braille import words as in_braille
from companion.braille.encode import wrap
from companion.errors import Trouble
from companion.language.cues import in_american
from companion.messages import _
from companion.paper.large_print import cell_shapes, drawn, heading, html_page, pages_brf
from companion.places import write_whole
from companion.tune import IntervalKind, load
from companion.workbook.exercises import KINDS, LEVELS, Exercise, Item, exercises

if TYPE_CHECKING:
    from companion.audio import Sound

PRINT_PT = 20  # large print
PAUSE_S, BETWEEN_S = 0.6, 2.5  # before the notes of an item; after it, to answer
QUARTER_S = 1.0  # quavers of half a second: slow enough for a beginner to follow
SEEN = "Large dots are raised. The numbers name them, cell by cell."  # for a helper who reads no braille


@dataclass(frozen=True)
class Booklet:
    """A title and exercises in order. american: said in American names."""

    title: str
    exercises: tuple[Exercise, ...]
    american: bool = False

    def chosen(self, level: int | None = None, kinds: Sequence[str] = ()) -> Booklet:
        """Only exercises up to a level, and of some kinds. Raises Trouble where none is left."""
        kept = tuple(e for e in self.exercises if (level is None or e.level <= level)
                     and (not kinds or e.kind in kinds))
        if not kept:
            have = ", ".join(f"{e.kind} (level {e.level})" for e in self.exercises)
            raise Trouble(_("No exercise of that kind and level can be made from this tune. It gives: {have}.").format(
                                have=have))
        return Booklet(self.title, kept, self.american)

    def say(self, text: str) -> str:
        """Words of ours, in the names that are wanted."""
        return in_american(text) if self.american else text


def booklet_of(name: str | Path, *, level: int | None = None, kinds: Sequence[str] = (), practise: Sequence[str] = (),
               width: int = 40, seed: int = 1, part: str | None = None, american: bool = False) -> Booklet:
    """Exercises from a tune (file or shipped name). Raises Trouble for kinds that there are not."""
    for kind in kinds:
        if kind not in KINDS:
            raise Trouble(_("There is no exercise of the kind {kind}. Kinds: {kinds}.").format(
                                kind=kind, kinds=", ".join(KINDS)))
    for move in practise:
        if move not in list(IntervalKind):
            raise Trouble(_("{move} is no kind of move. Kinds: {kinds}.").format(move=move, kinds=", ".join(IntervalKind)))
    tune = load(name, part=part)
    if len(tune.line()) < 3:
        raise Trouble(_("{name} has fewer than three notes; exercises want a tune.").format(name=name))
    made = Booklet(tune.title or Path(name).stem, tuple(exercises(tune, seed, practise, width)), american)
    return made.chosen(level, kinds) if level or kinds else made


def _head(e: Exercise, k: int) -> str:
    return f"{k}. {e.title}, level {e.level}"


def _level(b: Booklet, k: int) -> str:
    """What the level of the kth exercise (from 1) asks for, where that exercise is the first of its level; else ""."""
    level = b.exercises[k - 1].level
    return "" if level in [e.level for e in b.exercises[:k - 1]] else f"Level {level}: {LEVELS[level]}."


def _each_time(e: Exercise) -> str:
    """What is asked for, where all items of an exercise ask for the same; "" where not, and the items say it."""
    asked = {i.ask for i in e.items}
    return asked.pop() if len(asked) == 1 else ""


def _cells(e: Exercise, item: Item, answers: bool) -> list[tuple[str, list[str]]]:
    """The lines of cells of an item, without blank ends, under their names: "First" and "Second" of two versions."""
    lines = [c.strip(S.SPACE) for c in (item.answer_cells if answers else item.cells)]
    if e.kind == "which version" and not answers:
        half = len(lines) // 2
        return [("First", lines[:half]), ("Second", lines[half:])]
    return [("", lines)]


def _in_dots(e: Exercise, item: Item, answers: bool) -> str:
    """The cells of an item as dot numbers: "First: 5-124-15. Second: 5-15-15."."""
    return " ".join(f"{f'{name}:' if name else 'Cells'} {'; '.join(map(to_dots, lines))}."
                    for name, lines in _cells(e, item, answers))


def lines(b: Booklet, answers: bool = False) -> list[str]:
    """The booklet in plain words, to be read aloud or by a screen reader."""
    out = [f"{b.title}: {'answers' if answers else 'exercises'}."]
    for k, e in enumerate(b.exercises, 1):
        out += ["", f"{_head(e, k)}."]
        same = _each_time(e)
        if not answers:
            said = [_level(b, k), f"For the helper: {e.helper}", f"Each time: {same}" if same else ""]
            out += [x for x in said if x]
        for m, item in enumerate(e.items, 1):
            ask = "" if same else f"{item.ask} "
            out.append(f"{m}: {item.answer}" if answers else f"{m}: {ask}{_in_dots(e, item, False)}")
    return [out[0], *map(b.say, out[1:])]


def to_braille(b: Booklet, width: int = 40, height: int = 25, answers: bool = False) -> bytes:
    """The booklet as .brf: title and page number at the head of each page. An item is never parted by its end."""
    blocks: list[list[str]] = []
    for k, e in enumerate(b.exercises, 1):
        same = _each_time(e)
        head = ["", *wrap(in_braille(b.say(_head(e, k))), width, 2)]
        if same and not answers:
            head += wrap(in_braille(b.say(same)), width, 2)
        for m, item in enumerate(e.items, 1):
            words = b.say(item.answer) if answers else "" if same else b.say(item.ask)
            blocks.append([*(head if m == 1 else []), *_item(_cells(e, item, answers), m, width, words)])
    pages: list[list[str]] = []
    for block in blocks:
        if not pages or len(pages[-1]) + len(block) > height:
            pages.append([heading(b.title + (", answers" if answers else ""), width, len(pages) + 1)])
        pages[-1] += block
    return pages_brf(pages, height)


def _item(shown: Sequence[tuple[str, list[str]]], m: int, width: int, words: str) -> list[str]:
    """An item's lines: its number and words, then each line of music on a line of its own, or beside the number."""
    label = in_braille(str(m)) + S.SPACE
    out: list[str] = []
    if words:
        out += wrap(label + in_braille(words), width, 4)
        label = ""
    for name, music in shown:
        if name:
            out.append((label or S.SPACE * 2) + in_braille(name))
            label = ""
        for cells in music:
            if label and len(label) + len(cells) <= width:
                out.append(label + cells)
            else:
                # Lines of music already fit the width with the indent of two that parts them from words.
                out += [label.rstrip(S.SPACE)] if label else []
                out.append((S.SPACE * 2 if len(cells) + 2 <= width else "") + cells)
            label = ""
    return out


def to_html(b: Booklet, answers: bool = False) -> bytes:
    """The booklet in large print for a helper: words, the cells as they stand under the fingers, and their dots."""
    title = f"{b.title}: {'answers' if answers else 'exercises'}"
    out = [cell_shapes("".join(c for e in b.exercises for i in e.items for c in (*i.cells, *i.answer_cells))),
           f'<p class="with-next">{SEEN}</p>']
    for k, e in enumerate(b.exercises, 1):
        same = _each_time(e)
        out.append(f"<h2>{escape(b.say(_head(e, k)))}</h2>")
        if not answers:
            level = _level(b, k)
            out += [f'<p class="with-next">{escape(b.say(level))}</p>'] if level else []
            out += [f'<p class="with-next"><strong>For the helper:</strong> {escape(b.say(e.helper))}</p>']
            out += [f'<p class="with-next"><strong>Each time:</strong> {escape(b.say(same))}</p>'] if same else []
        out.append("<ol>")
        for item in e.items:
            words = b.say(item.answer if answers else "" if same else item.ask)
            rows = "".join(f'<span class="cells">{f"{name}: " if name else ""}{"<br>".join(map(drawn, music))}</span>'
                           for name, music in _cells(e, item, answers))
            out.append(f"<li>{escape(words)}{rows}<span>{escape(_in_dots(e, item, answers))}</span></li>")
        out.append("</ol>")
    return html_page(title, "\n".join(out), PRINT_PT)


def to_sound(b: Booklet) -> Sound:
    """The booklet spoken: each exercise, each question, and what is to be heard, with time to answer."""
    from companion.audio import OUTPUT_RATE, concatenated, line_sound, silence, speak
    from companion.language import English, Variety

    def say(text: str) -> Sound:
        return speak(b.say(text), English(Variety.AMERICAN if b.american else Variety.BRITISH))

    parts = [say(f"{b.title}. Exercises.")]
    for k, e in enumerate(b.exercises, 1):
        same = _each_time(e)
        parts += [silence(PAUSE_S, OUTPUT_RATE), say(f"Exercise {k}. {e.title}. {same}")]
        for m, item in enumerate(e.items, 1):
            parts.append(say(f"{m}." if same else f"{m}. {item.ask}"))
            if item.play is not None and e.kind not in ("notes", "moves", "new tunes", "rhythm"):
                parts += [silence(PAUSE_S, OUTPUT_RATE), line_sound(item.play, 0.0, QUARTER_S)]
            parts.append(silence(BETWEEN_S, OUTPUT_RATE))
    return concatenated(*parts, rate=OUTPUT_RATE)


def save(b: Booklet, base: str | Path, width: int = 40, height: int = 25, sound: bool = False) -> list[str]:
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
        from companion.audio import save_sound

        path = base.with_name(base.name + ".wav")
        save_sound(to_sound(b), path)
        names.append(str(path))
    return names
