"""Model layers: soils as the strata give them, cut by level planes.

Every layer lies between two neighbours in the sorted set of all soil interfaces and all planes of
a column. The k-th largest of continuous surfaces is itself continuous, so layers stay connected
where an interface climbs through a plane, every cell holds exactly one soil, and every plane is
an exact cell boundary. Where two surfaces meet, the layer between them has no thickness and the
cell is left out (MODFLOW 6's vertical pass-through).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wellring.model.grid.graded import Key, graded_edges, merged_lines

Floats = NDArray[np.float64]

THINNEST = 0.05
"""Layers thinner than this [m] are closed: they would only spoil the matrix."""


@dataclass(frozen=True)
class Layers:
    """Layer geometry over plan cells, flattened: n = nrow · ncol.

    Parameters
    ----------
    edges : (nlay+1, n) levels of the layer boundaries, non-increasing downward [m].
    unit : (nlay, n) index of the stratigraphic unit in each cell, int16.
    present : (nlay, n) False where the layer has no thickness.
    """

    edges: Floats
    unit: NDArray[np.int16]
    present: NDArray[np.bool_]

    @property
    def mid(self) -> Floats:
        """Mid levels (nlay, n) [m]."""
        return 0.5 * (self.edges[1:] + self.edges[:-1])

    @property
    def thickness(self) -> Floats:
        """Thickness (nlay, n) [m]."""
        return self.edges[:-1] - self.edges[1:]


def choose_planes(
    cuts: list[float], keys: list[Key], low: float, high: float, growth: float, largest: float
) -> tuple[Floats, NDArray[np.bool_]]:
    """Level planes from `high` down to `low`: every cut, and sublayers between them.

    Returns
    -------
    (planes, required) : (m,) levels ascending strictly inside (low, high), and which are cuts.
    """
    lines = merged_lines([cut for cut in cuts if low < cut < high], THINNEST)
    edges = graded_edges(low, high, tuple(keys), lines, growth, largest)[1:-1]
    required = np.isin(edges, np.asarray(lines)) if lines else np.zeros(edges.size, bool)
    return edges, required


def make_layers(
    levels: Floats, planes: Floats, required: NDArray[np.bool_], inner: Floats | None = None
) -> Layers:
    """Cut soil layers by level planes.

    Parameters
    ----------
    levels : (n_units+1, n) ground, bottom of each unit, floor; non-increasing downward [m].
    planes : (m,) levels, ascending [m].
    required : (m,) planes that must stay where they are unless a soil interface lies within
        :data:`THINNEST`; the others give way to a near interface.
    inner : (k, n) surfaces inside soils that part them further [m].
    """
    ground, interfaces, floor = levels[0], _closed(levels), levels[-1]
    gaps = np.diff(np.concatenate([[-np.inf], planes, [np.inf]])) if planes.size else np.zeros(0)
    spacing = np.minimum(gaps[1:], gaps[:-1]) if planes.size else np.zeros(0)
    reach = np.where(required, THINNEST, np.minimum(0.45 * spacing, 5.0))
    surfaces = np.empty((planes.size, ground.size))
    inner = np.zeros((0, ground.size)) if inner is None else np.clip(inner, floor, ground)
    bounds = np.vstack([ground[None, :], interfaces, inner, floor[None, :]])
    for index, plane in enumerate(planes):  # over planes, not cells
        away = np.abs(bounds - plane)
        nearest = np.argmin(away, axis=0)
        column = np.arange(ground.size)
        snaps = away[nearest, column] <= reach[index]
        surfaces[index] = np.where(snaps, bounds[nearest, column], plane)
    stack = np.vstack([interfaces, inner, np.clip(surfaces, floor, ground)])
    stack = -np.sort(-stack, axis=0)
    edges = np.vstack([ground[None, :], stack, floor[None, :]])
    present = edges[:-1] - edges[1:] > 1e-6
    mid = 0.5 * (edges[1:] + edges[:-1])
    unit = np.zeros(present.shape, np.int16)
    for interface in interfaces:
        unit += interface[None, :] > mid
    return Layers(edges, unit, present)


def _closed(levels: Floats) -> Floats:
    """Interior interfaces with units thinner than :data:`THINNEST` closed onto the one above.

    The unit below grows by what is closed. The lowest unit is closed upward.
    """
    ground, floor = levels[0], levels[-1]
    closed = np.array(levels[1:-1])
    above = ground
    for index in range(closed.shape[0]):
        thin = above - closed[index] < THINNEST
        closed[index] = np.where(thin, above, closed[index])
        above = closed[index]
    for index in range(closed.shape[0] - 1, -1, -1):
        closed[index] = np.where(closed[index] - floor < THINNEST, floor, closed[index])
    return closed
