"""What plans are drawn from: drawdown on the grid, contour levels, aquifers, outlines of cells."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from wellring.postprocess.answers import StageResult
from wellring.postprocess.heads import unit_head
from wellring.postprocess.run_folder import RunFolder

Floats = NDArray[np.float64]

METRIC_STEPS = (0.1, 0.25, 0.5, 1, 2, 3, 5, 7.5, 10, 15, 20, 30, 50, 75, 100)
"""Contours of drawdown [m]."""
US_STEPS = (0.25, 0.5, 1, 2, 5, 10, 15, 20, 30, 50, 75, 100, 150, 200, 300)
"""Contours of drawdown [ft]."""
SIGNIFICANT = 0.1
"""Drawdown [m] from which an aquifer gets a plan of its own."""
SHARE = 0.05
"""Part of the greatest transmissivity from which a unit counts as an aquifer of its own."""


def contour_steps(run: RunFolder, largest: float) -> list[float]:
    """Contour levels in shown units up to `largest` (in shown units), at least two."""
    steps = US_STEPS if run.ledger.show == "us" else METRIC_STEPS
    count = int(np.searchsorted(steps, largest, side="left"))
    return [float(step) for step in steps[: max(count, 2)]]


@dataclass(frozen=True)
class PlanField:
    """A field on the plan grid: site x, y (nrow, ncol) in CRS units, `values` in shown units."""

    x: Floats
    y: Floats
    values: Floats

    def cropped(self, window: tuple[float, float, float, float]) -> PlanField:
        """The rows and columns that reach into a window (x0, y0, x1, y1), and one more."""
        inside = (
            (self.x >= window[0]) & (self.x <= window[2])
            & (self.y >= window[1]) & (self.y <= window[3])
        )
        parts = []
        for axis in (1, 0):
            held = np.flatnonzero(inside.any(axis=axis))
            if not held.size:
                return self
            parts.append(slice(max(int(held[0]) - 2, 0), int(held[-1]) + 3))
        rows, columns = parts
        return PlanField(
            self.x[rows, columns], self.y[rows, columns], self.values[rows, columns]
        )


def plan_field(run: RunFolder, values: Floats, factor: float) -> PlanField:
    """Values (n,) over the plan cells [m] as a field in units shown by `factor`.

    Contours between cell centres are lines through the local grid, turned with it: on a
    rectilinear grid that is the same as contouring first and turning after.
    """
    x, y = run.centres
    scale = run.ledger.metres_per_unit
    shape = run.plan_shape
    return PlanField(
        x.reshape(shape) / scale, y.reshape(shape) / scale, values.reshape(shape) * factor
    )


def aquifers(run: RunFolder, results: list[StageResult]) -> list[int]:
    """Units that carry a head of their own, from the top: pervious, and not the water table's.

    A unit counts if its transmissivity (mean over the plan) is at least :data:`SHARE` of the
    greatest, and if in most of its plan the natural water table lies above it.
    """
    natural = results[0]
    thickness = natural.grid.top - natural.grid.bottom
    thickness = np.where(natural.grid.active, thickness, 0.0)
    area = run.area
    conduct = np.array(
        [
            run.ledger.soils[entry.soil].kh
            * float((np.where(run.unit == index, thickness, 0.0).sum(axis=0) * area).sum())
            for index, entry in enumerate(run.ledger.units)
        ]
    )
    found = []
    for index in np.flatnonzero(conduct >= SHARE * conduct.max()):
        cells = (run.unit == index) & natural.grid.active
        top = np.where(cells, natural.grid.top, -np.inf).max(axis=0)
        present = cells.any(axis=0) & np.isfinite(natural.table)
        if present.any():
            # By count of cells, which are small at the pit: what matters is the ground there.
            above = natural.table[present] > top[present] + 1e-3
            if above.mean() > 0.5:
                found.append(int(index))
    return found


def drawn_aquifers(run: RunFolder, results: list[StageResult]) -> list[int]:
    """Aquifers that get a plan of their own: drawn down in the last stage, each unlike the last."""
    fall = results[-1].fall
    if fall is None:
        return []
    chosen: list[int] = []
    for index in aquifers(run, results):
        own = fall.units[run.ledger.units[index].label]
        if not np.isfinite(own).any() or np.nanmax(own) < SIGNIFICANT:
            continue
        others = [fall.table, *(fall.units[run.ledger.units[k].label] for k in chosen)]
        if not any(_alike(own, other) for other in others):
            chosen.append(index)
    return chosen


def _alike(first: Floats, second: Floats) -> bool:
    with np.errstate(invalid="ignore"):
        both = np.isfinite(first) & np.isfinite(second) & (np.fmax(first, second) > SIGNIFICANT)
    if both.sum() < 0.5 * np.isfinite(first).sum() * (np.nanmean(first > SIGNIFICANT)):
        return False
    return bool(both.any()) and float(np.median(np.abs(first - second)[both])) < SIGNIFICANT


def head_of(run: RunFolder, result: StageResult, index: int) -> Floats:
    """Head (n,) [m] of one unit in a stage."""
    return unit_head(result.grid, result.heads, run.unit, index)


def cells_outline(run: RunFolder, plan: NDArray[np.intp]) -> BaseGeometry:
    """The union of plan cells as a polygon in site coordinates, CRS units."""
    ncol = run.ledger.grid.ncol
    x, y = np.asarray(run.ledger.grid.x_edges), np.asarray(run.ledger.grid.y_edges)
    row, column = np.divmod(np.unique(plan), ncol)
    boxes = shapely.box(x[column], y[row + 1], x[column + 1], y[row])
    merged = shapely.union_all(boxes, grid_size=1e-6)
    return shapely.transform(
        merged,
        lambda points: np.column_stack(run.to_site(points[:, 0], points[:, 1]))
        / run.ledger.metres_per_unit,
    )
