"""Three sessions at home in time of sound: a child who sings well, one who is weak, one who wanders off.

Prints each transcript and last a JSON object: words a minute; share of the session in which the child sings, alone or with
the companion, of the time that counts as the session's (not that in which nobody was there), and of all the time but the minute
that the wandering child stays away after it has been told that it is waited for; how each song's last take went.
"""

from __future__ import annotations

import json
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests"))

from live_room import PLAIN, RATE, Room, RoomSession, session, sung  # noqa: E402
from other_sounds import other_sounds  # noqa: E402

from companion.diary import Diary, SessionKind  # noqa: E402
from companion.language import greeting  # noqa: E402
from companion.lesson.practise import Practise, Set  # noqa: E402
from companion.match import CueKind  # noqa: E402
from companion.tune import LineNote, load  # noqa: E402

MINUTES = 8.0


class Child:
    """weak: how likely a line of so many notes goes wrong. away: turns in which nobody is there."""

    def __init__(self, kind: str, room: Room) -> None:
        self.kind, self.room, self.rng = kind, room, np.random.default_rng(7)
        self.turns, self.sung_s = 0, 0.0
        self.along_s = lambda: 0.0  # in which the companion sang with the child, so far
        self.not_along_s, self._along_s = 0.0, 0.0  # ... while it was not there; at the turn before
        self.talk = list(other_sounds("speech", 4, 3))

    def __call__(self, line: Sequence[LineNote], shift: float, quarter_s: float) -> np.ndarray | None:
        self.turns += 1
        along, self._along_s = self.along_s() - self._along_s, self.along_s()
        if self.kind == "wandering":
            if self.turns in (3, 4) or 7 <= self.turns <= 13:
                self.not_along_s += along
            if self.turns in (3, 4):
                return np.asarray(self.talk[self.turns % len(self.talk)], dtype=np.float32)
            if 7 <= self.turns <= 13:
                return None
            if self.turns == 16:  # another song
                other = load("tick-tock").phrase(1)
                samples = sung(other, shift, quarter_s)
                self.sung_s += len(samples) / RATE
                return samples
        style = PLAIN
        wrong = {"good": 0.1, "weak": 0.85, "wandering": 0.3}[self.kind] if len(line) > 2 else \
            {"good": 0.0, "weak": 0.4, "wandering": 0.0}[self.kind] if len(line) == 2 else 0.0
        if self.rng.random() < wrong:
            style = replace(PLAIN, turned=min(3, max(1, len(line) - 2)), turned_stays=True)
        samples = sung(line, shift, quarter_s, style)
        self.sung_s += len(samples) / RATE
        return samples


def run(kind: str, folder: str) -> dict[str, object]:
    """One session; prints what was said, with times and what was sung between."""
    with Diary(Path(folder) / f"{kind}.sqlite") as diary:
        wren = diary.pupil("Wren", new=True)
        diary.set_range(wren, 60.0, 74.0)
        wren = diary.pupil("Wren")
        room = Room(limit_s=1800.0)
        here: RoomSession = session(room, kind=SessionKind.PRACTISE, diary=diary, pupil=wren)
        child = Child(kind, room)
        here.pupil_sings = child
        child.along_s = lambda: here.along_s
        out = here.out
        words, away_s = 0, 0.0

        def heard(text: str) -> None:
            nonlocal words, away_s
            words += len(text.split())
            print(f"{room.now() / 60:5.1f} min  {text}")
            if text.startswith("I wait. Sing a note"):
                samples = sung(load("snail-wall").phrase(1)[:1], here.shift, 2.0)
                room.put(samples, 60.0)
                away_s += 60.0
                print("           (a minute later the child is back and sings a note)")

        out.on_say = heard  # type: ignore[attr-defined]
        print(f"--- {kind} ---")
        out.say(greeting(here.language, "Wren"))
        more = iter(["tick-tock", "mole", "kite"])

        def another(names: list[str]) -> Set | None:
            name = next((n for n in more if n not in names), None)
            return Set(name, load(name)) if name else None

        Practise(here, lambda: [Set("snail-wall", load("snail-wall"))], MINUTES, more=another, easier=another, first=True).run()
        minutes = here.elapsed_s / 60
        sings_s = child.sung_s + here.along_s - child.not_along_s
        last = {t.tune: t.kind for t in here.taken}
        return {"minutes": round(minutes, 1), "words_a_minute": round(words / minutes, 1),
                "sings_share": round(sings_s / here.elapsed_s, 2),
                "sings_share_of_all_time": round(sings_s / (room.now() - away_s), 2),
                "takes": len(here.taken),
                "right": sum(t.kind is CueKind.ALL_RIGHT for t in here.taken), "last_takes": last}


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        found = {kind: run(kind, folder) for kind in sys.argv[1:] or ["good", "weak", "wandering"]}
    print(json.dumps(found))


if __name__ == "__main__":
    main()
