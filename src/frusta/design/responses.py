"""The response of one possible cone, and of many near one another at little cost."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from frusta.cone.air import ScreenAir
from frusta.cone.driver import Driver, build_driver, response
from frusta.cone.reduction import MODES
from frusta.design.possible import PossibleCone
from frusta.design.rig import ForecastRig

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

SPARE_MODES = 4
"""Modes above the band that neighbours keep: what is left out changes a response by 0.01 dB to 10 kHz."""


def driver_of(cone: PossibleCone, rig: ForecastRig, air: ScreenAir | None = None, modes: int = MODES) -> Driver:
    """Return the driver of a possible cone on the rig; its air may be a neighbouring shape's."""
    return build_driver(
        cone.profile, cone.elastic, rig.motor, cone.coil, rig.bench, cone.medium, cone.joint, air=air, modes=modes
    )


def neighbours_pressure(
    middle: Driver,
    expected: PossibleCone,
    exact: Complexes,
    cones: Sequence[PossibleCone],
    rig: ForecastRig,
    frequency_hz: Floats,
) -> Complexes:
    """Return the responses of cones near the expected one, Pa/V, shape (cones, frequencies).

    Parameters
    ----------
    middle : Driver
        Of the expected cone, with all its modes.
    expected : PossibleCone
    exact : ndarray (frequencies,)
        Its response.
    cones : sequence of PossibleCone
    rig : ForecastRig
    frequency_hz : ndarray

    Notes
    -----
    Few modes are kept: what they leave out is taken from the expected cone, as a ratio of two responses with as
    few. The air's matrices are those of the expected shape.
    """
    top = 2.0 * np.pi * float(frequency_hz[-1])
    inside = int(np.count_nonzero(middle.cone.stiffness.real[1:] < top**2))
    modes = min(inside + SPARE_MODES, MODES)
    few = [response(driver_of(cone, rig, middle.air, modes), frequency_hz) for cone in (expected, *cones)]
    return np.asarray(exact / few[0] * np.array(few[1:]))
