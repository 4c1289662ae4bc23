"""What every live session does: play, wait, listen, answer; the same in a lesson and at home.

The companion never hears itself: while it plays, and for the room's tail after, what the microphone brings is
dropped (half duplex). The clock is handed in, so that a test can run a session as fast as the machine allows.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
from numpy.typing import NDArray

from companion.ear import CLIPPED_SHARE, FAINT_DB, GONE, NOTHING_DB, RATE, Gone
from companion.errors import Trouble
from companion.language import NOTHING_SUNG, English, Language, count_line, cue_text, detail_lines
from companion.lesson.keys import Keys, help_lines
from companion.lesson.out import Out
from companion.match import CueKind, advise

if TYPE_CHECKING:
    from companion.audio import Sound
    from companion.diary import Diary, Pupil
    from companion.lesson.listen import Heard
    from companion.match import Match
    from companion.tune import LineNote

F32 = NDArray[np.float32]

TAIL_S = 0.25  # the sound card's delay and a furnished room's tail after our own playback
SILENCE_S = 10.0  # how long a singer may take to begin before it is said that nothing was heard
GONE_S = 60.0  # how long a microphone may be away before the session ends
LOOK_S = 1.0  # how often it is looked for
FOLLOW_FROM = 0.3  # closeness of a take from which its key is trusted and followed
LOW, HIGH = 36.0, 86.0  # nothing is played outside: a low man's C to a small child's D
CHILD_RANGE = (58.0, 74.0)  # a comfortable range where nobody has found one: common practice for children

MUTED = "The microphone gives no sound at all. It may be muted, or this program may not be allowed to listen."


class Ears(Protocol):
    """What a session listens with: a `companion.ear.microphone.Microphone`, or a test's."""

    def read(self, timeout_s: float = 0.1) -> F32 | None: ...
    def forget(self) -> None: ...
    def again(self) -> bool: ...
    def close(self) -> None: ...


@dataclass
class Taken:
    """One answered take of a session: what was to be sung, and what became of it."""

    tune: str
    line: tuple[LineNote, ...]
    match: Match
    say: str
    kind: CueKind


@dataclass
class Session:
    """One session. pupil and diary may be missing: then nothing is kept beyond it.

    shift: semitones between the written notes and what is played. quarter_s: seconds a crotchet.
    """

    out: Out
    ears: Ears
    keys: Keys
    settings: dict[str, Any]
    kind: str
    diary: Diary | None = None
    pupil: Pupil | None = None
    shift: float = 0.0
    tempo: float = 1.0
    taken: list[Taken] = field(default_factory=list)
    clock: Callable[[], float] = time.monotonic
    action: str = ""  # the key that broke off what went before

    def __post_init__(self) -> None:
        self.tempo = float(self.settings["tempo"])
        self._began = self.clock()
        self._advised = False
        self.language: Language = English(self.settings["variety"])
        self.american = self.settings["variety"] == "american"

    # --- out ---

    def _cut(self) -> bool:
        action = self.keys.get()
        if action:
            self.action = action
        return bool(action)

    def say(self, text: str) -> bool:
        """Say one line; False where a key cut it short (then `action` names it)."""
        return self._after(self.out.say(text, self._cut))

    def play(self, sound: Sound) -> bool:
        return self._after(self.out.sound(sound, self._cut))

    def _after(self, done: bool) -> bool:
        """The ear comes back. The key "go" only cuts short what it was pressed in; others are for the loop."""
        self._drain()
        if self.action == "go":
            self.action, done = "", True
        return done and not self.action

    def _drain(self) -> None:
        """Drop what the microphone brought while we were heard, and the room's tail."""
        self.ears.forget()
        left = TAIL_S * RATE
        while left > 0:
            try:
                block = self.ears.read()
            except Gone:
                return  # `listen` waits for it
            left -= len(block) if block is not None else 0.1 * RATE

    # --- in ---

    def listen(self, line: Sequence[LineNote] | None, tempo_s: float = 0.6,
               silence_s: float = SILENCE_S) -> Heard | str:
        """Open the ear until something is decided; a key's action where one was pressed first."""
        from companion.lesson.listen import Listener

        if self.action:
            return self.action
        listener = Listener(line, tempo_s, silence_s, keep=self._may_keep())
        while True:
            action = self.keys.get()
            if action:
                return action
            try:
                block = self.ears.read()
            except Gone:
                self._wait_for_microphone()
                listener = Listener(line, tempo_s, silence_s, keep=self._may_keep())
                continue
            if block is None or not len(block):
                continue
            heard = listener.push(block)
            if heard is not None:
                return heard

    @property
    def seconds_all(self) -> float:
        """Seconds since the session began."""
        return self.clock() - self._began

    def idle(self, seconds: float) -> None:
        """Let time go by; keys are seen."""
        end = self.clock() + seconds
        while self.clock() < end and not self._cut():
            try:
                self.ears.read()
            except Gone:
                return

    def _may_keep(self) -> bool:
        return self.diary is not None and self.pupil is not None and self.diary.consent(self.pupil) is not None

    def _wait_for_microphone(self) -> None:
        """The microphone went away: say so once, take up where we were when it is back."""
        self.out.say(GONE, self._cut)
        end = time.monotonic() + GONE_S
        while time.monotonic() < end:
            if self.ears.again():
                self.out.say("The microphone is back. Sing once more.", self._cut)
                self._drain()
                return
            time.sleep(LOOK_S)
        raise Gone("The microphone stayed away, so the session ended. What was sung before is kept.")

    # --- the tune for this voice ---

    def fit(self, line: Sequence[LineNote]) -> None:
        """Choose the shift for a tune: inside the pupil's range, near its middle, kept if it fits already."""
        low, high = self.range
        lowest, highest = min(n.midi for n in line), max(n.midi for n in line)
        if low <= lowest + self.shift and highest + self.shift <= high:
            return
        self.shift = float(round((low + high) / 2 - (lowest + highest) / 2))

    @property
    def range(self) -> tuple[float, float]:
        if self.pupil is not None and self.pupil.low is not None and self.pupil.high is not None:
            return self.pupil.low, self.pupil.high
        return CHILD_RANGE

    def follow_key(self, match: Match, line: Sequence[LineNote]) -> None:
        """Where the pupil sings is where the next is given, whole semitones, as far as it may be played."""
        if match.shift_semitones is None or match.closeness < FOLLOW_FROM:
            return
        shift = float(round(match.shift_semitones))
        if all(LOW <= n.midi + shift <= HIGH for n in line):
            self.shift = shift

    def quarter_s(self, bpm: float | None) -> float:
        """Seconds a crotchet at which a tune is given: its own tempo, or a calm one, as the setting has it."""
        return 60.0 / (bpm or 84.0) / self.tempo

    def give(self, line: Sequence[LineNote], quarter_s: float, note: bool = True) -> bool:
        """The starting note and then the line, in the pupil's key; False where a key cut it short."""
        from companion.audio import OUTPUT_RATE, concatenated, line_sound, silence, starting_note

        parts = [line_sound(line, self.shift, quarter_s)]
        if note:
            parts = [starting_note(line[0].midi + self.shift, 0.8), silence(0.4, OUTPUT_RATE), *parts]
        return self.play(concatenated(*parts, rate=OUTPUT_RATE))

    # --- the answer ---

    def answer(self, heard: Heard, tune: str, glides: bool = True, quiet: bool = False) -> Taken:
        """Keep a take, say its cue, and sound the move to try. Takes that began too early are not judged.

        quiet: keep and judge, but say nothing.
        """
        from companion.audio import move_glides

        assert heard.match is not None
        match = heard.match
        advice = advise(match)
        say, kind, move = cue_text(self.language, match, advice), advice.kind, advice.move
        if heard.early and kind != CueKind.ALL_RIGHT:
            say, kind, move = "You began before I had ended. Wait a little, and once more.", CueKind.NOT_SURE, None
        taken = Taken(tune, tuple(n.written for n in match.notes), match, say, kind)
        self.taken.append(taken)
        # Kept before it is said: what was answered is never lost.
        self._keep(taken, heard)
        self.follow_key(match, taken.line)
        if quiet or not self.say(say):
            return taken
        if glides and move is not None and not self.play(move_glides(match, move)):
            return taken
        if kind == CueKind.NOT_SURE:
            self._advise(heard)
        if self.settings["detail"] == "more":
            self._more()
        return taken

    def _keep(self, taken: Taken, heard: Heard) -> None:
        if self.diary is None or self.pupil is None:
            return
        sound = (heard.samples, RATE) if heard.samples is not None else None
        try:
            self.diary.add_take(self.pupil, self.kind, taken.tune, taken.match, taken.say, sound)
        except Trouble as trouble:
            # Said once; the child sings on.
            self.say(str(trouble))
            self.diary = None

    def _advise(self, heard: Heard) -> None:
        """Once a session, after a take that was not clear: closer, or farther off."""
        if self._advised:
            return
        if heard.clipped > CLIPPED_SHARE:
            self._advised = self.say("The sound was cut off. Go back a little, or turn the microphone down.") or True
        elif heard.voice_db < FAINT_DB:
            self._advised = self.say("The voice is faint. Come closer to the microphone.") or True

    def not_a_take(self, heard: Heard) -> str:
        """What to say where there was nothing to judge."""
        from companion.lesson.listen import NOISE

        if heard.kind == "silence" and heard.room_db < NOTHING_DB:
            return MUTED
        if heard.kind == NOISE:
            return "There is a steady sound in the room. I wait until it has gone, then sing again."
        if heard.kind == "unclear":
            return "I cannot tell whether that was singing. Once more, please."
        return self.language.message(NOTHING_SUNG)

    # --- on request ---

    def ask(self, action: str, where: str) -> bool:
        """Answer a request that changes nothing of the order; False where it is another action."""
        self.action = ""
        if action == "where":
            self.say(where)
        elif action == "repeat":
            self.out.say(self.out.last or where, self._cut)
            self._drain()
        elif action in ("slower", "faster"):
            self.tempo = float(np.clip(self.tempo * (0.85 if action == "slower" else 1 / 0.85), 0.4, 1.5))
            self.say("Slower." if action == "slower" else "Faster.")
        elif action in ("lower", "higher"):
            self.shift += -1.0 if action == "lower" else 1.0
            self.say("Lower." if action == "lower" else "Higher.")
        elif action == "more":
            self._more()
        elif action == "help":
            for text in help_lines(self.keys.bound):
                if not self.say(text):
                    break
        else:
            return False
        return True

    def _key_line(self) -> list[str]:
        """Where the tune is given, said only when asked."""
        from companion.language.cues import number

        if not self.shift:
            return ["It is given as written."]
        n = round(abs(self.shift))
        way = "higher" if self.shift > 0 else "lower"
        return [f"It is given {number(n)} {'semitone' if n == 1 else 'semitones'} {way} than written."]

    def _more(self) -> None:
        if not self.taken:
            self.say("Nothing has been sung yet.")
            return
        match = self.taken[-1].match
        for text in [count_line(self.language, match.counts), *detail_lines(self.language, match), *self._key_line()]:
            if not self.say(text):
                break
