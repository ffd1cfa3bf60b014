"""Which drainage points get grid lines of their own, and which share cells as rows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

DENSE = 3.0
"""Points nearer to one another than this many default cells form rows."""
ROW_OF = 3
"""So many dense points on one grid direction are a row: a cell is centred on it."""


@dataclass(frozen=True)
class PointRows:
    """Points of a scheme by what the grid gives them.

    Parameters
    ----------
    single : (n, 2) points with a cell centred on each.
    dense : (m, 2) points in rows.
    spacing : (m,) distance [m] of each of those to its nearest neighbour.
    single_spacing : median of that over the single points [m]; 0 for fewer than two.
    """

    single: Floats
    dense: Floats
    spacing: Floats
    single_spacing: float


def point_rows(places: Floats, default: float) -> PointRows:
    """Part points (n, 2) by their distance to one another, with default cells of `default` [m].

    In a row with the spacing a, levels between the points differ from the row's mean by
    ln(2)·Q/(2π·T) (image wells; own derivation): for points closer than a few cells that is
    little, and their own cones stand in the conductance between cell and point.
    """
    places = places[np.sort(np.unique(np.round(places, 3), axis=0, return_index=True)[1])]
    if len(places) < ROW_OF:
        return PointRows(places, np.zeros((0, 2)), np.zeros(0), _spacing(places))
    from scipy.spatial import KDTree

    nearest, second = KDTree(places).query(places, k=ROW_OF)[0][:, 1:].T
    # The end of a row has its second neighbour at twice the spacing; pairs of wells are no row.
    dense = (nearest < DENSE * default) & (second < 2 * DENSE * default)
    return PointRows(places[~dense], places[dense], nearest[dense], _spacing(places[~dense]))


def _spacing(places: Floats) -> float:
    """Median distance [m] from a point (n, 2) to its nearest neighbour; 0 for fewer than two."""
    if len(places) < 2:
        return 0.0
    from scipy.spatial import KDTree

    return float(np.median(KDTree(places).query(places, k=2)[0][:, 1]))
