"""GIS layers of a run: one GeoPackage that opens styled, and GeoTIFFs of its plan fields.

Everything lies in the site's crs and its units; attributes are SI with the unit in their names
(`drawdown` is in metres).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from numpy.typing import NDArray

from wellring.postprocess.fields import site_crs
from wellring.postprocess.gis.geopackage import write_geopackage
from wellring.postprocess.gis.neighbour_layers import neighbour_layers
from wellring.postprocess.gis.rasters import stage_slug, write_rasters
from wellring.postprocess.gis.settlement_layers import settlement_layers
from wellring.postprocess.gis.stability_layers import stability_layers
from wellring.postprocess.not_written import NotWritten, item_of
from wellring.postprocess.run.contours import contour_lines
from wellring.postprocess.run.heads import level_at_point
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.run.site_layer import site_layer
from wellring.postprocess.settlement.settlement import settlements
from wellring.postprocess.travel.travel_answers import travel_layer

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from wellring.postprocess.run.ledger import BoringEntry, PointEntry, WellEntry
    from wellring.postprocess.stage_results import StageResult

Floats = NDArray[np.float64]

CONTOUR_LEVELS = (0.1, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0)
"""Drawdown [m] of the contour lines; more by tens where the drawdown is larger."""


def write_layers(
    run: RunFolder, results: list[StageResult], folder: Path, failed: NotWritten | None = None
) -> list[Path]:
    """Write the GeoPackage and the GeoTIFFs of a run, replacing earlier ones of the same names.

    Parameters
    ----------
    results : every stage, the natural state first.
    folder : made if missing.
    failed : collects the layers that cannot be written; without it the first error passes.

    Returns
    -------
    The files written.

    Raises
    ------
    InputFaults : the ledger's crs is not known.
    """
    crs = site_crs(run)
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / geopackage_name(run)
    about = {
        "site": run.ledger.site,
        "scheme": run.ledger.scheme,
        "invented": "yes" if run.ledger.invented else "no",
    }
    written: list[Path] = []
    with item_of(failed, f"layer {path.name}"):
        write_geopackage(make_layers(run, results, failed), path, about)
        written.append(path)
    with item_of(failed, "rasters"):
        written += write_rasters(run, results, folder, crs)
    return written


def geopackage_name(run: RunFolder) -> str:
    """File name of the GeoPackage: the scheme's name, safe on every system."""
    safe = re.sub(r"\W+", "_", run.ledger.scheme).strip("_")[:60]
    return f"{safe or 'wellring'}.gpkg"


def make_layers(
    run: RunFolder, results: Sequence[StageResult], failed: NotWritten | None = None
) -> dict[str, GeoDataFrame]:
    """The vector layers by name, each ready to be written; without those that would be empty.

    Layers of one stage are called `floor_…`, `drawdown_…`, `largest_drawdown_…`,
    `stability_…`, `settlement_…`, `settlement_zones_…` and `influence_…` after the stage's folder
    ("drawdown_01_first_dig"). `failed` as in :func:`write_layers`.
    """
    groups: dict[str, Callable[[], dict[str, GeoDataFrame]]] = {
        "model_extent": lambda: {"model_extent": _model_extent(run, results)},
        "excavation": lambda: {"excavation": _excavation(run)},
        "walls": lambda: {"walls": _walls(run)},
        "wells": lambda: {"wells": wells_layer(run)},
        "wells_by_stage": lambda: {"wells_by_stage": wells_by_stage_layer(run)},
        "borings": lambda: {"borings": _borings(run)},
        "points": lambda: {"points": _points(run, results)},
        "drawdown": lambda: _drawdown_layers(run, results),
        "stability": lambda: stability_layers(run, results, _cell_polygons),
        "settlement": lambda: settlement_layers(run, results),
        "neighbours": lambda: neighbour_layers(run, results),
        "travel": lambda: travel_layer(run, results),
    }
    layers: dict[str, GeoDataFrame] = {}
    for name, make in groups.items():
        with item_of(failed, f"layer {name}"):
            layers |= make()
    return {name: layer for name, layer in layers.items() if len(layer)}


def _drawdown_layers(run: RunFolder, results: Sequence[StageResult]) -> dict[str, GeoDataFrame]:
    layers = {}
    for result in results:
        if result.fall is None:
            continue
        slug = stage_slug(result.entry)
        layers[f"floor_{slug}"] = _floor(run, result)
        layers[f"drawdown_{slug}"] = _contours(run, result.fall.table)
        layers[f"largest_drawdown_{slug}"] = _contours(run, result.fall.largest)
    return layers


def wells_layer(run: RunFolder) -> GeoDataFrame:
    """One point a well: what it is, its last stage, and the stage in which it gave most."""
    wells, stages = run.ledger.wells, run.ledger.stages
    peak = [int(np.argmax(well.flow)) for well in wells]
    columns = _well_columns(wells) | {
        "stage": [stages[-1].name] * len(wells),
        **_well_state(wells, [-1] * len(wells)),
        "peak_flow_m3_s": _numbers([well.flow[k] for well, k in zip(wells, peak, strict=True)]),
        "peak_stage": [stages[k].name for k in peak],
    }
    return site_layer(run, columns, _points_at(wells))


def wells_by_stage_layer(run: RunFolder) -> GeoDataFrame:
    """One point a well and stage (without the natural state), stages in order."""
    count = len(run.ledger.wells)
    numbers = [k for k in range(1, len(run.ledger.stages)) for _ in range(count)]
    wells = run.ledger.wells * (len(run.ledger.stages) - 1)
    stages = [run.ledger.stages[k] for k in numbers]
    columns = {
        "stage": [stage.name for stage in stages],
        "day": _numbers([stage.day for stage in stages]),
        **_well_columns(wells),
        **_well_state(wells, numbers),
    }
    return site_layer(run, columns, _points_at(wells))


def _well_columns(wells: Sequence[WellEntry]) -> dict[str, Any]:
    return {
        "name": [well.name for well in wells],
        "method": [well.method for well in wells],
        "screen_bottom_m": _numbers([min(well.screen) for well in wells]),
        "screen_top_m": _numbers([max(well.screen) for well in wells]),
        "radius_m": _numbers([well.radius for well in wells]),
        "pump_capacity_m3_s": _numbers([well.pump_capacity for well in wells]),
    }


def _well_state(wells: Sequence[WellEntry], stages: Sequence[int]) -> dict[str, Any]:
    """Level, flow and governing limit of each well in the stage of the same place."""
    pairs = list(zip(wells, stages, strict=True))
    return {
        "level_m": _numbers([well.level[k] for well, k in pairs]),
        "flow_m3_s": _numbers([well.flow[k] for well, k in pairs]),
        "governing": [well.governing[k] for well, k in pairs],
    }


def _model_extent(run: RunFolder, results: Sequence[StageResult]) -> GeoDataFrame:
    """Outline of the modelled columns, from the runs of neighbours in each row."""
    active = np.logical_or.reduce([result.grid.active.any(axis=0) for result in results])
    padded = np.pad(active.reshape(run.plan_shape).astype(np.int8), ((0, 0), (1, 1)))
    step = np.diff(padded, axis=1)
    row, first = np.nonzero(step == 1)
    _, last = np.nonzero(step == -1)
    x, y = np.asarray(run.ledger.grid.x_edges), np.asarray(run.ledger.grid.y_edges)
    local = shapely.union_all(shapely.box(x[first], y[row + 1], x[last], y[row]))
    turned = shapely.transform(local, lambda xy: np.column_stack(run.to_site(*xy.T)))
    columns = {
        "source_distance_m": [run.ledger.source_distance],
        "source_basis": [run.ledger.source_basis],
        "area_m2": [turned.area],
    }
    return site_layer(run, columns, np.array([turned]))


def _excavation(run: RunFolder) -> GeoDataFrame:
    outline = shapely.Polygon(run.ledger.outline)
    last = run.ledger.stages[-1]
    columns = {
        "site": [run.ledger.site],
        "scheme": [run.ledger.scheme],
        "last_stage": [last.name],
        "formation_m": _numbers([last.formation]),
        "clearance_m": [run.ledger.clearance],
        "area_m2": [outline.area],
        "invented": [run.ledger.invented],
    }
    return site_layer(run, columns, np.array([outline]))


def _walls(run: RunFolder) -> GeoDataFrame:
    walls, stages = run.ledger.walls, run.ledger.stages
    columns = {
        "name": [wall.name for wall in walls],
        "kind": [wall.kind for wall in walls],
        "holds_water": np.array([wall.holds_water for wall in walls], dtype=bool),
        "toe_min_m": _numbers([min(wall.toes, default=None) for wall in walls]),
        "toe_max_m": _numbers([max(wall.toes, default=None) for wall in walls]),
        "top_min_m": _numbers([min(wall.tops, default=None) for wall in walls]),
        "top_max_m": _numbers([max(wall.tops, default=None) for wall in walls]),
        "leakage_1_s": _numbers([wall.leakage for wall in walls]),
        "basis": [wall.basis for wall in walls],
        # A wall's stages are counted without the natural state.
        "from_stage": [stages[min(w.from_stage + 1, len(stages) - 1)].name for w in walls],
    }
    return site_layer(run, columns, np.array([shapely.LineString(wall.line) for wall in walls]))


def _borings(run: RunFolder) -> GeoDataFrame:
    borings = run.ledger.borings
    columns = {
        "name": [boring.id for boring in borings],
        "ground_m": _numbers([boring.ground for boring in borings]),
        "final_m": _numbers([boring.final for boring in borings]),
        "log": [
            "; ".join(f"{top:g} to {bottom:g} m {soil}" for top, bottom, soil in boring.intervals)
            for boring in borings
        ],
    }
    return site_layer(run, columns, _points_at(borings))


def _points(run: RunFolder, results: Sequence[StageResult]) -> GeoDataFrame:
    points = run.ledger.points
    cells = [run.plan_cell(point.x, point.y) for point in points]

    def water(result: StageResult) -> Floats:
        return _numbers(
            level_at_point(run, result.grid, result.heads, result.table, point) for point in points
        )

    before, last = water(results[0]), water(results[-1])
    settled = [item.final for item in settlements(run, results)][-1:]
    settled_mm = [
        settled[0][cell] * 1e3 if settled and cell is not None else None for cell in cells
    ]
    columns = {
        "name": [point.name for point in points],
        "of": ["water table" if point.level is None else "head at its level" for point in points],
        "at_level_m": _numbers([point.level for point in points]),
        "water_before_m": before,
        "water_last_m": last,
        "drawdown_m": before - last,
        "settlement_mm": _numbers(settled_mm),
        "last_stage": [results[-1].entry.name] * len(points),
    }
    return site_layer(run, columns, _points_at(points))


def _floor(run: RunFolder, result: StageResult) -> GeoDataFrame:
    """Cells of the floor; `ok` and `state` judge each by itself, empty and tight where it is not.

    `state` is "dry", "too high" (water less than the clearance below formation) or "tight soil".
    """
    import pandas

    dry = result.dryness
    assert dry is not None
    below, tight = dry.depth_below, np.isnan(dry.depth_below)
    with np.errstate(invalid="ignore"):
        ok = below >= dry.needed - 1e-3
    judged = pandas.array(ok, dtype="boolean")
    judged[tight] = pandas.NA
    columns = {
        "stage": [result.entry.name] * below.size,
        "formation_m": np.full(below.size, result.entry.formation, dtype=float),
        "water_below_m": below,
        "needed_m": np.full(below.size, dry.needed),
        "ok": judged,
        "state": np.where(tight, "tight soil", np.where(ok, "dry", "too high")),
    }
    return site_layer(run, columns, _cell_polygons(run, dry.plan))


def _cell_polygons(run: RunFolder, plan: NDArray[np.intp]) -> NDArray[np.object_]:
    grid = run.ledger.grid
    row, column = np.divmod(plan, grid.ncol)
    x, y = np.asarray(grid.x_edges), np.asarray(grid.y_edges)
    west, east, north, south = x[column], x[column + 1], y[row], y[row + 1]
    site = run.to_site(np.stack([west, east, east, west]), np.stack([south, south, north, north]))
    return shapely.polygons(np.stack(site, axis=-1).swapaxes(0, 1))


def contour_levels(largest: float) -> list[float]:
    """:data:`CONTOUR_LEVELS`, and every further 10 m, up to `largest` [m]."""
    levels = [*CONTOUR_LEVELS, *np.arange(20.0, largest, 10.0).tolist()]
    return [level for level in levels if level < largest]


def _contours(run: RunFolder, drawdown: Floats) -> GeoDataFrame:
    """Contour lines of a drawdown (n,) [m]."""
    largest = float(np.nanmax(drawdown, initial=0.0))
    wanted = run.assessment.drawdowns
    levels = sorted({*contour_levels(largest), *(w for w in wanted if w < largest)})
    values, lines = contour_lines(run, drawdown, levels)
    return site_layer(run, {"drawdown": values}, lines)


def _points_at(things: Sequence[WellEntry | BoringEntry | PointEntry]) -> NDArray[np.object_]:
    """Points of things that stand somewhere."""
    xy = np.array([(thing.x, thing.y) for thing in things], dtype=float).reshape(-1, 2)
    return shapely.points(xy)


def _numbers(values: Any) -> Floats:
    """Numbers with NaN for None."""
    return np.array([np.nan if value is None else value for value in values], dtype=float)
