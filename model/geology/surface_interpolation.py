"""Surfaces through scattered points: ordinary kriging, linear in triangles, or nearest point.

All three pass through the data exactly, work with one, two or collinear points, and stay bounded
far outside the borings: that is where most of a groundwater model's cells lie.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import TYPE_CHECKING, Protocol

import numpy as np
import shapely

from wellring.model.geology.variogram import Variogram, correlation, extent_of, fit_variogram

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

METHODS = ("kriging", "linear", "nearest")

SAME_PLACE = 1e-3
"""Points closer than this [m] are one point, with the mean of their values."""
FEWEST_FOR_KRIGING = 4
FEWEST_FOR_TREND = 6
TREND_SIGNIFICANCE = 0.05
CHUNK = 4_000
"""Points estimated at a time, so that their covariances with the data stay in the cache."""
AT_A_TIME = 200_000
"""Pairs of a place and a triangle looked at together."""
FLAT = 1e-13
"""A triangle of less area, in squares of its sides, is a line; shares this far below 0 are 0."""


class RandomField(Protocol):
    """A field without mean, any number of times the same at the same place."""

    @property
    def variogram(self) -> Variogram:
        """How it scatters."""
        ...

    def __call__(self, x: Floats, y: Floats) -> Floats:
        """Its values at points of shape (n,)."""
        ...


def interpolate(
    method: str,
    x: Floats,
    y: Floats,
    values: Floats,
    xq: Floats,
    yq: Floats,
    *,
    with_std: bool = False,
    trend: bool = True,
    field: RandomField | None = None,
) -> tuple[Floats, Floats | None]:
    """Interpolate `values` known at (x, y) to the points (xq, yq).

    "kriging"
        Ordinary kriging with a spherical variogram, of what a sloping plane leaves over where
        such a plane is justified (F-test at 5 %, at least 6 points), else about a constant mean.
        Beyond the data the estimate tends to the plane, which is carried on for half the data's
        extent and then kept level, so that it cannot run away. Fewer than 4 points: as "linear".
    "linear"
        Linear in Delaunay triangles; outside them the value at the nearest point of their rim.
    "nearest"
        The value of the nearest point.

    Parameters
    ----------
    method : one of "kriging", "linear", "nearest".
    x, y, values : shape (n,), n ≥ 1; coordinates [m] and values (any unit).
    xq, yq : shape (m,) coordinates asked for [m].
    with_std : also return the kriging standard deviation.
    trend : False keeps kriging to a constant mean.
    field : with "kriging" and 4 points or more: what scatters about the estimate, made to agree
        with the values; the result then is a realisation in place of the estimate.

    Returns
    -------
    estimates of shape (m,), and with "kriging" and `with_std` their standard deviation of shape
    (m,) in the values' unit, else None. It is 0 at the data, NaN elsewhere where fewer than 4
    points leave it unknown, and does not contain the uncertainty of the plane itself.

    Raises
    ------
    ValueError : unknown method, no points, shapes that differ, or values that are not finite.

    References
    ----------
    Ordinary kriging, its dual form and its variance: Chilès & Delfiner, Geostatistics, 2nd ed.
    (2012), §3.4 (value from memory). The tests hold variogram and kriging against GSTools,
    doi:10.5194/gmd-15-3161-2022.
    """
    if method not in METHODS:
        raise ValueError(f"method is {method!r}; expected one of {', '.join(METHODS)}")
    x, y, values, xq, yq = (np.asarray(a, dtype=np.float64) for a in (x, y, values, xq, yq))
    if x.ndim != 1 or not x.shape == y.shape == values.shape or x.size == 0:
        raise ValueError("expected x, y and values of one shape (n,) with n ≥ 1")
    if xq.ndim != 1 or xq.shape != yq.shape:
        raise ValueError("expected xq and yq of one shape (m,)")
    if not all(np.isfinite(a).all() for a in (x, y, values)):
        raise ValueError("expected finite coordinates and values")

    x, y, values = without_twins(x, y, values)
    fields = None if field is None else (field, field(x, y), field(xq, yq))
    # Grid coordinates of millions of metres would cost half the digits in every product.
    x0, y0 = x.mean(), y.mean()
    x, y, xq, yq = x - x0, y - y0, xq - x0, yq - y0
    if xq.size == 0:
        return np.zeros(0), np.zeros(0) if with_std and method == "kriging" else None
    if method == "nearest":
        return _nearest(x, y, values, xq, yq), None
    if method == "linear":
        return _linear(x, y, values, xq, yq), None
    if x.size < FEWEST_FOR_KRIGING:
        std = np.where(_distance_to_data(x, y, xq, yq) < SAME_PLACE, 0.0, np.nan)
        return _linear(x, y, values, xq, yq), std if with_std else None
    return _krige(x, y, values, xq, yq, with_std, trend, fields)


def residuals_of(
    x: Floats, y: Floats, values: Floats, trend: bool
) -> tuple[Floats, Callable[[Floats, Floats], Floats] | None]:
    """What is left over at (x, y) by a plane, or by the mean where that is None; 0 if nothing."""
    plane = _plane(x, y, values) if trend else None
    residuals = values - (values.mean() if plane is None else plane(x, y))
    nothing = residuals.std() <= 1e-9 * max(1.0, float(np.abs(values).max()))
    return np.zeros(values.shape) if nothing else residuals, plane


def _krige(
    x: Floats,
    y: Floats,
    values: Floats,
    xq: Floats,
    yq: Floats,
    with_std: bool,
    trend: bool,
    fields: tuple[RandomField, Floats, Floats] | None,
) -> tuple[Floats, Floats | None]:
    residuals, plane = residuals_of(x, y, values, trend)
    base = np.full(xq.shape, values.mean())
    if plane is not None:
        base = plane(*_pulled_back(x, y, xq, yq))
    if not residuals.any():
        return base, np.zeros(xq.shape) if with_std else None
    variogram = fit_variogram(x, y, residuals)
    if fields is not None:
        # The field's own error at the data is kriged away: what is left agrees with the values.
        field, at_data, asked = fields
        variogram, residuals, base = field.variogram, residuals - at_data, base + asked
    drawn, variance = _ordinary(x, y, residuals, variogram, xq, yq, with_std)
    return base + drawn, None if variance is None else np.sqrt(np.maximum(variance, 0.0))


def _ordinary(
    x: Floats,
    y: Floats,
    values: Floats,
    variogram: Variogram,
    xq: Floats,
    yq: Floats,
    with_variance: bool,
) -> tuple[Floats, Floats | None]:
    """Ordinary kriging in its dual form: one solve for all points asked for, products for each.

    GSTools solves the same equations point by point: 20 times slower with 200 borings.
    """
    from scipy.linalg import lu_factor, lu_solve
    from scipy.spatial.distance import cdist

    data = np.column_stack([x, y])
    asked = np.column_stack([xq, yq])
    size = x.size

    def covariance(distance: Floats) -> Floats:
        return variogram.sill * correlation(distance / variogram.range)

    system = np.ones((size + 1, size + 1))
    system[:size, :size] = covariance(cdist(data, data))
    system[size, size] = 0.0
    factors = lu_factor(system)
    weights = lu_solve(factors, np.append(values, 0.0))
    inverse = lu_solve(factors, np.eye(size + 1)) if with_variance else None
    field, variance = np.empty(len(asked)), np.empty(len(asked))
    for start in range(0, len(asked), CHUNK):
        part = slice(start, start + CHUNK)
        right = np.ones((len(asked[part]), size + 1))
        right[:, :size] = covariance(cdist(asked[part], data))
        field[part] = right @ weights
        if inverse is not None:
            variance[part] = variogram.sill - np.sum((right @ inverse) * right, axis=1)
    return field, variance if with_variance else None


def _plane(x: Floats, y: Floats, values: Floats) -> Callable[[Floats, Floats], Floats] | None:
    """Least-squares plane through the values, or None where it explains no more than chance.

    F-test of all slopes together; Draper & Smith, Applied Regression Analysis, 3rd ed. (1998),
    ch. 4 (value from memory). Points nearly on a line give a slope along that line only.
    """
    from scipy.special import fdtrc

    if x.size < FEWEST_FOR_TREND:
        return None
    axes, spread = _principal_axes(x, y)
    axes = axes[spread > 0.05 * spread[0]]
    design = np.column_stack([np.ones(x.size), *(_along(axis, x, y) for axis in axes)])
    factors = np.linalg.lstsq(design, values, rcond=None)[0]
    left = float(np.sum((values - design @ factors) ** 2))
    total = float(np.sum((values - values.mean()) ** 2))
    free = x.size - len(axes) - 1
    if total <= 0.0:
        return None
    ratio = (total - left) / len(axes) / max(left / free, 1e-30 * total)
    if fdtrc(len(axes), free, max(ratio, 0.0)) > TREND_SIGNIFICANCE:
        return None
    slope = factors[1:] @ axes
    return lambda px, py: factors[0] + slope[0] * px + slope[1] * py


def _pulled_back(x: Floats, y: Floats, xq: Floats, yq: Floats) -> tuple[Floats, Floats]:
    """The query points, those far outside moved onto the hull widened by half its extent."""
    hull = shapely.convex_hull(shapely.multipoints(np.column_stack([x, y])))
    rim = hull.exterior if hull.geom_type == "Polygon" else hull
    moved = np.column_stack([xq, yq])
    outside = (
        ~shapely.contains_xy(hull, xq, yq)
        if hull.geom_type == "Polygon"
        else np.ones(xq.shape, dtype=bool)
    )
    asked = moved[outside]
    near = _nearest_on(shapely.get_coordinates(rim), asked)
    away = asked - near
    distance = np.hypot(away[:, 0], away[:, 1])
    margin = 0.5 * extent_of(x, y)
    kept = np.minimum(1.0, margin / np.maximum(distance, 1e-12))
    moved[outside] = near + away * kept[:, None]
    return moved[:, 0], moved[:, 1]


def _nearest_on(line: Floats, points: Floats) -> Floats:
    """The nearest place (n, 2) to each point (n, 2) on a line through the corners (k, 2).

    Edge by edge over all points: a geometry object for every point takes longer to make.
    """
    nearest = np.broadcast_to(line[0], points.shape).copy()
    least = ((points - nearest) ** 2).sum(axis=1)
    for start, end in pairwise(line):
        way = end - start
        share = (points - start) @ way / max(float(way @ way), 1e-300)
        foot = start + np.clip(share, 0.0, 1.0)[:, None] * way
        apart = ((points - foot) ** 2).sum(axis=1)
        closer = apart < least
        nearest[closer], least[closer] = foot[closer], apart[closer]
    return nearest


def _linear(x: Floats, y: Floats, values: Floats, xq: Floats, yq: Floats) -> Floats:
    if x.size == 1:
        return np.full(xq.shape, values[0])
    axes, _ = _principal_axes(x, y)
    along, across = _along(axes[0], x, y), _along(axes[1], x, y)
    order = np.argsort(along)
    gap = float(np.diff(along[order]).min())
    # A row of borings is a section, not a triangulation of slivers: the surface is carried
    # square to the row, as long as each boring keeps a place of its own along it.
    scatter = float(np.ptp(across))
    if x.size == 2 or (scatter < 0.02 * np.ptp(along) and gap > scatter):
        return np.interp(_along(axes[0], xq, yq), along[order], values[order])

    from scipy.spatial import Delaunay

    triangles = Delaunay(np.column_stack([x, y]))
    ring = _ring(triangles.convex_hull)
    corners = np.column_stack([x, y])[ring]
    found = _in_triangles(np.column_stack([x, y]), values, triangles.simplices, xq, yq)
    outside = np.isnan(found)
    if outside.any():
        rim = shapely.linestrings(corners)
        way = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(corners, axis=0).T))])
        place = shapely.line_locate_point(rim, shapely.points(xq[outside], yq[outside]))
        found[outside] = np.interp(place, way, values[ring])
    return found


def _in_triangles(
    points: Floats, values: Floats, triangles: NDArray[np.int32], xq: Floats, yq: Floats
) -> Floats:
    """Linear in the triangle (rows of three point numbers) around each place; NaN outside all.

    In closed form, all triangles at once: SciPy's own look-up solves a system for each triangle,
    and the threads of a linear algebra library then cost ten times what all else does.
    """
    ends = points[triangles]
    (ax, ay), (bx, by) = (ends[:, :2] - ends[:, 2:]).transpose(1, 2, 0)
    area = ax * by - ay * bx
    flat = np.abs(area) <= FLAT * (ax**2 + ay**2 + bx**2 + by**2)
    area = np.where(flat, np.inf, area)
    found = np.full(xq.shape, np.nan)
    step = max(1, AT_A_TIME // len(area))
    for start in range(0, xq.size, step):
        part = slice(start, start + step)
        x, y = xq[part, None] - ends[:, 2, 0], yq[part, None] - ends[:, 2, 1]
        first, second = (x * by - y * bx) / area, (y * ax - x * ay) / area
        third = 1.0 - first - second
        least = np.minimum(np.minimum(first, second), third)
        least[:, flat] = -np.inf
        best = np.arange(len(least)), least.argmax(axis=1)
        shares = np.column_stack([first[best], second[best], third[best]])
        level = (shares * values[triangles[best[1]]]).sum(axis=1)
        found[part] = np.where(least[best] < -FLAT, np.nan, level)
    return found


def _ring(edges: NDArray[np.int32]) -> list[int]:
    """The edges of a triangulation's rim, shape (k, 2), as one closed walk of k + 1 points."""
    neighbours: dict[int, list[int]] = {}
    for start, end in edges.tolist():
        neighbours.setdefault(start, []).append(end)
        neighbours.setdefault(end, []).append(start)
    first = min(neighbours)
    walk, here = [first], min(neighbours[first])
    while here != first:
        before = walk[-1]
        walk.append(here)
        one, other = neighbours[here]
        here = other if one == before else one
    return [*walk, first]


def _nearest(x: Floats, y: Floats, values: Floats, xq: Floats, yq: Floats) -> Floats:
    from scipy.spatial import cKDTree

    return values[cKDTree(np.column_stack([x, y])).query(np.column_stack([xq, yq]))[1]]


def without_twins(x: Floats, y: Floats, values: Floats) -> tuple[Floats, Floats, Floats]:
    """The points in a fixed order, those at the same place replaced by their mean."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    # Sorting makes sums, and so the last digits, independent of the order the points came in.
    order = np.lexsort((values, y, x))
    x, y, values = x[order], y[order], values[order]
    pairs = cKDTree(np.column_stack([x, y])).query_pairs(SAME_PLACE, output_type="ndarray")
    if len(pairs) == 0:
        return x, y, values
    links = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(x.size, x.size))
    count, group = connected_components(links, directed=False)
    size = np.bincount(group, minlength=count)
    mx, my, mv = (np.bincount(group, weights=a, minlength=count) / size for a in (x, y, values))
    return mx, my, mv


def _principal_axes(x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Unit axes (rows) of greatest and least spread of the points, and the spreads [m]."""
    # In closed form: for 2 × 2 the threads of a linear algebra library cost more than they give.
    dx, dy = x - x.mean(), y - y.mean()
    xx, yy, xy = float(np.mean(dx * dx)), float(np.mean(dy * dy)), float(np.mean(dx * dy))
    turn = 0.5 * np.arctan2(2.0 * xy, xx - yy)
    half = np.hypot(0.5 * (xx - yy), xy)
    spread2 = np.array([0.5 * (xx + yy) + half, 0.5 * (xx + yy) - half])
    axes = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    return axes, np.sqrt(np.maximum(spread2, 0.0))


def _along(axis: Floats, x: Floats, y: Floats) -> Floats:
    return axis[0] * x + axis[1] * y


def _distance_to_data(x: Floats, y: Floats, xq: Floats, yq: Floats) -> Floats:
    from scipy.spatial import cKDTree

    return cKDTree(np.column_stack([x, y])).query(np.column_stack([xq, yq]))[0]
