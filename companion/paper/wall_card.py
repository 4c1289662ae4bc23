"""A wall card: how high the hand is for each note, in centimetres, with the caution."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from pathlib import Path

from companion.braille import signs as S
from companion.braille import words as in_braille
from companion.braille.encode import wrap
from companion.errors import Trouble
from companion.language.cues import bare
from companion.messages import _
from companion.paper.large_print import heading, html_page, pages_brf
from companion.places import write_whole
from companion.transcribe.doubts import pitch_words
from companion.tune import Tune, heights_cm

CAUTION = "Clear the space first, and let someone who can see it say that it is clear."
LARGE_PT = 24  # large print is 18 points and more (American Printing House, guidelines; from memory)


@dataclass(frozen=True)
class Height:
    """A note of the tune and the hand's height for it. words: syllables sung on it, in order."""

    name: str
    cm: float
    words: tuple[str, ...]


@dataclass(frozen=True)
class WallCard:
    """heights: highest first. walk: the tune as heights, note by note; called: what each note is called."""

    title: str
    shoulder_cm: float
    heights: tuple[Height, ...]
    walk: tuple[float, ...]
    called: tuple[str, ...]
    american: bool = False

    def lines(self) -> list[str]:
        """The card as plain lines, to be spoken or read."""
        out = [f"{self.title}: heights for the hand." if self.title else "Heights for the hand.", CAUTION,
               f"The shoulder is at {self.shoulder_cm:g} centimetres. Measure from the floor.",
               "The highest mark lies below a stretch: nobody reaches or jumps."]
        for h in self.heights:
            said = f", for {', '.join(h.words)}" if h.words else ""
            out.append(f"{h.cm:g} centimetres: {h.name}{said}.")
        out.append("Note by note: " + ", ".join(f"{name} {w:g}" for name, w in zip(self.called, self.walk, strict=True))
                   + ".")
        return [x.replace("centimetre", "centimeter") for x in out] if self.american else out


def wall_card(tune: Tune, shoulder_cm: float, american: bool = False) -> WallCard:
    """The card of a tune for a shoulder so many centimetres above the floor. Raises Trouble where none can be."""
    line = tune.line()
    walk = heights_cm([n.midi for n in line], shoulder_cm)
    note = "note " if any(n.syllable for n in line) else ""  # among words, so that the note A is no word
    heights: dict[int, Height] = {}
    for n, cm in zip(line, walk, strict=True):
        old = heights.get(n.midi)
        said = (bare(n.syllable),) if n.syllable else ()
        kept = old.words if old else ()
        # Two notes of one letter are told apart by their octave.
        twice = any(m.midi != n.midi and m.pitch.step == n.pitch.step for m in line)
        name = pitch_words(n.pitch) + (f", {S.OCTAVE_WORDS[n.pitch.octave]}" if twice else "")
        heights[n.midi] = Height(name, cm, kept + tuple(w for w in said if w not in kept))
    return WallCard(tune.title, shoulder_cm, tuple(heights[m] for m in sorted(heights, reverse=True)), tuple(walk),
                    tuple(bare(n.syllable) if n.syllable else note + pitch_words(n.pitch) for n in line), american)


def to_html(card: WallCard) -> bytes:
    """The card in large print."""
    title, caution, shoulder, stretch, *rows, walk = map(escape, card.lines())
    body = (f"<p><strong>{caution}</strong></p>\n<p>{shoulder}</p>\n<p>{stretch}</p>\n"
            f"<ul>{''.join(f'<li>{row}</li>' for row in rows)}</ul>\n<p>{walk}</p>")
    return html_page(title.rstrip("."), body, LARGE_PT)


def to_cells(card: WallCard, width: int = 40, height: int = 25) -> bytes:
    """The card as a .brf file; where it takes several pages, with title and page number on each after the first."""
    lines = [x for text in card.lines() for x in wrap(in_braille(text), width, 2)]
    pages = [lines[:height]]
    for k in range(height, len(lines), height - 1):
        pages.append([heading(card.title, width, len(pages) + 1), *lines[k:k + height - 1]])
    return pages_brf(pages, height)


def save(card: WallCard, path: str | Path) -> None:
    """Write the card as .html, .brf or .txt."""
    kind = Path(path).suffix.lower()
    if kind not in (".html", ".brf", ".txt"):
        raise Trouble(_("{path} ends in {nothing}; the card is written as .html, .brf or .txt.").format(
                            path=path, nothing=kind or 'nothing'))
    write_whole(path, to_html(card) if kind == ".html" else to_cells(card) if kind == ".brf"
                else ("\n".join(card.lines()) + "\n").encode("utf-8"))
