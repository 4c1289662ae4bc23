"""A pupil's week in five plain lines, and what to work on next."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

from companion.diary.diary import Diary
from companion.diary.model import KeptTake, Pupil, Tally

WEEK = timedelta(days=7)
FEWEST = 4  # moves of a kind in a week; fewer tell nothing
CHANGED = 0.15  # share of right ones by which a kind must change to be worth a word
GOOD = 0.85  # from this share of right ones on a kind needs no work
MOST_TUNES = 3


def title(tune: str) -> str:
    """How a tune is called: the title of one that ships, else its file's name."""
    from companion.tune import catalogue

    return next((e.title for e in catalogue() if e.name == tune), Path(tune).stem)


def plural(kind: str) -> str:
    """ "step up" as several: "steps up"; level moves are "level moves"."""
    if kind == "level":
        return "level moves"
    size, _, way = kind.partition(" ")
    return f"{size}s {way}"


def _days(n: int) -> str:
    return f"{n} {'day' if n == 1 else 'days'}"


def _share(tally: Tally) -> float:
    """Share of right ones; an unclear one counts half, since it was no miss."""
    return (tally.right + 0.5 * tally.unsure) / max(1, tally.total)


def next_kind(tallies: list[Tally]) -> Tally | None:
    """The kind of move to work on: of those sung often enough the one that goes right least; None if all do."""
    known = [t for t in tallies if t.total >= FEWEST and _share(t) < GOOD]
    return min(known, key=lambda t: (_share(t), -t.total), default=None)


def tunes_with(kind: str, reach: float | None = None) -> list[str]:
    """Names of shipped tunes in which a kind of move is frequent, densest first, within a reach in semitones."""
    from companion.tune import IntervalKind, catalogue

    base = IntervalKind(kind.split(" ")[0])
    fitting = [e for e in catalogue() if e.moves.get(base) and (reach is None or e.reach <= reach)]
    return [e.name for e in sorted(fitting, key=lambda e: (-e.moves[base] / sum(e.moves.values()), e.reach))]


def suggestion(diary: Diary, pupil: Pupil) -> tuple[Tally | None, list[str]]:
    """(kind to work on next or None, names of tunes for it): from the last four weeks."""
    kind = next_kind(diary.tally(pupil, since=diary.now() - 4 * WEEK))
    reach = pupil.high - pupil.low if pupil.low is not None and pupil.high is not None else None
    return kind, (tunes_with(kind.kind, reach)[:MOST_TUNES] if kind else [])


def week_lines(diary: Diary, pupil: Pupil) -> list[str]:
    """Five lines: what was sung, what was set, what changed, what is next, what sound is kept."""
    now = diary.now()
    takes = diary.takes(pupil, since=now - WEEK)
    return [_sung(pupil, takes), _set(diary, pupil), _changed(diary, pupil), _next(diary, pupil),
            sound_line(diary, pupil)]


def _sung(pupil: Pupil, takes: list[KeptTake]) -> str:
    if not takes:
        return f"{pupil.nickname} has sung nothing in the last seven days."
    moves = [m.verdict for t in takes for m in t.moves]
    days = len({t.at.date() for t in takes})
    count = f"{len(takes)} {'take' if len(takes) == 1 else 'takes'}"
    return (f"{pupil.nickname}: {count} on {_days(days)} of the last seven; "
            f"{moves.count('right')} of {len(moves)} moves right, {moves.count('not sure')} unclear.")


def _set(diary: Diary, pupil: Pupil) -> str:
    work = diary.work(pupil)
    if not work:
        return "Nothing is set."
    said = []
    for w in work:
        done = "not sung yet" if not w.takes else f"sung {w.takes} {'time' if w.takes == 1 else 'times'}"
        said.append(f"{title(w.tune)}, {done}")
    return f"Set until {work[-1].until:%A}: {'; '.join(said)}."


def _changed(diary: Diary, pupil: Pupil) -> str:
    now = diary.now()
    here = {t.kind: t for t in diary.tally(pupil, since=now - WEEK) if t.total >= FEWEST}
    before = {t.kind: t for t in diary.tally(pupil, since=now - 4 * WEEK, until=now - WEEK) if t.total >= FEWEST}
    both = [(_share(here[k]) - _share(before[k]), k) for k in here if k in before]
    if not both:
        return "Changed: too little from before to compare."
    change, kind = max(both, key=lambda pair: abs(pair[0]))
    if abs(change) < CHANGED:
        return "Changed: nothing much since the weeks before."
    was, now_is = before[kind], here[kind]
    return (f"Changed: {plural(kind)}, {now_is.right} of {now_is.total} right now, "
            f"{was.right} of {was.total} in the weeks before.")


def _next(diary: Diary, pupil: Pupil) -> str:
    kind, tunes = suggestion(diary, pupil)
    if kind is None:
        return "Next: no kind of move stands out; any tune will do."
    where = f" Tunes with many: {', '.join(tunes)}." if tunes else ""
    return f"Next: {plural(kind.kind)}, {kind.right} of {kind.total} right.{where}"


def sound_line(diary: Diary, pupil: Pupil) -> str:
    """What sound is kept, and by whose leave."""
    consent, kept = diary.consent(pupil), len(diary.sounds(pupil))
    if consent is None:
        return "Sound: none is kept; nobody has given consent." if not kept else \
            f"Sound: that of {kept} takes is kept from before; no consent holds now."
    until = f" until {consent.until:%d %B %Y}" if consent.until else ""
    days = diary.settings(pupil)["keep-sound-days"]
    return (f"Sound: kept for {_days(days)} by consent of {consent.given_by}{until}; that of {kept} "
            f"{'take' if kept == 1 else 'takes'} is here.")
