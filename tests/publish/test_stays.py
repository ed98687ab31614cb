"""Stays put or moves, in the report: constructed responses whose peaks and dips are known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from workshop import FREQUENCY_HZ, Workshop, invent

from frusta.campaign.stays_put import StaysRow
from frusta.publish import render
from frusta.publish.groups import Groups
from frusta.publish.report import publish
from frusta.publish.stays import sentences_of, stays_of_profiles


def plain(text: str) -> str:
    return text.replace("\u00a0", " ")


def row(verdict: str, hertz: float, prominence_db: float) -> StaysRow:
    said = f"p0: the peak at {hertz:.0f} Hz {verdict}"
    return StaysRow("p0", "peak", {"m0": hertz, "m1": hertz}, prominence_db, 0.0, 0.1, verdict, 0.95, said)


@pytest.fixture
def dipped(tmp_path):
    """Cones whose modes go with their material, in a room that takes 9 dB out at 1.2 kHz."""
    invented = invent(tmp_path / "package", Workshop(profiles=2, seatings=1, driver=False, check=False))
    dip = 9.0 * np.exp(-0.5 * (np.log2(FREQUENCY_HZ / 1200.0) / 0.06) ** 2)
    curves = {}
    for take, held in invented.curves.items():
        table = {**held.table, "level_db": held.table["level_db"] - dip}
        curves[take] = replace(held, table=table)
    return replace(invented, curves=curves)


def test_what_stays_is_told_first_and_the_tallest_that_moves():
    lines = sentences_of([row("moves", 3000, 12), row("stays", 900, 2), row("stays", 1200, 8), row("moves", 4000, 15)])
    assert lines == [
        "The peak at 1200 Hz stays.", "The peak at 900 Hz stays.", "The peak at 4000 Hz moves.",
        "One other moves likewise.",
    ]  # fmt: skip


def test_many_are_counted_and_none_is_said():
    many = sentences_of([*(row("stays", 1000 + k, 9 - k) for k in range(5)), row("unclear", 5000, 3)])
    assert many[3:] == ["Two smaller ones stay, too.", "One peak or dip cannot be told."]
    assert sentences_of([row("moves", 3000, 12)])[0] == "No peak or dip stays put: none is blamed on air or rig."


def test_a_dip_of_the_room_is_not_blamed_on_the_cone(dipped):
    """Oracle: what was put in; the dip is the room's in both shapes, the break-ups are the cones'."""
    groups = Groups(dipped.findings.readings, dipped.package)
    told = stays_of_profiles(dipped.findings, dipped.curves, dipped.package, groups)
    assert [shape.name for shape in told] == ["straight", "concave"]
    for shape in told:
        assert plain(shape.says[0]).startswith("The dip at 1.20 kHz stays at the same frequency in all three materials")
        assert shape.says[0].endswith("air, cavity or rig, not the cone.")
        assert any("moves with the material in all three" in line for line in shape.says)
        assert shape.table.head[3:6] == ["Heather", "Gorse", "Bracken"]


def test_the_report_tells_it_and_leaves_it_out_when_asked(dipped, tmp_path, monkeypatch):
    monkeypatch.setattr(render, "png", lambda svg, scale=2.0: b"\x89PNG")
    text = publish(dipped, dipped.package, tmp_path / "out").read_text("utf-8")
    assert "<h2>Stays put or moves</h2>" in text
    assert plain(text).count("The dip at 1.20 kHz stays at the same frequency") == 2
    text = publish(dipped, dipped.package, tmp_path / "less", leave_out=["stays"]).read_text("utf-8")
    assert "Stays put or moves" not in text
