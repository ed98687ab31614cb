"""What a WAV file's header claims, held against the file itself."""

from __future__ import annotations

import struct
from dataclasses import dataclass
from pathlib import Path

from frusta.errors import PackageError

_UNKNOWN = 0xFFFFFFFF
_MOST_CHUNKS = 10_000


@dataclass(frozen=True)
class WavHeader:
    """The claims of a WAV header.

    Attributes
    ----------
    channels, sample_rate_hz, bytes_per_second, frame_bytes, bits : int
        From the format chunk.
    audio_bytes : int
        Length of the samples that the header claims.
    present_bytes : int
        Bytes that follow to the end of the file.
    """

    channels: int
    sample_rate_hz: int
    bytes_per_second: int
    frame_bytes: int
    bits: int
    audio_bytes: int
    present_bytes: int


def is_wav(start: bytes) -> bool:
    """Whether a file that begins so calls itself WAV."""
    return start[:4] in (b"RIFF", b"RF64", b"RIFX") and start[8:12] == b"WAVE"


def read_wav_header(path: Path, name: str) -> WavHeader:
    """Read the header of a WAV file, RF64 for large ones included.

    Parameters
    ----------
    path : Path
        The file.
    name : str
        Its name for messages.

    Raises
    ------
    PackageError
        If the file ends before its samples begin.
    """
    size = path.stat().st_size
    with path.open("rb") as file:
        start = file.read(12)
        order = ">" if start[:4] == b"RIFX" else "<"
        form: tuple[int, ...] | None = None
        long_bytes: int | None = None
        for _ in range(_MOST_CHUNKS):
            head = file.read(8)
            if len(head) < 8:
                break
            tag, length = struct.unpack(f"{order}4sI", head)
            if tag == b"data":
                if form is None:
                    break
                claimed = long_bytes if length == _UNKNOWN and long_bytes is not None else length
                return WavHeader(form[1], form[2], form[3], form[4], form[5], claimed, size - file.tell())
            body = file.read(min(length, 64))
            if tag == b"fmt " and len(body) >= 16:
                form = struct.unpack(f"{order}HHIIHH", body[:16])
            if tag == b"ds64" and len(body) >= 16:
                long_bytes = struct.unpack(f"{order}QQ", body[:16])[1]
            file.seek(length - len(body) + length % 2, 1)
    raise PackageError(f"{name}: must hold samples (the WAV file ends within its header); record or copy it again")


def lie_of_header(header: WavHeader) -> str | None:
    """Say how a header contradicts itself or the file, or None if it does not.

    Parameters
    ----------
    header : WavHeader
        What the header claims.
    """
    if header.channels * ((header.bits + 7) // 8) != header.frame_bytes or not header.channels:
        return (
            f"its header claims {header.channels} channels of {header.bits} bits in frames of "
            f"{header.frame_bytes} bytes"
        )
    if header.sample_rate_hz * header.frame_bytes != header.bytes_per_second:
        return (
            f"its header claims {header.sample_rate_hz} Hz and {header.bytes_per_second} bytes per second, "
            f"which is {header.bytes_per_second // max(header.frame_bytes, 1)} Hz"
        )
    if header.audio_bytes > header.present_bytes:
        return f"its header claims {header.audio_bytes} bytes of sound, {header.present_bytes} are there"
    if header.audio_bytes == 0 and header.present_bytes > 0:
        return f"its header claims no sound, {header.present_bytes} bytes follow"
    return None
