"""What every page has: the state of one run, templates, forms that are checked.

Every page works without JavaScript but for the microphone, sounds and six-key chords. State of a pupil stays in the
diary and in this process; nothing of it is in an address or in the browser.
"""

from __future__ import annotations

import re
import time
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from itertools import count
from pathlib import Path
from typing import Any

import jinja2
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from companion.diary import Diary, default_path
from companion.errors import Trouble
from companion.language import Language
from companion.messages import _
from companion.page.kept import Sounds, Tunes
from companion.page.security import EntryKeys, new_token, same_token
from companion.page.work import Jobs
from companion.places import write_whole

HERE = Path(__file__).parent
MOST_FIELD_BYTES = 400_000  # what is typed into one field: a hundred pages of braille in Unicode


@dataclass
class State:
    """One run of the page. language: of everything on it. diary: its file, None for the usual one.

    pupil: the nickname that was chosen last, "" for nobody; it stands here and not in any address. spoken: whether words
    were last asked to be spoken by the page. seen: when something
    was asked last, on the clock of `time.monotonic`; pinged: whether a page has ever said that it is still open.
    """

    language: Language
    port: int
    diary: str | None = None
    token: str = field(default_factory=new_token)
    keys: EntryKeys = field(default_factory=EntryKeys)
    jobs: Jobs = field(default_factory=Jobs)
    tunes: Tunes = field(default_factory=Tunes)
    sounds: Sounds = field(default_factory=Sounds)
    pupil: str = ""
    spoken: bool = False
    sitting: Any = None
    live: dict[str, Any] = field(default_factory=dict)
    sockets: int = 0
    seen: float = field(default_factory=time.monotonic)
    pinged: bool = False


def environment(language: Language) -> jinja2.Environment:
    """Templates that escape everything and say their sentences in `language`."""
    made = jinja2.Environment(loader=jinja2.FileSystemLoader(HERE / "templates"), autoescape=True,
                              undefined=jinja2.StrictUndefined, extensions=["jinja2.ext.i18n"], trim_blocks=True,
                              lstrip_blocks=True)
    made.filters["cell_classes"] = cell_classes
    made.install_gettext_callables(language.message, language.plural, newstyle=False)  # type: ignore[attr-defined]
    return made


def cell_classes(text: str) -> list[str]:
    """The dots of each cell as names for the style sheet: " d1 d4" for a c; other characters are free cells."""
    return ["".join(f" d{n + 1}" for n in range(6) if 0x2800 <= ord(c) <= 0x28FF and (ord(c) - 0x2800) >> n & 1) for c in text]


def pupils_of(state: State) -> list[str]:
    """The nicknames in the diary."""
    with Diary(state.diary) as diary:
        return [p.nickname for p in diary.pupils()]


def lasting(state: State, name: str) -> str:
    """What the diary calls a tune: one that was sent is kept beside the diary first, in a file named by its title. Raises
    Trouble or OSError where that cannot be written."""
    place = state.tunes.place(name)
    if place == name:
        return name
    folder = Path(state.diary or default_path()).parent / "tunes"
    folder.mkdir(parents=True, exist_ok=True)
    data = Path(place).read_bytes()
    title = re.sub(r"[^\w]+", "-", state.tunes.title(name)).strip("-")[:60] or "tune"
    for kept in (folder / f"{title}{f'-{k}' if k else ''}.musicxml" for k in count()):
        if not kept.exists():
            write_whole(kept, data)
            break
        if kept.read_bytes() == data:
            break
    return str(kept)


View = Callable[[Request], Awaitable[Response]]


def render(request: Request, template: str, title: str, status: int = 200, **values: Any) -> HTMLResponse:
    """A page: its title is its first heading and stands first in the window's title."""
    state: State = request.app.state.companion
    text = request.app.state.templates.get_template(template).render(
        title=title, token=state.token, path=request.url.path, language=state.language, **values)
    return HTMLResponse(text, status_code=status)


def state_of(request: Request) -> State:
    """The state of this run."""
    state: State = request.app.state.companion
    return state


async def checked_form(request: Request) -> Any:
    """The form of a change; refused without this run's token. At most a hundred fields and ten files."""
    form = await request.form(max_files=10, max_fields=100, max_part_size=MOST_FIELD_BYTES)
    token = form.get("token", "")
    if not isinstance(token, str) or not same_token(token, state_of(request).token):
        raise HTTPException(403)
    return form


def see_other(path: str) -> RedirectResponse:
    """After a change: the page to look at now, so that loading it again changes nothing twice."""
    return RedirectResponse(path, status_code=303)


def whole_number(form: Any, field: str, usual: int, least: int, most: int) -> int:
    """A whole number from a form. Raises Trouble for what is none, or outside."""
    text = str(form.get(field, "")).strip()
    if not text:
        return usual
    if not (text.isascii() and text.isdigit() and len(text) < 7 and least <= int(text) <= most):
        raise Trouble(_("{text} was given; give a whole number from {least} to {most}.").format(
            text=text[:20], least=least, most=most))
    return int(text)
