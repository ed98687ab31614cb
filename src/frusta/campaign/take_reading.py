"""One take from its recording to its rows: what a worker does."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from frusta.campaign.calibration_file import CalibrationTable
from frusta.campaign.curve_store import save_curves
from frusta.campaign.curves import CURVE_COLUMNS, TakeCurves
from frusta.campaign.figures import READING_KEYS
from frusta.campaign.findings import BlipRow, ModeRow, Reading, TakeFault
from frusta.campaign.package import Package
from frusta.campaign.resolve import Kind, LoadedTake, ResolvedTake, load_take
from frusta.campaign.rigid_response import AIR_C, Rigid, rigid_response
from frusta.errors import PackageError, ParameterError
from frusta.signal.calibration import Calibration
from frusta.signal.reading import Conditions, TakeReading, TakeSignals, read_take

FAINTEST = 1e-9
"""Envelope below which nothing is told apart, re its peak."""

NONE = np.empty(0)

NOT_FREED = "needs an estimate of the material with air, motor and joint taken out, which has not been made"


@dataclass(frozen=True)
class Job:
    """All that a worker needs to read one take; no samples.

    Attributes
    ----------
    package : Package
        Root of the package, its tables empty.
    resolved : ResolvedTake
        The take with what holds for it.
    calibration : CalibrationTable or None
        Of its microphone.
    gate_s : float or None
        Reflection-free time set by hand.
    curves_folder : Path
        Where the curves go.
    """

    package: Package
    resolved: ResolvedTake
    calibration: CalibrationTable | None
    gate_s: float | None
    curves_folder: Path


@dataclass(frozen=True)
class TakeRows:
    """The rows of one take.

    Attributes
    ----------
    reading : Reading
        Its figures.
    modes : tuple of ModeRow
        Its resonances.
    blips : tuple of BlipRow
        Its narrow features.
    damage : str or None
        Why the recording could not be read; the reading is then empty.
    """

    reading: Reading
    modes: tuple[ModeRow, ...] = ()
    blips: tuple[BlipRow, ...] = ()
    damage: str | None = None


def read_job(job: Job) -> TakeRows:
    """Read one take; its curves go to the job's folder.

    A recording that cannot be read is no error here: the other takes are read all the same.
    """
    resolved = job.resolved
    try:
        loaded = load_take(job.package, resolved)
        rigid = rigid_response(resolved)
        found = _in_the_file(read_take(_signals(loaded, resolved.kind), _conditions(job, rigid)), loaded)
    except (PackageError, ParameterError) as error:
        return _damaged(resolved, str(error))
    save_curves(job.curves_folder, resolved.take.take, _curves(found))
    return TakeRows(
        _reading(found, resolved, rigid), _modes(found, resolved.take.take), _blips(found, resolved.take.take)
    )


def _signals(loaded: LoadedTake, kind: Kind) -> TakeSignals:
    sweep = loaded.played.sweep if loaded.played else None
    return TakeSignals(
        recording=loaded.recording,
        sample_rate_hz=loaded.sample_rate_hz,
        reference=loaded.reference,
        played=loaded.played.samples if loaded.played and sweep is None else None,
        sweep=sweep,
        kind=kind,
        subtype_bits=loaded.bits,
    )


def _in_the_file(found: TakeReading, loaded: LoadedTake) -> TakeReading:
    """Times counted from the beginning of the file, where only a part of it was read."""
    if loaded.begin_s == 0.0:
        return found
    figures = dict(found.figures)
    if figures.get("delay_ms") is not None and loaded.reference is None:
        figures["delay_ms"] = 1e3 * loaded.begin_s + float(figures["delay_ms"] or 0.0)
    part = f"counted from {loaded.begin_s:.2f} s of the file"
    faults = tuple(dataclasses.replace(f, where=f"{f.where}, {part}" if f.where else part) for f in found.faults)
    return dataclasses.replace(found, figures=figures, faults=faults)


def _conditions(job: Job, rigid: Rigid) -> Conditions:
    resolved, table = job.resolved, job.calibration
    return Conditions(
        full_scale_pa=resolved.full_scale_pa,
        drive_gain_db=resolved.drive_gain_db,
        temperature_c=AIR_C if resolved.temperature_c is None else resolved.temperature_c,
        calibration=None if table is None else Calibration(table.frequency_hz, table.level_db, table.phase_deg),
        rigid=rigid.response,
        gate_s=job.gate_s,
    )


def _identity(resolved: ResolvedTake) -> dict[str, object]:
    take, specimen = resolved.take, resolved.specimen
    return {
        "take": take.take,
        "specimen": specimen.specimen,
        "kind": specimen.kind,
        "material": specimen.material,
        "recipe": specimen.recipe,
        "profile": specimen.profile,
        "session": take.session,
        "seating": take.seating,
    }


def _reasons_of_identity(resolved: ResolvedTake) -> dict[str, str]:
    named = {key: value for key, value in _identity(resolved).items() if value is None}
    return {key: f"{'takes' if key == 'session' else 'specimens'}.csv names none" for key in named}


def _damaged(resolved: ResolvedTake, damage: str) -> TakeRows:
    """A row for a recording that could not be read: every figure null with the reason."""
    fault = TakeFault(fault=_damage_word(damage), where=resolved.take.recording, what_to_do=_remedy(damage))
    reasons = _reasons_of_identity(resolved) | dict.fromkeys(READING_KEYS, damage)
    reading = Reading.model_validate(
        {**_identity(resolved), "quality": "repeat", "faults": (fault,), "reasons": reasons},
    )
    return TakeRows(reading, damage=damage)


def _damage_word(damage: str) -> str:
    """The fault word nearest to what is wrong with a file."""
    return "wrong-sweep" if "one sample rate" in damage else "truncated"


def _remedy(damage: str) -> str:
    """What an error says to do: the part after its last semicolon."""
    return damage.rpartition("; ")[2]


def _reading(found: TakeReading, resolved: ResolvedTake, rigid: Rigid) -> Reading:
    figures = {key: found.figures.get(key) for key in READING_KEYS}
    reasons = _reasons_of_identity(resolved)
    for key, value in figures.items():
        if value is None:
            reasons[key] = found.reasons.get(key, "not read")
    if rigid.reason and (rigid.response is None or figures["piston_limit_hz"] is not None):
        reasons["piston_limit_hz"] = rigid.reason
    uncertainties = {key: u for key, u in found.uncertainties.items() if key.removesuffix("_u") in figures}
    faults = tuple(TakeFault(fault=f.fault, where=f.where, what_to_do=f.what_to_do) for f in found.faults)
    return Reading.model_validate(
        {
            **_identity(resolved),
            **figures,
            **uncertainties,
            "quality": found.quality,
            "faults": faults,
            "reasons": reasons,
        }
    )


def _modes(found: TakeReading, take: str) -> tuple[ModeRow, ...]:
    keys = ("free_frequency_hz", "free_frequency_hz_u", "free_loss_factor", "free_loss_factor_u")
    return tuple(
        ModeRow(
            take=take,
            mode_number=number,
            circumferential_order=0,
            frequency_hz=mode.frequency_hz,
            frequency_hz_u=mode.frequency_hz_u,
            loss_factor=mode.loss_factor,
            loss_factor_u=mode.loss_factor_u,
            prominence_db=mode.prominence_db,
            reasons=dict.fromkeys(keys, NOT_FREED),
        )
        for number, mode in enumerate(sorted(found.modes, key=lambda m: m.frequency_hz), start=1)
    )


def _blips(found: TakeReading, take: str) -> tuple[BlipRow, ...]:
    """Narrow features as found; what causes them is weighed once all takes are known."""
    return tuple(
        BlipRow(
            take=take,
            frequency_hz=blip.frequency_hz,
            frequency_hz_u=blip.frequency_hz_u,
            height_db=blip.height_db,
            loss_factor=blip.loss_factor,
            loss_factor_u=blip.loss_factor_u,
        )
        for blip in found.blips
    )


def _curves(found: TakeReading) -> TakeCurves:
    """The reading's arrays under the names of the files; an absent curve is NaN, an absent table empty."""
    held, envelope, decay = found.curves, found.envelope, found.decay_map
    size = 0 if held is None else held.frequency_hz.size
    table = {name: _column(getattr(held, name, None), size) for name in CURVE_COLUMNS}
    level = NONE if envelope is None else np.asarray(envelope.envelope, dtype=np.float64)
    peak = float(level.max(initial=0.0))
    delay = np.asarray(found.group_delay, dtype=np.float64)
    return TakeCurves(
        table=table,
        impulse=np.asarray(found.impulse, dtype=np.float64),
        impulse_before_s=float(found.impulse_before_s),
        sample_rate_hz=round(found.sample_rate_hz),
        envelope_db=20 * np.log10(np.maximum(level / peak, FAINTEST)) if peak > 0 else NONE,
        envelope_start_s=0.0 if envelope is None or not level.size else float(envelope.time_s[0]),
        decay_time_ms=NONE if decay is None else 1e3 * np.asarray(decay.time_s, dtype=np.float64),
        decay_frequency_hz=NONE if decay is None else np.asarray(decay.frequency_hz, dtype=np.float64),
        decay_map_db=NONE.reshape(0, 0) if decay is None else np.asarray(decay.level_db, dtype=np.float64).T,
        group_delay_ms=1e3 * delay if delay.size == size else np.full(size, np.nan),
        reflection_free_s=math.nan if found.gate is None else float(found.gate.length_s),
    )


def _column(values: NDArray[np.float64] | None, size: int) -> NDArray[np.float64]:
    return np.full(size, np.nan) if values is None else np.asarray(values, dtype=np.float64)
