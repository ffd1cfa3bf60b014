"""GeoTIFFs of a run: the turned, graded grid's plan fields on north-up rasters.

Two rasters a field: ``near`` shows the pit and what lies around it, ``wide`` the whole model.
Pixel values are linear between cell centres, and a cell's own value beyond the last centre, so
that a jump at a wall is spread over one cell.
"""

from __future__ import annotations

import math
import re
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from numpy.typing import NDArray

from wellring.inputs.geodata.crs import SiteCrs
from wellring.postprocess.gis.gis_styles import raster_style
from wellring.postprocess.run.ledger import StageEntry
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.settlement.settlement import settlements

if TYPE_CHECKING:
    from wellring.postprocess.stage_results import StageResult

Floats = NDArray[np.float64]

NODATA = -9999.0
LARGEST_SIDE = {"near": 800, "wide": 600}
"""Pixels a side, at most."""
PIXELS_ACROSS_PIT = 40
"""Pixels across the pit's short side in the near raster, unless that needs a larger raster."""
METHOD = "linear between cell centres of the model grid, at pixel centres"


@dataclass(frozen=True)
class Raster:
    """A north-up raster: its corner, pixel size [crs units] and shape (rows, columns)."""

    name: str
    west: float
    north: float
    pixel: float
    shape: tuple[int, int]

    @property
    def centres(self) -> tuple[Floats, Floats]:
        """x (columns,) and y (rows,) of the pixel centres [crs units]."""
        rows, columns = self.shape
        steps_x = np.arange(columns, dtype=np.float64) + 0.5
        steps_y = np.arange(rows, dtype=np.float64) + 0.5
        return self.west + self.pixel * steps_x, self.north - self.pixel * steps_y


@dataclass(frozen=True)
class Quantity:
    """What a GeoTIFF holds: file name part, words for it, the end of the ramp that is dark."""

    key: str
    text: str
    dark_low: bool
    unit: str = "m"
    factor: float = 1.0
    """From SI to the unit of the pixels."""


TABLE = Quantity("water_table", "level of the water table", True)
FALL = Quantity("drawdown", "drawdown of the water table", False)
LARGEST = Quantity(
    "largest_drawdown", "largest drawdown of the water table or of any soil layer's head", False
)
SETTLEMENT = Quantity("settlement", "final settlement of the ground", False, "mm", 1e3)


def stage_slug(stage: StageEntry) -> str:
    """The stage's part of file and layer names: letters, digits and underscores only."""
    return re.sub(r"[^A-Za-z0-9]+", "_", stage.folder).strip("_") or "stage"


def lay_out_rasters(run: RunFolder, active: NDArray[np.bool_]) -> list[Raster]:
    """Where the near and the wide raster lie.

    Parameters
    ----------
    active : (n,) plan cells that are part of the model; the wide raster covers them.
    """
    unit = run.ledger.metres_per_unit
    wide = _bounds_of_cells(run, active) / unit
    pit = shapely.Polygon(run.ledger.outline)
    short, long = _sides(pit)
    around = np.array(pit.buffer(max(0.75 * long, 15.0)).bounds) / unit
    near = np.concatenate([np.maximum(around[:2], wide[:2]), np.minimum(around[2:], wide[2:])])
    grid = run.ledger.grid
    smallest = min(np.diff(grid.x_edges).min(), -np.diff(grid.y_edges).max())
    wanted = max(short / PIXELS_ACROSS_PIT, smallest / 4) / unit
    return [_raster("near", near, wanted), _raster("wide", wide, 0.0)]


def _sides(polygon: shapely.Polygon) -> tuple[float, float]:
    corners = np.asarray(shapely.oriented_envelope(polygon).exterior.coords)
    lengths = np.hypot(*np.diff(corners[:3], axis=0).T)
    return float(lengths.min()), float(lengths.max())


def _bounds_of_cells(run: RunFolder, active: NDArray[np.bool_]) -> Floats:
    """West, south, east, north [m] of the box around cells."""
    grid = run.ledger.grid
    rows, columns = (found.ravel() for found in np.nonzero(active.reshape(run.plan_shape)))
    x_edges, y_edges = np.asarray(grid.x_edges), np.asarray(grid.y_edges)
    x = np.concatenate([x_edges[columns], x_edges[columns + 1]] * 2)
    y = np.concatenate([y_edges[rows]] * 2 + [y_edges[rows + 1]] * 2)
    site = np.column_stack(run.to_site(x, y))
    return np.concatenate([site.min(axis=0), site.max(axis=0)])


def _raster(name: str, bounds: Floats, wanted: float) -> Raster:
    """The raster over `bounds` with a round pixel size of at most `wanted`, if its size allows."""
    least = (bounds[2:] - bounds[:2]).max() / (LARGEST_SIDE[name] - 2)
    pixel = max(_round_down(wanted), _round_up(least))
    west, south = (math.floor(c / pixel) * pixel for c in bounds[:2])
    east, north = (math.ceil(c / pixel) * pixel for c in bounds[2:])
    shape = (max(round((north - south) / pixel), 1), max(round((east - west) / pixel), 1))
    return Raster(name, west, north, pixel, shape)


_ROUND = (1.0, 2.0, 2.5, 5.0, 10.0)


def _round_up(value: float) -> float:
    power = 10.0 ** math.floor(math.log10(value))
    return next(r for r in _ROUND if r * power >= value * (1 - 1e-9)) * power


def _round_down(value: float) -> float:
    if value <= 0:
        return 0.0
    power = 10.0 ** math.floor(math.log10(value))
    return next(r for r in _ROUND[::-1] if r * power <= value * (1 + 1e-9)) * power


class Resampler:
    """Takes plan fields to one raster; corners and weights are found once for all fields."""

    def __init__(self, run: RunFolder, raster: Raster):
        self.raster = raster
        x, y = np.meshgrid(*raster.centres)
        unit = run.ledger.metres_per_unit
        local_x, local_y = run.to_local(x * unit, y * unit)
        grid = run.ledger.grid
        x_edges, y_edges = np.asarray(grid.x_edges), np.asarray(grid.y_edges)
        centres_x, centres_y = run.local_centres
        # y runs down the rows; with its sign changed both axes rise.
        column, weight_x, own_x, in_x = _place(local_x.ravel(), x_edges, centres_x)
        row, weight_y, own_y, in_y = _place(-local_y.ravel(), -y_edges, -centres_y)
        self._inside = np.flatnonzero(in_x & in_y)
        keep = self._inside
        right, below = min(grid.ncol - 1, 1), grid.ncol * min(grid.nrow - 1, 1)
        first = row[keep] * grid.ncol + column[keep]
        self._corners = np.stack([first, first + right, first + below, first + right + below])
        u, v = weight_x[keep], weight_y[keep]
        self._weights = np.stack([(1 - u) * (1 - v), u * (1 - v), (1 - u) * v, u * v])
        self._own = own_y[keep] * grid.ncol + own_x[keep]

    def apply(self, field: Floats) -> NDArray[np.float32]:
        """A plan field (n,) as (rows, columns); NaN where the model or the field has no value."""
        values = field[self._corners[0]] * self._weights[0]
        for corner, weight in zip(self._corners[1:], self._weights[1:], strict=True):
            values += field[corner] * weight
        values = np.where(np.isnan(values), field[self._own], values)
        flat = np.full(self.raster.shape[0] * self.raster.shape[1], np.nan, np.float32)
        flat[self._inside] = np.where(np.isnan(field[self._own]), np.nan, values)
        return flat.reshape(self.raster.shape)


def _place(
    at: Floats, edges: Floats, centres: Floats
) -> tuple[NDArray[np.intp], Floats, NDArray[np.intp], NDArray[np.bool_]]:
    """Along one rising axis: centre before each place, weight of the next, own cell, inside."""
    inside = (at >= edges[0]) & (at < edges[-1])
    own = np.clip(np.searchsorted(edges, at, side="right") - 1, 0, centres.size - 1)
    before = np.clip(np.searchsorted(centres, at, side="right") - 1, 0, max(centres.size - 2, 0))
    after = np.minimum(before + 1, centres.size - 1)
    span = np.where(after > before, centres[after] - centres[before], 1.0)
    weight = np.clip((at - centres[before]) / span, 0.0, 1.0)
    return before, weight, own, inside


def write_rasters(
    run: RunFolder, results: Sequence[StageResult], folder: Path, crs: SiteCrs
) -> list[Path]:
    """Write every stage's GeoTIFFs with a style beside each; colours mean the same in all stages.

    Returns
    -------
    The files written, GeoTIFFs and styles.
    """
    active = np.logical_or.reduce([result.grid.active.any(axis=0) for result in results])
    resamplers = [Resampler(run, raster) for raster in lay_out_rasters(run, active)]
    fields: dict[Quantity, list[tuple[StageEntry, Floats]]] = {
        TABLE: [],
        FALL: [],
        LARGEST: [],
        SETTLEMENT: [(item.entry, item.final) for item in settlements(run, results)],
    }
    for result in results:
        fields[TABLE].append((result.entry, result.table))
        if result.fall is not None:
            fields[FALL].append((result.entry, result.fall.table))
            fields[LARGEST].append((result.entry, result.fall.largest))
    written: list[Path] = []
    for quantity, of_stages in fields.items():
        if not of_stages:
            continue
        fields_shown = [field * quantity.factor for _, field in of_stages]
        style = raster_style(*_limits(fields_shown), quantity.unit, quantity.dark_low)
        for (entry, _), field in zip(of_stages, fields_shown, strict=True):
            for resampler in resamplers:
                path = folder / f"{quantity.key}_{stage_slug(entry)}_{resampler.raster.name}.tif"
                tags = _tags(run, entry, quantity)
                _write(path, resampler.apply(field), resampler.raster, crs, quantity, tags)
                path.with_suffix(".qml").write_text(style, encoding="utf-8")
                written += [path, path.with_suffix(".qml")]
    return written


def write_plan_field(
    run: RunFolder,
    entry: StageEntry,
    field: Floats,
    quantity: Quantity,
    folder: Path,
    crs: SiteCrs,
) -> list[Path]:
    """Write one plan field (n,) of a stage as near and wide GeoTIFFs; NaN where there is none."""
    written = []
    for raster in lay_out_rasters(run, np.isfinite(field)):
        path = folder / f"{quantity.key}_{stage_slug(entry)}_{raster.name}.tif"
        values = Resampler(run, raster).apply(field * quantity.factor)
        _write(path, values, raster, crs, quantity, _tags(run, entry, quantity))
        written.append(path)
    return written


def _limits(fields: Sequence[Floats]) -> tuple[float, float]:
    """Round limits around the fields' values; drawdown starts from 0, or below where it rises."""
    values = np.concatenate(fields)
    values = values[np.isfinite(values)]
    if not values.size:
        return 0.0, 1.0
    step = _round_up(max(float(np.ptp(values)), 1e-3) / 20)
    low, high = math.floor(values.min() / step) * step, math.ceil(values.max() / step) * step
    return low, max(high, low + step)


def _tags(run: RunFolder, entry: StageEntry, quantity: Quantity) -> dict[str, str]:
    ledger = run.ledger
    tags = {
        "site": ledger.site,
        "scheme": ledger.scheme,
        "stage": entry.name,
        "quantity": quantity.text,
        "unit": quantity.unit,
        "method": METHOD,
        "invented": "yes" if ledger.invented else "no",
    }
    if entry.formation is not None:
        tags["formation_m"] = f"{entry.formation:g}"
    # GDAL keeps tags as XML, which knows no control characters.
    return {name: re.sub(r"[\x00-\x1f\x7f]", " ", value) for name, value in tags.items()}


def _write(
    path: Path, values: NDArray[np.float32], raster: Raster, crs: SiteCrs, quantity: Quantity,
    tags: dict[str, str],
) -> None:  # fmt: skip
    """Write one GeoTIFF: cloud-optimised where GDAL can, tiled otherwise."""
    import rasterio
    from rasterio.crs import CRS

    profile: dict[str, Any] = {
        "dtype": "float32",
        "count": 1,
        "height": raster.shape[0],
        "width": raster.shape[1],
        "crs": CRS.from_wkt(crs.wkt),
        "transform": rasterio.Affine(
            raster.pixel, 0.0, raster.west, 0.0, -raster.pixel, raster.north
        ),
        "nodata": NODATA,
        "compress": "deflate",
        "predictor": 3,
    }
    with warnings.catch_warnings(), rasterio.Env() as env:
        warnings.simplefilter("ignore")
        if "COG" in env.drivers():
            profile |= {
                "driver": "COG",
                "blocksize": 256,
                "level": 6,
                "predictor": "FLOATING_POINT",
            }
        else:
            profile |= {"driver": "GTiff", "tiled": True, "blockxsize": 256, "blockysize": 256}
        with rasterio.open(path, "w", **profile) as file:
            file.write(np.where(np.isnan(values), np.float32(NODATA), values), 1)
            file.set_band_description(1, f"{quantity.text} [{quantity.unit}]")
            file.set_band_unit(1, quantity.unit)
            file.update_tags(**tags)
