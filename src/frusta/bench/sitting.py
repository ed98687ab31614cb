"""What a sitting at the bench is to do: from the package's specimens, or from a plan that was saved, to turns."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date
from pathlib import Path

from frusta.bench.events import Added, Began, Turn
from frusta.bench.order import seating_order, with_check_cone
from frusta.bench.tables import edit_table
from frusta.campaign.atomic import write_atomically
from frusta.campaign.package import Package, open_package
from frusta.campaign.resolve import law_of
from frusta.campaign.rows import SLUG_PATTERN, Rig, Specimen
from frusta.campaign.spreadsheet import read_raw, write_raw
from frusta.campaign.tables import cell_text
from frusta.errors import PackageError, ParameterError

PLAN_FILE = "plan.csv"
SEATINGS = 2
SEED = 1
SLOW = "-slow"
"""Stands between the key of a sweep and the factor by which `--slow` made it slower."""


def group_of(row: Specimen) -> str:
    """Return what a specimen is compared as: material, recipe and profile; a driver is its own group."""
    if row.material is None:
        return row.specimen
    return "/".join(word for word in (row.material, row.recipe, row.profile) if word)


def groups_to_seat(package: Package) -> dict[str, tuple[str, ...]]:
    """Return specimens that go on the rig, by group; check cones and coupons are not among them."""
    groups: dict[str, list[str]] = {}
    for row in package.specimens.values():
        if row.kind in ("cone", "driver"):
            groups.setdefault(group_of(row), []).append(row.specimen)
    return {name: tuple(prints) for name, prints in groups.items()}


def check_cone(package: Package) -> str | None:
    """Return the check cone, the first if there are several."""
    return next((row.specimen for row in package.specimens.values() if row.kind == "check"), None)


def seatings_made(package: Package) -> dict[str, int]:
    """Return the highest seating number of each specimen in takes.csv."""
    made: dict[str, int] = {}
    for take in package.takes.values():
        if (take.recording_is or "sweep") != "tap":
            made[take.specimen] = max(made.get(take.specimen, 0), take.seating)
    return made


def planned_turns(package: Package, seatings: int = SEATINGS, seed: int = SEED) -> tuple[Turn, ...]:
    """Return the turns that are still to come, the check cone left out.

    A saved plan (``plan.csv`` of the package) goes before; takes that are kept are not asked for again.

    Raises
    ------
    PackageError
        If the saved plan cannot be read, or names a specimen that is not there.
    """
    saved = read_plan(package)
    if saved is None:
        return seating_order(groups_to_seat(package), seatings, seed, seatings_made(package))
    have = {(t.specimen, t.seating) for t in package.takes.values()}
    return tuple(turn for turn in saved if (turn.specimen, turn.seating) not in have)


def read_plan(package: Package) -> tuple[Turn, ...] | None:
    """Return the saved plan, or None if there is none.

    Raises
    ------
    PackageError
        If the plan is no table, or a row names no specimen or seating.
    """
    path = package.root / PLAN_FILE
    if not path.exists():
        return None
    raw = read_raw("plan", path.read_bytes(), ("specimen", "seating"))
    turns = []
    for cells, number in zip(raw.rows, raw.numbers, strict=True):
        row = dict(zip(raw.header, cells, strict=True))
        specimen, seating = row.get("specimen", ""), row.get("seating", "")
        if specimen not in package.specimens or not seating.isdigit():
            raise PackageError(
                f"{PLAN_FILE}, row {number}: must name a specimen of specimens.csv and a seating (got {specimen!r}, "
                f"{seating!r}); correct it, or remove {PLAN_FILE} and plan anew"
            )
        turns.append(Turn(specimen, int(seating)))
    return tuple(turns)


def save_plan(root: Path, turns: Sequence[Turn]) -> Path:
    """Write a plan into a package; `frusta record` follows it."""
    rows = [[t.specimen, str(t.seating)] for t in turns]
    return write_atomically(root / PLAN_FILE, write_raw(["specimen", "seating"], rows))


def the_rig(package: Package, key: str | None = None) -> Rig:
    """Return the rig to record with.

    Raises
    ------
    PackageError
        If it is not there, or there are several and none was named.
    """
    if key is not None and key in package.rigs:
        return package.rigs[key]
    if key is None and len(package.rigs) == 1:
        return next(iter(package.rigs.values()))
    listed = ", ".join(package.rigs) or "none: fill in a row"
    raise PackageError(f"rig must be one of rigs.csv (got {key!r}; there are: {listed}); name one with --rig")


def the_sweep(package: Package, key: str | None = None) -> str:
    """Return the sweep to play.

    Raises
    ------
    PackageError
        If it is not there, or there are several and none was named.
    """
    if key is not None and key in package.sweeps:
        return key
    plain = [name for name in package.sweeps if not _is_slowed(name, package)]
    if key is None and len(plain) == 1:
        return plain[0]
    listed = ", ".join(package.sweeps) or "none: fill in a row"
    raise PackageError(f"sweep must be one of sweeps.csv (got {key!r}; there are: {listed}); name one with --sweep")


def _is_slowed(name: str, package: Package) -> bool:
    """Whether a row came from another one through ``--slow``."""
    stem, found, factor = name.rpartition(SLOW)
    return bool(found) and stem in package.sweeps and re.fullmatch(r"[0-9.]+", factor) is not None


def sweep_rate_hz(package: Package, key: str) -> int:
    """Return the rate at which a sweep is played: its own, its file's, or 48 kHz where it names none."""
    row = package.sweeps[key]
    if row.signal is not None:
        return package.open_file(row.signal).sample_rate_hz
    return row.sample_rate_hz or 48000


def slow_sweep(package: Package, key: str, factor: float) -> str:
    """Return the key of a sweep slower by a factor; its row is added where it is not there yet.

    Raises
    ------
    ParameterError
        If the sweep is a file.
    """
    row = package.sweeps[key]
    law = law_of(row, row.sample_rate_hz or 48000)
    if law is None:
        raise ParameterError(f"sweep {key} is a file and cannot be slowed down; give the slow one its own row")
    slow = f"{key}{SLOW}{factor:g}".replace("+", "")
    cells = {name: cell_text(value) for name, value in row.model_dump().items() if value is not None}
    edit_table(package.root, "sweeps", [cells | {"sweep": slow, "duration_s": f"{law.duration_s * factor:.6g}"}])
    return slow


def begin_sitting(
    package: Package,
    rig: Rig,
    turns: Sequence[Turn],
    today: date,
    *,
    levels_db: tuple[float, ...] = (0.0,),
    equal_voltage: bool = False,
    full_scale_pa: float | None = None,
    temperature_c: float | None = None,
    humidity_pct: float | None = None,
) -> Began:
    """Write a new session into sessions.csv and return how the sitting begins.

    Parameters
    ----------
    package : Package
    rig : Rig
    turns : sequence of Turn
        Without the check cone, which is put first and last (unless it is the one that is tested).
    today : date
    levels_db : tuple of float
        Of a series, dB re the levelled gain.
    equal_voltage : bool
        Do not level: the same voltage for all.
    full_scale_pa, temperature_c, humidity_pct : float, optional
        Of this session.

    Raises
    ------
    OutputError
        If it cannot be written.
    """
    made = seatings_made(package)
    check = check_cone(package)
    testing = any(t.why == "seating test" for t in turns)
    queue = tuple(turns) if testing else with_check_cone(turns, check, made.get(check or "", 0))
    session = session_key(package, today)
    cells = {"session": session, "rig": rig.rig, "date": today.isoformat()}
    known = {"full_scale_pa": full_scale_pa, "temperature_c": temperature_c, "humidity_pct": humidity_pct}
    cells |= {name: f"{value:.6g}" for name, value in known.items() if value is not None}
    edit_table(package.root, "sessions", [cells])
    return Began(
        session,
        queue,
        levels_db,
        tuple(s for s in dict.fromkeys(t.specimen for t in queue) if _unweighed(package.specimens[s])),
        "equal voltage" if equal_voltage else "equal level",
    )


def add_specimen(root: Path, specimen: str, like: str | None = None, seatings: int = SEATINGS) -> Added:
    """Return the event by which a specimen joins; a new one gets a row in specimens.csv.

    Parameters
    ----------
    root : Path
        Folder of the package.
    specimen : str
        Its key.
    like : str, optional
        Of a new one: the specimen whose kind, material, recipe and profile it shares.
    seatings : int
        Seatings wanted.

    Raises
    ------
    PackageError
        If it is new and nothing is named that it is like, or its key is none.
    """
    package = open_package(root)
    if specimen not in package.specimens:
        pattern = package.specimens.get(like or "")
        if pattern is None or not re.fullmatch(SLUG_PATTERN, specimen):
            raise PackageError(
                f"a new specimen must have a key (a-z, 0-9, '.', '_', '-') and one it is like (got {specimen!r} like "
                f"{like!r}); type, for instance: pla-st90-4 pla-st90-1"
            )
        cells = {"specimen": specimen, "kind": pattern.kind}
        shared = {name: getattr(pattern, name) for name in ("material", "recipe", "profile")}
        edit_table(root, "specimens", [cells | {k: v for k, v in shared.items() if v}])
        return Added(specimen, seatings)
    made = seatings_made(package).get(specimen, 0)
    return Added(specimen, seatings, made + 1, _unweighed(package.specimens[specimen]))


def mass_cell(root: Path, specimen: str, column: str) -> str:
    """Return what specimens.csv says in a cell of a mass."""
    value = getattr(open_package(root).specimens[specimen], column)
    return "" if value is None else cell_text(value)


def session_key(package: Package, today: date) -> str:
    """Return a key that no session has: the date, and a letter from the second on that day."""
    day = today.isoformat()
    names = [day, *(f"{day}-{letter}" for letter in "bcdefghijklmnopqrstuvwxyz")]
    return next((n for n in names if n not in package.sessions), f"{day}-{len(package.sessions) + 1}")


def _unweighed(row: Specimen) -> bool:
    return row.kind in ("cone", "check") and row.mass_g is None and row.mass_with_coil_g is None
