"""Files that a client sends: kept under names of our own making, limited, looked at before anything is written."""

from __future__ import annotations

import re
import secrets
import shutil
import tempfile
import weakref
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from fastapi import UploadFile

from frusta.campaign.importing import Choices, ImportItem, ImportPlan, apply_import, plan_import, slug_of
from frusta.campaign.package import Package, read_package
from frusta.errors import FrustaError, PackageError, ParameterError
from frusta.web.edits import check_row

SOUND = (".wav", ".flac")
MOST_FILES = 400
LARGEST_FILE = 512 * 2**20
LARGEST_ALL = 4 * 2**30
COLUMNS = ("specimen", "session", "seating", "recording_is", "sweep", "microphone_channel", "reference_channel")
_CHUNK = 2**20


@dataclass
class Sent:
    """A recording that was sent.

    Attributes
    ----------
    key : str
        Names it to the client.
    name : str
        As the client calls it; shown, never opened.
    path : Path
        Where it lies, under a name made from its own by `slug_of`.
    told : dict of str to str
        What the maker corrected.
    """

    key: str
    name: str
    path: Path
    told: dict[str, str] = field(default_factory=dict)
    problem: str = ""

    def says(self, error: FrustaError) -> str:
        """Return what is wrong with it, by the name that the client knows; where it lies here is nobody's business."""
        return str(error).replace(str(self.path), self.name)


class Uploads:
    """Recordings and packages on their way in."""

    def __init__(self) -> None:
        self.folder = Path(tempfile.mkdtemp(prefix="frusta-sent-"))
        weakref.finalize(self, shutil.rmtree, self.folder, ignore_errors=True)
        self.sent: dict[str, Sent] = {}
        self.package: Sent | None = None

    async def take(self, file: UploadFile) -> Sent:
        """Keep a file that was sent.

        Raises
        ------
        ParameterError
            If it is neither sound nor a zip, too large, or one too many.
        """
        name = Path((file.filename or "file").replace("\\", "/")).name[:200]
        suffix = Path(name).suffix.lower()
        if suffix not in (*SOUND, ".zip"):
            raise ParameterError(f"files must be WAV, FLAC or a zip of a campaign (got {name!r}); leave it out")
        if len(self.sent) >= MOST_FILES:
            raise ParameterError(f"at most {MOST_FILES} files can wait at a time; import these first")
        key = secrets.token_hex(6)
        place = self.folder / key
        place.mkdir()
        path = place / f"{slug_of(Path(name).stem)}{suffix}"
        size = 0
        with path.open("xb") as out:
            while chunk := await file.read(_CHUNK):
                size += len(chunk)
                if size > LARGEST_FILE or size + self._bytes() > LARGEST_ALL:
                    out.close()
                    shutil.rmtree(place, ignore_errors=True)
                    raise ParameterError(
                        f"a file must be at most {LARGEST_FILE // 2**20} MB ({name} is larger); use frusta import"
                    )
                out.write(chunk)
        _refuse_other(path, suffix, name)
        sent = Sent(key, name, path)
        if suffix == ".zip":
            self.package = sent
        else:
            self.sent[key] = sent
        return sent

    def drop(self, key: str | None = None) -> None:
        """Forget one file, or all."""
        for sent in [s for s in (*self.sent.values(), self.package) if s is not None and key in (None, s.key)]:
            shutil.rmtree(sent.path.parent, ignore_errors=True)
            self.sent.pop(sent.key, None)
            if self.package is sent:
                self.package = None

    def plan(self, package: Package, root: Path) -> list[tuple[Sent, ImportItem | None]]:
        """Return what is understood of each recording, with what the maker corrected; nothing is changed."""
        found: list[tuple[Sent, ImportItem | None]] = []
        taken = set(package.takes)
        counts: dict[str, int] = {}
        for sent in self.sent.values():
            try:
                item = plan_import([sent.path], root, _choices(sent.told)).items[0]
            except FrustaError as error:
                sent.problem = sent.says(error)
                found.append((sent, None))
                continue
            sent.problem = ""
            item = _told_over(item, sent.told)
            if not item.already:
                item = _renamed(item, taken)
                item = _seated(item, package, counts, sent.told)
            found.append((sent, item))
        return found

    def write(self, package: Package, root: Path) -> list[str]:
        """Carry the import out; what cannot be read, or is there already, stays out.

        Raises
        ------
        PackageError
            If something must still be told, or a row would be at fault.
        OutputError
            If it cannot be written; the package is then as it was.
        """
        planned = self.plan(package, root)
        for sent, item in planned:
            if item is None:
                continue
            if item.questions:
                question = item.questions[0]
                raise PackageError(f"{sent.name}: {question.column} must be told ({question.text}); fill its field")
            if not item.already:
                check_row(package, "takes", item.row)
        if not any(item is not None and not item.already for _, item in planned):
            raise PackageError("no file is left that can be taken in; send others")
        takes = apply_import(ImportPlan(root, tuple(item for _, item in planned if item is not None)))
        self.drop()
        return takes

    def _bytes(self) -> int:
        return sum(s.path.stat().st_size for s in self.sent.values() if s.path.exists())


def summary_of(sent: Sent) -> dict[str, Any]:
    """Return what a zip of a campaign holds, with its faults."""
    try:
        package, faults = read_package(sent.path)
    except FrustaError as error:
        raise PackageError(sent.says(error)) from error
    return {
        "name": sent.name,
        "title": package.campaign.title,
        "key": package.campaign.campaign,
        "counts": {t: len(package.rows(t)) for t in ("materials", "profiles", "specimens", "sessions", "takes")},
        "faults": faults,
    }


def _refuse_other(path: Path, suffix: str, name: str) -> None:
    """Look at the first bytes: the name alone says nothing."""
    with path.open("rb") as file:
        first = file.read(12)
    good = {
        ".wav": first[:4] in (b"RIFF", b"RF64", b"RIFX") and first[8:12] == b"WAVE",
        ".flac": first[:4] == b"fLaC",
        ".zip": first[:4] in (b"PK\x03\x04", b"PK\x05\x06"),
    }[suffix]
    if not good:
        shutil.rmtree(path.parent, ignore_errors=True)
        raise ParameterError(
            f"{name} must be what its name says (its first bytes are another kind of file's); leave it out"
        )


def _choices(told: Mapping[str, str]) -> Choices:
    """What the maker told of one file, as an import takes it."""

    def whole(column: str) -> int | None:
        text = told.get(column, "")
        return int(text) if text.isdigit() else None

    kind = told.get("recording_is")
    return Choices(
        specimen=told.get("specimen") or None,
        session=told.get("session") or None,
        kind=kind if kind in ("sweep", "impulse", "tap") else None,  # type: ignore[arg-type]
        sweep=told.get("sweep") or None,
        seating=whole("seating"),
        microphone_channel=whole("microphone_channel"),
        reference_channel=whole("reference_channel"),
    )


def _told_over(item: ImportItem, told: Mapping[str, str]) -> ImportItem:
    """The item with told cells put over understood ones."""
    filled = {c: v for c, v in told.items() if v and c in COLUMNS}
    questions = tuple(q for q in item.questions if q.column not in filled or q.column in ("reference_channel", "sweep"))
    return replace(item, row={**item.row, **filled}, questions=questions)


def _renamed(item: ImportItem, taken: set[str]) -> ImportItem:
    """A take's key that no other file of this import has."""
    key, number = item.row["take"], 1
    while key in taken:
        number += 1
        key = re.sub(r"(-\d+)?$", f"-{number}", item.row["take"][:58], count=1)
    taken.add(key)
    suffix = Path(item.target).suffix
    target = f"recordings/{key}{suffix}"
    return replace(item, target=target, row={**item.row, "take": key, "recording": target})


def _seated(item: ImportItem, package: Package, counts: dict[str, int], told: Mapping[str, str]) -> ImportItem:
    """Seatings count on from file to file of one specimen, as a proposal that says so; told ones stay."""
    specimen = item.row.get("specimen")
    if specimen is None or told.get("seating"):
        return item
    last = counts.get(specimen)
    if last is None:
        last = max((t.seating for t in package.takes.values() if t.specimen == specimen), default=0)
    counts[specimen] = last + 1
    because = f"seating = {last + 1}: each file is taken for a further seating; correct it where the cone stayed on"
    understood = (*(u for u in item.understood if not u.startswith("seating")), because)
    questions = tuple(q for q in item.questions if q.column != "seating")
    return replace(item, row={**item.row, "seating": str(last + 1)}, understood=understood, questions=questions)
