"""One GeoPackage of many layers that opens styled in QGIS."""

from __future__ import annotations

import os
import warnings
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from wellring.postprocess.gis.gis_styles import style_of

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

DESCRIPTIONS = {
    "model_extent": "Edge of the modelled ground",
    "excavation": "Outline of the excavation",
    "walls": "Walls; levels of toe and top [m], leakage of the wall [1/s]",
    "wells": "Drainage points: level in the well [m] and flow [m3/s] in the last stage, peak flow",
    "wells_by_stage": "Drainage points, one entry a stage: level in the well [m], flow [m3/s]",
    "borings": "Borings as logged; levels [m]",
    "travel_paths": "Fastest way of the water of each contaminated feature; day it arrives",
    "points": "Named points; water before the work and in the last stage [m], settlement [mm]",
    "floor": "Depth of the water below formation under each cell of the floor [m]",
    "drawdown": "Contour lines of the water table's drawdown [m]",
    "largest_drawdown": "Contour lines of the largest drawdown, of water table or any layer [m]",
    "settlement": "Contour lines of the final settlement [mm]",
    "stability": "Share used of what holds the floor: uplift, seepage heave, exit gradient [-]",
    "settlement_zones": "Ground by class of its final settlement [mm]",
    "neighbours_areas": "Neighbours (areas) in their worst stage; rank 1 is the worst of all",
    "neighbours_lines": "Neighbours (lines) in their worst stage; rank 1 is the worst of all",
    "neighbours_points": "Neighbours (points) in their worst stage; rank 1 is the worst of all",
    "influence": "Ground outside the pit with at least this drawdown [m], of any layer",
}

_CLASSED = ("drawdown", "settlement_mm", "from_mm", "drawdown_m")
"""Columns by whose values a layer is drawn."""
_STYLE_KIND = {"largest_drawdown": "drawdown", "wells_by_stage": "wells"}


def write_geopackage(
    layers: Mapping[str, GeoDataFrame], path: Path, about: Mapping[str, str]
) -> None:
    """Write layers and their styles under a temporary name, then put the file in place.

    Parameters
    ----------
    layers : by name; a name begins with one of :data:`DESCRIPTIONS`.
    about : metadata of every layer.
    """
    import pyogrio

    partial = path.with_name(f"{path.stem}.partial.gpkg")
    partial.unlink(missing_ok=True)
    with warnings.catch_warnings(), _unhurried_disk():
        warnings.simplefilter("ignore")
        for name, layer in layers.items():
            pyogrio.write_dataframe(
                layer,
                partial,
                layer=name,
                driver="GPKG",
                append=partial.exists(),
                layer_metadata=dict(about),
                layer_options={
                    "GEOMETRY_NAME": "geom",
                    "IDENTIFIER": name,
                    "DESCRIPTION": DESCRIPTIONS[layer_kind(name)],
                },
            )
        pyogrio.write_dataframe(
            _style_table(layers), partial, layer="layer_styles", driver="GPKG", append=True,
            layer_options={"FID": "id"},
        )  # fmt: skip
    os.replace(partial, path)


@contextmanager
def _unhurried_disk() -> Iterator[None]:
    """Let SQLite leave writing to the disk to the system: seven times faster for many layers.

    Nothing is lost by it: the file gets its name only when it is complete.
    """
    import pyogrio

    option = "OGR_SQLITE_SYNCHRONOUS"
    before = pyogrio.get_gdal_config_option(option)
    pyogrio.set_gdal_config_options({option: "OFF"})
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options({option: before})


def layer_kind(name: str) -> str:
    """The kind of a layer by its name: "drawdown" of "drawdown_01_first_dig"."""
    return max((kind for kind in DESCRIPTIONS if name.startswith(kind)), key=len)


def _style_table(layers: Mapping[str, GeoDataFrame]) -> Any:
    """QGIS's table of styles; schema and catalogue are empty text, which it compares with."""
    import pandas

    rows = []
    for name, layer in layers.items():
        kind = layer_kind(name)
        classed = next((column for column in _CLASSED if column in layer), None)
        levels = sorted(set(layer[classed])) if classed else []
        rows.append(
            {
                "f_table_catalog": "",
                "f_table_schema": "",
                "f_table_name": name,
                "f_geometry_column": "geom",
                "styleName": name,
                "styleQML": style_of(_STYLE_KIND.get(kind, kind), levels),
                "styleSLD": "",
                "useAsDefault": True,
                "description": DESCRIPTIONS[kind],
                "owner": "",
                "ui": "",
                "update_time": pandas.Timestamp.now("UTC").floor("s"),
            }
        )
    return pandas.DataFrame(rows)
