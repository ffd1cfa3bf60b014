"""Columns of contacts that keep their order and come as near as they can to what was estimated.

Contacts are estimated one by one, from all that the borings saw of each. Put into one column, two
of them may cross, and where a unit ends between two borings its top and its bottom have to meet.
Both are one problem of least squares in each column, over levels L from the top down::

    Σ (L[j] - level[j])² / variance[j]  +  Σ (L[i] - L[i+1] - thickness[i])² / softness[i]

with L[i] ≥ L[i+1]. A contact that the borings predict well (small variance) stays where it is; the
contacts that they predict badly move.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


def fitted_columns(
    levels: Floats,
    variance: Floats,
    thickness: Floats | None = None,
    softness: Floats | None = None,
) -> Floats:
    """The ordered levels nearest to the given ones.

    Parameters
    ----------
    levels : shape (k, n) [m], estimates from the top down in n columns.
    variance : shape (k, n) [m²], above 0; how little each estimate binds.
    thickness, softness : shape (k - 1, n), expected thickness [m], which may be negative, and its
        variance [m²], infinite where no thickness is expected. Left out: no thickness binds.

    Returns
    -------
    Levels of shape (k, n), never increasing downward.

    Notes
    -----
    Without the order the problem is a chain, solved by a Kalman filter down the column and the
    Rauch-Tung-Striebel smoother back up (Rauch, Tung & Striebel 1965, doi:10.2514/3.3166; value
    from memory). Thicknesses that come out negative are set to zero for good and the chain is
    solved again. No thickness set to zero has to be released: the inverse of the problem's matrix
    in thicknesses is an M-matrix, for which this elimination ends at the optimum (Chandrasekaran
    1970, Opsearch 7, 263-268; value from memory). Without thicknesses it is weighted isotonic
    regression by pooling adjacent violators.
    """
    if levels.shape[0] < 2 or levels.shape[1] == 0:
        return levels.copy()
    if thickness is None or softness is None:
        thickness = np.zeros((levels.shape[0] - 1, levels.shape[1]))
        softness = np.full_like(thickness, np.inf)
    fitted = np.empty_like(levels)
    tied = np.zeros(thickness.shape, dtype=bool)
    open_columns = np.arange(levels.shape[1])
    while open_columns.size:
        ties = tied[:, open_columns]
        solved = _chain(
            levels[:, open_columns],
            variance[:, open_columns],
            np.where(ties, 0.0, thickness[:, open_columns]),
            np.where(ties, 0.0, softness[:, open_columns]),
        )
        fitted[:, open_columns] = solved
        crossed = (np.diff(solved, axis=0) > 0.0) & ~ties
        tied[:, open_columns] |= crossed
        open_columns = open_columns[crossed.any(axis=0)]
    # Ties hold to rounding only.
    for upper in range(len(tied)):
        fitted[upper + 1] = np.where(tied[upper], fitted[upper], fitted[upper + 1])
    return fitted


def _chain(levels: Floats, variance: Floats, thickness: Floats, softness: Floats) -> Floats:
    """Least squares without the order, all of shape (k, n) and (k - 1, n)."""
    count = len(levels)
    mean, spread = np.empty_like(levels), np.empty_like(levels)
    expected, expected_spread = np.empty_like(levels), np.empty_like(levels)
    mean[0], spread[0] = levels[0], variance[0]
    for j in range(1, count):
        expected[j] = mean[j - 1] - thickness[j - 1]
        expected_spread[j] = spread[j - 1] + softness[j - 1]
        free = np.isinf(expected_spread[j])
        bounded = np.where(free, 1.0, expected_spread[j])
        gain = np.where(free, 1.0, bounded / (bounded + variance[j]))
        mean[j] = expected[j] + gain * (levels[j] - expected[j])
        spread[j] = gain * variance[j]
    fitted = np.empty_like(levels)
    fitted[-1] = mean[-1]
    for j in range(count - 2, -1, -1):
        pull = spread[j] / expected_spread[j + 1]
        fitted[j] = mean[j] + pull * (fitted[j + 1] - expected[j + 1])
    return fitted
