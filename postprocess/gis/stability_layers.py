"""Vector layer of the floor's stability, one a stage: every cell with its governing boundary."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from wellring.postprocess.gis.rasters import stage_slug
from wellring.postprocess.run.answer import HELD
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.run.site_layer import site_layer
from wellring.postprocess.stability.stability import FloorStability, stabilities

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from wellring.postprocess.stage_results import StageResult

Cells = Callable[[RunFolder, NDArray[np.intp]], NDArray[np.object_]]


def stability_layers(
    run: RunFolder, results: Sequence[StageResult], cells: Cells
) -> dict[str, GeoDataFrame]:
    """Layers `stability_…` of every stage with a floor.

    Parameters
    ----------
    cells : gives the polygons of plan cells.
    """
    return {
        f"stability_{stage_slug(result.entry)}": _layer(run, result, stable, cells)
        for result, stable in zip(results, stabilities(run, results), strict=True)
        if stable is not None
    }


def _layer(
    run: RunFolder, result: StageResult, stable: FloorStability, cells: Cells
) -> GeoDataFrame:
    columns, uplift, heave = stable.columns, stable.uplift, stable.heave
    every = np.arange(columns.plan.size)
    judged = np.isfinite(uplift.utilisation)
    labels = np.array([unit.label for unit in run.ledger.units], dtype=object)
    nothing = np.full(columns.plan.size, np.nan)

    def of_boundary(values: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.where(judged, values[uplift.layer, every], np.nan)

    used, head = stable.used, of_boundary(columns.head_at)
    with np.errstate(divide="ignore", invalid="ignore"):
        factor = of_boundary(columns.stress / columns.pressure)
    factor[~np.isfinite(factor)] = np.nan  # no water presses there
    names = {
        "stage": [result.entry.name] * columns.plan.size,
        "used": used,
        "holds": ~(used > HELD),
        "uplift_used": uplift.utilisation,
        "base_of": np.where(judged, labels[columns.unit[uplift.layer, every]], ""),
        "base_level_m": of_boundary(columns.bottom),
        "weight_kPa": of_boundary(columns.stress) / 1e3,
        "water_kPa": of_boundary(columns.pressure) / 1e3,
        "head_m": head,
        "head_allowed_m": uplift.head_allowed,
        "relief_m": np.maximum(head - uplift.head_allowed, 0.0),
        "weight_over_water": factor,
        "heave_used": nothing if heave is None else heave.judged,
        "exit_gradient": nothing if heave is None else heave.gradient,
        "critical_gradient": columns.critical,
    }
    return site_layer(run, names, cells(run, columns.plan))
