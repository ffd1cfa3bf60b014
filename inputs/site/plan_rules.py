"""Rules between the shapes of a site in plan: what must lie apart, and what must match a line."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import shapely
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from wellring.inputs.basics.faults import FaultLog
from wellring.inputs.site.site import FixedHead, NoFlow, River, SiteDescription
from wellring.inputs.site.walls import Wall

_TOUCHING = 0.01
"""A boundary may run along the pit's edge, to this much [m]: a quay, or a face to be left out."""


def check_plan(
    site: SiteDescription,
    outline: Polygon,
    geometries: Mapping[str, BaseGeometry],
    file: str,
    faults: FaultLog,
) -> None:
    """Find shapes that do not fit the pit or what is said about them.

    Parameters
    ----------
    outline, geometries : in site metres, as :class:`wellring.inputs.read_site.Site` has them.
    """
    within = outline.buffer(-_TOUCHING)
    for index, boundary in enumerate(site.water.boundary):
        place = f"water.boundary.{index}"
        shape = geometries.get(place)
        if shape is None or not isinstance(boundary, River | FixedHead | NoFlow):
            continue
        if isinstance(boundary, FixedHead) and boundary.soils is not None:
            continue  # a level held in an aquifer beneath, or above where nothing is dug
        inside = shapely.intersection(shape, within)
        if max(inside.length, inside.area) > 1e-6:
            faults.add(
                file,
                place,
                boundary.name,
                "a water boundary outside the pit",
                "It crosses the excavation; a polygon around the pit is drawn as one on each side.",
            )
    for place, wall in _walls(site):
        line = outline.exterior if wall.line == "outline" else geometries.get(place)
        if line is not None:
            _check_windows(place, wall, LineString(line.coords), file, faults)


def _check_windows(place: str, wall: Wall, line: LineString, file: str, faults: FaultLog) -> None:
    for number, window in enumerate(wall.windows):
        if window.end > line.length + 1e-3:
            faults.add(
                file,
                f"{place}.windows.{number}.end",
                window.end,
                f"a place on the wall, which is {line.length:.2f} m long",
                "Windows are measured from the beginning of the wall's line.",
            )


def _walls(site: SiteDescription) -> Iterator[tuple[str, Wall]]:
    for index, wall in enumerate(site.walls):
        yield f"walls.{index}", wall
    for number, scheme in enumerate(site.schemes):
        for index, wall in enumerate(scheme.walls or ()):
            yield f"schemes.{number}.walls.{index}", wall
