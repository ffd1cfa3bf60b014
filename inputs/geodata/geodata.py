"""Vector layers of a site: polygons, lines and points, in site metres.

A shape is given by its corners or by a file (GeoJSON, GeoPackage, Shapefile, FlatGeobuf; points
also CSV with columns x, y). ``"layers.gpkg#pit"`` names one layer of a GeoPackage. Corners and
CSV points are in the site crs; a file is reprojected from its own crs. Everything returned is in
metres: site crs units times :attr:`SiteCrs.metres_per_unit`.

Readers add what is wrong to a :class:`FaultLog` and return None; they raise nothing for bad data.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import shapely

from wellring.inputs.basics.csv_rows import read_rows
from wellring.inputs.basics.faults import FaultLog
from wellring.inputs.basics.named_files import find_file
from wellring.inputs.geodata.crs import (
    SiteCrs,
    check_pit_place,
    look_swapped,
    metres_per_unit,
    on_a_map,
    read_crs,
)
from wellring.inputs.geodata.one_shape import SAME_END, SAME_VERTEX, one_line, one_polygon
from wellring.inputs.geodata.vector_files import read_features

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

__all__ = [
    "SiteCrs",
    "check_near",
    "check_pit_place",
    "metres_per_unit",
    "read_crs",
    "read_features",
    "read_line",
    "read_line_or_polygon",
    "read_points",
    "read_polygon",
]

Ref = str | Sequence[Sequence[float]]

#: Farther from the pit than this [m], a shape is taken to be in another coordinate system.
FAR_AWAY = 20_000.0


def read_polygon(
    ref: Ref,
    folder: Path,
    crs: SiteCrs,
    faults: FaultLog,
    site_file: str | Path,
    place: str,
) -> shapely.Polygon | None:
    """One polygon without holes, anticlockwise, without repeated vertices [m].

    The first vertex stays the first. A closed line in a file is taken as the polygon it bounds.

    Parameters
    ----------
    ref : file relative to `folder`, or corners (x, y) in site crs units, closed or not.
    site_file, place : the site file and the dotted key there ("excavation.outline").
    """
    shapes = _shapes(ref, folder, crs, faults, site_file, place, closed=True)
    if shapes is None:
        return None
    return one_polygon(shapes, _shown(ref), crs, faults, site_file, place)


def read_line(
    ref: Ref,
    folder: Path,
    crs: SiteCrs,
    faults: FaultLog,
    site_file: str | Path,
    place: str,
) -> shapely.LineString | None:
    """One line that does not cross itself [m]; stretches that meet end to end are joined.

    Parameters as :func:`read_polygon`; a line that ends where it begins is allowed.
    """
    shapes = _shapes(ref, folder, crs, faults, site_file, place)
    if shapes is None:
        return None
    return one_line(shapes, _shown(ref), crs, faults, site_file, place)


def read_line_or_polygon(
    ref: Ref,
    folder: Path,
    crs: SiteCrs,
    faults: FaultLog,
    site_file: str | Path,
    place: str,
) -> shapely.LineString | shapely.Polygon | None:
    """A line or a polygon, whichever the file holds [m]; corners: a polygon when closed.

    Parameters as :func:`read_polygon`.
    """
    shapes = _shapes(ref, folder, crs, faults, site_file, place)
    if shapes is None:
        return None
    shown = _shown(ref)
    if not isinstance(ref, str):
        line = shapes[0]
        first, last = np.asarray(line.coords)[[0, -1]]
        closed = len(line.coords) > 3 and np.hypot(*(first - last)) <= SAME_VERTEX
        shapes = [shapely.Polygon(line.coords)] if closed else shapes
    if any("Polygon" in shape.geom_type for shape in shapes):
        return one_polygon(shapes, shown, crs, faults, site_file, place)
    return one_line(shapes, shown, crs, faults, site_file, place)


def read_points(
    ref: Ref,
    folder: Path,
    crs: SiteCrs,
    faults: FaultLog,
    site_file: str | Path,
    place: str,
) -> np.ndarray | None:
    """Points (n, 2) [m], n ≥ 1, in the order of the file; a repeated point is left out, said so.

    Parameters as :func:`read_polygon`; a file may also be CSV with columns x, y in site crs units.
    """
    shown = _shown(ref)
    if isinstance(ref, str) and ref.lower().endswith(".csv"):
        xy = _csv_points(ref, folder, crs, faults, site_file, place)
        if xy is None or _swapped(xy, shown, crs, faults, site_file, place):
            return None
    elif isinstance(ref, str):
        features = read_features(ref, folder, crs, faults, site_file, place)
        if features is None:
            return None
        shapes = list(features.geometry)
        other = [s.geom_type for s in shapes if s.geom_type not in ("Point", "MultiPoint")]
        if other:
            faults.add(site_file, place, shown, "a layer of points", f"It holds a {other[0]}")
            return None
        xy = shapely.get_coordinates(shapes)
    else:
        found = _corners(ref, 1, crs, faults, site_file, place)
        if found is None:
            return None
        xy = found
    apart = shapely.STRtree(shapely.points(xy)).query(
        shapely.points(xy), predicate="dwithin", distance=SAME_END
    )
    repeated = np.unique(apart[0][apart[1] < apart[0]])
    if len(repeated):
        spot = crs.spot(*xy[repeated[0]])
        faults.warn(f"{site_file}: {place}: {len(repeated)} repeated points left out, as {spot}")
    return np.delete(xy, repeated, axis=0)


def check_near(
    geometry: BaseGeometry | np.ndarray,
    pit: shapely.Polygon,
    faults: FaultLog,
    site_file: str | Path,
    place: str,
    value: object = None,
    limit: float = FAR_AWAY,
) -> bool:
    """Whether all of `geometry`'s nearest part is within `limit` [m] of the pit; else a fault.

    Points (n, 2) are looked at one by one, a line or polygon by its nearest point.
    """
    shape = geometry
    if isinstance(shape, np.ndarray):
        distances = shapely.distance(shapely.points(shape.reshape(-1, 2)), pit)
        distance = float(distances.max()) if len(distances) else 0.0
    else:
        distance = float(shapely.distance(shape, pit))
    if distance <= limit:
        return True
    faults.add(
        site_file,
        place,
        value,
        f"a place within {limit / 1000:g} km of the pit",
        f"It lies {distance / 1000:.0f} km away; is it in another coordinate system?",
    )
    return False


def _shown(ref: Ref) -> str:
    if isinstance(ref, str):
        return ref
    text = ", ".join(str(list(point)) for point in list(ref)[:4])
    return f"[{text}, …]" if len(ref) > 4 else f"[{text}]"


def _shapes(
    ref: Ref,
    folder: Path,
    crs: SiteCrs,
    faults: FaultLog,
    site_file: str | Path,
    place: str,
    closed: bool = False,
) -> list[BaseGeometry] | None:
    """Geometries in site metres from a file or from corners (a Polygon where `closed`)."""
    if isinstance(ref, str):
        features = read_features(ref, folder, crs, faults, site_file, place)
        return None if features is None else list(features.geometry)
    corners = _corners(ref, 3 if closed else 2, crs, faults, site_file, place)
    if corners is None:
        return None
    return [shapely.Polygon(corners) if closed else shapely.LineString(corners)]


def _corners(
    ref: Sequence[Sequence[float]],
    least: int,
    crs: SiteCrs,
    faults: FaultLog,
    site_file: str | Path,
    place: str,
) -> np.ndarray | None:
    """Corners (n, 2) [m] from pairs in site crs units; at least `least` of them."""
    what = f"at least {least} points [x, y]" if least > 1 else "points [x, y]"
    try:
        xy = np.array([[float(value) for value in point] for point in ref], dtype=float)
    except (TypeError, ValueError):
        xy = np.empty((0, 0))
    if xy.ndim != 2 or xy.shape[1:] != (2,) or len(xy) < least:
        faults.add(site_file, place, _shown(ref), what)
        return None
    if not on_a_map(xy):
        faults.add(site_file, place, _shown(ref), f"{what}, all finite and within ±1e8")
        return None
    metres = crs.to_metres(xy)
    return None if _swapped(metres, _shown(ref), crs, faults, site_file, place) else metres


def _swapped(
    xy: np.ndarray, shown: str, crs: SiteCrs, faults: FaultLog, site_file: str | Path, place: str
) -> bool:
    if not look_swapped(crs, xy):
        return False
    faults.add(
        site_file,
        place,
        shown,
        "x (east) before y (north)",
        f"In {crs.text} they make sense only the other way round: exchange x and y",
    )
    return True


def _csv_points(
    ref: str, folder: Path, crs: SiteCrs, faults: FaultLog, site_file: str | Path, place: str
) -> np.ndarray | None:
    path = find_file(ref, folder, [".csv"], "a CSV file with columns x,y", faults, site_file, place)
    if path is None:
        return None
    rows = read_rows(path, ["x", "y"], ["id", "name"], faults, ref)
    if rows is None:
        return None
    before = len(faults.faults)
    xy = [[row.quantity(column, "1", faults, ref) for column in ("x", "y")] for row in rows]
    if len(faults.faults) == before and not on_a_map(np.array(xy, dtype=float)):
        faults.add(ref, "columns x, y", "", "coordinates within ±1e8")
    return None if len(faults.faults) > before else crs.to_metres(np.array(xy, dtype=float))
