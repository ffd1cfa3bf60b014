"""How far a clay's settlement has come: Terzaghi's one-dimensional consolidation, layer by layer.

A layer is a run of slow cells in one column. Its excess pressure starts linear over its height
(the change between two steady states), for which a layer drained at both ends has the same mean
degree of consolidation as a uniform start; drained at one end the final change is uniform too.
Different clays on one another count as one layer of the height Σ Δz/√c_v (transformed thickness,
as in NAVFAC DM-7.1, ch. 5).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

SLOW = 1e-7
"""kv [m/s] below which a soil's consolidation is followed in time; more pervious ones settle at
once (within hours for metres of soil; common practice, no source)."""
DRAINING = 10.0
"""A neighbour drains a layer if its kv is at least so many times the layer's (common practice, no
source)."""
_EARLY = 0.1
"""T_v below which U = √(4 T_v/π) is within 1e-5; above it four terms of the series are within
1e-6."""


def degree_of_consolidation(tv: Floats) -> Floats:
    """Mean degree of consolidation U (any shape) at time factors T_v ≥ 0.

    Terzaghi's series U = 1 − Σ 2/M²·exp(−M²·T_v), M = π(2m + 1)/2.

    >>> degree_of_consolidation(np.array([0.0, 0.196731, 0.848085])).round(4).tolist()
    [0.0, 0.5, 0.9]
    """
    tv = np.asarray(tv, dtype=np.float64)
    late = np.minimum(tv, 50.0)
    series = np.ones_like(tv)
    for m in range(4):
        squared = (np.pi * (2 * m + 1) / 2) ** 2
        series -= 2 / squared * np.exp(-squared * late)
    return np.where(tv < _EARLY, np.sqrt(4 * np.minimum(tv, _EARLY) / np.pi), series)


def consolidation_rate(
    active: Mask, slow: Mask, thickness: Floats, kv: Floats, cv: Floats
) -> tuple[Floats, NDArray[np.int8]]:
    """T_v per second (nlay, n) [1/s] of the layer each cell belongs to, and how it drains.

    Parameters
    ----------
    active, slow : cells there, and those of them that consolidate in time.
    thickness, kv, cv : [m], [m/s], [m²/s] of the cells.

    Returns
    -------
    rate : 1/(drainage path)² in transformed height; infinite where not slow.
    ends : 2 drained above and below, 1 at one end, 0 at neither (taken as one end). The ground
        surface drains; the model's floor does not.
    """
    slow = slow & active
    height, above = _run_heights(active, slow, thickness, kv, cv)
    rate = np.full(active.shape, np.inf)
    ends = np.zeros(active.shape, np.int8)
    columns = active.shape[1]
    inside = np.zeros(columns, bool)
    below_kv, total = np.zeros(columns), np.zeros(columns)
    below = np.zeros(columns, bool)
    for layer in range(active.shape[0] - 1, -1, -1):
        here, cell = active[layer], slow[layer]
        last = cell & ~inside
        total = np.where(last, height[layer], total)
        below = np.where(last, below_kv >= DRAINING * kv[layer], below)
        drained = above[layer].astype(np.int8) + below
        with np.errstate(divide="ignore"):
            own = (np.maximum(drained, 1) / total) ** 2
        rate[layer] = np.where(cell, own, np.inf)
        ends[layer] = np.where(cell, drained, 0)
        inside = np.where(here, cell, inside)
        below_kv = np.where(here, kv[layer], below_kv)
    return rate, ends


def _run_heights(
    active: Mask, slow: Mask, thickness: Floats, kv: Floats, cv: Floats
) -> tuple[Floats, Mask]:
    """From the top down: transformed height of each run so far, and whether its top drains."""
    height, above = np.zeros(active.shape), np.zeros(active.shape, bool)
    columns = active.shape[1]
    inside, drained = np.zeros(columns, bool), np.zeros(columns, bool)
    so_far, above_kv = np.zeros(columns), np.full(columns, np.inf)
    for layer in range(active.shape[0]):
        here, cell = active[layer], slow[layer]
        first = cell & ~inside
        drained = np.where(first, above_kv >= DRAINING * kv[layer], drained)
        so_far = np.where(first, 0.0, so_far) + np.where(
            cell, thickness[layer] / np.sqrt(cv[layer]), 0.0
        )
        height[layer], above[layer] = so_far, drained & cell
        inside = np.where(here, cell, inside)
        above_kv = np.where(here, kv[layer], above_kv)
    return height, above
