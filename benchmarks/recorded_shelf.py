"""A shelf of small campaigns with real sound files, to be analysed: finished drivers, so that takes are the work."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import soundfile

from frusta.campaign.shelf.store import Shelf
from frusta.signal.sweep import Sweep, make_sweep

RATE_HZ = 48000
SWEEP = Sweep(20, 20000, 4.0, sample_rate_hz=RATE_HZ)


def record_shelf(folder: Path, campaigns: int, takes: int) -> Shelf:
    """Write campaigns of some takes each and put them on a shelf; nothing is analysed yet."""
    played = make_sweep(SWEEP)
    shelf = Shelf(folder / "shelf.sqlite")
    for number in range(campaigns):
        root = folder / f"campaign-{number}"
        (root / "recordings").mkdir(parents=True)
        rows = [f"t{k},d{k % 3},jetty,s,{1 + k // 3},recordings/t{k}.wav" for k in range(takes)]
        tables = {
            "campaign": f"campaign,title\nc{number},C\n",
            "rigs": "rig,mounting,microphone_distance_mm,full_scale_pa\njetty,free,150,40\n",
            "sweeps": f"sweep,start_hz,stop_hz,duration_s,sample_rate_hz\ns,20,20000,4.0,{RATE_HZ}\n",
            "specimens": "specimen,kind\nd0,driver\nd1,driver\nd2,driver\n",
            "takes": "\n".join(["take,specimen,rig,sweep,seating,recording", *rows]) + "\n",
        }
        for name, text in tables.items():
            (root / f"{name}.csv").write_text(text)
        for k in range(takes):
            rng = np.random.default_rng(100 * number + k)
            time_s = np.arange(960) / RATE_HZ
            ring = sum(
                0.1 * np.exp(-np.pi * f * 0.03 * time_s) * np.sin(2 * np.pi * f * time_s)
                for f in rng.uniform(2500, 9000, 3)
            )
            ring[0] += 1.0
            heard = 0.3 * np.convolve(played, ring)[: played.size] + 1e-4 * rng.standard_normal(played.size)
            soundfile.write(root / "recordings" / f"t{k}.wav", heard, RATE_HZ, subtype="PCM_24")
        shelf.add(root)
    return shelf
