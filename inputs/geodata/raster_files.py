"""Raster files of levels: which band, which unit, which cells hold no level."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from wellring.inputs.basics.faults import FaultLog
from wellring.inputs.basics.named_files import find_file
from wellring.inputs.geodata.crs import SiteCrs, on_a_map, on_a_plane, same_plan, shift_points

if TYPE_CHECKING:
    import pyproj

#: Raster formats read, by suffix.
FORMATS = (".tif", ".tiff", ".asc")
_FORMATS_TEXT = "a level [m] or a raster file (GeoTIFF or ASCII grid)"

#: Larger rasters are cut to the pit's surroundings, CUT [m] all round, then thinned.
MOST_CELLS = 16_000_000
CUT = 5_000.0

#: Least area of a cell [square of its crs's unit]: a centimetre in degrees, squared.
LEAST_CELL = 1e-14

_UNITS = {
    "": 1.0, "m": 1.0, "metre": 1.0, "meter": 1.0, "metres": 1.0, "meters": 1.0,
    "ft": 0.3048, "foot": 0.3048, "feet": 0.3048,
    "us survey foot": 1200 / 3937, "us_survey_foot": 1200 / 3937, "us-ft": 1200 / 3937,
    "ftus": 1200 / 3937, "foot_us": 1200 / 3937, "us ft": 1200 / 3937,
    "cm": 0.01, "mm": 0.001,
}  # fmt: skip


#: Levels of ground that can be [m]: open pits lie down to −500 m, towns up to 5100 m.
PLAUSIBLE = (-500.0, 9000.0)

Affine = tuple[float, float, float, float, float, float]


@dataclass(frozen=True)
class LevelRaster:
    """Levels (rows, columns) [m] without gaps, and where they lie.

    `affine` is a, b, c, d, e, f as in `GroundSurface`, in units of
    `crs`; `crs` is None where the file states none.
    """

    levels: np.ndarray
    affine: Affine
    crs: pyproj.CRS | None


def cells_of(
    xy: np.ndarray, affine: Affine, own: pyproj.CRS | None, crs: SiteCrs | None
) -> tuple[np.ndarray, np.ndarray]:
    """Fractional columns and rows of places (n, 2) [site metres] in a raster.

    Parameters
    ----------
    own : the raster's crs, None where it is the site's.
    crs : the site's, None where the raster is in site metres itself.
    """
    if crs is not None:
        xy = crs.from_metres(xy)
        if own is not None and not same_plan(own, crs.crs):
            xy, _ = shift_points(xy, crs.crs, own)
    a, b, c, d, e, f = affine
    # Where the projection is not defined the raster surely is not: far outside.
    east, north = np.nan_to_num((xy - [c, f]).T, nan=1e15, posinf=1e15, neginf=-1e15)
    area = a * e - b * d
    return (e * east - b * north) / area, (a * north - d * east) / area


def read_levels(
    ref: str,
    folder: Path,
    crs: SiteCrs,
    faults: FaultLog,
    site_file: str | Path,
    place: str,
    pit: shapely.Polygon | None = None,
) -> LevelRaster | None:
    """Read the first band of a raster as levels [m]; see :func:`..surface.read_ground`."""
    path = find_file(ref, folder, FORMATS, _FORMATS_TEXT, faults, site_file, place)
    if path is None:
        return None
    import rasterio
    from rasterio.errors import RasterioError

    try:
        with warnings.catch_warnings():
            # A raster without placing is refused below, in our words.
            warnings.simplefilter("ignore")
            # Named, so that a text in it is not taken for a virtual raster or a server's address.
            driver = "AAIGrid" if path.suffix.lower() == ".asc" else "GTiff"
            with rasterio.open(path, driver=driver) as raster:
                return _read(raster, ref, crs, faults, site_file, place, pit)
    except (RasterioError, ValueError, OSError, MemoryError) as error:
        said = " ".join(str(error).split())[:300].rstrip(".")
        faults.add(site_file, place, ref, _FORMATS_TEXT, f"It cannot be read: {said}")
        return None


def _read(
    raster: Any,
    ref: str,
    crs: SiteCrs,
    faults: FaultLog,
    site_file: str | Path,
    place: str,
    pit: shapely.Polygon | None,
) -> LevelRaster | None:
    from rasterio.enums import ColorInterp

    where = f"{site_file}: {place}: {ref}"
    if raster.transform.is_identity or raster.transform.is_degenerate:
        faults.add(
            site_file,
            place,
            ref,
            "a georeferenced raster",
            "It does not say where it lies; export it with its placing",
        )
        return None
    if not _on_a_map(raster):
        faults.add(
            site_file,
            place,
            ref,
            "a raster with its cells on the map, within ±1e8",
            f"Its placing is {', '.join(f'{item:g}' for item in tuple(raster.transform)[:6])}",
        )
        return None
    if raster.colorinterp[0] in (ColorInterp.red, ColorInterp.palette):
        faults.add(
            site_file,
            place,
            ref,
            "a raster of levels",
            "It is a picture (its first band is a colour)",
        )
        return None
    if np.dtype(raster.dtypes[0]).kind == "c":
        faults.add(site_file, place, ref, "a raster of levels", "Its numbers are complex")
        return None
    if raster.count > 1:
        faults.warn(f"{where} has {raster.count} bands; the first is taken as the levels")
    own = _own_crs(raster, where, crs, faults)
    if own is not None and not on_a_plane(own):
        remedy = f"{own.name} places nothing on a map; give the raster the crs it is drawn in"
        faults.add(site_file, place, ref, "a raster in a projected or geographic crs", remedy)
        return None
    factor = _metres_per_level(raster, own, where, ref, crs, faults, site_file, place)
    if factor is None:
        return None
    window, shape = _part_to_read(raster, own, crs, pit, where, faults)
    masked = raster.read(1, masked=True, window=window, out_shape=shape)
    with np.errstate(over="ignore", invalid="ignore"):  # what is infinite then counts as missing
        levels = np.ma.getdata(masked).astype(float) * raster.scales[0] + raster.offsets[0]
        levels *= factor
    missing = np.ma.getmaskarray(masked) | ~np.isfinite(levels)
    a, b, c, d, e, f = tuple(raster.transform)[:6]
    if window is not None:
        a, b, c, d, e, f = tuple(raster.window_transform(window))[:6]
        across, down = window.width / levels.shape[1], window.height / levels.shape[0]
        a, b, d, e = a * across, b * down, d * across, e * down
    result = LevelRaster(levels, (a, b, c, d, e, f), own)
    if missing.all():
        faults.add(site_file, place, ref, "a raster with levels", "All its cells are without data")
        return None
    if not _plausible(result, missing, ref, faults, site_file, place):
        return None
    if missing.any():
        _fill(result, missing, where, crs, pit, faults)
    return result


def _on_a_map(raster: Any) -> bool:
    """Whether the corners have coordinates that can be, and the cells an extent."""
    a, b, c, d, e, f = tuple(raster.transform)[:6]
    with np.errstate(all="ignore"):
        corners = np.array(
            [
                [a * column + b * row + c, d * column + e * row + f]
                for column in (0, raster.width)
                for row in (0, raster.height)
            ]
        )
        extent = abs(a * e - b * d)
    return on_a_map(corners) and bool(extent > LEAST_CELL)


def _own_crs(raster: Any, where: str, crs: SiteCrs, faults: FaultLog) -> pyproj.CRS | None:
    import pyproj

    if raster.crs is None:
        faults.warn(f"{where} states no crs; it is taken to be in {crs.text}")
        return None
    return pyproj.CRS.from_user_input(raster.crs.to_wkt())


def _metres_per_level(
    raster: Any,
    own: pyproj.CRS | None,
    where: str,
    ref: str,
    crs: SiteCrs,
    faults: FaultLog,
    site_file: str | Path,
    place: str,
) -> float | None:
    """Metres in one unit of the raster's levels: from the band's unit, else the height system."""
    unit = (raster.units[0] or "").strip()
    factor = _UNITS.get(unit.lower())
    if factor is None:
        faults.add(
            site_file,
            place,
            ref,
            "a band unit of m, ft or US survey foot",
            f"The file says its levels are in '{unit}'",
        )
        return None
    if not unit and own is not None and own.is_compound:
        up = [axis for axis in own.axis_info if axis.direction.lower() in ("up", "down")]
        if up:
            factor, unit = float(up[0].unit_conversion_factor), up[0].unit_name
    if factor != 1.0:
        faults.warn(f"{where}: levels converted from {unit} to m")
    elif not unit and crs.metres_per_unit != 1.0:
        faults.warn(
            f"{where} does not say the unit of its levels; they are taken as metres, though "
            f"{crs.text} is in feet. If they are feet, set the band's unit to 'ft'"
        )
    return factor


def _part_to_read(
    raster: Any,
    own: pyproj.CRS | None,
    crs: SiteCrs,
    pit: shapely.Polygon | None,
    where: str,
    faults: FaultLog,
) -> tuple[Any, tuple[int, int] | None]:
    """The window of a very large raster to read and the shape to thin it to; else (None, None)."""
    from rasterio.windows import Window

    if raster.width * raster.height <= MOST_CELLS:
        return None, None
    window = Window(0, 0, raster.width, raster.height)
    if pit is not None:
        box = shapely.get_coordinates(shapely.box(*pit.buffer(CUT).bounds))
        column, row = cells_of(box, tuple(raster.transform)[:6], own, crs)
        first = np.clip([column.min(), row.min()], 0, [raster.width, raster.height]).astype(int)
        last = np.ceil(np.clip([column.max(), row.max()], 0, [raster.width, raster.height])).astype(
            int
        )
        if (last > first).all():
            window = Window(*map(int, first), *map(int, last - first))
            faults.warn(f"{where} is very large; read up to {CUT / 1000:g} km around the pit")
    thinning = int(np.ceil(np.sqrt(window.width * window.height / MOST_CELLS)))
    if thinning == 1:
        return window, None
    faults.warn(f"{where} is very large; one cell in {thinning} is read each way")
    return window, (-(-window.height // thinning), -(-window.width // thinning))


def _plausible(
    raster: LevelRaster,
    missing: np.ndarray,
    ref: str,
    faults: FaultLog,
    site_file: str | Path,
    place: str,
) -> bool:
    low, high = PLAUSIBLE
    wrong = ~missing & ((raster.levels < low) | (raster.levels > high))
    if not wrong.any():
        return True
    row, column = np.argwhere(wrong)[0]
    faults.add(
        site_file,
        place,
        ref,
        f"levels from {low:g} to {high:g} m",
        f"{int(wrong.sum())} cells hold others, as {raster.levels[row, column]:g} in row "
        f"{row + 1}, column {column + 1}; if that stands for 'no data', declare it in the file",
    )
    return False


def _fill(
    raster: LevelRaster,
    missing: np.ndarray,
    where: str,
    crs: SiteCrs,
    pit: shapely.Polygon | None,
    faults: FaultLog,
) -> None:
    """Give cells without data the nearest cell's level, and say how many, and if at the pit."""
    from scipy.ndimage import distance_transform_edt

    a, b, _, d, e, _ = raster.affine
    index = distance_transform_edt(
        missing,
        sampling=(np.hypot(b, e), np.hypot(a, d)),
        return_distances=False,
        return_indices=True,
    )
    raster.levels[...] = raster.levels[tuple(index)]
    share = 100 * missing.mean()
    text = f"{where}: {int(missing.sum())} cells ({share:.2g} %) without data got the nearest level"
    if pit is not None:
        at = shapely.get_coordinates([pit.exterior, pit.representative_point()])
        column, row = cells_of(at, raster.affine, raster.crs, crs)
        rows, columns = missing.shape
        inside = (column >= 0) & (row >= 0) & (column < columns) & (row < rows)
        if missing[row[inside].astype(int), column[inside].astype(int)].any():
            text += ", some of them at the pit: check the ground there"
    faults.warn(text)
