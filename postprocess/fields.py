"""A run's fields as one labelled dataset, and as a NetCDF file that follows the CF conventions."""

from __future__ import annotations

import os
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.faults import FaultLog
from wellring.inputs.geodata.crs import SiteCrs, lonlat_of, plan_crs, read_crs
from wellring.postprocess.run.heads import drawdowns, water_table
from wellring.postprocess.run.ledger import LEDGER_FILE
from wellring.postprocess.run.run_folder import RunFolder, StageGrid

if TYPE_CHECKING:
    import xarray

Floats = NDArray[np.float64]

_UNIT_NAMES = {1.0: "m", 0.3048: "ft", 1200 / 3937: "US_survey_foot"}
_PLAN = ("y", "x")
_CELLS = ("layer", *_PLAN)


def site_crs(run: RunFolder) -> SiteCrs:
    """The crs of a run, in whose units everything is written.

    Raises
    ------
    InputFaults : the ledger's crs is not known to PROJ, or is no crs for a site.
    """
    faults = FaultLog()
    crs = read_crs(run.ledger.crs, faults, run.path / LEDGER_FILE, "crs")
    faults.raise_if_any()
    assert crs is not None
    return SiteCrs.of(crs, run.ledger.crs)


def open_fields(run: RunFolder) -> xarray.Dataset:
    """All stages' fields, labelled; levels and drawdown in m.

    Dimensions: `stage` (name, the natural state first), `layer` (from 0, top down), `y` and `x`
    (cell centres in the grid's own, turned axes [m]). Coordinates over (y, x): `site_x`, `site_y`
    in the site's crs and its units, `lon`, `lat` [degrees]. Variables:

    =================  ==================  ========================================================
    heads              stage layer y x     head; NaN outside the model
    active             stage layer y x     whether the cell is part of the model
    top, bottom        layer y x           levels of the cell
    unit               layer y x           index of the stratigraphic unit (names in its attributes)
    water_table        stage y x           level of the uppermost water; NaN where there is none
    drawdown           stage y x           fall of the water table since before the work
    largest_drawdown   stage y x           largest fall of the water table or of any unit's head
    settlement         stage y x           final settlement; NaN in the pit, 0 before the work
    =================  ==================  ========================================================

    Raises
    ------
    InputFaults : not a run folder, or one whose crs is not known.
    """
    import xarray

    ledger, crs = run.ledger, site_crs(run)
    shape = run.plan_shape
    grids = [run.grid_of(entry) for entry in ledger.stages]
    heads = [run.heads(entry) for entry in ledger.stages]
    falls = [drawdowns(run, (grids[0], heads[0]), pair) for pair in zip(grids, heads, strict=True)]
    edges = grids[0].edges
    cells = edges.shape[0] - 1

    def plan(values: list[Floats]) -> Floats:
        return np.stack(values).reshape(-1, *shape)

    def solid(values: NDArray) -> NDArray:
        return values.reshape(-1, cells, *shape)

    wet = "water_surface_height_above_reference_datum"
    data: dict[str, tuple[tuple[str, ...], NDArray, dict[str, Any]]] = {
        "heads": (("stage", *_CELLS), solid(np.stack(heads)), _metres("hydraulic head")),
        "active": (
            ("stage", *_CELLS),
            solid(np.stack([grid.active for grid in grids])),
            {"long_name": "cell is part of the model"},
        ),
        "top": (_CELLS, solid(edges[:-1])[0], _metres("level of the cell's top")),
        "bottom": (_CELLS, solid(edges[1:])[0], _metres("level of the cell's bottom")),
        "unit": (_CELLS, solid(run.unit)[0], _unit_attributes(run)),
        "water_table": (
            ("stage", *_PLAN),
            plan([water_table(*pair) for pair in zip(grids, heads, strict=True)]),
            _metres("level of the uppermost water") | {"standard_name": wet},
        ),
        "drawdown": (
            ("stage", *_PLAN),
            plan([fall.table for fall in falls]),
            _metres("fall of the water table since before the work"),
        ),
        "largest_drawdown": (
            ("stage", *_PLAN),
            plan([fall.largest for fall in falls]),
            _metres("largest fall of the water table or of the head in any layer of soil"),
        ),
    }
    settled = _settlements(run, grids, heads)
    if settled:
        told = _metres("final settlement of the ground in the stage's steady state")
        data["settlement"] = (("stage", *_PLAN), plan(settled), told)
    for _, _, attributes in data.values():
        attributes["grid_mapping"] = "crs"
    dataset = xarray.Dataset(
        {name: (dims, values, attributes) for name, (dims, values, attributes) in data.items()},
        coords=_coordinates(run, crs, cells),
        attrs=_attributes(run),
    )
    dataset["crs"] = ((), np.int32(0), plan_crs(crs.crs).to_cf())
    return dataset


def _settlements(
    run: RunFolder, grids: Sequence[StageGrid], heads: Sequence[Floats]
) -> list[Floats]:
    """Final settlement (n,) [m] of each stage; empty where the run cannot tell."""
    from wellring.postprocess.settlement.settlement import settlements
    from wellring.postprocess.stage_results import StageResult

    results = [
        StageResult(entry, grid, level, water_table(grid, level))
        for entry, grid, level in zip(run.ledger.stages, grids, heads, strict=True)
    ]
    found = [item.final for item in settlements(run, results)]
    return [np.where(np.isnan(found[0]), np.nan, 0.0), *found] if found else []


def write_netcdf(run: RunFolder, path: str | Path) -> Path:
    """Write :func:`open_fields` to a compressed NetCDF-4 file (CF-1.8).

    Raises
    ------
    InputFaults : not a run folder, or the file cannot be written there.
    """
    return write_dataset(open_fields(run), Path(path))


def write_dataset(dataset: xarray.Dataset, path: Path) -> Path:
    """Write a dataset to a compressed NetCDF-4 file.

    Raises
    ------
    InputFaults : the file cannot be written there.
    """
    packed = {"zlib": True, "complevel": 1, "shuffle": True}
    encoding: dict[str, dict[str, Any]] = {
        str(name): dict(packed) for name, values in dataset.data_vars.items() if values.ndim
    }
    for name, values in dataset.coords.items():
        if values.dtype.kind == "f" and name not in ("formation", "day"):  # places have no holes
            encoding[str(name)] = {"_FillValue": None}
    partial = path.with_name(f"{path.name}.partial")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        dataset.to_netcdf(partial, engine="netcdf4", encoding=encoding)
        os.replace(partial, path)
    except OSError as error:
        with suppress(OSError):
            partial.unlink(missing_ok=True)
        faults = FaultLog()
        why = error.strerror or type(error).__name__
        faults.add(path, "the NetCDF file", None, "a place that can be written to", why)
        faults.raise_if_any()
    return path


def _metres(text: str) -> dict[str, Any]:
    return {"long_name": text, "units": "m"}


def _unit_attributes(run: RunFolder) -> dict[str, Any]:
    """CF flags: meanings are single words, so blanks become underscores; labels keep the names."""
    labels = [unit.label for unit in run.ledger.units]
    return {
        "long_name": "stratigraphic unit",
        "flag_values": np.arange(len(labels), dtype=run.unit.dtype),
        "flag_meanings": " ".join("_".join(label.split()) for label in labels),
        "labels": "; ".join(labels),
    }


def _coordinates(run: RunFolder, crs: SiteCrs, layers: int) -> dict[str, Any]:
    shape = run.plan_shape
    x, y = run.local_centres
    site = np.column_stack(run.centres)
    lonlat = lonlat_of(crs, site)
    lonlat = np.where(np.isfinite(lonlat), lonlat, np.nan)
    east, north = (site / run.ledger.metres_per_unit).T.reshape(2, *shape)
    lon, lat = lonlat.T.reshape(2, *shape)
    unit = _UNIT_NAMES.get(run.ledger.metres_per_unit, "m")
    stages = run.ledger.stages

    def over_stages(values: list[float | None], text: str) -> tuple[str, Floats, dict[str, str]]:
        return "stage", np.array(values, dtype=float), {"long_name": text}

    return {
        "stage": ("stage", [entry.name for entry in stages], {"long_name": "stage of the work"}),
        "formation": over_stages([s.formation for s in stages], "formation level [m]"),
        "day": over_stages([s.day for s in stages], "day on which the stage begins"),
        "layer": ("layer", np.arange(layers), {"long_name": "layer of cells", "positive": "down"}),
        "y": ("y", y, {"long_name": "along the grid's own y axis", "units": "m", "axis": "Y"}),
        "x": ("x", x, {"long_name": "along the grid's own x axis", "units": "m", "axis": "X"}),
        "site_x": (_PLAN, east, {"standard_name": "projection_x_coordinate", "units": unit}),
        "site_y": (_PLAN, north, {"standard_name": "projection_y_coordinate", "units": unit}),
        "lon": (_PLAN, lon, {"standard_name": "longitude", "units": "degrees_east"}),
        "lat": (_PLAN, lat, {"standard_name": "latitude", "units": "degrees_north"}),
    }


def _attributes(run: RunFolder) -> dict[str, Any]:
    ledger = run.ledger
    made_by = run.provenance.get("wellring", "")
    return {
        "Conventions": "CF-1.8",
        "title": f"{ledger.site}: {ledger.scheme}",
        "source": f"wellring {made_by}, MODFLOW 6".replace("  ", " "),
        "site": ledger.site,
        "scheme": ledger.scheme,
        "invented": "yes" if ledger.invented else "no",
        "grid_rotation_degrees": float(ledger.grid.rotation),
        "grid_origin": [c / ledger.metres_per_unit for c in ledger.grid.origin],
    }
