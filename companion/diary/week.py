"""A pupil's week as facts, and what to work on next. `companion.language.diary` says them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

from companion.diary.diary import Diary
from companion.diary.model import Consent, KeptTake, Pupil, Tally
from companion.diary.settings import SettingName
from companion.match import MoveKind, Verdict
from companion.tune import catalogue

WEEK = timedelta(days=7)
FEWEST = 4  # moves of a kind in a week; fewer tell nothing
CHANGED = 0.15  # share of right ones by which a kind must change to be worth a word
GOOD = 0.85  # from this share of right ones on a kind needs no work
MOST_TUNES = 3
MOST_WEEKS = 8  # shown one beside the other: two months are what a teacher looks back on


@dataclass(frozen=True)
class Sung:
    """What was sung in seven days: takes, days with one, moves and their verdicts."""

    takes: int
    days: int
    moves: int
    right: int
    unsure: int


@dataclass(frozen=True)
class SetTune:
    """A tune that is set: its title, its last day, and how many takes of it were sung since."""

    title: str
    until: date
    takes: int


@dataclass(frozen=True)
class Comparison:
    """The kind of move that changed most, this week and in the three weeks before."""

    now: Tally
    before: Tally

    @property
    def change(self) -> float:
        """By how much the share of right ones has grown, -1 to 1."""
        return self.now.share_right - self.before.share_right

    @property
    def marked(self) -> bool:
        """Whether the change is worth a word."""
        return abs(self.change) >= CHANGED


@dataclass(frozen=True)
class Suggestion:
    """The kind of move to work on next, and names of tunes for it, densest first."""

    tally: Tally
    tunes: tuple[str, ...]


@dataclass(frozen=True)
class KeptSound:
    """Of how many takes sound is kept, for how many days, and by whose consent (None where none holds)."""

    takes: int
    days: int
    consent: Consent | None


@dataclass(frozen=True)
class Week:
    """A pupil's last seven days. comparison: None where there is too little to compare; suggestion: None where no
    kind of move stands out."""

    nickname: str
    sung: Sung
    work: tuple[SetTune, ...]
    comparison: Comparison | None
    suggestion: Suggestion | None
    sound: KeptSound


def tune_title(tune: str) -> str:
    """How a tune is called: the title of one that ships, else its file's name."""
    return next((e.title for e in catalogue() if e.name == tune), Path(tune).stem)


def next_kind(tallies: Sequence[Tally]) -> Tally | None:
    """The kind of move to work on: of those sung often enough the one that goes right least; None if all do."""
    known = [t for t in tallies if t.total >= FEWEST and t.share_right < GOOD]
    return min(known, key=lambda t: (t.share_right, -t.total), default=None)


def tunes_with(kind: MoveKind, reach: float | None = None) -> list[str]:
    """Names of shipped tunes in which a kind of move is frequent, densest first, within a reach in semitones."""
    fitting = [e for e in catalogue() if e.moves.get(kind.size) and (reach is None or e.reach <= reach)]
    return [e.name for e in sorted(fitting, key=lambda e: (-e.moves[kind.size] / sum(e.moves.values()), e.reach))]


def suggestion(diary: Diary, pupil: Pupil) -> Suggestion | None:
    """What to work on next, from the last four weeks; None where no kind of move stands out."""
    tally = next_kind(diary.tally(pupil, since=diary.now() - 4 * WEEK))
    if tally is None:
        return None
    reach = pupil.high - pupil.low if pupil.low is not None and pupil.high is not None else None
    return Suggestion(tally, tuple(tunes_with(tally.kind, reach)[:MOST_TUNES]))


def week_of(diary: Diary, pupil: Pupil) -> Week:
    """A pupil's last seven days and what follows from them."""
    work = tuple(SetTune(tune_title(w.tune), w.until, w.takes) for w in diary.work(pupil))
    return Week(pupil.nickname, _sung(diary.takes(pupil, since=diary.now() - WEEK)), work,
                _comparison(diary, pupil), suggestion(diary, pupil), _kept_sound(diary, pupil))


def weeks_of(diary: Diary, pupil: Pupil, most: int = MOST_WEEKS) -> list[tuple[date, Sung]]:
    """(Monday, what was sung) of each of the last weeks, oldest first, from the first of them in which anything was sung."""
    today = diary.now().date()
    mondays = [today - timedelta(days=today.weekday()) - k * WEEK for k in range(most)][::-1]
    takes = diary.takes(pupil, since=diary.now() - (most + 1) * WEEK)
    found = [(monday, _sung([t for t in takes if monday <= t.at.date() < monday + WEEK])) for monday in mondays]
    while found and not found[0][1].takes:
        del found[0]
    return found


def _sung(takes: Sequence[KeptTake]) -> Sung:
    verdicts = [m.verdict for t in takes for m in t.moves]
    return Sung(len(takes), len({t.at.date() for t in takes}), len(verdicts), verdicts.count(Verdict.RIGHT),
                verdicts.count(Verdict.UNSURE))


def _comparison(diary: Diary, pupil: Pupil) -> Comparison | None:
    now = diary.now()
    here = {t.kind: t for t in diary.tally(pupil, since=now - WEEK) if t.total >= FEWEST}
    before = {t.kind: t for t in diary.tally(pupil, since=now - 4 * WEEK, until=now - WEEK) if t.total >= FEWEST}
    both = [Comparison(here[k], before[k]) for k in here if k in before]
    return max(both, key=lambda c: abs(c.change), default=None)


def _kept_sound(diary: Diary, pupil: Pupil) -> KeptSound:
    return KeptSound(len(diary.sounds(pupil)), int(diary.settings(pupil)[SettingName.KEEP_SOUND_DAYS]), diary.consent(pupil))
