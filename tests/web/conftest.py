"""A page that is really served, and a browser that tells of every error, refused resource and foreign request."""

from __future__ import annotations

import asyncio
import re
import socket
import subprocess
import sys
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
from playwright.sync_api import Browser, Page, expect, sync_playwright

from frusta.campaign.package import open_package
from frusta.material.learned import Learned
from frusta.web import sitting
from frusta.web.access import Access
from frusta.web.app import make_app
from frusta.web.desk import Desk
from frusta.web.kept_analysis import Known
from frusta.web.rooms import bench as rooms_bench

sys.path.insert(0, str(Path(__file__).parent))  # what these tests share
sys.path.insert(0, str(Path(__file__).parents[1] / "campaign"))
sys.path.insert(0, str(Path(__file__).parents[1] / "publish"))
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
PATIENCE_MS = 240_000
"""How long a wait for a definite state may take on a slow machine."""


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
        self.thread.join(60)


def write_tables(root: Path, **changes: str) -> Path:
    """Write a small campaign into a folder."""
    root.mkdir(parents=True, exist_ok=True)
    for name, text in (TABLES | changes).items():
        (root / f"{name}.csv").write_text(text, "utf-8")
    return root


@pytest.fixture(autouse=True, scope="session")
def _own_cache(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Analyses stay out of the user's folders; what one test read, another need not."""
    patch = pytest.MonkeyPatch()
    patch.setenv("FRUSTA_CACHE", str(tmp_path_factory.mktemp("cache")))
    patch.setenv("OMP_NUM_THREADS", "1")
    patch.setenv("OPENBLAS_NUM_THREADS", "1")
    yield
    patch.undo()


@pytest.fixture(autouse=True)
def _own_memory(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Memory of rigs and keys is each test's own.

    A page takes a machine that is busy with other things for a frusta that has gone, and stops the sound, as it
    should at a bench; in a test only after a minute, unless the test is about that.
    """
    monkeypatch.setenv("FRUSTA_CONFIG", str(tmp_path / "config"))
    monkeypatch.setattr(rooms_bench, "SILENCE_MS", 60_000)
    monkeypatch.setattr(sitting, "UNHEARD_S", 600.0)


@pytest.fixture
def origins() -> set[str]:
    """Where pages of this test come from."""
    return set()


@pytest.fixture
def serve(origins: set[str]) -> Iterator[Callable[..., Served]]:
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
        until = time.monotonic() + 240
        while not server.started and time.monotonic() < until:
            time.sleep(0.01)
        if not server.started:
            pytest.fail("the page was not served in time")
        served = Served(f"http://127.0.0.1:{port}/{token}/", desk, access, server, thread)
        origins.add(f"http://127.0.0.1:{port}/")
        running.append(served)
        return served

    yield start
    for served in running:
        served.end()


@pytest.fixture
def read_page(tmp_path: Path, serve: Callable[..., Served], monkeypatch: pytest.MonkeyPatch) -> Callable[..., str]:
    """Serve an invented campaign whose takes count as read, and return the page's address."""
    from workshop import Workshop, invent

    def start(shop: Workshop | None = None) -> str:
        folder = tmp_path / "hedgerow"
        folder.mkdir()
        invented = invent(folder, shop or Workshop())
        known = Known(invented.findings, invented.curves, Learned(), "read", open_package(folder))
        monkeypatch.setattr(Desk, "look", lambda self: known)
        monkeypatch.setattr(Desk, "is_stale", lambda self: False)
        monkeypatch.setattr(Desk, "ensure_read", lambda self: known)
        return serve(folder).address

    return start


@dataclass
class Apart:
    """A page served by a process of its own, which can be killed."""

    address: str
    port: int
    process: subprocess.Popen[str]

    def kill(self) -> None:
        self.process.kill()
        self.process.wait(60)


_APART = """
import sys
from pathlib import Path
from frusta.web.rooms import bench
from frusta.web.serving import serve
bench.SILENCE_MS = 8000
serve(Path(sys.argv[1]), port=int(sys.argv[2]), share=False, device=sys.argv[3], cores=1, browser=False,
      say=lambda line: print(line, flush=True))
"""


@pytest.fixture
def serve_apart(origins: set[str]) -> Iterator[Callable[..., Apart]]:
    """Serve a folder as `frusta open` does, in a process of its own; killed with the test."""
    running: list[Apart] = []

    def start(path: Path, *, device: str, port: int = 0) -> Apart:
        command = [sys.executable, "-c", _APART, str(path), str(port), device]
        process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        assert process.stdout is not None
        told = process.stdout.readline()
        found = re.search(r"http://127\.0\.0\.1:(\d+)/\S+", told)
        if found is None:
            pytest.fail(f"the page did not come up: {told!r}")
        origins.add(f"http://127.0.0.1:{found[1]}/")
        running.append(Apart(found[0], int(found[1]), process))
        return running[-1]

    yield start
    for apart in running:
        apart.kill()
        if apart.process.stdout is not None:
            apart.process.stdout.close()


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """The system's Chromium."""
    if not CHROMIUM.exists():
        pytest.fail(f"{CHROMIUM} is missing: run tools/system_packages.sh, these tests look at the real page")
    expect.set_options(timeout=PATIENCE_MS)
    with sync_playwright() as play:
        opened = play.chromium.launch(executable_path=str(CHROMIUM), args=ARGUMENTS)
        yield opened
        opened.close()


@pytest.fixture
def open_page(browser: Browser, origins: set[str]) -> Iterator[Callable[..., Page]]:
    """Open pages; afterwards none may have complained or asked anything of another place."""
    pages: list[Page] = []
    wrong: list[str] = []
    allowed: list[str] = []

    def _is_foreign(address: str) -> bool:
        return not address.startswith((*origins, "data:", "blob:"))

    def start(address: str, *, scheme: str = "light", width: int = 1280, height: int = 800, expect: str = "") -> Page:
        context = browser.new_context(
            viewport={"width": width, "height": height}, color_scheme=scheme, reduced_motion="reduce"
        )
        context.set_default_timeout(PATIENCE_MS)
        page = context.new_page()
        page.on(
            "console", lambda m: wrong.append(f"console {m.type}: {m.text}") if m.type in ("error", "warning") else None
        )
        page.on("pageerror", lambda e: wrong.append(f"script: {e}"))
        page.on("request", lambda r: wrong.append(f"foreign request: {r.url}") if _is_foreign(r.url) else None)
        if expect:
            allowed.extend(expect.split("|"))
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
