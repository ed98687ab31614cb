"""Findings as files: columns, nulls, round trips of curves and impulse response, moved into place whole."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
import soundfile

from frusta.campaign.curve_store import CurveStore, save_curves
from frusta.campaign.curves import CURVE_COLUMNS, TakeCurves
from frusta.campaign.findings import LISTS, Findings, Reading, TakeFault
from frusta.campaign.output import curves_csv, findings_json, impulse_wav, list_csv, write_analysis, write_json
from frusta.errors import OutputError

READING = Reading(
    take="rook-1-s1",
    specimen="rook-1",
    kind="cone",
    material="rook",
    recipe=None,
    profile="st90",
    session="s1",
    seating=1,
    breakup_hz=4000.1234567890123,
    quality="look",
    faults=(TakeFault(fault="noisy", where="all over", what_to_do="wait, then repeat"),),
    reasons={"recipe": 'none is named; "walls", perhaps'},
)
FINDINGS = Findings(campaign="c", made_by="frusta", readings=(READING,))
DESIGN_COLUMNS = (
    "frequency_hz,level_db,phase_deg,ungated_db,rigid_db,h2_db,h3_db,h4_db,h5_db,buzz_db,"
    "h2_noise_db,h3_noise_db,h4_noise_db,h5_noise_db,buzz_noise_db,"
    "h2_input_db,h3_input_db,h4_input_db,h5_input_db,buzz_input_db"
)


def curves() -> TakeCurves:
    table = {name: np.full(3, np.nan) for name in CURVE_COLUMNS}
    table["frequency_hz"] = np.array([100.0, 1000.0, 10000.0])
    table["level_db"] = np.array([80.0, 81.23456, np.nan])
    none = np.empty(0)
    impulse = np.sin(np.arange(12000) / 7.0)
    return TakeCurves(table, impulse, 0.005, 48000, none, 0.0, none, none, np.empty((0, 0)), np.full(3, np.nan))


@pytest.fixture
def analysis():
    store = CurveStore()
    save_curves(store.folder, "rook-1-s1", curves())
    store.keep(["rook-1-s1"])
    return SimpleNamespace(findings=FINDINGS, curves=store, damaged=())


def test_json_is_read_back_the_same():
    assert Findings.model_validate_json(findings_json(FINDINGS)) == FINDINGS


@pytest.mark.parametrize("name", LISTS)
def test_every_list_has_its_header_even_when_empty(name):
    header = next(csv.reader(io.StringIO(list_csv(Findings(campaign="c", made_by="f"), name).decode())))
    assert header[-1] == "reasons"


def test_a_row_as_csv_keeps_every_digit_and_every_reason():
    (row,) = csv.DictReader(io.StringIO(list_csv(FINDINGS, "readings").decode()))
    assert float(row["breakup_hz"]) == READING.breakup_hz
    assert row["level_db"] == ""
    assert json.loads(row["reasons"]) == READING.reasons
    assert json.loads(row["faults"])[0]["fault"] == "noisy"


def test_curves_have_the_designs_columns_and_empty_cells_for_what_is_not_known():
    lines = curves_csv(curves()).decode().splitlines()
    assert lines[0] == DESIGN_COLUMNS
    assert lines[2].startswith("1000.000,81.2346,,")
    assert lines[3].startswith("10000.000,,,")


def test_impulse_response_is_float_and_keeps_its_polarity():
    samples, rate = soundfile.read(io.BytesIO(impulse_wav(curves())))
    assert rate == 48000
    assert samples == pytest.approx(curves().impulse, abs=1e-7)
    assert soundfile.info(io.BytesIO(impulse_wav(curves()))).subtype == "FLOAT"
    assert b"PEAK" not in impulse_wav(curves())  # libsndfile's chunk of that name holds the time of day


def test_the_store_gives_back_what_was_saved(analysis):
    assert list(analysis.curves) == ["rook-1-s1"]
    back, given = analysis.curves["rook-1-s1"], curves()
    for name in CURVE_COLUMNS:
        np.testing.assert_array_equal(back.table[name], given.table[name])
    np.testing.assert_array_equal(back.impulse, given.impulse)
    with pytest.raises(KeyError):
        analysis.curves["another"]


def test_a_folder_is_written_whole(analysis, tmp_path):
    write_analysis(analysis, tmp_path / "out")
    names = {str(p.relative_to(tmp_path / "out")) for p in (tmp_path / "out").rglob("*") if p.is_file()}
    assert names == {
        "findings.json",
        *(f"{name}.csv" for name in LISTS),
        "curves/rook-1-s1.csv",
        "impulse/rook-1-s1.wav",
    }


def test_the_same_twice_is_the_same_to_the_byte(analysis, tmp_path):
    for place in ("a", "b"):
        write_analysis(analysis, tmp_path / place)
    for path in (tmp_path / "a").rglob("*.*"):
        assert path.read_bytes() == (tmp_path / "b" / path.relative_to(tmp_path / "a")).read_bytes()


def test_a_place_that_cannot_be_written_is_told_and_left_alone(analysis, tmp_path):
    (tmp_path / "file").write_text("mine")
    with pytest.raises(OutputError, match="must be a folder"):
        write_analysis(analysis, tmp_path / "file")
    with pytest.raises(OutputError, match="must be a file"):
        write_json(analysis, tmp_path)
    assert (tmp_path / "file").read_text() == "mine"


def test_curves_without_an_impulse_response_write_none(tmp_path):
    store = CurveStore()
    save_curves(store.folder, "t", replace(curves(), impulse=np.empty(0)))
    store.keep(["t"])
    write_analysis(SimpleNamespace(findings=FINDINGS, curves=store, damaged=()), tmp_path / "out")
    assert not (tmp_path / "out" / "impulse" / "t.wav").exists()
