"""What every live session does: play, wait, listen, answer; the same in a lesson and at home.

The companion never hears itself: while it plays, and for the room's tail after, what the microphone brings is
dropped (half duplex). The clock is handed in, so that a test can run a session as fast as the machine allows.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from companion.audio import OUTPUT_RATE, Sound, concatenated, glide, line_sound, move_glides, silence, starting_note
from companion.diary import Action, Detail, Diary, Pupil, SessionKind, SettingName, Settings, beside
from companion.ear import CLIPPED_SHARE, FAINT_DB, NOTHING_DB, RATE, MicrophoneGone, PitchTrack
from companion.errors import Trouble
from companion.language import (
    Language,
    LessonSentence,
    all_right,
    count_line,
    cue_text,
    detail_lines,
    given_line,
    hand_for_helper,
    lesson_summary,
    phrase_words,
    set_for_home,
    try_again,
)
from companion.lesson.keys import Keys, help_lines
from companion.lesson.listen import Heard, HeardKind, Listener
from companion.lesson.out import Out
from companion.lesson.timbre import timbre_of
from companion.lesson.voices import Singer, Sung, Voices
from companion.match import CueKind, Match, Verdict, advise, unjudged
from companion.messages import _
from companion.tune import LineNote

F32 = NDArray[np.float32]
Listening = Callable[[Sequence[LineNote], float], Callable[[PitchTrack], None]]

BESIDE_RANGE = 2.0  # semitones beside the pupil's range in which the middle of a first line may still lie
TAIL_S = 0.25  # the sound card's delay and a furnished room's tail after our own playback
SILENCE_S = 10.0  # how long a singer may take to begin before it is said that nothing was heard
GONE_S = 60.0  # how long a microphone may be away before the session ends
END_ASKED_S = 6.0  # within which the key that ends is pressed again
HOME_DAYS = 7  # from lesson to lesson
MOST_HARD = 2  # phrases named in a summary
LOOK_S = 1.0  # how often it is looked for
FOLLOW_FROM = 0.3  # closeness of a take from which its key is trusted and followed
LOW, HIGH = 36.0, 86.0  # nothing is played outside: a low man's C to a small child's D
CHILD_RANGE = (58.0, 74.0)  # a comfortable range where nobody has found one: common practice for children
CALM_BPM = 84.0  # crotchets a minute where a tune has no tempo of its own
TEMPO_STEP, SLOWEST, FASTEST = 0.85, 0.4, 1.5  # of a key's press; the same bounds as the setting's
NOTE_S, AFTER_NOTE_S = 0.8, 0.4  # the starting note, and the silence after it


class Ears(Protocol):
    """What a session listens with: a `companion.ear.Microphone`, or a test's. lost: how often sound was lost so far."""

    lost: int

    def read(self, timeout_s: float = 0.1) -> F32 | None: ...
    def forget(self) -> None: ...
    def again(self) -> bool: ...
    def close(self) -> None: ...


class Clock(Protocol):
    """A session's only time: seconds from any beginning."""

    def now(self) -> float: ...
    def sleep(self, seconds: float) -> None: ...


class SystemClock:
    """The time of the machine."""

    def now(self) -> float:
        return time.monotonic()

    def sleep(self, seconds: float) -> None:
        time.sleep(seconds)


@dataclass
class Taken:
    """One answered take of a session: what was to be sung, and what became of it."""

    tune: str
    line: tuple[LineNote, ...]
    match: Match
    say: str
    kind: CueKind
    number: int | None = None  # in the diary, where it is kept


@dataclass
class Session:
    """One session. pupil and diary may be missing: then nothing is kept beyond it.

    shift: semitones between the written notes and what is played. tempo: times the tune's own.
    action: the key that broke off what went before. answered: given every take that was judged, before its cue is said.
    listening: called with a line (empty where anything may be sung) and seconds a crotchet when the ear opens for it; what it
    gives is given the pitch as it comes.
    """

    out: Out
    ears: Ears
    keys: Keys
    settings: Settings
    kind: SessionKind
    language: Language
    diary: Diary | None = None
    pupil: Pupil | None = None
    shift: float = 0.0
    tempo: float = 1.0
    taken: list[Taken] = field(default_factory=list)
    clock: Clock = field(default_factory=SystemClock)
    action: Action | None = None
    voices: Voices = field(default_factory=Voices)
    answered: Callable[[Taken], None] = lambda taken: None
    listening: Listening | None = None

    def __post_init__(self) -> None:
        self.tempo = float(self.settings[SettingName.TEMPO])
        self._began = self.clock.now()
        self._advised = self._resumed = False
        self._ends = False  # it was asked whether to end, and the key came again
        self._lowest, self._highest = 0.0, 0.0  # written, of the tune that is sung
        self._fitted = 0.0  # the shift at which it was given first
        self._tried: dict[tuple[str, int], int] = {}  # by tune and first note of a move: how often it was the one to try
        self._last_sung: Sung | None = None  # what told the singer of the last take
        self._passed: Heard | None = None  # the last take that was not judged, because of who may have sung it
        self._waiting: list[tuple[Taken, tuple[NDArray[np.float32], int] | None]] = []  # could not be saved yet
        self._unkept: Trouble | None = None  # why
        self._said_unkept = False

    # --- out ---

    def interrupted(self) -> bool:
        """Whether a key was pressed; `action` is then what it asks for."""
        action = self.keys.get()
        if action is not None:
            self.action = action
        return action is not None

    def say(self, sentence: LessonSentence) -> bool:
        """Say a sentence; False where a key cut it short (then `action` names it)."""
        return self.say_line(self.language.message(sentence))

    def say_line(self, text: str, after_start: Callable[[], None] | None = None) -> bool:
        """Say one line that is already in the session's language; False where a key cut it short. after_start: called once it
        has begun to sound."""
        self._look_for_loudspeaker()
        return self._after(self.out.say(text, self.interrupted, after_start))

    def play(self, sound: Sound) -> bool:
        """Play a sound; False where a key cut it short."""
        return self._after(self.out.sound(sound, self.interrupted))

    def _look_for_loudspeaker(self) -> None:
        """Where it was lost: have the system's devices listed anew, for which the microphone is opened anew too."""
        if self.out.lost:
            self._open_again()

    def _open_again(self) -> bool:
        """Have the devices listed anew and open the microphone; whether it is there. PortAudio wants every stream closed."""
        return self.out.close() and self.ears.again()

    def _after(self, done: bool) -> bool:
        """The ear comes back. The key "go" only cuts short what it was pressed in; others are for the loop."""
        self._drain()
        if self.action is Action.GO:
            self.action, done = None, True
        elif self.action is Action.PAUSE:
            self.pause()
            done = True
        elif self.action is Action.QUIT and not self._ends:
            self.action = self._end_asked()
            done = True
        return done and self.action is None

    # --- pause and end ---

    def pause(self) -> None:
        """Be silent until the same key or "go"; `action` is then None, or QUIT. Its time does not count."""
        began = self.clock.now()
        self.action = None
        self.out.say(self.language.message(LessonSentence.PAUSED))
        while True:
            action = self.keys.get()
            if action in (Action.PAUSE, Action.GO):
                break
            if action is Action.QUIT:
                if self._end_asked() is Action.QUIT:
                    self.action = Action.QUIT
                    return
            elif action is not None:
                self.serve(action, self.language.message(LessonSentence.PAUSED))
                self.action = None
            self._pass_time()
        self.out.say(self.language.message(LessonSentence.GOING_ON))
        self._drain()
        self._began += self.clock.now() - began
        self._resumed = True

    def wait_for_go(self) -> None:
        """Wait for any key, with the ear closed: people talk. `action` is it, None for "go"."""
        self.out.say(self.language.message(LessonSentence.READY), self.interrupted)
        while self.action is None:
            self._pass_time()
            self.interrupted()
        self._after(True)

    def _end_asked(self) -> Action | None:
        """QUIT where the key is pressed once more within some seconds, else None: the session goes on."""
        self.action = None
        self.out.say(self.language.message(LessonSentence.END_ASKED))
        end = self.clock.now() + END_ASKED_S
        while self.clock.now() < end:
            action = self.keys.get()
            if action is Action.QUIT:
                self._ends = True
                return action
            if action is not None:
                break
            self._pass_time()
        self.out.say(self.language.message(LessonSentence.GOING_ON))
        self._drain()
        self._resumed = True
        return None

    def _pass_time(self) -> None:
        """Some hundredths of a second in which nothing is listened to."""
        try:
            self.ears.read()
        except MicrophoneGone:
            self.clock.sleep(LOOK_S)

    def _drain(self) -> None:
        """Drop what the microphone brought while we were heard, and the room's tail."""
        self.ears.forget()
        left = TAIL_S * RATE
        while left > 0:
            try:
                block = self.ears.read()
            except MicrophoneGone:
                return  # `listen` waits for it
            left -= len(block) if block is not None else 0.1 * RATE

    # --- in ---

    def listen(self, line: Sequence[LineNote] | None, tempo_s: float = 0.6,
               silence_s: float = SILENCE_S) -> Heard | Action:
        """Open the ear until something is decided; a key's action where one was pressed first.

        line: what is to be sung, None where anything may be. tempo_s: seconds a crotchet at which it was given.
        """
        if self.action is not None:
            return self.action
        listener = Listener(line, tempo_s, silence_s, keep=self._may_keep())
        follow = self.listening(line or (), tempo_s) if self.listening is not None else None
        if line and len(line) > 2:
            self.out.prepare(all_right(self.language, len(line) - 1))  # the likeliest answer, so that it comes at once
        lost = self.ears.lost
        while True:
            if not listener.singing:
                lost = self.ears.lost  # what was lost before the voice began is no part of the take
            action = self.keys.get()
            if action in (Action.PAUSE, Action.QUIT):
                if action is Action.PAUSE:
                    self.pause()
                else:
                    self.action = self._end_asked()
                action = Action.QUIT if self.action is Action.QUIT else Action.AGAIN
                self.action = None
            if action is not None:
                return action
            try:
                block = self.ears.read()
            except MicrophoneGone as gone:
                self._wait_for_microphone(gone)
                listener = Listener(line, tempo_s, silence_s, keep=self._may_keep())
                follow = self.listening(line or (), tempo_s) if self.listening is not None else None
                continue
            if block is None or not len(block):
                continue
            heard = listener.push(block)
            if follow is not None and listener.latest is not None:
                follow(listener.latest)
            if heard is not None:
                return replace(heard, lost=self.ears.lost > lost)

    @property
    def elapsed_s(self) -> float:
        """Seconds since the session began."""
        return self.clock.now() - self._began

    def leave_out(self, seconds: float) -> None:
        """Time that does not count as time of the session."""
        self._began += seconds

    def quiet_for(self, seconds: float, over_db: float, least_s: float) -> bool:
        """Wait cheaply, with the level alone. False once something sounds `over_db` over the room for `least_s` seconds, or
        where a key was pressed; True where nothing did in so many seconds."""
        end = self.clock.now() + seconds
        floor_db, loud = 0.0, 0
        while self.clock.now() < end:
            if self.interrupted():
                return False
            try:
                block = self.ears.read()
            except MicrophoneGone:
                self.clock.sleep(LOOK_S)
                continue
            if block is None or not len(block):
                continue
            level = 10 * math.log10(float(np.mean(np.square(block))) + 1e-12)
            floor_db = min(level, floor_db + len(block) / RATE)  # rises 1 dB a second, as a room's noise may
            loud = loud + len(block) if level > floor_db + over_db else 0
            if loud >= least_s * RATE:
                return False
        return True

    def idle(self, seconds: float) -> None:
        """Let time go by; keys are seen."""
        end = self.clock.now() + seconds
        while self.clock.now() < end and not self.interrupted():
            try:
                self.ears.read()
            except MicrophoneGone:
                return

    def _may_keep(self) -> bool:
        return self.diary is not None and self.pupil is not None and self.diary.consent(self.pupil) is not None

    def _wait_for_microphone(self, gone: MicrophoneGone) -> None:
        """The microphone went away: say so once, take up where we were when it is back."""
        self.out.say(str(gone), self.interrupted)
        end = self.clock.now() + GONE_S
        while self.clock.now() < end:
            if self._open_again():
                self.out.say(self.language.message(LessonSentence.MICROPHONE_IS_BACK), self.interrupted)
                self._drain()
                return
            self.clock.sleep(LOOK_S)
        raise MicrophoneGone(_("The microphone stayed away, so the session ended. What was sung before is kept."))

    # --- the tune for this voice ---

    def fit(self, line: Sequence[LineNote]) -> None:
        """Choose the shift for a tune: inside the pupil's range, near its middle, kept if it fits already."""
        low, high = self.range
        lowest, highest = min(n.midi for n in line), max(n.midi for n in line)
        self._lowest, self._highest = lowest, highest
        self.voices.moved(self._fitted - self.shift)  # what was followed is where the next tune begins
        if not (low <= lowest + self.shift and highest + self.shift <= high):
            self.shift = float(round((low + high) / 2 - (lowest + highest) / 2))
        self._fitted = self.shift

    @property
    def range_known(self) -> bool:
        """Whether the pupil's own range is in the diary."""
        return self.pupil is not None and self.pupil.low is not None and self.pupil.high is not None

    def inside(self, line: Sequence[LineNote], shift: float) -> float:
        """The shift nearest to this one at which the tune lies inside the pupil's range, or inside what may be played.

        A tune that is wider than the range stays where it lies in its middle. line: of the tune that is sung.
        """
        low, high = self.range if self.range_known else (LOW, HIGH)
        lowest = min([n.midi for n in line] + ([self._lowest] if self._highest else []))
        highest = max([n.midi for n in line] + ([self._highest] if self._highest else []))
        least, most = math.ceil(low - lowest), math.floor(high - highest)
        if least > most:
            return float(round((low + high - lowest - highest) / 2))
        return float(min(max(shift, least), most))

    @property
    def range(self) -> tuple[float, float]:
        """The pupil's comfortable range, or a child's, as MIDI numbers."""
        if self.pupil is not None and self.pupil.low is not None and self.pupil.high is not None:
            return self.pupil.low, self.pupil.high
        return CHILD_RANGE

    def follow_key(self, match: Match, line: Sequence[LineNote]) -> None:
        """Where the pupil sings is where the next is given, whole semitones, inside the pupil's range.

        A jump of an octave is followed once, while nothing is known of the voice; after that the key moves by the
        nearest way, so that no phrase is given an octave from the one before.
        """
        if match.shift_semitones is None or match.closeness < FOLLOW_FROM:
            return
        way = round(match.shift_semitones) - self.shift
        if self.range_known or len(self.taken) > 1:
            way = (way + 6) % 12 - 6
        self.shift = self.inside(line, self.shift + way)

    def quarter_s(self, bpm: float | None) -> float:
        """Seconds a crotchet at which a tune is given: its own tempo, or a calm one, as the setting has it."""
        return 60.0 / (bpm or CALM_BPM) / self.tempo

    def give(self, line: Sequence[LineNote], quarter_s: float, note: bool = True) -> bool:
        """The starting note and then the line, in the pupil's key; False where a key cut it short."""
        parts = [line_sound(line, self.shift, quarter_s)]
        if note:
            parts = [starting_note(line[0].midi + self.shift, NOTE_S), silence(AFTER_NOTE_S, OUTPUT_RATE), *parts]
        sound = concatenated(*parts, rate=OUTPUT_RATE)
        self._resumed = False
        done = self.play(sound)
        while self._resumed and self.action is None:  # paused in the middle: from the beginning
            self._resumed = False
            done = self.play(sound)
        return done

    def along(self, line: Sequence[LineNote], quarter_s: float, times: int = 1) -> bool:
        """The line, so many times, while the pupil sings with it: nothing is listened to. False where a key cut it short."""
        parts = [starting_note(line[0].midi + self.shift, NOTE_S)]
        for _time in range(times):
            parts += [silence(AFTER_NOTE_S, OUTPUT_RATE), line_sound(line, self.shift, quarter_s)]
        return self.play(concatenated(*parts, rate=OUTPUT_RATE))

    def slide_along(self, start_midi: float, end_midi: float) -> bool:
        """A slide while the pupil slides with it: nothing is listened to. False where a key cut it short."""
        return self.play(glide(start_midi, end_midi))

    def give_slide(self, line: Sequence[LineNote], quarter_s: float) -> bool:
        """The first move of a line as a slide, for the pupil to answer at `quarter_s`; False where a key cut it short."""
        return self.play(glide(line[0].midi + self.shift, line[1].midi + self.shift))

    def hand(self, semitones: float) -> None:
        """The hand's way of a move, in print for the helper beside the pupil; not spoken."""
        if self.out.show and self.out.speech:
            self.out.write(hand_for_helper(self.language, semitones))

    def give_first_note(self, line: Sequence[LineNote]) -> bool:
        """The starting note alone; False where a key cut it short."""
        return self.play(starting_note(line[0].midi + self.shift, NOTE_S))

    # --- the answer ---

    def answer(self, heard: Heard, tune: str, quiet: bool = False, keep: bool = True) -> Taken:
        """Keep a take, say its cue, and sound the move to try. Takes that began too early or lost sound are not judged, but
        where all of it went right; another tune is no take, and is not kept.

        heard: one with a match. quiet: keep and judge, but say nothing. keep: it counts; a warm-up does not.
        """
        assert heard.match is not None
        match = heard.match
        advice = advise(match)
        broken = LessonSentence.TOO_EARLY if heard.early else LessonSentence.SOUND_LOST if heard.lost else None
        if advice.kind is CueKind.ANOTHER_TUNE:  # in a lesson the tune is known to be this one
            advice, keep = replace(advice, kind=CueKind.NOT_SURE), keep and broken is not None
        counted = self.kind is not SessionKind.LESSON
        say, kind, move = cue_text(self.language, match, advice, counted=counted), advice.kind, advice.move
        if broken is not None and kind is not CueKind.ALL_RIGHT:
            say, kind, move = self.language.message(broken), CueKind.NOT_SURE, None
            match = unjudged(match)
        line, times = tuple(n.written for n in match.notes), 0
        if move is not None:
            times = self._tried.get((tune, move.start), 0)
            self._tried[tune, move.start] = times + 1
            say = try_again(self.language, line, move, times) if times else say
        taken = Taken(tune, line, match, say, kind)
        if keep:
            self.taken.append(taken)
            self._wait_to_keep(taken, heard)
        self.answered(taken)
        self.follow_key(match, taken.line)
        # It is written to the diary as soon as the cue sounds, since a disk may be slow; whatever ends the session before that,
        # `keep_at_end` writes it.
        said = quiet or self.say_line(say, self._save)
        self._save()
        self._say_unkept()
        if quiet or not said:
            return taken
        if move is not None:
            self.hand(move.wanted_semitones)
        if move is not None and not self.play(move_glides(match, move, own=not times)):
            return taken
        if kind in (CueKind.NOT_SURE, CueKind.STOPPED_EARLY):
            self._advise(heard)
        if self.settings[SettingName.DETAIL] == Detail.MORE:
            self._say_more()
        return taken

    def _wait_to_keep(self, taken: Taken, heard: Heard) -> None:
        """A take that is to be saved with the next ones that are."""
        if self.diary is not None and self.pupil is not None:
            self._waiting.append((taken, (heard.samples, RATE) if heard.samples is not None else None))

    def _save(self) -> None:
        """Save what waits; what is in the way is said later."""
        if self._waiting:
            self._unkept = self.keep_waiting()

    def _say_unkept(self) -> None:
        """Say once why takes cannot be saved; the child sings on."""
        if self._unkept is not None and not self._said_unkept:
            self._said_unkept = True
            self.say_line(str(self._unkept))

    def keep_waiting(self) -> Trouble | None:
        """Save the takes that wait because the diary could not be written; what is in the way, None where nothing is."""
        return None if self.diary is None or self.pupil is None else self._save_waiting(self.diary, self.pupil)

    def keep_at_end(self) -> None:
        """Save what still waits, beside the diary if not in it; there it is taken over when the diary can be written."""
        if self.keep_waiting() is not None and self.diary is not None and self.pupil is not None:
            with suppress(Trouble), Diary(beside(self.diary.path)) as other:
                self._save_waiting(other, other.pupil(self.pupil.nickname, new=True))

    def _save_waiting(self, diary: Diary, pupil: Pupil) -> Trouble | None:
        while self._waiting:
            taken, sound = self._waiting[0]
            try:
                number = diary.add_take(pupil, self.kind, taken.tune, taken.match, taken.say, sound)
            except Trouble as trouble:
                return trouble
            if diary is self.diary:
                taken.number = number
            del self._waiting[0]
        return None

    def strike(self) -> None:
        """Strike out the last take, in the diary too."""
        if not self.taken:
            self.say(LessonSentence.NOTHING_TO_STRIKE)
            return
        taken = self.taken.pop()
        self._waiting = [waiting for waiting in self._waiting if waiting[0] is not taken]
        if self.diary is not None and taken.number is not None:
            self.diary.remove_take(taken.number)
        self.say(LessonSentence.STRUCK)

    # --- who sings ---

    def _sung(self, heard: Heard, scale: float | None) -> Sung:
        """What tells a take's singer. heard: one with a match and a shift; scale: as in `whose`."""
        match = heard.match
        assert match is not None
        shift = key_of_beginning(match)
        at = middle([n.written for n in match.notes]) + shift
        low, high = self.range
        outside = self.range_known and not low - BESIDE_RANGE <= at <= high + BESIDE_RANGE
        return Sung(shift + (-self._fitted if scale is None else scale),
                    timbre_of(heard.colour, match.notes) if heard.colour is not None else {},
                    all(m.verdict is not Verdict.WRONG for m in match.moves), outside)

    def learn_model(self, heard: Heard) -> None:
        """A take that is known to be a model."""
        if heard.played:
            return
        self.voices.learn(Singer.MODEL, self._sung(heard, None))

    def whose(self, heard: Heard, after_miss: bool, scale: float | None = None) -> Singer:
        """Who sang a take; what is sure is learnt. A take that is not the pupil's can still be claimed.

        after_miss: the pupil's last take was no success. scale: added to how far from written it was sung, so that registers
        of the session can be compared; None where a tune is given: then they count from the key in which it was given first.
        """
        match = heard.match
        if match is None or match.shift_semitones is None:
            return Singer.PUPIL
        if heard.played:  # on an instrument, which nobody learns a voice from
            self._last_sung, self._passed = self._sung(heard, scale), heard
            return Singer.MODEL
        judged = sum(m.verdict is not Verdict.UNSURE for m in match.moves)
        far = sum(m.verdict is Verdict.WRONG for m in match.moves) > 1 and match.closeness < FOLLOW_FROM
        if far or 2 * judged < len(match.moves):  # hardly the line, or another: its key and its notes tell nothing
            return Singer.PUPIL
        self._last_sung = self._sung(heard, scale)
        singer = self.voices.settle(self._last_sung, after_miss)
        self._passed = None if singer is Singer.PUPIL else heard
        return singer

    def claimed(self) -> Heard | None:
        """The take that was let pass, now that somebody says it was the pupil's; None where there is none."""
        heard, self._passed = self._passed, None
        if heard is None or self._last_sung is None:
            self.say(LessonSentence.NO_TAKE_TO_CLAIM)
        else:
            self.voices.correct(self._last_sung)
        return heard

    def set_home(self, tune: str, title: str) -> None:
        """Set a tune for home, on the pupil's page."""
        if self.diary is None or self.pupil is None:
            self.say(LessonSentence.NO_PAGE)
            return
        try:
            self.diary.set_work(self.pupil, tune, HOME_DAYS)
        except Trouble as trouble:
            self.say_line(str(trouble))
            return
        self.say_line(set_for_home(self.language, title, HOME_DAYS))

    def _advise(self, heard: Heard) -> None:
        """Once a session, after a take that was not clear: closer, or farther off."""
        if self._advised:
            return
        if heard.clipped > CLIPPED_SHARE:
            self._advised = True
            self.say(LessonSentence.CUT_OFF)
        elif heard.voice_db < FAINT_DB:
            self._advised = True
            self.say(LessonSentence.FAINT)

    # --- on request ---

    def serve(self, action: Action, place: str) -> bool:
        """Do what a key asks for that changes nothing of the order; False where it is another action.

        place: the line that says where the session is.
        """
        self.action = None
        if action is Action.WHERE:
            self.say_line(place)
        elif action is Action.REPEAT:
            self.out.say(self.out.last or place, self.interrupted)
            self._drain()
        elif action in (Action.SLOWER, Action.FASTER):
            slower = action is Action.SLOWER
            self.tempo = float(np.clip(self.tempo * (TEMPO_STEP if slower else 1 / TEMPO_STEP), SLOWEST, FASTEST))
            self.say(LessonSentence.SLOWER if slower else LessonSentence.FASTER)
        elif action in (Action.LOWER, Action.HIGHER):
            lower = action is Action.LOWER
            wanted = self.shift + (-1.0 if lower else 1.0)
            if self._highest and self.inside((), wanted) != wanted:
                self.say(LessonSentence.EDGE_OF_RANGE)
            else:
                self.shift = wanted
                self.say(LessonSentence.LOWER if lower else LessonSentence.HIGHER)
        elif action is Action.MORE:
            self._say_more()
        elif action is Action.STRIKE:
            self.strike()
        elif action is Action.SUMMARY:
            self._summary()
        elif action is Action.HELP:
            self._say_lines(help_lines(self.language, self.keys.bound))
        else:
            return False
        return True

    def _summary(self) -> None:
        """The session so far: takes, how many were all right, and the phrases whose last take was not."""
        last = {t.line[0].number: t for t in self.taken}
        hard = [phrase_words(self.language, t.line) for t in last.values() if t.kind is CueKind.ONE_TO_TRY]
        right = sum(t.kind is CueKind.ALL_RIGHT for t in self.taken)
        self.say_line(lesson_summary(self.language, len(self.taken), right, hard[:MOST_HARD]))

    def _say_lines(self, lines: Sequence[str]) -> None:
        """Line after line, until a key breaks it off."""
        for text in lines:
            if not self.say_line(text):
                break

    def _say_more(self) -> None:
        """More about the last take."""
        if not self.taken:
            self.say(LessonSentence.NOTHING_SUNG_YET)
            return
        match = self.taken[-1].match
        self._say_lines([count_line(self.language, match.counts), *detail_lines(self.language, match),
                         given_line(self.language, self.shift)])


def no_take(heard: Heard) -> LessonSentence:
    """What to say where there was nothing to judge."""
    if heard.kind is HeardKind.SILENCE and heard.room_db < NOTHING_DB:
        return LessonSentence.MUTED
    if heard.kind is HeardKind.NOISE:
        return LessonSentence.STEADY_SOUND
    if heard.kind is HeardKind.UNCLEAR:
        return LessonSentence.UNCLEAR_SOUND
    return LessonSentence.NO_SINGING


def middle(line: Sequence[LineNote]) -> float:
    """The middle pitch of a line, MIDI number: how high it lies."""
    return float(np.median([n.midi for n in line]))


def key_of_beginning(match: Match) -> float:
    """Semitones sung minus written before the first move that went another way; over all of it where there is no note before.
    A move that is turned round may take all that follows into another key. match: one with a shift."""
    wrong = next((m.start for m in match.moves if m.verdict is Verdict.WRONG), None)
    shifts = [n.midi - n.written.midi for n in match.notes if n.midi is not None and (wrong is None or n.written.number <= wrong)]
    assert match.shift_semitones is not None
    return float(np.median(shifts)) if shifts else match.shift_semitones
