"""Packages on the shelf come back as they were.

Oracle: the package itself: what an export of it holds, to the byte; its findings, to the byte.
"""

from __future__ import annotations

import shutil

import pytest
from shelf_helpers import everything, whole

from frusta.campaign.analysis import analyse
from frusta.campaign.output import findings_json
from frusta.campaign.shelf.analysing import analyse_shelf
from frusta.campaign.shelf.blobs import place_of
from frusta.campaign.shelf.schema import METADATA
from frusta.campaign.shelf.store import Shelf
from frusta.campaign.shelf.upkeep import back_up, check_shelf, restore, sweep_files
from frusta.errors import PackageError, ParameterError

TAP = "c,fir-stick,,bench,,1,recordings/c.wav,tap,1,\n"  # one pure tone: nothing for these tests


@pytest.mark.parametrize("out", ["copy.zip", "copy"])
def test_export_gives_back_the_same_package(shelf, maker_package, tmp_path, out):
    assert shelf.add(maker_package).outcome == "new"
    assert whole(shelf.export("two-jars", tmp_path / out)) == whole(maker_package)


def test_export_analyses_to_the_same_findings(shelf, maker_package, tmp_path, edit_table):
    edit_table(maker_package, "takes.csv", TAP, "")
    shelf.add(maker_package)
    analyse_shelf(shelf, cores=1)
    shelf.export("two-jars", tmp_path / "copy.zip")
    findings = analyse(maker_package, cores=1).findings
    assert findings_json(analyse(tmp_path / "copy.zip", cores=1).findings) == findings_json(findings)
    assert findings_json(shelf.findings("two-jars")) == findings_json(findings)


def test_the_same_package_twice_changes_nothing(shelf, maker_package, tmp_path):
    shelf.add(maker_package)
    before = everything(shelf)
    assert shelf.add(maker_package).outcome == "same"
    zipped = shelf.export("two-jars", tmp_path / "again.zip")
    assert shelf.add(zipped).outcome == "same"
    assert everything(shelf) == before
    assert len(list(shelf.database.files.glob("??/*"))) == len(
        {h for h, _ in shelf.contents("two-jars").files.values()}
    )


def test_recordings_are_stored_once(shelf, maker_package):
    shelf.add(maker_package)
    held = len(list(shelf.database.files.glob("??/*")))
    assert shelf.add(maker_package, "second-name").outcome == "new"
    assert len(list(shelf.database.files.glob("??/*"))) == held
    assert [e.entry for e in shelf.entries()] == ["second-name", "two-jars"]


def test_a_conflict_is_shown_and_nothing_is_merged_silently(shelf, maker_package, tmp_path, edit_table):
    shelf.add(maker_package)
    before = everything(shelf)
    edit_table(maker_package, "specimens.csv", "fir-1,cone,fir,walls,st80,7.5", "fir-1,cone,fir,walls,st80,7.9")
    edit_table(maker_package, "history.csv", "fir-1,2026-05-02,annealed\n", "fir-1,2026-05-03,annealed\n")
    result = shelf.add(maker_package)
    assert result.outcome == "conflict"
    assert [str(c) for c in result.conflicts] == [
        "specimens/fir-1/mass_g: shelf has 7.5, package has 7.9",
        "history/2: shelf has fir-1, 2026-05-02, annealed, package has nothing",
    ]
    assert everything(shelf) == before
    half = {"specimens/fir-1/mass_g": "package"}
    assert [c.place for c in shelf.add(maker_package, choices=half).conflicts] == ["history/2"]
    assert everything(shelf) == before
    assert shelf.add(maker_package, choices=half | {"history": "shelf"}).outcome == "changed"
    rows = shelf.contents("two-jars").rows
    assert rows["specimens"][0]["mass_g"] == 7.9
    assert [r["date"] for r in rows["history"]] == ["2026-05-01", "2026-05-02", "2026-05-03"]


def test_new_rows_join_and_are_told(shelf, maker_package):
    shelf.add(maker_package)
    with (maker_package / "history.csv").open("a") as file:
        file.write("oak-1,2026-06-09,coated\n")
    result = shelf.add(maker_package)
    assert (result.outcome, result.added) == ("changed", ("history/oak-1, 2026-06-09, coated",))
    assert shelf.add(maker_package).outcome == "same"


def test_another_recording_under_the_same_name_is_a_conflict(shelf, maker_package, tmp_path):
    shelf.add(maker_package)
    shutil.copyfile(maker_package / "recordings/c.wav", maker_package / "recordings/a.wav")
    assert [c.place for c in shelf.add(maker_package).conflicts] == ["files/recordings/a.wav"]
    shelf.add(maker_package, choices={"all": "package"})
    assert whole(shelf.export("two-jars", tmp_path / "c.zip")) == whole(maker_package)


def test_a_choice_that_fits_nothing_is_refused(shelf, maker_package, edit_table):
    shelf.add(maker_package)
    edit_table(maker_package, "specimens.csv", "walls,st80,7.5", "walls,st80,7.6")
    with pytest.raises(ParameterError, match=r"must name a conflict or the beginning of one .got takes.*fir-1/mass_g"):
        shelf.add(maker_package, choices={"takes": "package"})
    with pytest.raises(ParameterError, match="PLACE=shelf or PLACE=package"):
        shelf.add(maker_package, choices={"all": "mine"})


def test_findings_go_stale_when_the_entry_changes(shelf, maker_package, edit_table):
    edit_table(maker_package, "takes.csv", TAP, "")
    shelf.add(maker_package)
    assert analyse_shelf(shelf, cores=1).done == ("two-jars",)
    assert analyse_shelf(shelf, cores=1).fresh == ("two-jars",)
    content = shelf.contents("two-jars").content
    findings = shelf.findings("two-jars")
    with (maker_package / "history.csv").open("a") as file:
        file.write("oak-1,2026-06-09,coated\n")
    shelf.add(maker_package)
    assert shelf.findings("two-jars") is None
    assert not shelf.keep_findings("two-jars", content, findings)


def test_a_forged_or_unreadable_package_leaves_the_shelf_as_it_was(shelf, maker_package, tmp_path, edit_table):
    shelf.add(maker_package)
    before = everything(shelf)
    forged = tmp_path / "forged"
    shelf.export("two-jars", forged)
    samples = bytearray((forged / "recordings/a.wav").read_bytes())
    samples[-9] ^= 1
    (forged / "recordings/a.wav").write_bytes(samples)
    with pytest.raises(PackageError, match=r"recordings/a\.wav"):
        shelf.add(forged, "forged")
    edit_table(maker_package, "takes.csv", "b,oak-1,s2", "b,elm-1,s2")
    with pytest.raises(PackageError, match="elm-1"):
        shelf.add(maker_package)
    (tmp_path / "junk.zip").write_bytes(b"PK\x03\x04junk")
    with pytest.raises(PackageError, match=r"junk\.zip"):
        shelf.add(tmp_path / "junk.zip")
    assert everything(shelf) == before
    assert check_shelf(shelf) == []


def test_damage_is_found_and_named(shelf, maker_package, tmp_path):
    shelf.add(maker_package)
    assert check_shelf(shelf) == []
    sha256 = shelf.contents("two-jars").files["recordings/b.flac"][0]
    place = place_of(shelf.database.files, sha256)
    data = place.read_bytes()
    place.write_bytes(data[:-1] + bytes([data[-1] ^ 1]))
    assert check_shelf(shelf) == ["two-jars, recordings/b.flac: the file is damaged; add its package again"]
    with pytest.raises(PackageError, match="it is damaged"):
        shelf.export("two-jars", tmp_path / "c.zip")
    place.unlink()
    assert check_shelf(shelf) == ["two-jars, recordings/b.flac: the file is missing; add its package again"]
    shelf.add(maker_package)
    assert check_shelf(shelf) == []
    with shelf.database.write() as connection:
        table = METADATA.tables["rows_specimens"]
        connection.execute(table.update().where(table.c.specimen == "fir-1").values(mass_g=9.0))
    assert check_shelf(shelf) == ["two-jars: its rows are not those that were put on the shelf; restore a backup"]


def test_a_backup_restores_the_whole_shelf(shelf, maker_package, tmp_path):
    shelf.add(maker_package)
    shelf.add(maker_package, "second-name")
    backup = back_up(shelf, tmp_path / "backup.zip")
    other = Shelf(tmp_path / "other" / "s.sqlite")
    assert restore(backup, other) == 2
    assert everything(other) == everything(shelf)
    assert check_shelf(other) == []
    with pytest.raises(ParameterError, match="needs an empty shelf"):
        restore(backup, other)
    data = bytearray(backup.read_bytes())
    (tmp_path / "half.zip").write_bytes(data[: len(data) // 2])
    third = Shelf(tmp_path / "third.sqlite")
    with pytest.raises(PackageError, match=r"half\.zip: must be a whole backup"):
        restore(tmp_path / "half.zip", third)
    assert third.entries() == []


def test_removed_entries_leave_their_files_until_swept(shelf, maker_package):
    shelf.add(maker_package)
    shelf.remove("two-jars")
    assert shelf.entries() == []
    assert sweep_files(shelf) > 0
    assert not list(shelf.database.files.glob("??/*"))


def test_names_are_keys(shelf, maker_package):
    with pytest.raises(ParameterError, match="name must be a short key"):
        shelf.add(maker_package, "Two Jars!")
    with pytest.raises(ParameterError, match=r"nowhere: must be on the shelf .there are: none yet."):
        shelf.contents("nowhere")


def test_a_file_that_is_no_shelf_is_refused(tmp_path):
    (tmp_path / "notes.txt").write_text("not a database " * 100)
    with pytest.raises(PackageError, match="must be a shelf"):
        Shelf(tmp_path / "notes.txt")
