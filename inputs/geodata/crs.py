"""The site's coordinate reference system, and what a map projection does to a site.

Inside wellring plan coordinates are metres: the site crs's own units times
:attr:`SiteCrs.metres_per_unit`. Readers multiply once, at the edge; writers divide once, so that
every layer written lies in the crs of the site file again.
"""

from __future__ import annotations

import math
import warnings
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import shapely

from wellring.inputs.basics.faults import FaultLog

if TYPE_CHECKING:
    import pyproj

# Metre, international foot, US survey foot [m]. Other units are refused: a site in links or
# Clarke's feet is an old map that should be reprojected with care, not by chance.
_UNITS = (1.0, 0.3048, 1200 / 3937)

#: A pit wider than this [m] is taken for a mistake of units or of coordinate system.
LARGEST_PIT = 10_000.0


#: No map of the Earth has plan coordinates beyond this [m or ft].
LARGEST_COORDINATE = 1e8


@dataclass(frozen=True)
class SiteCrs:
    """The site's projected crs: the user's `text`, its `wkt`, and the metres in one of its units.

    Hashable, comparable and picklable; :attr:`crs` gives the live `pyproj.CRS`.
    """

    text: str
    wkt: str
    metres_per_unit: float

    @classmethod
    def of(cls, crs: pyproj.CRS, text: str = "") -> SiteCrs:
        """Carry `crs`, shown as `text` (default: its own name).

        Raises
        ------
        ValueError : the crs's unit is neither metre nor foot (:func:`metres_per_unit`).
        """
        return cls(text or crs.name, _without_heights(crs).to_wkt(), metres_per_unit(crs))

    @property
    def crs(self) -> pyproj.CRS:
        """The crs as a `pyproj.CRS`."""
        return crs_of(self.wkt)

    def to_metres(self, xy: np.ndarray) -> np.ndarray:
        """Site crs units to metres; any shape."""
        return np.asarray(xy, dtype=float) * self.metres_per_unit

    def from_metres(self, xy: np.ndarray) -> np.ndarray:
        """Metres back to site crs units; any shape."""
        return np.asarray(xy, dtype=float) / self.metres_per_unit

    def spot(self, x: float, y: float) -> str:
        """A place given in metres as text in the crs's own units, as a user's file has it."""
        east, north = self.from_metres(np.array([x, y]))
        return f"({east:.2f}, {north:.2f})"


def metres_per_unit(crs: pyproj.CRS) -> float:
    """Metres in one unit of a projected crs: 1, 0.3048 or 1200/3937 (US survey foot).

    Raises
    ------
    ValueError : the crs is not projected, or has another unit.
    """
    axes = plan_crs(crs).axis_info
    if not crs.is_projected or not axes:
        raise ValueError(f"{crs.name} is not a projected crs")
    factor = float(axes[0].unit_conversion_factor)
    for known in _UNITS:
        if math.isclose(factor, known, rel_tol=1e-9):
            return known
    raise ValueError(f"{crs.name} is in {axes[0].unit_name}, not in metres or feet")


def plan_crs(crs: pyproj.CRS) -> pyproj.CRS:
    """The horizontal part of a crs, without a height system or a datum shift bound to it."""
    if crs.is_compound and crs.sub_crs_list:
        return plan_crs(crs.sub_crs_list[0])
    if crs.is_bound and crs.source_crs is not None:
        return plan_crs(crs.source_crs)
    return crs


def _without_heights(crs: pyproj.CRS) -> pyproj.CRS:
    """The plan part of a compound crs; unlike :func:`plan_crs` it keeps a bound datum shift."""
    return crs.sub_crs_list[0] if crs.is_compound and crs.sub_crs_list else crs


def read_crs(
    text: str,
    faults: FaultLog,
    site_file: str | Path,
    place: str = "site.crs",
    near: tuple[float, float] | None = None,
) -> pyproj.CRS | None:
    """The crs that `text` names ("EPSG:32633", WKT, PROJ), if a site can be laid out in it.

    It must be projected, in metres or feet (international or US survey), with axes that run east
    and north. Web Mercator is refused: its distances are too long by 1/cos(latitude).

    Parameters
    ----------
    text : the crs as the site file has it.
    near : longitude and latitude [degrees] of the site, where known, to name a UTM zone.

    Returns
    -------
    pyproj.CRS, or None when a fault was added.
    """
    import pyproj
    from pyproj.exceptions import CRSError

    example = 'a projected crs in metres or feet such as "EPSG:32633"'
    try:
        with warnings.catch_warnings():
            # "+init=epsg:…" is deprecated by PROJ but still means what it says.
            warnings.simplefilter("ignore", FutureWarning)
            crs = pyproj.CRS.from_user_input(str(text).strip())
    except CRSError:
        remedy = "No crs of that name is known; look up its EPSG code"
        faults.add(site_file, place, text, example, remedy)
        return None
    remedy = _why_unfit(crs, near)
    if remedy:
        faults.add(site_file, place, text, example, remedy)
        return None
    return crs


def _why_unfit(crs: pyproj.CRS, near: tuple[float, float] | None) -> str:
    plan = plan_crs(crs)
    if plan.is_geographic:
        return f"{plan.name} is in degrees. {_utm_advice(plan, near)}"
    if not plan.is_projected:
        return f"{plan.name} is a {plan.type_name}, which has no plan coordinates to work in"
    try:
        metres_per_unit(crs)
    except ValueError as error:
        return f"{error}"
    if any(axis.direction.lower() == "west" for axis in plan.axis_info):
        return f"The axes of {plan.name} run west and south; take one with axes east and north"
    operation = plan.coordinate_operation
    if operation is not None and "pseudo mercator" in operation.method_name.lower():
        return (
            f"{plan.name} is for pictures on the web: its distances are too long by "
            f"1/cos(latitude). {_utm_advice(plan, near)}"
        )
    return ""


def _utm_advice(crs: pyproj.CRS, near: tuple[float, float] | None) -> str:
    spot = near
    area = crs.area_of_use
    if spot is None and area is not None and 0 < area.east - area.west <= 12:
        spot = ((area.west + area.east) / 2, (area.south + area.north) / 2)
    if spot is None:
        return (
            "Use the national grid or the UTM zone of the site: EPSG:326NN north and EPSG:327NN "
            "south of the equator, NN = whole part of (longitude + 180)/6, plus 1"
        )
    zone = min(max(int((spot[0] + 180) // 6) + 1, 1), 60)
    return f"Use the national grid or UTM, here EPSG:{(32600 if spot[1] >= 0 else 32700) + zone}"


def same_plan(one: pyproj.CRS, other: pyproj.CRS) -> bool:
    """Whether two crs give the same plan coordinates (in the order east, north)."""
    return bool(plan_crs(one).equals(plan_crs(other), ignore_axis_order=True))


def shift_points(
    xy: np.ndarray, source: pyproj.CRS, target: pyproj.CRS
) -> tuple[np.ndarray, float | None]:
    """Reproject points between two crs, order east, north (or longitude, latitude).

    Parameters
    ----------
    xy : (n, 2), in units of `source`.

    Returns
    -------
    (n, 2) in units of `target`, infinite where the projection is not defined; and the accuracy
    PROJ states for the operation it used [m], None where it states none.
    """
    change = _transformer(_without_heights(source).to_wkt(), _without_heights(target).to_wkt())
    xy = np.asarray(xy, dtype=float).reshape(-1, 2)
    east, north = change.transform(xy[:, 0], xy[:, 1])
    accuracy: float | None = None
    if len(xy):
        used = change.get_last_used_operation()
        accuracy = used.accuracy if used.accuracy is not None and used.accuracy >= 0 else None
    return np.column_stack([east, north]), accuracy


def in_use(crs: SiteCrs, lonlat: np.ndarray, margin: float = 3.0) -> bool | None:
    """Whether the box around points lies at least partly where the crs is meant to be used.

    Parameters
    ----------
    lonlat : (n, 2) longitude, latitude [degrees].
    margin : degrees by which the published area of use is widened.

    Returns
    -------
    None where the crs states no area, or one that crosses the date line.
    """
    area = plan_crs(crs.crs).area_of_use
    good = lonlat[np.isfinite(lonlat).all(axis=1)]
    if area is None or area.west > area.east:
        return None
    if not len(good):
        return False
    west, south = good.min(axis=0)
    east, north = good.max(axis=0)
    return bool(
        east >= area.west - margin
        and west <= area.east + margin
        and north >= area.south - margin
        and south <= area.north + margin
    )


def lonlat_of(crs: SiteCrs, xy: np.ndarray) -> np.ndarray:
    """Longitude and latitude [degrees], (n, 2), of points in site metres (n, 2)."""
    base = plan_crs(crs.crs)
    geodetic = base.geodetic_crs
    assert geodetic is not None
    return shift_points(crs.from_metres(xy), base, geodetic)[0]


def on_a_map(xy: np.ndarray) -> bool:
    """Whether all coordinates (any shape) [m or ft] are finite and within LARGEST_COORDINATE."""
    return bool((np.abs(np.asarray(xy, dtype=float)) <= LARGEST_COORDINATE).all())


def on_a_plane(crs: pyproj.CRS) -> bool:
    """Whether a crs gives places in plan: not heights alone, nor axes of nowhere."""
    return bool(crs.is_projected or crs.is_geographic)


def look_swapped(crs: SiteCrs, xy: np.ndarray) -> bool:
    """Whether points (n, 2) [site metres] lie where the crs is used only with x and y exchanged."""
    return in_use(crs, lonlat_of(crs, xy)) is False and (
        in_use(crs, lonlat_of(crs, np.asarray(xy)[:, ::-1])) is True
    )


def check_pit_place(
    pit: shapely.Polygon,
    crs: SiteCrs,
    faults: FaultLog,
    site_file: str | Path,
    place: str = "excavation",
) -> None:
    """Check that a pit can lie where it lies: its size, the crs's area of use and its scale.

    The scale of the projection (grid distance over true distance) is taken at the pit. A warning
    beyond 0.2 %, a fault beyond 2 %: no published source, common practice; UTM stays within
    0.1 % in its own zone. A pit beyond :data:`LARGEST_PIT` is a fault.
    """
    import pyproj

    west, south, east, north = pit.bounds
    width = max(east - west, north - south)
    if width > LARGEST_PIT:
        faults.add(
            site_file,
            place,
            f"{width / 1000:.1f} km wide",
            "a pit of at most 10 km",
            f"Are its coordinates really in {crs.text}?",
        )
        return
    spot = np.array([[pit.centroid.x, pit.centroid.y]])
    lonlat = lonlat_of(crs, spot)
    if in_use(crs, lonlat, margin=0.5) is False:
        faults.warn(
            f"{site_file}: {place}: {crs.spot(*spot[0])} lies outside the area {crs.text} is "
            "meant for; check the crs, and distances on the map"
        )
    if not np.isfinite(lonlat).all():
        return
    scale = pyproj.Proj(plan_crs(crs.crs)).get_factors(lonlat[0, 0], lonlat[0, 1]).areal_scale
    error = math.sqrt(abs(scale)) - 1 if math.isfinite(scale) else math.inf
    if abs(error) > 0.02:
        faults.add(
            site_file,
            place,
            crs.spot(*spot[0]),
            f"a place where distances in {crs.text} are true to 2 %",
            f"They are off by {100 * error:.1f} % there. {_utm_advice(crs.crs, tuple(lonlat[0]))}",
        )
    elif abs(error) > 0.002:
        faults.warn(
            f"{site_file}: {place}: distances in {crs.text} are off by {100 * error:.2f} % at the "
            "pit; lengths on the ground differ by that much"
        )


@lru_cache(maxsize=32)
def crs_of(wkt: str) -> pyproj.CRS:
    """The `pyproj.CRS` of a WKT text; making one costs milliseconds, so they are kept."""
    import pyproj

    return pyproj.CRS.from_wkt(wkt)


@lru_cache(maxsize=64)
def _transformer(source_wkt: str, target_wkt: str) -> pyproj.Transformer:
    import pyproj

    return pyproj.Transformer.from_crs(crs_of(source_wkt), crs_of(target_wkt), always_xy=True)
