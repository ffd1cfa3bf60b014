"""Vector layers of settlement and influence: contours, zones by class, areas of drawdown."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from wellring.postprocess.gis.rasters import stage_slug
from wellring.postprocess.run.contours import contour_areas, contour_lines
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.run.site_layer import site_layer
from wellring.postprocess.settlement.settlement import Settlement, settlements
from wellring.postprocess.water.influence import DIRECTIONS, Influence, influences

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from wellring.postprocess.stage_results import StageResult

CONTOUR_LEVELS = (1, 2, 5, 10, 15, 20, 25, 30, 40, 50, 75, 100, 150, 200, 300, 500, 750, 1000)
"""Final settlement [mm] of the contour lines, beside the bounds of the zones."""


def settlement_layers(run: RunFolder, results: Sequence[StageResult]) -> dict[str, GeoDataFrame]:
    """Layers `settlement_…`, `settlement_zones_…` and `influence_…` of every dug stage."""
    layers = {}
    for item in settlements(run, results):
        slug = stage_slug(item.entry)
        layers[f"settlement_{slug}"] = _contours(run, item)
        layers[f"settlement_zones_{slug}"] = _zones(run, item)
    found = influences(run, results)
    for result in results[1:]:
        own = [item for item in found if item.entry is result.entry]
        layers[f"influence_{stage_slug(result.entry)}"] = _influence(run, own)
    return layers


def settlement_steps(run: RunFolder, largest: float) -> list[float]:
    """Contour levels [mm] below `largest` [mm]: the usual steps and the bounds of the zones."""
    bounds = [round(bound * 1e3, 6) for bound in run.assessment.settlements]
    return [step for step in sorted({*map(float, CONTOUR_LEVELS), *bounds}) if step < largest]


def _contours(run: RunFolder, item: Settlement) -> GeoDataFrame:
    field = item.final * 1e3
    steps = settlement_steps(run, float(np.nanmax(field, initial=0.0)))
    values, lines = contour_lines(run, field, steps)
    return site_layer(run, {"settlement_mm": values}, lines)


def _zones(run: RunFolder, item: Settlement) -> GeoDataFrame:
    areas = contour_areas(run, item.final, run.assessment.settlements)
    columns = {
        "stage": [item.entry.name] * len(areas),
        "from_mm": np.array([round(low * 1e3, 6) for low, _, _ in areas]),
        "to_mm": np.array([high * 1e3 if np.isfinite(high) else np.nan for _, high, _ in areas]),
        "area_m2": np.array([shape.area for _, _, shape in areas]),
    }
    return site_layer(run, columns, _shapes([shape for _, _, shape in areas]))


def _influence(run: RunFolder, found: Sequence[Influence]) -> GeoDataFrame:
    columns = {
        "stage": [item.entry.name for item in found],
        "drawdown_m": np.array([item.threshold for item in found]),
        "area_m2": np.array([item.shape.area for item in found]),
        "reach_m": np.array([item.reach.max() for item in found]),
        "toward": [DIRECTIONS[int(np.argmax(item.reach))] for item in found],
        "edge_has_a_say": np.array([item.bounded for item in found], dtype=bool),
    }
    return site_layer(run, columns, _shapes([item.shape for item in found]))


def _shapes(items: Sequence[object]) -> NDArray[np.object_]:
    """Geometries as an array of objects, of which multipolygons must not be unpacked."""
    array = np.empty(len(items), dtype=object)
    array[:] = items
    return array
