"""Write what the virtual rig records as an ordinary package: tables, calibration, 24-bit recordings.

Nothing in the package says that its rig is virtual, and nothing downstream may know.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

import numpy as np
import soundfile

from frusta.bench.virtual import Conditions, VirtualRig
from frusta.bench.virtual_cone import VirtualCone
from frusta.campaign.atomic import write_folder_atomically
from frusta.campaign.parallel import map_batches
from frusta.campaign.rows import Profile, Row, SweepRow, Take
from frusta.campaign.tables import write_table
from frusta.cone.profile import ConeProfile
from frusta.signal.sweep import Sweep, make_sweep

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class PlannedTake:
    """One recording to be made.

    Parameters
    ----------
    take, specimen, session : str
    seating : int
    taken_at : str
    mishap : str, optional
        What goes wrong.
    loopback : bool, optional
        Else as the session's.
    tap : bool
        Struck, not swept.
    suffix : str
        File type: flac or wav.
    notes : str, optional
    """

    take: str
    specimen: str
    session: str
    seating: int
    taken_at: str = ""
    mishap: str | None = None
    loopback: bool | None = None
    tap: bool = False
    suffix: str = "flac"
    notes: str | None = None

    @property
    def recording(self) -> str:
        """Path of the recording in the package."""
        return f"recordings/{self.take}.{self.suffix}"


@dataclass(frozen=True)
class VirtualCampaign:
    """A campaign before it is recorded.

    Parameters
    ----------
    rig : VirtualRig
        With the truth of every specimen.
    sweep_key : str
    sweep : Sweep
    conditions : mapping of str to Conditions
        By session.
    plan : sequence of PlannedTake
        In the order of the bench.
    tables : mapping of str to rows
        Every table but sweeps and takes.
    files : mapping of str to bytes
        Further files of the package: the microphone's calibration.
    """

    rig: VirtualRig
    sweep_key: str
    sweep: Sweep
    conditions: Mapping[str, Conditions]
    plan: Sequence[PlannedTake]
    tables: Mapping[str, Sequence[Row]]
    files: Mapping[str, bytes] = field(default_factory=dict)

    def conditions_of(self, planned: PlannedTake) -> Conditions:
        """Return what a take is made under."""
        found = self.conditions[planned.session]
        if planned.loopback is None or planned.loopback == found.loopback:
            return found
        return Conditions(**{**vars(found), "loopback": planned.loopback})


@dataclass(frozen=True)
class _Job:
    rig: VirtualRig
    sweep: Sweep
    conditions: Conditions
    planned: PlannedTake


def write_campaign(
    campaign: VirtualCampaign, folder: Path | str, *, cores: int | None = None, progress: Progress | None = None
) -> Path:
    """Record every take and write the package.

    Parameters
    ----------
    campaign : VirtualCampaign
    folder : Path or str
        New or empty; files of the same name are replaced.
    cores : int, optional
        Processes; all by default. The recordings are the same for any number.
    progress : callable, optional
        Called with takes done and their total.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    OutputError
        If it cannot be written; then nothing is.
    """
    return write_folder_atomically(folder, lambda place: _fill(campaign, place, cores, progress))


def _fill(campaign: VirtualCampaign, place: Path, cores: int | None, progress: Progress | None) -> None:
    (place / "recordings").mkdir()
    for name, rows in campaign.tables.items():
        if rows:
            (place / f"{name}.csv").write_bytes(write_table(type(rows[0]), rows))
    (place / "sweeps.csv").write_bytes(write_table(SweepRow, [sweep_row(campaign.sweep_key, campaign.sweep)]))
    (place / "takes.csv").write_bytes(write_table(Take, [_take_row(campaign, planned) for planned in campaign.plan]))
    for name, content in campaign.files.items():
        (place / name).write_bytes(content)
    jobs = [_Job(campaign.rig, campaign.sweep, campaign.conditions_of(p), p) for p in campaign.plan]
    map_batches(partial(_record, place), jobs, cores, progress)


def _record(place: Path, job: _Job) -> None:
    planned = job.planned
    rate = job.sweep.sample_rate_hz
    if planned.tap:
        temperature = job.conditions.temperature_c
        sound = job.rig.record_tap(planned.specimen, rate, take=planned.take, temperature_c=temperature)
        soundfile.write(place / planned.recording, sound, rate, subtype="PCM_24")
        return
    samples = job.rig.record(
        planned.specimen,
        planned.seating,
        make_sweep(job.sweep),
        rate,
        take=planned.take,
        conditions=job.conditions,
        mishap=planned.mishap,
    )
    soundfile.write(place / planned.recording, samples, rate, subtype="PCM_24")


def _take_row(campaign: VirtualCampaign, planned: PlannedTake) -> Take:
    conditions = campaign.conditions_of(planned)
    if planned.tap:
        return Take(
            take=planned.take,
            specimen=planned.specimen,
            session=planned.session,
            seating=planned.seating,
            recording=planned.recording,
            recording_is="tap",
            microphone_channel=1,
            taken_at=planned.taken_at or None,
            notes=planned.notes,
        )
    return Take(
        take=planned.take,
        specimen=planned.specimen,
        session=planned.session,
        sweep=campaign.sweep_key,
        seating=planned.seating,
        recording=planned.recording,
        recording_is="sweep",
        microphone_channel=1,
        reference_channel=2 if conditions.loopback else None,
        drive_gain_db=conditions.drive_gain_db,
        taken_at=planned.taken_at or None,
        notes=planned.notes,
    )


def sweep_row(key: str, sweep: Sweep) -> SweepRow:
    """Return the row of a sweep made here."""
    return SweepRow(
        sweep=key,
        start_hz=sweep.start_hz,
        stop_hz=sweep.stop_hz,
        duration_s=sweep.duration_s,
        lead_in_s=sweep.lead_in_s,
        tail_s=sweep.tail_s,
        fade_in_s=sweep.fade_in_s,
        fade_out_s=sweep.fade_out_s,
        level_dbfs=sweep.level_dbfs,
        sample_rate_hz=sweep.sample_rate_hz,
    )


def profile_row(key: str, profile: ConeProfile) -> Profile:
    """Return the row of a drawing, millimetres rounded to a micrometre."""
    return Profile(
        profile=key,
        shape=profile.shape,
        neck_radius_mm=_mm(profile.neck_radius_m),
        rim_radius_mm=_mm(profile.rim_radius_m),
        depth_mm=_mm(profile.depth_m),
        bow_mm=_mm(profile.bow_m),
        wall_mm=_mm(profile.wall_m),
        wall_rule=profile.wall_rule,
        cap=profile.cap,
    )


def weighed_g(cone: VirtualCone, rng: np.random.Generator, scale_g: float = 0.01) -> float:
    """Return what a pocket scale reads for the bare cone, g."""
    return round(1e3 * cone.mass_kg + scale_g * float(rng.standard_normal()), 2)


def callipered_mm(cone: VirtualCone, place: float, rng: np.random.Generator, error_mm: float = 0.015) -> float:
    """Return what callipers read for the wall at u = ``place`` (0 neck, 1 rim), mm."""
    wall = float(cone.profile.thickness_m(np.array([place]))[0])
    return round(1e3 * wall + error_mm * float(rng.standard_normal()), 2)


def _mm(length_m: float) -> float:
    return round(1e3 * length_m, 3)
