"""Putting a session together from what was asked on the command line: settings, diary, language, ears, keys.

Written so that the first word is spoken before anything is loaded that it does not need.
"""

from __future__ import annotations

import contextlib
import contextvars
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

from companion.diary import (
    MOST_MINUTES,
    Action,
    Diary,
    Pupil,
    SessionKind,
    SettingName,
    Settings,
    Unusable,
    default_path,
    default_settings,
    open_or_beside,
)
from companion.errors import Trouble
from companion.language import Language, choose_language, greeting, kept_beside, kept_in_memory
from companion.lesson.keys import Keys, bindings, read_binding
from companion.lesson.out import Out
from companion.messages import _

if TYPE_CHECKING:
    from companion.lesson.practise import Set
    from companion.lesson.session import Ears, Listening, Session, Taken

FIRST_TUNE = "tick-tock"  # the shipped tune of least reach, where nothing is set and nothing was sung yet
USUAL_REACH = 14.0  # semitones from lowest to highest that suit a pupil whose range nobody has found
MUTED_S = 1.0  # digital silence for so long at the beginning is no room: some drivers begin with a little of it
NOTHING_S, READ_S = 3.0, 0.1  # without any sound for so long nothing is said of it; how long one look for sound takes
FETCH_MINUTES = 5  # so long somebody is waited for who can switch the microphone on
LEVEL_S = 4.0  # how long the level is measured: three seconds of singing, one of silence

T = TypeVar("T")


def _microphone(settings: Settings) -> Ears:
    from companion.ear import Microphone

    return Microphone(settings[SettingName.MICROPHONE] or None)


@dataclass(frozen=True)
class Devices:
    """With what a session speaks, is steered and listens: those of this machine, if not a page's or a test's.

    out: from settings, and whether words are shown as well. keys: from what each key does. ears: opens the microphone.
    prepare: called before that. answered: given every take that was judged, before its cue is said. listening: as in
    `companion.lesson.session.Session`.
    """

    out: Callable[[Settings, bool], Out] = Out
    keys: Callable[[Mapping[str, Action]], Keys] = Keys
    ears: Callable[[Settings], Ears] = _microphone
    prepare: Callable[[], None] = lambda: _load_portaudio()
    answered: Callable[[Taken], None] = lambda taken: None
    listening: Listening | None = None


@dataclass(frozen=True, kw_only=True)
class SessionOptions:
    """What can be asked of a live session for this once.

    diary: its file, None for the usual one. new: begin a page for a pupil whose name is new. helper: write the words
    too. bind: keys as "pagedown=go". settings: these go before the pupil's own. devices: of this machine, or others.
    """

    diary: str | None = None
    new: bool = False
    helper: bool = False
    bind: Sequence[str] = ()
    settings: Settings = field(default_factory=dict)
    devices: Devices = field(default_factory=Devices)


def run_practise(nickname: str, options: SessionOptions, tune: str | None = None, warm_up: bool = True,
                 find_range: bool = False, part: str | None = None) -> None:
    """A session at home, to its end. tune: practise this one, whatever is set, or this part of it. find_range: do that
    instead."""
    # The sound card is asked about its devices while the diary is opened, and the microphone is opened while the first
    # words are made.
    threading.Thread(target=options.devices.prepare, daemon=True).start()
    diary, trouble = open_or_beside(options.diary)
    pupil = _pupil(diary, nickname, options.new)
    settings = _settings(options, diary, pupil)
    if not 0 < float(settings[SettingName.MINUTES]) <= MOST_MINUTES:
        raise Trouble(_("The minutes were {minutes:g}; give up to {MOST_MINUTES}. A young voice tires.").format(
                            minutes=settings[SettingName.MINUTES], MOST_MINUTES=MOST_MINUTES))
    language = choose_language(settings[SettingName.VARIETY])
    def microphone() -> Ears:
        options.devices.prepare()  # first, so that the drivers' own messages are kept off the screen
        return options.devices.ears(settings)

    opened = Background(microphone)
    opened.start()
    out = options.devices.out(settings, options.helper)
    with diary, _closed(out), _keys(options, settings) as keys:
        session = None
        try:
            out.prepare(greeting(language, pupil.nickname))
            if not _gives_sound(opened, out, keys, language):
                return
            sets = Background(lambda: _sets(diary, pupil, tune, part))
            out.say(greeting(language, pupil.nickname), after_start=sets.start)
            if trouble is not None:
                out.say(_kept_elsewhere(language, trouble, diary))
            # These are loaded while the greeting sounds: they need a tenth of a second and more.
            from companion.lesson.practise import Practise
            from companion.lesson.voice_range import FindRange

            session = _session(SessionKind.PRACTISE, diary, pupil, keys, settings, language, out, options.devices,
                               opened.result())
            if find_range:
                FindRange(session).run()
            else:
                Practise(session, sets.result, float(settings[SettingName.MINUTES]), warm_up=warm_up, helper=options.helper,
                         more=None if tune else lambda names: _another(diary, pupil, names),
                         easier=None if tune else lambda names: _easier(pupil, names), first=not diary.takes(pupil)).run()
        except Trouble as fault:
            out.speak(str(fault))  # nobody may be there to read it
            raise
        finally:
            if opened.came:
                opened.result().close()
            if session is not None:
                session.keep_at_end()


def run_lesson(options: SessionOptions, tune_name: str | None = None, nickname: str | None = None, part: str | None = None,
               phrase: int = 1, wait: bool = False, keep_in: str | None = None) -> None:
    """A lesson, to its end: phrase by phrase through a tune, or without one with the teacher's own lines.

    nickname: keep the takes in the diary. phrase: where to begin. wait: the teacher sings each phrase first. keep_in:
    folder for lines that are kept.
    """
    from companion.lesson.answer import chosen_line
    from companion.lesson.live import Echo, Lesson
    from companion.tune import lasting_name, load

    diary, trouble = open_or_beside(options.diary) if nickname else (None, None)
    pupil = _pupil(diary, nickname, options.new) if diary is not None and nickname else None
    settings = _settings(options, diary, pupil)
    tune = load(tune_name, part=part) if tune_name else None
    if tune is not None:
        chosen_line(tune, phrase)  # says which phrases there are, if not that one
    language = choose_language(settings[SettingName.VARIETY])
    out = options.devices.out(settings, options.helper)
    options.devices.prepare()  # before the microphone, so that the drivers' own messages are kept off the screen
    with _closed(out), _keys(options, settings) as keys:
        if trouble is not None and diary is not None:
            out.say(_kept_elsewhere(language, trouble, diary))
        session = _session(SessionKind.LESSON, diary, pupil, keys, settings, language, out, options.devices,
                           options.devices.ears(settings))
        try:
            if tune is not None and tune_name is not None:
                Lesson(session, tune, lasting_name(tune_name), phrase, wait).run()
            else:
                Echo(session, Path(keep_in) if keep_in else default_path().parent / "lines").run()
        finally:
            session.ears.close()
            session.keep_at_end()
            if diary is not None:
                diary.close()


def check_level(options: SessionOptions, say: Callable[[str], None]) -> None:
    """Three seconds of singing, and what to change about the microphone. say: gives out a line."""
    from companion.ear import RATE, Microphone, level_of
    from companion.language import level_line, sing_for_level

    _load_portaudio()
    settings = _settings(options, None, None)
    language = choose_language(settings[SettingName.VARIETY])
    microphone = Microphone(settings[SettingName.MICROPHONE] or None)
    say(sing_for_level(language, microphone.name, microphone.rate))
    parts: list[NDArray[np.float32]] = []
    try:
        while sum(map(len, parts)) < LEVEL_S * RATE:
            block = microphone.read()
            if block is not None:
                parts.append(block)
    finally:
        microphone.close()
    say(level_line(language, level_of(np.concatenate(parts)).advice))


def _settings(options: SessionOptions, diary: Diary | None, pupil: Pupil | None) -> Settings:
    """The pupil's settings, with what was asked for this time over them."""
    kept = diary.settings(pupil) if diary is not None and pupil is not None else default_settings()
    return {**kept, **options.settings}


def _keys(options: SessionOptions, settings: Settings) -> Keys:
    return options.devices.keys(bindings({**settings[SettingName.KEYS], **dict(read_binding(b) for b in options.bind)}))


def _kept_elsewhere(language: Language, trouble: Trouble, diary: Diary) -> str:
    return kept_in_memory(language, trouble) if diary.in_memory else kept_beside(language, trouble, diary.path)


def _pupil(diary: Diary, nickname: str, new: bool) -> Pupil:
    """The pupil; a new page is begun for a name that is like no other, since a child at home types nothing."""
    near = diary.near(nickname)
    if diary.find(nickname) is None and not new and near is not None:
        raise Trouble(_("The diary has no pupil {nickname}. Did you mean {near}? With --new a page is begun.").format(
                            nickname=nickname, near=near))
    return diary.pupil(nickname, new=True)


def _session(kind: SessionKind, diary: Diary | None, pupil: Pupil | None, keys: Keys, settings: Settings,
             language: Language, out: Out, devices: Devices, ears: Ears) -> Session:
    """A session with the microphone open."""
    from companion.lesson.session import Session

    return Session(out, ears, keys, settings, kind, language, diary, pupil,
                   answered=devices.answered, listening=devices.listening)


@contextlib.contextmanager
def _closed(out: Out) -> Iterator[None]:
    """Let go of the loudspeaker at the end."""
    try:
        yield
    finally:
        out.close()


def _gives_sound(opened: Background[Ears], out: Out, keys: Keys, language: Language) -> bool:
    """Whether a session may begin: where the microphone gives no sound at all, somebody is asked for and waited for, before
    the child is greeted. False where a key ends it. Raises Trouble where nobody came."""
    from companion.ear import NOTHING_DB, RATE, MicrophoneGone
    from companion.language import LessonSentence

    least = 10 ** (NOTHING_DB / 20)

    def sounds(seconds: float) -> bool | None:
        """Whether anything comes within so many seconds of sound; None where a key ends it. Nothing at all, not even silence,
        is no muted microphone but one that is slow: the session waits for it."""
        left, patience = seconds, NOTHING_S / READ_S
        while left > 0:
            if keys.get() is Action.QUIT:
                return None
            try:
                block = opened.result().read()
            except MicrophoneGone:
                return True  # the session says so, and waits for it
            if block is not None and len(block) and float(np.sqrt(np.mean(np.square(block)))) > least:
                return True
            patience = NOTHING_S / READ_S if block is not None else patience - 1
            if patience <= 0:
                return True
            left -= len(block) / RATE if block is not None else 0.0
        return False

    found = sounds(MUTED_S)
    for _minute in range(FETCH_MINUTES):
        if found is not False:
            return found is True
        out.say(language.message(LessonSentence.FETCH_SOMEONE))
        found = sounds(60.0)
    if found is False:
        raise Trouble(_("The microphone gave no sound for {minutes} minutes, so the session did not begin. Switch it on, and "
                        "begin again.").format(minutes=FETCH_MINUTES))
    return found is True


class Background(Generic[T]):
    """Work done in a thread while something else goes on; `result` waits for it and raises what it raised."""

    def __init__(self, work: Callable[[], T]) -> None:
        self._work = work
        self._result: list[T] = []
        self._error: BaseException | None = None
        # With the language that was chosen where it was begun.
        self._thread = threading.Thread(target=contextvars.copy_context().run, args=(self._run,), daemon=True)
        self._lock = threading.Lock()

    def _run(self) -> None:
        try:
            self._result.append(self._work())
        except BaseException as error:
            self._error = error

    def start(self) -> None:
        """Begin, once."""
        with self._lock:
            if self._thread.ident is None:
                self._thread.start()

    @property
    def came(self) -> bool:
        """Whether there is a result, without waiting for it."""
        return bool(self._result)

    def result(self) -> T:
        """What came of it, once it is done."""
        self.start()
        self._thread.join()
        if self._error is not None:
            raise self._error
        return self._result[0]


def _load_portaudio() -> None:
    try:
        from companion.audio import portaudio

        portaudio()
    except Trouble:
        pass  # said when something is to be played


def _another(diary: Diary, pupil: Pupil, names: Sequence[str]) -> Set | None:
    """A tune that was not sung yet: what helps next, else the easiest that fits the voice."""
    from companion.diary import suggestion
    from companion.lesson.practise import Set
    from companion.tune import catalogue, load

    reach = pupil.high - pupil.low if pupil.low is not None and pupil.high is not None else USUAL_REACH
    suggested = None
    with contextlib.suppress(Unusable):
        suggested = suggestion(diary, pupil)
    choice = [*(suggested.tunes if suggested else ()), *(e.name for e in catalogue() if e.reach <= reach)]
    name = next((n for n in choice if n not in names), None)
    return Set(name, load(name)) if name else None


def _easier(pupil: Pupil, names: Sequence[str]) -> Set | None:
    """The tune of least reach that was not sung yet."""
    from companion.lesson.practise import Set
    from companion.tune import catalogue, load

    entries = sorted(catalogue(), key=lambda e: (e.reach, e.notes))
    name = next((e.name for e in entries if e.name not in names), None)
    return Set(name, load(name)) if name else None


def _sets(diary: Diary, pupil: Pupil, tune: str | None, part: str | None = None) -> list[Set]:
    """What is to be practised: the tune asked for, else what is set, else what helps next, else the easiest."""
    from companion.diary import suggestion
    from companion.lesson.practise import Set
    from companion.tune import lasting_name, load

    names = [lasting_name(tune)] if tune else [w.tune for w in diary.work(pupil)]
    if not names:
        with contextlib.suppress(Unusable):  # a child waits
            suggested = suggestion(diary, pupil)
            names = list(suggested.tunes[:1]) if suggested else []
    names = names or [FIRST_TUNE]
    out = []
    for name in names:
        try:
            out.append(Set(name, load(name, part=part)))
        except Trouble:
            if tune or len(names) == 1:
                raise
    return out
