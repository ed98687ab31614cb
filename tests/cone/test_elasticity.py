"""Transverse isotropy against the inverse of its compliance, and refusals."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from frusta.cone.elasticity import TRANSVERSE_TO_ORTHOTROPIC, Elastic
from frusta.errors import ParameterError

PRINTED = Elastic(2.78e9, 2.45e9, 0.88e9, 0.37, 0.34, 1178.0, 0.021)
MODULI = ("hoop_pa", "axial_pa", "layer_shear_pa", "poisson_plane", "poisson_axial")


def compliance(material: Elastic) -> np.ndarray:
    """Strain per stress in r, θ, z, rθ, rz, θz, written out (Lekhnitskii)."""
    ep, ez = material.hoop_pa, material.axial_pa
    table = np.zeros((6, 6))
    table[0, 0] = table[1, 1] = 1.0 / ep
    table[2, 2] = 1.0 / ez
    table[0, 1] = table[1, 0] = -material.poisson_plane / ep
    table[0, 2] = table[2, 0] = table[1, 2] = table[2, 1] = -material.poisson_axial / ez
    table[3, 3] = 2.0 * (1.0 + material.poisson_plane) / ep
    table[4, 4] = table[5, 5] = 1.0 / material.layer_shear_pa
    return table


@given(st.floats(0.5, 5.0), st.floats(0.3, 5.0), st.floats(0.1, 2.0), st.floats(-0.2, 0.5), st.floats(-0.1, 0.4))
def test_constants_invert_the_compliance(hoop: float, axial: float, shear: float, plane: float, across: float) -> None:
    if 1.0 - plane - 2.0 * across**2 * hoop / axial < 0.02:
        return
    material = Elastic(hoop, axial, shear, plane, across, 1.0)
    stiffness = np.linalg.inv(compliance(material))
    rr, tt, zz, rt, rz, tz, g_tz, g_rz, g_rt = material.constants_pa() @ TRANSVERSE_TO_ORTHOTROPIC
    assert [rr, tt, zz, rt, rz, tz] == pytest.approx(
        [stiffness[i, j] for i, j in ((0, 0), (1, 1), (2, 2), (0, 1), (0, 2), (1, 2))], rel=1e-9, abs=1e-9
    )
    assert [g_rt, g_rz, g_tz] == pytest.approx(np.diag(stiffness)[3:], rel=1e-9)


def test_gradient_against_differences() -> None:
    gradient = PRINTED.constants_gradient()
    for column, name in enumerate(MODULI):
        value = getattr(PRINTED, name)
        ahead = dataclasses.replace(PRINTED, **{name: value * (1 + 1e-5)}).constants_pa()
        behind = dataclasses.replace(PRINTED, **{name: value * (1 - 1e-5)}).constants_pa()
        numeric = (ahead - behind) / (2e-5 * value)
        assert gradient[:, column] == pytest.approx(numeric, rel=1e-7, abs=1e-9 * abs(numeric).max()), name


def test_isotropic_is_lame() -> None:
    # c11 = E(1−ν)/((1+ν)(1−2ν)), c12 = Eν/(…), c44 = E/2(1+ν)
    c11, c12, c13, c33, c44 = Elastic.isotropic(2.0, 0.3, 1.0).constants_pa()
    common = 2.0 / (1.3 * 0.4)
    assert [c11, c33, c12, c13, c44] == pytest.approx([0.7 * common, 0.7 * common, 0.3 * common, 0.3 * common, 1 / 1.3])


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"hoop_pa": 0.0}, "hoop_pa must be positive"),
        ({"axial_pa": float("nan")}, "axial_pa must be a finite number"),
        ({"density_kg_m3": -1.0}, "density_kg_m3 must be positive"),
        ({"loss_factor": -0.01}, "loss_factor must not be negative"),
        ({"poisson_plane": 0.9, "poisson_axial": 0.4}, "the Poisson ratios must keep the strain energy positive"),
    ],
)
def test_impossible_materials_are_refused(change: dict[str, float], message: str) -> None:
    with pytest.raises(ParameterError, match=message):
        dataclasses.replace(PRINTED, **change)
