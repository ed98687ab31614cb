"""Heat at the neck in `frusta forecast`. Oracle: ohm's law for heat by hand, with the tables' coil of 5.6 ohm."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from frusta.campaign.forecasting import drawn_profile
from frusta.campaign.heat import heat_document, heat_line, heat_lines, heat_of, parse_hot_coil
from frusta.campaign.package import Package, open_package
from frusta.cli.main import app
from frusta.errors import ParameterError

TABLES = {
    "campaign": "campaign,title\nbarn,Barn\n",
    "materials": "material,name,polymer,heat_deflection_c\nfir,Fir,PLA,58\npine,Pine,PLA,\nyew,Yew,wood,\n",
    "recipes": "recipe,layer_mm\nwalls,0.2\n",
    "profiles": "profile,shape,neck_radius_mm,rim_radius_mm,depth_mm,bow_mm,wall_mm\nst80,straight,14,40,28,0,0.9\n",
    "rigs": "rig,mounting,microphone_distance_mm,coil_mass_g,coil_resistance_ohm\nbench,free,120,3,5.6\n",
    "specimens": "specimen,kind,material,recipe,profile\n",
    "takes": "take,specimen,seating,recording\n",
}


@pytest.fixture
def barn(tmp_path: Path) -> Package:
    folder = tmp_path / "barn"
    folder.mkdir()
    for name, text in TABLES.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return open_package(folder)


def told(package, material="fir", **options):
    drawn = drawn_profile(package.profiles["st80"])
    return heat_of(package, package.rigs["bench"], material, drawn, 5.6, **options)


def test_a_stated_path_and_room_by_hand(barn):
    """(58 − 15 − 22) / 10 = 2.1 W at worst; (58 − 22) / (10 × 0.5) = 7.2 W at best."""
    heat, why = told(barn, thermal_k_w=10.0, room_c=22.0)
    assert why is None
    assert (heat.watts.low, heat.watts.high) == pytest.approx((2.1, 7.2))
    assert heat_line(heat, why) == (
        "heat at the neck: softens at 43 to 58 °C; bears 2.1 to 7.2 W for hours (3.6 to 7.2 V rms)"
    )
    text = "\n".join(heat_lines(heat))
    assert "    2 W     32 to 42 °C     32 to 42 °C" not in text, "the neck is cooler at best"
    assert "    2 W     42 to 42 °C     32 to 42 °C     holds" in text
    assert "    5 W     72 to 72 °C     47 to 72 °C     may soften" in text
    assert "   10 W     122 to 122 °C   72 to 122 °C    softens" in text
    assert "local codes" in text.lower()
    assert heat_document(heat)["continuous_power_w"] == {"low": 2.1, "high": 7.2}


def test_a_measured_path_by_hand(barn):
    """5.6 ohm to 5.6 × 1.1572 are 40 K at 4 W: 10 K/W, taken to 20 %."""
    heat, _ = told(barn, hot_coil=parse_hot_coil("6.48032@4"), room_c=22.0)
    assert (heat.coil_to_room_k_w.low, heat.coil_to_room_k_w.high) == pytest.approx((8.0, 12.0))
    assert "10.0 K/W measured, taken to 20 %" in heat.assumed


def test_what_is_not_in_the_tables_is_assumed_or_refused(barn):
    heat, _ = told(barn, "pine", thermal_k_w=10.0)
    assert any(words.startswith("PLA deflects at 50 to 58 °C (handbook)") for words in heat.assumed)
    assert not any("deflects" in words for words in told(barn, thermal_k_w=10.0)[0].assumed)
    heat, why = told(barn, "yew")
    assert heat is None
    assert heat_line(heat, why).endswith("no heat_deflection_c of yew in materials.csv; fill it in from the filament's "
                                         "data sheet")  # fmt: skip
    with pytest.raises(ParameterError, match="stated or measured, not both"):
        told(barn, thermal_k_w=10.0, hot_coil=(7.0, 4.0))
    with pytest.raises(ParameterError, match=r"such as 7\.1@4"):
        parse_hot_coil("7.1")


def test_the_command_tells_it(barn, tmp_path):
    file = tmp_path / "told.json"
    words = f"forecast {barn.root} --material fir --profile st80 --handbook --cores 1 --heat --thermal 10 --room-c 22"
    done = CliRunner().invoke(app, [*words.split(), "--json", str(file)])
    assert done.exit_code == 0, done.output
    assert "bears 2.1 to 7.2 W for hours" in done.output
    assert "Glue, insulation and leads" in done.output
    assert json.loads(file.read_text("utf-8"))["heat"]["softens_c"] == {"low": 43.0, "high": 58.0}
