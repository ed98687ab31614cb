"""What the gate cuts off, continued by the modes: the response as if no reflection had come.

A gate of 5 ms blurs every dip and peak that takes longer to build up. But what rings on behind the gate is known:
the modes that were fitted before it, each dying at its own rate. The continuation is used only where those modes
also explain what stands within the gate's falling half.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from frusta.signal.gate import Gate, gate_window
from frusta.signal.modes import Mode, ModeFit, pole_of
from frusta.signal.transfer import Deconvolved, stretch

Floats = NDArray[np.float64]

LONGEST_S = 0.2
MISFIT = 0.1
"""Share of the sound in the falling half of the gate that the modes may leave unexplained, noise aside (rms)."""

SURE = 0.3
"""Relative standard uncertainty of a loss factor beyond which a mode is not continued."""


def ring_on(response: Deconvolved, gate: Gate, fit: ModeFit, noise_rms: float) -> Floats:
    """Return what to add to the gated response so that it rings on as its modes do.

    Parameters
    ----------
    response : Deconvolved
    gate : Gate
        As found; its window falls over the second half (`frusta.signal.gate.gate_window`).
    fit : ModeFit
        Modes fitted before the end of the gate.
    noise_rms : float
        Noise of the impulse response, rms.

    Returns
    -------
    ndarray, shape (m,)
        From the onset, at the response's sample rate; empty where the modes do not explain the end of the gate, so
        that nothing is known of what follows. Its spectrum, phase referred to the onset, adds to the gated one.
    """
    nothing = np.zeros(0)
    rate_hz = response.sample_rate_hz
    sure = [m for m in (*fit.modes, *fit.weak) if m.loss_factor_u <= SURE * m.loss_factor]
    inside = max(8, round(gate.length_s * rate_hz))
    count = inside + round(LONGEST_S * rate_hz)
    if not sure or inside < 64:
        return nothing
    window = np.zeros(count)
    window[:inside] = gate_window(inside)
    sound = modes_in_time(sure, np.arange(count) / rate_hz) / rate_hz
    half = slice(inside // 2, inside)
    recorded = stretch(response.impulse, 0, inside, round(gate.onset_s * rate_hz))[half]
    misfit = float(np.mean((recorded - sound[half]) ** 2)) - noise_rms**2
    if misfit > MISFIT**2 * float(np.mean(recorded**2)):
        return nothing
    return np.asarray(sound * (1.0 - window))


def modes_in_time(modes: list[Mode], time_s: Floats) -> Floats:
    """Return the sum of modes, 2·Re(r·exp(s·t)), in units of the response per second.

    Parameters
    ----------
    modes : list of Mode
    time_s : ndarray, shape (n,)
        From the onset, s, >= 0.

    Returns
    -------
    ndarray, shape (n,)
    """
    total = np.zeros(time_s.size)
    for mode in modes:
        pole = pole_of(mode)
        alive = int(np.searchsorted(time_s, 14.0 / -pole.real))  # exp(-14) = 1e-6
        total[:alive] += 2.0 * np.real(mode.strength * np.exp(pole * time_s[:alive]))
    return total
