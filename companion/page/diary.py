"""The diary: pupils, a week, settings, consent, what is set, export, and deletion for good, asked once.

A pupil's name stands in forms and in this process, never in an address.
"""

from __future__ import annotations

from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from companion.course import stages, week_of_course
from companion.diary import (
    VARIETIES,
    Diary,
    Pupil,
    SettingName,
    Settings,
    delete_pupil,
    export_pupil,
    make_changes,
    read_changes,
    week_of,
    weeks_of,
)
from companion.errors import Trouble
from companion.language import (
    Language,
    change_lines,
    course_week_line,
    deletion_line,
    new_page,
    no_pupils,
    not_reached_line,
    pupil_line,
    week_lines,
    weeks_lines,
)
from companion.messages import N_, _
from companion.page.frame import View, checked_form, lasting, render, see_other, state_of
from companion.page.kept import files_made
from companion.page.picture import weeks_picture
from companion.page.views import download
from companion.tune import Key, spell

MOST_NAME = 60


#: How each setting is asked for, and what can be chosen; without choices it is typed.
SETTING_WORDS: dict[SettingName, tuple[str, dict[str, str]]] = {
    SettingName.MINUTES: (N_("Minutes of a session at home, 1 to 20"), {}),
    SettingName.TEMPO: (N_("How fast tunes are given, 0.4 to 1.5 times their own speed"), {}),
    SettingName.DETAIL: (N_("What is said of a take"), {"short": N_("One breath"), "more": N_("More, without being asked")}),
    SettingName.WAIT_FOR_GO: (N_("Before the next phrase of a lesson"), {"off": N_("Go on"), "on": N_("Wait for a key")}),
    SettingName.SPEECH: (N_("Words, in the terminal"), {"on": N_("Spoken"), "off": N_("Left to a screen reader")}),
    SettingName.RATE: (N_("How fast words are spoken, 80 to 300 a minute"), {}),
    SettingName.VARIETY: (N_("Names of notes and values"), {}),
    SettingName.LOUDNESS: (N_("Loudness, -50 to -14 dB; begin low"), {}),
    SettingName.KEEP_SOUND_DAYS: (N_("Days for which sound is kept, where that is allowed"), {}),
    SettingName.KEYS: (N_("Keys and pedals and what they do, as f9:go,pagedown:again"), {}),
    SettingName.MICROPHONE: (N_("Microphone by its name, in the terminal; empty for the usual one"), {}),
    SettingName.LOUDSPEAKER: (N_("Loudspeaker by its name, in the terminal; empty for the usual one"), {}),
}


def begins(diary: Diary, name: str, new: bool) -> bool:
    """Whether a page may be begun for a name that the diary has not. Raises Trouble where it is like another's."""
    near = diary.near(name)
    if diary.find(name) is None and near is not None and not new:
        raise Trouble(_("The diary has no pupil {nickname}. Did you mean {near}? A page for somebody new is begun in the diary."
                        ).format(nickname=name, near=near))
    return True


async def pupils(request: Request) -> Response:
    """All pupils, and a new one."""
    state = state_of(request)

    def make() -> list[tuple[str, str]]:
        with Diary(state.diary) as diary:
            return [(p.nickname, pupil_line(state.language, p.nickname, len(diary.takes(p)))) for p in diary.pupils()]

    found = await run_in_threadpool(make)
    return render(request, "diary.html", state.language.message("The diary"), found=found, nobody=no_pupils(state.language))


async def choose(request: Request) -> Response:
    """A pupil is looked at; a new one where that is asked for."""
    form = await checked_form(request)
    state = state_of(request)
    name, new = given_name(form), form.get("new") == "yes"

    def make() -> str:
        with Diary(state.diary) as diary:
            return diary.pupil(name, new=new and begins(diary, name, False)).nickname

    state.pupil = await run_in_threadpool(make)
    return see_other("/diary/pupil")


def given_name(form: Any) -> str:
    """The nickname in a form. Raises Trouble where there is none, or no nickname."""
    name = " ".join(str(form.get("pupil", "")).split())
    if not name or len(name) > MOST_NAME:
        raise Trouble(_("Give a nickname of up to {most} letters.").format(most=MOST_NAME))
    return name


async def pupil(request: Request) -> Response:
    """One pupil's page."""
    state = state_of(request)
    if not state.pupil:
        return see_other("/diary")
    return await _shown(request, state.pupil, [])


async def _shown(request: Request, name: str, done: list[str]) -> Response:
    state = state_of(request)
    language = state.language

    def make() -> dict[str, Any]:
        with Diary(state.diary) as diary:
            found = diary.pupil(name)
            consent, weeks = diary.consent(found), weeks_of(diary, found)
            course = week_of_course(diary, found, stages())
            lines = week_lines(language, week_of(diary, found)) + ([course_week_line(language, course)] if course else [])
            return {"pupil": found.nickname, "lines": lines,
                    "picture": weeks_picture(language, weeks), "weeks": weeks_lines(language, weeks),
                    "settings": _settings(language, diary.settings(found)),
                    "low": _note(found.low),
                    "high": _note(found.high),
                    "consent": consent is not None, "where": str(diary.path)}

    values = await run_in_threadpool(make)
    return render(request, "pupil.html", values["pupil"], done=done, tunes=state.tunes.choices(), **values)


def _settings(language: Language, kept: Settings) -> list[tuple[str, str, str, list[tuple[str, str]]]]:
    """(name, what it is, its value as typed, what can be chosen) of each setting, the most used first."""
    out = []
    for name, (label, choices) in SETTING_WORDS.items():
        found = [(value, language.message(words)) for value, words in choices.items()]
        if name is SettingName.VARIETY:
            found = [(variety, variety.capitalize()) for variety in VARIETIES]
        out.append((name.value, language.message(label), _typed(kept[name]), found))
    return out


def _note(midi: float | None) -> str:
    """A pitch as it is typed, "" for none: "A3"."""
    return "" if midi is None else spell(round(midi), Key()).name


def _typed(value: Any) -> str:
    """A setting as it is typed."""
    return ",".join(f"{k}:{v}" for k, v in value.items()) if isinstance(value, dict) else str(value)


async def change(request: Request) -> Response:
    """Changes on a pupil's page, all checked before any is made."""
    form = await checked_form(request)
    state = state_of(request)
    name = given_name(form)

    def text(field: str) -> str:
        return str(form.get(field, "")).strip()[:500]

    shipped = {c.name for c in state.tunes.choices()}
    if text("set") and text("set") not in shipped:
        raise Trouble(_("Choose a tune from the list."))

    def make() -> list[str]:
        with Diary(state.diary) as diary:
            found: Pupil = diary.pupil(name)
            kept = diary.settings(found)
            settings = [f"{s}={text(f'setting-{s}')}" for s in SettingName
                        if f"setting-{s}" in form and text(f"setting-{s}") != _typed(kept[s])]
            changes = read_changes(
                settings=settings,
                range_names=(text("low"), text("high")) if text("low") or text("high") else None,
                tunes=[lasting(state, text("set"))] if text("set") else (), days=int(text("days") or 7),
                consent_by=text("consent") or None, until=text("until") or None, withdraw=form.get("withdraw") == "yes")
            make_changes(diary, found, changes)
            return change_lines(state.language, found.nickname, changes, diary.path)

    if text("days") and not (text("days").isascii() and text("days").isdigit() and len(text("days")) < 5):
        raise Trouble(_("The days were no number; give a whole number of days."))
    done = await run_in_threadpool(make)
    state.pupil = name
    return await _shown(request, name, done)


async def export(request: Request) -> Response:
    """Everything of a pupil, as a zip."""
    form = await checked_form(request)
    state, name = state_of(request), given_name(form)

    def make() -> dict[str, bytes]:
        with Diary(state.diary) as diary:
            return files_made(lambda folder: export_pupil(diary, diary.pupil(name), folder / "pupil.zip"))

    return download("pupil.zip", (await run_in_threadpool(make))["pupil.zip"])


async def delete(request: Request) -> Response:
    """Deletion for good: asked once, then done."""
    form = await checked_form(request)
    state, name = state_of(request), given_name(form)
    if form.get("sure") != "yes":
        return render(request, "delete.html", state.language.message("Delete {pupil} for good?").format(pupil=name), pupil=name,
                      beyond=not_reached_line(state.language))
    if any((live.greeting.pupil or "").casefold() == name.casefold() for live in state.live.values()):
        raise Trouble(_("A session of {pupil} is under way. End it first; then nothing of it is left.").format(pupil=name))
    await run_in_threadpool(delete_pupil, name, state.diary)
    state.jobs.forget()
    if state.pupil.casefold() == name.casefold():
        state.pupil = ""
    if state.sitting is not None and state.sitting.pupil.casefold() == name.casefold():
        state.sitting = None
    lines = [deletion_line(state.language, name), not_reached_line(state.language)]
    return render(request, "done.html", state.language.message("Deleted"), lines=lines)


async def begin(request: Request) -> Response:
    """A page for a new pupil."""
    form = await checked_form(request)
    state, name = state_of(request), given_name(form)

    def make() -> None:
        with Diary(state.diary) as diary:
            diary.pupil(name, new=True)

    await run_in_threadpool(make)
    state.pupil = name
    return await _shown(request, name, [new_page(state.language, name)])


PAGES: dict[str, View] = {"/diary": pupils, "/diary/pupil": pupil}
CHANGES: dict[str, View] = {"/diary/choose": choose, "/diary/new": begin, "/diary/change": change, "/diary/export": export,
                            "/diary/delete": delete}
