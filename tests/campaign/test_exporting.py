"""Export: the same package, the same bytes; a round trip loses nothing. Oracle: Data Package standard 2.0."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import time
import zipfile

import pytest

from frusta.campaign.check import check_package
from frusta.campaign.exporting import export_package
from frusta.campaign.package import open_package
from frusta.campaign.rows import TABLES
from frusta.errors import OutputError, PackageError


def rows_of(path):
    package = open_package(path)
    return {name: package.rows(name) for name in TABLES}


@pytest.mark.parametrize("out", ["out.zip", "out"])
def test_a_round_trip_loses_nothing(maker_package, tmp_path, fingerprint_of, out):
    before = fingerprint_of(maker_package)
    exported = export_package(open_package(maker_package), tmp_path / out)
    assert rows_of(exported) == rows_of(maker_package)
    assert check_package(exported).faults == ()
    again = export_package(open_package(exported), tmp_path / "again")
    for name in ("recordings/a.wav", "recordings/b.flac", "recordings/c.wav", "mic.txt"):
        assert (again / name).read_bytes() == (maker_package / name).read_bytes()
    assert fingerprint_of(maker_package) == before


def test_the_same_package_gives_the_same_bytes(maker_package, tmp_path):
    first = export_package(open_package(maker_package), tmp_path / "1.zip").read_bytes()
    shutil.copytree(maker_package, tmp_path / "copy")
    for file in (tmp_path / "copy").rglob("*"):
        os.utime(file, (time.time() - 1e6, time.time() - 1e6))
    assert export_package(open_package(tmp_path / "copy"), tmp_path / "2.zip").read_bytes() == first
    assert export_package(open_package(tmp_path / "1.zip"), tmp_path / "3.zip").read_bytes() == first


def test_tables_of_spreadsheets_are_written_plain(maker_package, tmp_path):
    table = maker_package / "profiles.csv"
    plain = table.read_text()
    table.write_bytes(plain.replace(",", ";").replace(".", ",").replace("\n", "\r\n").encode("utf-16"))
    out = export_package(open_package(maker_package), tmp_path / "out")
    assert (out / "profiles.csv").read_text() == plain


def test_the_description_follows_the_standard(maker_package, tmp_path):
    out = export_package(open_package(maker_package), tmp_path / "out.zip")
    with zipfile.ZipFile(out) as package:
        assert package.namelist()[0] == "datapackage.json"
        document = json.loads(package.read("datapackage.json"))
        assert {i.date_time for i in package.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        held = {r["path"]: package.read(r["path"]) for r in document["resources"]}
        assert {*held, "datapackage.json"} == set(package.namelist())
    assert document["$schema"] == "https://datapackage.org/profiles/2.0/datapackage.json"
    assert (document["name"], document["title"]) == ("two-jars", "Two jars")
    names = [r["name"] for r in document["resources"]]
    assert len(names) == len(set(names))
    for resource in document["resources"]:
        content = held[resource["path"]]
        assert resource["bytes"] == len(content)
        assert resource["hash"] == "sha256:" + hashlib.sha256(content).hexdigest()
    takes = next(r for r in document["resources"] if r["name"] == "takes")
    header = held["takes.csv"].decode().splitlines()[0].split(",")
    assert [f["name"] for f in takes["schema"]["fields"]] == header
    assert takes["schema"]["primaryKey"] == ["take"]
    links = {f["fields"][0]: f["reference"]["resource"] for f in takes["schema"]["foreignKeys"]}
    assert links["specimen"] == "specimens"
    materials = next(r for r in document["resources"] if r["name"] == "materials")
    fields = {f["name"]: f for f in materials["schema"]["fields"]}
    assert fields["density_kg_m3"] == {
        "name": "density_kg_m3", "type": "number", "description": "Density as the maker states or as weighed.",
        "unit": "kg/m³", "constraints": {"exclusiveMinimum": 0.0}}  # fmt: skip
    assert fields["colour"] == {"name": "colour", "type": "string"}


def test_words_beside_the_tables_go_along_and_other_files_do_not(maker_package, tmp_path):
    (maker_package / "README.md").write_text("hello")
    (maker_package / "findings.json").write_text("{}")
    out = export_package(open_package(maker_package), tmp_path / "out")
    assert (out / "README.md").exists()
    assert not (out / "findings.json").exists()


def test_a_missing_recording_stops_it(maker_package, tmp_path):
    (maker_package / "recordings/b.flac").unlink()
    with pytest.raises(PackageError, match=r"recordings/b\.flac: must be a file"):
        export_package(open_package(maker_package), tmp_path / "out.zip")
    assert not (tmp_path / "out.zip").exists()


def test_a_package_is_not_written_over_itself(maker_package):
    with pytest.raises(OutputError, match="another place than the package itself"):
        export_package(open_package(maker_package), maker_package)
