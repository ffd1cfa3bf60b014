"""From whatever a file holds to the one clean polygon or line that was meant, in metres."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import shapely
from shapely.geometry.polygon import orient
from shapely.validation import explain_validity

from wellring.inputs.basics.faults import FaultLog
from wellring.inputs.geodata.crs import SiteCrs

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

#: Vertices nearer to each other than this [m] are one vertex.
SAME_VERTEX = 1e-3
#: Parts of a line whose ends are nearer than this [m] are joined.
SAME_END = 0.01
#: A polygon below this area [m²] is taken for a slip; no excavation is so small.
LEAST_AREA = 0.1


def one_polygon(
    shapes: list[BaseGeometry],
    shown: str,
    crs: SiteCrs,
    faults: FaultLog,
    site_file: str | Path,
    place: str,
) -> shapely.Polygon | None:
    """The one polygon that `shapes` [m] hold, anticlockwise; None with a fault added if not one."""
    parts = [part for shape in shapes for part in shapely.get_parts(shape)]
    if len(parts) == 1 and parts[0].geom_type == "LineString" and parts[0].is_closed:
        parts = [shapely.Polygon(parts[0].coords)] if len(parts[0].coords) > 3 else parts
    wrong = [part.geom_type for part in parts if part.geom_type != "Polygon"]
    if wrong or len(parts) != 1:
        found = f"a {wrong[0]}" if wrong else f"{len(parts)} polygons"
        faults.add(site_file, place, shown, "exactly one polygon", f"It holds {found}")
        return None
    polygon = parts[0]
    if len(polygon.interiors):
        spot = crs.spot(*polygon.interiors[0].coords[0])
        faults.add(
            site_file,
            place,
            shown,
            "a polygon without holes",
            f"It has {len(polygon.interiors)}, one at {spot}; islands in a polygon are not "
            "supported: draw the outer edge alone",
        )
        return None
    corners = _without_repeats(np.asarray(polygon.exterior.coords)[:, :2], closed=True)
    if len(corners) < 3:
        faults.add(
            site_file,
            place,
            shown,
            f"at least 3 different corners, not {len(corners)}",
            f"Corners less than 1 mm apart are one; are they in degrees instead of {crs.text}?",
        )
        return None
    ring = shapely.Polygon(corners)
    if ring.convex_hull.area < LEAST_AREA:
        faults.add(
            site_file,
            place,
            shown,
            f"a polygon of at least {LEAST_AREA:g} m²",
            f"Its area is {ring.convex_hull.area:.2g} m²; are its corners in a line, or in "
            f"degrees instead of {crs.text}?",
        )
        return None
    if not ring.is_valid:
        faults.add(
            site_file,
            place,
            shown,
            "a polygon whose edge does not cross or touch itself",
            f"It does at {_crossing(ring.exterior, ring, crs)}; put the corners in order",
        )
        return None
    return orient(ring)


def one_line(
    shapes: list[BaseGeometry],
    shown: str,
    crs: SiteCrs,
    faults: FaultLog,
    site_file: str | Path,
    place: str,
) -> shapely.LineString | None:
    """The one line that `shapes` [m] join to; None with a fault added if they do not."""
    parts = [part for shape in shapes for part in shapely.get_parts(shape)]
    wrong = [part.geom_type for part in parts if part.geom_type not in ("LineString", "LinearRing")]
    if wrong:
        faults.add(site_file, place, shown, "one line", f"It holds a {wrong[0]}")
        return None
    vertices = [_without_repeats(np.asarray(part.coords)[:, :2]) for part in parts]
    vertices = [xy for xy in vertices if len(xy) > 1]
    if not vertices:
        faults.add(site_file, place, shown, "a line with two different points")
        return None
    line = shapely.LineString(vertices[0])
    if len(vertices) > 1:
        joined = shapely.line_merge(shapely.MultiLineString(_meeting(vertices)))
        if joined.geom_type != "LineString":
            count = len(shapely.get_parts(joined))
            faults.add(
                site_file,
                place,
                shown,
                "one line, its stretches meeting end to end",
                f"It holds {count} that do not join into one; draw one line, or one entry each",
            )
            return None
        line = joined
    if not line.is_simple:
        faults.add(
            site_file,
            place,
            shown,
            "a line that does not cross itself",
            f"It does at {_crossing(line, None, crs)}",
        )
        return None
    return line


def _without_repeats(xy: np.ndarray, closed: bool = False) -> np.ndarray:
    """Vertices (n, 2) without those within SAME_VERTEX of the one before (closed: cyclically)."""
    xy = np.asarray(shapely.remove_repeated_points(shapely.LineString(xy), SAME_VERTEX).coords)
    if len(xy) == 2 and np.hypot(*(xy[0] - xy[1])) <= SAME_VERTEX:
        return xy[:1]
    while closed and len(xy) > 1 and np.hypot(*(xy[0] - xy[-1])) <= SAME_VERTEX:
        xy = xy[:-1]
    return xy


def _meeting(vertices: list[np.ndarray]) -> list[np.ndarray]:
    """Lines whose ends within SAME_END of each other are made exactly the same point."""
    ends = np.array([xy[index] for xy in vertices for index in (0, -1)])
    apart = np.hypot(*(ends[:, None, :] - ends[None, :, :]).transpose(2, 0, 1))
    ends = ends[np.argmax(apart <= SAME_END, axis=1)]
    joined = [xy.copy() for xy in vertices]
    for number, xy in enumerate(joined):
        xy[0], xy[-1] = ends[2 * number], ends[2 * number + 1]
    return joined


def _crossing(line: BaseGeometry, polygon: shapely.Polygon | None, crs: SiteCrs) -> str:
    """Where a line meets itself, in site crs units."""
    text = explain_validity(polygon) if polygon is not None else ""
    inside = text[text.find("[") + 1 : text.find("]")].split() if "[" in text else []
    if len(inside) >= 2:
        return crs.spot(float(inside[0]), float(inside[1]))
    ends = shapely.get_coordinates(
        [part.boundary for part in shapely.get_parts(shapely.unary_union(line))]
    )
    own = np.asarray(line.coords)[[0, -1]]
    apart = np.hypot(*(ends[:, None, :] - own[None, :, :]).transpose(2, 0, 1)).min(axis=1)
    return crs.spot(*ends[np.argmax(apart > SAME_VERTEX)])
