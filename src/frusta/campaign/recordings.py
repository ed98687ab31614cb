"""Open recordings (WAV or FLAC, any PCM or float depth) and read one channel at a time."""

from __future__ import annotations

import struct
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import soundfile

from frusta.campaign.wav_header import is_wav, lie_of_header, read_wav_header
from frusta.errors import PackageError

LOWEST_RATE_HZ = 44_100
HIGHEST_RATE_HZ = 192_000
LONGEST_S = 3600.0
"""A take is one sweep; a header that claims more would let a small file fill the memory."""
BITS = {
    "PCM_U8": 8,
    "PCM_S8": 8,
    "PCM_16": 16,
    "PCM_24": 24,
    "PCM_32": 32,
    "FLOAT": 24,
    "DOUBLE": 53,
}
"""Depth of what a sample resolves; a float's is its significand."""
_BLOCK_SAMPLES = 2**20
_DENSE = 64
"""Samples per byte beyond which a compressed file's claim is tried: digital silence alone packs so well."""


@dataclass(frozen=True)
class Recording:
    """A recording that can be read; holds no samples and no open file, so is cheap to send away.

    Attributes
    ----------
    path : Path
        The file.
    name : str
        Its name for messages: the path within the package.
    sample_rate_hz : int
        Samples per second.
    channels : int
        Channels; they count from 1.
    frames : int
        Samples per channel.
    subtype : str
        Depth as libsndfile names it, such as ``PCM_24``.
    """

    path: Path
    name: str
    sample_rate_hz: int
    channels: int
    frames: int
    subtype: str

    @property
    def bits(self) -> int:
        """Bits that a sample resolves."""
        return BITS[self.subtype]

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return self.frames / self.sample_rate_hz

    def read(self, channel: int = 1, *, start: int = 0, frames: int | None = None) -> npt.NDArray[np.float64]:
        """Return the samples of one channel; full scale is 1.0.

        Reads in blocks, so that the other channels never are in memory at once.

        Parameters
        ----------
        channel : int
            From 1.
        start : int
            First sample, from 0.
        frames : int, optional
            How many samples; to the end where left out.

        Returns
        -------
        ndarray of float64, shape (n,)

        Raises
        ------
        PackageError
            If the channel is not there, the file cannot be read to its end, or a sample is not a number.
        """
        samples: npt.NDArray[np.float64] = self.read_channels((channel,), start=start, frames=frames)[0]
        return samples

    def read_channels(
        self, channels: tuple[int, ...], *, start: int = 0, frames: int | None = None
    ) -> npt.NDArray[np.float64]:
        """Return the samples of some channels, read in one pass through the file.

        Parameters
        ----------
        channels : tuple of int
            From 1.
        start : int
            First sample, from 0.
        frames : int, optional
            How many samples; to the end where left out.

        Returns
        -------
        ndarray of float64, shape (len(channels), n)

        Raises
        ------
        PackageError
            If a channel is not there, the file cannot be read to its end, or a sample is not a number.
        """
        for channel in channels:
            if not 1 <= channel <= self.channels:
                raise PackageError(
                    f"{self.name}: must have channel {channel} (it has {self.channels}; they count from 1); "
                    "correct the channel in takes.csv"
                )
        count = max(min(self.frames - start, self.frames if frames is None else frames), 0)
        out = np.empty((len(channels), count))
        columns = [channel - 1 for channel in channels]
        filled = 0
        if count == 0:
            return out
        try:
            with soundfile.SoundFile(self.path) as file:
                file.seek(start)
                step = max(_BLOCK_SAMPLES // self.channels, 1)
                while filled < count:
                    block = file.read(min(step, count - filled), dtype="float64", always_2d=True)
                    if not len(block):
                        break
                    part = out[:, filled : filled + len(block)]
                    part[:] = block[:, columns].T
                    bad = np.flatnonzero(~np.isfinite(part).all(axis=0))
                    if bad.size:
                        raise self._not_a_number(start + filled + int(bad[0]))
                    filled += len(block)
        except (soundfile.LibsndfileError, OSError) as error:
            raise PackageError(
                f"{self.name}: must be readable to its end ({_reason(error)}); copy or record it again"
            ) from error
        if filled < count:
            raise PackageError(
                f"{self.name}: must hold {self.frames / self.sample_rate_hz:.3f} s as its header claims (it ends after "
                f"{(start + filled) / self.sample_rate_hz:.3f} s); copy or record it again"
            )
        return out

    def _not_a_number(self, sample: int) -> PackageError:
        return PackageError(
            f"{self.name}: samples must be numbers (the first that is not stands at "
            f"{sample / self.sample_rate_hz:.4f} s); record or export it again"
        )


def open_recording(path: Path, name: str | None = None) -> Recording:
    """Look at a recording's header, without reading its samples.

    Parameters
    ----------
    path : Path
        The file.
    name : str, optional
        What messages call it; the path where left out.

    Returns
    -------
    Recording

    Raises
    ------
    PackageError
        If it is missing, empty, not WAV or FLAC, of a depth that loses sound, out of 44.1 to 192 kHz, without
        samples, or its header contradicts the file.
    """
    name = name or str(path)
    try:
        return _look(path, name)
    except OSError as error:
        raise PackageError(
            f"{name}: must be readable ({_reason(error)}); allow reading it or correct its name"
        ) from error


def _look(path: Path, name: str) -> Recording:
    """As `open_recording`, but for what the system refuses."""
    if not path.is_file():
        raise PackageError(f"{name}: must be a file (there is none); copy it there or correct its name")
    size = path.stat().st_size
    if size == 0:
        raise PackageError(f"{name}: must hold a recording (it has 0 bytes); copy or record it again")
    with path.open("rb") as file:
        start = file.read(64)
    if is_wav(start):
        lie = lie_of_header(read_wav_header(path, name)) if _uncompressed(start) else None
        if lie:
            raise PackageError(f"{name}: header and file must agree ({lie}); copy it again or export it anew")
    elif not _is_flac(start):
        raise PackageError(f"{name}: must be WAV or FLAC (its content is neither); export it as WAV or FLAC")
    try:
        info = soundfile.info(str(path))
    except (soundfile.LibsndfileError, OSError) as error:
        raise PackageError(
            f"{name}: must be a readable WAV or FLAC file ({_reason(error)}); copy it again or export it anew"
        ) from error
    if info.subtype not in BITS:
        raise PackageError(
            f"{name}: must be PCM or float (it is {info.subtype}, which loses sound); export it as PCM or float"
        )
    if not LOWEST_RATE_HZ <= info.samplerate <= HIGHEST_RATE_HZ:
        raise PackageError(
            f"{name}: the sample rate must be {LOWEST_RATE_HZ} to {HIGHEST_RATE_HZ} Hz (it is {info.samplerate} Hz); "
            "record it anew, or correct a header that lies"
        )
    frames = info.frames if 0 < info.frames < 2**48 else 0
    if frames == 0:
        raise PackageError(f"{name}: must hold samples (its header claims none); copy it again or export it anew")
    recording = Recording(path, name, int(info.samplerate), int(info.channels), int(frames), str(info.subtype))
    if frames * info.channels > _DENSE * size and not _reaches_its_end(recording):
        raise PackageError(
            f"{name}: header and file must agree (its header claims {recording.duration_s:.1f} s of sound, "
            "they are not there); copy it again or export it anew"
        )
    if recording.duration_s > LONGEST_S:
        raise PackageError(
            f"{name}: must last at most {LONGEST_S / 60:g} minutes (it lasts {recording.duration_s / 60:.0f}); "
            "cut it to one sweep a file"
        )
    return recording


def _reaches_its_end(recording: Recording) -> bool:
    """Whether the last sample that the header claims can be read."""
    try:
        with soundfile.SoundFile(recording.path) as file:
            file.seek(recording.frames - 1)
            return len(file.read(1)) == 1
    except (soundfile.LibsndfileError, OSError):
        return False


def fault_of_samples(recording: Recording) -> str | None:
    """Read a recording through, in blocks, and say what is wrong with it, or None.

    Parameters
    ----------
    recording : Recording
        The recording.
    """
    step = max(_BLOCK_SAMPLES // recording.channels, 1)
    every = tuple(range(1, recording.channels + 1))
    for start in range(0, recording.frames, step):
        try:
            recording.read_channels(every, start=start, frames=step)
        except PackageError as error:
            return str(error)
    return None


def sounding_s(signal: Recording) -> float:
    """Return how long a recording sounds on channel 1, s; what is 60 dB below its peak counts as silence.

    Parameters
    ----------
    signal : Recording
        A sweep's file; read in blocks.
    """
    step = _BLOCK_SAMPLES
    first, last = None, 0
    peak = max(
        (float(abs(signal.read(start=s, frames=step)).max()) for s in range(0, signal.frames, step)), default=0.0
    )
    for start in range(0, signal.frames, step):
        loud = (abs(signal.read(start=start, frames=step)) > 1e-3 * peak).nonzero()[0]
        if loud.size:
            first = start + int(loud[0]) if first is None else first
            last = start + int(loud[-1])
    return 0.0 if first is None else (last - first) / signal.sample_rate_hz


def _is_flac(start: bytes) -> bool:
    return start[:4] == b"fLaC" or start[:3] == b"ID3"


def _uncompressed(start: bytes) -> bool:
    """Whether the format chunk, where it comes first, says PCM, float or extensible."""
    if start[12:16] != b"fmt " or len(start) < 22:
        return True
    order = ">" if start[:4] == b"RIFX" else "<"
    return struct.unpack(f"{order}H", start[20:22])[0] in (1, 3, 0xFFFE)


def _reason(error: Exception) -> str:
    text = getattr(error, "error_string", None) or getattr(error, "strerror", None) or str(error)
    return str(text).rstrip(". ").lower()
