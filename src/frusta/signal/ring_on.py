"""What the gate cuts off, continued by the modes: the response as if no reflection had come.

A gate of 5 ms blurs every dip and peak that takes longer to build up. But what rings on behind the gate is known:
the modes that were fitted before it, each dying at its own rate. The continuation is used only where those modes
also explain what stands within the gate's falling half.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from frusta.signal.gate import gate_window
from frusta.signal.modes import Mode, ModeFit, pole_of
from frusta.signal.transfer import Deconvolved, stretch

Floats = NDArray[np.float64]

LONGEST_S = 0.2
SILENT_AFTER = 14.0  # exp(-14) = 1e-6
MISFIT = 0.1
"""Share of the sound in the falling half of the gate that the modes may leave unexplained, noise aside (rms)."""

SURE = 0.3
"""Relative standard uncertainty of a loss factor beyond which a mode is not continued."""


def ring_on(
    response: Deconvolved, onset: int, lengths: tuple[int, ...], fit: ModeFit, noise_rms: float
) -> list[Floats | None]:
    """Return what to add to a gated response so that it rings on as its modes do, for gates of several lengths.

    Parameters
    ----------
    response : Deconvolved
    onset : int
        Sample of the direct sound.
    lengths : tuple of int
        Lengths of the gates, samples; each window falls over its second half (`frusta.signal.gate.gate_window`).
    fit : ModeFit
        Modes fitted before the end of the longest gate.
    noise_rms : float
        Noise of the impulse response, rms.

    Returns
    -------
    list of ndarray, shape (m,), or None
        For each gate, from the onset, at the response's sample rate, all of one length; None where the modes do not
        explain the end of the gate, so that nothing is known of what follows. Its spectrum, phase referred to the
        onset, adds to the gated one.
    """
    rate_hz = response.sample_rate_hz
    sure = [m for m in (*fit.modes, *fit.weak) if m.loss_factor_u <= SURE * m.loss_factor]
    if not sure:
        return [None for _ in lengths]
    alive_s = min(LONGEST_S, max(SILENT_AFTER / -pole_of(m).real for m in sure))
    count = max(lengths) + round(alive_s * rate_hz)
    sound = modes_in_time(sure, np.arange(count) / rate_hz) / rate_hz
    recorded = stretch(response.impulse, 0, max(lengths), onset)
    return [_behind(recorded[:length], sound, noise_rms) for length in lengths]


def _behind(recorded: Floats, sound: Floats, noise_rms: float) -> Floats | None:
    """What of the modes' sound the window of a gate takes away, if they explain its falling half."""
    inside = recorded.size
    half = slice(inside // 2, inside)
    misfit = float(np.mean((recorded[half] - sound[half]) ** 2)) - noise_rms**2
    if inside < 64 or misfit > MISFIT**2 * float(np.mean(recorded[half] ** 2)):
        return None
    behind = sound.copy()
    behind[:inside] *= 1.0 - gate_window(inside)
    return behind


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
        alive = int(np.searchsorted(time_s, SILENT_AFTER / -pole.real))
        total[:alive] += 2.0 * np.real(mode.strength * np.exp(pole * time_s[:alive]))
    return total
