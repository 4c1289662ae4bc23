"""The course in words: stages, what a pupil has shown, what comes next, and what a sitting says around its questions."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from companion.course import (
    CourseWeek,
    Evidence,
    Fluency,
    HelpWith,
    PassedBy,
    Place,
    PlaceKind,
    QuestionKind,
    Shown,
    Stage,
    Standing,
    Term,
    Way,
    fact,
    fill_places,
)
from companion.language.braille import say_dots
from companion.language.interface import Language
from companion.language.questions import fact_at_start, said_dots
from companion.messages import N_

#: Each way as it is said to a helper.
WAYS = {
    Way.BY_EAR: N_("Listens and tells"), Way.EAR_TO_VOICE: N_("Hears a note and sings the move"),
    Way.CELL_TO_NAME: N_("Reads a cell and names it"), Way.NAME_TO_CELL: N_("Hears a name and writes the cell"),
    Way.CELL_TO_VOICE: N_("Reads and sings"),
    Way.CELL_TO_HAND: N_("Reads and claps"),
    Way.AT_SIGHT: N_("Sings at sight what nobody has heard"), Way.VOICE_TO_CELL: N_("Listens and writes the cells"),
}


# --- stages ---

def stage_text(language: Language, text: str) -> str:
    """A text of a stage with its places filled from the tables of `braille`: {C crotchet} gives "dots 1 4 5 6",
    {letter C} "d", {added crotchet} "dot 6"."""
    return fill_places(language.message(text), lambda place: _place(language, place))


def _place(language: Language, place: Place) -> str:
    if place.kind is PlaceKind.LETTER:
        return place.letter
    if place.kind is PlaceKind.ADDED:
        return said_dots(language, place.dots) if place.dots else language.message("no more dots")
    return say_dots(language, place.cells)


def stage_title(language: Language, stage: Stage) -> str:
    return language.message(stage.title)


def stage_label(language: Language, stage: Stage) -> str:
    """ "Stage 2: Three cells: C, D, E"."""
    return language.message("Stage {number}: {title}").format(number=stage.key, title=stage_title(language, stage))


def stage_lines(language: Language, stage: Stage) -> list[str]:
    """The whole stage as plain lines: the adult's part first, then the pupil's, and what may go wrong."""
    return [*stage_beginning(language, stage), *stage_rest(language, stage)]


def stage_beginning(language: Language, stage: Stage) -> list[str]:
    """What is read out where a stage begins: for the adult, then for the pupil."""
    out = [language.message("Stage {number}: {title}.").format(number=stage.key, title=stage_title(language, stage)),
           stage_text(language, stage.aim),
           language.message("For the adult."), *(stage_text(language, t) for t in stage.adult)]
    if stage.need:
        out += [language.message("You need:"), *(stage_text(language, t) for t in stage.need)]
    out += [term_line(language, t) for t in stage.terms]
    return [*out, language.message("Say to the pupil."), *(stage_text(language, t) for t in stage.pupil)]


def stage_rest(language: Language, stage: Stage) -> list[str]:
    """What shows that it is known, what usually goes wrong, and what to do."""
    return [language.message("It is known when:"), *(evidence_line(language, e) for e in stage.known),
            language.message("What may go wrong."),
            *(text for trouble in stage.troubles for text in trouble_texts(language, trouble))]


def term_line(language: Language, term: Term) -> str:
    """ "Crotchet: a note of one beat."."""
    return language.message("{word}: {meaning}").format(word=language.capitalised(language.message(term.word)),
                                                       meaning=stage_text(language, term.means))


def trouble_texts(language: Language, trouble: HelpWith) -> tuple[str, str]:
    """How it shows, and what to do."""
    return stage_text(language, trouble.sign), stage_text(language, trouble.do)


def evidence_line(language: Language, evidence: Evidence) -> str:
    """ "Reads a cell and names it: nine of the last ten right, on two days."."""
    template = N_("{way}: {right} of the last {of} right, on {days} days.") if evidence.days > 1 else \
        N_("{way}: {right} of the last {of} right.")
    return language.message(template).format(
        way=language.message(WAYS[evidence.way]), right=language.number(evidence.right), of=language.number(evidence.of),
        days=language.number(evidence.days))


def stage_list_lines(language: Language, stages: Sequence[Stage]) -> list[str]:
    """Every stage in a line."""
    return [language.message("{stage}. {aim}").format(stage=stage_label(language, s), aim=stage_text(language, s.aim))
            for s in stages]


def glossary_lines(language: Language, stages: Sequence[Stage]) -> list[str]:
    """Every word of the trade with what it means and where it is first used, in order of the alphabet."""
    terms = sorted(((language.message(t.word).casefold(), s, t) for s in stages for t in s.terms), key=lambda found: found[0])
    return [language.message("{meaning} Stage {number}.").format(meaning=term_line(language, t), number=s.key)
            for _word, s, t in terms]


def course_begin_hint(language: Language) -> str:
    return language.message("To begin with a pupil called Robin: companion course Robin --new.")


def stages_in_order_line(language: Language, checked: Sequence[Stage]) -> str:
    """That stages of an adult's own are in order."""
    if len(checked) == 1:
        return language.message("{stage} is in order.").format(stage=stage_label(language, checked[0]))
    return language.plural("{n} stage is in order.", "{n} stages are in order.", len(checked)).format(n=len(checked))


def stage_passed_line(language: Language, stage: Stage) -> str:
    return language.message("{stage} is passed, by your word.").format(stage=stage_label(language, stage))


def stages_before_line(language: Language, n: int) -> str:
    """That stages before one were passed with it."""
    return language.plural("{n} stage before it is passed too.", "{n} stages before it are passed too.", n).format(
        n=language.capitalised(language.number(n)))


def stage_taken_back_line(language: Language, stage: Stage) -> str:
    return language.message("{stage} is taken back. It is asked again from today.").format(
        stage=stage_label(language, stage))


def course_begins_again_line(language: Language, pupil: str) -> str:
    return language.message("The course of {pupil} begins again at the first stage.").format(pupil=pupil)


# --- what a pupil has shown ---

def evidence_so_far_line(language: Language, shown: Shown) -> str:
    """ "Reads a cell and names it: seven of the last nine right; nine of ten are wanted, on two days."."""
    e = shown.evidence
    have = language.message(WAYS[e.way])
    if not shown.answers:
        have = language.message("{way}: nothing yet").format(way=have)
    elif not shown.right and shown.answers == 1:
        have = language.message("{way}: the last one was not right").format(way=have)
    elif not shown.right:
        have = language.message("{way}: none of the last {of} right").format(way=have, of=language.number(shown.answers))
    else:
        have = language.message("{way}: {right} of the last {of} right").format(
            way=have, right=language.number(shown.right), of=language.number(shown.answers))
    if shown.met:
        return language.message("{have}; that is enough.").format(have=have)
    template = N_("{have}; {right} of {of} are wanted.") if e.days == 1 else \
        N_("{have}; {right} of {of} are wanted, on {days} days. So far on {held}.") if shown.days else \
        N_("{have}; {right} of {of} are wanted, on {days} days.")
    return language.message(template).format(have=have, right=language.number(e.right), of=language.number(e.of),
                                             days=language.number(e.days), held=language.number(shown.days))


def course_week_line(language: Language, week: CourseWeek) -> str:
    """The course beside what was sung, for a parent: what was answered in the last seven days, and the stage."""
    where = standing_line(language, week.standing)
    if not week.answers:
        return language.message("Braille course: nothing in the last seven days. {where}").format(where=where)
    answers = language.plural("{n} question answered", "{n} questions answered", week.answers).format(n=week.answers)
    return language.message("Braille course: {answers} in the last seven days, {right} right. {where}").format(
        answers=answers, right=week.right, where=where)


def standing_line(language: Language, standing: Standing) -> str:
    """Where a pupil is, in one line."""
    if standing.finished:
        return language.message("All {n} stages are passed.").format(n=language.number(standing.stages))
    return language.message("Now: {stage}. {aim}").format(stage=stage_label(language, standing.here),
                                                          aim=stage_text(language, standing.here.aim))


def standing_lines(language: Language, standing: Standing, now: datetime) -> list[str]:
    """What is known and what comes next, in plain lines."""
    out = [standing_line(language, standing)]
    if not standing.finished:
        out += [evidence_so_far_line(language, s) for s in standing.shown]
    if standing.last is not None:
        template = {PassedBy.EVIDENCE: N_("{passed} of {all} stages passed. The last: {title}, by what was shown."),
                    PassedBy.PLACEMENT: N_("{passed} of {all} stages passed. The last: {title}, by the test at the beginning."),
                    PassedBy.WORD: N_("{passed} of {all} stages passed. The last: {title}, by the word of an adult."),
                    }[standing.last_by]
        out.append(language.message(template).format(
            passed=language.capitalised(language.number(standing.passed)), all=language.number(standing.stages),
            title=stage_title(language, standing.last)))
    if speed := fluency_line(language, standing.fluency):
        out.append(speed)
    if standing.due:
        out.append(language.plural("Due today: {n} thing to come back to.", "Due today: {n} things to come back to.",
                                   standing.due).format(n=language.number(standing.due)))
    elif standing.next_due is not None and standing.next_due.date() == now.date():
        out.append(language.message("Nothing is due now. The next is due later today."))
    elif standing.next_due is not None:
        out.append(language.message("Nothing is due now. The next is due on {day}.").format(
            day=language.day_of_year(standing.next_due)))
    if standing.following is not None and not standing.finished:
        out.append(language.message("Next: {stage}.").format(stage=stage_label(language, standing.following)))
    return out


def fluency_line(language: Language, fluency: Fluency) -> str:
    """How quickly notes are read; "" where too few were read this week."""
    if fluency.this_week is None:
        return ""
    if fluency.week_before is None:
        return language.plural("Reads {n} note a minute this week.", "Reads {n} notes a minute this week.",
                               fluency.this_week).format(n=fluency.this_week)
    return language.plural("Reads {n} note a minute this week; {before} the week before.",
                           "Reads {n} notes a minute this week; {before} the week before.", fluency.this_week).format(
        n=fluency.this_week, before=fluency.week_before)


def placement_begin_line(language: Language) -> str:
    return language.message("A few questions find where to begin. Say or type don't know as often as you like.")


def placement_stopped_line(language: Language) -> str:
    return language.message("The test is stopped, and nothing is changed by it. Another day it begins anew.")


def placement_found_line(language: Language, found: Stage) -> str:
    return language.message("Begin with {stage}. What comes before it is passed, and comes back now and then.").format(
        stage=stage_label(language, found))


def own_song_line(language: Language, song: str, suited: Sequence[Stage]) -> str:
    """That a song of the pupil's own is the tune of these stages from now on; of none: the course has its own tunes again."""
    if not suited:
        return language.message("The course has its own tunes again.")
    return language.plural("{song} is now the tune of stage {stages}.", "{song} is now the tune of the stages {stages}.",
                           len(suited)).format(song=song, stages=language.listed([s.key for s in suited]))


# --- a sitting ---

MOST_RECALLED = 7  # cells that are said again: as many as a child holds


def recap_lines(language: Language, days: int, stages: Sequence[Stage]) -> list[str]:
    """After a break of so many days: what these stages, the last ones reached, brought, with its cells."""
    out = [language.plural("It is {n} day since the last time. First, what you know already.",
                           "It is {n} days since the last time. First, what you know already.", days).format(
               n=language.number(days))]
    for stage in stages:
        out.append(stage_label(language, stage) + ".")
        names = [n for n in dict.fromkeys(n for d in stage.drills for n in d.facts) if _brought(n, stage)]
        for f in map(fact, names[:MOST_RECALLED]):
            out.append(language.message("{fact} is {dots}.").format(
                fact=fact_at_start(language, f), dots=say_dots(language, f.cells)))
    return out


def _brought(name: str, stage: Stage) -> bool:
    """Whether a fact is of what a stage brings."""
    return bool(fact(name).signs & frozenset(stage.introduces))


def tune_title_line(language: Language, tune: str) -> str:
    return language.message("This is {tune}.").format(tune=tune)


def stage_sheet_hint(language: Language, stage: Stage) -> str:
    return language.message("For the pupil's sheet in braille: companion sheet stage {number} --out stage-{number}.brf. "
                            "With .pdf at the end it is large print.").format(number=stage.key)


def question_help_hint(language: Language) -> str:
    return language.message("At any question, help tells what you may type.")


def stage_begin_prompt(language: Language, tune: str) -> str:
    """What may be typed before the questions. tune: its title, "" where it is not to be heard."""
    if tune:
        return language.message("Enter begins the questions; tune sounds {tune}; more tells what may go wrong; stop "
                                "ends.").format(tune=tune)
    return language.message("Enter begins the questions; more tells what may go wrong; stop ends.")


def question_help_lines(language: Language) -> list[str]:
    """What may be typed at a question."""
    return [language.message("Type the answer. Cells can be typed as dots (145, 1-4-5, one four five), as Braille ASCII "
                             "(D), with six keys (fjk) or on a braille display."),
            language.message("don't know: be told, and try it; it comes again a little later."),
            language.message("Enter alone: say the question once more."),
            language.message("tune: hear this stage's tune."),
            language.message("question mark (?): say it again, with the dots of what is shown."),
            language.message("skip: go on without an answer."),
            language.message("stop: end; all that was answered is kept."),
            language.message("plus (+): the spoken or sung answer was right."),
            language.message("minus (-): it was not."),
            language.message("key: after a sung answer: how it should go, for the helper.")]


def by_hand_hint(language: Language) -> str:
    """Once in a sitting, where nobody listens: how a sung answer is given, for a helper who cannot know it."""
    return language.message("Once it is sung, type plus (+) if it was right, minus (-) if not; type key to be told how it "
                            "should go. Started with --listen, the program hears it itself.")


def clap_ready_line(language: Language) -> str:
    """Before each bar that is counted in for clapping: nobody is hurried while they read."""
    return language.message("Press Enter when you have read it; then the beat begins.")


def question_left_line(language: Language) -> str:
    return language.message("We leave this one for now.")


def tally_lines(language: Language, asked: int, right: int, passed: Sequence[Stage]) -> list[str]:
    """One sentence of what went well, one on each stage passed."""
    if not asked:
        return [language.message("No answer was given today.")]
    if right:
        first = language.message("{right} of {asked} right.").format(
            right=language.capitalised(language.number(right)), asked=language.number(asked))
    else:
        first = language.message("{asked} tried. They come back next time.").format(
            asked=language.capitalised(language.number(asked)))
    return [first, *(language.message("{stage} is passed.").format(stage=stage_label(language, s)) for s in passed)]


def next_stage_line(language: Language, following: Stage) -> str:
    return language.message("Next time: {stage}.").format(stage=stage_label(language, following))


def stage_goes_on_line(language: Language, stage: Stage) -> str:
    return language.message("Next time, best on another day, it goes on with stage {number}: {title}.").format(
        number=stage.key, title=stage_title(language, stage))


def drill_kind_lines(language: Language) -> list[str]:
    """Every kind of drill, by the name that is typed for it, and what the pupil does."""
    return [language.message("Kinds of drill, and what the pupil does:"),
            *(f"{kind}. {language.message(WAYS[kind.way])}." for kind in QuestionKind),
            language.message("To begin one: companion drill 'name the cell' --stage 2.")]
