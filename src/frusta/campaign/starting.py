"""Start a package: headed tables, an example row in each, the sweep to play."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path

import soundfile

from frusta.campaign.atomic import write_folder_atomically
from frusta.campaign.rows import TABLES
from frusta.campaign.spreadsheet import write_raw
from frusta.campaign.tables import cell_text
from frusta.errors import OutputError
from frusta.signal.sweep import Sweep, make_sweep

SWEEP = Sweep(start_hz=20.0, stop_hz=20000.0, duration_s=6.0)
SWEEP_KEY = "log6"
SWEEP_FILE = f"sweeps/{SWEEP_KEY}.wav"
_EXAMPLE = "example row: write your own over it"

_README = """# A campaign of printed cones

Each table is plain CSV with units in the names of the columns; open them with any spreadsheet. Cells of optional
columns may stay empty, columns of your own may be added. Every table holds an example row: write your own over it.

1. campaign.csv, materials.csv, recipes.csv, profiles.csv, rigs.csv: what you ask, print and measure with.
2. specimens.csv: a row for each cone. Weigh it without its coil (mass_g), or with it (mass_with_coil_g).
3. sessions.csv: a row each time you sit down at the rig. Measure the check cone first and last.
4. Play {sweep} through the rig and record it at {rate} Hz. Start quiet: sweeps at measuring level can harm hearing,
   and coils get hot.
5. Put the recordings (WAV or FLAC) into the folder recordings and write a row for each into takes.csv, or let
   `frusta import FILES --into .` do so. A row looks like this (seating counts how often this cone was pushed on):

{take}
6. `frusta check .` names every fault with its place; `frusta analyse .` gives the findings.
"""


def start_package(folder: Path | str, *, today: date | None = None) -> list[str]:
    """Start a package in a new folder.

    The takes table has its header only: an example of a take without its recording would be a fault.
    The README shows one instead.

    Parameters
    ----------
    folder : Path or str
        Must not be there yet, or be empty.
    today : date, optional
        The date in the example rows; today where left out.

    Returns
    -------
    list of str
        What was made and what to do next, a line each.

    Raises
    ------
    OutputError
        If the folder holds something, or cannot be written.
    """
    folder = Path(folder)
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise OutputError(f"{folder}: must be a new or empty folder (something is there); choose another name")
    day = (today or date.today()).isoformat()
    write_folder_atomically(folder, lambda place: _fill(place, day))
    (folder / "recordings").mkdir(exist_ok=True)
    return [
        f"Started {folder}: {len(TABLES)} tables with an example row each, README.md, {SWEEP_FILE}",
        f"Write your materials, profiles, rig and specimens into the tables; play {SWEEP_FILE} and record each cone",
        f"Then: frusta import FILES --into {folder}, frusta check {folder}, frusta analyse {folder}",
    ]


def _fill(folder: Path, day: str) -> None:
    for name, rows in _examples(day).items():
        (folder / f"{name}.csv").write_bytes(_table(name, rows))
    (folder / "recordings").mkdir()
    (folder / "sweeps").mkdir()
    soundfile.write(folder / SWEEP_FILE, make_sweep(SWEEP), SWEEP.sample_rate_hz, subtype="PCM_24")
    take = _table(
        "takes",
        [
            {
                "take": "pla-st90-1-s1",
                "specimen": "pla-st90-1",
                "session": "s1",
                "sweep": SWEEP_KEY,
                "seating": 1,
                "recording": "recordings/pla-st90-1-s1.wav",
                "recording_is": "sweep",
                "microphone_channel": 1,
            }
        ],
    ).decode("utf-8")
    shown = "".join(f"       {line}\n" for line in take.splitlines())
    text = _README.format(sweep=SWEEP_FILE, rate=SWEEP.sample_rate_hz, take=shown)
    (folder / "README.md").write_bytes(text.encode("utf-8"))


def _table(name: str, rows: Sequence[Mapping[str, object]]) -> bytes:
    """A table with every column that is known, so that its header teaches them."""
    header = list(TABLES[name].model_fields)
    return write_raw(header, [[cell_text(row.get(column)) for column in header] for row in rows])


def _examples(day: str) -> dict[str, list[dict[str, object]]]:
    """Example rows; constants of the rig and masses are not made up, so their cells stay empty."""
    sweep = {n: getattr(SWEEP, n) for n in (f.name for f in dataclasses.fields(SWEEP))}
    cone = {"material": "pla", "recipe": "walls", "profile": "st90", "printed_on": day, "notes": _EXAMPLE}
    return {
        "campaign": [
            {
                "campaign": "my-cones",
                "title": "My cones",
                "question": "Which filament breaks up last, and which falls silent first?",
                "band_low_hz": 300,
                "band_high_hz": 6000,
                "licence": "CC-BY-4.0",
            }
        ],
        "materials": [{"material": "pla", "name": "PLA", "polymer": "PLA", "notes": _EXAMPLE}],
        "recipes": [
            {
                "recipe": "walls",
                "layer_mm": 0.2,
                "line_width_mm": 0.4,
                "nozzle_c": 215,
                "orientation": "neck-down",
                "notes": _EXAMPLE,
            }
        ],
        "profiles": [
            {
                "profile": "st90",
                "shape": "straight",
                "neck_radius_mm": 14.5,
                "rim_radius_mm": 45,
                "depth_mm": 30,
                "bow_mm": 0,
                "wall_mm": 0.8,
                "wall_rule": "normal",
                "cap": "none",
                "notes": _EXAMPLE,
            }
        ],
        "rigs": [{"rig": "bench", "mounting": "free", "microphone_distance_mm": 150, "notes": _EXAMPLE}],
        "sessions": [{"session": "s1", "rig": "bench", "date": day, "notes": _EXAMPLE}],
        "sweeps": [{"sweep": SWEEP_KEY, **sweep}],
        "specimens": [
            {"specimen": "pla-st90-1", "kind": "cone", **cone},
            {"specimen": "check-1", "kind": "check", **cone},
            {"specimen": "pla-stick-1", "kind": "coupon", **cone, "profile": None},
        ],
        "coupons": [
            {
                "specimen": "pla-stick-1",
                "coupon": "stick",
                "length_mm": 100,
                "width_mm": 10,
                "thickness_mm": 3,
                "orientation": "upright",
            }
        ],
        "history": [{"specimen": "pla-st90-1", "date": day, "event": "printed", "details": _EXAMPLE}],
        "takes": [],
        "overhangs": [{"material": "pla", "recipe": "walls", "notes": _EXAMPLE}],
    }
