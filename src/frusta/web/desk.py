"""What lies on the desk: the campaign that is open, what is known of it, long work, edits that can be taken back."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from frusta.campaign.analysis import analyse
from frusta.campaign.lessons import package_digest
from frusta.campaign.package import Package, read_package
from frusta.campaign.rows import TABLES
from frusta.campaign.table_fault import TableFault
from frusta.errors import PackageError
from frusta.publish.direct_svg import chart_svg
from frusta.web.edits import Edits
from frusta.web.kept_analysis import Known, known_of, recall
from frusta.web.works import Progress, Work, Works

READING = "reading"
MOST_PICTURES = 400


@dataclass(frozen=True)
class Opened:
    """The tables as they stand on disk.

    Attributes
    ----------
    package : Package
    faults : tuple of TableFault
    stamp : tuple
        Changes whenever a table does.
    """

    package: Package
    faults: tuple[TableFault, ...]
    stamp: tuple[Any, ...]


@dataclass(frozen=True)
class Picture:
    """A chart as it stands on the page.

    Attributes
    ----------
    svg : str
    frame : dict
        Where its axes lie, for reading values off.
    """

    svg: str
    frame: dict[str, Any]


@dataclass
class Desk:
    """One campaign on the page.

    Parameters
    ----------
    path : Path
        Folder or zip; may not be a campaign yet.
    device : str or None
        For the bench, as of `frusta record`.
    cores : int or None
        Processes for reading takes.
    at_bench : bool
        Whether a sitting goes on: then no takes are read by themselves, since a busy machine tears sound.
    ending : threading.Event
        Set when the page is about to end, so that what listens lets go.
    """

    path: Path
    device: str | None = None
    cores: int | None = None
    works: Works = field(default_factory=Works)
    edits: Edits = field(default_factory=Edits)
    lock: threading.RLock = field(default_factory=threading.RLock, repr=False)
    known: Known | None = None
    at_bench: bool = False
    ending: threading.Event = field(default_factory=threading.Event, repr=False)
    _opened: Opened | None = None
    _digest: tuple[tuple[Any, ...], str] | None = None
    _pictures: dict[tuple[str, ...], Picture] = field(default_factory=dict, repr=False)
    _drawing: threading.Lock = field(default_factory=threading.Lock, repr=False)
    _recalled: bool = False

    @property
    def is_campaign(self) -> bool:
        """Whether there is a campaign at all."""
        return self.path.is_file() or (self.path / "campaign.csv").exists()

    @property
    def opened(self) -> Opened:
        """The tables, read again only where a file changed.

        Raises
        ------
        PackageError
            If there is no package.
        """
        with self.lock:
            stamp = _stamp(self.path)
            if self._opened is None or self._opened.stamp != stamp:
                package, faults = read_package(self.path)
                self._opened = Opened(package, faults, stamp)
            return self._opened

    @property
    def package(self) -> Package:
        """The campaign's tables, as far as they can be read."""
        return self.opened.package

    @property
    def writable(self) -> Path:
        """The folder whose tables may be changed.

        Raises
        ------
        PackageError
            If the campaign is a zip.
        """
        if self.path.is_file():
            raise PackageError(
                f"{self.path.name}: must be a folder to be changed (it is a zip); unpack it and open the folder"
            )
        return self.package.root

    def switch(self, path: Path) -> None:
        """Put another campaign on the desk."""
        with self.lock:
            self.works.close()
            self.path = path
            self.works, self.edits = Works(), Edits()
            self.known, self._opened, self._digest, self._recalled = None, None, None, False
            self._pictures.clear()

    def look(self) -> Known | None:
        """Return what is known of the takes: from this run, or kept on disk; it may be of an earlier state."""
        with self.lock:
            if self.known is None and not self._recalled and self.package.takes and not self.opened.faults:
                self._recalled = True
                self.known = recall(self.package)
            return self.known

    def is_stale(self) -> bool:
        """Whether tables or recordings changed since the takes were read."""
        return self.known is not None and self.known.digest != self._digest_now()

    def read_takes(self) -> Work:
        """Start to read all takes, where that is not going on."""

        def read(progress: Progress) -> None:
            package = self.package
            digest = package_digest(package)
            held = recall(package)
            if held is None:
                held = known_of(analyse(self.path, cores=self.cores, progress=progress), digest)
            with self.lock:
                self.known = held
                self._pictures.clear()

        return self.works.start(READING, "Reading takes", read)

    def ensure_read(self) -> Known | None:
        """Return what is known; where it is nothing, or of an earlier state, begin to read unless it was stopped."""
        known = self.look()
        if not self.package.takes or self.opened.faults or self.at_bench:
            return known
        work = self.works.get(READING)
        if known is None and (work is None or work.standing == "done"):
            self.read_takes()
        return known

    def picture(self, key: tuple[str, ...], make: Callable[[], dict[str, Any]], label: str, name: str) -> Picture:
        """Return a chart as an inline SVG, drawn once.

        Parameters
        ----------
        key : tuple of str
            What the drawing depends on, beside what is known.
        make : callable
            Gives the Vega-Lite specification.
        label : str
            The result in words.
        name : str
            Unique on the page.
        """
        whole = (self.known.digest if self.known else "", *key, name)
        held = self._pictures.get(whole)
        if held is None:
            with self._drawing:
                spec = make()
                held = Picture(chart_svg(spec, label=label, key=name), _frame(spec))
            if len(self._pictures) >= MOST_PICTURES:
                self._pictures.pop(next(iter(self._pictures)))
            self._pictures[whole] = held
        return held

    def close(self) -> None:
        """End all work."""
        self.works.close()

    def _digest_now(self) -> str:
        """The digest of the package; computed again only when a table changed."""
        stamp = self.opened.stamp
        if self._digest is None or self._digest[0] != stamp:
            self._digest = (stamp, package_digest(self.package))
        return self._digest[1]


def _stamp(path: Path) -> tuple[Any, ...]:
    files = [path] if path.is_file() else [path / f"{name}.csv" for name in TABLES]
    found = []
    for file in files:
        try:
            status = file.stat()
        except OSError:
            continue
        found.append((file.name, status.st_mtime_ns, status.st_size))
    return tuple(found)


def _frame(spec: dict[str, Any]) -> dict[str, Any]:
    frame: dict[str, Any] = spec.get("usermeta", {}).get("frusta", {})
    return frame
