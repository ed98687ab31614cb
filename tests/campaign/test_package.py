"""A package opens from folder or zip, travels to workers, and lets nothing lead out of it.

Oracle: the design's page on the package; hostile zips built by hand with the standard library.
"""

from __future__ import annotations

import gc
import os
import pickle
import stat
import struct
import zipfile
from pathlib import Path
from types import SimpleNamespace

import pytest

from frusta.campaign import archive
from frusta.campaign.package import open_package
from frusta.errors import OutputError, PackageError


def zipped(folder: Path, out: Path, under: str = "") -> Path:
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as package:
        for file in sorted(folder.rglob("*")):
            package.write(file, under + str(file.relative_to(folder)))
    return out


def test_rows_are_typed_and_kept_in_order(maker_package):
    package = open_package(maker_package)
    assert list(package.specimens) == ["fir-1", "oak-1", "oak-2", "fir-stick"]
    assert package.materials["oak"].density_kg_m3 == 1050
    assert package.materials["oak"].model_extra == {"colour": "brown"}
    assert [e.event for e in package.history] == ["printed", "annealed"]
    assert package.coupons["fir-stick"].width_mm == 10
    assert package.overhangs[0].clean_to_deg == 48
    assert package.row_number("takes", "c") == 4
    assert package.row_number("takes", "nobody") is None


def test_tables_that_are_not_needed_may_be_absent(maker_package):
    for name in ("overhangs", "history", "coupons"):
        (maker_package / f"{name}.csv").unlink()
    package = open_package(maker_package)
    assert (package.overhangs, package.history, package.coupons) == ((), (), {})


@pytest.mark.parametrize("under", ["", "two-jars/", "./"])
def test_a_zip_reads_as_its_folder(maker_package, tmp_path, under):
    folder = open_package(maker_package)
    package = open_package(zipped(maker_package, tmp_path / "p.zip", under))
    assert package.takes == folder.takes
    assert (package.open_recording("a").read(2) == folder.open_recording("a").read(2)).all()


def test_what_a_zip_was_unpacked_to_goes_with_its_package(maker_package, tmp_path):
    package = open_package(zipped(maker_package, tmp_path / "p.zip"))
    root = package.root
    assert root.is_dir()
    copy = pickle.loads(pickle.dumps(package))
    del copy
    gc.collect()
    assert root.is_dir(), "a worker's copy must not remove it"
    del package
    gc.collect()
    assert not root.exists()


def test_a_package_travels_cheaply(maker_package):
    package = open_package(maker_package)
    sent = pickle.dumps(package)
    assert len(sent) < 20_000
    assert pickle.loads(sent).takes == package.takes


@pytest.mark.parametrize(
    "name", ["../evil.txt", "/evil.txt", "a/../../evil.txt", "..\\evil.txt", "C:/evil.txt", "\\evil.txt"]
)
def test_zips_that_lead_out_are_refused(maker_package, tmp_path, name):
    hostile = zipped(maker_package, tmp_path / "p.zip")
    with zipfile.ZipFile(hostile, "a") as package:
        package.writestr(zipfile.ZipInfo(name), "evil")
    with pytest.raises(PackageError, match=r"p\.zip, member .*must lie inside the package"):
        open_package(hostile)
    assert not list(tmp_path.rglob("evil.txt"))


def test_zips_with_links_or_devices_are_refused(maker_package, tmp_path):
    for kind in (stat.S_IFLNK, stat.S_IFIFO, stat.S_IFCHR):
        hostile = zipped(maker_package, tmp_path / "p.zip")
        info = zipfile.ZipInfo("recordings/link.wav")
        info.create_system = 3
        info.external_attr = (kind | 0o777) << 16
        with zipfile.ZipFile(hostile, "a") as package:
            package.writestr(info, "/etc/passwd")
        with pytest.raises(PackageError, match="must be a plain file or folder"):
            open_package(hostile)


def test_zips_that_unpack_to_gigabytes_are_refused_before_they_do(maker_package, tmp_path, monkeypatch):
    hostile = zipped(maker_package, tmp_path / "p.zip")
    with zipfile.ZipFile(hostile, "a", zipfile.ZIP_DEFLATED) as package, package.open("zeros.wav", "w") as file:
        for _ in range(320):
            file.write(bytes(2**20))
    assert hostile.stat().st_size < 2**20
    with pytest.raises(PackageError, match=r"must unpack to at most 0\.2. GB"):
        open_package(hostile)


def test_a_zip_that_lies_about_its_size_is_stopped(maker_package, tmp_path):
    hostile = zipped(maker_package, tmp_path / "p.zip")
    with zipfile.ZipFile(hostile, "a", zipfile.ZIP_DEFLATED) as package:
        package.writestr("zeros.txt", bytes(2**22))
    data = hostile.read_bytes()
    honest = struct.pack("<I", 2**22)
    assert data.count(honest) == 2
    hostile.write_bytes(data.replace(honest, struct.pack("<I", 10)))
    with pytest.raises(PackageError, match="must be a whole zip"):
        open_package(hostile)


def test_the_limit_holds_while_unpacking_too(maker_package, tmp_path, monkeypatch):
    hostile = zipped(maker_package, tmp_path / "p.zip")
    monkeypatch.setattr(archive, "_limit", lambda *_: 1000)
    with pytest.raises(PackageError, match="must unpack to at most"):
        open_package(hostile)


def test_no_space_to_unpack_is_told(maker_package, tmp_path, monkeypatch):
    whole = zipped(maker_package, tmp_path / "p.zip")
    monkeypatch.setattr(archive.shutil, "disk_usage", lambda _: SimpleNamespace(free=10))
    with pytest.raises(OutputError, match="free some space"):
        open_package(whole)


@pytest.mark.parametrize("cut", [10, 1000, -30])
def test_cut_zips_are_refused(maker_package, tmp_path, cut):
    whole = zipped(maker_package, tmp_path / "p.zip")
    whole.write_bytes(whole.read_bytes()[:cut])
    with pytest.raises(PackageError, match="must be a whole zip"):
        open_package(whole)


def test_damaged_and_encrypted_members_are_refused(maker_package, tmp_path):
    whole = zipped(maker_package, tmp_path / "p.zip")
    with zipfile.ZipFile(whole) as package:
        offset = package.getinfo("recordings/b.flac").header_offset
    data = bytearray(whole.read_bytes())
    data[offset + 500] ^= 255
    whole.write_bytes(data)
    with pytest.raises(PackageError, match="must be a whole zip"):
        open_package(whole)
    whole = zipped(maker_package, tmp_path / "p.zip")
    data = bytearray(whole.read_bytes())
    data[data.rindex(b"PK\x01\x02") + 8] |= 1
    whole.write_bytes(data)
    with pytest.raises(PackageError, match="must not be encrypted"):
        open_package(whole)


def test_one_name_twice_is_refused(maker_package, tmp_path):
    twice = zipped(maker_package, tmp_path / "p.zip")
    with zipfile.ZipFile(twice, "a") as package, pytest.warns(UserWarning, match="Duplicate name"):
        package.writestr("takes.csv", "take\n")
    with pytest.raises(PackageError, match="must be there once"):
        open_package(twice)


def test_refused_zips_leave_nothing_behind(maker_package, tmp_path, monkeypatch):
    place = tmp_path / "tmp"
    place.mkdir()
    monkeypatch.setattr("tempfile.tempdir", str(place))
    (maker_package / "campaign.csv").unlink()
    with pytest.raises(PackageError, match=r"no campaign\.csv"):
        open_package(zipped(maker_package, tmp_path / "p.zip"))
    assert list(place.iterdir()) == []


@pytest.mark.parametrize("file", ["../x", "/etc/passwd", "C:\\x.wav", "", ".", "recordings/../../x", "a\0b"])
def test_paths_stay_inside(maker_package, file):
    with pytest.raises(PackageError, match="must be a path inside the package"):
        open_package(maker_package).path_of(file)


def test_links_within_the_package_are_followed_and_others_not(maker_package, tmp_path):
    package = open_package(maker_package)
    (maker_package / "inner.wav").symlink_to("recordings/a.wav")
    assert package.path_of("inner.wav").read_bytes() == (maker_package / "recordings/a.wav").read_bytes()
    (tmp_path / "far").mkdir()
    (tmp_path / "far/x.wav").write_bytes(b"x")
    (maker_package / "folder").symlink_to(tmp_path / "far")
    (maker_package / "nowhere.wav").symlink_to("nowhere.wav")
    with pytest.raises(PackageError, match="link out of the package"):
        package.path_of("folder/x.wav")
    with pytest.raises(PackageError, match="must be a file"):
        package.path_of("nowhere.wav")


def test_either_slash_names_a_file(maker_package):
    assert open_package(maker_package).path_of("recordings\\a.wav").name == "a.wav"


@pytest.mark.skipif(os.name == "nt", reason="the package itself may be reached by a link")
def test_the_package_itself_may_be_a_link(maker_package, tmp_path):
    (tmp_path / "link").symlink_to(maker_package)
    assert open_package(tmp_path / "link").open_recording("a").channels == 2
