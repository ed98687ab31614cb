"""Small invented photos, and what a camera writes into them."""

from __future__ import annotations

import base64
import struct

PLAIN = base64.b64decode(
    "/9j/4AAQSkZJRgABAQAAAQABAAD/2wBDAA0JCgsKCA0LCgsODg0PEyAVExISEyccHhcgLikxMC4pLSwzOko+MzZGNywtQFdBRkxOUlNS"
    "Mj5aYVpQYEpRUk//wAALCAAIABABAREA/8QAFQABAQAAAAAAAAAAAAAAAAAABgf/xAAWEAADAAAAAAAAAAAAAAAAAAAABkL/2gAIAQEA"
    "AD8AJr8lOX5P/9k="
)
"""16 by 8 points of grey, one scan, nothing written beside it."""
PROGRESSIVE = base64.b64decode(
    "/9j/4AAQSkZJRgABAQAAAQABAAD/2wBDACgcHiMeGSgjISMtKygwPGRBPDc3PHtYXUlkkYCZlo+AjIqgtObDoKrarYqMyP/L2u71"
    "////m8H////6/+b9//j/2wBDASstLTw1PHZBQXb4pYyl+Pj4+Pj4+Pj4+Pj4+Pj4+Pj4+Pj4+Pj4+Pj4+Pj4+Pj4+Pj4+Pj4+Pj4"
    "+Pj4+Pj4+Pj/wgARCAAIABADASIAAhEBAxEB/8QAFQABAQAAAAAAAAAAAAAAAAAAAAP/xAAUAQEAAAAAAAAAAAAAAAAAAAAB/9oA"
    "DAMBAAIQAxAAAAGdAP/EABUQAQEAAAAAAAAAAAAAAAAAAAAS/9oACAEBAAEFApS//8QAFhEBAQEAAAAAAAAAAAAAAAAAAgAB/9oA"
    "CAEDAQE/AQtv/8QAFREBAQAAAAAAAAAAAAAAAAAAAQD/2gAIAQIBAT8BW//EABQQAQAAAAAAAAAAAAAAAAAAABD/2gAIAQEABj8C"
    "P//EABUQAQEAAAAAAAAAAAAAAAAAAAAB/9oACAEBAAE/IYx//9oADAMBAAIAAwAAABD7/8QAFBEBAAAAAAAAAAAAAAAAAAAAAP/a"
    "AAgBAwEBPxAP/8QAFREBAQAAAAAAAAAAAAAAAAAAAAH/2gAIAQIBAT8Qq//EABUQAQEAAAAAAAAAAAAAAAAAAABh/9oACAEBAAE/"
    "EJpv/9k="
)
"""16 by 8 points in colour, many scans."""


def segment(marker: int, payload: bytes) -> bytes:
    """Return a segment of a JPEG."""
    return bytes((0xFF, marker)) + (len(payload) + 2).to_bytes(2, "big") + payload


def exif(*, order: str = "<", orientation: int = 6) -> bytes:
    """Return what a telephone writes: camera, which way up, and where it was (an invented place at sea)."""
    letters = b"II*\0" if order == "<" else b"MM\0*"
    gps_at = 8 + 2 + 3 * 12 + 4 + 8
    entries = [
        struct.pack(f"{order}HHII", 0x010F, 2, 8, 8 + 2 + 3 * 12 + 4),
        struct.pack(f"{order}HHIHH", 0x0112, 3, 1, orientation, 0),
        struct.pack(f"{order}HHII", 0x8825, 4, 1, gps_at),
    ]
    gps = struct.pack(f"{order}H", 2) + struct.pack(f"{order}HHI4s", 1, 2, 2, b"N\0\0\0")
    gps += struct.pack(f"{order}HHII", 2, 5, 3, gps_at + 2 + 24 + 4) + struct.pack(f"{order}I", 0)
    gps += struct.pack(f"{order}6I", 47, 1, 12, 1, 34, 1)
    first = struct.pack(f"{order}H", len(entries)) + b"".join(entries) + struct.pack(f"{order}I", 0)
    return segment(0xE1, b"Exif\0\0" + letters + struct.pack(f"{order}I", 8) + first + b"Pinhole\0" + gps)


def taken(picture: bytes = PLAIN, *, order: str = "<", orientation: int = 6) -> bytes:
    """Return a picture as a telephone hands it over: with place, XMP, a comment, and a film clip behind its end."""
    xmp = segment(0xE1, b"http://ns.adobe.com/xap/1.0/\0<x>Pinhole at the quay</x>")
    more = segment(0xE2, b"MPF\0Pinhole") + segment(0xED, b"Photoshop 3.0\0Pinhole") + segment(0xFE, b"Pinhole")
    return picture[:20] + exif(order=order, orientation=orientation) + xmp + more + picture[20:] + b"ftypPinhole"
