"""Keep the air's matrices: in memory for this process, on disk for the next.

The key is the shape divided by its largest radius, the Fourier orders and the top of the wavenumber range, so
a cone printed at another scale, in another medium or of another plastic reuses them.
"""

from __future__ import annotations

import hashlib
import os
import tempfile
import zipfile
from collections import OrderedDict
from contextlib import suppress
from pathlib import Path
from typing import Literal

import numpy as np
import platformdirs

from frusta.cone.air import ScreenAir, compute_screen_air
from frusta.cone.air_mesh import AirMesh
from frusta.cone.baffle import BaffledAir, compute_baffled_air
from frusta.cone.entire import EntireMatrix

Mounting = Literal["free", "baffle"]

FORMAT = 1  # raise when the matrices' meaning or accuracy changes
DEFAULT_TOP_WAVENUMBER = 2.0 * np.pi * 22e3 / 340.0  # 22 kHz in cool air
_MEMORY_ENTRIES = 64
_ORDERS_TOGETHER = 5
_DISK_BYTES = 400_000_000

_memory: OrderedDict[str, ScreenAir] = OrderedDict()


def screen_air(
    mesh: AirMesh,
    order: int = 0,
    *,
    mounting: Mounting = "free",
    top_wavenumber: float = DEFAULT_TOP_WAVENUMBER,
    folder: Path | None = None,
) -> ScreenAir:
    """Return the air of a shell, computed once (about 0.3 s) and read back ever after.

    Parameters
    ----------
    mesh : AirMesh
        The meridian.
    order : int
        Fourier order n ≥ 0.
    mounting : {"free", "baffle"}
        No baffle, or sealed at the rim into an infinite one (then a `BaffledAir`).
    top_wavenumber : float
        Largest k needed, 1/m; rounded up in k·scale to a multiple of 2.
    folder : Path, optional
        Where to keep files; by default the user's cache folder, or FRUSTA_CACHE. A folder that cannot be
        written is no error: the matrices are then computed again next time.

    Returns
    -------
    ScreenAir
    """
    top = 2.0 * np.ceil(0.5 * top_wavenumber * mesh.scale_m) / mesh.scale_m
    key = _key(mesh, order, top, mounting)
    kept = _memory.get(key)
    matrix = kept.matrix if kept is not None else None
    if matrix is None:
        path = (folder or cache_folder()) / f"{key}.npz"
        matrix = _read(path)
        if matrix is None:
            matrix = _compute_and_keep(mesh, order, top, mounting, path.parent)
    air = BaffledAir(mesh, order, matrix) if mounting == "baffle" else ScreenAir(mesh, order, matrix)
    _memory[key] = air
    _memory.move_to_end(key)
    while len(_memory) > _MEMORY_ENTRIES:
        _memory.popitem(last=False)
    return air


def _compute_and_keep(mesh: AirMesh, order: int, top: float, mounting: Mounting, folder: Path) -> EntireMatrix:
    """Compute; whoever asks for one order n > 0 will ask for the others, which cost little more."""
    if mounting == "baffle":
        matrix = compute_baffled_air(mesh, order, top).matrix
        _write(folder / f"{_key(mesh, order, top, mounting)}.npz", matrix)
        return matrix
    computed = compute_screen_air(mesh, 1 if order == 0 else max(order + 1, _ORDERS_TOGETHER), top)
    for air in computed:
        _write(folder / f"{_key(mesh, air.order, top, mounting)}.npz", air.matrix)
    return computed[order].matrix


def cache_folder() -> Path:
    """Return the folder of kept matrices: FRUSTA_CACHE, or the user's cache folder."""
    named = os.environ.get("FRUSTA_CACHE")
    return (Path(named) if named else platformdirs.user_cache_path("frusta")) / "air"


def forget() -> None:
    """Empty the memory of this process (files stay)."""
    _memory.clear()


def _key(mesh: AirMesh, order: int, top: float, mounting: Mounting) -> str:
    scale = mesh.scale_m
    shape = np.round(np.stack([mesh.radius_m, mesh.height_m - mesh.height_m[0]]) / scale, 10) + 0.0
    digest = hashlib.sha256(np.ascontiguousarray(shape, dtype="<f8").tobytes())
    digest.update(f"{FORMAT} {mounting} {order} {round(top * scale)}".encode())
    return digest.hexdigest()[:32]


def _read(path: Path) -> EntireMatrix | None:
    try:
        with path.open("rb") as file, np.load(file, allow_pickle=False) as stored:
            matrix = EntireMatrix(float(stored["top"]), stored["even"], stored["odd"])
    except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile):
        return None
    good = matrix.even.ndim == 3 and matrix.even.shape == matrix.odd.shape
    return matrix if good and np.all(np.isfinite(matrix.even)) else None


def _write(path: Path, matrix: EntireMatrix) -> None:
    """Write beside and move into place; a full or read-only disk only costs time later."""
    with suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, suffix=".part")
        try:
            with os.fdopen(handle, "wb") as file:
                np.savez(file, top=matrix.top, even=matrix.even, odd=matrix.odd)
            Path(name).replace(path)
        except OSError:
            Path(name).unlink(missing_ok=True)
            raise
        _prune(path.parent)


def _prune(folder: Path) -> None:
    """Drop the files not read for longest once the folder is larger than it should be."""
    files = sorted(folder.glob("*.npz"), key=lambda file: file.stat().st_mtime, reverse=True)
    total = 0
    for file in files:
        total += file.stat().st_size
        if total > _DISK_BYTES:
            file.unlink(missing_ok=True)
