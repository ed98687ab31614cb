"""Serve the page: which addresses, which key, and how it ends."""

from __future__ import annotations

import hashlib
import json
import os
import secrets
import socket
import threading
import webbrowser
from collections.abc import Callable
from pathlib import Path
from types import FrameType

import platformdirs
import uvicorn

from frusta.campaign.atomic import write_atomically
from frusta.campaign.package import read_package
from frusta.errors import FrustaError, OutputError, PackageError, ParameterError
from frusta.web.access import Access
from frusta.web.app import make_app
from frusta.web.desk import Desk

LOOPBACK = "127.0.0.1"
WORDS = (
    "amber", "anvil", "apron", "arrow", "badge", "barge", "basil", "beech", "birch", "bison", "blaze", "bloom",
    "brick", "brook", "broom", "cabin", "candle", "canoe", "cedar", "chalk", "cliff", "cloud", "clover", "cobalt",
    "comet", "copper", "coral", "crane", "crow", "daisy", "delta", "dune", "eagle", "ember", "falcon", "fern",
    "fjord", "flint", "forge", "frost", "garnet", "ginger", "glade", "goose", "granite", "grove", "harbor", "hazel",
    "heron", "holly", "honey", "island", "ivory", "jade", "juniper", "kettle", "lagoon", "lantern", "larch",
    "lemon", "lilac", "linen", "lobster", "lotus", "maple", "marble", "meadow", "mint", "moss", "nutmeg", "oak",
    "olive", "onyx", "orchid", "otter", "paddle", "pebble", "pepper", "pine", "plum", "poppy", "quartz", "quill",
    "raven", "reed", "river", "robin", "rowan", "saddle", "sage", "salmon", "sand", "shell", "silver", "slate",
    "spruce", "stone", "straw", "sugar", "thistle", "timber", "topaz", "tulip", "velvet", "violet", "walnut",
    "willow", "wren", "yarrow", "zinc",
)  # fmt: skip


def serve(
    path: Path,
    *,
    port: int,
    share: bool,
    device: str | None,
    cores: int | None,
    browser: bool,
    say: Callable[[str], object],
) -> None:
    """Serve the page until it is ended.

    Parameters
    ----------
    path : Path
        Campaign, or a folder to start one in.
    port : int
        0: any that is free.
    share : bool
        Let other devices in.
    device, cores
        As of `Desk`.
    browser : bool
        Whether to open it.
    say : callable
        Prints a line.

    Raises
    ------
    PackageError
        If the path is nothing that can be opened.
    ParameterError
        If the port is taken.
    """
    _refuse(path)
    held = _bound("0.0.0.0" if share else LOOPBACK, port)
    port = int(held.getsockname()[1])
    access = Access(token_of(path), hosts_of(port, share), _word() if share else None)
    address = f"http://{LOOPBACK}:{port}/{access.token}/"
    desk = Desk(path, device, cores)
    config = uvicorn.Config(
        make_app(desk, access), log_level="warning", access_log=False, server_header=False, timeout_graceful_shutdown=2
    )
    server = _Server(config, desk)
    say(f"The page: {address}")
    if share:
        say("On another device of this network:")
        for name in sorted(h for h in access.hosts if not h.startswith(("localhost", "127.", "[::1]"))):
            say(f"  http://{name}/   and type the word: {access.word}")
    say("Ctrl-C ends it.")
    if browser:
        threading.Timer(0.8, webbrowser.open, (address,)).start()
    with held:
        server.run([held])


class _Server(uvicorn.Server):
    """A server that lets its listeners go before it ends."""

    def __init__(self, config: uvicorn.Config, desk: Desk) -> None:
        super().__init__(config)
        self._desk = desk

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        self._desk.ending.set()
        super().handle_exit(sig, frame)


def token_of(path: Path) -> str:
    """Return the key of a campaign's address: random, kept for this user only, so that a reload outlives a restart."""
    file = _folder() / "page-keys.json"
    name = hashlib.sha256(str(path.resolve()).encode()).hexdigest()[:16]
    try:
        known = json.loads(file.read_text("utf-8"))
    except (OSError, ValueError):
        known = {}
    token = known.get(name) if isinstance(known, dict) else None
    if isinstance(token, str) and len(token) >= 24:
        return token
    token = secrets.token_urlsafe(24)
    try:
        write_atomically(file, json.dumps({**(known if isinstance(known, dict) else {}), name: token}).encode())
        file.chmod(0o600)
    except (OSError, OutputError):
        return token
    return token


def hosts_of(port: int, share: bool) -> frozenset[str]:
    """Return what a Host header may say."""
    names = [LOOPBACK, "localhost", "[::1]"]
    if share:
        names += _own_addresses()
    return frozenset(f"{name}:{port}" for name in names) | ({*names} if port == 80 else set())


def _refuse(path: Path) -> None:
    """Refuse what can be neither a campaign nor a place for one."""
    if not path.exists():
        raise PackageError(f"{path}: must be a package or a folder (there is none); correct the path")
    if path.is_file():
        read_package(path)
    elif (path / "campaign.csv").exists():
        try:
            read_package(path)
        except FrustaError as error:
            raise PackageError(str(error)) from error


def _bound(host: str, port: int) -> socket.socket:
    held = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    held.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        held.bind((host, port))
        held.listen(128)  # from here on the address answers, if not at once
    except OSError as error:
        held.close()
        raise ParameterError(
            f"--port must be free (port {port}: {(error.strerror or str(error)).lower()}); name another, or --port 0"
        ) from error
    return held


def _own_addresses() -> list[str]:
    """Addresses of this machine in its networks."""
    found = set()
    try:
        found |= {str(a[4][0]) for a in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)}
    except OSError:
        found = set()
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("10.255.255.255", 1))  # a datagram socket: nothing is sent
            found.add(str(probe.getsockname()[0]))
        except OSError:
            pass
    return sorted(a for a in found if not a.startswith("127."))


def _word() -> str:
    return f"{secrets.choice(WORDS)}-{secrets.choice(WORDS)}-{secrets.randbelow(90) + 10}"


def _folder() -> Path:
    own = os.environ.get("FRUSTA_CONFIG")
    return Path(own) if own else Path(platformdirs.user_config_dir("frusta", appauthor=False))
