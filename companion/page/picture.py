"""A tune as steps of a hillside path, with the voice drawn over it. SVG with a text of its own; never the only carrier."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from html import escape
from itertools import pairwise

from companion.language import Language, bare
from companion.match import Match, Verdict
from companion.tune import LineNote, direction_of

STEP, RISE = 44.0, 7.0  # width of a quarter of the path and height of a semitone, in the picture's own units
NARROWEST = 18.0
LETTER, MOST_WORDS = 9.0, 60  # width of a letter below the path; more words than that are not drawn
EDGE, FOOT = 30.0, 60.0
MOST_NOTES = 400


def hillside(language: Language, line: Sequence[LineNote], match: Match | None = None) -> str:
    """The picture as SVG: one ledge a note, as long as the note lasts; the voice as a dotted line where a match is given."""
    line = line[:MOST_NOTES]
    if not line:
        return ""
    low, high = min(n.midi for n in line), max(n.midi for n in line)
    words = len(line) <= MOST_WORDS
    widths = [max(NARROWEST, STEP * float(n.quarters), LETTER * len(bare(n.syllable)) + 12 if words else 0.0) for n in line]
    starts = [EDGE + sum(widths[:i]) for i in range(len(line))]
    width = starts[-1] + widths[-1] + EDGE
    top = 60.0
    floor = top + (high - low) * RISE + FOOT

    def height(midi: float) -> float:
        return top + (high - midi) * RISE

    path = " ".join(f"{x:.0f},{height(n.midi):.0f} {x + w:.0f},{height(n.midi):.0f}"
                    for n, x, w in zip(line, starts, widths, strict=True))
    shapes = [f'<polygon class="hill" points="{EDGE:.0f},{floor:.0f} {path} {width - EDGE:.0f},{floor:.0f}"/>',
              f'<polyline class="path" points="{path}"/>']
    for n, x, w in zip(line, starts, widths, strict=True):
        if n.syllable and words:
            shapes.append(f'<text x="{x + w / 2:.0f}" y="{floor - 16:.0f}" text-anchor="middle">'
                          f"{escape(bare(n.syllable))}</text>")
    if match is not None:
        shapes += _voice(match, starts, widths, height)
    title, says = path_words(language, line, match)
    return (f'<svg class="hillside" role="img" aria-labelledby="hill-title hill-text" viewBox="0 0 {width:.0f} {floor:.0f}" '
            f'width="{width:.0f}" height="{floor:.0f}" xmlns="http://www.w3.org/2000/svg"><title id="hill-title">{escape(title)}'
            f'</title><desc id="hill-text">{escape(says)}</desc>{"".join(shapes)}</svg>')


def _voice(match: Match, starts: Sequence[float], widths: Sequence[float], height: Callable[[float], float]) -> list[str]:
    """The sung notes as a line over the path, in the tune's own key; where a move went another way, a ring."""
    shift = match.shift_semitones or 0.0
    points: dict[int, tuple[float, float]] = {}
    for n, x, w in zip(match.notes, starts, widths, strict=False):
        if n.midi is not None:
            points[n.written.number] = (x + w / 2, height(n.midi - shift))
    out = []
    order = sorted(points)
    if order:
        out.append('<polyline class="voice" points="' + " ".join(f"{points[k][0]:.0f},{points[k][1]:.0f}" for k in order) + '"/>')
    for move in match.moves:
        if move.verdict is Verdict.WRONG and move.end in points:
            x, y = points[move.end]
            out.append(f'<circle class="other-way" cx="{x:.0f}" cy="{y:.0f}" r="9"/>')
    return out


def path_words(language: Language, line: Sequence[LineNote], match: Match | None = None) -> tuple[str, str]:
    """(title, text) of the picture."""
    title = language.message("The tune as a path up and down a hillside, left to right")
    if match is not None:
        title = language.message("The tune as a path up and down a hillside, and over it the voice")
    ways = [language.direction(direction_of(b.midi - a.midi)) for a, b in pairwise(line)]
    moves = language.message("Move by move: {moves}.").format(moves=", ".join(ways)) if ways else ""
    other = [m for m in match.moves if m.verdict is Verdict.WRONG] if match is not None else []
    if other:
        moves += " " + language.message("A ring marks where the voice went another way.")
    return title, moves
