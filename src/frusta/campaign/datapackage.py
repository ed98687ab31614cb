"""datapackage.json: the open Data Package standard, version 2, written on export and checked where present."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from frusta.campaign.column_units import unit_of
from frusta.campaign.package import path_within
from frusta.campaign.rows import TABLES, Campaign, Row
from frusta.campaign.spreadsheet import read_raw
from frusta.campaign.table_fault import TableFault
from frusta.campaign.tables import bounds_of, kind_of_column, words_of
from frusta.errors import PackageError

NAME = "datapackage.json"
SCHEMA = "https://datapackage.org/profiles/2.0/datapackage.json"
LARGEST_BYTES = 64 * 2**20
_BLOCK = 2**20
_MEDIA = {
    ".wav": "audio/wav",
    ".flac": "audio/flac",
    ".csv": "text/csv",
    ".txt": "text/plain",
    ".md": "text/markdown",
    ".json": "application/json",
    ".jpg": "image/jpeg",
}
_TYPES = {"number": "number", "whole": "integer", "word": "string", "slug": "string", "text": "string"}


def describe(campaign: Campaign, files: Mapping[str, bytes | Path]) -> bytes:
    """Return datapackage.json for the files of a package; the same files give the same bytes.

    Parameters
    ----------
    campaign : Campaign
        Gives name, title, description and licence.
    files : mapping of str to bytes or Path
        Path within the package to its content or where that lies, tables included.
    """
    document: dict[str, Any] = {"$schema": SCHEMA, "name": campaign.campaign, "title": campaign.title}
    if campaign.question:
        document["description"] = campaign.question
    if campaign.licence:
        document["licenses"] = [{"name": campaign.licence}]
    names: set[str] = set()
    document["resources"] = [_resource(file, content, names) for file, content in files.items()]
    return (json.dumps(document, indent=2, ensure_ascii=False) + "\n").encode("utf-8")


def faults_of_description(root: Path) -> list[TableFault]:
    """Hold every file that datapackage.json lists against the size and hash it gives; absent is no fault.

    Parameters
    ----------
    root : Path
        The folder of the package.
    """
    if not (root / NAME).exists():
        return []
    try:
        resources = _resources(path_within(root, NAME))
    except (OSError, ValueError, RecursionError, PackageError) as error:
        return [_fault(None, "unreadable", f"must be a Data Package ({error})", "export it again, or remove it")]
    faults = []
    for resource in resources:
        for path in _paths(resource):
            faults += _faults_of_file(root, path, resource)
    return faults


def digest(path: Path, algorithm: str = "sha256") -> str:
    """Return a file's hash as hexadecimal digits, read in blocks."""
    state = hashlib.new(algorithm, usedforsecurity=False)
    with path.open("rb") as file:
        while block := file.read(_BLOCK):
            state.update(block)
    return state.hexdigest()


def schema_of(model: type[Row], header: Sequence[str]) -> dict[str, Any]:
    """Return the Table Schema of a table: fields with type, words, unit and constraints, its key, its links.

    Parameters
    ----------
    model : type of Row
        What the rows are.
    header : sequence of str
        The columns that are written; unknown ones are text.
    """
    schema: dict[str, Any] = {"fields": [_field(model, name) for name in header], "missingValues": [""]}
    if model.KEY:
        schema["primaryKey"] = [model.KEY]
    links = [
        {"fields": [column], "reference": {"resource": target, "fields": [TABLES[target].KEY]}}
        for column, target in model.LINKS.items()
        if column in header
    ]
    if links:
        schema["foreignKeys"] = links
    return schema


def _field(model: type[Row], name: str) -> dict[str, Any]:
    if name not in model.model_fields:
        return {"name": name, "type": "string"}
    field: dict[str, Any] = {"name": name, "type": _TYPES[kind_of_column(model, name)]}
    field["description"] = model.model_fields[name].description
    if unit := unit_of(name):
        field["unit"] = unit
    constraints: dict[str, Any] = {}
    if model.model_fields[name].is_required():
        constraints["required"] = True
    if name == model.KEY:
        constraints["unique"] = True
    if words := words_of(model, name):
        constraints["enum"] = list(words)
    wanted = {"gt": "exclusiveMinimum", "ge": "minimum", "lt": "exclusiveMaximum", "le": "maximum"}
    for bound, value in bounds_of(model, name).items():
        constraints[wanted[bound]] = value
    if constraints:
        field["constraints"] = constraints
    return field


def _resource(file: str, content: bytes | Path, names: set[str]) -> dict[str, Any]:
    stem, suffix = Path(file).stem.lower(), Path(file).suffix.lower()
    name = _unused(re.sub(r"[^a-z0-9._-]+", "-", stem).strip("-._") or "file", names)
    resource: dict[str, Any] = {"name": name, "path": file}
    if isinstance(content, bytes) and "/" not in file and suffix == ".csv" and stem in TABLES:
        header = read_raw(stem, content, tuple(TABLES[stem].model_fields)).header
        resource |= {"type": "table", "format": "csv", "mediatype": "text/csv", "encoding": "utf-8"}
        resource["schema"] = schema_of(TABLES[stem], header)
    else:
        resource |= {"format": suffix[1:] or "file", "mediatype": _MEDIA.get(suffix, "application/octet-stream")}
    if isinstance(content, bytes):
        return resource | {"bytes": len(content), "hash": f"sha256:{hashlib.sha256(content).hexdigest()}"}
    return resource | {"bytes": content.stat().st_size, "hash": f"sha256:{digest(content)}"}


def _unused(name: str, names: set[str]) -> str:
    """A name that no other resource has; tables come first and keep theirs."""
    candidate, count = name, 2
    while candidate in names:
        candidate, count = f"{name}-{count}", count + 1
    names.add(candidate)
    return candidate


def _resources(path: Path) -> list[Mapping[str, Any]]:
    if path.stat().st_size > LARGEST_BYTES:
        raise ValueError("it is larger than a list of files can be")
    document = json.loads(path.read_bytes().decode("utf-8-sig"))
    resources = document.get("resources") if isinstance(document, dict) else None
    if not isinstance(resources, list) or not all(isinstance(r, dict) for r in resources):
        raise ValueError("it has no list of resources")
    return resources


def _paths(resource: Mapping[str, Any]) -> list[str]:
    path = resource.get("path")
    paths = path if isinstance(path, list) else [path]
    return [p for p in paths if isinstance(p, str) and not re.match(r"[a-z][a-z0-9+.-]*://", p)]


def _faults_of_file(root: Path, file: str, resource: Mapping[str, Any]) -> list[TableFault]:
    try:
        path = path_within(root, file)
    except PackageError as error:
        what, _, remedy = str(error).partition(": ")[2].rpartition("; ")
        return [_fault(file, "missing file", what, remedy)]
    whole = isinstance(resource.get("path"), str)
    size = resource.get("bytes")
    if whole and isinstance(size, int) and size != path.stat().st_size:
        what = f"must have {size} bytes as listed (it has {path.stat().st_size})"
        return [
            _fault(file, "changed", what, "fetch the file again, or export the package anew if the change is meant")
        ]
    given = resource.get("hash")
    if not whole or not isinstance(given, str):
        return []
    algorithm, _, value = given.rpartition(":")
    algorithm = (algorithm or "md5").lower().replace("-", "")
    if algorithm not in ("md5", "sha1", "sha256", "sha512"):
        return [_fault(file, "unknown hash", f"must be hashed with sha256 (got {algorithm!r})", "export it again")]
    if digest(path, algorithm) != value.lower():
        what = f"must have the {algorithm} listed (its content differs)"
        return [
            _fault(file, "changed", what, "fetch the file again, or export the package anew if the change is meant")
        ]
    return []


def _fault(file: str | None, fault: str, what: str, remedy: str) -> TableFault:
    place = f"the file {file} " if file else ""
    return TableFault(NAME, None, None, fault, place + what, remedy)
