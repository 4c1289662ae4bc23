"""Putting a session together from what was asked on the command line: settings, diary, ears, keys.

Written so that the first word is spoken before anything heavy is loaded.
"""

from __future__ import annotations

import threading
from pathlib import Path
from typing import TYPE_CHECKING, Any

from companion.diary import MOST_MINUTES, SETTINGS, Diary, Pupil, default_path, open_or_beside
from companion.errors import Trouble
from companion.lesson.keys import Keys, bindings, read_binding
from companion.messages import _

if TYPE_CHECKING:
    from companion.lesson.practise import Set
    from companion.lesson.session import Session

FIRST_TUNE = "tick-tock"  # the shipped tune of least reach, where nothing is set and nothing was sung yet


def settings_for(options: Any, diary: Diary | None, pupil: Pupil | None) -> dict[str, Any]:
    """The pupil's settings, with what was asked for this time over them."""
    settings = diary.settings(pupil) if diary is not None and pupil is not None else \
        {name: s.default for name, s in SETTINGS.items()}
    for name in ("speech", "microphone", "loudspeaker", "minutes"):
        asked = getattr(options, name, None)
        if asked is not None:
            settings[name] = asked
    if getattr(options, "american", False):
        settings["variety"] = "american"
    return settings


def keys_for(options: Any, settings: dict[str, Any]) -> Keys:
    return Keys(bindings({**settings["keys"], **dict(read_binding(b) for b in options.bind)}))


def known(diary: Diary, nickname: str, new: bool) -> Pupil:
    """The pupil; a new page is begun for a name that is like no other, since a child at home types nothing."""
    if diary.find(nickname) is None and not new and diary.near(nickname):
        raise Trouble(_("The diary has no pupil {nickname}. Did you mean {nickname2}? With --new a page is begun.").format(
                            nickname=nickname, nickname2=diary.near(nickname)))
    return diary.pupil(nickname, new=True)


def open_session(kind: str, nickname: str | None, diary: Diary | None, keys: Keys,
                 settings: dict[str, Any], out: Any) -> Session:
    from companion.ear import Microphone
    from companion.lesson.session import Session

    pupil = diary.pupil(nickname) if diary is not None and nickname else None
    return Session(out, Microphone(settings["microphone"] or None), keys, settings, kind, diary, pupil)


def run_practise(options: Any) -> int:
    """`companion practise`."""
    # The sound card is asked about its devices while the diary is opened and the first words are made.
    waking = threading.Thread(target=_wake, daemon=True)
    waking.start()
    diary, sentence = open_or_beside(options.diary)
    pupil = known(diary, options.pupil, options.new)
    settings = settings_for(options, diary, pupil)
    if not 0 < float(settings["minutes"]) <= MOST_MINUTES:
        raise Trouble(_("The minutes were {minutes:g}; give up to {MOST_MINUTES}. A young voice tires.").format(
                            minutes=settings['minutes'], MOST_MINUTES=MOST_MINUTES))
    from companion.lesson.out import Out

    out = Out(settings, show=options.helper)
    with diary, keys_for(options, settings) as keys:
        greeting = f"Hello {pupil.nickname}. Let us sing."
        loaded = Later(lambda: _sets(diary, pupil, options.tune))
        out.say(greeting, after_start=loaded.start)
        if sentence:
            out.say(sentence)
        from companion.lesson.practise import Practise

        session = None
        try:
            session = open_session("practise", pupil.nickname, diary, keys, settings, out)
            if options.find_range:
                from companion.lesson.voice_range import FindRange

                FindRange(session).run()
                return 0
            Practise(session, loaded.get, float(settings["minutes"]), warm_up=not options.no_warm_up,
                     helper=options.helper,
                     more=None if options.tune else lambda names: _another(diary, pupil, names)).run()
        except Trouble as trouble:
            if out.speech:  # nobody may be there to read it
                out.say(str(trouble))
            raise
        finally:
            if session is not None:
                session.ears.close()
    return 0


def run_lesson(options: Any) -> int:
    """`companion lesson`."""
    from companion.lesson.out import Out

    diary, sentence = open_or_beside(options.diary) if options.pupil else (None, None)
    pupil = known(diary, options.pupil, options.new) if diary is not None else None
    settings = settings_for(options, diary, pupil)
    tune = None
    if options.tune:
        from companion.lesson.answer import chosen_line
        from companion.tune import load

        tune = load(options.tune, part=options.part)
        chosen_line(tune, options.phrase)  # says which phrases there are, if not that one
    out = Out(settings, show=options.helper)
    _wake()  # before the microphone, so that the drivers' own messages are kept off the screen
    with keys_for(options, settings) as keys:
        if sentence:
            out.say(sentence)
        session = open_session("lesson", pupil.nickname if pupil else None, diary, keys, settings, out)
        try:
            if tune is not None:
                from companion.lesson.live import Lesson

                Lesson(session, tune, options.tune, options.phrase, options.wait).run()
            else:
                from companion.lesson.live import Echo

                Echo(session, Path(options.keep_in) if options.keep_in else default_path().parent / "lines").run()
        finally:
            session.ears.close()
            if diary is not None:
                diary.close()
    return 0


def check_level(options: Any) -> int:
    """Three seconds of singing, and what to change about the microphone."""
    import numpy as np

    from companion.ear import Microphone, level_of

    _wake()
    settings = settings_for(options, None, None)
    microphone = Microphone(settings["microphone"] or None)
    print(f"{microphone.name}, {microphone.rate} Hz. Sing for three seconds, then be silent for one.", flush=True)
    parts: list[Any] = []
    try:
        while sum(map(len, parts)) < 4 * 22050:
            block = microphone.read()
            if block is not None:
                parts.append(block)
    finally:
        microphone.close()
    print(level_of(np.concatenate(parts)).say)
    return 0


class Later:
    """Work done in a thread while something else goes on; `get` waits for it and raises what it raised."""

    def __init__(self, work: Any) -> None:
        self._work, self._result = work, None
        self._error: BaseException | None = None
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._lock = threading.Lock()

    def _run(self) -> None:
        try:
            self._result = self._work()
        except BaseException as error:
            self._error = error

    def start(self) -> None:
        with self._lock:
            if self._thread.ident is None:
                self._thread.start()

    def get(self) -> Any:
        self.start()
        self._thread.join()
        if self._error is not None:
            raise self._error
        return self._result


def _wake() -> None:
    try:
        from companion.audio import portaudio

        portaudio()
    except Trouble:
        pass  # said when something is to be played


def _another(diary: Diary, pupil: Pupil, names: list[str]) -> Set | None:
    """A tune that was not sung yet: what helps next, else the easiest that fits the voice."""
    from companion.diary.week import suggestion
    from companion.lesson.practise import Set
    from companion.tune import catalogue, load

    reach = pupil.high - pupil.low if pupil.low is not None and pupil.high is not None else 14.0
    choice = [*suggestion(diary, pupil)[1], *(e.name for e in catalogue() if e.reach <= reach)]
    name = next((n for n in choice if n not in names), None)
    return Set(name, load(name)) if name else None


def _sets(diary: Diary, pupil: Pupil, tune: str | None) -> list[Set]:
    """What is to be practised: the tune asked for, else what is set, else what helps next, else the easiest."""
    from companion.diary.week import suggestion
    from companion.lesson.practise import Set
    from companion.tune import load

    names = [tune] if tune else [w.tune for w in diary.work(pupil)]
    names = names or suggestion(diary, pupil)[1][:1] or [FIRST_TUNE]
    out = []
    for name in names:
        try:
            out.append(Set(name, load(name)))
        except Trouble:
            if tune or len(names) == 1:
                raise
    return out
