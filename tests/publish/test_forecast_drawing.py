"""The chart of a forecast holds its band, the rigid cone and the recorded cone. Oracle: the document drawn."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from frusta.errors import ParameterError
from frusta.publish.forecast_drawing import forecast_chart, write_forecast_chart

X = np.geomspace(100.0, 16e3, 50).tolist()
DOCUMENT = {
    "material": "fir",
    "recipe": "walls",
    "profile": "st80",
    "breakup_hz": 3000.0,
    "breakup_hz_low_95": 2900.0,
    "breakup_hz_high_95": 3100.0,
    "reasons": {},
    "response": {
        "level_is": "absolute",
        "frequency_hz": X,
        "level_db": [80.0] * 50,
        "low_95_db": [78.5] * 50,
        "high_95_db": [81.5] * 49 + [None],
        "rigid_db": [79.0] * 50,
    },
    "recorded": [{"take": "a", "specimen": "fir-1", "frequency_hz": X, "level_db": [80.4] * 50}],
}


def test_band_and_curves_are_those_of_the_document():
    spec = forecast_chart(DOCUMENT)
    text = json.dumps(spec)
    assert "fir-1" in text
    assert "95 % of prints between 2900 and 3100 Hz" in text
    areas = [layer for layer in spec["layer"] if layer["mark"].get("type") == "area"]
    rows = areas[0]["data"]["values"]
    assert len(rows) == 49  # where one end is missing there is no band
    assert {(row["low"], row["high"]) for row in rows} == {(78.5, 81.5)}
    assert text.count("shaded: 95 % of prints") == 2  # the words and their halo


def test_the_highest_of_the_band_stays_in_the_picture():
    """A band that reaches 12 dB over the expected curve needs an axis that ends above it."""
    tall = {**DOCUMENT, "response": {**DOCUMENT["response"], "high_95_db": [92.0] * 50}}
    top = forecast_chart(tall)["usermeta"]["frusta"]["y"][1]
    assert top > 92.0


def test_written_as_svg_and_png(tmp_path: Path):
    svg = write_forecast_chart(DOCUMENT, tmp_path / "told.svg").read_text("utf-8")
    assert svg.startswith("<svg")
    assert write_forecast_chart(DOCUMENT, tmp_path / "told.png").read_bytes().startswith(b"\x89PNG")
    with pytest.raises(ParameterError, match=r"\.svg or \.png \(got told.pdf\)"):
        write_forecast_chart(DOCUMENT, tmp_path / "told.pdf")
