"""Plan fields of a report: which there are, their classes, and how they are packed for the page.

The page gets the model's own cells, not a resampled picture: the grid is rectilinear in its local
axes, so a cell under the pointer is found from its edges, and the value told is the model's.
"""

from __future__ import annotations

import base64
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.units import Shown, shown
from wellring.postprocess.figures.fields import contour_steps, drawn_aquifers
from wellring.postprocess.figures.style import plain
from wellring.postprocess.run.answer import PlanLayer
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stage_results import StageResult

Floats = NDArray[np.float64]

MOST_BYTES = 8_000_000
"""Packed fields in the page at most; a larger grid is shown by every second, third … cell."""
HOLE = 65535
"""Packed value of a cell without one."""
SHARES = (0.0, 5.0, 20.0, 50.0, 80.0, 95.0, 100.0)
"""Bounds of the classes of a chance [%]."""
_NICE = (1.0, 2.0, 2.5, 5.0, 10.0)


def plan_layers(run: RunFolder, results: Sequence[StageResult]) -> dict[str, PlanLayer]:
    """The water's fields over the plan by a short name, drawdown first."""
    dug = [result for result in results if result.fall is not None]
    found: dict[str, PlanLayer] = {}
    if dug:
        falls = {r.entry.folder: r.fall.table for r in dug if r.fall is not None}
        found["drawdown"] = PlanLayer("Drawdown of the water table", "length", falls)
        falls = {r.entry.folder: r.fall.largest for r in dug if r.fall is not None}
        found["largest_drawdown"] = PlanLayer(
            "Largest drawdown of water table or any soil layer", "length", falls
        )
    found["water_table"] = PlanLayer(
        "Level of the water table", "level", {r.entry.folder: r.table for r in results}
    )
    for index in drawn_aquifers(run, list(results)):
        label = run.ledger.units[index].label
        falls = {r.entry.folder: r.fall.units[label] for r in dug if r.fall is not None}
        found[f"unit_{index}"] = PlanLayer(f"Drawdown of the head in {label}", "length", falls)
    return found


def shown_as(kind: str, system: str, unit: str = "") -> Shown:
    """How a kind of number is shown; a plain one, in `unit`, where the kind has none."""
    if kind == "share":
        return Shown("%", 100.0, 0)
    try:
        return shown("length" if kind == "fall" else kind, system)
    except KeyError:
        return Shown("" if unit == "1" else unit, 1.0)


def classes(run: RunFolder, name: str, layers: Sequence[PlanLayer]) -> list[float]:
    """Bounds of the colour classes in shown units, the same in all stages of all plans."""
    layer = layers[0]
    if layer.kind == "share":
        return list(SHARES)
    unit = shown_as(layer.kind, run.ledger.show)
    fields = [values for item in layers for values in item.stages.values()]
    low, high = (bound * unit.factor for bound in bounds(fields))
    if not any(np.isfinite(values).any() for values in fields):
        return [0.0, 1.0]
    if "drawdown" in name or name.startswith("unit_"):
        return contour_steps(run, max(high, 0.3))
    if layer.kind == "settlement":
        limits = [step * unit.factor for step in run.assessment.settlements]
        return [0.2 * limits[0], *limits]
    step = _round_up(max(high - low, 1e-6) / 8)
    first = math.floor(low / step) * step
    count = math.ceil((high - first) / step - 1e-9)
    return [round(first + k * step, 10) for k in range(max(count, 1) + 1)]


def _round_up(value: float) -> float:
    power = 10.0 ** math.floor(math.log10(value))
    return next(step for step in _NICE if step * power >= value * (1 - 1e-9)) * power


@dataclass(frozen=True)
class Thinned:
    """The rows and columns of the grid that go into the page, with the edges between them."""

    rows: NDArray[np.intp]
    columns: NDArray[np.intp]
    x_edges: Floats
    y_edges: Floats
    step: int

    def take(self, run: RunFolder, field: Floats) -> Floats:
        """A plan field (n,) at the cells kept, (rows, columns)."""
        return field.reshape(run.plan_shape)[np.ix_(self.rows, self.columns)]


def thin(run: RunFolder, count: int) -> Thinned:
    """All cells where `count` fields fit into :data:`MOST_BYTES`, else every k-th of each axis."""
    nrow, ncol = run.plan_shape
    needed = nrow * ncol * count * 2 * 4 / 3
    step = max(1, math.ceil(math.sqrt(needed / MOST_BYTES)))
    grid = run.ledger.grid

    def kept(size: int, edges: Sequence[float]) -> tuple[NDArray[np.intp], Floats]:
        starts = np.arange(0, size, step)
        ends = np.minimum(starts + step, size)
        middle = np.asarray((starts + ends - 1) // 2, dtype=np.intp)
        return middle, np.asarray(edges, dtype=float)[np.append(starts, size)]

    rows, y_edges = kept(nrow, grid.y_edges)
    columns, x_edges = kept(ncol, grid.x_edges)
    return Thinned(rows, columns, x_edges, y_edges, step)


def pack(values: NDArray, low: float, high: float) -> str:
    """Numbers as base64 of little-endian uint16 between two bounds; NaN is :data:`HOLE`.

    `values` may have any shape; they stand row by row. What is unpacked differs by
    (high − low) / 131068 at most.
    """
    span = high - low if high > low else 1.0
    with np.errstate(invalid="ignore"):
        share = np.clip((np.asarray(values, float) - low) / span, 0.0, 1.0) * (HOLE - 1)
    whole = np.where(np.isfinite(share), np.rint(np.nan_to_num(share)), HOLE).astype("<u2")
    return base64.b64encode(whole.tobytes()).decode("ascii")


def bounds(fields: Sequence[NDArray]) -> tuple[float, float]:
    """Least and greatest finite value of some arrays; (0, 1) where there is none."""
    lows = [np.nanmin(f) for f in fields if np.isfinite(f).any()]
    highs = [np.nanmax(f) for f in fields if np.isfinite(f).any()]
    return (float(min(lows)), float(max(highs))) if lows else (0.0, 1.0)


def packed_layers(
    run: RunFolder, layers: dict[str, PlanLayer], thinned: Thinned, steps: dict[str, list[float]]
) -> list[dict[str, Any]]:
    """The layers as the page reads them, values in shown units; `steps` are their classes."""
    found = []
    for name, layer in layers.items():
        if not any(np.isfinite(values).any() for values in layer.stages.values()):
            continue
        unit = shown_as(layer.kind, run.ledger.show)
        fields = {
            folder: thinned.take(run, values) * unit.factor
            for folder, values in layer.stages.items()
        }
        low, high = bounds(list(fields.values()))
        found.append(
            {
                "name": name,
                "label": plain(layer.label, 90),
                "unit": unit.unit,
                "digits": unit.digits,
                "kind": layer.kind,
                "classes": steps[name],
                "low": low,
                "high": high,
                "stages": {folder: pack(values, low, high) for folder, values in fields.items()},
            }
        )
    return found
