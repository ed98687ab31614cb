"""Where in a long recording the sweep lies, so that what was left running before and after is not read along.

The recording is looked through in blocks; memory depends on what was played, not on how long the recorder ran.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from frusta.campaign.recordings import Recording

Floats = NDArray[np.float64]

IDLE_S = 30.0
"""A recording that outlasts what was played by more than this is cut; the bench's own never do."""
BEFORE_S = 2.0
AFTER_S = 5.0
"""What is kept on both sides: silence to read the noise from, and the room's reverberation."""
_PIECE_S = 0.01
_QUIET = 1e-4
"""Power of a piece, re the loudest, from which a reference channel counts as sounding: 40 dB."""


def part_with_sweep(recording: Recording, channel: int, played: Floats | None) -> tuple[int, int]:
    """Return the first sample and the number of samples that are worth reading.

    Parameters
    ----------
    recording : Recording
    channel : int
        The reference channel where there is one, else the microphone's; from 1.
    played : ndarray, shape (m,), or None
        What was played; None: where the channel sounds.

    Returns
    -------
    start, count : int
        The whole recording where it is not much longer than what was played.
    """
    rate = recording.sample_rate_hz
    if recording.duration_s <= IDLE_S or (played is not None and recording.frames - played.size <= IDLE_S * rate):
        return 0, recording.frames
    begin, end = _sounding(recording, channel) if played is None else _matching(recording, channel, played)
    start = max(begin - round(BEFORE_S * rate), 0)
    stop = min(end + round(AFTER_S * rate), recording.frames)
    if recording.frames - (stop - start) <= IDLE_S * rate:
        return 0, recording.frames
    return start, stop - start


def _matching(recording: Recording, channel: int, played: Floats) -> tuple[int, int]:
    """First sample and end of where the recording is most like what was played: the peak of their correlation."""
    size = int(fft.next_fast_len(2 * played.size, real=True))
    step = size - played.size + 1
    against = np.conj(fft.rfft(played, size))
    best, place = -1.0, 0
    for start in range(1 - played.size, recording.frames, step):  # what was played may have begun before the recorder
        missing = max(-start, 0)
        block = recording.read(channel, start=max(start, 0), frames=size - missing)
        if missing:
            block = np.concatenate([np.zeros(missing), block])
        likeness = np.abs(fft.irfft(fft.rfft(block, size) * against, size)[:step])
        at = int(likeness.argmax())
        if likeness[at] > best:
            best, place = float(likeness[at]), start + at
    return place, place + played.size


def _sounding(recording: Recording, channel: int) -> tuple[int, int]:
    """First and last sample of the pieces that are not quiet."""
    piece = max(round(_PIECE_S * recording.sample_rate_hz), 1)
    step = 1000 * piece
    power: list[float] = []
    for start in range(0, recording.frames, step):
        block = recording.read(channel, start=start, frames=step)
        power += np.add.reduceat(block**2, np.arange(0, block.size, piece)).tolist()
    loud = np.flatnonzero(np.array(power) > _QUIET * max(power))
    if not loud.size:
        return 0, recording.frames
    return int(loud[0]) * piece, min((int(loud[-1]) + 1) * piece, recording.frames)
