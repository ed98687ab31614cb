"""A small package for tests of the bench: three cones of two filaments, a check cone, a sweep of a second."""

from __future__ import annotations

from pathlib import Path

from frusta.bench.guide import Guide
from frusta.bench.live import BenchSettings
from frusta.bench.rehearsal import Rehearsal, VirtualDevice, rehearsal_rig
from frusta.bench.virtual import VirtualRig
from frusta.campaign.package import open_package

CHANNELS = {"microphone_channel": 1, "reference_channel": 2}
SWEEP = "short"
RATE = 48000

_RIGS: list[VirtualRig] = []

TABLES = {
    "campaign": "campaign,title\nquay,Cones for the quay\n",
    "materials": "material,name,polymer\nrush,Rush,PLA\nsedge,Sedge,PETG\n",
    "recipes": "recipe,layer_mm\ntwo,0.2\n",
    "profiles": "profile,shape,neck_radius_mm,rim_radius_mm,depth_mm,bow_mm,wall_mm\nst80,straight,13,40,24,0,0.8\n",
    "rigs": (
        "rig,mounting,microphone_distance_mm,suspension_stiffness_n_mm,suspension_resistance_ns_m,force_factor_tm,"
        "coil_mass_g,coil_resistance_ohm,coil_inductance_mh,full_scale_pa,drive_full_scale_v\n"
        "jetty,free,150,2.6,0.8,4.1,2.9,5.6,0.25,40,3\n"
    ),
    "sessions": "session,rig,date\n",
    "sweeps": "sweep,start_hz,stop_hz,duration_s,lead_in_s,tail_s,sample_rate_hz\nshort,50,16000,0.7,0.1,0.3,48000\n",
    "specimens": (
        "specimen,kind,material,recipe,profile,mass_g\n"
        "rush-1,cone,rush,two,st80,4.9\nrush-2,cone,rush,two,st80,\nsedge-1,cone,sedge,two,st80,5.1\n"
        "heron,check,rush,two,st80,5.0\n"
    ),
}


def make_package(root: Path) -> Path:
    """Write the tables into a new folder."""
    root.mkdir(parents=True)
    for name, text in TABLES.items():
        (root / f"{name}.csv").write_text(text, "utf-8")
    return root


def make_device(root: Path, fault: str | None = None, *, fast: bool = True, channels: int = 2) -> VirtualDevice:
    """Return the virtual rig with the package's cones beside it."""
    return VirtualDevice(_rig(root), RATE, channels, Rehearsal(fast, fault))


def _rig(root: Path) -> VirtualRig:
    """The cones of the package as it was made, their responses computed once for all tests."""
    if not _RIGS:
        package = open_package(root)
        _RIGS.append(rehearsal_rig(package, package.rigs["jetty"]))
    return _RIGS[0]


def make_settings(**changes: object) -> BenchSettings:
    """Return settings for the package."""
    values = {"sweep": SWEEP, "channels": CHANNELS, "start_gain_db": -6.0, "countdown_s": 0.0, "automatic_gain": True}
    return BenchSettings(**(values | changes))  # type: ignore[arg-type]


def make_guide(root: Path, device: VirtualDevice, **changes: object) -> Guide:
    """Return a guide that has not begun."""
    return Guide(root, device, make_settings(**changes))
