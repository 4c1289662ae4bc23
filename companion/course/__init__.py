"""The course: stages, questions both ways, judgements of answers, and when to come back to what. Facts only.

facts: what can be known about cells. tune_material: a tune as far as it has been taught. fresh: new bars in the manner of a
tune. drill: questions. vocabulary: what is typed, read into facts by the words of a language. answer: answers judged.
rhythm: a clapped rhythm judged.
stage: stages read from `stages/*.toml`. recall: FSRS. progress: what a pupil has shown, kept in the diary. planning: the
questions of one sitting.
"""

from companion.course.answer import (
    HEARD_RIGHT,
    HEARD_WRONG,
    Change,
    Difference,
    Finding,
    Judged,
    MarkRule,
    Misread,
    Misreading,
    check,
    check_claps,
    check_take,
    mark_rule,
    not_known,
)
from companion.course.drill import (
    MOST_QUESTIONS,
    Drill,
    Item,
    Order,
    QuestionKind,
    TuneToHear,
    Wants,
    Way,
    card,
    check_count,
    clap_the_rhythm,
    drill_items,
    from_the_back,
    heard_move,
    heard_tune,
    line_of,
    make,
    name_cell,
    other_note,
    pace_of,
    question_kind,
    read_and_sing,
    say_octave,
    seconds_of,
    sing_from_another,
    smaller,
    sung_move,
    think_and_sing,
    upper_or_lower,
    visited,
    write_cell,
)
from companion.course.facts import (
    PLAIN,
    SIGNS,
    Fact,
    FactKind,
    by_cells,
    fact,
    interval_steps,
    key_name,
    letter_of,
    mirrored,
    said_signs,
)
from companion.course.fresh import Wanted, difficulty, fresh_group, fresh_material
from companion.course.planning import (
    ADULT_MINUTES,
    BARS_OF,
    BREAK_DAYS,
    CHILD_MINUTES,
    KNOWN_FROM,
    MOST_NEW,
    Step,
    Why,
    brings,
    closing,
    interleaved,
    item_for,
    lay_cards,
    new_items,
    new_steps,
    plan,
    probes,
)
from companion.course.progress import (
    CourseWeek,
    Fluency,
    KeptProgress,
    PassedBy,
    Progress,
    Shown,
    Standing,
    change_progress,
    forget_progress,
    load_progress,
    week_of_course,
)
from companion.course.recall import Recall
from companion.course.rhythm import FEWEST_NOTES, Rhythm, RhythmFinding, judge_rhythm
from companion.course.stage import (
    FOLDER,
    MOST_WORDS,
    Evidence,
    HelpWith,
    Place,
    PlaceKind,
    Stage,
    Term,
    Untaught,
    Use,
    UsedIn,
    check_stages,
    fill_places,
    find_stage,
    read_stage,
    stages,
    taught,
    untaught,
    used_signs,
    with_song,
)
from companion.course.tune_material import LEAVE_OUT, Group, Material, Pulse, material, note_fact, rows_of
from companion.course.vocabulary import Command, Vocabulary

__all__ = [
    "ADULT_MINUTES", "BARS_OF", "BREAK_DAYS", "CHILD_MINUTES", "FEWEST_NOTES", "FOLDER", "HEARD_RIGHT", "HEARD_WRONG",
    "KNOWN_FROM", "LEAVE_OUT", "MOST_NEW", "MOST_QUESTIONS", "MOST_WORDS", "PLAIN", "SIGNS", "Change", "Command",
    "CourseWeek", "Difference", "Drill", "Evidence", "Fact", "FactKind", "Finding", "Fluency", "Group", "HelpWith", "Item",
    "Judged", "KeptProgress", "MarkRule", "Material", "Misread", "Misreading", "Order", "PassedBy", "Place", "PlaceKind",
    "Progress", "Pulse", "QuestionKind", "Recall", "Rhythm", "RhythmFinding", "Shown", "Stage", "Standing", "Step", "Term",
    "TuneToHear", "Untaught", "Use", "UsedIn", "Vocabulary", "Wanted", "Wants", "Way", "Why", "brings", "by_cells", "card",
    "change_progress", "check", "check_claps", "check_count", "check_stages", "check_take", "clap_the_rhythm", "closing",
    "difficulty", "drill_items", "fact", "fill_places", "find_stage", "forget_progress", "fresh_group", "fresh_material",
    "from_the_back", "heard_move", "heard_tune", "interleaved", "interval_steps", "item_for", "judge_rhythm", "key_name",
    "lay_cards", "letter_of", "line_of", "load_progress", "make", "mark_rule", "material", "mirrored", "name_cell",
    "new_items", "new_steps", "not_known", "note_fact", "other_note", "pace_of", "plan", "probes", "question_kind",
    "read_and_sing", "read_stage", "rows_of", "said_signs", "say_octave", "seconds_of", "sing_from_another", "smaller",
    "stages", "sung_move", "taught", "think_and_sing", "untaught", "upper_or_lower", "used_signs", "visited",
    "week_of_course", "with_song", "write_cell",
]
