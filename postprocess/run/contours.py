"""Lines and areas of equal value of a plan field, in site metres.

They are drawn in the grid's own axes between cell centres and turned into the site's, which on a
rectilinear grid is the same as turning first.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from numpy.typing import NDArray

from wellring.postprocess.run.run_folder import RunFolder

if TYPE_CHECKING:
    from contourpy import ContourGenerator

Floats = NDArray[np.float64]


def contour_lines(
    run: RunFolder, field: Floats, levels: Sequence[float]
) -> tuple[Floats, NDArray[np.object_]]:
    """Level and line of every piece of the contours of a plan field (n,); NaN parts it."""
    values, lines = [], []
    generator = _generator(run, field)
    for level in levels if generator is not None else ():
        assert generator is not None
        chunks: Any = generator.lines(level)
        (points,), (offsets,) = chunks
        if points is None:
            continue
        starts = np.asarray(offsets, dtype=np.intp)
        site = np.column_stack(run.to_site(points[:, 0], points[:, 1]))
        which = np.repeat(np.arange(starts.size - 1), np.diff(starts))
        found = shapely.linestrings(site, indices=which)
        lines.append(found)
        values.append(np.full(found.size, level))
    if not lines:
        return np.zeros(0), np.zeros(0, dtype=object)
    return np.concatenate(values), np.concatenate(lines)


def contour_areas(
    run: RunFolder, field: Floats, bounds: Sequence[float]
) -> list[tuple[float, float, shapely.MultiPolygon]]:
    """Lower and upper bound and area of each class of a plan field (n,), without empty ones.

    Parameters
    ----------
    bounds : rising; the last class has no upper bound (infinity).
    """
    generator = _generator(run, field)
    found: list[tuple[float, float, shapely.MultiPolygon]] = []
    if generator is None:
        return found
    top = max(float(np.nanmax(field, initial=0.0)), bounds[-1]) + 1.0
    for low, high in zip(bounds, [*bounds[1:], np.inf], strict=True):
        pieces: Any = generator.filled(low, min(high, top))
        polygons = [
            _polygon(run, points, offsets)
            for points, offsets in zip(*pieces, strict=True)
            if len(points) >= 4
        ]
        if polygons:
            shape = shapely.make_valid(shapely.union_all(polygons))
            parts = [p for p in shapely.get_parts(shape) if p.geom_type == "Polygon"]
            area = shapely.MultiPolygon(parts)
            if area.area > 0:
                found.append((low, high, area))
    return found


def _polygon(run: RunFolder, points: Floats, offsets: Any) -> shapely.Geometry:
    site = np.column_stack(run.to_site(points[:, 0], points[:, 1]))
    starts = np.asarray(offsets, dtype=np.intp)
    rings = [site[a:b] for a, b in pairwise(starts) if b - a >= 4]
    if not rings:
        return shapely.Polygon()
    return shapely.make_valid(shapely.Polygon(rings[0], rings[1:]))


def _generator(run: RunFolder, field: Floats) -> ContourGenerator | None:
    """A generator over the plan; None where the grid is a single row or column."""
    if min(run.plan_shape) < 2:
        return None
    from contourpy import FillType, LineType, contour_generator

    return contour_generator(
        *run.local_centres,
        np.ma.masked_invalid(field.reshape(run.plan_shape)),
        line_type=LineType.ChunkCombinedOffset,
        fill_type=FillType.OuterOffset,
        corner_mask=False,
    )
