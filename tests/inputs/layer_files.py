"""Vector layers that tests write, and the readers as tests call them."""

from __future__ import annotations

import json
from pathlib import Path

import geopandas
import numpy as np
import pyproj
import shapely

from wellring.inputs.basics.faults import FaultLog
from wellring.inputs.geodata.geodata import (
    SiteCrs,
    read_line,
    read_points,
    read_polygon,
)

UTM = SiteCrs.of(pyproj.CRS("EPSG:32633"), "EPSG:32633")
LONG_ISLAND = SiteCrs.of(pyproj.CRS("EPSG:2263"), "EPSG:2263")
PIT = shapely.box(390000, 5820000, 390060, 5820040)
US_FOOT = 1200 / 3937
BOW_TIE = [(390000, 5820000), (390060, 5820040), (390060, 5820000), (390000, 5820040)]


def write(shapes, path: Path, crs: object = "EPSG:32633", **more: object) -> str:
    shapes = shapes if isinstance(shapes, list) else [shapes]
    table = geopandas.GeoDataFrame(
        {"name": [str(i) for i in range(len(shapes))]}, geometry=shapes, crs=crs
    )
    table.to_file(path, **more)
    return path.name


def write_geojson(geometry: dict, path: Path, **members: object) -> str:
    feature = {"type": "Feature", "properties": {}, "geometry": geometry}
    content = {"type": "FeatureCollection", "features": [feature], **members}
    path.write_text(json.dumps(content))
    return path.name


def geojson_polygon(corners) -> dict:
    return {"type": "Polygon", "coordinates": [[list(xy) for xy in corners]]}


def polygon(ref, folder: Path, crs: SiteCrs = UTM) -> tuple[shapely.Polygon | None, FaultLog]:
    faults = FaultLog()
    return read_polygon(ref, folder, crs, faults, "site.toml", "excavation.outline"), faults


def line(ref, folder: Path, crs: SiteCrs = UTM) -> tuple[shapely.LineString | None, FaultLog]:
    faults = FaultLog()
    return read_line(ref, folder, crs, faults, "site.toml", "walls[0].line"), faults


def points(ref, folder: Path, crs: SiteCrs = UTM) -> tuple[np.ndarray | None, FaultLog]:
    faults = FaultLog()
    return read_points(ref, folder, crs, faults, "site.toml", "schemes[0].points"), faults


def only(faults: FaultLog) -> str:
    """The text of the one fault there is."""
    assert len(faults.faults) == 1, faults.faults
    return str(faults.faults[0])
