"""A result is there whole, or what was there before still is. Oracle: the files themselves."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from frusta.campaign.atomic import write_atomically, write_folder_atomically
from frusta.errors import OutputError


def listing(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def full(*_: object) -> None:
    raise OSError(errno.ENOSPC, "No space left on device")


def test_bytes_and_callbacks_are_written_in_new_folders(tmp_path):
    write_atomically(tmp_path / "a/b/c.txt", b"one")
    write_atomically(str(tmp_path / "a/d.txt"), lambda file: file.write(b"two") and None)
    assert listing(tmp_path) == {"a/b/c.txt": b"one", "a/d.txt": b"two"}


def test_a_failure_leaves_what_was_there(tmp_path):
    (tmp_path / "x").write_bytes(b"old")

    def half(file):
        file.write(b"half of the new")
        full()

    with pytest.raises(OutputError, match=r"x: must be writable \(no space left on device\); nothing that was there"):
        write_atomically(tmp_path / "x", half)
    assert listing(tmp_path) == {"x": b"old"}


def test_who_reads_the_old_file_reads_it_to_its_end(tmp_path):
    (tmp_path / "x").write_bytes(b"old")
    with (tmp_path / "x").open("rb") as reader:
        write_atomically(tmp_path / "x", b"new")
        assert reader.read() == b"old"
    assert (tmp_path / "x").read_bytes() == b"new"


def test_an_interruption_leaves_what_was_there(tmp_path):
    def stopped(file):
        file.write(b"half")
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_atomically(tmp_path / "x", stopped)
    assert listing(tmp_path) == {}


def test_what_must_not_be_replaced_is_not(tmp_path):
    write_atomically(tmp_path / "x", b"old", overwrite=False)
    with pytest.raises(OutputError, match="must not be there yet"):
        write_atomically(tmp_path / "x", b"new", overwrite=False)
    assert listing(tmp_path) == {"x": b"old"}
    write_atomically(tmp_path / "x", b"new")
    assert listing(tmp_path) == {"x": b"new"}


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
def test_a_full_device_is_told_and_stays_a_device():
    with pytest.raises(OutputError, match=r"/dev/full: must be writable \(no space left"):
        write_atomically(Path("/dev/full"), b"x" * 100_000)
    assert not Path("/dev/full").is_file()


def test_impossible_places_are_told(tmp_path):
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(OutputError, match=r"must be writable \(a file stands where a folder must\)"):
        write_atomically(tmp_path / "file/x", b"")
    with pytest.raises(OutputError, match="it is a folder"):
        write_atomically(tmp_path, b"")
    with pytest.raises(OutputError, match=r"must be writable .*too long"):
        write_atomically(tmp_path / ("x" * 300), b"")
    with pytest.raises(OutputError, match="must be a folder"):
        write_folder_atomically(tmp_path / "file", lambda folder: None)


def test_a_link_stays_a_link_and_the_mode_stays(tmp_path):
    (tmp_path / "real").write_bytes(b"old")
    (tmp_path / "real").chmod(0o640)
    (tmp_path / "link").symlink_to("real")
    write_atomically(tmp_path / "link", b"new")
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "real").read_bytes() == b"new"
    assert (tmp_path / "real").stat().st_mode & 0o777 == 0o640


def fill(folder: Path) -> None:
    (folder / "in").mkdir()
    (folder / "in/new").write_bytes(b"1")
    (folder / "both").write_bytes(b"2")


def test_a_folder_comes_whole_or_not_at_all(tmp_path):
    def half(folder):
        fill(folder)
        full()

    with pytest.raises(OutputError, match="no space left"):
        write_folder_atomically(tmp_path / "out", half)
    assert os.listdir(tmp_path) == []
    write_folder_atomically(tmp_path / "out", fill)
    assert listing(tmp_path) == {"out/in/new": b"1", "out/both": b"2"}


def test_other_files_of_a_folder_stay(tmp_path):
    (tmp_path / "both").write_bytes(b"old")
    (tmp_path / "mine").write_bytes(b"mine")

    def half(folder):
        fill(folder)
        full()

    with pytest.raises(OutputError, match="no space left"):
        write_folder_atomically(tmp_path, half)
    assert listing(tmp_path) == {"both": b"old", "mine": b"mine"}
    write_folder_atomically(tmp_path, fill)
    assert listing(tmp_path) == {"both": b"2", "mine": b"mine", "in/new": b"1"}


def test_nothing_is_moved_where_something_stands_in_the_way(tmp_path):
    (tmp_path / "in").write_bytes(b"a file where a folder must go")
    (tmp_path / "both").write_bytes(b"old")
    with pytest.raises(OutputError, match="something else is there"):
        write_folder_atomically(tmp_path, fill)
    assert listing(tmp_path)["both"] == b"old"
