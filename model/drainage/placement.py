"""Where drainage points stand: on a ring around the pit, along a line, or where the user says."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from wellring.inputs.site.drainage import Placed

Floats = NDArray[np.float64]


def place_points(placed: Placed, outline: Polygon, shape: BaseGeometry | None) -> Floats:
    """Site coordinates (n, 2) of the points of one drainage method.

    Parameters
    ----------
    outline : the excavation, for rings.
    shape : the line or the points read from the site file, where given.

    Raises
    ------
    ValueError : a ring is offset so far inward that nothing of the pit is left.
    """
    if placed.ring is not None:
        ring = outline.buffer(placed.ring.offset, join_style="mitre")
        if ring.is_empty or ring.geom_type != "Polygon":
            raise ValueError(
                f"Moved inward by {-placed.ring.offset:g} m, nothing is left of the outline"
            )
        return _along(ring.exterior, placed.ring.count, placed.ring.spacing, closed=True)
    if placed.line is not None:
        assert isinstance(shape, LineString)
        return _along(shape, placed.line.count, placed.line.spacing, closed=shape.is_closed)
    assert shape is not None
    return np.array([[point.x, point.y] for point in shapely.get_parts(shape)])


def _along(line: LineString, count: int | None, spacing: float | None, closed: bool) -> Floats:
    """Evenly spaced points: both ends of an open line, all around a closed one."""
    if count is None:
        assert spacing is not None
        count = max(1, round(line.length / spacing)) + (0 if closed else 1)
    if closed:
        at = np.arange(count) * line.length / count
    else:
        at = np.linspace(0, line.length, count) if count > 1 else np.array([0.5 * line.length])
    return shapely.get_coordinates(shapely.line_interpolate_point(line, at))
