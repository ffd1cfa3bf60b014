"""Realisations of layer surfaces: how the ground may run between the borings, the borings honoured.

A realisation is the kriged surface plus what scatters about it. A Gaussian field of the surface's
variogram is drawn without regard to the borings; its kriged values at the borings are taken off
again (conditioning by kriging: Chilès & Delfiner, Geostatistics, 2nd ed. 2012, §7.3, value from
memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from wellring.model.surface_interpolation import (
    FEWEST_FOR_KRIGING,
    residuals_of,
)
from wellring.model.variogram import Variogram, fit_variogram

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

WAVES = 500
"""Waves that a field is summed of: its variance is then known to about 1/√WAVES."""


@dataclass(frozen=True)
class GaussianField:
    """A Gaussian random field with a spherical variogram, drawn by GSTools' randomisation method.

    Parameters
    ----------
    origin : what coordinates are counted from [m].
    drawn : GSTools' generator, which gives the same value at the same place each time.
    """

    variogram: Variogram
    origin: tuple[float, float]
    drawn: Any

    def __call__(self, x: Floats, y: Floats) -> Floats:
        """Its values at points of shape (n,), in the unit of the sill's square root."""
        if x.size == 0:
            return np.zeros(0)
        return np.asarray(self.drawn((x - self.origin[0], y - self.origin[1])), dtype=float)


def gaussian_field(
    x: Floats, y: Floats, values: Floats, trend: bool, seed: int
) -> GaussianField | None:
    """The field of one realisation of a surface known at (x, y), shape (n,).

    None where nothing scatters: fewer than 4 points, or values that a plane or mean meets.

    Parameters
    ----------
    trend : as in :func:`wellring.model.surface_interpolation.interpolate`.
    """
    if x.size < FEWEST_FOR_KRIGING:
        return None
    origin = float(x.mean()), float(y.mean())
    residuals, _ = residuals_of(x - origin[0], y - origin[1], values, trend)
    if not residuals.any():
        return None
    import gstools

    variogram = fit_variogram(x - origin[0], y - origin[1], residuals)
    model = gstools.Spherical(dim=2, var=variogram.sill, len_scale=variogram.range)
    return GaussianField(variogram, origin, gstools.SRF(model, seed=seed, mode_no=WAVES))
