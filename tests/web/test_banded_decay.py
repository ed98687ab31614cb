"""Falling silent within a band.

Oracle: closed form: a mode of loss factor η falls by exp(−π f η t); one outside of the band is not seen; the filter's
own ringing from its impulse computed on a ten times finer grid.
"""

from __future__ import annotations

import numpy as np
import pytest

from frusta.campaign.curves import TakeCurves
from frusta.campaign.findings import Reading
from frusta.publish.curves_of import Shown
from frusta.publish.groups import Group
from frusta.publish.theme import Style
from frusta.web.banded_decay import band_weights, banded_decay, ringing_s

RATE = 48000


def shown(impulse: np.ndarray, free_s: float = 0.012) -> Shown:
    """A take whose impulse response is given from 5 ms before the direct sound on."""
    nothing = np.zeros(0)
    curves = TakeCurves({}, impulse, 0.005, RATE, nothing, 0.0, nothing, nothing, np.zeros((0, 0)), nothing, free_s)
    reading = Reading(
        take="c1", specimen="c1", kind="cone", material="rush", recipe="two", profile="st80", session="s", seating=1,
        quality="ok",
    )  # fmt: skip
    return Shown(Group("rush", "two", "Rush", Style("m1", (), "circle")), reading, curves)


def ringing(frequency_hz: float, loss_factor: float, size: float = 1.0) -> np.ndarray:
    time_s = np.arange(round(0.205 * RATE)) / RATE - 0.005
    on = np.clip(time_s, 0.0, None)
    wave = size * np.exp(-np.pi * frequency_hz * loss_factor * on) * np.sin(2 * np.pi * frequency_hz * on)
    return np.asarray(np.where(time_s >= 0, wave, 0.0))


@pytest.mark.parametrize("loss_factor", [0.01, 0.03])
def test_a_mode_in_the_band_falls_as_its_loss_factor_says(loss_factor: float):
    curve = banded_decay(shown(ringing(3000.0, loss_factor) + ringing(300.0, 0.02, 5.0)), (2000.0, 5000.0))
    assert curve is not None
    inside = (curve.x > 1.0) & (curve.x < 5.0)
    slope = np.polyfit(curve.x[inside], np.log(curve.y[inside]), 1)[0]
    assert slope == pytest.approx(-np.pi * 3.0 * loss_factor, rel=0.01)


def test_a_mode_outside_is_not_seen():
    mode, low = ringing(3000.0, 0.03), ringing(300.0, 0.02)
    alone, both = (banded_decay(shown(h), (2000.0, 5000.0)) for h in (mode, mode + low))
    assert alone is not None
    assert both is not None
    at_ms = np.arange(0.5, 3.0, 0.05)  # the peaks may lie a sample apart
    falling, expected = np.interp(at_ms, both.x, both.y), np.interp(at_ms, alone.x, alone.y)
    np.testing.assert_allclose(falling, expected, rtol=0.05)


@pytest.mark.parametrize("band_hz", [(1000.0, 2000.0), (2000.0, 5000.0), (200.0, 20000.0)])
def test_the_filters_ringing(band_hz: tuple[float, float]):
    size = 20 * RATE
    fine = np.abs(np.fft.ifft(band_weights(np.arange(size) * 10 * RATE / size, band_hz)))[: size // 2]
    expected = np.flatnonzero(fine > 0.02 * fine[0])[-1] / (10 * RATE)
    assert ringing_s(band_hz, RATE) == pytest.approx(expected, abs=1.5 / RATE)


def test_it_ends_before_the_reflection_by_as_long_as_the_filter_rings():
    echo = np.roll(ringing(3000.0, 0.03), round(0.004 * RATE))
    impulse = ringing(3000.0, 0.03)
    with_echo = banded_decay(
        shown(impulse + np.where(np.arange(impulse.size) > 400, echo, 0.0), 0.004), (2000.0, 5000.0)
    )
    alone = banded_decay(shown(impulse, 0.004), (2000.0, 5000.0))
    assert with_echo is not None
    assert alone is not None
    assert with_echo.x[-1] < 4.0 - 1e3 * ringing_s((2000.0, 5000.0), RATE)
    np.testing.assert_allclose(with_echo.y, alone.y, rtol=0.1, atol=0.02 * 100)


@pytest.mark.parametrize("free_s", [float("nan"), 0.0005])
def test_without_room_for_it_there_is_none(free_s: float):
    assert banded_decay(shown(ringing(3000.0, 0.03), free_s), (1000.0, 2000.0)) is None


def test_the_filter_is_half_at_the_ends_of_the_band_and_a_tenth_wide_on_either_side():
    hertz = np.array([899.9, 900.0, 1000.0, 1100.0, 2000.0, 3600.0, 4000.0, 4400.0, 9000.0])
    expected = [0.0, 0.0, 0.5, 1.0, 1.0, 1.0, 0.5, 0.0, 0.0]
    np.testing.assert_allclose(band_weights(hertz, (1000.0, 4000.0)), expected, atol=1e-12)
