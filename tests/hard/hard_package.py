"""A small package that is whole: tables of every kind that hard tests need, and sound files of a tenth of a second."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import soundfile

RATE_HZ = 48000
TABLES = {
    "campaign": "campaign,title\nquay,Cones for the quay\n",
    "materials": "material,name,polymer,notes\nrush,Rush,PLA,\nsedge,Sedge,PETG,\n",
    "recipes": "recipe,layer_mm\ntwo,0.2\n",
    "profiles": "profile,shape,neck_radius_mm,rim_radius_mm,depth_mm,bow_mm,wall_mm\nst80,straight,13,40,24,0,0.8\n",
    "rigs": "rig,mounting,microphone_distance_mm,coil_mass_g,full_scale_pa,drive_full_scale_v\n"
    "jetty,free,150,2.9,40,3\n",
    "sessions": "session,rig,date\ns1,jetty,2026-05-04\n",
    "sweeps": "sweep,start_hz,stop_hz,duration_s,lead_in_s,tail_s,sample_rate_hz\nshort,100,16000,0.6,0.1,0.2,48000\n",
    "specimens": "specimen,kind,material,recipe,profile,mass_g\nrush-1,cone,rush,two,st80,4.9\n"
    "sedge-1,cone,sedge,two,st80,5.1\n",
    "takes": "take,specimen,session,sweep,seating,recording,recording_is\n"
    "a,rush-1,s1,short,1,recordings/a.wav,tap\nb,sedge-1,s1,short,1,recordings/b.flac,tap\n",
}


def make_small_package(folder: Path, **changes: str) -> Path:
    """Write the package into a folder, with some tables changed, and return the folder."""
    (folder / "recordings").mkdir(parents=True, exist_ok=True)
    for name, text in (TABLES | changes).items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8", newline="")
    time_s = np.arange(RATE_HZ // 4) / RATE_HZ
    ring = 0.5 * np.exp(-60 * time_s) * np.sin(2 * np.pi * 500 * time_s)
    soundfile.write(folder / "recordings/a.wav", ring, RATE_HZ, subtype="PCM_24")
    soundfile.write(folder / "recordings/b.flac", -ring, RATE_HZ, subtype="PCM_16")
    return folder
