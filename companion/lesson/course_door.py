"""What the commands and the page ask of the course: each answered by plain lines or a sitting."""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from companion.course import progress as P
from companion.course.drill import KINDS, Drill, Item, heard_tune, make
from companion.course.material import Material, material
from companion.course.progress import Progress
from companion.course.stage import Stage, find_stage, line_of_key, read_stage, stages, untaught
from companion.diary import Diary, Pupil, tune_title
from companion.errors import Trouble
from companion.language import Language
from companion.lesson.sitting import COMMANDS, MOST_NEW, Hands, Sitting, Step, Tally, plan
from companion.messages import _
from companion.paper import Sheet
from companion.workbook import (
    drill_sheet,
    key_sheet,
    stage_drill_sheet,
    stage_sheet,
    tune_sheet,
    week_sheet,
)

#: The usual drill of a kind has so many questions.
QUESTIONS = 8


def moment(text: str | None) -> datetime:
    """Now, or the day that is given, at the time of day that it is. Raises Trouble for what is no date."""
    now = datetime.now().astimezone()
    if text is None:
        return now
    try:
        day = datetime.fromisoformat(text)
    except ValueError:
        raise Trouble(_("{text} is no date; give year, month and day as 2026-12-31.").format(text=text)) from None
    if len(text) <= 10:
        day = day.replace(hour=now.hour, minute=now.minute, second=now.second)
    return day.astimezone() if day.tzinfo is None else day


def list_lines(some: Sequence[Stage]) -> list[str]:
    """Every stage in a line."""
    return [f"{s.label}. {s.aim}" for s in some]


def term_lines(some: Sequence[Stage], american: bool = False) -> list[str]:
    """Every word of the trade with what it means and where it is first used, in order of the alphabet."""
    from companion.language.cues import in_american

    lines = sorted(f"{t.word[:1].upper()}{t.word[1:]}: {t.means} Stage {s.number:g}." for s in some for t in s.terms)
    return [in_american(line) for line in lines] if american else lines


def stage_json(s: Stage) -> dict[str, Any]:
    return {"number": s.number, "name": s.name, "title": s.title, "aim": s.aim, "introduces": list(s.introduces),
            "tune": s.tune, "leave_out": sorted(s.leave_out), "need": list(s.need), "adult": list(s.adult),
            "pupil": list(s.pupil), "terms": {t.word: t.means for t in s.terms},
            "drills": [{"kind": d.kind, "facts": list(d.facts), "order": d.order, "count": d.count}
                       for d in s.drills],
            "known": [e.say() for e in s.known], "troubles": [[t.sign, t.do] for t in s.troubles]}


def progress_json(kept: Progress, some: Sequence[Stage], now: datetime) -> dict[str, Any]:
    """Where a pupil is, for programs."""
    here = kept.stage(some)
    return {"stage": here.number, "name": here.name, "finished": kept.finished(some),
            "passed": kept.passed, "due": kept.recall.due(now),
            "evidence": [{"way": s.evidence.way, "right": s.right, "answers": s.answers, "days": s.days,
                          "met": s.met} for s in kept.shown(here)],
            "say": kept.lines(some, now)}


def check_lines(path: str) -> list[str]:
    """An adult's own stage or folder of stages, read and checked. Raises Trouble, file, line and sentence."""
    place = Path(path)
    if place.is_dir():
        count = len(list(place.glob("*.toml")))
        stages(path)
        return [f"{count} {'stage is' if count == 1 else 'stages are'} in order."]
    own = read_stage(place)
    among = sorted([s for s in stages() if s.number != own.number] + [own], key=lambda s: s.number)
    for stage, say in untaught(among):
        if stage == own:
            raise Trouble(_("{path}, line {introduces}: {say}").format(
                                path=path, introduces=line_of_key(path, 'introduces'), say=say))
    return [f"{own.label} is in order."]


def word(diary: Diary, pupil: Pupil, some: Sequence[Stage], passed: Sequence[str], back: Sequence[str],
         now: datetime) -> list[str]:
    """Stages passed or taken back by the adult's word."""
    kept = P.load(diary, pupil)
    found = [(find_stage(n, some), True) for n in passed] + [(find_stage(n, some), False) for n in back]
    out = []
    for stage, is_passed in found:
        if is_passed:
            kept.pass_stage(stage, now)
            out.append(f"{stage.label} is passed, by your word.")
        else:
            kept.take_back(stage, now)
            out.append(f"{stage.label} is taken back. It is asked again from today.")
    P.save(diary, pupil, kept)
    return [*out, *kept.lines(some, now)[:1]]


def sit(diary: Diary, pupil: Pupil, some: Sequence[Stage], now: Callable[[], datetime], hands: Hands,
        most_new: int = MOST_NEW, sung_only: bool = False) -> Tally:
    """One sitting of a pupil: the stage's own part where it is new, the questions, what it came to.

    sung_only: hands-free, so only questions that are answered by singing, and nothing is waited for.
    Every answer is in the diary before the next question is asked.
    """
    kept = P.load(diary, pupil)
    since = datetime.fromisoformat(kept.moves_until) if kept.moves_until else None
    kept.hear_moves(diary.tally(pupil, since=since), now())
    here = kept.stage(some)
    fresh = not any(a["stage"] == f"{here.number:g}" for a in kept.answers) and not kept.finished(some)
    if fresh:
        for line in here.beginning(hands.american):
            hands.tell(line)
        if not _begin(here, hands, sung_only):
            return Tally(stopped=True)
    else:
        hands.tell(kept.lines(some, now())[0])
    # The day and the number of answers so far make the chance, so that a sitting can be gone through again.
    rng = random.Random(f"{pupil.nickname} {now():%Y-%m-%d} {len(kept.answers)}")
    steps = plan(kept, some, now(), rng, most_new, sung_only=sung_only)
    tune = None if here.unseen else heard_tune(here.material, here.by_ear)
    tally = Sitting(kept, hands, lambda: P.save(diary, pupil, kept), tune).go(steps, now)
    P.save(diary, pupil, kept)
    for line in tally.lines():
        hands.tell(line)
    for stage in tally.passed:
        after = [s for s in some if s.number > stage.number]
        if after:
            hands.tell(f"Next time: {after[0].label}.")
    if not (tally.passed or tally.stopped or kept.finished(some)):
        hands.tell(f"Next time, best on another day, it goes on with {here.label[:1].lower()}{here.label[1:]}.")
    return tally


def _begin(here: Stage, hands: Hands, sung_only: bool) -> bool:
    """At the beginning of a stage: the tune and more, as often as they are asked for; whether to go on."""
    if (here.by_ear or sung_only) and not here.unseen:
        hands.tell(f"This is {here.material.tune.title}.")
        hands.sound(heard_tune(here.material, here.by_ear))
    if sung_only:
        return True
    if not here.by_ear:
        n = f"{here.number:g}"
        hands.tell(f"For the pupil's sheet in braille: companion sheet stage {n} --out stage-{n}.brf. "
                   "With .pdf at the end it is large print.")
    hands.tell("At any question, help tells what you may type.")
    tune = "" if here.unseen else f"tune sounds {here.material.tune.title}; "
    while True:
        hands.tell(f"Enter begins the questions; {tune}more tells what may go wrong; stop ends.")
        line = hands.read()
        word = "stop" if line is None else line.strip().lower()
        if word == "stop":
            return False
        if word == "tune" and tune:
            hands.sound(heard_tune(here.material, here.by_ear))
        elif word == "more":
            for text in here.rest(hands.american):
                hands.tell(text)
        else:
            return True


#: Keys that a screen reader may pass over in silence, with their names.
_SPOKEN = {"?": "question mark (?)", "+": "plus (+)", "-": "minus (-)"}


def help_lines() -> list[str]:
    """What may be typed at a question."""
    return ["Type the answer. Cells can be typed as dots (145), as Braille ASCII (D) or on a braille display.",
            "Enter alone: say the question once more.",
            *(f"{_SPOKEN.get(key, key)}: {what}." for key, what in COMMANDS.items())]


def drill_items(kind: str, stage: Stage | None, tune: str | None, leave_out: Sequence[str], facts: Sequence[str],
                order: str, count: int, seed: int | None) -> list[Item]:
    """The questions of a single drill, from a stage, from any tune, or from named facts."""
    from companion.course.facts import fact

    for name in facts:
        try:
            fact(name)
        except (KeyError, ValueError):
            raise Trouble(_("{name!r} names no note or sign. Notes are named C or C crotchet, signs sharp or tie; "
                            "companion sheet key lists them.").format(name=name)) from None
    m: Material | None = material(tune, leave_out) if tune else stage.material if stage else None
    if kind not in KINDS:
        raise Trouble(_("There is no drill {kind!r}. There are: {KINDS}.").format(kind=kind, KINDS=', '.join(KINDS)))
    if not facts and stage is not None and not tune:
        given = [d for d in stage.drills if d.kind == kind]
        facts = given[0].facts if given else ()
    if not 1 <= count <= 100:
        raise Trouble(_("The count was {count}; give 1 to 100.").format(count=count))
    items = make(Drill(kind, tuple(facts), order, count), m, random.Random(seed))
    if not items:
        raise Trouble(_("There is nothing in this tune for the drill {kind!r}; choose another tune or drill.").format(
                            kind=kind))
    return items


def drill_sitting(items: Sequence[Item], kept: Progress, now: Callable[[], datetime], hands: Hands,
                  keep: Callable[[], None] = lambda: None) -> Tally:
    """A single drill gone through; what is answered is remembered, but is evidence for no stage."""
    steps = [Step(item, "drill") for item in items]
    tally = Sitting(kept, hands, keep).go(steps, now)
    for line in tally.lines():
        hands.tell(line)
    return tally


def sheet_of(what: str, name: str | None, some: Sequence[Stage], diary: Callable[[], Diary], *,
             language: Language, kind: str | None = None, tune: str | None = None, leave_out: Sequence[str] = (), count: int = 20,
             seed: int = 1, now: datetime | None = None) -> Sheet:
    """A sheet by what it is of: "stage" N, "tune" NAME, "drill" N or of a tune, "key" up to stage N, "week" PUPIL.
    """
    if what in ("stage", "tune", "week") and not name:
        wanted = {"stage": "a number, as in companion sheet stage 4", "tune": "a tune, as in companion sheet tune "
                  "snail-wall", "week": "a pupil, as in companion sheet week Robin"}[what]
        raise Trouble(_("A sheet of a {what} needs {wanted}.").format(what=what, wanted=wanted))
    if what == "stage":
        return stage_sheet(find_stage(name or "", some), language)
    if what == "tune":
        return tune_sheet(material(name or "", leave_out), language)
    if what == "key":
        return key_sheet(some, language, find_stage(name, some) if name else None)
    if what == "drill":
        if tune is None and name is None:
            raise Trouble(_("A sheet of drills needs a stage, as in companion sheet drill 3, or a --tune."))
        if kind is None and tune is None:
            return stage_drill_sheet(find_stage(name or "", some), random.Random(seed), language, count)
        stage = find_stage(name, some) if name else None
        items = drill_items(kind or "name the cell", stage, tune, leave_out, (), "mixed", count, seed)
        m = material(tune, leave_out) if tune else None
        about = m.tune.title if m else stage.title if stage else ""
        return drill_sheet(f"{(kind or 'name the cell').capitalize()}: {about}", items, language)
    with diary() as open_diary:
        pupil = open_diary.pupil(name or "")
        titles = [tune_title(w.tune) for w in open_diary.work(pupil)]
        return week_sheet(pupil.nickname, P.load(open_diary, pupil), some, now or moment(None), language,
                          titles)
