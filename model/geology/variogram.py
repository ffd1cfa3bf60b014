"""How a surface scatters with distance: the spherical variogram fitted to scattered values."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

FEWEST_FOR_FIT = 10
LONGEST_RANGE = 1.25
"""Upper bound of the variogram's range, in extents of the data (common practice, no source)."""
LONGEST_LAG = 0.7
"""Pairs farther apart, in extents of the data, say little of the variogram: they are few and all
across the middle (common practice, no source)."""
FIRST_RANGE = 0.5
"""Range with which the fit begins, in extents of the data."""


@dataclass(frozen=True)
class Variogram:
    """Spherical variogram without nugget: `range` [m] and `sill` [square of the values' unit]."""

    range: float
    sill: float


def fit_variogram(x: Floats, y: Floats, residuals: Floats) -> Variogram:
    """Fit a spherical variogram to `residuals` at (x, y); its sill is their variance.

    The range is held between the mean spacing of neighbours and 1.25 extents of the data: a free
    fit to values that still contain a slope has no sill to find and runs off. With fewer than 10
    points an experimental variogram says nothing; the range is then the extent (common practice,
    no source).

    Parameters
    ----------
    x, y, residuals : shape (n,), n ≥ 2, not all equal.

    Raises
    ------
    ValueError : there are fewer than two points.
    """
    return _fitted(*(np.asarray(part, dtype=np.float64).tobytes() for part in (x, y, residuals)))


@lru_cache(maxsize=256)
def _fitted(*given: bytes) -> Variogram:
    # Schemes of a site and cases of a study ask for the same surfaces on other grids.
    x, y, residuals = (np.frombuffer(part) for part in given)
    extent = extent_of(x, y)
    sill = float(np.var(residuals, ddof=1))
    if x.size < FEWEST_FOR_FIT:
        return Variogram(extent, sill)

    from scipy.optimize import curve_fit
    from scipy.spatial.distance import pdist

    # Unit extent and unit sill, so that the fit's tolerances fit every site.
    lag = pdist(np.column_stack([x, y])) / extent
    half_square = 0.5 * pdist(residuals[:, None], "sqeuclidean") / sill
    edges = np.linspace(0.0, LONGEST_LAG, int(np.clip(np.sqrt(lag.size), 4, 15)) + 1)
    kept = lag < LONGEST_LAG
    part = np.digitize(lag[kept], edges) - 1
    pairs = np.bincount(part, minlength=edges.size - 1)
    filled = pairs > 0
    gamma = np.bincount(part, half_square[kept], edges.size - 1)[filled] / pairs[filled]
    centres = 0.5 * (edges[1:] + edges[:-1])[filled]
    lowest = min(float(np.mean(_spacing(x, y))) / extent, LONGEST_RANGE / 2)
    try:
        (found,), _ = curve_fit(
            lambda distance, range: 1.0 - correlation(distance / range),
            centres,
            gamma,
            p0=(FIRST_RANGE,),
            sigma=1.0 / np.sqrt(pairs[filled]),
            absolute_sigma=True,
            bounds=(lowest, LONGEST_RANGE),
            loss="soft_l1",
        )
    except (RuntimeError, ValueError):  # no convergence, or too few filled bins
        return Variogram(extent, sill)
    return Variogram(float(found) * extent, sill)


def correlation(lag: Floats) -> Floats:
    """The spherical model [-], element by element; `lag` (any shape) in ranges."""
    lag = np.minimum(lag, 1.0)
    return 1.0 + lag * (0.5 * lag * lag - 1.5)


def extent_of(x: Floats, y: Floats) -> float:
    """Greatest distance [m] between two of the points (n,), whatever the grid's direction.

    Raises
    ------
    ValueError : there are fewer than two points.
    """
    if np.size(x) < 2:
        raise ValueError(f"the extent of points needs at least two of them, not {np.size(x)}")
    from scipy.spatial.distance import pdist

    return float(pdist(np.column_stack([x, y])).max())


def _spacing(x: Floats, y: Floats) -> Floats:
    """Distance of each point to its nearest neighbour [m], shape (n,)."""
    from scipy.spatial import cKDTree

    points = np.column_stack([x, y])
    return cKDTree(points).query(points, k=2)[0][:, 1]
