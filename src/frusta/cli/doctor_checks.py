"""What frusta needs of the machine, looked at one by one: what was found, and how to get what is missing."""

from __future__ import annotations

import importlib
import importlib.metadata
import importlib.util
import os
import platform
import shutil
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

State = Literal["ok", "missing", "optional"]

LEAST_FREE_BYTES = 2**30
"""An hour of takes at 192 kHz, or a report with its package."""
LIBRARIES = (
    "numpy", "scipy", "soundfile", "pydantic", "typer", "rich", "platformdirs", "altair", "jinja2", "fastapi",
    "uvicorn", "python_multipart", "sqlalchemy", "alembic", "trimesh", "networkx", "lxml",
)  # fmt: skip
BROWSERS = ("firefox", "chromium", "chromium-browser", "google-chrome", "microsoft-edge", "epiphany", "safari")
RIGS, COMPUTED = "choices for rigs and the page's keys", "computed air loads and analyses"
LOG, TEMPORARY, SHELF = "the log", "temporary files", "the shelf"
VARIABLES = {
    RIGS: "FRUSTA_CONFIG",
    COMPUTED: "FRUSTA_CACHE",
    LOG: "FRUSTA_STATE",
    TEMPORARY: "TMPDIR",
    SHELF: "FRUSTA_SHELF",
}
"""What names another place for each."""


@dataclass(frozen=True)
class Check:
    """One thing that was looked at.

    Attributes
    ----------
    what : str
        What it is, and what it is for.
    state : {"ok", "missing", "optional"}
        ``missing`` keeps frusta from a part of its job; ``optional`` is not there and need not be.
    found : str
        What was found.
    remedy : str
        How to get it; empty where all is well.
    """

    what: str
    state: State
    found: str
    remedy: str = ""


def check_machine() -> list[Check]:
    """Return every check, in the order in which things build on one another."""
    checks: list[Check] = [_python(), _libraries(), _sound_files(), _sound_card(), _charts(), _browser()]
    checks += [_writable(name, folder) for name, folder in folders().items()]
    checks.append(_disk())
    checks += [_optional(*extra) for extra in _EXTRAS]
    return checks


def folders() -> dict[str, Path]:
    """Return the folders that frusta writes to besides a campaign's own, by what they hold."""
    import platformdirs

    from frusta.campaign.shelf.database import default_place
    from frusta.cli.log_file import log_folder

    shelf = str(default_place())
    found = {
        RIGS: Path(os.environ.get("FRUSTA_CONFIG") or platformdirs.user_config_dir("frusta", appauthor=False)),
        COMPUTED: Path(os.environ.get("FRUSTA_CACHE") or platformdirs.user_cache_dir("frusta")),
        LOG: log_folder(),
        TEMPORARY: Path(tempfile.gettempdir()),
    }
    return found if "://" in shelf else found | {SHELF: Path(shelf).expanduser().parent}


def how_to_get(packages: dict[str, str], otherwise: str) -> str:
    """Return the command that installs something on this system.

    Parameters
    ----------
    packages : dict of str to str
        By installer (``apt``, ``dnf``, ``pacman``, ``zypper``, ``brew``, ``winget``): the package's name.
    otherwise : str
        What to do where none of these is known.
    """
    commands = {
        "apt": "sudo apt install",
        "dnf": "sudo dnf install",
        "pacman": "sudo pacman -S",
        "zypper": "sudo zypper install",
        "brew": "brew install",
        "winget": "winget install",
    }
    for installer, command in commands.items():
        if installer in packages and shutil.which(installer):
            return f"{command} {packages[installer]}"
    return otherwise


def _python() -> Check:
    return Check("Python", "ok", f"{platform.python_version()} on {platform.system()} {platform.machine()}")


def _libraries() -> Check:
    """Only whether they are there: importing all of them takes seconds."""
    absent = [name for name in LIBRARIES if importlib.util.find_spec(name) is None]
    if absent:
        return Check("Python libraries", "missing", f"not there: {', '.join(absent)}", _pip("frusta"))
    return Check("Python libraries", "ok", f"all {len(LIBRARIES)}")


def _sound_files() -> Check:
    what = "libsndfile, to read WAV and FLAC"
    try:
        soundfile = importlib.import_module("soundfile")
        forms = soundfile.available_formats()
    except (ImportError, OSError) as error:
        remedy = how_to_get(
            {"apt": "libsndfile1", "dnf": "libsndfile", "pacman": "libsndfile", "zypper": "libsndfile1"}
            | {"brew": "libsndfile"},
            _pip("--force-reinstall soundfile"),
        )
        return Check(what, "missing", str(error), remedy)
    version = str(soundfile.__libsndfile_version__)
    if "FLAC" not in forms or "RF64" not in forms:
        return Check(what, "missing", f"{version}, without FLAC or RF64", _pip("--force-reinstall soundfile"))
    return Check(what, "ok", version)


def _sound_card() -> Check:
    what = "PortAudio, to record with a sound card"
    from frusta.bench.device import DeviceError
    from frusta.bench.sound_card import list_devices, load_driver

    try:
        version = str(load_driver().get_portaudio_version()[1]).partition(",")[0]
    except DeviceError as error:
        remedy = how_to_get(
            {"apt": "libportaudio2", "dnf": "portaudio", "pacman": "portaudio", "zypper": "libportaudio2"}
            | {"brew": "portaudio"},
            _pip("--force-reinstall sounddevice"),
        )
        return Check(what, "missing", str(error).partition(";")[0], f"{remedy}; --device virtual works without")
    try:
        devices = list_devices()
    except Exception as error:  # PortAudio's own error; its module is not imported for a name
        return Check(what, "missing", f"{version}, but its devices cannot be listed: {error}", _ask_the_system())
    both = sum(bool(d.inputs) for d in devices), sum(bool(d.outputs) for d in devices)
    if not all(both):
        return Check(
            what, "optional", f"{version}; {both[0]} inputs, {both[1]} outputs", f"to record: {_ask_the_system()}"
        )
    return Check(what, "ok", f"{version}; {both[0]} inputs, {both[1]} outputs")


def _ask_the_system() -> str:
    if sys.platform == "linux":
        return "plug a device in, and let yourself use it: sudo usermod -aG audio $USER, then log in again"
    return "plug a device in, and let the terminal use the microphone in the system's privacy settings"


def _charts() -> Check:
    what = "the chart renderer and its font, for reports"
    try:
        from frusta.publish import render

        version = importlib.metadata.version("vl-convert-python")
        importlib.import_module("vl_convert")
        size = len(render.asset(render.WEB_FONT))
    except (ImportError, OSError) as error:
        return Check(what, "missing", str(error), _pip("--force-reinstall vl-convert-python frusta"))
    return Check(what, "ok", f"vl-convert {version}, font of {size // 1024} KB")


def _browser() -> Check:
    what = "a browser, for frusta open and for reports"
    import webbrowser

    try:
        name = type(webbrowser.get()).__name__
    except webbrowser.Error:
        name = ""
    there = [b for b in BROWSERS if shutil.which(b)]
    if name or there:
        return Check(what, "ok", there[0] if there else "the system's own")
    remedy = how_to_get(
        {"apt": "firefox-esr", "dnf": "firefox", "pacman": "firefox", "zypper": "MozillaFirefox"},
        "install Firefox, Chromium, Edge or Safari",
    )
    return Check(what, "optional", "none found", f"{remedy}; or frusta open --share, and look from another device")


def _writable(name: str, folder: Path) -> Check:
    """Really write: permissions, full disks and read-only systems all show only then."""
    what = f"write access: {name}"
    there = next(p for p in (folder, *folder.parents) if p.exists())
    try:
        with tempfile.TemporaryFile(dir=there) as file:
            file.write(b"x" * 4096)
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        remedy = f"allow writing there, or set {VARIABLES[name]} to another place"
        return Check(what, "missing", f"{folder} ({(error.strerror or str(error)).lower()})", remedy)
    return Check(what, "ok", str(folder))


def _disk() -> Check:
    what = "free disk"
    rooms = {}
    for folder in (*folders().values(), Path.cwd()):
        there = next(p for p in (folder, *folder.parents) if p.exists())
        rooms[there] = shutil.disk_usage(there).free
    place, free = min(rooms.items(), key=lambda item: item[1])
    if free < LEAST_FREE_BYTES:
        return Check(what, "missing", f"{free / 1e6:.0f} MB at {place}", "free 1 GB: a sitting of takes needs it")
    return Check(what, "ok", f"{free / 1e9:.0f} GB")


def _optional(what: str, module: str, wanted: str) -> Check:
    if importlib.util.find_spec(module) is None:
        return Check(what, "optional", "not there, and not needed otherwise", _pip(wanted))
    return Check(what, "ok", importlib.metadata.version(module))


def _pip(what: str) -> str:
    return f"{Path(sys.executable).name} -m pip install {what}"


_EXTRAS = (
    ("dask.distributed, to analyse a shelf on several machines", "distributed", "'frusta[cluster]'"),
    ("a PostgreSQL driver, for a shelf on a server", "psycopg", "'psycopg[binary]'"),
)
