"""Photos of a package: they go along, and what a camera wrote into them does not.

Oracles: the picture's own bytes before anything was written beside it; the JPEG marker syntax (ITU-T T.81, annex B);
the two packages compared file by file.
"""

from __future__ import annotations

import json
import zipfile
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jpegs import PLAIN, PROGRESSIVE, segment, taken

from frusta.campaign.check import check_package
from frusta.campaign.exporting import export_package
from frusta.campaign.package import open_package
from frusta.campaign.photos import bare_jpeg, photo_names
from frusta.campaign.shelf.contents import contents_of
from frusta.errors import PackageError, ParameterError


@pytest.mark.parametrize("picture", [PLAIN, PROGRESSIVE])
@pytest.mark.parametrize("order", ["<", ">"])
def test_place_time_and_camera_go_the_picture_stays(picture: bytes, order: str):
    sent = taken(picture, order=order, orientation=1)
    assert sent.count(b"Pinhole") == 6
    assert bare_jpeg(sent) == picture


def test_a_bare_picture_is_left_as_it_is():
    assert bare_jpeg(PLAIN) == PLAIN
    assert bare_jpeg(bare_jpeg(taken())) == bare_jpeg(taken())


@pytest.mark.parametrize("order", ["<", ">"])
def test_which_way_up_it_is_stays_and_nothing_else_of_it(order: str):
    told = bare_jpeg(taken(order=order, orientation=6))
    upright = segment(0xE1, b"Exif\0\0MM\0*\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01\0\x06\0\0\0\0\0\0")
    assert told == PLAIN[:20] + upright + PLAIN[20:]


def test_colours_stay():
    profile = segment(0xE2, b"ICC_PROFILE\0\x01\x01grey")
    adobe = segment(0xEE, b"Adobe\0d\0\0\0\0\0")
    picture = PLAIN[:20] + profile + adobe + PLAIN[20:]
    assert bare_jpeg(picture) == picture


@pytest.mark.parametrize("data", [b"", b"\xff\xd8", b"\xff\xd8\xff\xd9", b"<svg>", PLAIN[:-2], PLAIN[:60], PLAIN[1:]])
def test_half_a_picture_is_refused(data: bytes):
    with pytest.raises(ParameterError, match="a photo must be a whole JPEG"):
        bare_jpeg(data)


@given(st.data())
def test_damaged_pictures_end_in_one_line(data: st.DataObject):
    broken = bytearray(taken())
    for _ in range(data.draw(st.integers(1, 6))):
        broken[data.draw(st.integers(0, len(broken) - 1))] = data.draw(st.integers(0, 255))
    with suppress(ParameterError):  # anything else would be a slip of ours
        bare_jpeg(bytes(broken[: data.draw(st.integers(0, len(broken)))]))


@pytest.fixture
def quay(tmp_path: Path) -> Path:
    """A campaign with photos of a cone, one of them straight from a telephone, and files that are none of its."""
    root = tmp_path / "quay"
    (root / "photos").mkdir(parents=True)
    (root / "campaign.csv").write_text("campaign,title\nquay,Cones for the quay\n")
    (root / "specimens.csv").write_text("specimen,kind,notes\nrush-1,cone,from the drawer\n")
    (root / "photos" / "rush-1-1.jpg").write_bytes(PLAIN)
    (root / "photos" / "rush-1-2.jpg").write_bytes(taken())
    (root / "photos" / "rush-2-1.jpg").write_bytes(taken())
    (root / "photos" / "holiday.jpg").write_bytes(taken())
    return root


@pytest.mark.parametrize("name", ["out.zip", "out"])
def test_photos_go_along_without_place_and_the_copy_is_sound(quay: Path, tmp_path: Path, name: str):
    copy = open_package(export_package(open_package(quay), tmp_path / name))
    assert photo_names(copy) == ["photos/rush-1-1.jpg", "photos/rush-1-2.jpg"]
    assert sorted(p.name for p in (copy.root / "photos").iterdir()) == ["rush-1-1.jpg", "rush-1-2.jpg"]
    assert (copy.root / "photos" / "rush-1-1.jpg").read_bytes() == PLAIN
    assert b"Pinhole" not in (copy.root / "photos" / "rush-1-2.jpg").read_bytes()
    assert check_package(tmp_path / name).faults == ()
    told = {r["path"]: r for r in json.loads((copy.root / "datapackage.json").read_text())["resources"]}
    assert told["photos/rush-1-2.jpg"]["mediatype"] == "image/jpeg"
    (copy.root / "photos" / "rush-1-2.jpg").write_bytes(PLAIN)
    again = export_package(copy, tmp_path / "again.zip")
    assert export_package(copy, tmp_path / "once-more.zip").read_bytes() == again.read_bytes()


def test_without_photos_none_is_in_it(quay: Path, tmp_path: Path):
    out = export_package(open_package(quay), tmp_path / "out.zip", photos=False)
    with zipfile.ZipFile(out) as archive:
        assert [n for n in archive.namelist() if "photo" in n] == []
    assert check_package(out).faults == ()


def test_a_photo_that_is_none_is_named(quay: Path, tmp_path: Path):
    (quay / "photos" / "rush-1-2.jpg").write_bytes(b"<svg>")
    with pytest.raises(PackageError, match=r"photos/rush-1-2\.jpg: a photo must be a whole JPEG"):
        export_package(open_package(quay), tmp_path / "out.zip")
    assert not (tmp_path / "out.zip").exists()


def test_a_link_out_of_the_package_is_not_followed(quay: Path, tmp_path: Path):
    (tmp_path / "elsewhere.jpg").write_bytes(PLAIN)
    (quay / "photos" / "rush-1-2.jpg").unlink()
    (quay / "photos" / "rush-1-2.jpg").symlink_to(tmp_path / "elsewhere.jpg")
    with pytest.raises(PackageError, match="must not be a link out of the package"):
        export_package(open_package(quay), tmp_path / "out.zip")


def test_the_shelf_counts_photos_as_the_packages(quay: Path):
    assert [n for n in contents_of(open_package(quay))[0].files if "photo" in n] == [
        "photos/rush-1-1.jpg", "photos/rush-1-2.jpg",
    ]  # fmt: skip
