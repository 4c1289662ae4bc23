"""At home, alone, no key from start to end: greeting, warm-up, what was set, and an end by itself.

What a good teacher does: after a miss slower and together, then a smaller piece, down to the one move as a slide and to the
first note, and up again; every piece ends with something that went right or is sung together, and a song with the whole.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

from companion.diary import Action, Tally, next_kind, suggestion
from companion.ear import NOTHING_DB
from companion.language import (
    LessonSentence,
    all_for_today,
    hand_for_pupil,
    next_time,
    phrase_place,
    phrase_went_well,
    plan_line,
    smaller_piece,
    title_line,
    was_that_you,
)
from companion.lesson.ladder import Ladder, Manner, Size
from companion.lesson.listen import Heard, HeardKind
from companion.lesson.session import SILENCE_S, Session, Taken, no_take
from companion.lesson.voices import Singer
from companion.match import CueKind, MoveKind, Verdict, move_to_try
from companion.tune import Key, LineNote, Tune, spell

WARM_UP_S = 90.0  # a short warm-up: about a seventh of ten minutes
WARM_UP_SHARE = 0.2  # of the session at most, where it is shorter
EDGE = 1.0  # semitones that the warm-up stays inside the pupil's range
SET_S = 180.0  # sung so long, a young voice rests
REST_S = 15.0
MOST_SILENCES = 3  # in a row, ten seconds each, before it asks whether anybody is there
GIVE_UP = 6  # silences in a row after which it waits quietly
AWAY_S = 300.0  # how long it waits for somebody who has left
MOVED_DB, MOVED_S = 12.0, 0.1  # a sound so far over the room for so long is listened to
PATTERN = (0, 2, 4, 5, 7, 5, 4, 2, 0)  # five notes up and down a major scale
PATTERN_QUARTER_S = 0.9  # quavers of 0.45 s: calm
#: How many times as slow a piece is given.
SLOWNESS = {Manner.PLAIN: 1.0, Manner.TOGETHER: 1.35, Manner.SLIDE: 1.5}
MOST_MODELS = 3  # takes that are not the pupil's, before the line is given again
FEWEST_TOLD = 4  # notes of a line from which on it is told who sings
LONG = 9  # notes; a shorter piece is sung twice together
EASY = 2  # phrases in a row at the first take, after which two are sung in one
LEAST_SONG_S = 60.0  # with less left no other song is begun: it would end in the middle
MOST_OF_IT = 0.8  # share of its notes from which on a song has been sung, right or not
LEAST_LEFT = 0.5  # share of a song's phrases that did not come, from which an easier one is next
#: What is said before the whole phrase with the companion: by whether it is the first time, and how often it is sung.
PHRASE_WITH_ME = {(True, 1): LessonSentence.SLOWER_WITH_ME, (True, 2): LessonSentence.SLOWER_TWICE_WITH_ME,
                  (False, 1): LessonSentence.WHOLE_PHRASE_WITH_ME, (False, 2): LessonSentence.WHOLE_PHRASE_TWICE_WITH_ME}
#: Keys after which the line is given again before it is listened for.
GIVEN_AGAIN = (Action.AGAIN, Action.SLOWER, Action.FASTER, Action.LOWER, Action.HIGHER)


@dataclass(frozen=True)
class Set:
    """A tune to practise and its name."""

    name: str
    tune: Tune

    @property
    def title(self) -> str:
        return self.tune.title or self.name

    @cached_property
    def phrases(self) -> list[tuple[LineNote, ...]]:
        return [self.tune.phrase(k) for k in range(1, max(n.phrase for n in self.tune.line()) + 1)]


def pattern(low: int, steps: Sequence[int] = PATTERN) -> tuple[LineNote, ...]:
    """A warm-up pattern from a lowest note (MIDI number), as quavers with a longer last note."""
    out, onset = [], Fraction(0)
    for i, step in enumerate(steps):
        value = Fraction(1) if i + 1 == len(steps) else Fraction(1, 2)
        out.append(LineNote(number=i + 1, pitch=spell(low + step, Key()), onset_quarters=onset, quarters=value, syllable="",
                            word_place="", phrase=1, bar=1, rest_after=Fraction(0), sources=((0, i),)))
        onset += value
    return tuple(out)


def times_together(line: Sequence[LineNote]) -> int:
    """How often a piece is sung with the companion before it is sung alone."""
    return 2 if len(line) < LONG else 1


def rising(low: float, high: float, span: int = 7) -> list[int]:
    """Lowest notes of a pattern that climbs by semitones inside a range and turns back before its edge."""
    first, last = int(-(-(low + EDGE) // 1)), int((high - EDGE - span) // 1)
    if last < first:
        middle = round((low + high - span) / 2)
        return [middle]
    up = list(range(first, last + 1))
    return up + up[-2::-1]


class Practise:
    """One session at home. sets: gives what is to be practised, once it is loaded.

    more: gives another tune once all is sung and time is left, by the names sung so far; None ends the session.
    easier: the same for one that is easier. helper: somebody is beside the pupil, so that the hand may be led. first: the
    pupil's first session. minutes: how long it lasts. warm_up: whether it begins with one.
    """

    def __init__(self, session: Session, sets: Callable[[], list[Set]], minutes: float, warm_up: bool = True,
                 helper: bool = False, more: Callable[[list[str]], Set | None] | None = None,
                 easier: Callable[[list[str]], Set | None] | None = None, first: bool = False) -> None:
        self.session, self.sets, self.helper = session, sets, helper
        self.more, self.easier, self.first = more, easier, first
        self.until_s = minutes * 60.0
        self.warm_up_s = min(WARM_UP_S, WARM_UP_SHARE * self.until_s) if warm_up else 0.0
        self.silences = 0
        self.left = 0  # phrases of the song that did not come
        self._talk_said = self._room_said = self._talked = False
        self._slid = False  # it has been said how a slide is sung
        self._next_rest = SET_S
        self._silent_from_s = 0.0  # when the first of the silences in a row began
        self._over = False
        self._helped = False  # the phrase before did not come, so the next one begins together
        self._given: float | None = None  # the key in which was given last, None before a new song
        self._place = session.language.message(LessonSentence.WARMING_UP)

    # --- the session ---

    def run(self) -> None:
        """After the greeting: everything, to the closing words."""
        if self.first:
            self._say(LessonSentence.HEADPHONES)
        work = self.sets()
        names = [s.name for s in work]
        self._say_line(plan_line(self.session.language, [s.title for s in work], sum(len(s.phrases) for s in work),
                                 max(1, round(self.until_s / 60))))
        if self.warm_up_s:
            self._warm_up()
        for s in work:
            self._tune(s)
            if self.left >= LEAST_LEFT * len(s.phrases) and self.easier is not None and not self.over:
                easier = self.easier(names)
                if easier is not None:
                    names.append(easier.name)
                    self._say(LessonSentence.EASIER_SONG)
                    self._tune(easier)
        while self.more is not None and self.until_s - self.session.elapsed_s > LEAST_SONG_S and not self._over and (
                another := self.more(names)) is not None:
            names.append(another.name)
            self._tune(another)
        self._close()

    def _tune(self, s: Set) -> None:
        """A song: phrase by phrase, two in one where it goes easily, and the whole of it at the end."""
        if self.over:
            return
        self.session.fit(s.tune.line())
        self._given, self._helped = None, False
        self._say_line(title_line(self.session.language, s.title))
        self.left = easy = k = 0
        while k < len(s.phrases) and not self.over:
            line = s.phrases[k]
            if easy >= EASY and k + 1 < len(s.phrases):
                self._say(LessonSentence.TWO_PHRASES)
                k += 1
                line = (*line, *s.phrases[k])
            easy = easy + 1 if self._phrase(s, line, k + 1) else 0
            k += 1
        if len(s.phrases) > 1 and not self.over:
            self._whole(s)

    def _whole(self, s: Set) -> None:
        """The whole song, together and then, where most of it went, alone."""
        session, line = self.session, s.tune.line()
        quarter_s = session.quarter_s(s.tune.quarter_bpm)
        left_s = self.until_s - session.elapsed_s
        song_s = float(line[-1].onset_quarters + line[-1].quarters) * quarter_s
        if left_s < song_s:
            return
        self._say(LessonSentence.WHOLE_SONG_WITH_ME)
        session.along(line, quarter_s)
        self._keys()
        weak = self.left >= LEAST_LEFT * len(s.phrases)
        if weak and left_s >= 2.5 * song_s and not self.over:
            self._say(LessonSentence.ONCE_MORE_WITH_ME)
            session.along(line, quarter_s)
            self._keys()
        if weak or left_s < 2.5 * song_s or self.over:
            self._say(LessonSentence.WHOLE_SONG_TOGETHER)
            return
        self._say(LessonSentence.WHOLE_SONG_ALONE)
        session.give_first_note(line)
        heard = session.listen(line, quarter_s)
        taken = None
        if isinstance(heard, Action):
            session.action = heard
            self._keys()
            return
        if heard.kind is HeardKind.TAKE and heard.match is not None:
            taken = session.answer(heard, s.name, quiet=True)
            if taken.kind is CueKind.ALL_RIGHT:
                self._say(LessonSentence.WHOLE_SONG_RIGHT)
                return
        if self.until_s - session.elapsed_s >= song_s and not self._over:  # not with a miss
            self._say(LessonSentence.ONCE_TOGETHER)
            session.along(line, quarter_s)
            self._keys()
        sung = 0 if taken is None else sum(n.sung for n in taken.match.notes)
        whole = taken is not None and taken.kind is not CueKind.STOPPED_EARLY and sung >= MOST_OF_IT * len(line)
        self._say(LessonSentence.WHOLE_SONG_SUNG if whole else LessonSentence.ENOUGH_OF_THIS_SONG)

    @property
    def over(self) -> bool:
        return self._over or self.session.elapsed_s >= self.until_s

    def _say(self, sentence: LessonSentence) -> None:
        self.session.say(sentence)
        self._keys()

    def _say_line(self, text: str) -> None:
        self.session.say_line(text)
        self._keys()

    def _keys(self) -> None:
        """No key is needed; those that are pressed still work."""
        action = self.session.action
        if action is not None:
            self.session.action = None
            if action is Action.QUIT:
                self._over = True
            else:
                self.session.serve(action, self._place)

    # --- warm-up ---

    def _warm_up(self) -> None:
        session = self.session
        low, high = session.range
        end = session.elapsed_s + self.warm_up_s
        self._say(LessonSentence.WARM_UP)
        self._glide(low, high)
        if self.over or session.elapsed_s >= end:
            return
        self._say(LessonSentence.FIVE_NOTES)
        shift, session.shift = session.shift, 0.0
        lows = rising(low, high)
        up, half = lows[:len(lows) // 2 + 1], (session.elapsed_s + end) / 2
        missed, reached = 0, 0
        while reached < len(up) and missed < 2 and not self.over and session.elapsed_s < half:
            missed = 0 if self._pattern(up[reached]) else missed + 1
            reached += 1
        # Higher is not easy today, or half the time is over: down again, over what has been sung. Nothing need be listened to.
        down = up[:max(1, reached - missed)][::-1]
        if session.elapsed_s < end and not self.over:
            self._say(LessonSentence.DOWN_WITH_ME)
        for lowest in down:
            if self.over or session.elapsed_s >= end:
                break
            session.shift = 0.0
            session.along(pattern(lowest), PATTERN_QUARTER_S)
            self._keys()
        session.shift = shift

    def _pattern(self, lowest: int) -> bool:
        """A pattern given and sung; whether it went right."""
        session = self.session
        session.shift = self._given = 0.0  # a pattern begins on its own first note
        heard = self._turn(pattern(lowest), PATTERN_QUARTER_S)
        if heard is None or heard.match is None:
            return False
        return session.answer(heard, "warm-up", quiet=True, keep=False).kind is CueKind.ALL_RIGHT

    def _glide(self, low: float, high: float) -> None:
        session = self.session
        middle = (low + high) / 2
        self._say(LessonSentence.SLIDE)
        for a, b in ((middle - 4, middle + 3), (middle + 3, middle - 4)) * 2:
            if self.over:
                break
            session.slide_along(a, b)  # whatever is sung with it is a slide; nothing is judged
            self._keys()

    # --- phrases ---

    def _phrase(self, s: Set, line: tuple[LineNote, ...], number: int) -> bool:
        """A phrase until it goes right or is left for another day. Whether it went at the first take."""
        session = self.session
        ladder, missed = Ladder(line, together=self._helped), False
        quarter_s = session.quarter_s(s.tune.quarter_bpm)
        self._place = phrase_place(session.language, s.title, number)
        self._rest()
        if self._helped and not self.over:
            self._say(LessonSentence.THIS_ONE_WITH_ME)
        while not ladder.done and not self.over:
            manner = ladder.piece.manner
            # A slide has no words, and a move or a note is too little to tell a voice by.
            told = manner is not Manner.SLIDE and len(ladder.notes()) >= FEWEST_TOLD
            heard = self._turn(ladder.notes(), quarter_s * SLOWNESS[manner], manner, missed if told else None)
            if heard is None:
                if not self._talked:
                    continue  # silence is no try
                ladder.unsure()
            else:
                taken = session.answer(heard, s.name)
                missed = taken.kind not in (CueKind.ALL_RIGHT, CueKind.ONE_NOTE)
                self._keys()
                self._step(ladder, taken)
            if ladder.changed and not ladder.done and not self.over:
                self._rest()
                self._announce(ladder)
        self._helped = ladder.left
        if missed and not ladder.done and not self._over:  # the time is over: not with a miss
            self._say(LessonSentence.ONCE_TOGETHER)
            session.along(line, quarter_s)
        if ladder.left and not self.over:
            self.left += 1
            self._say(LessonSentence.TWICE_TOGETHER)
            session.along(line, quarter_s, 2)
            self._keys()
            self._say(LessonSentence.LEAVE_FOR_ANOTHER_DAY)
        return ladder.easy

    def _step(self, ladder: Ladder, taken: Taken) -> None:
        if taken.kind in (CueKind.ALL_RIGHT, CueKind.ONE_NOTE):
            ladder.right()
        elif taken.kind is CueKind.ONE_TO_TRY:
            ladder.missed(move_to_try(taken.match))
        else:
            ladder.unsure()

    def _announce(self, ladder: Ladder) -> None:
        """Another piece, or the same in another manner: what it is, and for a single move the hand's way."""
        notes, piece, language = ladder.notes(), ladder.piece, self.session.language
        if piece.size is Size.NOTE:
            self._say(LessonSentence.ONLY_THE_FIRST_NOTE)
            return
        if ladder.ending:
            self._say(LessonSentence.WHAT_WENT_WELL)
            return
        together = times_together(notes) if piece.manner is Manner.TOGETHER else 0
        if piece.size is Size.PHRASE:
            self._say(PHRASE_WITH_ME[ladder.takes == 1, together])
            return
        self._say_line(smaller_piece(language, notes, ladder.line, together))
        if piece.manner is not Manner.SLIDE or len(notes) < 2:
            return
        semitones = notes[1].midi - notes[0].midi
        if self.helper:
            if not self._room_said:
                self._room_said = True
                self._say(LessonSentence.ROOM_AROUND_YOU)
            self._say_line(hand_for_pupil(language, semitones))
            self.session.hand(semitones)
        self._say(LessonSentence.ON_OO_AGAIN if self._slid else LessonSentence.ON_OO)
        self._slid = True

    # --- turns ---

    def _give(self, line: Sequence[LineNote], quarter_s: float, manner: Manner, again: bool = False) -> None:
        """The line for the pupil to sing, with its first note before it where the key is new. again: after it was given and
        nobody sang: then it is played once, whatever the manner."""
        session = self.session
        if manner is Manner.TOGETHER and not again:
            session.along(line, quarter_s, times_together(line))
            self._keys()
            self._say(LessonSentence.NOW_ALONE)
            session.give_first_note(line)
        elif manner is Manner.SLIDE and len(line) > 1:
            session.give_slide(line, quarter_s)
        else:
            session.give(line, quarter_s, note=session.shift != self._given)
        self._given = session.shift
        self._keys()

    def _turn(self, line: Sequence[LineNote], quarter_s: float, manner: Manner = Manner.PLAIN,
              after_miss: bool | None = None) -> Heard | None:
        """Give a line and hear it sung; None where nothing was (that is said, and it was asked again once).

        after_miss: whether the last take of this line was a miss, so that somebody may sing it for the pupil to hear; None
        where it is not told who sings.
        """
        self._talked = False
        for attempt in range(2):
            if self.over:
                return None
            self._give(line, quarter_s, manner, again=attempt > 0 or self.silences > 0)
            heard = self._listen(line, quarter_s, manner)
            for _model in range(MOST_MODELS):
                if heard is None or heard.kind is not HeardKind.TAKE or heard.match is None:
                    break
                self.silences = 0
                if (after_miss is None and not heard.played) or self._pupils(heard, bool(after_miss)):
                    return heard
                heard = self._listen(line, quarter_s, manner)
            if heard is None:
                return None
            if heard.kind is not HeardKind.TAKE:
                self._nothing(heard)
        return None

    def _listen(self, line: Sequence[LineNote], quarter_s: float, manner: Manner) -> Heard | None:
        """What is heard, keys served; None where one of them ends the session."""
        session = self.session
        heard = session.listen(line, quarter_s)
        while isinstance(heard, Action):
            session.action = heard
            again = heard in GIVEN_AGAIN
            self._keys()
            if self._over:
                return None
            if again:
                self._give(line, quarter_s, manner)
            heard = session.listen(line, quarter_s)
        return heard

    def _pupils(self, heard: Heard, after_miss: bool) -> bool:
        """Whether a take is the pupil's. Another's is a model, and in doubt it is asked."""
        session = self.session
        singer = session.whose(heard, after_miss)
        if singer is Singer.MODEL:
            self._say(LessonSentence.NOW_YOU)
        elif singer is Singer.UNKNOWN:
            self._say_line(was_that_you(session.language, session.pupil.nickname if session.pupil else None))
        return singer is Singer.PUPIL

    def _nothing(self, heard: Heard) -> None:
        """What is said where nothing was sung; after long it waits quietly."""
        if heard.others or heard.kind is HeardKind.UNCLEAR:
            # Somebody is there and talks: told once what is waited for.
            self._talked = True
            if not self._talk_said:
                self._talk_said = True
                self._say(LessonSentence.SINGING_ONLY)
            return
        if heard.kind is HeardKind.SILENCE:
            self.silences += 1
            if self.silences == 1:
                self._silent_from_s = max(0.0, self.session.elapsed_s - SILENCE_S)
            self._next_rest = self.session.elapsed_s + SET_S  # the voice has rested
            if self.silences >= GIVE_UP:
                self._away()
                return
            if self.silences == MOST_SILENCES:
                self._say(LessonSentence.STILL_NOTHING)
                return
            if self.silences > 1 and heard.room_db >= NOTHING_DB:
                return  # it is given once more without a word
        self._say(no_take(heard))

    def _away(self) -> None:
        """Nobody is there: wait quietly, with an eye on the level only, until a sung note or a key. The time since the first of
        the silences does not count."""
        session = self.session
        began = session.elapsed_s
        self._say(LessonSentence.AWAY)
        while session.elapsed_s - began < AWAY_S and not self._over:
            if session.action is None and session.quiet_for(AWAY_S - (session.elapsed_s - began), MOVED_DB, MOVED_S):
                break
            if session.action is not None:
                self._keys()
                self.silences = 0
            else:
                heard = session.listen(None, silence_s=2.0)
                if isinstance(heard, Action):
                    session.action = heard
                    self._keys()
                    self.silences = 0
                elif heard.kind is HeardKind.TAKE:
                    self.silences = 0
            if not self.silences:
                break
        if self.silences:
            self._over = True
        elif not self._over:
            session.leave_out(session.elapsed_s - self._silent_from_s)
            self._next_rest = session.elapsed_s + SET_S
            self._say(LessonSentence.WELCOME_BACK)

    def _rest(self) -> None:
        session = self.session
        if session.elapsed_s < self._next_rest or self.until_s - session.elapsed_s < 2 * REST_S:
            return
        self._say(LessonSentence.REST)
        end = session.elapsed_s + REST_S
        while session.elapsed_s < end and not self.over:
            session.idle(0.5)
            self._keys()
        self._next_rest = session.elapsed_s + SET_S

    # --- the end ---

    def _close(self) -> None:
        session, language = self.session, self.session.language
        session.action = None
        found = closing(session.taken)
        lines = [language.message(LessonSentence.NOTHING_FOR_A_WHILE)] if self.silences >= GIVE_UP else []
        lines.append(all_for_today(language, session.pupil.nickname if session.pupil is not None else None))
        if found.best is not None:
            lines.append(phrase_went_well(language, found.best))
        elif session.taken:
            lines.append(language.message(LessonSentence.SANG_TO_THE_END))
        kind = found.next
        if session.diary is not None and session.pupil is not None:
            suggested = suggestion(session.diary, session.pupil)  # the same rule as the diary's week
            kind = suggested.tally.kind if suggested is not None else None
        lines.append(next_time(language, kind) if kind is not None or found.best is not None
                     else language.message(LessonSentence.NEXT_TIME_AGAIN))
        session.out.say(" ".join(lines))


@dataclass(frozen=True)
class Closing:
    """What a session came to: the longest line that went all right, of equals the last (None where none did), and the kind
    of move for next time (None where none was sung often enough and missed)."""

    best: tuple[LineNote, ...] | None
    next: MoveKind | None


def closing(taken: Sequence[Taken]) -> Closing:
    """What the takes of a session came to."""
    verdicts: dict[MoveKind, list[Verdict]] = {}
    for t in taken:
        for m in t.match.moves:
            verdicts.setdefault(m.kind, []).append(m.verdict)
    tally = next_kind([Tally(kind, v.count(Verdict.RIGHT), v.count(Verdict.WRONG), v.count(Verdict.UNSURE))
                       for kind, v in verdicts.items()])
    # Not a whole song nor two phrases: their words would be too many.
    right = [t.line for t in taken if t.kind is CueKind.ALL_RIGHT and t.line[-1].phrase == t.line[0].phrase]
    best = max(right, key=lambda line: (len(line), right.index(line)), default=None)
    return Closing(best, tally.kind if tally is not None else None)
