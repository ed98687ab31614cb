"""How far bell modes may pull the n = 0 modes of a cone.

A wall that is ε thicker here than there along the hoop couples the n = 0 modes to bell modes; both push each other
apart. Of two modes Δ apart (relative, in λ = ω²), coupled by λμ, each moves by (√(Δ² + 4μ²) − |Δ|)/2 of its λ.

Two signs tell how much. Bell modes as foretold from the fit, with a coupling in proportion to an unevenness that
nobody knows beforehand: the fit learns its scale. And strays: a recorded mode that is none of the n = 0 modes is
heard only because it is mixed with them, so its loudness tells the mixing, and the mixing tells the pull. A sum of many
foretold pulls has no known sign, so both are standard deviations.

A wall is uneven in thickness, in how well its lines hold together and in what it weighs, each in its own way, and
neither along the meridian nor round the hoop is any of them a cosine. Thickness alone would let stiffness and inertia
cancel where a wall is mostly stretched; that is not counted on: their shares are added as squares. How uneven a wall is
for the lowest bell modes, which move all of it, says little of what the higher ones feel in its details: both families
have a scale of their own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from frusta.cone.air import ScreenAir
from frusta.cone.medium import Medium
from frusta.cone.poles import find_poles
from frusta.cone.reduction import ReducedCone, reduce_cone
from frusta.cone.trace import air_of_profile
from frusta.cone.uneven import uneven_coupling
from frusta.cone.wall import wall_of_profile
from frusta.errors import ParameterError
from frusta.material.forward import LOWEST_HZ, Computed, Unknowns, drivers_of, elastic_in, state_of
from frusta.material.observations import CampaignObserved, ConeObserved, RecordedModes

Floats = NDArray[np.float64]

ORDERS = (2, 3, 4)
BELLS = 12
"""Modes of each order, which reach past the last recorded mode."""
HALF = 0.5
"""A mode is thought to be pushed by this share of what a stray could do, give or take as much: others share in it."""
UNEVEN = (0.016, 0.005)
"""Relative amplitude of the wall in each order as the lowest bell modes feel it, and as the higher ones do (from
memory: an even print has half a percent, a poor one 6 to 9 %)."""
FAMILIES = len(UNEVEN)
LOWEST = 2
"""How many bell modes of each order are the lowest: those move the whole wall."""
REACH = 0.5
"""Relative distance in λ up to which a stray is thought to be mixed with an n = 0 mode."""
LOSS_APART = 0.3
"""How much the loss factors of a bell mode and its neighbour differ, relative."""


@dataclass(frozen=True)
class Pull:
    """What foretold bell modes may do to the n = 0 modes of one cone, by number of the mode.

    Parameters
    ----------
    frequency, loss : ndarray (FAMILIES, modes)
        1 sd of ln f and of ln η, from the lowest bell modes and from the others.
    """

    frequency: Floats
    loss: Floats


@dataclass(frozen=True)
class StrayPull:
    """What strays betray, by number of the n = 0 mode.

    Parameters
    ----------
    frequency, loss : ndarray (modes,)
        1 sd of ln f and of ln η.
    push : ndarray (modes,)
        Mean of ln f: away from the strays.
    """

    frequency: Floats
    loss: Floats
    push: Floats


def bell_pull(observed: CampaignObserved, cone: ConeObserved, unknowns: Unknowns, high_hz: float) -> Pull:
    """Return the pull on the n = 0 modes of one cone (see the module)."""
    driver = drivers_of(observed, cone, unknowns)[0]
    poles = find_poles(driver, LOWEST_HZ, min(high_hz, driver.top_hz))
    state = state_of(observed, cone, unknowns)
    elastic = elastic_in(unknowns, cone, cone.seatings[0])
    wall = wall_of_profile(state.profile)
    even = driver.cone.structure
    if even is None:
        raise ParameterError("only a cone that bends can have bell modes; build it with reduce_cone")
    square = poles.squared.real
    frequency, loss = np.zeros((FAMILIES, len(square))), np.zeros((FAMILIES, len(square)))
    for order in ORDERS:
        mounting = observed.rigs[cone.seatings[0].rig].bench.mounting
        air = air_of_profile(observed.profiles[cone.profile], order, mounting)
        bells = reduce_cone(wall, elastic, air, BELLS, neck_moves=False)
        if bells.structure is None:
            raise ParameterError("only a cone that bends can have bell modes; build it with reduce_cone")
        wet = _wet(bells, air, driver.medium)
        stiffness, mass = uneven_coupling(
            even, poles.vectors.real @ driver.cone.vectors, bells.structure, bells.vectors, elastic
        )
        coupling = (stiffness / square[:, None]) ** 2 + mass**2
        apart = np.abs(1.0 - wet[None, :] / square[:, None])
        for family, bell in enumerate((slice(None, LOWEST), slice(LOWEST, None))):
            moved, mixed = _pushed(apart[:, bell], UNEVEN[family] ** 2 * coupling[:, bell])
            frequency[family] += np.sum(moved**2, axis=1)
            loss[family] += np.sum((LOSS_APART * mixed) ** 2, axis=1)
    return Pull(np.sqrt(frequency), np.sqrt(loss))


def stray_pull(computed: Computed, recorded: RecordedModes, strays: NDArray[np.intp]) -> StrayPull:
    """Return the pull that the strays of one seating betray.

    Parameters
    ----------
    computed : Computed
        The n = 0 modes.
    recorded : RecordedModes
    strays : ndarray of int
        Recorded modes that are none of them.

    Notes
    -----
    A stray's residue is Σ (μ/Δ)²·residue over the n = 0 modes it is mixed with, since it is driven and heard through
    them; that gives μ².
    """
    square = computed.frequency_hz**2
    frequency, loss, push = np.zeros(len(square)), np.zeros(len(square)), np.zeros(len(square))
    for stray in strays:
        hertz, damping = recorded.frequency_hz[stray], recorded.loss_factor[stray]
        apart = np.abs(1.0 - hertz**2 / square)
        near = apart < REACH
        if not np.any(near):
            continue
        parts = computed.residue / (2.0 * np.pi * (hertz - computed.frequency_hz * (1.0 + 0.5j * computed.loss_factor)))
        peak = abs(parts.sum()) * 10.0 ** (recorded.prominence_db[stray] / 20.0)
        residue = peak * np.pi * hertz * damping
        shares = np.abs(computed.residue[near]) / np.maximum(apart[near], damping) ** 2
        coupling = residue / float(shares.sum())
        moved, mixed = _pushed(apart, np.where(near, coupling, 0.0))
        push += HALF * moved * np.sign(square - hertz**2)
        frequency += (HALF * moved) ** 2
        loss += (LOSS_APART * mixed) ** 2
    return StrayPull(np.sqrt(frequency), np.sqrt(loss), push)


def _pushed(apart: Floats, coupling: Floats) -> tuple[Floats, Floats]:
    """Shift of ln f and share of the other mode, for μ² = `coupling`."""
    wide = np.sqrt(apart**2 + 4.0 * coupling)
    return 0.25 * (wide - apart), 0.5 * (1.0 - apart / np.maximum(wide, 1e-12))


def _wet(bells: ReducedCone, air: ScreenAir, medium: Medium) -> Floats:
    """ω² of the bell modes with the air's mass, each by itself."""
    dry = bells.stiffness.real
    k = np.minimum(np.sqrt(dry) / medium.sound_speed_m_s, air.top_wavenumber)
    solved = np.linalg.solve(air.operator(k), bells.coupling.T[:, :, None].astype(np.complex128))
    mass = medium.density_kg_m3 * np.einsum("am,ma->m", bells.coupling, solved[..., 0]).real
    return np.asarray(dry / (1.0 + mass))
