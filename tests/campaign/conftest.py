"""A small sound package, written by hand as a maker would, that tests may break."""

from __future__ import annotations

import hashlib
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
import soundfile

if TYPE_CHECKING:
    from frusta.campaign.package import Package
    from frusta.material.infer import Inferred

sys.path.insert(0, str(Path(__file__).parent))

RATE_HZ = 48000
TABLES = {
    "campaign": "campaign,title,band_low_hz,band_high_hz\ntwo-jars,Two jars,300,6000\n",
    "materials": "material,name,density_kg_m3,poisson,colour\nfir,Fir,1200,0.36,green\noak,Oak,1050,0.36,brown\n",
    "recipes": "recipe,layer_mm,orientation\nwalls,0.2,neck-down\n",
    "profiles": "profile,shape,neck_radius_mm,rim_radius_mm,depth_mm,bow_mm,wall_mm\n"
    "st80,straight,14,40,28,0,0.8\ncv80,convex,14,40,28,2.5,0.8\n",
    "rigs": "rig,mounting,microphone_distance_mm,microphone_calibration,coil_mass_g,coil_inductance_mh,"
    "full_scale_pa,drive_full_scale_v\nbench,free,120,mic.txt,3,0.13,20,3.5\n",
    "sessions": "session,rig,date,full_scale_pa,temperature_c\ns1,bench,2026-05-04,24,21.5\ns2,bench,2026-05-05,,\n",
    "sweeps": "sweep,start_hz,stop_hz,duration_s,lead_in_s,tail_s,sample_rate_hz\nshort,100,16000,0.6,0.1,0.2,48000\n",
    "specimens": "specimen,kind,material,recipe,profile,mass_g,mass_with_coil_g,coil_mass_g\n"
    "fir-1,cone,fir,walls,st80,7.5,,\noak-1,cone,oak,walls,cv80,,9.5,3.2\noak-2,cone,oak,walls,cv80,,9.5,\n"
    "fir-stick,coupon,fir,walls,,,,\n",
    "coupons": "specimen,coupon,length_mm,width_mm,thickness_mm,orientation\nfir-stick,stick,100,10,3,upright\n",
    "history": "specimen,date,event\nfir-1,2026-05-01,printed\nfir-1,2026-05-02,annealed\n",
    "takes": "take,specimen,session,rig,sweep,seating,recording,recording_is,microphone_channel,reference_channel\n"
    "a,fir-1,s1,,short,1,recordings/a.wav,sweep,2,1\n"
    "b,oak-1,s2,,short,1,recordings/b.flac,,,\n"
    "c,fir-stick,,bench,,1,recordings/c.wav,tap,1,\n",
    "overhangs": "material,recipe,clean_to_deg\nfir,walls,48\n",
}


def short_sweep() -> np.ndarray:
    """The sweep of the table, by its closed form (Novak et al. 2015), independent of frusta.signal."""
    rate_s = round(100 * 0.6 / np.log(160)) / 100
    count = round((0.1 + rate_s * np.log(160) + 0.2) * RATE_HZ)
    t = np.arange(count) / RATE_HZ - 0.1
    sound = 0.5 * np.sin(2 * np.pi * 100 * rate_s * np.exp(t / rate_s))
    return np.where((t >= 0) & (t <= rate_s * np.log(160)), sound, 0.0)


@pytest.fixture
def maker_package(tmp_path: Path) -> Path:
    """A folder with every table, a stereo WAV, a mono FLAC and a tap, free of faults."""
    folder = tmp_path / "two-jars"
    (folder / "recordings").mkdir(parents=True)
    for name, text in TABLES.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8", newline="")
    (folder / "mic.txt").write_text("* made up\n20 -1.5\n200 0\n1000 0.25\n2000\t0.5\n4000 0.5\n8000 1\n16000 2\n")
    sweep = short_sweep()
    late = 0.3 * np.roll(sweep, 17)
    soundfile.write(folder / "recordings/a.wav", np.column_stack([sweep, late]), RATE_HZ, subtype="PCM_24")
    soundfile.write(folder / "recordings/b.flac", late, RATE_HZ, subtype="PCM_16")
    t = np.arange(RATE_HZ // 4) / RATE_HZ
    soundfile.write(
        folder / "recordings/c.wav", 0.5 * np.exp(-60 * t) * np.sin(2 * np.pi * 500 * t), RATE_HZ, subtype="FLOAT"
    )
    return folder


def fingerprint(folder: Path) -> dict[str, str]:
    """Every file's hash, to show that nothing of the user's was changed."""
    return {
        str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest()
        for p in sorted(folder.rglob("*"))
        if p.is_file()
    }


@pytest.fixture
def fingerprint_of():
    """The function `fingerprint`."""
    return fingerprint


def edit(folder: Path, file: str, old: str, new: str) -> None:
    """Replace a piece of a table's text that must be there once."""
    path = folder / file
    text = path.read_text(encoding="utf-8")
    assert text.count(old) == 1, (file, old, text.count(old))
    path.write_text(text.replace(old, new), encoding="utf-8", newline="")


@pytest.fixture
def edit_table():
    """The function `edit`."""
    return edit


@pytest.fixture(scope="session")
def barn(tmp_path_factory: pytest.TempPathFactory) -> Package:
    """Tables of three cones without recordings."""
    from barn import write_barn

    return write_barn(tmp_path_factory.mktemp("barn"))


@pytest.fixture(scope="session")
def inferred() -> Inferred:
    """The fit to the barn's poles."""
    from barn import infer_barn

    return infer_barn()
