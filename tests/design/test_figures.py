"""Figures of a computed response. Oracle: the closed form of one resonance, and the reading's own functions."""

from __future__ import annotations

import numpy as np
import pytest

from frusta.design.figures import Interval, interval_of, response_figures
from frusta.signal.level import Figure
from frusta.signal.smoothing import log_grid


def one_resonance(hertz: float, loss: float, delay_s: float) -> tuple[np.ndarray, np.ndarray]:
    """A resonance that falls off on both sides, delayed; in units of 20 µPa."""
    f = log_grid(20.0, 22e3)
    ratio = f / hertz
    pressure = 1000.0 * 1j * loss * ratio / (1.0 - ratio**2 + 1j * loss * ratio)
    return f, pressure * np.exp(-2j * np.pi * f * delay_s)


def test_level_of_a_flat_response():
    f = log_grid(20.0, 22e3)
    found = response_figures(f, np.full(f.size, 1000.0 + 0j), 0.0, 20e3)
    assert found["level_db"].value == pytest.approx(60.0, abs=1e-9)
    assert found["unevenness_db"].value == pytest.approx(0.0, abs=1e-9)
    assert found["upper_limit_hz"].value is None
    assert "above the band" in str(found["upper_limit_hz"].reason)


@pytest.mark.parametrize(("hertz", "loss"), [(3000.0, 0.08), (5000.0, 0.05)])
def test_decay_between_5_and_2_percent_is_that_of_the_mode(hertz: float, loss: float):
    """Amplitude falls as exp(−π f η t): from 5 % to 2 % takes ln 2.5/(π f η)."""
    f, pressure = one_resonance(hertz, loss, 4e-4)
    found = response_figures(f, pressure, 4e-4, 20e3)
    took_ms = found["decay_2_percent_ms"].value - found["decay_5_percent_ms"].value
    assert took_ms == pytest.approx(1e3 * np.log(2.5) / (np.pi * hertz * loss), rel=0.01)


def test_a_long_ring_needs_its_closed_form():
    """Falls to 5 % in 16 ms: blurred by the grid without the resonance's own formula, right with it."""
    hertz, loss, delay_s = 3000.0, 0.02, 4e-4

    def ringing(f: np.ndarray) -> np.ndarray:
        ratio = f / hertz
        pressure = 1000.0 * 1j * loss * ratio / (1.0 - ratio**2 + 1j * loss * ratio)
        return pressure * np.exp(-2j * np.pi * f * delay_s)

    f, pressure = one_resonance(hertz, loss, delay_s)
    expected_ms = 1e3 * np.log(2.5) / (np.pi * hertz * loss)
    for closed, within in ((ringing, 0.01), (None, 0.3)):
        found = response_figures(f, pressure, delay_s, 20e3, closed)
        took_ms = found["decay_2_percent_ms"].value - found["decay_5_percent_ms"].value
        assert took_ms == pytest.approx(expected_ms, rel=within)


def test_the_sound_s_travel_does_not_matter():
    near, far = (one_resonance(3000.0, 0.02, delay) for delay in (1e-4, 9e-4))
    a, b = response_figures(*near, 1e-4, 20e3), response_figures(*far, 9e-4, 20e3)
    assert a["decay_2_percent_ms"].value == pytest.approx(b["decay_2_percent_ms"].value, abs=1e-6)


def test_an_interval_is_the_span_of_the_draws_and_says_when_it_is_open():
    drawn = [Figure(v) for v in np.linspace(9.0, 11.0, 401)]
    found = interval_of(Figure(10.0), drawn)
    assert (found.low_95, found.high_95) == (pytest.approx(9.05, abs=0.01), pytest.approx(10.95, abs=0.01))
    drawn = [Figure(v) for v in (9.0, 11.0, 10.5)]
    opened = interval_of(Figure(10.0), [*drawn, Figure(None, None, "above the band")])
    assert (opened.low_95, opened.high_95) == (9.0, None)
    assert "1 of 4 possible prints: above the band" in str(opened.reason)
    assert interval_of(Figure(None, None, "why"), drawn) == Interval(None, reason="why")
