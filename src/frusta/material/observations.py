"""What a campaign's estimate starts from: cones with their tables' figures, seatings with their recorded modes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from frusta.cone.driver import Bench, Coil, Motor
from frusta.cone.medium import Medium
from frusta.cone.profile import ConeProfile
from frusta.errors import ParameterError

Floats = NDArray[np.float64]

SAME_HZ = 0.01
"""Relative distance within which two takes of one seating show the same mode."""


@dataclass(frozen=True)
class RecordedModes:
    """Modes of one seating, by rising frequency; all arrays of one length.

    Parameters
    ----------
    frequency_hz, frequency_hz_u : ndarray
    loss_factor, loss_factor_u : ndarray
    prominence_db : ndarray
        Own contribution over the rest.
    """

    frequency_hz: Floats
    frequency_hz_u: Floats
    loss_factor: Floats
    loss_factor_u: Floats
    prominence_db: Floats

    def __post_init__(self) -> None:
        sizes = {np.shape(getattr(self, name)) for name in self.__dataclass_fields__}
        if len(sizes) != 1 or len(next(iter(sizes))) != 1:
            raise ParameterError(f"recorded modes must be arrays of one length (got shapes {sorted(sizes)})")
        for name in ("frequency_hz", "frequency_hz_u", "loss_factor", "loss_factor_u"):
            if not np.all(np.isfinite(getattr(self, name)) & (getattr(self, name) > 0.0)):
                raise ParameterError(f"{name} of recorded modes must be finite and positive")

    def __len__(self) -> int:
        return len(self.frequency_hz)


def modes_of_takes(takes: list[RecordedModes]) -> RecordedModes:
    """Return the modes of one seating from all its takes, each weighted by its certainty.

    The take with most modes leads; a mode that another take shows within 1 % is averaged with it, one that only
    another take shows is left out. The uncertainty is the weighted mean's, or the scatter if that is larger.

    Raises
    ------
    ParameterError
        If there is no take.
    """
    if not takes:
        raise ParameterError("modes_of_takes needs at least one take")
    lead = max(takes, key=len)
    if len(takes) == 1 or len(lead) == 0:
        return lead
    columns: list[list[float]] = []
    for i, hertz in enumerate(lead.frequency_hz):
        found = [(take, int(np.argmin(np.abs(take.frequency_hz - hertz)))) for take in takes if len(take)]
        near = [(take, j) for take, j in found if abs(take.frequency_hz[j] / hertz - 1.0) < SAME_HZ]
        frequency = _mean([(take.frequency_hz[j], take.frequency_hz_u[j]) for take, j in near])
        loss = _mean([(take.loss_factor[j], take.loss_factor_u[j]) for take, j in near])
        columns.append([*frequency, *loss, float(lead.prominence_db[i])])
    return RecordedModes(*np.array(columns).T)


def _mean(pairs: list[tuple[float, float]]) -> tuple[float, float]:
    value, u = np.array(pairs).T
    weight = u**-2.0
    mean = float(weight @ value / weight.sum())
    scatter = float(np.sqrt(weight @ (value - mean) ** 2 / weight.sum()))
    return mean, max(float(weight.sum() ** -0.5), scatter)


@dataclass(frozen=True)
class RecordedResponse:
    """The complex response of one take, level and delay free.

    Parameters
    ----------
    frequency_hz : ndarray (points,)
        Rising.
    pressure : ndarray (points,) of complex
        In any unit, phase referred to any instant.
    gate_s : float
        Reflection-free stretch it was taken from: points nearer than 1/gate tell the same.
    session : str
        Takes of one session share microphone and amplifier.
    """

    frequency_hz: Floats
    pressure: NDArray[np.complex128]
    gate_s: float
    session: str

    def __post_init__(self) -> None:
        if self.frequency_hz.ndim != 1 or self.frequency_hz.shape != self.pressure.shape:
            raise ParameterError("a recorded response must have one complex pressure for each frequency")
        if not (np.all(self.frequency_hz > 0.0) and np.all(np.diff(self.frequency_hz) > 0.0) and self.gate_s > 0.0):
            raise ParameterError("frequencies of a recorded response must be positive and rise, its gate positive")


@dataclass(frozen=True)
class RigObserved:
    """A bench as its table names it.

    Parameters
    ----------
    bench : Bench
    motor : Motor
    joint_compliance_m_n : float or None
        1/stiffness of the neck joint where the table names it; None: unknown.
    force_factor_sd, suspension_sd, inductance_sd : float
        Relative; wide where no table names the figure.
    """

    bench: Bench
    motor: Motor
    joint_compliance_m_n: float | None = None
    force_factor_sd: float = 0.02
    suspension_sd: float = 0.2
    inductance_sd: float = 0.1


@dataclass(frozen=True)
class SeatingObserved:
    """One seating: where, in which air, and what was recorded.

    Parameters
    ----------
    key : str
    rig : str
        Key of the rig.
    medium : Medium
    temperature_c : float
    modes : RecordedModes
    response : RecordedResponse or None
        Of its best take; a check beside the modes.
    """

    key: str
    rig: str
    medium: Medium
    temperature_c: float
    modes: RecordedModes
    response: RecordedResponse | None = None


@dataclass(frozen=True)
class ConeObserved:
    """One printed cone.

    Parameters
    ----------
    key : str
    material : str
        Key of its material × recipe.
    profile : str
    mass_kg, mass_u_kg : float
        Without its coil.
    coil : Coil
    coil_mass_u_kg : float
    coil_resistance_u_ohm : float
    seatings : tuple of SeatingObserved
    wall_neck_m, wall_rim_m : float or None
        Thickness along the normal by callipers.
    """

    key: str
    material: str
    profile: str
    mass_kg: float
    mass_u_kg: float
    coil: Coil
    coil_mass_u_kg: float
    coil_resistance_u_ohm: float
    seatings: tuple[SeatingObserved, ...]
    wall_neck_m: float | None = None
    wall_rim_m: float | None = None


@dataclass(frozen=True)
class CouponObserved:
    """One tapped coupon.

    Parameters
    ----------
    key : str
    material : str
        Key of its material × recipe.
    kind : {"stick", "disc"}
    flat : bool
        Printed flat; else upright.
    length_m : float
        Of a disc its diameter.
    thickness_m, thickness_u_m : float
    modes : RecordedModes
    density_kg_m3 : float or None
        Mass over volume as measured.
    density_u : float
        Relative, the thickness left out.
    """

    key: str
    material: str
    kind: Literal["stick", "disc"]
    flat: bool
    length_m: float
    thickness_m: float
    thickness_u_m: float
    modes: RecordedModes
    density_kg_m3: float | None = None
    density_u: float = 0.005


@dataclass(frozen=True)
class MaterialGiven:
    """What the tables say of a material × recipe.

    Parameters
    ----------
    key : str
    material : str
    recipe : str or None
    polymer : str or None
    density_kg_m3, poisson : float or None
    """

    key: str
    material: str
    recipe: str | None = None
    polymer: str | None = None
    density_kg_m3: float | None = None
    poisson: float | None = None


@dataclass(frozen=True)
class CampaignObserved:
    """Everything that goes into one fit.

    Parameters
    ----------
    materials : dict of str to MaterialGiven
    profiles : dict of str to ConeProfile
        As drawn.
    rigs : dict of str to RigObserved
    cones : tuple of ConeObserved
    coupons : tuple of CouponObserved
    """

    materials: dict[str, MaterialGiven]
    profiles: dict[str, ConeProfile]
    rigs: dict[str, RigObserved]
    cones: tuple[ConeObserved, ...]
    coupons: tuple[CouponObserved, ...] = ()
