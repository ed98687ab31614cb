"""What a take is: its samples, and what must be known besides them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from frusta.errors import ParameterError
from frusta.signal.calibration import Calibration
from frusta.signal.level import RigidResponse
from frusta.signal.sweep import Sweep

Floats = NDArray[np.float64]
Kind = Literal["sweep", "impulse", "tap"]


@dataclass(frozen=True)
class TakeSignals:
    """The samples of one take.

    Attributes
    ----------
    recording : ndarray, shape (n,)
        The microphone, re digital full scale.
    sample_rate_hz : float
        Of every signal here.
    reference : ndarray, shape (n,), or None
        A loopback of what was played, recorded beside the microphone.
    played : ndarray, shape (m,), or None
        What was played, where it comes as a file.
    sweep : Sweep or None
        What was played, where it was made here.
    kind : {"sweep", "impulse", "tap"}
        What the recording is.
    subtype_bits : int or None
        Bits of a sample of the file; None if unknown or floating point.
    """

    recording: Floats
    sample_rate_hz: float
    reference: Floats | None = None
    played: Floats | None = None
    sweep: Sweep | None = None
    kind: Kind = "sweep"
    subtype_bits: int | None = None


@dataclass(frozen=True)
class Conditions:
    """What must be known besides the samples.

    Attributes
    ----------
    full_scale_pa : float or None
        Peak pressure at digital full scale, Pa; None: levels are relative.
    drive_gain_db : float
        Gain of the drive during the take, dB; taken off the level.
    temperature_c : float
        Of the air, degrees Celsius.
    calibration : Calibration or None
        Of the microphone.
    rigid : RigidResponse or None
        The rigid cone's own response.
    gate_s : float or None
        Length of the gate set by hand, s.
    """

    full_scale_pa: float | None = None
    drive_gain_db: float = 0.0
    temperature_c: float = 20.0
    calibration: Calibration | None = None
    rigid: RigidResponse | None = None
    gate_s: float | None = None


def signals_of(signals: TakeSignals) -> list[Floats]:
    """Return the signals of a take that its transform must hold."""
    given = [signals.recording, signals.reference, signals.played]
    sizes = [s for s in given if s is not None]
    if signals.sweep is not None:
        sizes.append(np.empty(signals.sweep.samples))
    return sizes


def check_take(signals: TakeSignals) -> None:
    """Refuse signals that contradict each other.

    Parameters
    ----------
    signals : TakeSignals

    Raises
    ------
    ParameterError
        If one is not a channel of at least 64 finite samples, the kind is none, or sample rates differ.
    """
    for name in ("recording", "reference", "played"):
        samples = getattr(signals, name)
        if samples is None:
            continue
        if samples.ndim != 1 or samples.size < 64 or not np.isfinite(samples).all():
            raise ParameterError(
                f"{name} must be one channel of at least 64 finite samples (got shape {samples.shape}); export it again"
            )
    if signals.kind not in ("sweep", "impulse", "tap"):
        raise ParameterError(f"kind must be sweep, impulse or tap (got {signals.kind!r})")
    if signals.sweep is not None and signals.sweep.sample_rate_hz != signals.sample_rate_hz:
        raise ParameterError(
            f"the recording must have the sweep's sample rate, {signals.sweep.sample_rate_hz} Hz "
            f"(got {signals.sample_rate_hz:g} Hz); record again at that rate"
        )
    if signals.kind == "sweep" and signals.sweep is None and signals.played is None and signals.reference is None:
        raise ParameterError(
            "a sweep take needs what was played: a sweep, a file of it, or a reference channel (got none); name it"
        )
