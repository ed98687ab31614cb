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

import numpy as np
import platformdirs

from frusta.cone.air import ScreenAir, compute_screen_air, unknown_nodes
from frusta.cone.air_mesh import AirMesh
from frusta.cone.entire import EntireMatrix

FORMAT = 1  # raise when the matrices' meaning or accuracy changes
DEFAULT_TOP_WAVENUMBER = 2.0 * np.pi * 22e3 / 340.0  # 22 kHz in cool air
_MEMORY_ENTRIES = 64
_DISK_BYTES = 400_000_000

_memory: OrderedDict[str, ScreenAir] = OrderedDict()


def screen_air(
    mesh: AirMesh,
    order: int = 0,
    *,
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
    key = _key(mesh, order, top)
    kept = _memory.get(key)
    matrix = kept.matrix if kept is not None else None
    if matrix is None:
        path = (folder or cache_folder()) / f"{key}.npz"
        matrix = _read(path, mesh, order)
        if matrix is None:
            matrix = compute_screen_air(mesh, order + 1, top)[order].matrix
            _write(path, matrix)
    air = ScreenAir(mesh, order, matrix)
    _memory[key] = air
    _memory.move_to_end(key)
    while len(_memory) > _MEMORY_ENTRIES:
        _memory.popitem(last=False)
    return air


def cache_folder() -> Path:
    """Return the folder of kept matrices: FRUSTA_CACHE, or the user's cache folder."""
    named = os.environ.get("FRUSTA_CACHE")
    return (Path(named) if named else platformdirs.user_cache_path("frusta")) / "air"


def forget() -> None:
    """Empty the memory of this process (files stay)."""
    _memory.clear()


def _key(mesh: AirMesh, order: int, top: float) -> str:
    scale = mesh.scale_m
    shape = np.round(np.stack([mesh.radius_m, mesh.height_m - mesh.height_m[0]]) / scale, 10) + 0.0
    digest = hashlib.sha256(np.ascontiguousarray(shape, dtype="<f8").tobytes())
    digest.update(f"{FORMAT} {order} {round(top * scale)}".encode())
    return digest.hexdigest()[:32]


def _read(path: Path, mesh: AirMesh, order: int) -> EntireMatrix | None:
    keep = unknown_nodes(mesh, order)
    size = keep.stop - keep.start
    try:
        with np.load(path, allow_pickle=False) as stored:
            matrix = EntireMatrix(float(stored["top"]), stored["even"], stored["odd"])
    except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile):
        return None
    good = matrix.even.ndim == 3 and matrix.even.shape == matrix.odd.shape
    return matrix if good and matrix.even.shape[1:] == (size, size) else None


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
