"""The air's inverse operator at even steps of wavenumber, kept while a process varies the cone in one shape."""

from __future__ import annotations

from collections import OrderedDict

import numpy as np
from numpy.typing import NDArray

from frusta.cone.air import ScreenAir
from frusta.cone.entire import EntireMatrix
from frusta.cone.sampled import sample_places

Complexes = NDArray[np.complex128]

_ENTRIES = 12
_kept: OrderedDict[tuple[int, float, int], tuple[EntireMatrix, Complexes]] = OrderedDict()


def inverse_samples(air: ScreenAir, count: int) -> Complexes:
    """Return A(k)⁻¹ at `sample_places(air.top_wavenumber, count)`, shape (count, unknowns, unknowns).

    Parameters
    ----------
    air : ScreenAir
    count : int
        Number of samples.
    """
    key = (id(air.matrix), air.mesh.scale_m, count)
    if key not in _kept:
        operator = air.operator(sample_places(air.top_wavenumber, count).astype(np.complex128))
        inverse: Complexes = np.asarray(np.linalg.inv(operator), dtype=np.complex128)
        inverse.flags.writeable = False
        _kept[key] = (air.matrix, inverse)  # the matrix is kept too, so its id stays its own
    _kept.move_to_end(key)
    while len(_kept) > _ENTRIES:
        _kept.popitem(last=False)
    return _kept[key][1]
