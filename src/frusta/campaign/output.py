"""Findings as files: JSON, each list as CSV, curves and impulse responses; written beside and moved into place."""

from __future__ import annotations

import csv
import io
import json
import struct
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pydantic import BaseModel

from frusta.campaign.atomic import write_atomically, write_folder_atomically
from frusta.campaign.curves import CURVE_COLUMNS, TakeCurves
from frusta.campaign.findings import (
    LISTS,
    BlipRow,
    Difference,
    Estimate,
    FaultRow,
    Findings,
    ModeRow,
    RankingRow,
    Reading,
)

if TYPE_CHECKING:
    from frusta.campaign.analysis import Analysis

_FLOAT = 3
"""IEEE float, as a WAV header names it."""

ROW_OF: dict[str, type[BaseModel]] = {
    "readings": Reading,
    "modes": ModeRow,
    "blips": BlipRow,
    "differences": Difference,
    "estimates": Estimate,
    "ranking": RankingRow,
    "faults": FaultRow,
}


def findings_json(findings: Findings) -> bytes:
    """Return findings as the bytes of findings.json: UTF-8, one space of indent, numbers to full precision."""
    return (findings.model_dump_json(indent=1) + "\n").encode()


def list_csv(findings: Findings, name: str) -> bytes:
    """Return one list of the findings as CSV.

    Parameters
    ----------
    findings : Findings
        Of a campaign.
    name : str
        One of `frusta.campaign.findings.LISTS`.

    Returns
    -------
    bytes
        UTF-8; a header even where there are no rows. Null is an empty cell; what is itself a list or a table stands
        as JSON in its cell.
    """
    columns = [key for key in ROW_OF[name].model_fields if key != "reasons"] + ["reasons"]
    rows = [row.model_dump(mode="json") for row in getattr(findings, name)]
    return _csv(columns, [[_cell(row.get(column)) for column in columns] for row in rows])


def curves_csv(curves: TakeCurves) -> bytes:
    """Return the curves of a take as CSV: frequency to 1 mHz, levels to 0.0001 dB; NaN is an empty cell."""
    columns = [curves.table[name] for name in CURVE_COLUMNS]
    kinds = ["%.3f" if name == "frequency_hz" else "%.4f" for name in CURVE_COLUMNS]
    texts = [
        [kind % value if value == value else "" for value in col.tolist()]
        for kind, col in zip(kinds, columns, strict=True)
    ]
    lines = [",".join(CURVE_COLUMNS), *(",".join(row) for row in zip(*texts, strict=True))]
    return ("\n".join(lines) + "\n").encode()


def impulse_wav(curves: TakeCurves) -> bytes:
    """Return the impulse response of a take as a float WAV file.

    The header is written here: libsndfile puts the time of day into that of a float file (its PEAK chunk), and the
    same findings must give the same bytes.
    """
    samples = curves.impulse.astype("<f4").tobytes()
    rate_hz, frame_bytes = curves.sample_rate_hz, 4
    form = struct.pack("<4sIHHIIHH", b"fmt ", 16, _FLOAT, 1, rate_hz, rate_hz * frame_bytes, frame_bytes, 32)
    fact = struct.pack("<4sII", b"fact", 4, curves.impulse.size)
    data = struct.pack("<4sI", b"data", len(samples)) + samples
    body = b"WAVE" + form + fact + data
    return struct.pack("<4sI", b"RIFF", len(body)) + body


def write_json(analysis: Analysis, path: Path | str) -> Path:
    """Write findings.json.

    Parameters
    ----------
    analysis : Analysis
        Of a campaign.
    path : Path or str
        The file; replaced if it is there.

    Raises
    ------
    OutputError
        If it cannot be written; what was there is untouched.
    """
    return write_atomically(path, findings_json(analysis.findings))


def write_analysis(analysis: Analysis, folder: Path | str) -> Path:
    """Write findings.json, each list as CSV, and curves and impulse response of every take that was read.

    Parameters
    ----------
    analysis : Analysis
        Of a campaign.
    folder : Path or str
        The folder; files of the same names are replaced once all have been written.

    Raises
    ------
    OutputError
        If it cannot be written; what was there is untouched.
    """

    def fill(part: Path) -> None:
        (part / "findings.json").write_bytes(findings_json(analysis.findings))
        for name in LISTS:
            (part / f"{name}.csv").write_bytes(list_csv(analysis.findings, name))
        for place in ("curves", "impulse"):
            (part / place).mkdir()
        for take, curves in analysis.curves.items():
            (part / "curves" / f"{take}.csv").write_bytes(curves_csv(curves))
            if curves.impulse.size:
                (part / "impulse" / f"{take}.wav").write_bytes(impulse_wav(curves))

    return write_folder_atomically(folder, fill)


def _csv(columns: Sequence[str], rows: Sequence[Sequence[str]]) -> bytes:
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(rows)
    return text.getvalue().encode()


def _cell(value: Any) -> str:
    if value is None or value == [] or value == {}:
        return ""
    if isinstance(value, float):
        return repr(value)
    return value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)
