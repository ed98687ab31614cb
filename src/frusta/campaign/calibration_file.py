"""A microphone's calibration file: text of two or three columns, as its maker or a laboratory wrote it."""

from __future__ import annotations

import codecs
import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from frusta.errors import PackageError

LARGEST_BYTES = 16 * 2**20
HOLE_OCTAVES = 1.0
"""A gap wider than this ..."""
HOLE_STEPS = 4.0
"""... and than so many of the file's own median steps is a hole: it was not meant to be bridged."""

_NUMBER = r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?"
_COMMENT = re.compile(r"""\s*(?:[*#;!%"'/$&]|--|rem\b)""", re.IGNORECASE)
_QUOTED_NUMBER = re.compile(r'\s*"[+-]?[.,]?\d[\d.,]*"')
_STARTS_AS_NUMBER = re.compile(r"\s*[+-]?[.,]?\d")

Split = Callable[[str], list[str]]


@dataclass(frozen=True)
class CalibrationTable:
    """What a microphone reads too high, by frequency.

    Attributes
    ----------
    frequency_hz : ndarray, shape (n,)
        Strictly rising, n >= 2.
    level_db : ndarray, shape (n,)
        To be subtracted from the reading, dB.
    phase_deg : ndarray, shape (n,), or None
        To be subtracted from the phase, degrees.
    """

    frequency_hz: NDArray[np.float64]
    level_db: NDArray[np.float64]
    phase_deg: NDArray[np.float64] | None


def read_calibration(path: Path, name: str | None = None) -> CalibrationTable:
    """Read a calibration file.

    Parameters
    ----------
    path : Path
        The file: Hz, dB the microphone reads too high, degrees (may be absent); any comment or header lines;
        comma, semicolon or blanks between.
    name : str, optional
        What messages call it; the path where left out.

    Returns
    -------
    CalibrationTable

    Raises
    ------
    PackageError
        If it cannot be read, a number is missing or is none, frequencies do not rise, or it has a hole.
    """
    name = name or str(path)
    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise PackageError(
                f"{name}: must be a calibration file (it has {path.stat().st_size} bytes); name the text file"
            )
        data = path.read_bytes()
    except OSError as error:
        raise PackageError(f"{name}: must be readable ({error.strerror}); copy it there or correct its name") from error
    return parse_calibration(_text(data), name)


def parse_calibration(text: str, name: str) -> CalibrationTable:
    r"""Make a calibration table of a file's text; see `read_calibration`.

    Raises
    ------
    PackageError
        If it holds no two lines of frequency and dB, or one that cannot be read.

    Examples
    --------
    >>> table = parse_calibration("* made up\nHz;dB\n20;-1,5\n40;-0,5\n", "mic.txt")
    >>> table.frequency_hz.tolist(), table.level_db.tolist()
    ([20.0, 40.0], [-1.5, -0.5])
    """
    lines = _data_lines(text, name)
    if len(lines) < 2:
        raise PackageError(
            f"{name}: must have at least two lines of frequency and dB (it has {len(lines)}); name the right file"
        )
    split = _split_of([line for _, line in lines])
    rows = [_numbers(name, number, line, split) for number, line in lines]
    width = len(rows[0])
    for (number, _), row in zip(lines, rows, strict=True):
        if len(row) != width:
            raise PackageError(
                f"{name}, line {number}: must have {width} numbers, as the first line of numbers has (got {len(row)}); "
                "fill the hole or remove the line"
            )
    table = np.array(rows)
    _refuse_disorder(name, lines, table[:, 0])
    return CalibrationTable(table[:, 0].copy(), table[:, 1].copy(), table[:, 2].copy() if width == 3 else None)


def _text(data: bytes) -> str:
    """Numbers are ASCII; a degree sign of another encoding in a comment does no harm."""
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return data.decode("utf-16", errors="replace")
    return data.removeprefix(codecs.BOM_UTF8).decode("utf-8", errors="replace")


def _data_lines(text: str, name: str) -> list[tuple[int, str]]:
    """Numbered lines that hold numbers; a line of words among them is refused, one before them is a header."""
    lines: list[tuple[int, str]] = []
    for number, line in enumerate(text.splitlines(), 1):
        if _QUOTED_NUMBER.match(line):
            line = line.replace('"', "")
        if not line.strip() or _COMMENT.match(line):
            continue
        if _STARTS_AS_NUMBER.match(line) and (lines or _is_row(line)):
            lines.append((number, line))
        elif lines:
            raise PackageError(
                f"{name}, line {number}: must be numbers or a comment (got {_short(line)}); "
                "correct it or put * before it"
            )
    return lines


def _is_row(line: str) -> bool:
    """Whether the first line that begins with a digit is of numbers, and not a header such as '1000 Hz ...'."""
    return any(re.fullmatch(_NUMBER, p) is not None for split in _SPLITS for p in split(line)[:1])


def _by_semicolon(line: str) -> list[str]:
    return [p.strip().replace(",", ".") for p in line.rstrip().split(";")]


def _by_comma(line: str) -> list[str]:
    return [p.strip() for p in line.rstrip().split(",")]


def _by_blanks(line: str) -> list[str]:
    return line.split()


def _by_blanks_with_decimal_comma(line: str) -> list[str]:
    return [p.replace(",", ".") for p in line.split()]


_SPLITS: tuple[Split, ...] = (_by_semicolon, _by_comma, _by_blanks, _by_blanks_with_decimal_comma)


def _split_of(lines: Sequence[str]) -> Split:
    """The way of parting under which most lines are two or three numbers."""
    return max(_SPLITS, key=lambda split: sum(_good(_trimmed(split(line))) for line in lines))


def _good(parts: Sequence[str]) -> bool:
    return len(parts) in (2, 3) and all(re.fullmatch(_NUMBER, p) for p in parts)


def _trimmed(parts: Sequence[str]) -> list[str]:
    """Parts without the empty ones that a separator at the line's end leaves, but for the second."""
    kept = list(parts)
    while len(kept) > 2 and not kept[-1]:
        kept.pop()
    return kept


def _numbers(name: str, number: int, line: str, split: Split) -> list[float]:
    parts = _trimmed(split(line))
    if not 2 <= len(parts) <= 3:
        raise PackageError(
            f"{name}, line {number}: must be Hz, dB and perhaps degrees (got {_short(line)}); "
            "fill the hole or remove the line"
        )
    for part in parts:
        if not re.fullmatch(_NUMBER, part) or not math.isfinite(float(part)):
            got = _short(part) if part else "nothing"
            raise PackageError(
                f"{name}, line {number}: must be Hz, dB and perhaps degrees, all numbers (got {got}); "
                "fill the hole or remove the line"
            )
    return [float(part) for part in parts]


def _refuse_disorder(name: str, lines: Sequence[tuple[int, str]], frequency_hz: NDArray[np.float64]) -> None:
    """Refuse frequencies that are not positive, do not rise, or leave a hole."""
    if frequency_hz[0] <= 0:
        raise PackageError(
            f"{name}, line {lines[0][0]}: the frequency must be above 0 Hz (got {frequency_hz[0]:g}); remove the line"
        )
    falls = np.flatnonzero(np.diff(frequency_hz) <= 0)
    if falls.size:
        at = int(falls[0]) + 1
        raise PackageError(
            f"{name}, line {lines[at][0]}: frequencies must rise from line to line (got {frequency_hz[at]:g} Hz after "
            f"{frequency_hz[at - 1]:g} Hz); sort the lines and remove doubles"
        )
    octaves = np.diff(np.log2(frequency_hz))
    holes = np.flatnonzero(octaves > max(HOLE_OCTAVES, HOLE_STEPS * float(np.median(octaves))))
    if holes.size:
        at = int(holes[0]) + 1
        raise PackageError(
            f"{name}, line {lines[at][0]}: must have no hole (none from {frequency_hz[at - 1]:g} to "
            f"{frequency_hz[at]:g} Hz); fill in the lines that are missing"
        )


def _short(text: str) -> str:
    text = text.strip()
    return repr(text if len(text) <= 40 else text[:37] + "...")
