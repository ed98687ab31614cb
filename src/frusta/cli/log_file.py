"""The log: what was asked, how it ended, and the trace of a mistake of frusta's own; no private path is ever written.

It lies in the system's folder for logs (FRUSTA_STATE names another), holds at most 2 MB, and goes nowhere by itself.
"""

from __future__ import annotations

import getpass
import logging
import os
import re
import site
import sys
import tempfile
from collections.abc import Sequence
from logging.handlers import RotatingFileHandler
from pathlib import Path

LARGEST_BYTES = 2**20
NAME = "frusta.log"
_LOG = logging.getLogger("frusta")
_LOG.addHandler(logging.NullHandler())  # where no log can be written, the terminal is no place for it
_SOMEONES = re.compile(
    r"(?<![\w<~>/])(?:[A-Za-z]:)?[\\/](?:home|Users|media|mnt|Volumes|run[\\/]media)[\\/][^\s\"',;:)]*"
)
"""Folders of people and of what they plug in, wherever a text names one."""


def log_folder() -> Path:
    """Return where the log lies: FRUSTA_STATE, else the system's folder for logs."""
    import platformdirs

    return Path(os.environ.get("FRUSTA_STATE") or platformdirs.user_log_dir("frusta", appauthor=False))


def begin_log(arguments: Sequence[str]) -> None:
    """Begin to log a command; a folder that cannot be written is no reason to stop.

    Parameters
    ----------
    arguments : sequence of str
        What stands behind ``frusta`` on the command line; paths among it are written as ``<path 1>`` and so on.
    """
    end_log()
    try:
        folder = log_folder()
        folder.mkdir(parents=True, exist_ok=True)
        handler = _Quiet(folder / NAME, maxBytes=LARGEST_BYTES, backupCount=1, encoding="utf-8", delay=True)
        scrub = Scrubber(paths_among(arguments))
    except (OSError, RuntimeError):  # RuntimeError: nobody's home is known
        return
    handler.setFormatter(_Scrubbed(scrub))
    _LOG.addHandler(handler)
    _LOG.setLevel(logging.INFO)
    _LOG.propagate = False
    from frusta.version import __version__

    _LOG.info("frusta %s: %s", __version__, " ".join(arguments))


def note(text: str, trace: BaseException | None = None) -> None:
    """Write a line to the log, with the trace of an error if one is given."""
    _LOG.log(logging.ERROR if trace else logging.INFO, text, exc_info=trace)


def end_log() -> None:
    """Let the log's file go."""
    for handler in list(_LOG.handlers):
        if isinstance(handler, _Quiet):
            _LOG.removeHandler(handler)
            handler.close()


def last_lines(count: int) -> list[str]:
    """Return the last lines of the log, scrubbed once more; none where there is no log."""
    lines: list[str] = []
    scrub = Scrubber(())
    for name in (f"{NAME}.1", NAME):
        try:
            lines += (log_folder() / name).read_text("utf-8", "replace").splitlines()
        except OSError:
            continue
    return [scrub(line) for line in lines[-count:]]


def paths_among(arguments: Sequence[str]) -> tuple[str, ...]:
    """Return what may be a path among the words of a command line: with a slash, or there as a file or folder."""
    found = []
    for word in arguments:
        bare = word.partition("=")[2] if word.startswith("-") else word
        if bare and ("/" in bare or "\\" in bare or os.path.lexists(bare)):
            found.append(bare)
    return tuple(dict.fromkeys(found))


class Scrubber:
    """Replaces private places in a text: home, names of the user, the package, where it was called from.

    Parameters
    ----------
    paths : sequence of str
        Paths as the user wrote them; the whole of them, and what they stand for, is written as ``<path 1>`` ...

    Examples
    --------
    >>> Scrubber(["quay/two.zip"])("quay/two.zip: must be readable")
    '<path 1>: must be readable'
    """

    def __init__(self, paths: Sequence[str]) -> None:
        words: dict[str, str] = {}
        for number, path in enumerate(paths, start=1):
            words[str(Path(path).absolute())] = words[path] = f"<path {number}>"
            words[str(Path(path).resolve())] = f"<path {number}>"
        for folder in (*site.getsitepackages(), site.getusersitepackages(), str(Path(__file__).parents[2])):
            words.setdefault(folder, "<python>")
        words.setdefault(sys.prefix, "<python>")
        words.setdefault(sys.base_prefix, "<python>")
        words.setdefault(tempfile.gettempdir(), "<temporary>")
        words.setdefault(str(Path.cwd()), "<here>")
        words.setdefault(str(Path.home()), "~")
        words.pop("/", None)
        words.pop("", None)
        words.pop(".", None)
        self._words = words
        longest_first = sorted(words, key=len, reverse=True)
        self._places = re.compile("|".join(re.escape(word) + r"(?![\w-])" for word in longest_first))
        self._user = re.compile(rf"\b{re.escape(_user())}\b") if len(_user()) > 2 else None

    def __call__(self, text: str) -> str:
        """Return the text without private places."""
        text = self._places.sub(lambda found: self._words[found[0]], text)
        text = _SOMEONES.sub("<place>", text)
        return self._user.sub("<user>", text) if self._user else text


def _user() -> str:
    try:
        name = getpass.getuser()
    except (OSError, KeyError, ImportError):
        return ""
    return "" if name == "root" else name


class _Scrubbed(logging.Formatter):
    """One line a record, and the trace below it, without private places."""

    def __init__(self, scrub: Scrubber) -> None:
        super().__init__("%(asctime)s %(levelname)s %(message)s", "%Y-%m-%d %H:%M:%S")
        self._scrub = scrub

    def format(self, record: logging.LogRecord) -> str:
        return self._scrub(super().format(record))


class _Quiet(RotatingFileHandler):
    """A log that cannot be written is no reason to stop, or to fill the terminal."""

    def handleError(self, record: logging.LogRecord) -> None:
        """Say nothing."""
