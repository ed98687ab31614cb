"""An error as the page tells it: what, where, what to do; one JSON form, and one page."""

from __future__ import annotations

import json
from collections.abc import Awaitable, Callable, MutableMapping
from dataclasses import asdict, dataclass
from html import escape
from typing import Any

from pydantic import BaseModel

from frusta.errors import FrustaError


@dataclass(frozen=True)
class Problem:
    """What went wrong.

    Parameters
    ----------
    what : str
        A full sentence.
    where : str
        Place; empty where there is none.
    what_to_do : str
        The one next action.
    """

    what: str
    where: str = ""
    what_to_do: str = ""

    def body(self) -> dict[str, Any]:
        """Return the one JSON form of an error."""
        return {"error": asdict(self)}


class ProblemBody(BaseModel):
    """The one JSON form of an error, as the description of the calls names it."""

    class Told(BaseModel):
        """What, where, what to do."""

        what: str
        where: str
        what_to_do: str

    error: Told


REFUSALS: dict[int | str, dict[str, Any]] = {
    status: {"model": ProblemBody, "description": description}
    for status, description in {
        400: "The body could not be read",
        403: "Asked by a page from elsewhere, or without the key",
        404: "There is nothing here",
        405: "That cannot be done here",
        413: "More was sent than fits",
        415: "Another kind of body is needed",
        421: "Not the address that was printed",
        422: "Something must be mended first; the text says what",
    }.items()
}
"""What any call may answer but for its own result."""


def a_file(*kinds: str) -> dict[int | str, dict[str, Any]]:
    """Return how the description names an answer that is a file of one of some kinds."""
    content = {kind: {"schema": {"type": "string", "format": "binary"}} for kind in kinds}
    return {200: {"content": content, "description": "The file"}}


def problem_of(error: FrustaError) -> Problem:
    """Return an error of frusta's as a problem: its text says what must hold, what came, what to do."""
    what, _, remedy = str(error).rpartition("; ")
    if not what:
        return Problem(_sentence(str(error)))
    return Problem(_sentence(what), "", _sentence(remedy))


def problem_response(problem: Problem, status: int) -> Callable[..., Awaitable[None]]:
    """Return an ASGI app that answers with a problem."""
    return _answer(status, "application/json", json.dumps(problem.body(), ensure_ascii=False))


def refusal_page(status: int, what: str, what_to_do: str, *, ask_word: bool = False) -> Callable[..., Awaitable[None]]:
    """Return an ASGI app that answers with a page outside of the rooms; ``what_to_do`` may hold a link."""
    form = (
        '<form method="post" action="/word" class="stack"><label for="word">The word</label>'
        '<input id="word" name="word" class="entry" autocomplete="off" autocapitalize="none" autofocus required>'
        '<button class="btn go">Come in</button></form>'
    )
    page = (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width,initial-scale=1"><title>frusta</title>'
        '<link rel="icon" href="data:,"><link rel="stylesheet" href="/static/page.css"></head><body><main>'
        f'<section class="sheet pad stack door"><h1>{escape(what)}</h1><p>{what_to_do}</p>'
        f"{form if ask_word else ''}</section></main></body></html>"
    )
    return _answer(status, "text/html; charset=utf-8", page)


def _answer(status: int, kind: str, text: str) -> Callable[..., Awaitable[None]]:
    async def answer(_scope: MutableMapping[str, Any], _receive: Any, send: Any) -> None:
        body = text.encode()
        headers = [(b"content-type", kind.encode()), (b"content-length", str(len(body)).encode())]
        await send({"type": "http.response.start", "status": status, "headers": headers})
        await send({"type": "http.response.body", "body": body})

    return answer


def _sentence(text: str) -> str:
    text = text.strip()
    if not text:
        return ""
    first = text.split(maxsplit=1)[0].rstrip(":,.")
    begun = text if "/" in first or "." in first or "_" in first else text[0].upper() + text[1:]  # a file or a column
    return begun + ("" if text.endswith((".", "!", "?")) else ".")
