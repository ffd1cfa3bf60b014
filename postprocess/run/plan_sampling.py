"""Plan fields read at points and along shapes: bilinear between cell centres, in one go for all."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from wellring.postprocess.run.run_folder import RunFolder

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

_MOST_POINTS = 600
"""Points along one shape, however long it is."""
_FEWEST_PIECES = 12
"""Pieces along one shape, however small it is."""


class PlanSampler:
    """Reads plan fields (n,) at points, from the ground that may be read.

    Between four cell centres a field is bilinear. Where one of them may not be read (the pit,
    ground that is not modelled, NaN in the field) the nearest cell that may stands in, so that
    nothing from inside the pit shows at a house beside it.

    Parameters
    ----------
    xy : (m, 2) site coordinates [m].
    usable : (n,) plan cells that may be read.
    """

    def __init__(self, run: RunFolder, xy: Floats, usable: NDArray[np.bool_]):
        self._shape, self._usable = run.plan_shape, usable
        x, y = run.local_centres
        local_x, local_y = run.to_local(xy[:, 0], xy[:, 1])
        self._column, self._fx, self._dx = _between(x, local_x)
        self._row, self._fy, self._dy = _between(-y, -local_y)
        grid = run.ledger.grid
        edges_x, edges_y = np.asarray(grid.x_edges), -np.asarray(grid.y_edges)
        column = np.searchsorted(edges_x, local_x, side="right") - 1
        row = np.searchsorted(edges_y, -local_y, side="right") - 1
        inside = (column >= 0) & (column < grid.ncol) & (row >= 0) & (row < grid.nrow)
        self.cell: Ints = np.where(inside, row * grid.ncol + column, -1)
        """(m,) plan cell of each point, -1 outside the grid."""

    @property
    def cells_read(self) -> Ints:
        """(k,) plan cells whose values are ever read, where a field has some in all that may be."""
        count = self._usable.size
        return np.unique(np.concatenate(self._corners(np.arange(count, dtype=float)))).astype(int)

    def values(self, field: Floats) -> Floats:
        """The field (n,) at the points (m,)."""
        v = self._corners(field)
        low = v[0] + (v[1] - v[0]) * self._fx
        high = v[2] + (v[3] - v[2]) * self._fx
        return np.asarray(low + (high - low) * self._fy)

    def slopes(self, field: Floats) -> Floats:
        """Gradient (m, 2) of the field along the grid's own x and y [per m]."""
        v = self._corners(field)
        along = ((v[1] - v[0]) * (1 - self._fy) + (v[3] - v[2]) * self._fy) / self._dx
        # Rows count against y.
        down = ((v[2] - v[0]) * (1 - self._fx) + (v[3] - v[1]) * self._fx) / self._dy
        return np.column_stack([along, -down])

    def _corners(self, field: Floats) -> list[Floats]:
        plan = self._filled(field).reshape(self._shape)
        rows, columns = self._shape
        below = np.minimum(self._row + 1, rows - 1)
        right = np.minimum(self._column + 1, columns - 1)
        return [
            plan[self._row, self._column],
            plan[self._row, right],
            plan[below, self._column],
            plan[below, right],
        ]

    def _filled(self, field: Floats) -> Floats:
        from scipy.ndimage import distance_transform_edt

        missing = ~self._usable | ~np.isfinite(field)
        if not missing.any() or missing.all():
            return field
        at = distance_transform_edt(
            missing.reshape(self._shape), return_distances=False, return_indices=True
        )
        return np.asarray(field.reshape(self._shape)[tuple(at)].ravel())


def _between(centres: Floats, at: Floats) -> tuple[Ints, Floats, Floats]:
    """Index of the centre before each place, the part of the way to the next, and that way."""
    first = np.clip(np.searchsorted(centres, at, side="right") - 1, 0, max(centres.size - 2, 0))
    following = np.minimum(first + 1, centres.size - 1)
    step = centres[following] - centres[first]
    step = np.where(step > 0, step, 1.0)
    return first, np.clip((at - centres[first]) / step, 0.0, 1.0), step


def points_on(run: RunFolder, shapes: NDArray[np.object_]) -> tuple[Floats, Ints]:
    """Points (m, 2) on shapes [m] and the shape each belongs to, in the order of the shapes.

    Along lines and outlines a point every half cell or closer, and every cell centre within a
    polygon: a bilinear field takes its extremes there.
    """
    polygon = np.char.endswith([shape.geom_type for shape in shapes], "Polygon")
    lines = np.where(polygon, shapely.boundary(shapes), shapes)
    lines = np.asarray(lines, dtype=object)
    length = shapely.length(lines)
    step = 0.5 * _cell_size(run, shapely.centroid(shapes))
    step = np.minimum(step, length / _FEWEST_PIECES)
    step = np.maximum(np.maximum(step, length / _MOST_POINTS), 1e-3)
    xy, owner = shapely.get_coordinates(shapely.segmentize(lines, step), return_index=True)
    within = np.zeros((2, 0), dtype=np.intp)
    centres = np.column_stack(run.centres)
    if polygon.any():
        which = np.flatnonzero(polygon)
        tree = shapely.STRtree(shapely.points(centres))
        within = tree.query(shapes[which], predicate="contains")
        within[0] = which[within[0]]
    xy = np.vstack([xy, centres[within[1]]])
    owner = np.concatenate([owner, within[0]])
    order = np.argsort(owner, kind="stable")
    return xy[order], owner[order]


def _cell_size(run: RunFolder, at: NDArray[np.object_]) -> Floats:
    """The smaller side [m] of the cell at each point (k,)."""
    xy = shapely.get_coordinates(at)
    local_x, local_y = run.to_local(xy[:, 0], xy[:, 1])
    grid = run.ledger.grid
    edges_x, edges_y = np.asarray(grid.x_edges), -np.asarray(grid.y_edges)
    column = np.clip(np.searchsorted(edges_x, local_x, side="right") - 1, 0, grid.ncol - 1)
    row = np.clip(np.searchsorted(edges_y, -local_y, side="right") - 1, 0, grid.nrow - 1)
    return np.minimum(np.diff(edges_x)[column], np.diff(edges_y)[row])
