"""Who sings: lessons and sessions at home in time of sound, in which pupil, teacher and a third voice take turns.

Each scene draws its singers (a child; a teacher an octave lower or in the child's octave; a third voice, grown-up or another
child) from one of the
two makers, and what they do: sing right, miss, stop early, talk first, leave, sing another song, sing along with what is
played; after a miss the teacher often sings the line for the pupil to hear. The truth of every sung turn is known; what the
session made of it is seen from outside: judged (the pupil), "Now you." (a model), or asked about.

Prints a line a scene and last a JSON object: of `turns` sung ones, `right` (the pupil judged, others not), `asked_pupil` and
`asked_other` (asked about), `wrong` by kind, `share_right` (asked about another voice counts as right, about the pupil not),
`swapped` (scenes in which a pupil's take passed as a model and a model was judged).
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests"))

from live_room import PLAIN, RATE, Room, RoomSession, session, sung  # noqa: E402
from other_sounds import other_sounds  # noqa: E402
from singers import LineItem, VoiceKind, perform, render  # noqa: E402

from companion.diary import Diary, SessionKind  # noqa: E402
from companion.lesson.live import Echo, Lesson  # noqa: E402
from companion.lesson.practise import Practise, Set  # noqa: E402
from companion.lesson.session import Taken  # noqa: E402
from companion.match import CueKind  # noqa: E402
from companion.tune import LineNote, load  # noqa: E402

TUNES = ("snail-wall", "tick-tock", "kite", "mole")
KINDS = ("tune", "no tune", "waiting", "home")
PUPIL, TEACHER, THIRD = "pupil", "teacher", "third"
MISSES, MODELS = 0.45, 0.6  # how likely a take is a miss, and a model follows one
OTHER_WAYS = {"stops early": 0.06, "talks first": 0.05, "leaves": 0.03, "another song": 0.05, "sings along": 0.05, "third": 0.05}
MOST_MISSES = 3  # of one line in a row


@dataclass
class Turn:
    """One sung turn. who: its truth; way: how it was sung; made: what the session made of it."""

    who: str
    way: str
    made: str = "nothing"


def child(rng: np.random.Generator, but: float = 0.0) -> VoiceKind:
    """A child; `but`: a vocal tract that it may not be near."""
    while True:
        tract = float(rng.uniform(1.24, 1.46))
        if abs(tract - but) > 0.08:
            return VoiceKind("child", 0, tract, float(rng.uniform(0.01, 0.08)), 0.0)


def teacher(rng: np.random.Generator) -> tuple[VoiceKind, float]:
    """(a grown-up voice, semitones from the pupil): half of them sing in the child's octave."""
    if rng.random() < 0.5:
        return VoiceKind("low", 0, float(rng.uniform(0.96, 1.08)), 0.02, 0.15), -12.0
    breath, vibrato = float(rng.uniform(0.01, 0.06)), float(rng.uniform(0.1, 0.35))
    return VoiceKind("high", 0, float(rng.uniform(1.04, 1.18)), breath, vibrato), 0.0


class Scene:
    """One scene and what became of each turn."""

    def __init__(self, kind: str, number: int, seed: int, most_turns: int, folder: Path) -> None:
        self.kind, self.most_turns, self.folder = kind, most_turns, folder
        self.rng = np.random.default_rng([seed, number])
        self.maker = ("formants", "speech")[number // len(KINDS) % 2]
        self.pupil = child(self.rng)
        self.teacher, self.octave = teacher(self.rng)
        self.third, self.third_octave = teacher(self.rng) if self.rng.random() < 0.5 else (child(self.rng, self.pupil.tract), 0.0)
        self.room = Room(noise_db=float(self.rng.uniform(-70, -55)), limit_s=3000.0)
        self.tune_name = TUNES[number // 2 % len(TUNES)]
        self.talk = [s[RATE:-RATE] for s in other_sounds("speech", 3, number)]
        self.turns: list[Turn] = []
        self.line: Sequence[LineNote] = ()
        self.shift, self.quarter_s, self.misses = 0.0, 0.6, 0
        self.left = False
        self._cue = ""
        self._missed = False

    # --- what is sung ---

    def _sound(self, who: str, way: str, line: Sequence[LineNote]) -> np.ndarray:
        rng = self.rng
        voice = {PUPIL: self.pupil, TEACHER: self.teacher, THIRD: self.third}[who]
        octave = {PUPIL: 0.0, TEACHER: self.octave, THIRD: self.third_octave}[who]
        style = replace(PLAIN, vibrato=voice.vibrato, drift=float(rng.normal(0, 0.2)), miss=0.1)
        if way == "misses":
            style = replace(style, turned=int(rng.integers(1, max(2, len(line) - 2))), turned_stays=True)
        if way == "stops early":
            line = line[:max(2, len(line) // 2)]
        shift = self.shift + octave + (float(rng.normal(0, 0.5)) if who != TEACHER else 0.0)
        samples = sung(line, shift, self.quarter_s * float(rng.uniform(0.92, 1.08)), style, int(rng.integers(1 << 30)), voice,
                       self.maker)
        return np.asarray(samples * 10 ** (rng.uniform(-8, 0) / 20), dtype=np.float32)

    def sing(self, who: str, way: str, after_s: float, line: Sequence[LineNote] | None = None) -> None:
        """Put a turn into the room."""
        self.turns.append(Turn(who, way))
        self.room.put(self._sound(who, way, self.line if line is None else line), after_s)
        if who == PUPIL:
            self.misses = self.misses + 1 if way == "misses" else 0

    def pupils_turn(self, after_s: float, plainly: bool = False) -> None:
        """The pupil sings in one of its ways."""
        rng = self.rng
        way = str(rng.choice(["sings", *OTHER_WAYS], p=[1 - sum(OTHER_WAYS.values()), *OTHER_WAYS.values()]))
        way = "sings" if plainly or len(self.line) < 4 else way
        if way == "leaves":
            self.left = True
            return
        if way == "talks first":
            talk = self.talk[int(rng.integers(len(self.talk)))]
            self.room.put(talk, after_s)
            after_s += len(talk) / RATE + 0.6
        if way == "another song":
            other = load("tick-tock" if self.tune_name != "tick-tock" else "kite").phrase(1)
            self.sing(PUPIL, way, after_s, other)
            return
        if way == "sings along":
            self.room.at -= round(min(1.0, self.room.now()) * RATE)
            self.sing(PUPIL, way, 0.2)
            self.room.at += round(min(1.0, self.room.now()) * RATE)
            return
        if way == "third":
            self.sing(THIRD, "sings", after_s)
            return
        if way in ("sings", "talks first"):
            way = "misses" if rng.random() < MISSES and self.misses < MOST_MISSES and len(self.line) >= 4 else "sings"
        self.sing(PUPIL, way, after_s)

    # --- what the session does ---

    def given(self, line: Sequence[LineNote], shift: float, quarter_s: float) -> None:
        """A line was given. At home it is given again after a miss, and the parent may sing it first."""
        self.line, self.shift, self.quarter_s = line, shift, quarter_s
        if self._missed and self.kind == "home" and len(line) >= 4 and self.rng.random() < MODELS:
            self._missed = False
            self.sing(TEACHER, "models", 0.6)
        else:
            self.pupils_turn(0.6)

    def judged(self, taken: Taken) -> None:
        """A take is answered: that of the pupil, by what the session thinks."""
        self._made("judged")
        self._cue, self._to_try = taken.say, taken.kind is CueKind.ONE_TO_TRY
        self._right = taken.kind is CueKind.ALL_RIGHT

    def _made(self, what: str) -> None:
        last = next((t for t in reversed(self.turns) if t.made == "nothing"), None)
        if last is not None:
            last.made = what

    def said(self, text: str) -> None:
        """What is heard, and what somebody does then."""
        if len(self.turns) >= self.most_turns:
            for key in "qq":
                self.here.keys.press(key)
            return
        if text == self._cue:
            self._cue, self._missed = "", self._to_try  # said aloud, so that a model may follow
            if self.kind == "home" or (self._right and self.kind != "no tune"):
                return  # the next line is given
            if self._right:
                self.new_line(1.0)
            elif self._missed and self.rng.random() < MODELS:
                self.sing(TEACHER, "models", 4.0)
            else:
                self.pupils_turn(4.0 if self._missed else 1.0)
        elif text == "Now you.":
            self._made("passed")
            self.pupils_turn(0.8)
        elif text.startswith("Was that"):
            self._made("asked")
            self.pupils_turn(1.0, plainly=True)
        elif text.startswith(("I heard no singing", "I cannot tell", "There is a steady", "I still hear nothing")) and \
                self.kind != "home":
            self.pupils_turn(1.0, plainly=True)
        elif text.startswith("I wait. Sing"):
            self.room.put(self._sound(PUPIL, "sings", self.line[:1]), 20.0)
        elif text.startswith(("Sing or play", "That sounded like the pupil", "A new line")):
            self.new_line(1.0)
        elif text == "Now the pupil.":
            line = self.echo.lines[-1]
            self.line, self.quarter_s = line.notes, line.quarter_s
            self.shift = -self.octave + (5.0 if self.octave else 0.0)
            self.pupils_turn(0.8)

    def new_line(self, after_s: float) -> None:
        """Without a tune the teacher sings a line of her own; that is her turn, and no answer."""
        steps = np.cumsum([0, *self.rng.choice([-2, -1, 1, 2, 2, 3], size=int(self.rng.integers(4, 7)))])
        low = (50 if self.octave else 62) - int(steps.min())
        items = [LineItem(low + int(s), 2.0 if i + 1 == len(steps) else 1.0, "la") for i, s in enumerate(steps)]
        performance = perform(items, replace(PLAIN, quarter_s=0.5, miss=0.05), self.rng)
        self.room.put(render(performance, self.teacher, self.maker, self.rng), after_s)

    def run(self) -> list[Turn]:
        """The scene to its end."""
        scene, home = self, self.kind == "home"

        class Here(RoomSession):
            def listen(self, line: Any, *more: Any, **named: Any) -> Any:
                heard = super().listen(line, *more, **named)
                # After a silence in the lesson nobody is spoken to; the pupil comes back.
                if scene.left and getattr(heard, "kind", None) == "silence" and not home:
                    scene.left = False
                    scene.pupils_turn(1.0, plainly=True)
                return heard

        with Diary(self.folder / f"{id(self)}.sqlite") as diary:
            robin = diary.pupil("Robin", new=True)
            diary.set_range(robin, 58.0, 76.0)
            robin = diary.pupil("Robin")
            made = session(self.room, kind=SessionKind.PRACTISE if home else SessionKind.LESSON, diary=diary, pupil=robin)
            self.here = Here(made.out, made.ears, made.keys, made.settings, made.kind, made.language, diary, robin,
                             clock=self.room, answered=self.judged)
            self.here.out.on_say = self.said  # type: ignore[attr-defined]
            tune = load(self.tune_name)

            def sings(line: Sequence[LineNote], shift: float, quarter_s: float) -> None:
                self.given(line, shift, quarter_s)

            self.here.pupil_sings = sings
            if self.kind == "home":
                songs = [Set(n, load(n)) for n in (self.tune_name, *TUNES)]
                Practise(self.here, lambda: songs, 20.0, warm_up=False).run()
            elif self.kind == "no tune":
                self.here.pupil_sings = None
                self.echo = Echo(self.here, self.folder)
                self.echo.run()
            elif self.kind == "waiting":
                self._waits()
                Lesson(self.here, tune, self.tune_name, wait=True).run()
            else:
                Lesson(self.here, tune, self.tune_name).run()
        return self.turns

    def _waits(self) -> None:
        """With waiting only the first note is given; then the teacher sings the line, and the pupil after her."""
        self.here.pupil_sings = None
        real = self.here.give_first_note

        def first_note(line: Sequence[LineNote]) -> bool:
            done = real(line)
            self.line, self.shift, self.quarter_s = line, self.here.shift, 0.6
            samples = self._sound(TEACHER, "models", line)
            self.room.put(samples, 0.5)
            self.pupils_turn(0.5 + len(samples) / RATE + 1.5, plainly=True)
            return done

        self.here.give_first_note = first_note  # type: ignore[method-assign]


def tally(turns: Sequence[Turn]) -> Counter[str]:
    """What became of the turns."""
    out: Counter[str] = Counter(turns=len(turns))
    for t in turns:
        if t.who == PUPIL:
            out["right" if t.made in ("judged", "nothing") else "asked_pupil" if t.made == "asked" else "wrong"] += 1
            if t.made == "passed":
                out["wrong: the pupil taken for a model"] += 1
        else:
            out["right" if t.made in ("passed", "nothing") else "asked_other" if t.made == "asked" else "wrong"] += 1
            if t.made == "judged":
                out[f"wrong: {t.who} judged"] += 1
    return out


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--turns", type=int, default=200)
    parser.add_argument("--of-a-scene", type=int, default=10)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    whole: Counter[str] = Counter()
    number = 0
    with tempfile.TemporaryDirectory() as folder:
        while whole["turns"] < options.turns:
            scene = Scene(KINDS[number % len(KINDS)], number, options.seed, options.of_a_scene, Path(folder))
            turns = scene.run()
            found = tally(turns)
            found["scenes"] = 1
            found["swapped"] = int(found["wrong: the pupil taken for a model"] > 0 and found["wrong: teacher judged"] > 0)
            whole += found
            print(f"{number} {scene.kind}, {scene.maker}, {scene.teacher.name}: "
                  + "; ".join(f"{t.who} {t.way} {t.made}" for t in turns), flush=True)
            number += 1
    turns_all = whole["turns"]
    third = whole["wrong: third judged"]
    print(json.dumps({**whole, "share_right": round((whole["right"] + whole["asked_other"]) / turns_all, 3),
                      "share_wrong": round(whole["wrong"] / turns_all, 3),
                      "share_wrong_of_pupil_and_teacher": round((whole["wrong"] - third) / turns_all, 3)}))


if __name__ == "__main__":
    main()
