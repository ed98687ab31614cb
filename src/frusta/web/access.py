"""Who may talk to the page: this machine, through the address that was printed; others only with the word.

A pure ASGI layer around the app. It checks Host and Origin, takes the token off the path, asks other devices for the
word, limits what may be sent, and puts the same headers on every answer.
"""

from __future__ import annotations

import secrets
import time
from collections.abc import Awaitable, Callable, MutableMapping
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie
from typing import Any
from urllib.parse import parse_qs, urlsplit

from frusta.web.problems import Problem, problem_response, refusal_page

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

COOKIE = "frusta_word"
LARGEST_BODY = 2**20
LARGEST_UPLOAD = 2**30
UPLOADS = ("/api/import/files",)
TRIES, REST_S = 5, 30.0
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; font-src 'self'; "
    "connect-src 'self'; frame-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
    "cache-control": "no-store",
}


@dataclass(frozen=True)
class Access:
    """Who may come in.

    Parameters
    ----------
    token : str
        Stands in the address; without it nothing is shown and nothing changed.
    hosts : frozenset of str
        What the Host header may say, with the port.
    word : str or None
        What other devices must type; None: only this machine.
    session : str
        What a device holds once it knew the word.
    """

    token: str
    hosts: frozenset[str]
    word: str | None = None
    session: str = field(default_factory=lambda: secrets.token_urlsafe(24))


class Guard:
    """The app, behind the door.

    Parameters
    ----------
    app : ASGI app
    access : Access
    """

    def __init__(self, app: App, access: Access) -> None:
        self._app = app
        self._access = access
        self._wrong = 0
        self._rest_until = 0.0

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or refuse it."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        headers = {k.decode("latin-1"): v.decode("latin-1") for k, v in scope["headers"]}
        answer = _with_headers(send)
        refused = self._refused(scope, headers)
        if refused is not None:
            await refused(scope, receive, answer)
            return
        path = str(scope["path"])
        if path == "/" or path == "/word":
            await self._door(scope, receive, answer)
            return
        if not path.startswith("/static/"):
            scope = {**scope, "root_path": f"/{self._access.token}"}
            path = path[len(self._access.token) + 1 :]
        await self._app(scope, _limited(receive, _limit(path)), answer)

    def _refused(self, scope: Scope, headers: dict[str, str]) -> App | None:
        """The answer to a request that may not go on, or None."""
        path = str(scope["path"])
        if headers.get("host", "").lower() not in self._access.hosts:
            return _page(421, "This is not the address that was printed", "Use the address in the terminal.")
        origin = headers.get("origin")
        if origin is not None and urlsplit(origin).netloc.lower() not in self._access.hosts:
            return problem_response(
                Problem("A page from elsewhere asked for this.", origin, "Use the address in the terminal."), 403
            )
        site = headers.get("sec-fetch-site", "same-origin")
        if scope["method"] not in ("GET", "HEAD") and site not in ("same-origin", "none"):
            return problem_response(
                Problem("A page from elsewhere asked for this.", site, "Use the address in the terminal."), 403
            )
        length = headers.get("content-length", "0")
        bare = path[len(self._access.token) + 1 :]
        if not length.isdigit() or int(length) > _limit(bare):
            most = f"{_limit(bare) // 2**20} MB"
            return problem_response(Problem(f"More than {most} were sent at once.", path, "Send less at a time."), 413)
        if path in ("/", "/word") or path.startswith("/static/"):
            return None
        first = path.split("/")[1] if "/" in path else ""
        if not secrets.compare_digest(first.encode(), self._access.token.encode()):
            return _page(403, "The key in the address is missing or old", "Use the address in the terminal.")
        if not _is_here(scope) and not self._knows_word(headers):
            return _page(403, "This device has not given the word yet", 'Open <a href="/">the door</a> and type it.')
        return None

    def _knows_word(self, headers: dict[str, str]) -> bool:
        try:
            held = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
        except CookieError:
            return False
        return held is not None and secrets.compare_digest(held.value.encode(), self._access.session.encode())

    async def _door(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Where another device types the word."""
        if self._access.word is None:
            await _page(403, "The key in the address is missing", "Use the address in the terminal.")(
                scope, receive, send
            )
            return
        if scope["method"] == "POST":
            said = await _form_word(receive)
            now = time.monotonic()
            if now < self._rest_until:
                await _page(429, "Too many wrong words", "Wait half a minute, then look at the screen again.")(
                    scope, receive, send
                )
                return
            if secrets.compare_digest(said.encode(), self._access.word.encode()):
                self._wrong = 0
                await _redirect(f"/{self._access.token}/bench", f"{COOKIE}={self._access.session}")(
                    scope, receive, send
                )
                return
            self._wrong += 1
            if self._wrong >= TRIES:
                self._wrong, self._rest_until = 0, now + REST_S
        await refusal_page(
            200 if scope["method"] == "GET" else 403,
            "Which word is on the screen?",
            "It stands in the terminal where frusta open was started, and on its page under the key ?.",
            ask_word=True,
        )(scope, receive, send)


def _limit(path: str) -> int:
    return LARGEST_UPLOAD if path in UPLOADS else LARGEST_BODY


def _is_here(scope: Scope) -> bool:
    client = scope.get("client")
    return client is not None and client[0] in ("127.0.0.1", "::1", "testclient")


def _limited(receive: Receive, most: int) -> Receive:
    """Cut a body that says nothing of its length, or lies about it."""
    got = 0

    async def limited() -> Message:
        nonlocal got
        message = await receive()
        got += len(message.get("body", b""))
        if got > most:
            return {"type": "http.disconnect"}
        return message

    return limited


def _with_headers(send: Send) -> Send:
    async def answer(message: Message) -> None:
        if message["type"] == "http.response.start":
            own = {k.lower() for k, _ in message["headers"]}
            extra = [(k.encode(), v.encode()) for k, v in HEADERS.items() if k.encode() not in own]
            message = {**message, "headers": [*message["headers"], *extra]}
        await send(message)

    return answer


async def _form_word(receive: Receive) -> str:
    body = b""
    while len(body) < 1000:
        message = await receive()
        body += message.get("body", b"")
        if not message.get("more_body"):
            break
    return parse_qs(body.decode("utf-8", "replace")).get("word", [""])[0].strip().lower()


def _page(status: int, what: str, what_to_do: str) -> App:
    return refusal_page(status, what, what_to_do)


def _redirect(to: str, cookie: str) -> App:
    async def answer(scope: Scope, receive: Receive, send: Send) -> None:
        headers = [
            (b"location", to.encode()),
            (b"set-cookie", f"{cookie}; Path=/; HttpOnly; SameSite=Strict".encode()),
        ]
        await send({"type": "http.response.start", "status": 303, "headers": headers})
        await send({"type": "http.response.body", "body": b""})

    return answer
