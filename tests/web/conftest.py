"""A page that is really served, and a browser that tells of every error, refused resource and foreign request."""

from __future__ import annotations

import asyncio
import socket
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx
import pytest
import uvicorn
from playwright.sync_api import Browser, Page, sync_playwright

from frusta.web.access import Access
from frusta.web.app import make_app
from frusta.web.desk import Desk

CHROMIUM = Path("/usr/bin/chromium")
ARGUMENTS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip
TABLES = {
    "campaign": "campaign,title,question,band_low_hz,band_high_hz\n"
    "quay,Cones for the quay,Which filament breaks up last?,300,5000\n",
    "materials": "material,name,polymer\nrush,Rush,PLA\nsedge,Sedge,PETG\n",
    "recipes": "recipe,layer_mm\ntwo,0.2\n",
    "profiles": "profile,shape,neck_radius_mm,rim_radius_mm,depth_mm,bow_mm,wall_mm\nst80,straight,13,40,24,0,0.8\n",
    "rigs": "rig,mounting,microphone_distance_mm,suspension_stiffness_n_mm,suspension_resistance_ns_m,"
    "force_factor_tm,coil_mass_g,coil_resistance_ohm,coil_inductance_mh,full_scale_pa,drive_full_scale_v\n"
    "jetty,free,150,2.6,0.8,4.1,2.9,5.6,0.25,40,3\n",
    "sessions": "session,rig,date\n",
    "sweeps": "sweep,start_hz,stop_hz,duration_s,lead_in_s,tail_s,sample_rate_hz\nshort,50,16000,0.7,0.1,0.3,48000\n",
    "specimens": "specimen,kind,material,recipe,profile,mass_g\nrush-1,cone,rush,two,st80,4.9\n"
    "sedge-1,cone,sedge,two,st80,\nheron,check,rush,two,st80,5.0\n",
}
LONG = "the-cone-with-the-longest-mark-that-a-rim-of-a-cone-could-hold-1"


@dataclass
class Served:
    """A page and what serves it."""

    address: str
    desk: Desk
    access: Access
    server: uvicorn.Server
    thread: threading.Thread

    def end(self) -> None:
        self.desk.ending.set()
        self.server.should_exit = True
        self.thread.join(20)


def write_tables(root: Path, **changes: str) -> Path:
    """Write a small campaign into a folder."""
    root.mkdir(parents=True, exist_ok=True)
    for name, text in (TABLES | changes).items():
        (root / f"{name}.csv").write_text(text, "utf-8")
    return root


@pytest.fixture(autouse=True, scope="session")
def _own_folders(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Memory of rigs, keys and analyses stays out of the user's folders."""
    patch = pytest.MonkeyPatch()
    patch.setenv("FRUSTA_CONFIG", str(tmp_path_factory.mktemp("config")))
    patch.setenv("FRUSTA_CACHE", str(tmp_path_factory.mktemp("cache")))
    patch.setenv("OMP_NUM_THREADS", "1")
    patch.setenv("OPENBLAS_NUM_THREADS", "1")
    yield
    patch.undo()


@pytest.fixture
def serve() -> Iterator[Callable[..., Served]]:
    """Serve a folder on a port of its own; ended with the test."""
    running: list[Served] = []

    def start(path: Path, *, device: str | None = "virtual:fast", port: int = 0, token: str = "t" * 24) -> Served:
        held = socket.socket()
        held.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        held.bind(("127.0.0.1", port))
        port = held.getsockname()[1]
        access = Access(token, frozenset({f"127.0.0.1:{port}"}))
        desk = Desk(path, device, 1)
        config = uvicorn.Config(make_app(desk, access), log_level="error", timeout_graceful_shutdown=1)
        server = uvicorn.Server(config)
        thread = threading.Thread(target=server.run, args=([held],), daemon=True)
        thread.start()
        until = time.monotonic() + 20
        while not server.started and time.monotonic() < until:
            time.sleep(0.01)
        served = Served(f"http://127.0.0.1:{port}/{token}/", desk, access, server, thread)
        running.append(served)
        return served

    yield start
    for served in running:
        served.end()


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """The system's Chromium."""
    if not CHROMIUM.exists():
        pytest.fail(f"{CHROMIUM} is missing: run tools/system_packages.sh, these tests look at the real page")
    with sync_playwright() as play:
        opened = play.chromium.launch(executable_path=str(CHROMIUM), args=ARGUMENTS)
        yield opened
        opened.close()


@pytest.fixture
def open_page(browser: Browser) -> Iterator[Callable[..., Page]]:
    """Open pages; afterwards none may have complained or asked anything of another place."""
    pages: list[Page] = []
    wrong: list[str] = []
    allowed: list[str] = []

    def start(address: str, *, scheme: str = "light", width: int = 1280, height: int = 800, expect: str = "") -> Page:
        origin = "/".join(address.split("/")[:3])
        context = browser.new_context(
            viewport={"width": width, "height": height}, color_scheme=scheme, reduced_motion="reduce"
        )
        context.set_default_timeout(20000)
        page = context.new_page()
        page.on(
            "console", lambda m: wrong.append(f"console {m.type}: {m.text}") if m.type in ("error", "warning") else None
        )
        page.on("pageerror", lambda e: wrong.append(f"script: {e}"))
        page.on(
            "request",
            lambda r: (
                wrong.append(f"foreign request: {r.url}") if not r.url.startswith((origin, "data:", "blob:")) else None
            ),
        )
        if expect:
            allowed.append(expect)
        page.goto(address)
        pages.append(page)
        return page

    yield start
    for page in pages:
        page.context.close()
    assert [w for w in wrong if not any(a in w for a in allowed)] == []


@pytest.fixture
def campaign(tmp_path: Path) -> Path:
    """A small campaign without takes."""
    return write_tables(tmp_path / "quay")


class Web:
    """Asks an app in this process, one request at a time; cookies are kept."""

    def __init__(self, app: Any, base: str, where: str) -> None:
        self._app = app
        self._base = base
        self._where = where
        self._cookies = httpx.Cookies()

    def __getattr__(self, method: str) -> Callable[..., httpx.Response]:
        def ask(path: str, **values: Any) -> httpx.Response:
            with ThreadPoolExecutor(1) as apart:  # the browser's loop may run in this thread
                return apart.submit(lambda: asyncio.run(self._ask(method.upper(), path, values))).result()

        return ask

    async def _ask(self, method: str, path: str, values: dict[str, Any]) -> httpx.Response:
        transport = httpx.ASGITransport(self._app, raise_app_exceptions=False, client=(self._where, 5000))
        async with httpx.AsyncClient(transport=transport, base_url=self._base, cookies=self._cookies) as client:
            answer = await client.request(method, path, **values)
            self._cookies = client.cookies
        return answer


@pytest.fixture
def web_for() -> Callable[..., Web]:
    """Ask an app as a client of this machine, or of another."""

    def make(app: Any, base: str, where: str = "127.0.0.1") -> Web:
        return Web(app, base, where)

    return make
