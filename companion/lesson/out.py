"""What goes out in a session: words spoken, or left to the screen reader as lines of text, never both; tones.

Where a helper looks on who reads print (`show`), the words also stand on the screen.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import Any, TextIO

from companion.errors import Trouble

Cut = Callable[[], bool]  # asked while something plays: is it to be cut short?
POLL_S = 0.03


class Out:
    """Words and tones. settings: of the pupil (speech, rate, variety, loudness, loudspeaker).

    said: all that was said, for "say it again" and for tests.
    """

    def __init__(self, settings: dict[str, Any], show: bool = False, stream: TextIO | None = None) -> None:
        self.speech = settings["speech"] == "on"
        self.rate, self.variety = int(settings["rate"]), str(settings["variety"])
        self.cap_db = float(settings["loudness"])
        self.device = settings["loudspeaker"] or None
        self.show = show
        self.last = ""
        self._stream = stream

    def say(self, text: str, cut: Cut | None = None, after_start: Callable[[], None] | None = None) -> bool:
        """One line: spoken to its end, or written. False where it was cut short.

        after_start: called once it has begun to sound, for work that would have held it up.
        """
        self.last = text
        if self.show or not self.speech:
            self.write(text)
        if not self.speech:
            if after_start is not None:
                after_start()
            return True
        from companion.audio import speak

        shown = self.show
        done = self.sound(speak(text, self.rate, self.variety), cut, after_start)
        if not self.speech and not shown:
            self.write(text)  # the loudspeaker failed just now
        return done

    def write(self, text: str) -> None:
        """A plain line on the screen."""
        print(text, file=self._stream or sys.stdout, flush=True)

    def sound(self, sound: Any, cut: Cut | None = None, after_start: Callable[[], None] | None = None) -> bool:
        """Play to the end, False where it was cut short. A loudspeaker that is gone is said once, as text."""
        from companion.audio import start_playing

        try:
            playing = start_playing(sound, self.device, cap_db=self.cap_db)
            if after_start is not None:
                after_start()
            while not playing.wait(POLL_S):
                if cut is not None and cut():
                    playing.stop()
                    playing.wait()
                    return False
        except Trouble as trouble:
            self.silent(str(trouble))
        return True

    def silent(self, why: str) -> None:
        """No loudspeaker: words are written from now on."""
        if self.speech or not self.show:
            self.write(why)
        self.speech, self.show = False, True
