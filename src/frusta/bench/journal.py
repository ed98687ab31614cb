"""The bench's memory: one line of JSON an event, flushed to the disk before anything is shown.

A line that a kill or a full disk cut short is left out on reading and cut off before the next is written.
"""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import BinaryIO

from frusta.bench.events import Event, from_plain, to_plain
from frusta.campaign.atomic import told
from frusta.errors import PackageError

FOLDER = "bench"
SUFFIX = ".journal"
_BLOCK = 2**16


class Journal:
    """Events of one sitting, in a file of the package.

    Parameters
    ----------
    path : Path
        The file; made when the first event is written.
    """

    def __init__(self, path: Path) -> None:
        self.path = path

    def read(self) -> list[Event]:
        """Return all events that were written whole.

        Raises
        ------
        PackageError
            If a line before the last is damaged, or another version wrote it.
        """
        return [from_plain(values) for values in self._lines()[0]]

    def write(self, event: Event) -> None:
        """Append an event; on return it is on the disk.

        Raises
        ------
        OutputError
            If the disk is full or the file cannot be written; the journal is then as it was.
        """
        text = json.dumps(to_plain(event), ensure_ascii=False, allow_nan=False, separators=(",", ":")) + "\n"
        with told(self.path):
            self.path.parent.mkdir(parents=True, exist_ok=True)
            with self.path.open("ab+") as file:
                whole = _whole_bytes(file)
                file.truncate(whole)
                try:
                    file.write(text.encode("utf-8"))
                    file.flush()
                    os.fsync(file.fileno())
                except OSError:
                    file.truncate(whole)
                    raise

    def _lines(self) -> tuple[list[dict[str, object]], int]:
        """The lines that are whole, and how many bytes they take."""
        if not self.path.exists():
            return [], 0
        data = self.path.read_bytes()
        end = data.rfind(b"\n") + 1
        found = []
        for number, line in enumerate(data[:end].splitlines(), start=1):
            try:
                found.append(json.loads(line))
            except (ValueError, RecursionError) as error:
                raise PackageError(
                    f"{self.path.name}: must hold an event a line (line {number} is damaged: {error}); "
                    "move the file away to begin the sitting anew, takes stay"
                ) from error
        return found, end


def _whole_bytes(file: BinaryIO) -> int:
    """How many bytes the lines take that end as lines; only the end of the file is read."""
    end = file.seek(0, os.SEEK_END)
    while end > 0:
        start = max(end - _BLOCK, 0)
        file.seek(start)
        found = file.read(end - start).rfind(b"\n")
        if found >= 0:
            return start + found + 1
        end = start
    return 0


def journal_of(root: Path, session: str) -> Journal:
    """Return the journal of a session of a package."""
    return Journal(root / FOLDER / f"{session}{SUFFIX}")


def latest_session(root: Path) -> str | None:
    """Return the session whose journal was written last, or None."""
    found = _paths(root)
    return found[-1].name.removesuffix(SUFFIX) if found else None


def other_journals(root: Path, session: str) -> list[Journal]:
    """Return the journals of all other sessions, the one written last at the end."""
    return [Journal(path) for path in _paths(root) if path.name != f"{session}{SUFFIX}"]


def _paths(root: Path) -> list[Path]:
    folder = root / FOLDER
    if not folder.is_dir():
        return []
    return sorted(folder.glob(f"*{SUFFIX}"), key=lambda p: (p.stat().st_mtime_ns, p.name))
