"""Realisations of layer surfaces: how the ground may run between the borings, the borings honoured.

A realisation is the kriged surface plus what scatters about it. A Gaussian field of the surface's
variogram is drawn without regard to the borings; its kriged values at the borings are taken off
again (conditioning by kriging: Chilès & Delfiner, Geostatistics, 2nd ed. 2012, §7.3, value from
memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from wellring.model.geology.surface_interpolation import FEWEST_FOR_KRIGING, residuals_of
from wellring.model.geology.variogram import Variogram, correlation, fit_variogram

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

WAVES = 500
"""Waves that a field is summed of: its variance is then known to about 1/√WAVES."""
CHUNK = 4_000
"""Points worked out at a time."""
SHORTEST_WAVE = 200.0
"""Wave number, in inverse ranges, from which the spectrum is taken as its asymptote 3/2 k⁻²."""


@dataclass(frozen=True, eq=False)
class GaussianField:
    """A Gaussian random field with a spherical variogram, a sum of waves of random length.

    Parameters
    ----------
    origin : what coordinates are counted from [m].
    waves : shape (2, WAVES), wave numbers along x and y [1/m].
    heights : shape (2, WAVES), of the cosine and of the sine of each wave, in the field's unit.

    References
    ----------
    Randomisation method: Heße, Prykhodko, Schlüter & Attinger 2014,
    doi:10.1016/j.envsoft.2014.01.013 (value from memory).
    """

    variogram: Variogram
    origin: tuple[float, float]
    waves: Floats
    heights: Floats

    def __call__(self, x: Floats, y: Floats) -> Floats:
        """Its values at points of shape (n,), in the unit of the sill's square root."""
        places = np.column_stack([x, y]) - self.origin
        values = np.empty(len(places))
        for start in range(0, len(places), CHUNK):
            part = places[start : start + CHUNK]
            # Products of matrices differ in the last digit with the number of points.
            phase = part[:, :1] * self.waves[0] + part[:, 1:] * self.waves[1]
            waves = self.heights[0] * np.cos(phase) + self.heights[1] * np.sin(phase)
            values[start : start + CHUNK] = waves.sum(axis=1)
        return values


def gaussian_field(
    x: Floats, y: Floats, values: Floats, trend: bool, seed: int
) -> GaussianField | None:
    """The field of one realisation of a surface known at (x, y), shape (n,).

    None where nothing scatters: fewer than 4 points, or values that a plane or mean meets.

    Parameters
    ----------
    trend : as in :func:`wellring.model.geology.surface_interpolation.interpolate`.
    """
    if x.size < FEWEST_FOR_KRIGING:
        return None
    origin = float(x.mean()), float(y.mean())
    residuals, _ = residuals_of(x - origin[0], y - origin[1], values, trend)
    if not residuals.any():
        return None
    variogram = fit_variogram(x - origin[0], y - origin[1], residuals)
    random = np.random.default_rng(seed)
    bearing = random.uniform(0.0, 2.0 * np.pi, WAVES)
    numbers = _wave_numbers(random.uniform(0.0, 1.0, WAVES)) / variogram.range
    waves = numbers * np.array([np.cos(bearing), np.sin(bearing)])
    heights = np.sqrt(variogram.sill / WAVES) * random.standard_normal((2, WAVES))
    return GaussianField(variogram, origin, waves, heights)


def _wave_numbers(chance: Floats) -> Floats:
    """Wave numbers [1/range] below which these shares of a spherical field's variance lie."""
    numbers, share = _spectrum()
    tail = 1.5 / np.maximum(1.0 - chance, 1e-12)
    return np.where(chance < share[-1], np.interp(chance, share, numbers), tail)


@lru_cache(maxsize=1)
def _spectrum() -> tuple[Floats, Floats]:
    """Wave numbers [1/range] and the share of the variance below each, of a field in the plane.

    The density is k ∫ ρ(r) J₀(kr) r dr over the range; ρ falls off as 1 - 3/2 r at the origin,
    so that it tends to 3/2 k⁻² and the share to 1 - 3/2 k⁻¹.
    """
    from scipy.integrate import cumulative_simpson
    from scipy.special import j0

    node, weight = np.polynomial.legendre.leggauss(400)
    lag, weight = 0.5 * (node + 1.0), 0.5 * weight
    numbers = np.linspace(0.0, SHORTEST_WAVE, 4001)
    density = numbers * (j0(np.outer(numbers, lag)) @ (correlation(lag) * lag * weight))
    return numbers, cumulative_simpson(density, x=numbers, initial=0.0)
