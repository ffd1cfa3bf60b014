"""Faces between neighbouring plan cells, and which of them a line crosses.

A face is crossed when the segment between the two cell centres crosses the line. Every way from
one side of a closed line to the other passes such a face, so the staircase is watertight.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from wellring.model.grid.plan_grid import PlanGrid

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

_NUDGE = np.array([1.0e-7, 1.618e-7])
"""A line through a cell centre would cross no face or two: lines are moved by this much [m]."""


@dataclass(frozen=True)
class PlanFaces:
    """Faces between plan cells `first` and `second` (flat indices), all arrays (m,).

    `width` is the face's length in plan and `gaps` (m, 2) the distances of the two centres from
    it [m].
    """

    first: Ints
    second: Ints
    width: Floats
    gaps: Floats

    def __len__(self) -> int:
        return self.first.size

    def pick(self, chosen: NDArray) -> PlanFaces:
        """The faces selected by a mask (m,) or an index array (k,)."""
        return PlanFaces(
            self.first[chosen], self.second[chosen], self.width[chosen], self.gaps[chosen]
        )

    def turned(self, flip: NDArray[np.bool_]) -> PlanFaces:
        """The same faces with first and second exchanged where `flip` (m,)."""
        return PlanFaces(
            np.where(flip, self.second, self.first),
            np.where(flip, self.first, self.second),
            self.width,
            np.where(flip[:, None], self.gaps[:, ::-1], self.gaps),
        )


def all_faces(grid: PlanGrid) -> PlanFaces:
    """Every face of the plan grid: first between columns, then between rows."""
    nrow, ncol = grid.shape
    cell = np.arange(nrow * ncol).reshape(nrow, ncol)
    delr, delc = np.broadcast_to(grid.delr, (nrow, ncol)), grid.delc[:, None] + np.zeros(ncol)
    pairs = ((np.s_[:, :-1], np.s_[:, 1:], delc, delr), (np.s_[:-1, :], np.s_[1:, :], delr, delc))
    parts = [
        (
            cell[a].ravel(),
            cell[b].ravel(),
            width[a].ravel(),
            0.5 * deep[a].ravel(),
            0.5 * deep[b].ravel(),
        )
        for a, b, width, deep in pairs
    ]
    first, second, width, gap_a, gap_b = (np.concatenate(part) for part in zip(*parts, strict=True))
    return PlanFaces(first, second, width, np.column_stack([gap_a, gap_b]))


def crossed_faces(grid: PlanGrid, line: BaseGeometry, faces: PlanFaces | None = None) -> PlanFaces:
    """The faces that a site line crosses."""
    faces = all_faces(grid) if faces is None else faces
    local = shapely.transform(grid.local_geometry(line), lambda xy: xy + _NUDGE)
    x, y = grid.local_centres
    nrow, ncol = grid.shape
    cell_x, cell_y = np.tile(x, nrow), np.repeat(y, ncol)
    low_x, low_y, high_x, high_y = local.bounds
    near = (
        (np.maximum(cell_x[faces.first], cell_x[faces.second]) >= low_x)
        & (np.minimum(cell_x[faces.first], cell_x[faces.second]) <= high_x)
        & (np.maximum(cell_y[faces.first], cell_y[faces.second]) >= low_y)
        & (np.minimum(cell_y[faces.first], cell_y[faces.second]) <= high_y)
    )
    candidates = faces.pick(near)
    ends = np.stack(
        [
            np.column_stack([cell_x[index], cell_y[index]])
            for index in (candidates.first, candidates.second)
        ],
        axis=1,
    )
    shapely.prepare(local)
    return candidates.pick(shapely.intersects(shapely.linestrings(ends), local))


def face_midpoints(grid: PlanGrid, faces: PlanFaces) -> tuple[Floats, Floats]:
    """Site coordinates (m,) of the face midpoints [m]."""
    x, y = grid.local_centres
    nrow, ncol = grid.shape
    cell_x, cell_y = np.tile(x, nrow), np.repeat(y, ncol)
    share = (faces.gaps[:, 0] / faces.gaps.sum(axis=1))[:, None]
    a = np.column_stack([cell_x[faces.first], cell_y[faces.first]])
    b = np.column_stack([cell_x[faces.second], cell_y[faces.second]])
    middle = a + share * (b - a)
    return grid.to_site(middle[:, 0], middle[:, 1])


def staircase_factor(grid: PlanGrid, line: BaseGeometry, x: Floats, y: Floats) -> Floats:
    """True over staircase length (m,) of a site line near the points (x, y).

    A straight line at an angle θ to the grid is |cos θ| + |sin θ| times too long as a staircase;
    unscaled, its leakage would be too large by the same factor.
    """
    local = grid.local_geometry(line)
    xy = np.asarray(local.coords if local.geom_type != "Polygon" else local.exterior.coords)
    ends = np.stack([xy[:-1], xy[1:]], axis=1)
    step = ends[:, 1] - ends[:, 0]
    length = np.hypot(step[:, 0], step[:, 1])
    ends, step, length = ends[length > 0], step[length > 0], length[length > 0]
    tree = shapely.STRtree(shapely.linestrings(ends))
    local_x, local_y = grid.to_local(x, y)
    edge = tree.nearest(shapely.points(local_x, local_y))
    return (length / np.abs(step).sum(axis=1))[edge]


def barriers_reached(
    grid: PlanGrid, closed: PlanFaces, start: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """Plan cells that can be reached from `start` without passing a closed face.

    `start` and what is returned are flags (nrow·ncol,) of the plan cells.
    """
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    faces = all_faces(grid)
    count = start.size
    key = faces.first.astype(np.int64) * count + faces.second
    shut = np.isin(
        key,
        np.concatenate(
            [
                closed.first.astype(np.int64) * count + closed.second,
                closed.second.astype(np.int64) * count + closed.first,
            ]
        ),
    )
    passable = faces.pick(~shut)
    links = coo_array(
        (np.ones(len(passable), bool), (passable.first, passable.second)), shape=(count, count)
    )
    _, label = connected_components(links, directed=False)
    return np.isin(label, np.unique(label[start]))
