"""Coil and neck warmed by the coil's power. Oracles: the nodal equations solved as a matrix; iteration; IEC 60028."""

from __future__ import annotations

import math

import numpy as np
import pytest

from frusta.cone.heat import HeatPath, copper_ohm, copper_warming_k, measured_k_w, settled_c, volts_rms_of
from frusta.errors import ParameterError

PATH = HeatPath(3.7, 8.1)


def nodal(path, watts, room_c):
    """Coil and neck by Kirchhoff's law for heat: conductance matrix times temperatures equals power."""
    a, b = 1.0 / path.coil_to_neck_k_w, 1.0 / path.neck_to_room_k_w
    return np.linalg.solve([[a, -a], [-a, a + b]], [watts, b * room_c])


@pytest.mark.parametrize(("watts", "room_c"), [(0.0, 21.0), (1.3, 21.0), (6.0, -4.0)])
def test_temperatures_obey_the_nodal_equations(watts, room_c):
    assert PATH.temperatures_c(watts, room_c) == pytest.approx(nodal(PATH, watts, room_c), rel=1e-12)


def test_the_power_at_the_neck_settles_it_there():
    watts = PATH.watts_at_neck(55.0, 22.0)
    assert nodal(PATH, watts, 22.0)[1] == pytest.approx(55.0, rel=1e-12)
    assert PATH.watts_at_neck(20.0, 35.0) == 0.0


def test_the_share_splits_the_resistance():
    path = HeatPath.of_share(10.0, 0.7)
    assert (path.coil_to_neck_k_w, path.neck_to_room_k_w) == pytest.approx((3.0, 7.0))
    assert path.coil_to_room_k_w == pytest.approx(10.0)
    with pytest.raises(ParameterError, match="must be above 0 and at most 1"):
        HeatPath.of_share(10.0, 1.01)
    with pytest.raises(ParameterError, match="thermal resistances must be 0 or more"):
        HeatPath(-1.0, 3.0)


def test_copper_after_its_standard():
    """IEC 60028: 0.00393 per kelvin at 20 °C; 100 K more are 39.3 % more, from memory."""
    assert copper_ohm(1.0, 120.0) == pytest.approx(1.393, rel=1e-12)
    assert copper_ohm(copper_ohm(5.6, 71.0), 20.0, cold_c=71.0) == pytest.approx(5.6, rel=1e-12)


@pytest.mark.parametrize("cold_c", [5.0, 20.0, 31.0])
def test_warming_undoes_the_resistance(cold_c):
    cold = copper_ohm(5.6, cold_c)
    assert copper_warming_k(copper_ohm(5.6, cold_c + 44.0), cold, cold_c) == pytest.approx(44.0, rel=1e-12)


def test_a_measured_resistance_is_that_of_the_network():
    coil_c, _ = nodal(PATH, 2.5, 24.0)
    found = measured_k_w(copper_ohm(5.6, coil_c), copper_ohm(5.6, 24.0), 2.5, 24.0)
    assert found == pytest.approx(PATH.coil_to_room_k_w, rel=1e-12)
    with pytest.raises(ParameterError, match="let it settle for half an hour"):
        measured_k_w(5.6, 5.6, 2.0)


@pytest.mark.parametrize("volts", [0.0, 0.4, 3.0, 12.0])
def test_a_fixed_voltage_settles_where_iteration_does(volts):
    """Oracle: power from resistance from temperature from power, over and over, damped."""
    coil_c = 20.0
    for _ in range(4000):
        watts = volts**2 / (5.6 * (1.0 + 0.00393 * (coil_c - 20.0)))
        coil_c += 0.2 * (nodal(PATH, watts, 25.0)[0] - coil_c)
    assert settled_c(PATH, volts, 5.6, 25.0) == pytest.approx(coil_c, rel=1e-9)


def test_the_voltage_of_a_power_keeps_it():
    volts = volts_rms_of(PATH, 3.0, 5.6, 25.0)
    coil_c = settled_c(PATH, volts, 5.6, 25.0)
    assert volts**2 / copper_ohm(5.6, coil_c) == pytest.approx(3.0, rel=1e-12)
    assert volts > math.sqrt(3.0 * 5.6), "a warm coil needs more"
