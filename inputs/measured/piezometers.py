"""Natural water levels: piezometer readings, and the planes that are drawn through them.

A plane is a first answer, good near the piezometers. Far from them it goes on falling for ever,
so a report must show its gradient and how well it fits.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from wellring.inputs.basics.csv_rows import Row, read_rows
from wellring.inputs.basics.faults import FaultLog, nearest
from wellring.inputs.basics.named_files import find_file
from wellring.inputs.geodata.crs import SiteCrs, look_swapped, on_a_map

if TYPE_CHECKING:
    from wellring.inputs.site.site import Plane

#: Natural gradients beyond this are rare; common practice, no source.
STEEP = 0.05
#: A reading farther from the plane than this [m] is pointed out; common practice, no source.
MISFIT = 1.0
#: Points whose narrow spread is below this share of their wide spread lie in a line: a plane
#: through them would be tilted sideways by reading errors alone. Common practice, no source.
COLLINEAR = 0.05
#: Places of one piezometer [m] that count as the same.
SAME_PLACE = 0.01

LEVELS = (-2000.0, 9000.0)


@dataclass(frozen=True)
class LevelPlane:
    """A plane of water levels: level = a + b·(x − x0) + c·(y − y0), places in site metres.

    Parameters
    ----------
    a : level at (x0, y0) [m].
    b, c : change of level toward east and toward north [m/m].
    x0, y0 : place of `a` [site metres].
    basis : what it rests on, for reports.
    """

    a: float
    b: float
    c: float
    x0: float
    y0: float
    basis: str

    def at(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """Levels [m] at places [site metres]; shape as x and y."""
        x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
        return self.a + self.b * (x - self.x0) + self.c * (y - self.y0)

    @property
    def gradient(self) -> float:
        """Steepest fall of the level [m/m], ≥ 0."""
        return math.hypot(self.b, self.c)

    @property
    def toward(self) -> float:
        """Direction the level falls, degrees clockwise from grid north in [0, 360); 0 if level."""
        if self.gradient == 0.0:
            return 0.0
        return math.degrees(math.atan2(-self.b, -self.c)) % 360.0

    @classmethod
    def constant(cls, level: float, basis: str = "one level") -> LevelPlane:
        """The same `level` [m] everywhere."""
        return cls(float(level), 0.0, 0.0, 0.0, 0.0, basis)

    @classmethod
    def from_table(cls, plane: Plane, crs: SiteCrs | None = None) -> LevelPlane:
        """The plane of a site file's table: level at a point, falling toward an azimuth.

        Parameters
        ----------
        crs : the site's; its units are those of the table's point. None: metres.
        """
        azimuth = math.radians(plane.toward)
        factor = 1.0 if crs is None else crs.metres_per_unit
        return cls(
            plane.level,
            -plane.gradient * math.sin(azimuth),
            -plane.gradient * math.cos(azimuth),
            plane.point[0] * factor,
            plane.point[1] * factor,
            f"plane given: falls {plane.gradient:.4g} toward azimuth {plane.toward:g}°",
        )


@dataclass(frozen=True)
class PiezometerReading:
    """The latest level [m] of one piezometer in one soil; x, y in site metres."""

    id: str
    x: float
    y: float
    level: float
    soil: str | None = None
    date: str = ""


@dataclass(frozen=True)
class Piezometers:
    """The latest reading of every piezometer, in the order of the file `source`."""

    readings: tuple[PiezometerReading, ...]
    source: str

    @property
    def xy(self) -> np.ndarray:
        """Places (n, 2) [site metres]."""
        return np.array([(reading.x, reading.y) for reading in self.readings], dtype=float)

    @property
    def soils(self) -> tuple[str, ...]:
        """The soils that have readings of their own, in the order of the file."""
        return tuple(dict.fromkeys(r.soil for r in self.readings if r.soil is not None))

    def level_function(self, soil: str | None, faults: FaultLog | None = None) -> LevelPlane:
        """The natural level of the aquifer `soil` (None: of all readings).

        Three or more points not in a line: the least-squares plane. Fewer, or in a line: the mean
        level. No reading in that soil: all readings. `faults` is told of this last case, of a
        gradient beyond STEEP and of a reading farther than MISFIT from the plane or mean.

        The plane minimises Σ(level − a − b·(x − x0) − c·(y − y0))² with (x0, y0) the points'
        centre; the residual standard deviation in the basis has n − 3 degrees of freedom.
        """
        own = [reading for reading in self.readings if soil is None or reading.soil == soil]
        of = "in all soils" if soil is None else f"in {soil}"
        if not own:
            own = list(self.readings)
            of = f"in all soils, none of them in {soil}"
            if faults is not None:
                faults.warn(f"{self.source}: no reading in {soil}; all readings are used for it")
        plane, errors = _fitted(own, of, self.source)
        if faults is not None:
            _warn_of_fit(plane, errors, own, f"{self.source}: readings {of}", faults)
        return plane


def read_piezometers(
    path: str,
    folder: Path,
    crs: SiteCrs,
    soils: Collection[str],
    faults: FaultLog,
    site_file: str | Path,
    place: str = "water.piezometers",
) -> Piezometers | None:
    """Read a CSV with columns id, x, y, level and optionally soil and date.

    x and y are in site crs units, levels in m or with a unit ("31 ft"), dates as 2024-05-31 (a
    time may follow). Of several readings of one id in one soil the latest counts.

    Parameters
    ----------
    path : file relative to `folder`.
    soils : the soils of the site file; others are a fault.

    Returns
    -------
    Piezometers, or None when a fault was added.
    """
    text = "a CSV file with columns id,x,y,level"
    file = find_file(path, folder, [".csv"], text, faults, site_file, place)
    if file is None:
        return None
    rows = read_rows(file, ["id", "x", "y", "level"], ["soil", "date"], faults, path)
    if rows is None:
        return None
    before = len(faults.faults)
    found = [(row.line, _reading(row, crs, soils, faults, path)) for row in rows]
    if len(faults.faults) > before:
        return None
    readings = [(line, reading) for line, reading in found if reading is not None]
    latest = _latest(readings, crs, faults, path)
    result = Piezometers(tuple(latest), path)
    if len(faults.faults) == before and look_swapped(crs, result.xy):
        faults.add(
            path,
            "columns x, y",
            crs.spot(*result.xy[0]),
            "x (east) before y (north)",
            f"In {crs.text} they make sense only the other way round: exchange x and y",
        )
    return None if len(faults.faults) > before else result


def _reading(
    row: Row, crs: SiteCrs, soils: Collection[str], faults: FaultLog, path: str
) -> PiezometerReading | None:
    before = len(faults.faults)
    name = row.text("id")
    if not name:
        faults.add(path, "column id", "(empty)", "a name of the piezometer", line=row.line)
    x, y = (row.quantity(column, "1", faults, path) for column in ("x", "y"))
    if x is not None and y is not None and not on_a_map(np.array([x, y])):
        faults.add(path, "columns x, y", f"{x:g}, {y:g}", "coordinates within ±1e8", line=row.line)
    level = row.quantity("level", "m", faults, path)
    if level is not None and not LEVELS[0] <= level <= LEVELS[1]:
        faults.add(
            path,
            "column level",
            row.text("level"),
            f"a level from {LEVELS[0]:g} to {LEVELS[1]:g} m",
            line=row.line,
        )
    soil = row.text("soil") or None
    if soil is not None and soil not in soils:
        faults.add(
            path, "column soil", soil, "a soil of the site file", nearest(soil, soils), row.line
        )
    date = row.text("date")
    if date:
        try:
            date = datetime.datetime.fromisoformat(date).replace(tzinfo=None).isoformat()
        except ValueError:
            faults.add(path, "column date", date, "a date such as 2024-05-31", line=row.line)
    if len(faults.faults) > before or x is None or y is None or level is None:
        return None
    factor = crs.metres_per_unit
    return PiezometerReading(name, x * factor, y * factor, level, soil, date)


def _latest(
    found: list[tuple[int, PiezometerReading]], crs: SiteCrs, faults: FaultLog, path: str
) -> list[PiezometerReading]:
    """The latest reading of each id and soil; faults where it cannot be told which that is."""
    first: dict[str, PiezometerReading] = {}
    groups: dict[tuple[str, str | None], list[tuple[int, PiezometerReading]]] = {}
    for line, reading in found:
        base = first.setdefault(reading.id, reading)
        if math.hypot(reading.x - base.x, reading.y - base.y) > SAME_PLACE:
            faults.add(
                path,
                f"columns x, y of {reading.id}",
                crs.spot(reading.x, reading.y),
                f"the same place as before, {crs.spot(base.x, base.y)}",
                "Give another piezometer another id",
                line,
            )
        groups.setdefault((reading.id, reading.soil), []).append((line, reading))
    latest = []
    several = []
    for (name, soil), group in groups.items():
        best = max(reading.date for _, reading in group)
        chosen = [(line, reading) for line, reading in group if reading.date == best]
        undated = [line for line, reading in group if not reading.date]
        of = name if soil is None else f"{name} in {soil}"
        if len(group) > 1 and undated:
            faults.add(
                path,
                f"column date of {of}",
                "(empty)",
                "a date in every row of a piezometer with several readings",
                line=undated[0],
            )
        elif len(chosen) > 1:
            faults.add(
                path, f"column date of {of}", best, "one reading at that time", line=chosen[1][0]
            )
        elif len(group) > 1:
            several.append(f"{of} ({best.removesuffix('T00:00:00')})")
        latest.append(chosen[0][1])
    if several:
        faults.warn(f"{path}: several readings, the latest is used: {', '.join(several)}")
    return latest


def _fitted(
    readings: list[PiezometerReading], of: str, source: str
) -> tuple[LevelPlane, np.ndarray]:
    """The plane or mean level through readings, and reading minus plane (n,) [m]."""
    xy = np.array([(reading.x, reading.y) for reading in readings], dtype=float)
    level = np.array([reading.level for reading in readings], dtype=float)
    count = len(readings)
    centre = xy.mean(axis=0)
    offset = xy - centre
    # Singular values of the centred places: their spread along and across their main direction.
    spread = np.linalg.svd(offset, compute_uv=False) if count >= 3 else np.zeros(2)
    if count < 3 or spread[1] <= COLLINEAR * spread[0]:
        mean = float(level.mean())
        why = "" if count < 3 else ", which lie in a line"
        text = f"mean level of {count} readings {of}{why} ({source})"
        return LevelPlane.constant(mean, text), level - mean
    design = np.column_stack([np.ones(count), offset])
    a, b, c = (float(value) for value in np.linalg.lstsq(design, level, rcond=None)[0])
    errors = level - design @ [a, b, c]
    plane = LevelPlane(a, b, c, float(centre[0]), float(centre[1]), "")
    fit = "exact through 3 points"
    if count > 3:
        fit = f"residual standard deviation {math.sqrt(errors @ errors / (count - 3)):.2f} m"
    text = (
        f"least-squares plane through {count} readings {of} ({source}): falls "
        f"{plane.gradient:.4g} toward azimuth {plane.toward:.0f}°, {fit}"
    )
    return LevelPlane(a, b, c, plane.x0, plane.y0, text), errors


def _warn_of_fit(
    plane: LevelPlane,
    errors: np.ndarray,
    readings: list[PiezometerReading],
    where: str,
    faults: FaultLog,
) -> None:
    if plane.gradient > STEEP:
        faults.warn(
            f"{where}: the water falls {plane.gradient:.3g} toward azimuth {plane.toward:.0f}°; "
            f"more than {STEEP:g} is rare, check levels, places and aquifers"
        )
    worst = int(np.argmax(np.abs(errors)))
    if abs(errors[worst]) > MISFIT:
        what = "plane" if plane.gradient else "mean level"
        faults.warn(
            f"{where}: {readings[worst].id} lies {errors[worst]:+.2f} m off the {what}; is it in "
            "another aquifer, or was it pumped?"
        )
