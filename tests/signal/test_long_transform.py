"""Transforms of a whole take against scipy's plain ones: another order of summation, the same sums."""

import numpy as np
import pytest
from scipy import fft

from frusta.signal.long_transform import long_irfft, long_irfft_single, long_rfft, long_rfft_single

# even and odd rows, even and odd columns, squares, powers of two, one too lopsided, one too short
LENGTHS = (354294, 360000, 59049, 50625, 46305, 65536, 100000, 1 << 15, 36001, 4096)


@pytest.mark.parametrize("count", LENGTHS)
def test_same_as_the_plain_transform(count):
    """Oracle: scipy's one-dimensional transform; rounding grows with the logarithm of the length only."""
    signal = np.random.default_rng(count).standard_normal(count - 37)
    plain = fft.rfft(signal, count)
    assert np.abs(long_rfft(signal, count) - plain).max() < 2e-15 * np.abs(plain).max()
    assert np.abs(long_irfft(plain, count) - fft.irfft(plain, count)).max() < 1e-14
    single = long_rfft_single(signal.astype(np.float32), count)
    assert single.dtype == np.complex64
    assert np.abs(single - plain).max() < 1e-6 * np.abs(plain).max()
    back = long_irfft_single(single, count)
    assert back.dtype == np.float32
    assert np.abs(back[: signal.size] - signal).max() < 1e-5


def test_a_longer_signal_is_cut_as_scipy_cuts_it():
    signal = np.random.default_rng(5).standard_normal(70000)
    assert np.allclose(long_rfft(signal, 65536), fft.rfft(signal, 65536), rtol=0, atol=1e-10)


def test_imaginary_parts_of_the_ends_do_not_count():
    """A real signal has none at 0 Hz and at half the rate; scipy ignores what is there."""
    spectrum = fft.rfft(np.random.default_rng(6).standard_normal(65536))
    spectrum[0] += 3j
    spectrum[-1] += 2j
    assert np.abs(long_irfft(spectrum, 65536) - fft.irfft(spectrum, 65536)).max() < 1e-14
