"""How corrections of a written-down take are typed in English, British and American names side by side."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import Any

from companion.language.interface import CorrectionWords, Order
from companion.transcribe import Action, Answer, QuestionKind

_BAR, _NOTE, _IS = "bar|bars|measure|measures", "note|notes", "IS"
_OF = "of|in|from|at|on"
_MAKE = "make|change|set|turn|correct|fix|alter"
_OUT = "(remove|delete|omit|erase|cut|drop | take|leave|cut|cross|rub out | get rid of | take away)"
_PUT = "(add|insert|put|include|write | put in | there is|was|should|must|are [be] [a missing])"
_WHOLE = "(everything | all [of] it | it all | it | all | all [of] the notes | [all] the notes | the [whole] tune|song|piece | " \
         "the whole thing | all [the] notes | this)"


def _rules(action: Action, *texts: str, **adds: Any) -> list[tuple[str, Mapping[str, Any]]]:
    return [(text, {"action": action, **adds}) for text in texts]


#: Places of notes, and what a note can become.
_PARTS: dict[str, Sequence[tuple[str, Mapping[str, Any]]]] = {
    "IS": [(text, {}) for text in (
        "is|are|was|were|equals|becomes|become [really|actually|only|just] [now] [both|all|each]",
        "should|must|ought|could [all|both|only|just] [to] (be|sound|go | have been) [both|all|each|only|just]",
        "needs|need|has|have|want|wants to be", "sounds like", "sounded like", "goes|go|went up|down to")],
    "ART": [(text, {}) for text in ("a|an|the|some",)],
    "PLACES": [(text, {}) for text in (
        f"[in|at|on|for] {_BAR} bar=NUMBER {_NOTE}|number [number] notes=NUMBERS",
        f"[in|at|on|for] {_BAR} bar=NUMBER [the] notes=NUMBERS {_NOTE}",
        f"[the] bar=NUMBER {_BAR} [the] notes=NUMBERS {_NOTE}",
        f"[the] bar=NUMBER {_BAR} {_NOTE} notes=NUMBERS",
        f"[the] notes=NUMBERS {_NOTE} {_OF} [the] ({_BAR} bar=NUMBER | bar=NUMBER {_BAR})",
        f"{_NOTE} [number] notes=NUMBERS [{_OF}] [the] ({_BAR} bar=NUMBER | bar=NUMBER {_BAR})",
        f"[in|at|on|for] {_BAR} bar=NUMBER [the] first count=NUMBER notes",
        f"[the] first count=NUMBER notes {_OF} [the] ({_BAR} bar=NUMBER | bar=NUMBER {_BAR})",
        f"[the] which=WHICH {_OF} [the] ({_BAR} bar=NUMBER | bar=NUMBER {_BAR})",
        f"[the] nth=NUMBER which=WHICH {_OF} [the] ({_BAR} bar=NUMBER | bar=NUMBER {_BAR})",
        f"all [of] [the] every=WHICH {_OF} [the] ({_BAR} bar=NUMBER | bar=NUMBER {_BAR})",
        f"{_NOTE} [number] notes=NUMBERS", f"[the] [very] notes=NUMBERS {_NOTE}")] + [
        (f"[the] [very] notes=NUMBERS {_NOTE} of ([the] tune|song|piece | all)", {"of_all": True})],
    "LACKS": [(f"{_BAR} bar=NUMBER has|had no notes=NUMBERS note", {})],
    "END": [(f"{_BAR} bar=NUMBER ends|end|finishes|finish", {"notes": {"all": [-1]}}),
            ("(it | the tune|song|piece) ends|finishes", {"of_all": True, "notes": {"all": [-1]}}),
            ("(it | the tune|song|piece) starts|begins", {"of_all": True, "notes": {"all": [1]}})],
    # What a note is now: said beside what it should be, or to say which is meant.
    "WHICH": [(text, {}) for text in ("ticks=VALUE", "PITCH")],
    "NAMED": [(text, {}) for text in ("ticks=VALUE", "PITCH", "ACCIDENTAL")],
    "NOT": [(text, {}) for text in ("[and|but] not [ART] NAMED", "instead|rather of|than [ART] NAMED")],
    "BARS": [(text, {}) for text in (
        f"{_BAR} first=NUMBER (to|through|until|till|and|- | up to) [{_BAR}] last=NUMBER", f"[the] {_BAR} first=NUMBER",
        f"[the] first=NUMBER {_BAR}")] + [("the first last=NUMBER bars|measures", {"first": 1})],
    "LENGTH": [(text, {}) for text in (
        "[ART] ticks=VALUE [long|note]", "beats=AMOUNT [-] beat|beats [long|each]", "for beats=AMOUNT beat|beats",
        "[ART] beat [long]", "for|one [ART] ticks=VALUE")],
    "BECOMES": [
        *_rules(Action.VALUE, "LENGTH [each]", "[ART] ticks=VALUE [on] PITCH", "[ART] PITCH ticks=VALUE"),
        *_rules(Action.PITCH, "[ART|on] PITCH [note]", "ACCIDENTAL"),
        *_rules(Action.REST, "[ART] rest", "[ART] silent|silence", "[ART] VALUE rest"),
        *_rules(Action.MOVE, "INTERVAL DIRECTION", "DIRECTION [by] INTERVAL", sign=1),
        *_rules(Action.MOVE, "INTERVAL too DIRECTION", "too DIRECTION by INTERVAL", sign=-1),
        *_rules(Action.SCALE, "twice|double as long [as] [it] [is] [now]", "twice as slow", "double [ART] length",
                factor=Fraction(2)),
        *_rules(Action.SCALE, "half as long [as] [it] [is] [now]", "half [ART] length", "twice as short|quick",
                "twice too long", factor=Fraction(1, 2)),
        *_rules(Action.OTHER_READING, "the other [reading|one|way]", "other reading", "the second reading|one"),
    ],
    "IT": [(text, {}) for text in (
        "[and|so|but] (it|they|that|each|which IS|lasts|takes | make it|them|that | IS | lasts|last|takes|take)",)],
    "ENDS": _rules(Action.PITCH, "[ART] PITCH") + _rules(Action.VALUE, "[ART] ticks=VALUE"),
    "SYLLABLE": [(text, {}) for text in ("syllable|word|text|lyric|letter|letters|words|lyrics",)],
}
_COMMANDS: list[tuple[str, Mapping[str, Any]]] = [
    *_rules(Action.VALUE, f"PLACES+ [{_IS}] BECOMES+ [NOT]", f"{_MAKE} PLACES+ [to|into|be] [be] BECOMES+ [NOT]",
            f"PLACES+ [{_IS}] BECOMES+ IT also=BECOMES+", f"{_MAKE} PLACES+ from [ART] NAMED to|into BECOMES+",
            "PLACES+ IS not [ART] NAMED [but] [IT] BECOMES+", f"{_MAKE} PLACES+ longer|shorter|higher|lower BECOMES+",
            "PLACES+ IS wrong|longer|shorter|higher|lower [IT] BECOMES+",
            "PLACES+ IS [much|far] too long|short|high|low|quick|slow IT BECOMES+",
            "shorten|lengthen PLACES+ to|into BECOMES+", "places=END on|with becomes=ENDS", "replace PLACES+ by|with BECOMES+",
            "PLACES+ IT BECOMES+ [NOT]", "PLACES+ IS held|sung for LENGTH",
            f"[the] NAMED {_OF} PLACES+ [{_IS}] BECOMES+ [NOT]",
            "PLACES+ [should|must] lasts|last|takes|take [for] LENGTH", f"[it] [{_IS}] BECOMES+ {_OF} PLACES+",
            "let PLACES+ be BECOMES+",
            "raise|lower|move|transpose|shift|put PLACES+ BECOMES+",
            "PLACES+ goes|go BECOMES+"),
    *_rules(Action.MOVE, "raise PLACES+ [by] INTERVAL", sign=1, direction=1),
    *_rules(Action.MOVE, "lower PLACES+ [by] INTERVAL", sign=1, direction=-1),
    *_rules(Action.VALUE, f"{_BAR} bar=NUMBER [{_IS}|goes|has|reads] values=VALUES",
            f"{_BAR} bar=NUMBER [{_IS}|goes|has|reads] pitches=PITCHES", f"the notes {_OF} {_BAR} bar=NUMBER {_IS} values=VALUES",
            f"the notes {_OF} {_BAR} bar=NUMBER {_IS} pitches=PITCHES",
            f"the rhythm {_OF} {_BAR} bar=NUMBER {_IS} values=VALUES"),
    *_rules(Action.TAKE_OUT, f"{_OUT} PLACES+", "places=LACKS", "PLACES+ IS not [really] [ART] note|notes", "PLACES+ IS no note",
            "PLACES+ was|were|is|are not|never sung|there|real", "PLACES+ do|does not belong|exist [there|here]",
            "there is|was|are no PLACES+", "take PLACES+ out", "PLACES+ should go|disappear", "PLACES+ no|not [a] note",
            "PLACES+ should|must not be|have [been] there|here|sung"),
    *_rules(Action.JOIN, "join|tie|merge|connect|combine PLACES+ [to|with|and|into] [the] next|following [one|note]",
            "PLACES+ (and|with|plus) the next|following [one|note] IS [only] (one | the same | a single) [note]",
            "PLACES+ IS [joined|tied] [to|with] the next|following [one|note]"),
    *_rules(Action.JOIN, "join|tie|merge|connect|combine PLACES+ [together] [into] [one] [note]",
            "PLACES+ IS [only|all|really] ([just] one | the same | a single) [long] [note]", "PLACES+ belong|go|goes together",
            "PLACES+ sound|sounds as|like one [note]",
            "PLACES+ IS joined|tied|merged [together]", together=True),
    *_rules(Action.JOIN, "join|tie|merge|connect|combine begin=PLACES to|with|into|and end=PLACES",
            "begin=PLACES IS joined|tied|connected to|with end=PLACES", together=True),
    *_rules(Action.SPLIT, "PLACES+ IS [really|actually] parts=NUMBER ticks=VALUE",
            "split|divide|part|break|cut PLACES+ [up] in|into parts=NUMBER ticks=VALUE",
            "split|divide|part|break|cut PLACES+ [up|in|into] [half] [parts=NUMBER] [equal] [note|notes|parts|halves]",
            "PLACES+ IS [really|actually] [made] [of] parts=NUMBER notes", "PLACES+ is|are|was|were sung parts=TIMES",
            "split|divide|part|break|cut PLACES+ in half"),
    *_rules(Action.NO_REST, "[there] [is|should] [be] no rest|gap|pause after|at|following PLACES+",
            f"[there] [is|should] [be] no rest|gap|pause {_OF} {_BAR} bar=NUMBER after|at|following PLACES+",
            "the rest|gap|pause after|following PLACES+ (IS wrong|not [there] | should|must go | does not belong [there])",
            f"{_OUT} [the] rest|gap|pause after|at|following PLACES+",
            f"[there] [is|should] [be] no rest|gap|pause at the end of {_BAR} bar=NUMBER",
            "hold|sustain PLACES+ [on]", "PLACES+ IS held [on]", "PLACES+ has|have no rest [after] [it|them]",
            "without rest after PLACES+"),
    *_rules(Action.END_REST, f"[{_PUT}] [ART] ticks=VALUE rest after|following PLACES+",
            f"[{_PUT}] [ART] rest of LENGTH after|following PLACES+",
            "PLACES+ ends|end with [ART] ticks=VALUE rest", f"{_BAR} bar=NUMBER ends|end|finishes with [ART] ticks=VALUE rest",
            f"[{_PUT}] [ART] ticks=VALUE rest at the end of {_BAR} bar=NUMBER",
            "after PLACES+ (there is | comes|is|follows | there should be | should come|be) [ART] ticks=VALUE rest",
            "PLACES+ has|have [ART] ticks=VALUE rest after [it|them]", "PLACES+ IS followed by [ART] ticks=VALUE rest"),
    *_rules(Action.OTHER_READING, "[take|use|try|choose|want] the other|second [reading|one] [for|of|at|in] PLACES+"),
    *_rules(Action.NO_TRIPLET, "no triplet at|on|from PLACES+", f"{_OUT} the triplet at|on|from PLACES+",
            "take the triplet away|out at|on|from PLACES+",
            "PLACES+ IS not [ART] triplet|triplets"),
    *_rules(Action.TRIPLET, f"PLACES+ {_IS} [ART] triplet|triplets", f"{_MAKE} PLACES+ [into] [ART] triplet|triplets",
            "PLACES+ form|make|starts|begins|start|begin [ART] triplet", "[a] triplet at|on|from|with PLACES+",
            f"{_PUT} [a] triplet at|on|from PLACES+"),
    *_rules(Action.SLUR, "slur PLACES+ [together]", "slur [from] begin=PLACES to|until|through end=PLACES",
            "[a] slur from|over|on|between|at begin=PLACES to|and|until|through end=PLACES",
            "[a|one] slur over|on|between|from|at PLACES+",
            f"{_PUT} [a] slur over|on|between|from|at PLACES+",
            f"{_PUT} [a] slur over|on|between|from|at begin=PLACES to|and|until end=PLACES",
            "PLACES+ [IS] slurred [together]", "PLACES+ IS [sung] on|to one|the [same] SYLLABLE",
            "begin=PLACES to end=PLACES IS slurred"),
    *_rules(Action.NO_SLUR, "no slur at|on|from|over|after PLACES+", f"{_OUT} the slur at|on|from|over|after PLACES+",
            "PLACES+ IS not slurred"),
    *_rules(Action.ADD, f"{_PUT} NEW [note] after|following PLACES+",
            "after PLACES+ (comes|follows|is|add|insert|put | there is|was|should [be]) NEW [missing]",
            "there is|was NEW [note] missing after PLACES+ [NEW]", "NEW [note] is|was missing after PLACES+", before=False),
    *_rules(Action.ADD, f"{_PUT} NEW [note] before PLACES+",
            "before PLACES+ (comes|follows|is|add|insert|put | there is|was|should [be]) NEW [missing]",
            "there is|was NEW [note] missing before PLACES+ [NEW]", "NEW [note] is|was missing before PLACES+", before=True),
    (f"[in|at|on|for] {_BAR} bar=NUMBER inside=COMMAND", {"action": Action.VALUE}),
    *_rules(Action.NO_REPEAT, "no repeat|repeats", f"{_OUT} the|all [the] repeat|repeats", "[there] is|are no repeat|repeats",
            "nothing is repeated",
            "without repeat|repeats"),
    *_rules(Action.REPEAT, "repeat BARS", "BARS IS repeated|again [once]", "BARS [IS] [sung|played] twice", "BARS repeats|repeat",
            f"{_PUT} [a] repeat [sign|signs] around|over|on|for|at|from BARS", "sing|play BARS twice"),
    *_rules(Action.SING_AGAIN, "BARS [once] again|anew|over", "[let me] [i] [will] sing|record|do BARS [once] again|anew|over",
            "BARS once more", "[let me] sing|record|do BARS once more", "redo|resing BARS", "[a|another] new|other take of BARS"),
    *_rules(Action.REPEAT, "repeat (everything | it all | the whole tune|song|piece|thing | all [of] [it])",
            "(everything | it all | the whole tune|song|piece|thing | the tune | all of it) is repeated",
            "(everything | it all | the whole tune|song|piece|thing | the tune | all of it) is sung|played twice"),
    *_rules(Action.COPY,
            "BARS [IS] [just|exactly] (as|like | the same as | same as | the same like | identical to | equal to) source=BARS",
            f"{_MAKE} BARS [just] (as|like | the same as | same as | into) source=BARS", "BARS repeats|repeat|copies source=BARS",
            "BARS IS [a|the] repeat|repetition|copy of source=BARS", "copy source=BARS to|into|onto|over BARS",
            "write|use|put|take source=BARS for|into|in BARS"),
    *_rules(Action.TEMPO, "[set|make] [the] tempo|speed|pace [is|at|to|of|should] [be] bpm=FIGURE [bpm]", "[at] bpm=FIGURE bpm",
            "[it] [is] [at] bpm=FIGURE beats|crotchets|quarters [a|per|to|in] [the|a] minute",
            "[make|play|sing|take it] [a] [bit|little] faster|slower|quicker [at|to] bpm=FIGURE [bpm]",
            "play|sing|take it|this at bpm=FIGURE [bpm]",
            "([the] tempo | it) IS [much] too fast|slow|quick (make it | it IS) [at] bpm=FIGURE [bpm]"),
    *_rules(Action.SYLLABLE, "[the] SYLLABLE under|at|of|for|on|below PLACES IS|to text=WORD",
            f"{_MAKE} the SYLLABLE under|at|of|for|on|below PLACES to text=WORD",
            "PLACES has [the] SYLLABLE text=WORD", "PLACES SYLLABLE [IS] text=WORD",
            "[put|write] [the] [SYLLABLE] text=WORD under|below|at|on PLACES",
            "PLACES is sung on|to [the] [SYLLABLE] text=WORD"),
    *_rules(Action.SYLLABLE, "no SYLLABLE under|at|of|for|on|below PLACES",
            f"{_OUT} the SYLLABLE under|at|of|for|on|below PLACES", text=""),
    *_rules(Action.TIME, "[in] TIME [time]", "[it] is|goes|was [written] [in] TIME [time]",
            f"{_WHOLE} is|goes|was|should [be] [written] in TIME [time]", "[it] [is] [in] TIME [time] not [in] other=TIME [time]",
            "count|write|read [it] in TIME [time]",
            "[the] time [signature] [is|in|should] [be] TIME", "it should|must be [in] TIME [time]",
            "change|set the time [signature] to TIME",
            "[it] [has|is|are] [there] [are|is] TIME beat|beats [in|to|per] [a|the|each|every] [bar|measure]", "in TIME beats",
            "make it [in] TIME"),
    *_rules(Action.TIME, "[it] [is] [like] [a] waltz [time]", "it waltzes", text="3/4"),
    *_rules(Action.TIME, "[it] [is] [like] [a] march", "it marches", "it is [like] marching", text="2/4"),
    *_rules(Action.TIME, "it rocks", "[it] [is] [like] [a] jig", "it is rocking", text="6/8"),
    *_rules(Action.KEY, "[write|put] [it] [is] [goes] in KEY", "[it] [is] KEY", f"{_WHOLE} is in KEY",
            "[it] [is] [in] [the] key [signature] [is] [of] KEY",
            "[it] [is] in the key of key=KEYNOTE", f"{_WHOLE} is in key=KEYNOTE", "in key=KEYNOTE", "[the] key [is] key=KEYNOTE",
            "change|set the key to KEY"),
    *_rules(Action.TRANSPOSE, f"[{_WHOLE}] [is|should|goes] [be] [sung] INTERVAL DIRECTION",
            f"move|transpose|shift|put|sing|write {_WHOLE} DIRECTION [by] INTERVAL",
            f"move|transpose|shift|put|sing|write {_WHOLE} INTERVAL DIRECTION",
            "transpose|move|shift DIRECTION [by] INTERVAL", "transpose [by] INTERVAL DIRECTION",
            f"[{_WHOLE}] DIRECTION [by] INTERVAL", f"DIRECTION [by] INTERVAL {_WHOLE}", sign=1),
    *_rules(Action.TRANSPOSE, f"[{_WHOLE}] [is|was] [all] INTERVAL too DIRECTION", f"{_WHOLE} is all INTERVAL too DIRECTION",
            sign=-1),
    *_rules(Action.NO_PICKUP, "[there] [is|was] (no|without) PICKUP", "(it | the tune|song|piece) has|had no PICKUP",
            f"{_OUT} the PICKUP",
            "(it | the tune|song | the first note) begins|starts|is|begin|start on [the] (first|strong|main|heavy|down) [beat]",
            "(it | the tune|song | the first note) begins|starts|is on ([the] beat one|1 | the beat|downbeat | one)",
            "begins|starts on the first|strong|main beat", "begins|starts on (beat one|1 | one | the downbeat)"),
    *_rules(Action.PICKUP, "[a|the] PICKUP [is|of] LENGTH", "[a|an] LENGTH PICKUP",
            "(it | the tune|song) begins|starts with [a|an|the] PICKUP of LENGTH",
            "(it | the tune|song) begins|starts with [a|an] LENGTH PICKUP",
            "the first note is|belongs [in] [to] a|an|the PICKUP",
            "the first count=NUMBER notes are|belong|form [in] [to] a|an|the PICKUP",
            "it begins|starts LENGTH before the bar|measure"),
    *_rules(Action.DOUBLE, "[all|the] [the] [note] values [is|are|should] [be] twice|double as long",
            "(all|the [the] notes | every note | everything) [is|are|should] [be] twice|double as long [as] [it] [is] [now]",
            "make (all [the] notes | everything | it [all]) twice|double as long",
            "double ([all] [the] [note] values|notes|lengths | everything)",
            "(everything|it | all notes) is [written] twice too short|fast",
            "everything is written half as long as it should be"),
    *_rules(Action.HALVE, "[all|the] [the] [note] values [is|are|should] [be] half as long", "[all] values twice as short",
            "(all|the [the] notes | every note | everything) [is|are|should] [be] half as long [as] [it] [is] [written] [now]",
            "make (all [the] notes | everything | it [all]) half as long",
            "halve|half ([all] [the] [note] values|notes|lengths | everything)",
            "(everything|it | all notes) is [written] twice too long|slow"),
    *_rules(Action.TITLE, "call|name it text=REST", "[the|its] title|name [is] text=REST",
            "change|set the title|name to text=REST", "it is called|named text=REST",
            "[the] [tune|song] is called text=REST"),
    *_rules(Action.WORDS, "[the] words|lyrics|text [are|is] text=REST"),
]
ENGLISH_RULES: dict[str, Sequence[tuple[str, Mapping[str, Any]]]] = {
    **_PARTS,
    "PICKUP": [("pickup|upbeat|anacrusis", {}), ("pick up", {}), ("up beat", {})],
    "NEW": [("[ART] [another] note", {}), ("[ART] [another] ticks=VALUE", {}), ("[another] [ART] ticks=VALUE PITCH", {}),
            ("[another] [ART] PITCH ticks=VALUE", {}), ("[another] [ART] PITCH", {}), ("another", {})],
    "NUMBERS": [("from=NUMBER to|through|until|- to=NUMBER", {}), ("all=NUMBER+", {})],
    "COMMAND": _COMMANDS,
}
_UNDO, _REDO = ("undo", "undo that", "undo it", "take that back", "take it back", "go back", "back", "undo the last",
        "go back one", "go back one step", "one step back", "undo the last change", "undo the last one"), \
    ("redo", "redo that", "redo it", "do it again", "put it back", "again please")
ENGLISH_ORDERS: dict[str, Order] = {
    **dict.fromkeys(_UNDO, Order.UNDO), **dict.fromkeys(_REDO, Order.REDO),
    **dict.fromkeys(("done", "end", "stop", "quit", "exit", "finish", "finished", "that's all", "that is all", "i am done"),
            Order.END),
    **dict.fromkeys(("help", "?", "what can i say", "what can i type", "help me"), Order.HELP),
    **dict.fromkeys(("bars", "measures", "read", "again", "read it", "read the bars", "read the measures", "read it again",
                     "say it", "say it again"), Order.BARS),
    **dict.fromkeys(("ask", "ask me", "questions", "ask questions", "ask me questions", "question", "ask me something"),
            Order.ASK),
    **dict.fromkeys(("compare", "compare it", "play both", "both", "play both together", "compare them", "bar by bar",
                     "measure by measure"), Order.COMPARE),
    **dict.fromkeys(("play", "play it", "play it again", "let me hear it", "let me hear", "listen"), Order.PLAY),
}


_UNKNOWN = dict.fromkeys(("i don't know", "i do not know", "don't know", "not sure", "no idea", "skip", "neither", "", "?"),
    Answer.UNKNOWN)
#: Which of two or three versions was heard: 0 where nobody knows, -1 (`scores.HEAR_AGAIN`) to hear them again.
_VERSIONS = {**dict.fromkeys(_UNKNOWN, 0),
             **dict.fromkeys(("first", "the first", "1", "one", "first one", "the first one", "f"), 1),
             **dict.fromkeys(("second", "the second", "2", "two", "second one", "the second one", "s"), 2),
             **dict.fromkeys(("third", "the third", "3", "three", "third one", "the third one", "t"), 3),
             **dict.fromkeys(("again", "once more", "again please", "play again", "play"), -1)}
_ANSWERS: dict[QuestionKind, dict[str, Answer]] = {
    QuestionKind.GAIT: {
        **_UNKNOWN, **dict.fromkeys(("march", "marches", "it marches", "a march", "it is a march", "it's a march"), Answer.MARCH),
        **dict.fromkeys(("waltz", "waltzes", "it waltzes", "a waltz", "it is a waltz", "it's a waltz"), Answer.WALTZ),
        **dict.fromkeys(("rock", "rocks", "it rocks", "rocking", "a jig", "jig", "it rolls"), Answer.ROCK)},
    QuestionKind.BEATS: {
        **_UNKNOWN, **dict.fromkeys(("two", "2", "in two", "two beats"), Answer.TWO),
        **dict.fromkeys(("four", "4", "in four", "four beats"), Answer.FOUR)},
    QuestionKind.FIRST: {
        **_UNKNOWN, **dict.fromkeys(("yes", "y", "yes it does", "on the strong beat", "it does"), Answer.STRONG),
        **dict.fromkeys(("no", "n", "later", "before", "no it does not", "no it doesn't", "it comes later"), Answer.BEFORE)},
}


def correction_words(numbers: Mapping[str, int], ordinals: Mapping[str, int], values: Mapping[str, Fraction]) -> CorrectionWords:
    """The words and rules of English. values: names of undotted values in crotchets."""
    short = {name.removesuffix(" note"): base for name, base in values.items()}
    figures = {f"{n}{'th' if 10 <= n % 100 <= 20 else {1: 'st', 2: 'nd', 3: 'rd'}.get(n % 10, 'th')}": n for n in range(1, 100)}
    return CorrectionWords(
        numbers={**numbers, **ordinals, **figures, "last": -1, "final": -1}, values={**short, **values},
        dotted={"double dotted": 2, "twice dotted": 2, "dotted": 1}, articles=("a", "an", "the"),
        amounts={"half a": Fraction(1, 2), "half": Fraction(1, 2), "one and a half": Fraction(3, 2), "a": Fraction(1),
                "a quarter of a": Fraction(1, 4)},
        times={"once": 1, "twice": 2, "two times": 2, "three times": 3},
        steps={letter.lower(): letter for letter in "CDEFGAB"}, several=tuple(f"{letter}s" for letter in "bcdefg"),
        accidentals={"double sharp": 2, "sharp": 1, "#": 1, "♯": 1, "double flat": -2, "flat": -1, "b": -1, "♭": -1,
                "natural": 0},
        octaves={f"in the {word} octave": n for word, n in ordinals.items()},
        modes={"major": "major", "minor": "minor"},
        intervals={"semitone": 1, "half step": 1, "half tone": 1, "tone": 2, "whole step": 2, "whole tone": 2, "step": 2,
                "minor third": 3,
                   "major third": 4, "third": 4, "fourth": 5, "fifth": 7, "octave": 12},
        directions={"higher": 1, "up": 1, "high": 1, "lower": -1, "down": -1, "low": -1},
        contractions={"it's": "it is", "there's": "there is", "that's": "that is", "isn't": "is not", "wasn't": "was not",
                      "aren't": "are not", "doesn't": "does not", "shouldn't": "should not", "don't": "do not",
                      "weren't": "were not"},
        joining=("and", "then", "also", "but", "plus"),
        before=("please", "that", "so", "can you", "could you", "i think", "i think that", "no", "now", "well", "actually",
                "can we",
                "i want", "yes"),
        after=("please", "i think", "instead", "thank you", "thanks"),
        rules=ENGLISH_RULES, orders=ENGLISH_ORDERS, answers=_ANSWERS, versions=_VERSIONS)
