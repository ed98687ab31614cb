"""Everything that holds for one take, with the rules of precedence applied.

A session's full scales override its rig's; a specimen's coil overrides the rig's; the bare cone's mass is
``mass_g``, else ``mass_with_coil_g`` less the coil.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from frusta.campaign.calibration_file import CalibrationTable, read_calibration
from frusta.campaign.long_recording import part_with_sweep
from frusta.campaign.package import Package
from frusta.campaign.recordings import Recording
from frusta.campaign.rows import (
    Coupon,
    Material,
    Profile,
    Recipe,
    Rig,
    Session,
    Specimen,
    SweepRow,
    Take,
)
from frusta.errors import PackageError, ParameterError
from frusta.signal.sweep import Sweep, make_sweep

Floats = NDArray[np.float64]
Kind = Literal["sweep", "impulse", "tap"]


@dataclass(frozen=True)
class ResolvedTake:
    """A take with all rows and constants that hold for it; None is what nobody knows.

    Attributes
    ----------
    take, specimen, rig : rows
        Always there.
    material, recipe, profile, coupon, session, sweep : rows or None
        Where named.
    kind : {"sweep", "impulse", "tap"}
        What the recording is.
    microphone_channel : int or None
        From 1; None where it is not named: then the first that is neither reference nor current.
    reference_channel, current_channel : int or None
        From 1.
    full_scale_pa, drive_full_scale_v : float or None
        Peak pressure and peak coil voltage at digital full scale.
    drive_gain_db : float
        Gain of the drive, 0 where left empty.
    temperature_c, humidity_pct : float or None
        Of the session.
    cone_mass_kg, cone_mass_u_kg : float or None
        The specimen without its coil and its standard uncertainty.
    coil_mass_kg, coil_resistance_ohm, coil_inductance_h : float or None
        The specimen's, else the rig's.
    """

    take: Take
    specimen: Specimen
    rig: Rig
    material: Material | None
    recipe: Recipe | None
    profile: Profile | None
    coupon: Coupon | None
    session: Session | None
    sweep: SweepRow | None
    kind: Kind
    microphone_channel: int | None
    reference_channel: int | None
    current_channel: int | None
    full_scale_pa: float | None
    drive_full_scale_v: float | None
    drive_gain_db: float
    temperature_c: float | None
    humidity_pct: float | None
    cone_mass_kg: float | None
    cone_mass_u_kg: float | None
    coil_mass_kg: float | None
    coil_resistance_ohm: float | None
    coil_inductance_h: float | None

    def microphone_of(self, recording: Recording) -> int:
        """Return the microphone's channel in a recording.

        Raises
        ------
        PackageError
            If all channels are reference and current.
        """
        if self.microphone_channel is not None:
            return self.microphone_channel
        taken = {self.reference_channel, self.current_channel}
        free = [c for c in range(1, recording.channels + 1) if c not in taken]
        if not free:
            raise PackageError(
                f"{recording.name}: must have a channel for the microphone (it has {recording.channels}, all of "
                "them named as reference or current); correct the channels in takes.csv"
            )
        return free[0]


@dataclass(frozen=True)
class Played:
    """What was played, at the rate at which it was recorded.

    Attributes
    ----------
    samples : ndarray, shape (n,)
        Full scale is 1.0.
    sweep : Sweep or None
        Its law where it was made here; None for a file, which must be fitted before harmonics are believed.
    """

    samples: Floats
    sweep: Sweep | None


@dataclass(frozen=True)
class LoadedTake:
    """The samples of a take.

    Attributes
    ----------
    recording : ndarray, shape (n,)
        The microphone.
    reference, current : ndarray, shape (n,), or None
        Loopback of what was played, and coil current, where recorded.
    played : Played or None
        What was played, where known.
    sample_rate_hz : int
        Of all of them.
    bits : int
        What a sample resolves.
    begin_s : float
        Where in the file the samples begin, s: what was recorded long before and after the sweep is left out.
    """

    recording: Floats
    reference: Floats | None
    current: Floats | None
    played: Played | None
    sample_rate_hz: int
    bits: int
    begin_s: float = 0.0


def resolve_take(package: Package, take: Take | str) -> ResolvedTake:
    """Return everything that holds for a take.

    Parameters
    ----------
    package : Package
        An opened package; its links have been checked.
    take : Take or str
        The row or its key.
    """
    row = package.takes[take] if isinstance(take, str) else take
    specimen = package.specimens[row.specimen]
    session = package.sessions[row.session] if row.session else None
    rig = package.rigs[session.rig if session else str(row.rig)]
    coil_mass_g = _first(specimen.coil_mass_g, rig.coil_mass_g)
    mass_g = cone_mass_g(specimen, rig)
    inductance_mh = _first(specimen.coil_inductance_mh, rig.coil_inductance_mh)
    return ResolvedTake(
        take=row,
        specimen=specimen,
        rig=rig,
        material=package.materials[specimen.material] if specimen.material else None,
        recipe=package.recipes[specimen.recipe] if specimen.recipe else None,
        profile=package.profiles[specimen.profile] if specimen.profile else None,
        coupon=package.coupons.get(specimen.specimen),
        session=session,
        sweep=package.sweeps[row.sweep] if row.sweep else None,
        kind=row.recording_is or "sweep",
        microphone_channel=row.microphone_channel,
        reference_channel=row.reference_channel,
        current_channel=row.current_channel,
        full_scale_pa=_first(session.full_scale_pa if session else None, rig.full_scale_pa),
        drive_full_scale_v=_first(session.drive_full_scale_v if session else None, rig.drive_full_scale_v),
        drive_gain_db=row.drive_gain_db or 0.0,
        temperature_c=session.temperature_c if session else None,
        humidity_pct=session.humidity_pct if session else None,
        cone_mass_kg=_scaled(mass_g, 1e-3),
        cone_mass_u_kg=_scaled(specimen.mass_u_g, 1e-3),
        coil_mass_kg=_scaled(coil_mass_g, 1e-3),
        coil_resistance_ohm=_first(specimen.coil_resistance_ohm, rig.coil_resistance_ohm),
        coil_inductance_h=_scaled(inductance_mh, 1e-3),
    )


def cone_mass_g(specimen: Specimen, rig: Rig | None = None) -> float | None:
    """Return the mass of a specimen without its coil, g, or None where it cannot be had.

    Parameters
    ----------
    specimen : Specimen
        Its own ``mass_g`` is taken first.
    rig : Rig, optional
        Where every coil is alike, its ``coil_mass_g`` is subtracted from ``mass_with_coil_g``.
    """
    if specimen.mass_g is not None:
        return specimen.mass_g
    coil_g = _first(specimen.coil_mass_g, rig.coil_mass_g if rig else None)
    if specimen.mass_with_coil_g is None or coil_g is None:
        return None
    bare_g = specimen.mass_with_coil_g - coil_g
    return bare_g if bare_g > 0 else None


def calibration_of(package: Package, rig: Rig) -> CalibrationTable | None:
    """Return the calibration of a rig's microphone, or None where it has none.

    Raises
    ------
    PackageError
        If the file is missing or cannot be used.
    """
    if rig.microphone_calibration is None:
        return None
    return read_calibration(package.path_of(rig.microphone_calibration), rig.microphone_calibration)


def law_of(row: SweepRow, sample_rate_hz: int) -> Sweep | None:
    """Return the law of a sweep made here, or None for one that is a file.

    Cells left empty take the values of `frusta.signal.sweep.Sweep`; an empty sample rate takes the recording's.

    Parameters
    ----------
    row : SweepRow
        The row.
    sample_rate_hz : int
        Rate of the recording.

    Raises
    ------
    PackageError
        If its numbers make no sweep.
    """
    if row.signal is not None:
        return None
    names = {f.name for f in dataclasses.fields(Sweep)}
    given = {n: getattr(row, n) for n in names if getattr(row, n) is not None}
    given.setdefault("sample_rate_hz", sample_rate_hz)
    try:
        return Sweep(**given)
    except (ParameterError, TypeError) as error:
        raise PackageError(f"sweeps.csv, {row.sweep}: {error}") from error


def played_of(package: Package, row: SweepRow, sample_rate_hz: int) -> Played:
    """Return what was played.

    Parameters
    ----------
    package : Package
        Where a file would be.
    row : SweepRow
        The sweep; of a file with several channels the first is taken.
    sample_rate_hz : int
        Rate of the recording.

    Raises
    ------
    PackageError
        If the rate is not the sweep's, or its file cannot be used.
    """
    law = law_of(row, sample_rate_hz)
    if law is not None:
        _refuse_rate(row, law.sample_rate_hz, sample_rate_hz)
        return Played(make_sweep(law), law)
    file = package.open_file(str(row.signal))
    _refuse_rate(row, file.sample_rate_hz, sample_rate_hz)
    return Played(file.read(1), None)


def load_take(package: Package, resolved: ResolvedTake) -> LoadedTake:
    """Read the samples of a take: only the channels that are named, in blocks.

    Parameters
    ----------
    package : Package
        The package.
    resolved : ResolvedTake
        From `resolve_take`.

    Raises
    ------
    PackageError
        If the recording is damaged, has not the channels named, or its rate is not the sweep's.
    """
    recording = package.open_recording(resolved.take)
    microphone = resolved.microphone_of(recording)
    wanted = [microphone, resolved.reference_channel, resolved.current_channel]
    channels = tuple(c for c in wanted if c is not None)
    played = None
    if resolved.sweep is not None and resolved.kind == "sweep":
        played = played_of(package, resolved.sweep, recording.sample_rate_hz)
    start, count = 0, recording.frames
    if resolved.kind == "sweep":
        heard = resolved.reference_channel or microphone
        start, count = part_with_sweep(recording, heard, played.samples if played else None)
    samples = dict(zip(channels, recording.read_channels(channels, start=start, frames=count), strict=True))
    return LoadedTake(
        recording=samples[microphone],
        reference=samples.get(resolved.reference_channel) if resolved.reference_channel else None,
        current=samples.get(resolved.current_channel) if resolved.current_channel else None,
        played=played,
        sample_rate_hz=recording.sample_rate_hz,
        bits=recording.bits,
        begin_s=start / recording.sample_rate_hz,
    )


def _refuse_rate(row: SweepRow, sweep_hz: int, recording_hz: int) -> None:
    if sweep_hz != recording_hz:
        raise PackageError(
            f"sweeps.csv, {row.sweep}: sweep and recording must have one sample rate (sweep {sweep_hz} Hz, recording "
            f"{recording_hz} Hz); record at the sweep's rate, or name the sweep that was played"
        )


def _first(*values: float | None) -> float | None:
    return next((v for v in values if v is not None), None)


def _scaled(value: float | None, factor: float) -> float | None:
    return None if value is None else value * factor
