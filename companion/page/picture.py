"""A tune as steps of a hillside path, with the voice drawn over it. SVG with a text of its own; never the only carrier."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from datetime import date
from html import escape
from itertools import count, groupby, pairwise

import numpy as np

from companion.diary import Sung
from companion.ear import PitchTrack
from companion.language import Language, bare
from companion.match import Match, Verdict
from companion.tune import LineNote, direction_of

STEP, RISE = 52.0, 9.0  # width of a quarter of the path and height of a semitone, in the picture's own units
NARROWEST = 18.0
LETTER, MOST_WORDS = 11.0, 60  # width of a letter below the path; more words than that are not drawn
EDGE, TOP, FOOT = 30.0, 60.0, 60.0
MOST_NOTES = 400
SHOWN = 1.6  # pixels to a unit, where there is room
ANCHOR_FRAMES = 15  # of voice before its own key is known: 0.15 s
EVERY = 3  # frames of the voice a point of what is drawn as it comes
_numbers = count(1)  # several pictures may stand on one page, and names in a page are there once


class Hillside:
    """The path of a line: one ledge a note, as long as the note lasts.

    place: the point of a time and a pitch in the picture.
    """

    def __init__(self, line: Sequence[LineNote]) -> None:
        self.line = tuple(line[:MOST_NOTES])
        pitches = [n.midi for n in self.line]
        self.low, self.high = min(pitches, default=60), max(pitches, default=60)
        self.words = len(self.line) <= MOST_WORDS
        self.widths = [max(NARROWEST, STEP * float(n.quarters), LETTER * len(bare(n.syllable)) + 12 if self.words else 0.0)
                       for n in self.line]
        self.starts = [EDGE + sum(self.widths[:i]) for i in range(len(self.line))]
        self.width = EDGE + sum(self.widths) + EDGE
        self.floor = TOP + (self.high - self.low) * RISE + FOOT

    def height(self, midi: float) -> float:
        """Where a pitch lies, counted from the top; far above or below the tune it stays inside the picture."""
        return min(max(TOP + (self.high - midi) * RISE, 6.0), self.floor - 6.0)

    def place(self, quarters: float, midi: float) -> tuple[float, float]:
        """The point at so many quarters from the beginning, and a pitch as it is written."""
        onsets = [float(n.onset_quarters - self.line[0].onset_quarters) for n in self.line]
        at = max(0, bisect_right(onsets, quarters) - 1)
        part = (quarters - onsets[at]) / float(self.line[at].quarters)
        return self.starts[at] + self.widths[at] * min(max(part, 0.0), 1.0), self.height(midi)

    def svg(self, language: Language, match: Match | None = None, before: Sequence[LineNote] = ()) -> str:
        """The picture; with a match the voice is drawn over it, and a ring marks where it went another way.

        before: the note before it, where it is a later phrase: the move from there is said with it.
        """
        if not self.line:
            return ""
        path = " ".join(f"{x:.0f},{self.height(n.midi):.0f} {x + w:.0f},{self.height(n.midi):.0f}"
                        for n, x, w in zip(self.line, self.starts, self.widths, strict=True))
        shapes = [f'<polygon class="hill" points="{EDGE:.0f},{self.floor:.0f} {path} {self.width - EDGE:.0f},{self.floor:.0f}"/>',
                  f'<polyline class="path" points="{path}"/>']
        for n, x, w in zip(self.line, self.starts, self.widths, strict=True):
            if n.syllable and self.words:
                shapes.append(f'<text x="{x + w / 2:.0f}" y="{self.floor - 16:.0f}" text-anchor="middle">'
                              f"{escape(bare(n.syllable))}</text>")
        if match is not None:
            shapes += self._voice(match)
        title, says = path_words(language, [*before, *self.line], match)
        key = f"hill-{next(_numbers)}"
        return (f'<svg class="hillside" role="img" aria-labelledby="{key}-title {key}-text" '
                f'viewBox="0 0 {self.width:.0f} {self.floor:.0f}" '
                f'width="{self.width * SHOWN:.0f}" height="{self.floor * SHOWN:.0f}" '
                f'xmlns="http://www.w3.org/2000/svg"><title id="{key}-title">{escape(title)}</title>'
                f'<desc id="{key}-text">{escape(says)}</desc>{"".join(shapes)}</svg>')

    def _voice(self, match: Match) -> list[str]:
        """The sung notes as a line over the path, in the tune's own key; where a move went another way, a ring."""
        shift = match.shift_semitones or 0.0
        sung = {n.written.number: n.midi - shift for n in match.notes if n.midi is not None}
        notes = [(n.number, x, w) for n, x, w in zip(self.line, self.starts, self.widths, strict=True) if n.number in sung]
        points = {k: (x + w / 2, self.height(sung[k])) for k, x, w in notes}
        ledges = [f"{x + w * at:.0f},{self.height(sung[k]):.0f}" for k, x, w in notes for at in (0.2, 0.8)]
        out = [f'<polyline class="voice" points="{" ".join(ledges)}"/>'] if ledges else []
        for move in match.moves:
            if move.verdict is Verdict.WRONG and move.end in points:
                x, y = points[move.end]
                out.append(f'<circle class="other-way" cx="{x:.0f}" cy="{y:.0f}" r="9"/>')
        return out


def hillside(language: Language, line: Sequence[LineNote], match: Match | None = None) -> str:
    """The pictures of a line as SVG, one a phrase; "" for a line without notes."""
    phrases = [list(notes) for _number, notes in groupby(line[:MOST_NOTES], key=lambda n: n.phrase)]
    before = [[], *([p[-1]] for p in phrases)]
    return "".join(Hillside(p).svg(language, match, b) for p, b in zip(phrases, before, strict=False))


class VoiceOverPath:
    """The voice as it comes, as points over the path.

    It is laid on the path by its own first notes, since key and octave are the singer's, and goes on with the tempo at
    which the line was given; what it was judged to be is drawn when the take is over. tempo_s: seconds a quarter.
    """

    def __init__(self, hill: Hillside, tempo_s: float) -> None:
        self.hill, self.tempo_s = hill, tempo_s
        self._began: float | None = None
        self._first: list[float] = []
        self._key: float | None = None
        self._held: list[tuple[float, float]] = []

    def points(self, frames: PitchTrack) -> list[tuple[float, float] | None]:
        """What is to be drawn on, left to right; None for a gap."""
        out: list[tuple[float, float] | None] = []
        for at, midi in zip(frames.time_s.tolist()[::EVERY], frames.midi.tolist()[::EVERY], strict=True):
            if np.isnan(midi):
                if self._key is not None and (not out or out[-1] is not None):
                    out.append(None)
                continue
            if self._began is None:
                self._began = at
            self._held.append((at, midi))
            if self._key is None:
                self._first.append(midi)
                if len(self._first) * EVERY < ANCHOR_FRAMES:
                    continue
                self._key = float(np.median(self._first)) - self.hill.line[0].midi
            out += [self.hill.place((t - self._began) / self.tempo_s, m - self._key) for t, m in self._held]
            self._held = []
        return out


WEEK_WIDTH, WEEK_HEIGHT = 90.0, 120.0


def weeks_picture(language: Language, weeks: Sequence[tuple[date, Sung]]) -> str:
    """A hill a week, as high as moves were sung in it; its dark part those that were right. "" where nothing was sung.

    weeks: Monday and what was sung, oldest first.
    """
    most = max((sung.moves for _monday, sung in weeks), default=0)
    if not most:
        return ""

    def mound(left: float, share: float, named: str) -> str:
        top = 20 + WEEK_HEIGHT - share * WEEK_HEIGHT * 4 / 3  # a Bézier curve reaches three quarters of the way
        floor = 20 + WEEK_HEIGHT
        return (f'<path class="{named}" d="M{left:.0f} {floor:.0f}C{left + WEEK_WIDTH * 0.25:.0f} {top:.0f} '
                f'{left + WEEK_WIDTH * 0.75:.0f} {top:.0f} {left + WEEK_WIDTH:.0f} {floor:.0f}Z"/>')

    shapes = []
    for k, (_monday, sung) in enumerate(weeks):
        left = EDGE + k * WEEK_WIDTH
        shapes += [mound(left, sung.moves / most, "hill"), mound(left, sung.right / most, "right"),
                   f'<text x="{left + WEEK_WIDTH / 2:.0f}" y="{WEEK_HEIGHT + 46:.0f}" text-anchor="middle">{sung.takes}</text>']
    width = 2 * EDGE + len(weeks) * WEEK_WIDTH
    title = language.message("The weeks as hills, left to right: the higher, the more was sung; the dark part was right; below "
                             "each, its takes")
    return (f'<svg class="weeks" role="img" aria-label="{escape(title)}" viewBox="0 0 {width:.0f} {WEEK_HEIGHT + 60:.0f}" '
            f'width="{width:.0f}" height="{WEEK_HEIGHT + 60:.0f}" xmlns="http://www.w3.org/2000/svg">{"".join(shapes)}</svg>')


def path_words(language: Language, line: Sequence[LineNote], match: Match | None = None) -> tuple[str, str]:
    """(title, text) of the picture."""
    title = language.message("The tune as a path up and down a hillside, left to right")
    if match is not None:
        title = language.message("The tune as a path up and down a hillside, and over it the voice")
    ways = [language.direction(direction_of(b.midi - a.midi)) for a, b in pairwise(line)]
    moves = language.message("Move by move: {moves}.").format(moves=", ".join(ways)) if ways else ""
    numbers = {n.number for n in line}
    other = [m for m in match.moves if m.verdict is Verdict.WRONG and m.end in numbers] if match is not None else []
    if other:
        moves += " " + language.message("A ring marks where the voice went another way.")
    return title, moves
