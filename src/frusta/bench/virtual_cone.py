"""One specimen of the virtual workshop as it really is, and the scatter that made it so."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from frusta.bench.distortion import Buckle
from frusta.bench.narrow_feature import NarrowFeature
from frusta.cone.driver import Coil, Motor
from frusta.cone.elasticity import Elastic
from frusta.cone.profile import ConeProfile


@dataclass(frozen=True)
class PrintScatter:
    """Relative standard deviations from print to print."""

    modulus: float = 0.015
    loss_factor: float = 0.02
    density: float = 0.003
    wall: float = 0.008


@dataclass(frozen=True)
class ShapeError:
    """What every print of a profile has over its drawing (a systematic fault of slicer and printer)."""

    depth_m: float = 0.0
    bow_m: float = 0.0
    taper: float = 0.0


@dataclass(frozen=True)
class VirtualCone:
    """A printed cone, a check cone or a finished driver: what it is, not what its maker knows.

    Parameters
    ----------
    profile : ConeProfile
        Wall and shape as printed.
    elastic : Elastic
        Of this print.
    coil : Coil
        Its own.
    unevenness : tuple of (order, ε)
        Of the wall along the hoop (see `frusta.bench.unevenness`).
    buckle : Buckle, optional
        If it snaps.
    motor : Motor, optional
        Its own, for a finished driver; else the rig's.
    features : tuple of NarrowFeature
        Of this specimen alone: rocking, a lead wire.
    """

    profile: ConeProfile
    elastic: Elastic
    coil: Coil
    unevenness: tuple[tuple[int, float], ...] = ()
    buckle: Buckle | None = None
    motor: Motor | None = None
    features: tuple[NarrowFeature, ...] = ()

    @property
    def mass_kg(self) -> float:
        """Mass without coil, kg."""
        return self.profile.volume_m3 * self.elastic.density_kg_m3


def print_cone(
    drawing: ConeProfile,
    filament: Elastic,
    coil: Coil,
    scatter: PrintScatter,
    rng: np.random.Generator,
    error: ShapeError | None = None,
    unevenness: tuple[tuple[int, float], ...] = (),
    buckle: Buckle | None = None,
) -> VirtualCone:
    """Print one cone: the drawing and the filament's nominal figures, with this print's deviations.

    Parameters
    ----------
    drawing : ConeProfile
    filament : Elastic
        Nominal.
    coil : Coil
    scatter : PrintScatter
        All three moduli of a print move together, as density and bonding do.
    rng : numpy.random.Generator
    error : ShapeError, optional
    unevenness, buckle
        Passed on.
    """
    error = error or ShapeError()
    modulus, loss, density, wall = (
        float(np.exp(sd * rng.standard_normal()))
        for sd in (scatter.modulus, scatter.loss_factor, scatter.density, scatter.wall)
    )
    elastic = replace(
        filament,
        hoop_pa=filament.hoop_pa * modulus,
        axial_pa=filament.axial_pa * modulus,
        layer_shear_pa=filament.layer_shear_pa * modulus,
        loss_factor=filament.loss_factor * loss,
        density_kg_m3=filament.density_kg_m3 * density,
    )
    profile = replace(
        drawing,
        depth_m=drawing.depth_m + error.depth_m,
        bow_m=drawing.bow_m + error.bow_m,
        wall_m=drawing.wall_m * wall,
        wall_taper=drawing.wall_taper + error.taper,
    )
    return VirtualCone(profile, elastic, coil, unevenness, buckle)
