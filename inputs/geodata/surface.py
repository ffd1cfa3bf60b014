"""The ground surface: one level, or a raster of levels looked up between its cell centres.

Levels are in m, places in site metres (`crs`). A raster stays in its own
grid and crs; places looked up are reprojected to it, so that no level is resampled twice.
"""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import shapely

from wellring.inputs.basics.faults import FaultLog
from wellring.inputs.geodata.crs import SiteCrs, crs_of, same_plan, shift_points
from wellring.inputs.geodata.raster_files import PLAUSIBLE, Affine, cells_of, read_levels


@dataclass(frozen=True)
class GroundSurface:
    """Levels of the ground [m] anywhere on the site.

    Equal and hashed by `source` and `digest`, the SHA-256 of the levels and their placing.

    Parameters
    ----------
    source : what it was read from, for reports.
    digest : see above.
    levels : (rows, columns) [m], no gaps, first row as the raster has it; (1, 1) for one level.
    affine : a, b, c, d, e, f: x = a·column + b·row + c, y = d·column + e·row + f, in units of
        the raster's crs, of a cell's first corner; None for one level everywhere.
    site, wkt : the site's crs, and the raster's where it differs.
    """

    source: str
    digest: str
    levels: np.ndarray = field(repr=False, compare=False)
    affine: Affine | None = field(default=None, repr=False, compare=False)
    site: SiteCrs | None = field(default=None, repr=False, compare=False)
    wkt: str | None = field(default=None, repr=False, compare=False)

    @classmethod
    def constant(cls, level: float, source: str = "one level") -> GroundSurface:
        """The same `level` [m] everywhere."""
        return cls.from_array(np.array([[level]], dtype=float), None, source=source)

    @classmethod
    def from_array(
        cls,
        levels: np.ndarray,
        affine: Affine | None,
        site: SiteCrs | None = None,
        wkt: str | None = None,
        source: str = "array",
    ) -> GroundSurface:
        """A surface from `levels` (rows, columns) [m] without gaps.

        Raises
        ------
        ValueError : `levels` is not a table of finite numbers.
        """
        table = np.ascontiguousarray(levels, dtype=float)
        if table.ndim != 2 or table.size == 0 or not np.isfinite(table).all():
            raise ValueError("expected a table of finite levels")
        table.setflags(write=False)
        placing = repr((table.shape, affine, site, wkt)).encode()
        digest = hashlib.sha256(table.tobytes() + placing).hexdigest()
        return cls(source, digest, table, affine, site, wkt)

    def at(self, x: np.ndarray, y: np.ndarray, faults: FaultLog | None = None) -> np.ndarray:
        """Levels [m] at places [site metres], bilinear between cell centres; shape as x and y.

        Outside the raster the nearest place in it counts; `faults` is then told how far away.
        """
        x, y = np.broadcast_arrays(np.asarray(x, dtype=float), np.asarray(y, dtype=float))
        if self.affine is None:
            return np.full(x.shape, self.levels[0, 0])
        column, row = self._cell_of(x.ravel(), y.ravel())
        if faults is not None:
            distance = self.distance_outside(x, y)
            if (distance > 0).any():
                faults.warn(
                    f"ground {self.source}: {int((distance > 0).sum())} of {distance.size} places "
                    f"looked up lie outside the raster, up to {distance.max():.0f} m; the level "
                    "at its edge is used there"
                )
        rows, columns = self.levels.shape
        column = np.clip(column - 0.5, 0, columns - 1)
        row = np.clip(row - 0.5, 0, rows - 1)
        left = np.clip(column.astype(int), 0, max(columns - 2, 0))
        upper = np.clip(row.astype(int), 0, max(rows - 2, 0))
        right, lower = np.minimum(left + 1, columns - 1), np.minimum(upper + 1, rows - 1)
        u, v = column - left, row - upper
        z = self.levels
        level = (1 - v) * ((1 - u) * z[upper, left] + u * z[upper, right]) + v * (
            (1 - u) * z[lower, left] + u * z[lower, right]
        )
        return level.reshape(x.shape)

    def distance_outside(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """How far outside the raster places lie [m], 0 inside; shape as x and y."""
        x, y = np.broadcast_arrays(np.asarray(x, dtype=float), np.asarray(y, dtype=float))
        if self.affine is None:
            return np.zeros(x.shape)
        column, row = self._cell_of(x.ravel(), y.ravel())
        rows, columns = self.levels.shape
        # A thousandth of a cell outside is rounding, not outside.
        beyond = (np.maximum(-column, column - columns) > 1e-3) | (
            np.maximum(-row, row - rows) > 1e-3
        )
        distance = np.zeros(x.size)
        if beyond.any():
            inside = self._place_of(
                np.clip(column[beyond], 0, columns), np.clip(row[beyond], 0, rows)
            )
            distance[beyond] = np.hypot(
                inside[:, 0] - x.ravel()[beyond], inside[:, 1] - y.ravel()[beyond]
            )
        return distance.reshape(x.shape)

    def outline(self, points_a_side: int = 9) -> shapely.Polygon | None:
        """The raster's edge in site metres; None for one level everywhere."""
        if self.affine is None:
            return None
        rows, columns = self.levels.shape
        t = np.linspace(0, 1, points_a_side)[:-1]
        column = np.concatenate([t, np.ones_like(t), 1 - t, np.zeros_like(t)]) * columns
        row = np.concatenate([np.zeros_like(t), t, np.ones_like(t), 1 - t]) * rows
        edge = self._place_of(column, row)
        return shapely.Polygon(edge[np.isfinite(edge).all(axis=1)])

    def _cell_of(self, x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Fractional columns and rows of places [site metres]."""
        assert self.affine is not None
        own = None if self.wkt is None else crs_of(self.wkt)
        return cells_of(np.column_stack([x, y]), self.affine, own, self.site)

    def _place_of(self, column: np.ndarray, row: np.ndarray) -> np.ndarray:
        """Places (n, 2) [site metres] of fractional columns and rows."""
        assert self.affine is not None
        a, b, c, d, e, f = self.affine
        xy = np.column_stack([a * column + b * row + c, d * column + e * row + f])
        if self.site is None:
            return xy
        if self.wkt is not None:
            xy, _ = shift_points(xy, crs_of(self.wkt), self.site.crs)
        return self.site.to_metres(xy)


def read_ground(
    ref: float | str,
    folder: Path,
    crs: SiteCrs,
    faults: FaultLog,
    site_file: str | Path,
    place: str = "site.ground",
    pit: shapely.Polygon | None = None,
) -> GroundSurface | None:
    """The ground surface from one level [m] or from a raster file (GeoTIFF, ASCII grid).

    Of several bands the first is read. Levels in feet (band unit, or the height system of the
    raster's crs) are converted; scale and offset of the band are applied. Cells without a level
    get the nearest one. Each of these is told as a warning.

    Parameters
    ----------
    ref : a level [m], or a file relative to `folder`.
    pit : the excavation [site metres]. Where given, a raster that misses it is a fault, and of a
        very large raster only the surroundings are read.

    Returns
    -------
    GroundSurface, or None when a fault was added.
    """
    if isinstance(ref, str):
        raster = read_levels(ref, folder, crs, faults, site_file, place, pit)
        if raster is None:
            return None
        wkt = None if raster.crs is None or same_plan(raster.crs, crs.crs) else raster.crs.to_wkt()
        surface = GroundSurface.from_array(raster.levels, raster.affine, crs, wkt, ref)
        return surface if pit is None or _meets(surface, pit, faults, site_file, place) else None
    if not math.isfinite(ref) or not PLAUSIBLE[0] <= ref <= PLAUSIBLE[1]:
        faults.add(site_file, place, ref, f"a level from {PLAUSIBLE[0]:g} to {PLAUSIBLE[1]:g} m")
        return None
    return GroundSurface.constant(float(ref))


def _meets(
    surface: GroundSurface,
    pit: shapely.Polygon,
    faults: FaultLog,
    site_file: str | Path,
    place: str,
) -> bool:
    corners = shapely.get_coordinates(pit)
    outside = surface.distance_outside(corners[:, 0], corners[:, 1])
    edge = surface.outline()
    if (outside > 0).all() and edge is not None and not shapely.intersects(edge, pit):
        faults.add(
            site_file,
            place,
            surface.source,
            "a raster that covers the pit",
            f"It lies {outside.min() / 1000:.3g} km away from it; is it in another coordinate "
            "system?",
        )
        return False
    if (outside > 0).any():
        faults.warn(
            f"{site_file}: {place}: {surface.source} covers the pit only in part; the level at "
            f"its edge is used up to {outside.max():.0f} m beyond"
        )
    return True
