"""Read a site: the TOML file and everything it refers to, checked as a whole.

All faults of all files are gathered and raised together; a :class:`Site` that comes back is
complete, immutable and names the SHA-256 of every file it was read from.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any

import shapely
from pydantic import ValidationError
from shapely.geometry import MultiPoint, Polygon
from shapely.geometry.base import BaseGeometry

from wellring.inputs.basics.explain import explain
from wellring.inputs.basics.faults import FaultLog
from wellring.inputs.basics.toml_text import TomlFaults, load_toml
from wellring.inputs.geodata.crs import SiteCrs
from wellring.inputs.geodata.geodata import (
    check_near,
    check_pit_place,
    read_crs,
    read_line,
    read_points,
    read_polygon,
)
from wellring.inputs.geodata.read_neighbours import read_neighbours
from wellring.inputs.geodata.receptors import Receptors
from wellring.inputs.geodata.surface import GroundSurface, read_ground
from wellring.inputs.logs.borings import BoringLogs
from wellring.inputs.logs.read_borings import read_borings
from wellring.inputs.measured.piezometers import Piezometers, read_piezometers
from wellring.inputs.measured.series import Column, Series, read_series
from wellring.inputs.site.drainage import Placed
from wellring.inputs.site.plan_rules import check_plan
from wellring.inputs.site.site import SiteDescription
from wellring.inputs.site.site_rules import check_rules

Where = tuple[Path, SiteCrs, FaultLog, str]
"""Folder, crs, fault log and name of the site file, as every reader of shapes takes them."""


@dataclass(frozen=True)
class Site:
    """A complete, checked site (plan coordinates in metres, levels in metres).

    Parameters
    ----------
    geometries : shapes by the dotted place that names them ("walls.0", "water.boundary.1",
        "schemes.0.drainage.2"); points are a MultiPoint.
    series : values that change in time, by the dotted place of their boundary.
    files : SHA-256 of each file read, by its path relative to the site file.
    warnings : what the user should know, already worded.
    lines : line of each dotted place in the site file.
    """

    file: Path
    description: SiteDescription
    crs: SiteCrs
    ground: GroundSurface
    outline: Polygon
    logs: BoringLogs
    piezometers: Piezometers | None
    geometries: Mapping[str, BaseGeometry]
    series: Mapping[str, Series]
    files: Mapping[str, str]
    warnings: tuple[str, ...]
    lines: Mapping[str, int]
    neighbours: Receptors | None = None

    @property
    def name(self) -> str:
        """The site's name."""
        return self.description.site.name

    @property
    def sha256(self) -> str:
        """One hash over all input files."""
        text = "\n".join(f"{name} {digest}" for name, digest in sorted(self.files.items()))
        return hashlib.sha256(text.encode()).hexdigest()

    def fault_log(self) -> TomlFaults:
        """A log for faults found later, which knows the lines of the site file."""
        return TomlFaults(file=self.file.name, lines=self.lines)


def read_site(path: str | Path) -> Site:
    """Read and check the site file at `path` and all files it names.

    Raises
    ------
    InputFaults : anything in any of the files is wrong; all faults found are in it.
    """
    path = Path(path)
    faults = FaultLog()
    loaded = load_toml(path, faults)
    faults.raise_if_any()
    assert loaded is not None
    return site_of_tables(path, *loaded)


def site_of_tables(path: Path, tables: Mapping[str, Any], lines: Mapping[str, int]) -> Site:
    """The site of tables as a site file at `path` would hold them, `lines` where they stand.

    Raises
    ------
    InputFaults : as :func:`read_site`.
    """
    faults = TomlFaults(file=path.name, lines=lines)
    description = read_description(tables, path.name, faults)
    faults.raise_if_any()
    assert description is not None
    site = _read_data(path, description, faults)
    faults.raise_if_any()
    assert site is not None
    return site


def read_description(
    tables: Mapping[str, Any], file: str, faults: FaultLog
) -> SiteDescription | None:
    """The site description of parsed TOML tables, or None with faults added."""
    try:
        description = SiteDescription.model_validate(tables)
    except ValidationError as error:
        explain(error, SiteDescription, tables, file, faults)
        return None
    check_rules(description, file, faults)
    return description


def _read_data(path: Path, description: SiteDescription, faults: TomlFaults) -> Site | None:
    folder, file = path.parent, path.name
    crs = read_crs(description.site.crs, faults, file)
    if crs is None:
        return None
    site_crs = SiteCrs.of(crs, description.site.crs)
    where: Where = (folder, site_crs, faults, file)
    pit = description.excavation
    outline = read_polygon(
        pit.outline if pit.outline is not None else (pit.corners or ()),
        *where,
        "excavation.outline" if pit.outline is not None else "excavation.corners",
    )
    ground = read_ground(description.site.ground, *where, pit=outline)
    logs = read_borings(
        description.borings,
        folder,
        description.soils,
        faults,
        area=None if outline is None else _area_of_interest(description, outline),
        ground=ground.at if ground is not None else None,
        metres_per_unit=site_crs.metres_per_unit,
    )
    piezometers = None
    if description.water.piezometers is not None:
        piezometers = read_piezometers(
            description.water.piezometers, folder, site_crs, description.soils, faults, file
        )
    geometries = _read_geometries(description, where)
    series = _read_series(description, where)
    if outline is not None:
        check_pit_place(outline, site_crs, faults, file, "excavation")
        for place, shape in geometries.items():
            check_near(shape, outline, faults, file, place)
        if piezometers is not None:
            check_near(piezometers.xy, outline, faults, file, "water.piezometers")
        check_plan(description, outline, geometries, file, faults)
    receptors = read_neighbours(description.neighbours, *where, pit=outline)
    if faults.faults or outline is None or ground is None:
        return None
    return Site(
        file=path,
        description=description,
        crs=site_crs,
        ground=ground,
        outline=outline,
        logs=logs,
        piezometers=piezometers,
        geometries=MappingProxyType(geometries),
        series=MappingProxyType(series),
        files=MappingProxyType(_hashes(path, description)),
        warnings=tuple(faults.warnings),
        lines=MappingProxyType(dict(faults.lines)),
        neighbours=receptors,
    )


_IN_TIME: tuple[Column, ...] = ("stage", "head", "rate")


def _read_series(description: SiteDescription, where: Where) -> dict[str, Series]:
    """Series of all boundaries whose value is the name of a file."""
    folder, _, faults, file = where
    found: dict[str, Series] = {}
    start = run_begins(description)
    for index, boundary in enumerate(description.water.boundary):
        for key in _IN_TIME:
            ref = getattr(boundary, key, None)
            if isinstance(ref, str):
                place = f"water.boundary.{index}"
                series = read_series(ref, key, folder, faults, file, f"{place}.{key}", start)
                if series is not None:
                    found[place] = series
                    _check_span(description, series, faults)
    return found


def run_begins(description: SiteDescription) -> float | None:
    """First day that is followed in time; None where none is."""
    time = description.time
    if time is None:
        return None
    return (
        description.excavation.stages[0].day if time.pumping_starts is None else time.pumping_starts
    )


def _check_span(description: SiteDescription, series: Series, faults: FaultLog) -> None:
    """Days that the run follows but the series does not know are told."""
    first, stages = run_begins(description), description.excavation.stages
    if first is None:
        return
    last = (stages[-1].day or 0.0) + (stages[-1].lasts or 0.0)
    if series.day[0] > first or series.day[-1] < last:
        faults.warn(
            f"{series.file}: knows day {series.day[0]:g} to {series.day[-1]:g}, the run goes from "
            f"{first:g} to {last:g}; beyond, its first and last values are held"
        )


def _area_of_interest(description: SiteDescription, outline: Polygon) -> BaseGeometry:
    """Where borings are expected: as far around the pit as its water comes from."""
    return outline.buffer(description.water.source_distance or 500.0)


def _read_geometries(description: SiteDescription, where: Where) -> dict[str, BaseGeometry]:
    found: dict[str, BaseGeometry] = {}

    def put(place: str, shape: BaseGeometry | None) -> None:
        if shape is not None:
            found[place] = shape

    for index, boundary in enumerate(description.water.boundary):
        place = f"water.boundary.{index}"
        line, polygon = getattr(boundary, "line", None), getattr(boundary, "polygon", None)
        if line is not None:
            put(place, read_line(line, *where, f"{place}.line"))
        elif polygon is not None:
            put(place, read_polygon(polygon, *where, f"{place}.polygon"))
    walls = [(f"walls.{index}", wall) for index, wall in enumerate(description.walls)]
    for number, scheme in enumerate(description.schemes):
        walls += [
            (f"schemes.{number}.walls.{i}", wall) for i, wall in enumerate(scheme.walls or ())
        ]
        for index, drainage in enumerate(scheme.drainage):
            if isinstance(drainage, Placed):
                place = f"schemes.{number}.drainage.{index}"
                put(place, _drainage_shape(drainage, place, where))
    for place, wall in walls:
        if wall.line != "outline":
            put(place, read_line(wall.line, *where, f"{place}.line"))
    return found


def _drainage_shape(drainage: Placed, place: str, where: Where) -> BaseGeometry | None:
    if drainage.line is not None:
        return read_line(drainage.line.along, *where, f"{place}.line.along")
    if drainage.points is not None:
        xy = read_points(drainage.points, *where, f"{place}.points")
        return None if xy is None else MultiPoint(shapely.points(xy))
    return None


def _hashes(path: Path, description: SiteDescription) -> dict[str, str]:
    """SHA-256 of the site file and of every file it names."""
    names = {path.name, *_file_names(description)}
    for name in [name for name in names if name.lower().endswith(".shp")]:
        names |= {f"{name[:-4]}{suffix}" for suffix in (".dbf", ".shx", ".prj", ".cpg")}
    found = {}
    for name in sorted(names):
        target = path.parent / name.split("#")[0]
        if target.is_file():
            with open(target, "rb") as file:
                found[name] = hashlib.file_digest(file, "sha256").hexdigest()
    return found


def _file_names(description: SiteDescription) -> Iterator[str]:
    yield from description.borings.files
    candidates: list[Any] = [
        description.site.ground,
        description.excavation.outline,
        description.water.piezometers,
    ]
    for boundary in description.water.boundary:
        candidates += [getattr(boundary, "line", None), getattr(boundary, "polygon", None)]
        candidates += [getattr(boundary, key, None) for key in _IN_TIME]
    walls = [*description.walls, *(w for s in description.schemes for w in s.walls or ())]
    candidates += [wall.line for wall in walls]
    for scheme in description.schemes:
        for drainage in scheme.drainage:
            if isinstance(drainage, Placed):
                candidates.append(drainage.points)
                candidates.append(drainage.line.along if drainage.line else None)
    candidates += [neighbour.file for neighbour in description.neighbours]
    yield from (item for item in candidates if isinstance(item, str) and item != "outline")
