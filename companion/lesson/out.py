"""What goes out in a session: words spoken, or left to the screen reader as lines of text, never both; tones.

Where a helper looks on who reads print (`show`), the words also stand on the screen.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import TextIO

from companion import audio
from companion.diary import SettingName, Settings, Speech
from companion.errors import Trouble
from companion.language import LANGUAGES

Interrupt = Callable[[], bool]  # asked while something plays: is it to be cut short?
POLL_S = 0.03


class Out:
    """Words and tones. settings: of the pupil (speech, rate, variety, loudness, loudspeaker).

    last: the line said last, for "say it again". show: write the words too, for a helper who looks on.
    """

    def __init__(self, settings: Settings, show: bool = False, stream: TextIO | None = None) -> None:
        self.speech = settings[SettingName.SPEECH] == Speech.ON
        self.rate, self.language = int(settings[SettingName.RATE]), LANGUAGES[str(settings[SettingName.VARIETY])]()
        self.cap_db = float(settings[SettingName.LOUDNESS])
        self.device = settings[SettingName.LOUDSPEAKER] or None
        self.show = show
        self.last = ""
        self._lost = self._failed = False  # the loudspeaker is away; it failed in the last sound
        self._stream = stream
        self._prepared: dict[str, audio.Sound] = {}
        self._speaker: audio.Loudspeaker | None = None

    def say(self, text: str, interrupt: Interrupt | None = None, after_start: Callable[[], None] | None = None) -> bool:
        """One line: spoken to its end, or written. False where it was cut short.

        after_start: called once it has begun to sound, for work that would have delayed it.
        """
        self.last = text
        if self.show or not self.speech:
            self.write(text)
        if not self.speech:
            if after_start is not None:
                after_start()
            return True
        self._failed = False
        sound = self._prepared.pop(text, None) or audio.speak(text, self.language, self.rate)
        done = self.sound(sound, interrupt, after_start)
        if self._failed and not self.show:
            self.write(text)
        return done

    def speak(self, text: str) -> None:
        """Speak, where words are spoken, what will stand on the screen anyway."""
        if self.speech:
            self.last = text
            self.sound(audio.speak(text, self.language, self.rate))

    def prepare(self, text: str) -> None:
        """Make the sound of a line that will be said, or is likely to be, while something else is waited for. Only the last one
        is kept."""
        if self.speech and text not in self._prepared:
            self._prepared = {text: audio.speak(text, self.language, self.rate)}

    def write(self, text: str) -> None:
        """A plain line on the screen."""
        print(text, file=self._stream or sys.stdout, flush=True)

    def sound(self, sound: audio.Sound, interrupt: Interrupt | None = None,
              after_start: Callable[[], None] | None = None) -> bool:
        """Play to the end, False where it was cut short. A loudspeaker that is gone is said once, as text, and is looked for
        again at every sound."""
        try:
            if self._speaker is None:
                self._speaker = audio.Loudspeaker(self.device, self.cap_db)
            playing: audio.Playing = self._speaker.play(sound)
            if after_start is not None:
                after_start()
            while not playing.wait(POLL_S):
                if interrupt is not None and interrupt():
                    playing.stop()
                    playing.wait()
                    return False
        except Trouble as trouble:
            self._failed = True
            self.without_loudspeaker(str(trouble))
        else:
            self._lost = False
        return True

    @property
    def lost(self) -> bool:
        """Whether the loudspeaker was away when something was played last."""
        return self._lost

    def close(self) -> bool:
        """Let go of the loudspeaker, which the next sound opens anew; whether that is done."""
        return self._speaker is None or self._speaker.close()

    def without_loudspeaker(self, why: str) -> None:
        """Words are written until it is back."""
        if not self._lost:
            self.write(why)
        self._lost = True
