"""Peak memory of one long recording, by what is done with it; each in a process of its own.

    python tools/soak_memory.py --minutes 10 --rate 192000 --channels 8 --folder /tmp/long

Writes a campaign whose one take is that long (24 bits; a sweep of four seconds near its beginning, a little noise all
along) and prints, for each use, the largest resident size of a process beyond that of the same process with a take of
12.5 s (as much as is read of the long one), and the bound that it must keep. Exit code 1 where a bound is broken.
"""

from __future__ import annotations

import argparse
import json
import resource
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import soundfile

SECONDS = 4.0
MIB = 2**20
BOUNDS_MIB = {"check": 64, "import": 64, "one channel": 64, "analyse": 64}
"""Beyond the samples themselves that a use must hold."""
HELD_CHANNELS = {"check": 0.0, "import": 0.0, "one channel": 1.0, "analyse": 0.0}
"""Channels of float64 that a use may hold at a time."""


def write_campaign(folder: Path, seconds: float, rate_hz: int, channels: int) -> Path:
    """Write a campaign with one take, in blocks."""
    from frusta.signal.sweep import Sweep, make_sweep

    shutil.rmtree(folder, ignore_errors=True)
    (folder / "recordings").mkdir(parents=True)
    tables = {
        "campaign": "campaign,title\nlong,Long\n",
        "materials": "material,name\nrush,Rush\n",
        "profiles": "profile,shape,neck_radius_mm,rim_radius_mm,depth_mm,bow_mm,wall_mm\n"
        "st80,straight,13,40,24,0,0.8\n",
        "rigs": "rig,mounting,microphone_distance_mm,coil_mass_g,full_scale_pa\njetty,free,150,2.9,40\n",
        "sessions": "session,rig,date\ns1,jetty,2026-05-04\n",
        "sweeps": f"sweep,start_hz,stop_hz,duration_s,sample_rate_hz\nlong,20,20000,{SECONDS},{rate_hz}\n",
        "specimens": "specimen,kind,material,profile,mass_g\nrush-1,cone,rush,st80,4.9\n",
        "takes": "take,specimen,session,sweep,seating,recording,microphone_channel\n"
        f"a,rush-1,s1,long,1,recordings/a.wav,{channels}\n",
    }
    for name, text in tables.items():
        (folder / f"{name}.csv").write_text(text)
    sweep = make_sweep(Sweep(20, 20000, SECONDS, sample_rate_hz=rate_hz))
    rng = np.random.default_rng(5)
    left, step = int(seconds * rate_hz), 2**19
    form = "RF64" if left * channels > 2**30 else "WAV"
    with soundfile.SoundFile(folder / "recordings/a.wav", "w", rate_hz, channels, "PCM_24", format=form) as file:
        begun = 0
        while begun < left:
            count = min(step, left - begun)
            block = 1e-4 * rng.standard_normal((count, 1)) * np.ones((1, channels))
            piece = sweep[begun : begun + count]
            block[: piece.size] += 0.3 * piece[:, None]
            file.write(block)
            begun += count
    return folder


def use(what: str, folder: Path) -> None:
    """Do one thing, and print the largest resident size so far, MiB."""
    if what == "check":
        from frusta.campaign.check import check_package

        assert not check_package(folder).faults, check_package(folder).lines()
    elif what == "import":
        from frusta.campaign.importing import Choices, apply_import, plan_import

        other = folder.with_name(folder.name + "-into")
        shutil.copytree(folder, other, ignore=lambda _, names: [n for n in names if n in ("recordings", "takes.csv")])
        plan = plan_import([folder / "recordings/a.wav"], other, Choices(specimen="rush-1", microphone_channel=1))
        apply_import(plan)
        shutil.rmtree(other)
    elif what == "one channel":
        from frusta.campaign.recordings import open_recording

        open_recording(folder / "recordings/a.wav").read(1)
    else:
        from frusta.campaign.analysis import analyse

        reading = analyse(folder, cores=1).findings.readings[0]
        print(reading.quality, [f.fault for f in reading.faults], reading.reasons.get("level_db"), file=sys.stderr)
    print(json.dumps(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024))


def peak_mib(what: str, folder: Path) -> float:
    command = [sys.executable, __file__, "--use", what, "--folder", str(folder)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        raise SystemExit(done.stderr[-3000:])
    if done.stderr.strip():
        print(" ", done.stderr.strip())
    return float(json.loads(done.stdout))


def main() -> None:
    wanted = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    wanted.add_argument("--minutes", type=float, default=10.0)
    wanted.add_argument("--rate", type=int, default=192000)
    wanted.add_argument("--channels", type=int, default=8)
    wanted.add_argument("--folder", type=Path, default=Path(tempfile.gettempdir()) / "frusta-long")
    wanted.add_argument("--use", choices=list(BOUNDS_MIB))
    told = wanted.parse_args()
    if told.use:
        use(told.use, told.folder)
        return
    short = write_campaign(told.folder / "short", 12.5, told.rate, told.channels)
    long = write_campaign(told.folder / "long", told.minutes * 60, told.rate, told.channels)
    one_channel_mib = told.minutes * 60 * told.rate * 8 / MIB
    size_mib = (long / "recordings/a.wav").stat().st_size / MIB
    print(f"{told.minutes:g} min, {told.rate} Hz, {told.channels} channels: file {size_mib:.0f} MiB")
    broken = False
    for what, most in BOUNDS_MIB.items():
        bound = most + HELD_CHANNELS[what] * one_channel_mib
        more = peak_mib(what, long) - peak_mib(what, short)
        broken |= more > bound
        print(f"{what}: {more:.0f} MiB more than with 12.5 s, bound {bound:.0f} MiB{' BROKEN' if more > bound else ''}")
    sys.exit(int(broken))


if __name__ == "__main__":
    main()
