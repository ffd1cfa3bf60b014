"""How well an interpolation predicts a point that it was not given."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from wellring.model.geology.surface_interpolation import interpolate, residuals_of, without_twins
from wellring.model.geology.variogram import FEWEST_FOR_FIT, correlation, fit_variogram

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


def leave_one_out(
    method: str, x: Floats, y: Floats, values: Floats, *, trend: bool = True
) -> tuple[Floats, Floats, Floats]:
    """Errors at points left out one at a time: predicted from all others minus known.

    Parameters
    ----------
    method, x, y, values, trend : as in `interpolate`.

    Returns
    -------
    x, y of the k points that differ in place, shape (k,) [m], and the errors there, shape (k,), in
    the unit of the values; empty arrays where there are fewer than two such points.

    Notes
    -----
    With kriging and 10 points or more the variogram is that of all points, and the slope, where
    there is one, is estimated anew without the point; all errors then come from one matrix
    (Dubrule 1983, doi:10.1007/BF01033232; value from memory).
    """
    x, y, values = without_twins(x, y, values)
    if x.size < 2:
        return x[:0], y[:0], values[:0]
    if method == "kriging" and x.size >= FEWEST_FOR_FIT:
        return x, y, _kriging_errors(x - x.mean(), y - y.mean(), values, trend)
    errors = np.empty(x.size)
    for left_out in range(x.size):
        others = np.arange(x.size) != left_out
        predicted, _ = interpolate(
            method, x[others], y[others], values[others], x[[left_out]], y[[left_out]], trend=trend
        )
        errors[left_out] = predicted[0] - values[left_out]
    return x, y, errors


def _kriging_errors(x: Floats, y: Floats, values: Floats, trend: bool) -> Floats:
    from scipy.spatial.distance import cdist

    residuals, plane = residuals_of(x, y, values, trend)
    if not residuals.any():
        return np.zeros(x.size)
    variogram = fit_variogram(x, y, residuals)
    points = np.column_stack([x, y])
    extent = max(float(np.abs(points).max()), 1.0)
    drift = np.column_stack([np.ones(x.size), points / extent])[:, : 1 if plane is None else 3]
    size, terms = x.size, drift.shape[1]
    system = np.zeros((size + terms, size + terms))
    system[:size, :size] = correlation(cdist(points, points) / variogram.range)
    system[:size, size:] = drift
    system[size:, :size] = drift.T
    # Borings in a row leave the slope across the row open: the pseudo-inverse takes none.
    inverse = np.linalg.pinv(system, hermitian=True)[:size, :size]
    return -(inverse @ values) / np.maximum(np.diag(inverse), 1e-12)
