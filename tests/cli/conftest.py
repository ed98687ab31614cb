"""Lets the tests beside it call the command line, and gives those of geometry a package without recordings."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

TABLES = {
    "campaign": "campaign,title\nbarn,Barn\n",
    "materials": "material,name,polymer,density_kg_m3\nfir,Fir,PLA,1240\n",
    "recipes": "recipe,layer_mm\nwalls,0.2\n",
    "profiles": "profile,shape,neck_radius_mm,rim_radius_mm,depth_mm,bow_mm,wall_mm\nst80,straight,14,40,28,0,0.9\n",
    "rigs": "rig,mounting,microphone_distance_mm,force_factor_tm,suspension_stiffness_n_mm,suspension_resistance_ns_m,"
    "coil_mass_g,coil_resistance_ohm,coil_inductance_mh,drive_full_scale_v\nbench,free,120,4,3,0.7,3,5.6,0.13,3.5\n",
    "specimens": "specimen,kind,material,recipe,profile\n",
    "takes": "take,specimen,seating,recording\n",
}


@pytest.fixture
def unrecorded(tmp_path: Path) -> Path:
    """A package with a rig, a filament and a drawing, and no take."""
    folder = tmp_path / "barn"
    folder.mkdir()
    for name, text in TABLES.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return folder
