"""What plans are drawn from: drawdown on the grid, contour levels, aquifers, outlines of cells."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from wellring.postprocess.run.heads import unit_head
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stage_results import StageResult

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
            (self.x >= window[0])
            & (self.x <= window[2])
            & (self.y >= window[1])
            & (self.y <= window[3])
        )
        parts = []
        for axis in (1, 0):
            held = np.flatnonzero(inside.any(axis=axis))
            if not held.size:
                return self
            parts.append(slice(max(int(held[0]) - 2, 0), int(held[-1]) + 3))
        rows, columns = parts
        return PlanField(self.x[rows, columns], self.y[rows, columns], self.values[rows, columns])

    def smoothed(self, times: int = 3) -> PlanField:
        """The field `times` as fine, through all its values and with no new highs or lows.

        Monotone cubic pieces (Fritsch and Carlson 1980) along rows, then along columns; beside
        cells without a value the next value stands in.
        """
        from scipy.interpolate import PchipInterpolator
        from scipy.ndimage import distance_transform_edt

        missing = ~np.isfinite(self.values)
        rows, columns = self.values.shape
        if min(rows, columns) < 3 or missing.all():
            return self
        filled = self.values
        if missing.any():
            at = distance_transform_edt(missing, return_distances=False, return_indices=True)
            filled = self.values[tuple(at)]
        fine_row = np.linspace(0, rows - 1, (rows - 1) * times + 1)
        fine_column = np.linspace(0, columns - 1, (columns - 1) * times + 1)
        # Distances between centres count, for cells differ in size; places are linear in them.
        along = _distance(self.x[0], self.y[0])
        down = _distance(self.x[:, 0], self.y[:, 0])
        new_along = np.interp(fine_column, np.arange(columns), along)
        new_down = np.interp(fine_row, np.arange(rows), down)
        values = PchipInterpolator(along, filled, axis=1)(new_along)
        values = PchipInterpolator(down, values, axis=0)(new_down)
        gone = missing[np.ix_(fine_row.round().astype(int), fine_column.round().astype(int))]
        x, y = (
            field[0][None, :] + (field[1] - field[1][0])[:, None]
            for field in (
                (
                    np.interp(fine_column, np.arange(columns), c[0]),
                    np.interp(fine_row, np.arange(rows), c[:, 0]),
                )
                for c in (self.x, self.y)
            )
        )
        return PlanField(x, y, np.where(gone, np.nan, values))


def _distance(x: Floats, y: Floats) -> Floats:
    return np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])


def contour_lines(field: PlanField, steps: list[float]) -> list[tuple[float, list[Floats]]]:
    """Lines (m, 2) of a field in CRS units for those of the steps it takes.

    Rings narrower than what three cells of the grid would hold are left out: they are the shape
    of a cell, not of the water. The field is taken to be three times as fine as the grid.
    """
    from matplotlib.figure import Figure

    values = np.ma.masked_invalid(field.values)
    within = [step for step in steps if values.min() < step < values.max()]
    if not within:
        return []
    drawn = Figure().add_subplot().contour(field.x, field.y, values, levels=within)
    cell = 3 * min(
        float(np.hypot(np.diff(field.x, axis=axis), np.diff(field.y, axis=axis)).min())
        for axis in (0, 1)
    )
    found = []
    for step, pieces in zip(within, drawn.allsegs, strict=True):
        kept = [
            piece
            for piece in pieces
            if len(piece) > 1
            and (np.ptp(piece, axis=0).max() > 3 * cell or not np.allclose(piece[0], piece[-1]))
        ]
        if kept:
            found.append((step, kept))
    return found


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
    """The union of plan cells (k,) as a polygon in site coordinates, CRS units."""
    ncol = run.ledger.grid.ncol
    x, y = np.asarray(run.ledger.grid.x_edges), np.asarray(run.ledger.grid.y_edges)
    row, column = np.divmod(np.unique(plan), ncol)
    boxes = shapely.box(x[column], y[row + 1], x[column + 1], y[row])
    # Cells share their edges to the bit, so nothing needs to be cut: ten times as fast.
    merged = shapely.simplify(shapely.coverage_union_all(boxes), 0.0)
    return shapely.transform(
        merged,
        lambda points: (
            np.column_stack(run.to_site(points[:, 0], points[:, 1])) / run.ledger.metres_per_unit
        ),
    )
