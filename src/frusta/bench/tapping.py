"""What a microphone hears when a coupon or the rim of a cone is struck."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from frusta.bench.virtual_cone import VirtualCone
from frusta.cone.bar import bar_frequencies_hz
from frusta.cone.bells import bell_modes
from frusta.cone.disc import disc_frequencies_hz
from frusta.cone.elasticity import Elastic
from frusta.cone.medium import Medium
from frusta.errors import ParameterError

Floats = NDArray[np.float64]

_ONSET_S = 0.2
_BELL_ORDERS = (2, 3, 4)
_DISC_ORDERS = (0, 2, 3)


@dataclass(frozen=True)
class VirtualCoupon:
    """A tapped coupon as it really is.

    Parameters
    ----------
    coupon : {"stick", "disc"}
    elastic : Elastic
    orientation : {"upright", "flat"}
        How it was printed: an upright stick bends across the layers.
    thickness_m : float
    length_m : float
        Of a stick; of a disc its diameter.
    """

    coupon: Literal["stick", "disc"]
    elastic: Elastic
    orientation: Literal["upright", "flat"]
    thickness_m: float
    length_m: float


@dataclass(frozen=True)
class RingingMode:
    """One mode that a strike sets off."""

    frequency_hz: float
    loss_factor: float
    order: int


def coupon_modes(coupon: VirtualCoupon, support_loss: float = 0.0004) -> tuple[RingingMode, ...]:
    """Return the modes of a coupon; ``support_loss`` is what its foam or thread adds.

    Raises
    ------
    ParameterError
        If a disc is not printed flat: its layers then lie across it, and it has no axis.
    """
    elastic, loss = coupon.elastic, coupon.elastic.loss_factor + support_loss
    if coupon.coupon == "disc":
        if coupon.orientation != "flat":
            raise ParameterError("a disc must be printed flat to have an axis (got upright)")
        found = [
            (float(disc_frequencies_hz(elastic, 0.5 * coupon.length_m, coupon.thickness_m, n)[0]), n)
            for n in _DISC_ORDERS
        ]
        return tuple(RingingMode(f, loss, n) for f, n in sorted(found))
    modulus = elastic.axial_pa if coupon.orientation == "upright" else elastic.hoop_pa
    poisson = elastic.poisson_axial if coupon.orientation == "upright" else elastic.poisson_plane
    frequencies = bar_frequencies_hz(
        modulus, elastic.layer_shear_pa, elastic.density_kg_m3, coupon.length_m, coupon.thickness_m, 3, poisson
    )
    return tuple(RingingMode(float(f), loss, n + 2) for n, f in enumerate(frequencies))


def rim_modes(cone: VirtualCone, medium: Medium, high_hz: float = 6000.0) -> tuple[RingingMode, ...]:
    """Return the bell modes of a cone whose rim is struck, neck held, in air."""
    found = []
    for order in _BELL_ORDERS:
        poles = bell_modes(cone.profile, cone.elastic, order, medium, high_hz=high_hz)
        pairs = zip(poles.frequency_hz, poles.loss_factor, strict=True)
        found += [RingingMode(float(f), float(loss), order) for f, loss in pairs]
    return tuple(sorted(found, key=lambda mode: mode.frequency_hz))


def strike(
    modes: tuple[RingingMode, ...],
    samples: int,
    sample_rate_hz: int,
    rng: np.random.Generator,
    contact_s: float = 0.0006,
    peak: float = 0.5,
) -> Floats:
    """Return the sound of one strike, shape (samples,), without noise.

    Parameters
    ----------
    modes : tuple of RingingMode
        Those above half the sample rate are not heard.
    samples : int
    sample_rate_hz : int
    rng : numpy.random.Generator
        Where it is struck: strengths from 0.3 to 1.
    contact_s : float
        The hammer's force is half a sine of this length.
    peak : float
        Largest sample.
    """
    size = fft.next_fast_len(2 * samples, real=True)
    time_s = np.arange(size) / sample_rate_hz
    ringing = np.zeros(size)
    for mode in modes:
        strength = float(rng.uniform(0.3, 1.0) * rng.choice([-1.0, 1.0]))
        if mode.frequency_hz < 0.45 * sample_rate_hz:
            pole = 2j * np.pi * mode.frequency_hz * np.sqrt(1.0 + 1j * mode.loss_factor)
            ringing += strength * np.imag(np.exp(pole * time_s))
    pulse = np.where(time_s < contact_s, np.sin(np.pi * time_s / contact_s), 0.0)
    heard = fft.irfft(fft.rfft(ringing) * fft.rfft(pulse), size)[:samples]
    late = round(_ONSET_S * sample_rate_hz)
    out = np.concatenate([np.zeros(late), heard])[:samples]
    return np.asarray(out * (peak / np.max(np.abs(out))))
