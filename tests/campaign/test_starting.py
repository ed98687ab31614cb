"""A new package passes its own check, and its sweep is the one of its table."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
import soundfile

from frusta.campaign.check import check_package
from frusta.campaign.package import open_package
from frusta.campaign.resolve import played_of
from frusta.campaign.rows import TABLES
from frusta.campaign.starting import start_package
from frusta.errors import OutputError


def test_a_new_package_is_free_of_faults_and_its_headers_name_every_column(tmp_path):
    lines = start_package(tmp_path / "mine", today=date(2026, 5, 4))
    assert lines[0].startswith("Started")
    result = check_package(tmp_path / "mine")
    assert result.faults == ()
    assert result.notes == (
        "takes.csv holds no take yet: record, or let frusta import take in recordings made elsewhere",
    )
    for name, model in TABLES.items():
        head, *rows = (tmp_path / "mine" / f"{name}.csv").read_text().splitlines()
        assert head.split(",") == list(model.model_fields)
        assert bool(rows) == (name != "takes")


def test_the_sweep_to_play_is_the_sweep_of_the_table(tmp_path):
    """Oracle: Novak et al. 2015 in closed form: at 1 kHz the phase is whole, 2 pi f1 L exp(t/L) with t = L ln(50)."""
    start_package(tmp_path / "mine")
    package = open_package(tmp_path / "mine")
    samples, rate_hz = soundfile.read(tmp_path / "mine/sweeps/log6.wav")
    played = played_of(package, package.sweeps["log6"], rate_hz)
    assert rate_hz == 48000
    assert np.abs(samples - played.samples).max() < 2.0**-23
    rate_s = round(20 * 6 / np.log(1000)) / 20
    t = np.arange(len(samples)) / rate_hz - 0.5
    inner = (t > 0.1) & (t < 5.8)
    expected = 10 ** (-6 / 20) * np.sin(2 * np.pi * 20 * rate_s * np.exp(t / rate_s))
    assert np.abs(samples - expected)[inner].max() < 1e-6


def test_an_empty_folder_will_do_and_a_full_one_will_not(tmp_path):
    (tmp_path / "empty").mkdir()
    start_package(tmp_path / "empty")
    (tmp_path / "full").mkdir()
    (tmp_path / "full/mine.txt").write_text("mine")
    with pytest.raises(OutputError, match="must be a new or empty folder"):
        start_package(tmp_path / "full")
    assert [p.name for p in (tmp_path / "full").iterdir()] == ["mine.txt"]
    with pytest.raises(OutputError, match="must be a new or empty folder"):
        start_package(tmp_path / "full/mine.txt")


def test_the_same_day_gives_the_same_bytes(tmp_path, fingerprint_of):
    for name in ("a", "b"):
        start_package(tmp_path / name, today=date(2026, 5, 4))
    assert fingerprint_of(tmp_path / "a") == fingerprint_of(tmp_path / "b")
