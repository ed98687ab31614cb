"""The screen operator itself: kernels, series, cache, symmetry, messages."""

from __future__ import annotations

from pathlib import Path

import mpmath
import numpy as np
import pytest

from frusta.cone import air_cache
from frusta.cone.air import compute_screen_air
from frusta.cone.air_cache import screen_air
from frusta.cone.air_mesh import AirMesh, air_mesh, graded_parameter
from frusta.cone.baffle import compute_baffled_air
from frusta.cone.ring_kernel import static_ring_slopes, static_rings, toroidal_functions
from frusta.cone.singular_pairs import corner_rule, same_element_rule
from frusta.errors import ParameterError


def cone_mesh(elements: int = 24, scale: float = 0.04) -> AirMesh:
    return air_mesh(lambda u: (scale * (0.3 + 0.7 * u), scale * (0.6 * u + 0.2 * u * (1 - u))), elements=elements)


@pytest.mark.parametrize("excess", [1e-12, 1e-4, 0.05, 0.399, 0.401, 3.0, 80.0])
def test_toroidal_functions_match_the_integral_at_high_precision(excess: float) -> None:
    # oracle: definition by mpmath quadrature, 30 digits
    got = toroidal_functions(np.array([excess]), 6)[:, 0]
    with mpmath.workdps(30):
        chi = 1 + mpmath.mpf(excess)
        for m in range(6):
            points = [0, min(10 * mpmath.sqrt(excess), 1), 3.1, mpmath.pi]
            want = mpmath.quad(lambda x, m=m: mpmath.cos(m * x) / mpmath.sqrt(2 * (chi - mpmath.cos(x))), points)
            assert got[m] == pytest.approx(float(want), rel=2e-9, abs=1e-14 * got[0])


def test_ring_slopes_are_the_derivative_of_rings() -> None:
    # oracle: central differences of the rings
    place = [np.array([v]) for v in (0.8, 0.1)]
    normal = (np.array([0.6]), np.array([0.8]))
    step = 1e-5
    for m in range(4):
        ahead = static_rings(*place, np.array([0.9 + 0.6 * step]), np.array([0.3 + 0.8 * step]), m + 2)[m]
        behind = static_rings(*place, np.array([0.9 - 0.6 * step]), np.array([0.3 - 0.8 * step]), m + 2)[m]
        got = static_ring_slopes(*place, np.array([0.9]), np.array([0.3]), *normal, m)
        np.testing.assert_allclose(got, (ahead - behind) / (2 * step), rtol=1e-8)


def test_singular_rules_integrate_the_logarithm() -> None:
    # oracle: closed forms, ∫∫ ln|x − y| = −3/2 and ∫∫ ln(x² + y²) = ln 2 − 3 + π/2
    x, y, w = same_element_rule()
    assert np.sum(w * np.log(np.abs(x - y))) == pytest.approx(-1.5, rel=3e-7)
    a, b, w = corner_rule()
    assert np.sum(w * np.log(a**2 + b**2)) == pytest.approx(np.log(2.0) - 3.0 + np.pi / 2.0, rel=1e-6)


def test_series_agrees_with_a_wider_one_on_and_off_the_real_axis() -> None:
    # oracle: independent sampling of the same entire function; complex k as for poles with loss factor 0.1
    mesh = cone_mesh()
    narrow, wide = compute_screen_air(mesh, 3, 400.0), compute_screen_air(mesh, 3, 520.0)
    for a, b in zip(narrow, wide, strict=True):
        for k in (0.0, 3.0, 150.0, 390.0, 100 + 5j, 380 + 19j):
            one, two = a.operator(k), b.operator(k)
            assert np.max(np.abs(one - two)) < 1e-7 * np.max(np.abs(two))


def test_operator_is_symmetric_and_conjugate_symmetric() -> None:
    for air in (*compute_screen_air(cone_mesh(), 3, 300.0), compute_baffled_air(cone_mesh(), 0, 300.0)):
        matrix = air.operator(np.array([200.0, -200.0]))
        np.testing.assert_allclose(matrix[0], matrix[0].T, rtol=0, atol=1e-12 * np.max(np.abs(matrix)))
        np.testing.assert_allclose(matrix[1], matrix[0].conj(), rtol=0, atol=1e-12 * np.max(np.abs(matrix)))


def test_matrices_scale_with_size() -> None:
    small, large = (compute_screen_air(cone_mesh(scale=s), 1, 8.0 / s)[0] for s in (0.04, 0.08))
    np.testing.assert_allclose(large.operator(50.0), 2.0 * small.operator(100.0), rtol=1e-9, atol=1e-12)


def test_cache_gives_back_the_same_bytes_and_survives_a_broken_file(tmp_path: Path) -> None:
    mesh = cone_mesh(16)
    air_cache.forget()
    first = screen_air(mesh, 0, top_wavenumber=100.0, folder=tmp_path)
    files = list(tmp_path.glob("*.npz"))
    assert len(files) == 1
    air_cache.forget()
    again = screen_air(mesh, 0, top_wavenumber=100.0, folder=tmp_path)
    assert again.operator(77.0).tobytes() == first.operator(77.0).tobytes()
    files[0].write_bytes(b"PK\x03\x04 broken")
    air_cache.forget()
    assert screen_air(mesh, 0, top_wavenumber=100.0, folder=tmp_path).operator(77.0).tobytes() == (
        first.operator(77.0).tobytes()
    )


def test_cache_that_cannot_be_written_only_costs_time(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("not a folder")
    air_cache.forget()
    air = screen_air(cone_mesh(16), 0, top_wavenumber=60.0, folder=blocked / "air")
    assert np.all(np.isfinite(air.operator(10.0)))


def test_free_and_baffled_and_orders_do_not_share_a_file(tmp_path: Path) -> None:
    mesh = cone_mesh(16)
    air_cache.forget()
    screen_air(mesh, 1, top_wavenumber=60.0, folder=tmp_path)
    orders = len(list(tmp_path.glob("*.npz")))
    screen_air(mesh, 0, mounting="baffle", top_wavenumber=60.0, folder=tmp_path)
    assert orders == 5
    assert len(list(tmp_path.glob("*.npz"))) == orders + 1


def test_messages() -> None:
    air = compute_screen_air(cone_mesh(16), 1, 60.0)[0]
    with pytest.raises(ParameterError, match=r"wavenumber must stay within 60\.0 1/m"):
        air.operator(90.0)
    with pytest.raises(ParameterError, match="parameter must rise"):
        AirMesh(np.array([0.0, 1.0, 0.5, 2.0]), np.ones(4), np.ones(4))
    with pytest.raises(ParameterError, match="radius_m must be positive"):
        AirMesh(np.arange(4.0), np.array([1.0, -1.0, 1.0, 1.0]), np.ones(4))
    with pytest.raises(ParameterError, match="breaks must lie strictly between 0 and 1"):
        air_mesh(lambda u: (u + 1.0, u), breaks=(1.5,))
    with pytest.raises(ParameterError, match="orders must be at least 1"):
        compute_screen_air(cone_mesh(16), 0, 60.0)
    with pytest.raises(ParameterError, match="rim radius deep"):
        compute_baffled_air(air_mesh(lambda u: (u, 0.01 * u)), 0, 1.0)
    with pytest.raises(ParameterError, match="wholly behind the plane of its rim"):
        compute_baffled_air(air_mesh(lambda u: (u, 0.5 * u * (1.2 - u))), 0, 1.0)


def test_graded_parameter_ends_and_breaks() -> None:
    u = graded_parameter(10)
    assert u[0] == 0.0
    assert u[-1] == 1.0
    assert np.all(np.diff(u) > 0.0)
    capped = air_mesh(lambda u: (u, np.maximum(u - 0.3, 0.0)), breaks=(0.3,))
    assert np.any(capped.parameter == 0.3)
    assert capped.closed
