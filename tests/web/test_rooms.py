"""Tables edited in place, undo, imports: what the API writes and what it refuses.

Oracle: the tables on disk, read back byte by byte or row by row.
"""

from __future__ import annotations

import io
import threading
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import soundfile

from frusta.campaign.check import check_package
from frusta.campaign.package import open_package
from frusta.errors import ParameterError
from frusta.signal.sweep import Sweep, make_sweep
from frusta.web.access import Access
from frusta.web.app import make_app
from frusta.web.beginning import SittingTold
from frusta.web.desk import Desk
from frusta.web.works import Works

TOKEN = "k" * 24
Web = Callable[[Path], Any]


@pytest.fixture
def web_of(web_for: Callable[..., Any]) -> Callable[[Path], Any]:
    def make(path: Path) -> Any:
        app = make_app(Desk(path, "virtual:fast", 1), Access(TOKEN, frozenset({"127.0.0.1:1"})))
        return web_for(app, "http://127.0.0.1:1")

    return make


def at(path: str) -> str:
    return f"/{TOKEN}{path}"


def wav(seconds: float = 1.1, rate: int = 48000) -> bytes:
    law = Sweep(50, 16000, seconds - 0.4, lead_in_s=0.1, tail_s=0.3, sample_rate_hz=rate)
    held = io.BytesIO()
    soundfile.write(held, 0.5 * make_sweep(law), rate, format="WAV", subtype="PCM_16")
    return held.getvalue()


def test_a_row_is_changed_in_place_and_taken_back_byte_by_byte(campaign: Path, web_of: Web):
    web = web_of(campaign)
    file = campaign / "specimens.csv"
    before = file.read_bytes()
    answer = web.put(at("/api/tables/specimens"), json={"specimen": "sedge-1", "mass_g": "5.125"})
    assert answer.json()["undo"] is True
    assert open_package(campaign).specimens["sedge-1"].mass_g == 5.125
    assert open_package(campaign).specimens["rush-1"].mass_g == 4.9
    assert web.post(at("/api/undo")).status_code == 200
    assert file.read_bytes() == before
    assert web.post(at("/api/undo")).status_code == 422


def test_undo_does_not_run_over_what_was_changed_elsewhere(campaign: Path, web_of: Web):
    web = web_of(campaign)
    web.put(at("/api/tables/specimens"), json={"specimen": "sedge-1", "mass_g": "5.1"})
    file = campaign / "specimens.csv"
    file.write_bytes(file.read_bytes().replace(b"4.9", b"4.8"))
    kept = file.read_bytes()
    answer = web.post(at("/api/undo"))
    assert answer.status_code == 422
    assert "changed elsewhere" in answer.json()["error"]["what"]
    assert file.read_bytes() == kept


@pytest.mark.parametrize(
    ("table", "cells", "said"),
    [
        ("specimens", {"specimen": "sedge-1", "mass_g": "heavy"}, "must be a number"),
        ("specimens", {"specimen": "sedge-1", "mass_g": "-4"}, "must be above 0"),
        ("specimens", {"specimen": "sedge-1", "material": "oak"}, "material must name a row of materials.csv"),
        ("specimens", {"specimen": "Sedge 1", "kind": "cone"}, "must be a key"),
        ("specimens", {"specimen": "new-1"}, "kind"),
        ("profiles", {"profile": "st80", "shape": "square"}, "must be"),
        ("materials", {"material": "", "name": "Nameless"}, "material must be filled"),
    ],
)
def test_a_row_at_fault_is_refused_and_nothing_written(
    campaign: Path, table: str, cells: dict[str, str], said: str, web_of: Web
):
    before = (campaign / f"{table}.csv").read_bytes()
    answer = web_of(campaign).put(at(f"/api/tables/{table}"), json=cells)
    assert answer.status_code == 422
    assert said.lower() in answer.json()["error"]["what"].lower()
    assert (campaign / f"{table}.csv").read_bytes() == before


def test_columns_of_the_makers_own_survive_an_edit(campaign: Path, web_of: Web):
    file = campaign / "materials.csv"
    file.write_text("material,name,polymer,shop\nrush,Rush,PLA,the corner\nsedge,Sedge,PETG,\n")
    web_of(campaign).put(at("/api/tables/materials"), json={"material": "rush", "name": "Rush II"})
    row = open_package(campaign).materials["rush"]
    assert row.name == "Rush II"
    assert row.model_extra == {"shop": "the corner"}


def test_history_is_added_and_makes_a_cone_due(campaign: Path, web_of: Web):
    web = web_of(campaign)
    answer = web.post(at("/api/specimens/rush-1/history"), json={"event": "annealed", "when": "2026-05-01"})
    assert answer.status_code == 200
    assert [e.event for e in open_package(campaign).history] == ["annealed"]
    assert "annealed" in web.get(at("/cones/rush-1")).text
    web.post(at("/api/undo"))
    assert open_package(campaign).history == ()


def test_recordings_are_understood_corrected_and_then_written(campaign: Path, web_of: Web):
    (campaign / "sessions.csv").write_text("session,rig,date\nmay,jetty,2026-05-02\n")
    web = web_of(campaign)
    before = sorted(f.name for f in campaign.rglob("*"))
    files = [("files", ("rush-1 first.wav", wav(), "audio/wav")), ("files", ("lost.wav", wav(1.3), "audio/wav"))]
    sent = web.post(at("/api/import/files"), files=files)
    assert sent.status_code == 200, sent.text
    rows = {row["name"]: row for row in web.get(at("/api/import")).json()}
    assert rows["rush-1 first.wav"]["cells"]["specimen"] == "rush-1"
    assert "specimen" in rows["lost.wav"]["questions"]
    assert web.post(at("/api/import/apply")).status_code == 422
    assert sorted(f.name for f in campaign.rglob("*")) == before
    key = rows["lost.wav"]["key"]
    web.patch(at(f"/api/import/{key}"), json={"specimen": "sedge-1", "seating": "3"})
    done = web.post(at("/api/import/apply"))
    assert done.status_code == 200, done.text
    takes = open_package(campaign).takes
    assert {(t.specimen, t.seating) for t in takes.values()} == {("rush-1", 1), ("sedge-1", 3)}
    assert check_package(campaign).faults == ()


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("a.exe", b"MZ"),
        ("a.wav", b"MZ" * 50),
        ("a.flac", b"RIFF0000WAVE"),
        ("a.zip", b"RIFF"),
        ("noise", b"RIFF0000WAVE"),
    ],
)
def test_other_kinds_of_files_are_refused(campaign: Path, name: str, data: bytes, web_of: Web):
    answer = web_of(campaign).post(at("/api/import/files"), files=[("files", (name, data, "audio/wav"))])
    assert answer.status_code == 422
    assert answer.json()["error"]["what_to_do"] == "Leave it out."


@pytest.mark.parametrize("name", ["../../rush-1.wav", "/etc/rush-1.wav", "..\\rush-1.wav", "rush-1\n.wav"])
def test_a_name_never_becomes_a_path(campaign: Path, name: str, web_of: Web):
    web = web_of(campaign)
    web.post(at("/api/import/files"), files=[("files", (name, wav(), "audio/wav"))])
    assert not (campaign.parent.parent / "rush-1.wav").exists()
    (campaign / "sessions.csv").write_text("session,rig,date\nmay,jetty,2026-05-02\n")
    for row in web.get(at("/api/import")).json():
        assert "/" not in row["name"]
    assert all(p.is_relative_to(campaign.parent) for p in campaign.rglob("*"))


def test_a_campaign_comes_in_as_a_zip_and_is_opened(campaign: Path, web_of: Web):
    other = io.BytesIO()
    with zipfile.ZipFile(other, "w") as archive:
        for file in campaign.glob("*.csv"):
            archive.writestr(file.name, file.read_text().replace("quay,Cones for the quay", "pier,Cones for the pier"))
    web = web_of(campaign)
    web.post(at("/api/import/files"), files=[("files", ("pier.zip", other.getvalue(), "application/zip"))])
    assert "Cones for the pier" in web.get(at("/import"), headers={"accept": "text/html"}).text
    assert web.post(at("/api/import/campaign")).status_code == 200
    assert open_package(campaign.parent / "pier").campaign.title == "Cones for the pier"
    assert web.get(at("/api/campaign")).json()["campaign"]["campaign"] == "pier"


def test_faults_of_tables_are_told_with_their_place(campaign: Path, web_of: Web):
    (campaign / "specimens.csv").write_text("specimen,kind,mass_g\nrush-1,cone,63..8\n")
    web = web_of(campaign)
    fault = web.get(at("/api/campaign")).json()["faults"][0]
    assert fault["where"] == "specimens.csv, row 2, column mass_g"
    assert "specimens.csv, row 2, column mass_g" in web.get(at("/report"), headers={"accept": "text/html"}).text


def test_a_forecast_and_its_file_come_from_the_sliders(campaign: Path, web_of: Web):
    web = web_of(campaign)
    query = "group=rush/two&base=st80&neck_radius_mm=13&rim_radius_mm=40&depth_mm=24&bow_mm=0&wall_mm=0.8"
    told = web.get(at(f"/api/forecast?{query}")).json()
    assert told["geometry"]["depth_mm"] == 24
    assert told["breakup_hz_low_95"] < told["breakup_hz"] < told["breakup_hz_high_95"]
    file = web.get(at(f"/api/printfile?kind=3mf&{query}"))
    assert file.content[:2] == b"PK"
    assert web.get(at(f"/api/forecast?{query.replace('rim_radius_mm=40', 'rim_radius_mm=10')}")).status_code == 422


def test_work_reports_and_can_be_stopped():
    works = Works()
    begun = threading.Event()

    def slowly(report):
        for done in range(10000):
            report(done, 10000)
            begun.set()
            threading.Event().wait(0.001)

    work = works.start("reading", "Reading takes", slowly)
    assert begun.wait(5)
    assert works.start("reading", "Reading takes", slowly) is work
    works.stop("reading")
    assert work.thread is not None
    work.thread.join(5)
    assert work.standing == "stopped"
    assert 0 < work.done < 10000


def test_a_take_is_set_aside_and_brought_back_its_recording_untouched(campaign: Path, web_of: Web):
    (campaign / "sessions.csv").write_text("session,rig,date\nmay,jetty,2026-05-02\n")
    (campaign / "recordings").mkdir()
    recording = campaign / "recordings" / "rush-1-1.wav"
    recording.write_bytes(wav())
    takes = campaign / "takes.csv"
    takes.write_text(
        "take,specimen,session,sweep,seating,recording\nrush-1-1,rush-1,may,short,1,recordings/rush-1-1.wav\n"
    )
    before, sound = takes.read_bytes(), recording.read_bytes()
    web = web_of(campaign)
    assert web.delete(at("/api/tables/takes/rush-1-1")).json()["undo"] is True
    assert open_package(campaign).takes == {}
    assert recording.read_bytes() == sound
    assert web.post(at("/api/undo")).status_code == 200
    assert takes.read_bytes() == before


def test_a_calibrator_is_heard_and_the_next_sitting_measures_with_it(campaign: Path, web_of: Web):
    """Oracle: the full scale that the virtual rig's microphone has, 40 Pa."""
    rigs = campaign / "rigs.csv"
    rigs.write_text(rigs.read_text().replace(",40,3", ",,3"))  # nobody knows what full scale is
    web = web_of(campaign)
    heard = web.post(at("/api/bench/calibrator"), json={"device": "virtual:fast", "level_db": "94"})
    assert heard.status_code == 200
    assert "Heard 1000 Hz: digital full scale is 40 Pa" in heard.json()["said"]
    wrong = {"device": "virtual:fast", "levels": "loud"}
    assert web.post(at("/api/bench/begin"), json=wrong).status_code == 422
    assert web.post(at("/api/bench/begin"), json={**wrong, "levels": "0, \u22126"}).status_code == 200
    (session,) = open_package(campaign).sessions.values()
    assert session.full_scale_pa == pytest.approx(40.0, rel=1e-3)


def test_a_series_of_levels_is_read_as_it_is_written():
    told = SittingTold.model_validate({"levels": "0, \u22126 -12", "slow": "2,5", "limit_w": ""})
    how = told.beginning()
    assert (how.levels_db, how.slow, how.told) == ((0.0, -6.0, -12.0), 2.5, {"limit_w": None})
    for wrong in ("0, 0", "3", "-61", "nan"):
        with pytest.raises(ParameterError, match="different levels from -60 to 0"):
            SittingTold.model_validate({"levels": wrong}).beginning()
