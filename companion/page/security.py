"""What keeps other pages, machines and people out: host and origin of a request, a key, a token on every change, headers.

The page serves this machine alone. A page from elsewhere, opened in the same browser, can send requests here; it can
neither read our pages (same-origin policy) nor know the token that every form of ours carries. Another user of the same
machine can connect too: every page wants a cookie, which only the address with this run's key gives.
"""

from __future__ import annotations

import hmac
import secrets
import time
from collections.abc import Awaitable, Callable, MutableMapping
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie
from typing import Any

from companion.messages import _

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
Application = Callable[[Scope, Receive, Send], Awaitable[None]]

#: Names by which this machine calls itself. Anything else in Host is a name that a stranger's DNS points here.
HOSTS = ("127.0.0.1", "localhost", "[::1]")
HEADERS = {
    # Everything from here and nothing from elsewhere; no inline script or style; no frame around us.
    "content-security-policy": ("default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; font-src 'self'; "
                                "media-src 'self' blob:; connect-src 'self'; manifest-src 'self'; worker-src 'self'; "
                                "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"),
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",  # with "no-referrer" a browser sends our own forms without their origin
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "microphone=(self), camera=(), geolocation=()",
    "cache-control": "no-store",  # nothing of a pupil stays in the browser
}
ENTRY = "/open/"  # before a key, in the address that lets in
AGAIN = "/again"  # after such an address: asked by a second start of the program, for a key that it gives its browser
ONCE_S = 60.0  # a browser starts within a minute
_ENTERED = ('<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><title>companion</title></head>'
            '<body><p><a href="/">{words}</a></p></body></html>')
MOST_BODY_BYTES = 60_000_000  # a quarter of an hour of stereo sound without compression


def new_token() -> str:
    """A token that nobody can guess: 128 bits."""
    return secrets.token_urlsafe(16)


@dataclass
class EntryKeys:
    """What lets a browser in, new with every run.

    lasting: in the address that is written at the terminal. once: in the address with which the browser is started; other
    users see that in the list of processes, so it lets in the first who comes, for a minute. cookie: what a browser that
    was let in shows from then on.
    """

    lasting: str = field(default_factory=new_token)
    once: str = field(default_factory=new_token)
    cookie: str = field(default_factory=new_token)
    made: float = field(default_factory=time.monotonic)

    def opens(self, key: str) -> bool:
        """Whether an address with this key lets in. The key for once is then used up."""
        if same_token(key, self.lasting):
            return True
        if not self.once or not same_token(key, self.once) or time.monotonic() - self.made > ONCE_S:
            return False
        self.once = ""
        return True

    def renewed(self, key: str) -> str:
        """A new key for once, for who shows the lasting one; "" for others."""
        if not same_token(key, self.lasting):
            return ""
        self.once, self.made = new_token(), time.monotonic()
        return self.once


def cookie_name(port: int) -> str:
    """A browser keeps the cookies of all ports of a machine together, so each has a name of its own."""
    return f"companion-{port}"


class Guard:
    """ASGI middleware: foreign Host and Origin are refused, browsers without the cookie too, bodies are bounded.

    port: that we listen on. The token of a form is read by the views, since the body is theirs; here it is enough that
    Origin is ours for every request that can change something.
    """

    def __init__(self, app: Application, port: int, keys: EntryKeys) -> None:
        self.app, self.keys = app, keys
        self.hosts = {f"{host}:{port}" for host in HOSTS}
        self.origins = {f"http://{host}" for host in self.hosts}
        self.cookie = cookie_name(port)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        headers = {k.decode("latin-1").lower(): v.decode("latin-1") for k, v in scope["headers"]}
        reason = self._refusal(scope, headers)
        known = self._known(headers.get("cookie", ""))
        path = str(scope["path"])
        if not reason and scope["type"] == "http" and path.startswith(ENTRY):
            if scope["method"] == "POST" and path.endswith(AGAIN):
                if once := self.keys.renewed(path.removeprefix(ENTRY).removesuffix(AGAIN)):
                    await _tell(_with_headers(send), once)
                    return
            elif known or self.keys.opens(path.removeprefix(ENTRY)):
                await self._enter(_with_headers(send))
                return
            reason = "used"
        if not reason and not known and not path.startswith("/static/"):
            reason = "key"
        if reason:
            await _refuse(scope, receive, _with_headers(send), reason)
            return
        await self.app(scope, _bounded(receive), _with_headers(send))

    def _known(self, cookies: str) -> bool:
        """Whether a browser shows the cookie that it was given."""
        try:
            found = SimpleCookie(cookies).get(self.cookie)
        except CookieError:
            return False
        return found is not None and same_token(found.value, self.keys.cookie)

    async def _enter(self, send: Send) -> None:
        """Give the cookie, and go on to the first page.

        By a page that goes on by itself: a redirect would still count as coming from wherever the address was clicked, and
        a strict cookie is not sent then.
        """
        cookie = f"{self.cookie}={self.keys.cookie}; Path=/; HttpOnly; SameSite=Strict"
        await send({"type": "http.response.start", "status": 200,
                    "headers": [(b"content-type", b"text/html; charset=utf-8"), (b"set-cookie", cookie.encode()),
                                (b"refresh", b"0; url=/")]})
        await send({"type": "http.response.body", "body": _ENTERED.format(words=_("To the first page")).encode()})

    def _refusal(self, scope: Scope, headers: dict[str, str]) -> str:
        if headers.get("host", "") not in self.hosts:
            return "host"
        origin = headers.get("origin")
        changes = scope["type"] == "websocket" or scope["method"] not in ("GET", "HEAD")
        if origin is not None and origin not in self.origins:
            return "origin"
        # Browsers send Origin with every POST and WebSocket; a program that sends none is none of ours.
        if changes and origin is None:
            return "origin"
        length = headers.get("content-length", "0")
        if not length.isdecimal() or int(length) > MOST_BODY_BYTES:
            return "length"
        return ""


def same_token(given: str, token: str) -> bool:
    """Whether a form's token is this run's, in a time that tells nothing."""
    return hmac.compare_digest(given.encode(), token.encode())


async def _tell(send: Send, text: str) -> None:
    await send({"type": "http.response.start", "status": 200, "headers": [(b"content-type", b"text/plain; charset=utf-8")]})
    await send({"type": "http.response.body", "body": text.encode()})


async def _refuse(scope: Scope, receive: Receive, send: Send, reason: str) -> None:
    if scope["type"] == "websocket":
        await receive()
        await send({"type": "websocket.close", "code": 4403})
        return
    status, text = {
        "host": (403, _("This page serves this machine alone.")),
        "origin": (403, _("This request came from another page and was not done.")),
        "length": (413, _("This is larger than a take or a score can be. Nothing was kept.")),
        "key": (403, _("This page is open only to the browser that companion page started: use that one, or open the whole "
                       "address that companion page has written.")),
        "used": (403, _("This address has been used already or is from an earlier start: open the one that companion page has "
                        "written, or start companion page again.")),
    }[reason]
    await send({"type": "http.response.start", "status": status,
                "headers": [(b"content-type", b"text/plain; charset=utf-8"), (b"connection", b"close")]})
    await send({"type": "http.response.body", "body": text.encode()})


class TooLarge(Exception):
    """A body went past the bound while it came in."""


def _bounded(receive: Receive) -> Receive:
    came = 0

    async def inner() -> Message:
        nonlocal came
        message = await receive()
        if message["type"] == "http.request":
            came += len(message.get("body", b""))
            if came > MOST_BODY_BYTES:
                raise TooLarge
        return message

    return inner


def _with_headers(send: Send) -> Send:
    async def inner(message: Message) -> None:
        if message["type"] == "http.response.start":
            there = {k.lower() for k, _value in message["headers"]}
            message["headers"] = [*message["headers"],
                                  *((k.encode(), v.encode()) for k, v in HEADERS.items() if k.encode() not in there)]
        await send(message)

    return inner
