"""Ask the page's app in this process, one request at a time."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Any

import httpx

from frusta.web.access import Access
from frusta.web.app import make_app
from frusta.web.desk import Desk

TOKEN = "k" * 24
HOST = "127.0.0.1:8418"
BASE = f"http://{HOST}/{TOKEN}"


class Asked:
    """A campaign's page, asked without a server."""

    def __init__(self, path: Path) -> None:
        self.desk = Desk(path, "virtual:fast", 1)
        self.desk.at_bench = True  # nothing is read in the background: answers depend on nothing but the request
        self.app = make_app(self.desk, Access(TOKEN, frozenset({HOST})))

    def __call__(self, method: str, path: str, **values: Any) -> httpx.Response:
        return asyncio.run(self._ask(method, path, values))

    async def _ask(self, method: str, path: str, values: dict[str, Any]) -> httpx.Response:
        transport = httpx.ASGITransport(self.app, raise_app_exceptions=False, client=("127.0.0.1", 5000))
        async with httpx.AsyncClient(transport=transport) as client:
            return await client.request(method, BASE + path, **values)
