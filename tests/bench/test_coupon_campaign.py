"""A campaign of tapped coupons and no cone: recordings of the virtual rig in, the plastic out."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile
from rigs import ELASTIC, RATE, rig

from frusta.bench.tapping import VirtualCoupon
from frusta.campaign.analysis import analyse

COUPONS = {
    "up": VirtualCoupon("stick", ELASTIC, "upright", 0.004, 0.1),
    "flat": VirtualCoupon("stick", ELASTIC, "flat", 0.004, 0.1),
    "disc": VirtualCoupon("disc", ELASTIC, "flat", 0.003, 0.06),
}
TABLES = {
    "campaign": "campaign,title\npier,Coupons of the pier\n",
    "materials": "material,name,density_kg_m3\nkelp,Kelp,{density}\n",
    "rigs": "rig,mounting,microphone_distance_mm\njetty,free,150\n",
    "sessions": "session,rig,date\nmay,jetty,2026-05-01\n",
    "specimens": "specimen,kind,material,mass_g\nup,coupon,kelp,\nflat,coupon,kelp,\ndisc,coupon,kelp,\n",
    "coupons": "specimen,coupon,length_mm,width_mm,thickness_mm,diameter_mm,orientation\n"
    "up,stick,100,10,4,,upright\nflat,stick,100,10,4,,flat\ndisc,disc,,,3,60,flat\n",
    "takes": "take,specimen,session,seating,recording,recording_is\n"
    "t-up,up,may,1,up.wav,tap\nt-flat,flat,may,1,flat.wav,tap\nt-disc,disc,may,1,disc.wav,tap\n",
}


def test_taps_alone_tell_the_plastic(tmp_path: Path) -> None:
    for name, text in TABLES.items():
        (tmp_path / f"{name}.csv").write_text(text.format(density=ELASTIC.density_kg_m3), "utf-8")
    bench = replace(rig(False), coupons=COUPONS)
    for key in COUPONS:
        sound = bench.record_tap(key, RATE, take=key)
        soundfile.write(tmp_path / f"{key}.wav", np.asarray(sound), RATE, subtype="PCM_24")
    (row,) = analyse(tmp_path, cores=1).findings.estimates
    assert row.hoop_modulus_gpa == pytest.approx(1e-9 * ELASTIC.hoop_pa, rel=0.02)
    assert row.axial_modulus_gpa == pytest.approx(1e-9 * ELASTIC.axial_pa, rel=0.02)
    assert {"hoop_modulus", "axial_modulus", "loss_factor"} <= set(row.identified)
