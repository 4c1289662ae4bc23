"""A live session on the page: the same loops as in the terminal, with the browser as microphone and loudspeaker.

One WebSocket a session. What comes in: first a greeting as JSON (token, what to do), then sound as float32 blocks and
small JSON messages (a key pressed, a sound played to its end). What goes out: lines of text, and sounds as WAV bytes
behind a JSON head. The session itself runs in a thread, as it does in a terminal. A connection that breaks may come back
with the session's key; while it is away, the session takes the microphone as gone, and ends after a minute.
"""

from __future__ import annotations

import asyncio
import contextlib
import itertools
import json
import queue
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.websockets import WebSocket, WebSocketDisconnect

from companion import messages
from companion.course import QuestionKind, stages
from companion.diary import Action, Diary, SettingName, Settings, Speech, Unusable, default_settings
from companion.ear import PitchTrack
from companion.errors import Trouble
from companion.language import Language, hand_for_helper, kind_name, stage_label
from companion.lesson import Devices, Keys, Out, SessionOptions, Taken, run_lesson, run_practise
from companion.match import CueKind, move_to_try
from companion.messages import _
from companion.page.course import Drill, read_drill, typed_words
from companion.page.diary import MOST_NAME, begins
from companion.page.frame import State, View, lasting, pupils_of, render, state_of
from companion.page.kept import wav_bytes
from companion.page.picture import Hillside, VoiceOverPath, hillside
from companion.page.security import new_token, same_token
from companion.tune import LineNote, wall_for

if TYPE_CHECKING:
    from companion.lesson import SittingIO

F32 = NDArray[np.float32]

MOST_SOCKETS = 8  # open at a time: one is used, the others are greeted and ended
MOST_BLOCK_BYTES = 400_000  # two seconds of sound at 48 kHz: more in one message is none of ours
MOST_TEXT = 4000  # characters of one message
MOST_QUEUED_S = 60.0  # of sound, for a session that is busy; more is dropped
LOWEST_RATE, HIGHEST_RATE = 8000, 192_000  # Hz, of an AudioContext
GREETING_S = 10.0
AWAY_S = 60  # a browser that is away so long has left, as in `companion.lesson`
PLAYED_LATE_S = 3.0  # longer than a sound lasts before the browser's word that it was played is no longer waited for
LEVEL_S = 4.0  # how long the level is measured: three seconds of singing, one of silence
KINDS = ("sing", "lesson", "practise", "range", "course", "drill", "level")
USUAL_QUESTIONS = 8  # of a drill, as on the command line


class Left(BaseException):
    """The browser has ended a sitting in the middle of listening. Not an Exception: what listens takes those for a
    microphone that has gone, and would say so."""


class Typed(BaseException):
    """An answer was typed while a sung one was listened for. Not an Exception, as `Left`."""


class PageEars:
    """Sound from the browser as the blocks that a session listens to."""

    def __init__(self, rate: int) -> None:
        self.rate, self.gone, self.over = rate, False, False
        self.typed: Callable[[], bool] = lambda: False
        self.lost = 0
        self._queue: queue.SimpleQueue[F32] = queue.SimpleQueue()
        self._waiting = 0
        self._fresh()

    def _fresh(self) -> None:
        from companion.ear import Resampler

        self._resample = Resampler(self.rate)

    def put(self, samples: F32) -> None:
        """Sound that came in, at `rate`."""
        if self._waiting < MOST_QUEUED_S * self.rate:
            self._waiting += len(samples)
            self._queue.put(samples)
        else:
            self.lost += 1

    def read(self, timeout_s: float = 0.1) -> F32 | None:
        """The next sound, None where nothing came in time. Raises MicrophoneGone where the browser gives none any more."""
        from companion.ear import MicrophoneGone, waiting_blocks

        if self.over:
            raise Left
        if self.typed():
            raise Typed
        parts = waiting_blocks(self._queue, timeout_s)
        if self.gone:
            raise MicrophoneGone(_("The microphone has gone. Plug it in again, or open the page again."))
        if not parts:
            return None
        got = np.concatenate(parts)
        self._waiting = max(0, self._waiting - len(got))
        return self._resample(got)

    def forget(self) -> None:
        """Drop what came in: it is the companion's own voice."""
        try:
            while True:
                self._queue.get_nowait()
        except queue.Empty:
            self._waiting = 0
            self._fresh()

    def again(self) -> bool:
        """Whether the browser gives sound again."""
        return not self.gone

    def close(self) -> None:
        self.gone = True


class PageOut(Out):
    """Words and sounds of a session, sent to the browser.

    Words go to the page's live region for a screen reader, or are spoken by us and shown beside it, never both at once.
    """

    def __init__(self, settings: Any, show: bool, put: Callable[[dict[str, Any] | bytes], None]) -> None:
        super().__init__(settings, show)
        self._put = put
        self.closed = False
        self._numbers = itertools.count(1)
        self._played: dict[int, threading.Event] = {}

    def say(self, text: str, interrupt: Any = None, after_start: Any = None) -> bool:
        """One line: shown at once; spoken to its end where the page speaks. False where it was cut short."""
        self.last = text
        if self.speech:
            try:
                from companion.audio import speak

                sound = speak(text, self.language, self.rate)
            except Trouble as trouble:
                self.without_loudspeaker(str(trouble))
            else:
                self._put({"say": text, "spoken": True})
                return self.sound(sound, interrupt, after_start)
        self._put({"say": text, "spoken": False})
        if after_start is not None:
            after_start()
        return True

    def speak(self, text: str) -> None:
        """What is spoken stands beside it; what is not is shown by who ends the session."""
        if self.speech:
            self.say(text)

    def prepare(self, text: str) -> None:
        """Nothing: a page is quick enough."""

    def write(self, text: str) -> None:
        """What the helper's hands do."""
        self._put({"hand": text})

    def cells(self, cells: str) -> None:
        """Cells to be read; their dots are said to who asks for them."""
        self._put({"cells": cells, "spoken": False})

    def sound(self, sound: Any, interrupt: Any = None, after_start: Any = None) -> bool:
        """Play to the end in the browser, False where it was cut short."""
        number = next(self._numbers)
        played = self._played[number] = threading.Event()
        data = wav_bytes(sound, self.cap_db)
        seconds = len(sound.samples) / sound.rate
        self._put({"sound": number})
        self._put(data)
        if after_start is not None:
            after_start()
        end = time.monotonic() + seconds + PLAYED_LATE_S
        try:
            while not played.wait(0.03):
                if self.closed or time.monotonic() > end:
                    return True
                if interrupt is not None and interrupt():
                    self._put({"hush": number})
                    return False
        finally:
            del self._played[number]
        return True

    def ended(self, number: Any) -> None:
        """The browser's word that a sound has been played."""
        event = self._played.get(number) if isinstance(number, int) else None
        if event is not None:
            event.set()

    def without_loudspeaker(self, why: str) -> None:
        """What is said goes to the screen reader from now on."""
        self.speech = False
        self._put({"say": why, "spoken": False})


@dataclass(frozen=True)
class Greeting:
    """What the browser asks for at the beginning of a session. tune: by its name on the page, None for none. part: of a
    score."""

    kind: str
    rate: int
    tune: str | None = None
    pupil: str | None = None
    speech: bool = False
    helper: bool = False
    wait: bool = False
    phrase: int = 1
    minutes: float | None = None
    warm_up: bool = True
    part: str | None = None
    drill: Drill | None = None


def read_message(text: str) -> dict[str, Any] | None:
    """An object of JSON as a browser sends it, None for anything else. Half a surrogate pair is no character, and could
    neither be kept nor sent back."""
    try:
        data = json.loads(text)
        json.dumps(data, ensure_ascii=False).encode()
    except (ValueError, RecursionError):
        return None
    return data if isinstance(data, dict) else None


def read_greeting(state: State, text: str) -> Greeting:
    """A greeting from what came in. Raises Trouble for what may not be, PermissionError without this run's token."""
    data = read_message(text)
    if data is None or not isinstance(data.get("token"), str) or not same_token(data["token"], state.token):
        raise PermissionError
    kind, rate = data.get("kind"), data.get("rate")
    if kind not in KINDS or not isinstance(rate, (int, float)) or not LOWEST_RATE <= rate <= HIGHEST_RATE:
        raise Trouble(_("The browser asked for something that there is not. Load the page again."))
    name = " ".join(str(data.get("pupil") or "").split())[:MOST_NAME] or None
    if kind in ("practise", "range", "course") and name is None:
        raise Trouble(_("Give the pupil's nickname first."))
    state.spoken = data.get("speech") == "on"
    tune = str(data["tune"]) if data.get("tune") and kind in ("sing", "practise") else None
    if tune is not None:
        state.tunes.place(tune)  # there is one
    elif kind == "sing":
        raise Trouble(_("Choose a tune first."))
    drill = read_drill(state, {**data, "kind": data.get("question")}.get, USUAL_QUESTIONS) if kind == "drill" else None
    minutes, phrase = _between(data.get("minutes"), 1, 20), _between(data.get("phrase"), 1, 999)
    return Greeting(kind, int(rate), tune, name, data.get("speech") == "on",
                    data.get("helper") == "yes", data.get("wait") == "yes", int(phrase or 1), minutes,
                    data.get("warm_up", "yes") != "no", str(data.get("part") or "")[:MOST_NAME] or None, drill)


def _between(value: Any, low: float, high: float) -> float | None:
    """A number inside bounds, None for nothing. Raises Trouble for anything else."""
    if value in (None, ""):
        return None
    try:
        number = float(value)
    except (TypeError, ValueError, OverflowError):
        number = low - 1
    if not low <= number <= high:
        raise Trouble(_("{value} was given; give a number from {low:g} to {high:g}.").format(
            value=str(value)[:20], low=low, high=high))
    return number


@dataclass
class Live:
    """One session: its thread, and what goes between it and the socket. waiting: messages for the browser."""

    state: State
    greeting: Greeting
    loop: asyncio.AbstractEventLoop
    key: str = field(default_factory=new_token)
    waiting: asyncio.Queue[str | bytes | None] = field(default_factory=asyncio.Queue)
    answers: queue.SimpleQueue[str | None] = field(default_factory=queue.SimpleQueue)
    over: bool = False
    attached: int = 0
    attached_now: bool = False

    def __post_init__(self) -> None:
        self.ears = PageEars(self.greeting.rate)
        self.keys = Keys()
        self.out: PageOut | None = None

    def put(self, message: dict[str, Any] | bytes | None) -> None:
        """A message for the browser, from the session's thread."""
        data = message if isinstance(message, bytes) or message is None else json.dumps(message, ensure_ascii=False)
        with contextlib.suppress(RuntimeError):  # the page is ending, and nobody is left to read it
            self.loop.call_soon_threadsafe(self.waiting.put_nowait, data)

    def begin(self) -> None:
        threading.Thread(target=self._run, name="live", daemon=True).start()

    def stop(self) -> None:
        """End it as the key "quit" does, which asks once and wants to be pressed again."""
        for _twice in range(2):
            self.keys.ask(Action.QUIT)
        self.end_sitting()
        if self.out is not None:
            self.out.closed = True

    def end_sitting(self) -> None:
        """What listens without looking at keys ends too."""
        self.answers.put(None)
        self.ears.over = self.greeting.kind in ("course", "drill", "level")

    def _make_out(self, settings: Any, show: bool) -> PageOut:
        self.out = PageOut(settings, show, self.put)
        return self.out

    def _run(self) -> None:
        language = self.state.language
        end = language.message("The session has ended.")
        messages.apart()
        try:
            self._check_name()
            {"course": self._course, "drill": self._drill, "level": self._level}.get(self.greeting.kind, self._session)()
        except Trouble as trouble:
            if self.out is None or self.out.last != str(trouble):
                self.put({"say": str(trouble), "spoken": False})
        except Left:
            pass
        except Exception as error:  # a fault of ours must not leave a page waiting
            end = language.message("The session ended by a fault of ours ({fault}). What was sung before is kept.").format(
                fault=type(error).__name__)
        finally:
            self.over = True
            self.put({"end": end})
            self.put(None)

    def _check_name(self) -> None:
        """A name that is new and like another's is asked about before a page is begun for it."""
        if self.greeting.pupil is not None:
            with contextlib.suppress(Unusable), Diary(self.state.diary) as diary:
                begins(diary, self.greeting.pupil, False)
            self.state.pupil = self.greeting.pupil

    def _devices(self) -> Devices:
        def keys(bound: Any) -> Keys:
            self.keys.bound = dict(bound)
            return self.keys

        return Devices(out=self._make_out, keys=keys, ears=lambda settings: self.ears, prepare=lambda: None,
                       answered=self._drawn, listening=self._drawing)

    def _drawing(self, line: Sequence[LineNote], tempo_s: float) -> Callable[[PitchTrack], None]:
        """The ear is open, which is shown; the path of the line that is to be sung, and over it the voice as it comes."""
        self.put({"listens": True})
        if not line:
            return lambda track: None
        hill = Hillside(line)
        self.put({"path": hill.svg(self.state.language), "line": [n.number for n in hill.line]})
        voice = VoiceOverPath(hill, tempo_s)

        def frames(track: PitchTrack) -> None:
            points = voice.points(track)
            if points:
                self.put({"voice": [p and [round(p[0]), round(p[1])] for p in points]})

        return frames

    def _drawn(self, taken: Taken) -> None:
        """The voice over the path, and for the helper what the hand does at the move to try."""
        language = self.state.language
        move = move_to_try(taken.match) if taken.kind is CueKind.ONE_TO_TRY else None
        hand = hand_for_helper(language, move.wanted_semitones, wall_for(n.midi for n in taken.line)) if move else ""
        self.put({"picture": hillside(language, taken.line, taken.match), "cue": taken.say,
                  "hand": hand if self.greeting.helper else ""})

    def _settings(self) -> dict[SettingName, Any]:
        wanted = self.greeting
        out: dict[SettingName, Any] = {SettingName.SPEECH: Speech.ON.value if wanted.speech else Speech.OFF.value}
        if wanted.minutes is not None:
            out[SettingName.MINUTES] = wanted.minutes
        if self.state.language.code == "en_US":
            out[SettingName.VARIETY] = "american"
        return out

    def _session(self) -> None:
        """A lesson or a session at home, by the same functions as the commands."""
        wanted = self.greeting
        options = SessionOptions(diary=self.state.diary, new=True, helper=wanted.helper, settings=self._settings(),
                                 devices=self._devices())
        tune = self._tune(wanted) if wanted.tune else None
        if wanted.kind in ("sing", "lesson"):
            run_lesson(options, tune, wanted.pupil, wanted.part, phrase=wanted.phrase, wait=wanted.wait)
        else:
            run_practise(wanted.pupil or "", options, tune, warm_up=wanted.warm_up, find_range=wanted.kind == "range")

    def _tune(self, wanted: Greeting) -> str:
        """What `load` takes for the tune. Where somebody's takes are kept, one that was sent is kept too; if it cannot be, the
        session begins all the same."""
        if wanted.pupil:
            with contextlib.suppress(Trouble, OSError):
                return lasting(self.state, wanted.tune or "")
        return self.state.tunes.place(wanted.tune or "")

    def _course(self) -> None:
        """A sitting of the course in which sung answers are heard."""
        from companion.course import load_progress
        from companion.lesson import shift_for, sit

        with Diary(self.state.diary) as diary:
            pupil, some = diary.pupil(self.greeting.pupil or "", new=True), stages()
            shift = shift_for(load_progress(diary, pupil).stage(some).material, pupil.low, pupil.high)
            settings = diary.settings(pupil)
            sit(diary, pupil, some, _now, self._sitting(settings, shift), minutes=settings[SettingName.COURSE_MINUTES])

    def _drill(self) -> None:
        """One kind of question, sung answers heard; remembered where a pupil is named."""
        from companion.course import KeptProgress, Progress
        from companion.lesson import drill_sitting

        asked, name = self.greeting.drill, self.greeting.pupil
        assert asked is not None
        items = asked.items()
        if name is None:
            drill_sitting(items, Progress(), _now, self._sitting({**default_settings(), **self._settings()}))
            return
        with Diary(self.state.diary) as diary:
            pupil = diary.pupil(name, new=True)
            drill_sitting(items, KeptProgress(diary, pupil), _now, self._sitting(diary.settings(pupil)))

    def _sitting(self, settings: Settings, shift: float = 0.0) -> SittingIO:
        """How a sitting speaks to the browser and hears it. shift: of what is sounded, semitones."""
        from companion.lesson import SittingIO, hear_answer, led_in, pupils_language, record_claps, sound_of_question

        settings = {**settings, **self._settings()}
        language = pupils_language(settings)
        out = self._make_out(settings, False)

        def sound(item: Any) -> None:
            made = sound_of_question(item, shift)
            if made is not None:
                out.sound(made, lambda: not self.answers.empty())

        def play(led: Any, take: Callable[[], bool]) -> bool:
            return out.sound(led, lambda: not self.answers.empty() or take())

        def hear(answer: Callable[[], Any]) -> Any:
            self.ears.forget()
            self.put({"listens": True})
            self.ears.typed = lambda: not self.answers.empty()
            try:
                return answer()
            except Typed:
                return None  # what was typed is read instead
            finally:
                self.ears.typed = lambda: False
                self.put({"listens": False})

        return SittingIO(language, self._typed, out.say, out.cells, sound,
                         lambda item: hear(lambda: hear_answer(item, self.ears)),
                         clap=lambda item: hear(lambda: record_claps(led_in(item), self.ears, play)))

    def _typed(self) -> str | None:
        self.put({"ask": True})
        away_s = 0
        while away_s < AWAY_S:
            try:
                return self.answers.get(timeout=1.0)
            except queue.Empty:
                away_s = away_s + 1 if self.ears.gone and not self.attached_now else 0
        return None

    def _level(self) -> None:
        """Three seconds of singing, and what to change about the microphone; a soft note for the loudspeaker."""
        from companion.audio import starting_note
        from companion.ear import RATE, level_of
        from companion.language import level_line

        language = self.state.language
        out = self._make_out({**default_settings(), **self._settings()}, False)
        out.say(language.message("A soft note comes now. Set the loudspeaker so that it is easy to hear and never loud."))
        out.sound(starting_note(64.0))
        out.say(language.message("Sing for three seconds, as loud as in a lesson."))
        self.ears.forget()
        self.put({"listens": True})
        parts: list[F32] = []
        while sum(map(len, parts)) < LEVEL_S * RATE:
            block = self.ears.read()
            if block is not None:
                parts.append(block)
            elif self.keys.get() is not None:
                return
        out.say(level_line(language, level_of(np.concatenate(parts)).advice))


# --- the socket ---


async def socket(websocket: WebSocket) -> None:
    """One connection: greeted, joined to its session, and let go."""
    state: State = websocket.app.state.companion
    if state.sockets >= MOST_SOCKETS:
        await websocket.close(4429)
        return
    state.sockets += 1
    try:
        await websocket.accept()
        live = await _greeted(websocket, state)
        if live is not None:
            await _joined(websocket, live, state)
    except (WebSocketDisconnect, RuntimeError):
        pass  # the browser has left
    finally:
        state.sockets -= 1


async def _greeted(websocket: WebSocket, state: State) -> Live | None:
    """The session that a greeting asks for: a new one, or one whose connection broke."""
    try:
        message = await asyncio.wait_for(websocket.receive(), GREETING_S)
        text = message.get("text")
        if not isinstance(text, str) or len(text) > MOST_TEXT:
            raise PermissionError
        greeting = read_greeting(state, text)
        back = json.loads(text).get("resume")
        resumed: Live | None = state.live.get(str(back))
        if resumed is not None and not resumed.over:
            resumed.ears.rate = greeting.rate
            return resumed
        if back is not None:
            raise Trouble(_("The session ended while this page was away. What was sung before is kept; begin again to go on."))
    except TimeoutError:
        await websocket.close(4408)
        return None
    except PermissionError:
        await websocket.close(4403)
        return None
    except Trouble as trouble:
        await websocket.send_text(json.dumps({"end": str(trouble)}, ensure_ascii=False))
        await websocket.close(1000)
        return None
    for other in list(state.live.values()):  # one microphone, one session: the newest tab has it
        other.put({"end": state.language.message("The session goes on in another tab, so this one has ended.")})
        other.stop()
    live = Live(state, greeting, asyncio.get_running_loop())
    state.live[live.key] = live
    live.begin()
    return live


async def _joined(websocket: WebSocket, live: Live, state: State) -> None:
    """Sound and keys in, words and sounds out, until either side ends it."""
    live.attached += 1
    here = live.attached
    live.attached_now = True
    live.ears.forget()
    live.ears.gone = False
    await websocket.send_text(json.dumps({"key": live.key}))

    async def send() -> None:
        while (data := await live.waiting.get()) is not None:
            await (websocket.send_bytes(data) if isinstance(data, bytes) else websocket.send_text(data))
        await websocket.close(1000)

    sending = asyncio.ensure_future(send())
    try:
        while not sending.done():
            receiving = asyncio.ensure_future(websocket.receive())
            await asyncio.wait([receiving, sending], return_when=asyncio.FIRST_COMPLETED)
            if not receiving.done():
                receiving.cancel()
                break
            if not await _take(websocket, live, receiving.result()):
                break
    finally:
        sending.cancel()
        if live.over:
            state.live.pop(live.key, None)
        elif here == live.attached:
            live.ears.gone, live.attached_now = True, False
            if live.out is not None:
                for number in list(live.out._played):
                    live.out.ended(number)
            asyncio.get_running_loop().create_task(_forgotten(live, state))


async def _forgotten(live: Live, state: State) -> None:
    """A session whose connection broke is looked after until it ends."""
    while not live.over:
        await asyncio.sleep(1.0)
    state.live.pop(live.key, None)


async def _take(websocket: WebSocket, live: Live, message: Any) -> bool:
    """One message from the browser; False where the connection is to end."""
    state: State = websocket.app.state.companion
    state.seen = time.monotonic()
    if message["type"] == "websocket.disconnect":
        return False
    data, text = message.get("bytes"), message.get("text")
    if data:
        if len(data) > MOST_BLOCK_BYTES or len(data) % 4:
            await websocket.close(1009)
            return False
        samples = np.frombuffer(data, dtype="<f4").astype(np.float32)
        live.ears.put(np.clip(np.nan_to_num(samples, nan=0.0, posinf=1.0, neginf=-1.0), -1.0, 1.0))
        return True
    said = read_message(text or "") if len(text or "") <= MOST_TEXT else None
    if said is None:
        await websocket.close(1007)
        return False
    if said.get("key") in set(Action):
        live.keys.ask(Action(said["key"]))
        if said["key"] == Action.QUIT:
            live.end_sitting()
    elif said.get("leave") is True:
        live.stop()
    elif isinstance(said.get("press"), str):
        live.keys.press(said["press"][:20])
    elif isinstance(said.get("typed"), str):
        live.answers.put(said["typed"])
    elif "played" in said and live.out is not None:
        live.out.ended(said["played"])
    elif said.get("microphone") in ("gone", "back"):
        live.ears.gone = said["microphone"] == "gone"
    return True


# --- the pages ---


def _now() -> datetime:
    return datetime.now().astimezone()


def _page(kind: str, title: Callable[[Language], str]) -> View:
    async def view(request: Request) -> Response:
        state = state_of(request)
        chosen = request.query_params.get("tune", "")
        language = state.language
        asks = kind == "drill"
        return render(request, "live.html", title(language), kind=kind, tunes=state.tunes.choices(), chosen=chosen,
                      pupils=await run_in_threadpool(pupils_of, state), pupil=state.pupil, spoken=state.spoken,
                      typed=typed_words(language),
                      kinds=[(k.value, kind_name(language, k)) for k in QuestionKind] if asks else [],
                      stages=[(s.key, stage_label(language, s)) for s in stages()] if asks else [])

    return view


PAGES: dict[str, View] = {
    "/sing": _page("sing", lambda language: language.message("Sing with a tune")),
    "/lesson": _page("lesson", lambda language: language.message("Lesson")),
    "/practise": _page("practise", lambda language: language.message("At home")),
    "/range": _page("range", lambda language: language.message("Find the comfortable range")),
    "/course/questions": _page("drill", lambda language: language.message("Questions with sung answers")),
    "/course/aloud": _page("course", lambda language: language.message("A sitting with sung answers")),
    "/level": _page("level", lambda language: language.message("Check microphone and loudspeaker")),
}
CHANGES: dict[str, View] = {}
