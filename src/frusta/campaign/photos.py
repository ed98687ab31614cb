"""Photos of specimens: ``photos/SPECIMEN-N.jpg`` of a package; handed on without what a camera wrote into them."""

from __future__ import annotations

import struct
from pathlib import Path

from frusta.campaign.package import Package, path_within
from frusta.errors import PackageError, ParameterError

FOLDER = "photos"
MOST = 12
"""Photos of one specimen."""
_ICC, _ADOBE = b"ICC_PROFILE\0", b"Adobe"
_ORIENTATION = 0x0112


def photo_name(specimen: str, number: int) -> str:
    """Return where a photo lies in its package."""
    return f"{FOLDER}/{specimen}-{number}.jpg"


def photo_names(package: Package) -> list[str]:
    """Return the photos of a package's specimens, in the order of the table; other files beside them are not its."""
    folder = package.root / FOLDER
    try:
        there = {path.name for path in folder.iterdir()}
    except OSError:
        return []
    names = (photo_name(specimen, n) for specimen in package.specimens for n in range(1, MOST + 1))
    return [name for name in names if Path(name).name in there]


def bare_photo(package: Package, name: str) -> bytes:
    """Return a photo of a package without place, time, camera and comments.

    Raises
    ------
    PackageError
        If it is no whole JPEG, or leads out of the package.
    """
    try:
        return bare_jpeg(path_within(package.root, name).read_bytes())
    except ParameterError as error:
        raise PackageError(f"{name}: {error}") from error
    except OSError as error:
        raise PackageError(f"{name}: must be readable ({error.strerror}); copy it again") from error


def bare_jpeg(data: bytes) -> bytes:
    """Return a JPEG without metadata: no EXIF (place, time, camera), XMP, thumbnails, comments, nothing after its end.

    Which way up it is stays, as do its colour profile and what decoders need. The picture itself is not touched. A
    JPEG that holds nothing else comes back as it is.

    Parameters
    ----------
    data : bytes

    Raises
    ------
    ParameterError
        If it is no whole JPEG.

    References
    ----------
    ITU-T T.81 (1992), annex B (markers); Exif 2.32 (CIPA DC-008), 4.5 (APP1), from memory.
    """
    if data[:2] != b"\xff\xd8":
        raise _no_jpeg()
    kept = [data[:2]]
    upright = b""
    at, scans = 2, 0
    while True:
        marker = data[at + 1 : at + 2]
        if data[at : at + 1] != b"\xff" or not marker:
            raise _no_jpeg()
        if marker == b"\xff":  # fill
            at += 1
            continue
        if marker == b"\xd9":
            break
        if len(data) < at + 4:
            raise _no_jpeg()
        length = int.from_bytes(data[at + 2 : at + 4], "big")
        segment = data[at : at + 2 + length]
        if length < 2 or len(segment) < 2 + length:
            raise _no_jpeg()
        at += 2 + length
        if marker == b"\xe1" and segment[4:10] == b"Exif\0\0":
            upright = upright or _upright(segment[10:])
        if _is_needed(marker[0], segment[4:]):
            kept.append(segment)
        if marker == b"\xda":
            end = _end_of_scan(data, at)
            kept.append(data[at:end])
            at, scans = end, scans + 1
    if not scans:
        raise _no_jpeg()
    first = 2 if len(kept) > 1 and kept[1][:2] == b"\xff\xe0" else 1
    return b"".join([*kept[:first], upright, *kept[first:], b"\xff\xd9"])


def _is_needed(marker: int, payload: bytes) -> bool:
    """Whether a segment is the picture's: tables, frames, scans, JFIF, colours; not what was written beside it."""
    if marker == 0xFE:
        return False
    if 0xE0 <= marker <= 0xEF:
        kept = {0xE0: b"JFIF\0", 0xE2: _ICC, 0xEE: _ADOBE}
        return marker in kept and payload.startswith(kept[marker])
    return True


def _end_of_scan(data: bytes, at: int) -> int:
    """Where the coded data of a scan end: at a marker that is neither a stuffed byte nor a restart."""
    while True:
        at = data.find(b"\xff", at)
        if at < 0 or at + 1 >= len(data):
            raise _no_jpeg()
        after = data[at + 1]
        if after == 0 or 0xD0 <= after <= 0xD7:
            at += 2
        elif after == 0xFF:
            at += 1
        else:
            return at


def _upright(tiff: bytes) -> bytes:
    """A segment that says nothing but which way up the picture is; empty where it stands upright or does not say."""
    order = {b"II": "<", b"MM": ">"}.get(tiff[:2])
    if order is None:
        return b""
    try:
        (start,) = struct.unpack_from(f"{order}I", tiff, 4)
        (count,) = struct.unpack_from(f"{order}H", tiff, start)
        for number in range(count):
            tag, kind, _, value = struct.unpack_from(f"{order}HHIH", tiff, start + 2 + 12 * number)
            if tag == _ORIENTATION and kind == 3 and 2 <= value <= 8:
                body = b"Exif\0\0MM\0*" + struct.pack(">IHHHIHHI", 8, 1, _ORIENTATION, 3, 1, value, 0, 0)
                return b"\xff\xe1" + (len(body) + 2).to_bytes(2, "big") + body
    except struct.error:
        return b""
    return b""


def _no_jpeg() -> ParameterError:
    return ParameterError("a photo must be a whole JPEG (its bytes are something else); choose another picture")
