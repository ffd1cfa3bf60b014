"""How a building bears the settlement beneath it: distortion, strain, classes of damage.

Sources
-------
Rankin, W. J. (1988), Ground movements resulting from urban tunnelling (limits from memory).
Boscardin, M. D., Cording, E. J. (1989), Building response to excavation-induced settlement
(limits as tabulated in doi 10.1186/s40327-018-0062-9, table 1).
Burland, J. B., Wroth, C. P. (1974), Settlement of buildings and associated damage; with the
horizontal strain as in Burland (1997) (formulas from memory).
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

RANKIN = ("negligible", "slight", "moderate", "high")
"""Rankin's classes, by the worse of settlement and slope."""
RANKIN_SETTLEMENTS = (0.010, 0.050, 0.075)
"""Settlement [m] from which the classes after the first begin."""
RANKIN_SLOPES = (1 / 500, 1 / 200, 1 / 50)
"""Slope from which the classes after the first begin."""

DAMAGE = ("negligible", "very slight", "slight", "moderate", "severe")
"""Categories of damage by tensile strain; the last stands for severe and very severe."""
LIMITING_STRAINS = (0.0005, 0.00075, 0.0015, 0.003)
"""Tensile strain from which the categories after the first begin."""
E_OVER_G = 2.6
"""Young's over shear modulus of a wall taken as an isotropic beam of Poisson's ratio 0.3."""


def rankin_class(settlement: Floats, slope: Floats) -> Ints:
    """Place in :data:`RANKIN` of greatest settlement [m] and slope [-] (n,), -1 for NaN.

    A value on a boundary belongs to the worse class.
    """
    by_settlement = np.searchsorted(RANKIN_SETTLEMENTS, settlement, side="right")
    by_slope = np.searchsorted(RANKIN_SLOPES, slope, side="right")
    known = np.isfinite(settlement) & np.isfinite(slope)
    return np.where(known, np.maximum(by_settlement, by_slope), -1)


def damage_category(strain: Floats) -> Ints:
    """Place in :data:`DAMAGE` of a tensile strain [-] (n,), -1 for NaN."""
    found = np.searchsorted(LIMITING_STRAINS, strain, side="right")
    return np.where(np.isfinite(strain), found, -1)


def distortion_strain(distortion: Floats, horizontal: Floats) -> Floats:
    """Principal tensile strain of a wall panel under angular distortion and horizontal strain.

    The strains of a panel sheared by β and stretched by εh: ε = εh/2 + √(εh² + β²)/2 (Boscardin
    and Cording's state of strain; with εh = 0 half the distortion). All (n,) [-].
    """
    return 0.5 * (horizontal + np.hypot(horizontal, distortion))


def beam_strain(deflection: Floats, length: Floats, height: Floats, horizontal: Floats) -> Floats:
    """Largest tensile strain of a deep beam bent by a deflection ratio Δ/L (n,).

    Burland and Wroth's isotropic beam in hogging, its neutral axis at the lower edge (t = H,
    I = H³/3), which is the worse case; bending adds εh, shear is combined with it as
    0.35 εh + √((0.65 εh)² + εd²).

    Parameters
    ----------
    deflection : deflection over length, Δ/L [-].
    length, height : of the wall [m]; NaN gives NaN.
    """
    inertia = height**3 / 3
    bend_at = length / (12 * height) + 3 * inertia * E_OVER_G / (2 * height**2 * length)
    shear_at = 1 + height * length**2 / (18 * inertia * E_OVER_G)
    bending = deflection / bend_at + horizontal
    sheared = deflection / shear_at
    diagonal = 0.35 * horizontal + np.hypot(0.65 * horizontal, sheared)
    return np.fmax(bending, diagonal)


def longest_side(shapes: NDArray[np.object_]) -> Floats:
    """Longer side [m] of the smallest rectangle around each polygon (n,)."""
    boxes = shapely.oriented_envelope(shapes)
    ring = shapely.get_exterior_ring(boxes)
    corner = [shapely.get_coordinates(shapely.get_point(ring, k)) for k in range(3)]
    sides = [np.hypot(*(corner[k + 1] - corner[k]).T) for k in range(2)]
    return np.maximum(*sides)


def tilts(xy: Floats, values: Floats, owner: Ints, count: int) -> tuple[Floats, Floats]:
    """Gradient (count, 2) of the plane that fits each group's values best, and residuals (m,).

    Parameters
    ----------
    xy, values, owner : (m, 2) places, (m,) values and the group of each.
    """

    def mean(item: Floats) -> Floats:
        return np.bincount(owner, item, count) / np.maximum(np.bincount(owner, minlength=count), 1)

    known = np.where(np.isfinite(values), values, 0.0)
    dx, dy, dv = (item - mean(item)[owner] for item in (xy[:, 0], xy[:, 1], known))
    xx, yy, xy_ = mean(dx * dx), mean(dy * dy), mean(dx * dy)
    xv, yv = mean(dx * dv), mean(dy * dv)
    det = xx * yy - xy_**2
    flat = det <= 1e-9 * np.maximum(xx + yy, 1e-12) ** 2  # all points on one line
    safe = np.where(flat, 1.0, det)
    spread = np.maximum(xx + yy, 1e-12)
    along_x = np.where(flat, xv / spread, (yy * xv - xy_ * yv) / safe)
    along_y = np.where(flat, yv / spread, (xx * yv - xy_ * xv) / safe)
    residual = dv - along_x[owner] * dx - along_y[owner] * dy
    return np.column_stack([along_x, along_y]), residual
