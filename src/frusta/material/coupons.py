"""Tapped coupons join the fit: a stick bends as its modulus along it says, a flat disc also as Poisson's ratio says.

An upright stick tells the axial modulus, a flat one the hoop modulus, a flat disc the hoop modulus and Poisson's ratio.
"""

from __future__ import annotations

from dataclasses import fields

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

from frusta.cone.bar import bar_frequencies_hz
from frusta.cone.disc import disc_frequencies_hz
from frusta.cone.elasticity import Elastic
from frusta.errors import ParameterError
from frusta.material.forward import Unknowns, elastic_of
from frusta.material.observations import CouponObserved

Floats = NDArray[np.float64]
Row = tuple[Floats, float, float]

BENDING = 3
DISC_ORDERS = (2, 0, 3)
AIR_AND_SUPPORT, SUPPORT_LOSS = 1.5e-3, 0.03
"""What air and what it rests on do to ln f and ln η (1 sd, from memory)."""
REACH = 0.12
"""How far (ln f) a recorded mode of a coupon may lie from the computed one."""
_STEP = 1e-4
_TURNED = ("hoop_pa", "shear_ratio", "axial_ratio", "poisson_plane", "poisson_axial", "density_kg_m3")


def coupon_frequencies_hz(coupon: CouponObserved, elastic: Elastic, thicker: float = 1.0) -> Floats:
    """Return the modes of a coupon, rising, Hz.

    Parameters
    ----------
    coupon : CouponObserved
    elastic : Elastic
    thicker : float
        Its thickness over what was measured.

    Raises
    ------
    ParameterError
        If its sizes are impossible, or a disc was printed upright: it has no axis then.
    """
    thickness = coupon.thickness_m * thicker
    if coupon.kind == "disc":
        if not coupon.flat:
            raise ParameterError(f"{coupon.key}: a disc must be printed flat to tell its plastic (got upright)")
        found = [disc_frequencies_hz(elastic, 0.5 * coupon.length_m, thickness, n)[0] for n in DISC_ORDERS]
        return np.sort(np.array(found))
    modulus, poisson = elastic.axial_pa, elastic.poisson_axial
    if coupon.flat:
        modulus, poisson = elastic.hoop_pa, elastic.poisson_plane
    return bar_frequencies_hz(
        modulus, elastic.layer_shear_pa, elastic.density_kg_m3, coupon.length_m, thickness, BENDING, poisson
    )


def coupon_rows(coupon: CouponObserved, unknowns: Unknowns) -> list[Row]:
    """Return gradient, residual and sd of ln f and ln η of a coupon's modes, and of its weighed density.

    Parameters
    ----------
    coupon : CouponObserved
    unknowns : Unknowns
    """
    index = unknowns.parameters.index
    thicker = ("print", coupon.key, "thickness_m")
    computed = coupon_frequencies_hz(coupon, _elastic(unknowns, coupon), float(np.exp(unknowns.at(*thicker))))
    recorded = coupon.modes
    far = np.abs(np.log(recorded.frequency_hz / computed[:, None]))
    pairs = [(i, j) for i, j in zip(*linear_sum_assignment(np.minimum(far, REACH)), strict=True) if far[i, j] < REACH]
    gradient = _gradient(coupon, unknowns, computed)
    rows: list[Row] = []
    loss = np.zeros(len(unknowns.values))
    loss[[index[("material", coupon.material, "loss_factor")], index[("print", coupon.key, "loss_factor")]]] = 1.0
    expected_loss = _elastic(unknowns, coupon).loss_factor
    for i, j in pairs:
        u = float(recorded.frequency_hz_u[j] / recorded.frequency_hz[j])
        rows.append(
            (gradient[i], float(np.log(recorded.frequency_hz[j] / computed[i])), float(np.hypot(u, AIR_AND_SUPPORT)))
        )
        u = float(recorded.loss_factor_u[j] / recorded.loss_factor[j])
        rows.append((loss, float(np.log(recorded.loss_factor[j] / expected_loss)), float(np.hypot(u, SUPPORT_LOSS))))
    if coupon.density_kg_m3 is not None:
        weighed = np.zeros(len(unknowns.values))
        density = ("material", coupon.material, "density_kg_m3")
        weighed[index[density]] = weighed[index[thicker]] = 1.0
        expected = unknowns.at(*density) + unknowns.at(*thicker)
        rows.append((weighed, float(np.log(coupon.density_kg_m3) - expected), coupon.density_u))
    return rows


def started_from_coupon(coupon: CouponObserved, unknowns: Unknowns) -> Unknowns:
    """Return unknowns whose modulus meets a coupon's lowest mode, for a material without cones."""
    computed = coupon_frequencies_hz(coupon, _elastic(unknowns, coupon))
    values = unknowns.values.copy()
    lowest = float(np.log(coupon.modes.frequency_hz[0] / computed[0]))
    values[unknowns.parameters.index[("material", coupon.material, "hoop_pa")]] += 2.0 * lowest
    values[unknowns.parameters.index[("material", coupon.material, "loss_factor")]] = float(
        np.log(np.median(coupon.modes.loss_factor))
    )
    return Unknowns(unknowns.parameters, values)


def _elastic(unknowns: Unknowns, coupon: CouponObserved) -> Elastic:
    """Coupons are filled, not walled: a solid of layers under either hypothesis of a cone's wall."""
    solid = elastic_of(unknowns, coupon.material, coupon.key)
    return Elastic(**{field.name: getattr(solid, field.name) for field in fields(Elastic)})


def _gradient(coupon: CouponObserved, unknowns: Unknowns, computed: Floats) -> Floats:
    """Derivatives of ln f, forward differences of smooth closed forms, shape (modes, unknowns)."""
    index = unknowns.parameters.index
    gradient = np.zeros((len(computed), len(unknowns.values)))
    thickness = float(np.exp(unknowns.at("print", coupon.key, "thickness_m")))
    for figure in _TURNED:
        values = unknowns.values.copy()
        place = index[("material", coupon.material, figure)]
        values[place] += _STEP
        moved = coupon_frequencies_hz(coupon, _elastic(Unknowns(unknowns.parameters, values), coupon), thickness)
        gradient[:, place] = np.log(moved / computed) / _STEP
    gradient[:, index[("print", coupon.key, "modulus")]] = 0.5
    thicker = coupon_frequencies_hz(coupon, _elastic(unknowns, coupon), thickness * (1.0 + _STEP))
    gradient[:, index[("print", coupon.key, "thickness_m")]] = np.log(thicker / computed) / _STEP
    return gradient
