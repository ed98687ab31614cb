"""A barn of three cones of two filaments, their poles put in: tables without recordings, and the fit to them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from frusta.campaign.allowed_cones import Wish
from frusta.campaign.findings import Findings
from frusta.campaign.package import Package, open_package
from frusta.cone.driver import Bench, Coil, Joint, Motor, build_driver
from frusta.cone.elasticity import Elastic
from frusta.cone.medium import air_at
from frusta.cone.poles import find_poles
from frusta.cone.profile import ConeProfile
from frusta.material.forward import prominence_db
from frusta.material.infer import Inferred, infer
from frusta.material.observations import (
    CampaignObserved,
    ConeObserved,
    MaterialGiven,
    RecordedModes,
    RigObserved,
    SeatingObserved,
)

EMPTY = Findings(campaign="barn", made_by="test")
WISH = Wish({"evenness": 2.0, "mass": 1.0, "level": 2.0}, rim_mm=(42.0, 42.0))
TABLES = {
    "campaign": "campaign,title,band_low_hz,band_high_hz\nbarn,Barn,300,6000\n",
    "materials": "material,name,density_kg_m3\nfir,Fir,1230\nash,Ash,1050\n",
    "recipes": "recipe,line_width_mm,lines\nwalls,0.4,3\n",
    "profiles": "profile,shape,neck_radius_mm,rim_radius_mm,depth_mm,bow_mm,wall_mm,wall_rule\n"
    "st84,straight,12.5,42,26,0,1.2,line\n",
    "rigs": "rig,mounting,microphone_distance_mm,force_factor_tm,suspension_stiffness_n_mm,suspension_resistance_ns_m,"
    "coil_mass_g,coil_resistance_ohm,coil_inductance_mh,drive_full_scale_v\n"
    "bench,free,120,3.8,2.6,0.7,2.7,5.2,0.12,3.5\n",
    "specimens": "specimen,kind,material,recipe,profile\n"
    "fir-1,cone,fir,walls,st84\nfir-2,cone,fir,walls,st84\nash-1,cone,ash,walls,st84\n",
    "takes": "take,specimen,rig,seating,recording\n",
}
FILAMENTS = {
    "fir": Elastic(3.1e9, 2.4e9, 0.85e9, 0.36, 0.33, 1230.0, 0.02),
    "ash": Elastic(1.7e9, 1.2e9, 0.50e9, 0.37, 0.33, 1050.0, 0.04),
}
DRAWN = ConeProfile("straight", 0.0125, 0.042, 0.026, 0.0, 0.0012, "line")
MOTOR, COIL, BENCH = Motor(3.8, 2600.0, 0.7), Coil(2.7e-3, 5.2, 1.2e-4), Bench("free", 0.12)


def cone(material: str, number: int, stiffer: float) -> ConeObserved:
    e = FILAMENTS[material]
    own = replace(
        e, hoop_pa=stiffer * e.hoop_pa, axial_pa=stiffer * e.axial_pa, layer_shear_pa=stiffer * e.layer_shear_pa
    )
    poles = find_poles(build_driver(DRAWN, own, MOTOR, COIL, BENCH, air_at(20.0), Joint(3e-8)), 800.0, 13e3)
    f, loss = poles.frequency_hz, poles.loss_factor
    modes = RecordedModes(f, 1e-4 * f, loss, 5e-3 * loss, prominence_db(poles))
    key = f"{material}-{number}"
    seating = SeatingObserved(f"{key}/1", "bench", air_at(20.0), 20.0, modes)
    mass = DRAWN.volume_m3 * e.density_kg_m3
    return ConeObserved(key, material, "st84", mass, 2e-5, COIL, 1.5e-5, 0.05, (seating,))


def write_barn(folder: Path) -> Package:
    """Write the tables into a folder and open it."""
    for name, text in TABLES.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return open_package(folder)


def infer_barn() -> Inferred:
    """The fit to the barn's poles."""
    given = {key: MaterialGiven(key, key, "walls", None, e.density_kg_m3, 0.36) for key, e in FILAMENTS.items()}
    cones = (cone("fir", 1, 1.01), cone("fir", 2, 0.99), cone("ash", 1, 1.0))
    return infer(CampaignObserved(given, {"st84": DRAWN}, {"bench": RigObserved(BENCH, MOTOR)}, cones))
