"""Struck coupons and rims ring at the frequencies and decays of their modes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from rigs import CONE, ELASTIC, RATE, rig

from frusta.bench.tapping import RingingMode, VirtualCoupon, coupon_modes, rim_modes, strike
from frusta.cone.bells import bell_modes
from frusta.cone.medium import air_at
from frusta.errors import ParameterError

STICK = VirtualCoupon("stick", ELASTIC, "upright", 0.003, 0.1)


def test_strike_rings_at_the_mode_and_falls_with_its_loss() -> None:
    # oracle: zero crossings, and amplitude falls 8.686·π·f·η dB/s (Cremer & Heckl)
    mode = RingingMode(800.0, 0.02, 2)
    sound = strike((mode,), RATE, RATE, np.random.default_rng(1))
    part = sound[int(0.22 * RATE) : int(0.32 * RATE)]
    crossings = np.flatnonzero((part[:-1] < 0) & (part[1:] >= 0))
    exact = crossings - part[crossings] / (part[crossings + 1] - part[crossings])
    assert RATE * (exact.size - 1) / (exact[-1] - exact[0]) == pytest.approx(800.0, rel=1e-4)
    early, late = (np.max(np.abs(sound[int(t * RATE) : int((t + 0.01) * RATE)])) for t in (0.22, 0.27))
    assert 20 * np.log10(early / late) == pytest.approx(8.686 * np.pi * 800 * 0.02 * 0.05, rel=0.01)
    assert np.all(sound[: int(0.2 * RATE)] == 0.0)


def test_upright_stick_bends_across_the_layers() -> None:
    upright, flat = coupon_modes(STICK), coupon_modes(replace(STICK, orientation="flat"))
    assert upright[0].frequency_hz / flat[0].frequency_hz == pytest.approx(
        np.sqrt(ELASTIC.axial_pa / ELASTIC.hoop_pa), rel=2e-3
    )
    assert upright[0].loss_factor == pytest.approx(ELASTIC.loss_factor + 0.0004)


def test_disc_must_be_printed_flat() -> None:
    disc = VirtualCoupon("disc", ELASTIC, "flat", 0.003, 0.06)
    assert [mode.order for mode in coupon_modes(disc)] == [2, 0, 3]
    with pytest.raises(ParameterError, match="a disc must be printed flat"):
        coupon_modes(replace(disc, orientation="upright"))


def test_rim_rings_with_its_bell_modes() -> None:
    modes = rim_modes(CONE, air_at())
    lowest = bell_modes(CONE.profile, CONE.elastic, 2, air_at()).frequency_hz[0]
    assert any(mode.frequency_hz == pytest.approx(lowest) for mode in modes)
    assert {mode.order for mode in modes} == {2, 3, 4}


def test_tap_is_recorded_with_noise_and_always_the_same() -> None:
    bench = replace(rig(False), coupons={"stick": STICK})
    one, two = (bench.record_tap("stick", RATE, take="t") for _ in range(2))
    assert one.shape == (2 * RATE, 1)
    assert one.tobytes() == two.tobytes()
    peak = np.fft.rfftfreq(one.shape[0], 1 / RATE)[np.argmax(np.abs(np.fft.rfft(one[:, 0])))]
    assert min(abs(peak / mode.frequency_hz - 1) for mode in coupon_modes(STICK)) < 0.002
    assert bench.record_tap("cone", RATE).shape == (2 * RATE, 1)
