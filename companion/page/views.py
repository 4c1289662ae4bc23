"""The first page, tunes, a recording heard, the demo, jobs; each calls the same functions as the command of the same job."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from companion.diary import Diary, default_path
from companion.errors import Trouble
from companion.language import choose_language, hand_for_helper, tune_facts
from companion.limits import SECONDS, run_limited
from companion.messages import _
from companion.page.frame import (
    State,
    View,
    checked_form,
    lasting,
    pupils_of,
    render,
    see_other,
    state_of,
    whole_number,
)
from companion.page.kept import files_made, in_folder, named, shown_name, wav_bytes, written_apart
from companion.page.picture import hillside
from companion.page.stops import stops_of
from companion.page.work import Job, JobState, Made
from companion.tune import catalogue, load, wall_for

if TYPE_CHECKING:
    from companion.lesson import Answer

T = TypeVar("T")

#: Forms in which a tune can be fetched, by the ending of the file.
TUNE_FORMS = ("brf", "pef", "musicxml", "mid", "svg", "pdf", "wav")
MEDIA = {"brf": "text/plain; charset=us-ascii", "pef": "application/x-pef+xml", "txt": "text/plain; charset=utf-8",
         "wav": "audio/wav", "flac": "audio/flac", "svg": "image/svg+xml", "pdf": "application/pdf", "mid": "audio/midi",
         "zip": "application/zip", "html": "text/html; charset=utf-8", "musicxml": "application/vnd.recordare.musicxml+xml"}
LOWEST_SOUNDED, HIGHEST_SOUNDED = 36, 86  # MIDI numbers, as in a session: nothing is played outside


async def home(request: Request) -> Response:
    """What shall we do? The first time, the demo and the check of the microphone stand first."""
    state = state_of(request)
    newcomer = not await run_in_threadpool(Path(state.diary or default_path()).exists)
    return render(request, "home.html", state.language.message("What shall we do?"), newcomer=newcomer,
                  jobs=state.jobs.latest())


async def tunes(request: Request) -> Response:
    """The tunes that ship, easiest first, and those that were sent."""
    state = state_of(request)
    entries = [(e.name, e.title, tune_facts(state.language, e)) for e in catalogue()]
    sent = [c for c in state.tunes.choices() if c.name not in {e.name for e in catalogue()}]
    return render(request, "tunes.html", state.language.message("Tunes"), entries=entries, sent=sent)


async def guide(request: Request) -> Response:
    """The parts of the guide."""
    language = state_of(request).language

    def make() -> list[tuple[str, str]]:
        from companion.workbook import GuidePart, guide_sheet

        return [(part.value, guide_sheet(language, [part]).title) for part in GuidePart]

    return render(request, "guide.html", language.message("The guide"), parts=await run_in_threadpool(make), text="")


async def guide_part(request: Request) -> Response:
    """One part of the guide: for teacher, helper or pupil, or what is kept of a child."""
    language = state_of(request).language

    def make() -> tuple[str, str] | None:
        from companion.workbook import GuidePart, guide_html, guide_sheet

        part = next((p for p in GuidePart if p.value == request.path_params["part"]), None)
        return (guide_sheet(language, [part]).title, guide_html(language, part)) if part is not None else None

    found = await run_in_threadpool(make)
    if found is None:
        raise HTTPException(404)
    return render(request, "guide.html", found[0], parts=[], text=found[1])


async def send_tune(request: Request) -> Response:
    """A tune from a file, read in a process of its own."""
    form = await checked_form(request)
    data, name = await sent_file(form, "file")
    part = str(form.get("part") or "")[:60].strip() or None
    key = await run_in_threadpool(state_of(request).tunes.send, data, name, part)
    return see_other(f"/tunes/{key}")


async def sent_file(form: Any, field: str) -> tuple[bytes, str]:
    """(content, name) of a file that a form brings. Raises Trouble where none was chosen."""
    file = form.get(field)
    if file is None or isinstance(file, str) or not file.filename:
        raise Trouble(_("No file was chosen. Choose one, then send it."))
    return await file.read(), str(file.filename)


async def sent_files(form: Any, field: str) -> list[tuple[bytes, str]]:
    """(content, name) of every file that a form brings. Raises Trouble where none was chosen."""
    files = [file for file in form.getlist(field) if not isinstance(file, str) and file.filename]
    if not files:
        raise Trouble(_("No file was chosen. Choose one, then send it."))
    return [(await file.read(), str(file.filename)) for file in files]


def known_tune(request: Request) -> str:
    """What `load` takes for the tune that an address names; 404 where there is none."""
    try:
        return state_of(request).tunes.place(request.path_params["name"])
    except Trouble:
        raise HTTPException(404) from None


async def tune_page(request: Request) -> Response:
    """A tune: its picture, its braille sign by sign, and what can be made of it."""
    place = known_tune(request)
    language = state_of(request).language

    def make() -> tuple[Any, Any, str]:
        from companion.braille import decode, encode

        tune = load(place)
        page = encode(tune, width=40)
        return tune, stops_of(language, decode(page.lines), list(page.lines)), hillside(language, tune.line())

    tune, rows, picture = await run_in_threadpool(make)
    return render(request, "tune.html", tune.title or language.message("A tune without a title"), rows=rows, picture=picture,
                  name=request.path_params["name"], forms=TUNE_FORMS)


async def tune_file(request: Request) -> Response:
    """A tune in one of its forms, to be kept."""
    place, form = known_tune(request), request.path_params["form"]
    if form not in TUNE_FORMS:
        raise HTTPException(404)
    language = state_of(request).language

    def make() -> dict[str, bytes]:
        from companion.paper import save_as

        return files_made(lambda folder: save_as(load(place), folder / f"tune.{form}", language))

    files = await run_in_threadpool(make)
    return download(*next(iter(files.items())))


def download(name: str, data: bytes) -> Response:
    """A file to be kept. name: one of ours, in ASCII."""
    return Response(data, media_type=MEDIA.get(name.rpartition(".")[2], "application/octet-stream"),
                    headers={"content-disposition": f'attachment; filename="{name}"'})


async def note_sound(request: Request) -> Response:
    """One note by its MIDI number, as WAV."""
    from companion.audio import starting_note

    midi = int(request.path_params["midi"])
    if not LOWEST_SOUNDED <= midi <= HIGHEST_SOUNDED:
        raise HTTPException(404)
    data = await run_in_threadpool(lambda: wav_bytes(starting_note(float(midi))))
    return Response(data, media_type="audio/wav")


async def kept_sound(request: Request) -> Response:
    """A sound of a sitting or an answer, by its key."""
    data = state_of(request).sounds.get(request.path_params["key"])
    if data is None:
        raise HTTPException(404)
    return Response(data, media_type="audio/wav")


# --- a recording ---


async def listen(request: Request) -> Response:
    """A recording to be matched with a tune."""
    state = state_of(request)
    return render(request, "listen.html", state.language.message("Hear a recording"), tunes=state.tunes.choices(),
                  pupils=await run_in_threadpool(pupils_of, state))


@dataclass(frozen=True)
class Wanted:
    """With what a take is matched. place: of the tune, as `load` takes it. part, verse, phrase: None for all of it.

    code: of the language, since takes are heard in a process of their own.
    """

    place: str
    phrase: int | None
    part: str | None
    verse: int | None
    more: bool
    code: str


def read_wanted(state: State, form: Any) -> Wanted:
    """What a form asks for. Raises Trouble for a tune, phrase or verse that is none."""
    phrase, verse = (whole_number(form, name, 0, 1, 999) or None for name in ("phrase", "verse"))
    return Wanted(state.tunes.place(str(form.get("tune", ""))), phrase, str(form.get("part") or "")[:60].strip() or None, verse,
                  form.get("more") == "yes", state.language.code)


async def heard(request: Request) -> Response:
    """The recording that was sent, matched in a process of its own; the answer is found again by its job."""
    form = await checked_form(request)
    state = state_of(request)
    wanted = read_wanted(state, form)
    data, name = await sent_file(form, "take")
    nickname = " ".join(str(form.get("pupil", "")).split())
    if nickname:
        await run_in_threadpool(_check_pupil, state, nickname)  # before any work is done
    job = state.jobs.start(state.language.message("Listening to the recording"), state.language.message("What was heard"),
                           partial(_heard, state, [(data, name)], wanted, str(form.get("tune", "")), nickname))
    return see_other(f"/work/{job.key}")


def _check_pupil(state: State, nickname: str) -> None:
    with Diary(state.diary) as diary:
        diary.pupil(nickname)


def _heard(state: State, takes: list[tuple[bytes, str]], wanted: Wanted, tune: str, nickname: str) -> Made:
    """The answer to a take; kept in the diary where a pupil is named. tune: its name on the page."""
    made, found = made_apart(answered, takes, wanted)
    if nickname:
        from companion.lesson import keep_answer, kept_line

        with Diary(state.diary) as diary:
            pupil = diary.pupil(nickname)
            kept = keep_answer(state.language, replace(found, tune_name=lasting(state, tune)), diary, pupil)
        made.lines.append(kept_line(state.language, kept, pupil.nickname))
    return made


def answered(takes: list[tuple[str, str]], wanted: Wanted) -> tuple[Made, Answer]:
    """The answer to a take, as `companion hear` gives it, and the facts of it."""
    from companion.lesson import answer_lines, answer_take, cue_sound

    language = choose_language("american" if wanted.code == "en_US" else "british")
    found = answer_take(takes[0][0], wanted.place, wanted.phrase, wanted.part, verse=wanted.verse)
    cue, *lines = answer_lines(language, found, more=wanted.more)
    move = found.advice.move
    hand = hand_for_helper(language, move.wanted_semitones, wall_for(n.midi for n in found.line)) if move else ""
    made = Made(cue=cue, lines=lines, hand=hand, data={**found.as_json(language), "take": "take"},
                files={"cue.wav": wav_bytes(cue_sound(language, found))}, picture=hillside(language, found.line, found.match))
    return made, found


async def review(request: Request) -> Response:
    """Many recordings of one tune."""
    state = state_of(request)
    return render(request, "review.html", state.language.message("Many recordings"), tunes=state.tunes.choices())


async def reviewed(request: Request) -> Response:
    """The recordings that were sent, a line each, in the order in which they were chosen."""
    form = await checked_form(request)
    state = state_of(request)
    wanted = read_wanted(state, form)
    takes = await sent_files(form, "take")
    job = state.jobs.start(state.language.message("Listening to the recordings"), state.language.message("What was heard"),
                           partial(made_apart, review_made, takes, wanted))
    return see_other(f"/work/{job.key}")


def made_apart(work: Callable[..., T], takes: list[tuple[bytes, str]], *args: Any, seconds: float = SECONDS) -> T:
    """`work(takes, *args)` in a process of its own. takes: (content, name) here, (path, name) there. seconds: for each."""
    def go(folder: Path) -> T:
        apart = _written(takes, folder)
        try:
            return run_limited(work, apart, *args, seconds=seconds * len(takes))
        except Trouble as trouble:
            raise Trouble(named(str(trouble), apart)) from None

    made: T = in_folder(go)
    return made


def _written(takes: list[tuple[bytes, str]], folder: Path) -> list[tuple[str, str]]:
    """(path, name) of each take, written into a folder of its own."""
    out = []
    for k, (data, name) in enumerate(takes):
        (folder / str(k)).mkdir()
        out.append((str(written_apart(data, name, folder / str(k))), shown_name(name)))
    return out


def review_made(takes: list[tuple[str, str]], wanted: Wanted) -> Made:
    """A line for each take, as `companion review` gives it, and all of it as a file of JSON lines."""
    from companion.lesson import Job, review_line, review_take

    language = choose_language("american" if wanted.code == "en_US" else "british")
    column = {"phrase": str(wanted.phrase or ""), "part": str(wanted.part or ""), "verse": str(wanted.verse or "")}
    found = []
    for path, name in takes:
        one = review_take(Job(name, wanted.place, path, wanted.place, **column))
        found.append(replace(one, error=named(one.error, takes)))
    told = "".join(json.dumps(one.as_json(language), ensure_ascii=False) + "\n" for one in found)
    return Made(lines=[review_line(language, one) for one in found], files={"review.jsonl": told.encode()})


async def demo(request: Request) -> Response:
    """The main thing on a take that ships, with no microphone."""
    state = state_of(request)

    def make() -> Made:
        from companion.lesson import cue_sound, demo_answer, demo_lines

        found = demo_answer()
        lines = demo_lines(state.language, found)
        move = found.advice.move
        hand = hand_for_helper(state.language, move.wanted_semitones, wall_for(n.midi for n in found.line)) if move else ""
        return Made(cue=found.cue(state.language), hand=hand, lines=[x for x in lines[:-1] if "companion-demo" not in x],
                    files={"cue.wav": wav_bytes(cue_sound(state.language, found))},
                    picture=hillside(state.language, found.line, found.match))

    await checked_form(request)
    job = state.jobs.start(*(state.language.message("The demo: a child sings Snail on the wall"),) * 2, make)
    return see_other(f"/work/{job.key}")


# --- jobs ---


def known_job(request: Request) -> Job:
    """The job that an address names; 404 where there is none (any more)."""
    job = state_of(request).jobs.find(request.path_params["key"])
    if job is None:
        raise HTTPException(404)
    return job


async def work(request: Request) -> Response:
    """A job: still going on, done, or why not."""
    job = known_job(request)
    from companion.language import EXAMPLES  # here, since it loads all that writes scores

    title = {JobState.RUNNING: job.title, JobState.DONE: job.done,
             JobState.FAILED: state_of(request).language.message("That did not work")}[job.state]
    return render(request, "work.html", title, job=job, examples=EXAMPLES, forms=TUNE_FORMS,
                  running=job.state is JobState.RUNNING, failed=job.state is JobState.FAILED)


async def work_json(request: Request) -> Response:
    """A job's answer for programs, with the keys of the command."""
    job = known_job(request)
    if job.state is not JobState.DONE or job.result.data is None:
        raise HTTPException(404)
    return JSONResponse(job.result.data)


async def work_file(request: Request) -> Response:
    """A file that a job made."""
    name = request.path_params["name"]
    data = known_job(request).result.files.get(name)
    if data is None:
        raise HTTPException(404)
    return download(name, data)


async def work_sound(request: Request) -> Response:
    """A sound that a job made, to be played in the page."""
    data = known_job(request).result.files.get(request.path_params["name"])
    if data is None or not request.path_params["name"].endswith(".wav"):
        raise HTTPException(404)
    return Response(data, media_type="audio/wav")


async def ping(request: Request) -> Response:
    """A page says that it is still open."""
    state_of(request).pinged = True
    return Response(status_code=204)


async def favicon(request: Request) -> Response:
    """Browsers ask for it whatever the page says."""
    return RedirectResponse("/static/icon.svg")


PAGES: dict[str, View] = {
    "/": home, "/tunes": tunes, "/tunes/{name}": tune_page, "/tunes/{name}/tune.{form}": tune_file, "/hear": listen,
    "/review": review,
    "/work/{key}": work, "/work/{key}/json": work_json, "/work/{key}/file/{name}": work_file,
    "/work/{key}/sound/{name}": work_sound, "/note/{midi:int}.wav": note_sound, "/sound/{key}.wav": kept_sound, "/ping": ping,
    "/guide": guide, "/guide/{part}": guide_part, "/favicon.ico": favicon,
}
CHANGES: dict[str, View] = {"/hear": heard, "/review": reviewed, "/tunes": send_tune, "/demo": demo}
