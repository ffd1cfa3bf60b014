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
from pydantic import BaseModel, ValidationError
from shapely.geometry import MultiPoint, Polygon
from shapely.geometry.base import BaseGeometry

from wellring.inputs.borings import BoringLogs
from wellring.inputs.crs import SiteCrs
from wellring.inputs.drainage import DeepWells
from wellring.inputs.faults import FaultLog, nearest
from wellring.inputs.geodata import read_crs, read_line, read_points, read_polygon
from wellring.inputs.piezometers import Piezometers, read_piezometers
from wellring.inputs.read_borings import read_borings
from wellring.inputs.site import Recharge, SiteDescription
from wellring.inputs.site_rules import check_rules, refuse_unsupported
from wellring.inputs.surface import GroundSurface, read_ground
from wellring.inputs.toml_text import line_of, load_toml

Where = tuple[Path, SiteCrs, FaultLog, str]
"""Folder, crs, fault log and name of the site file, as every reader of shapes takes them."""


@dataclass(frozen=True)
class Site:
    """A complete, checked site (plan coordinates in metres, levels in metres).

    Parameters
    ----------
    geometries : shapes by the dotted place that names them ("walls.0", "water.boundary.1",
        "schemes.0.drainage.2"); points are a MultiPoint.
    files : SHA-256 of each file read, by its path relative to the site file.
    warnings : what the user should know, already worded.
    """

    file: Path
    description: SiteDescription
    crs: SiteCrs
    ground: GroundSurface
    outline: Polygon
    logs: BoringLogs
    piezometers: Piezometers | None
    geometries: Mapping[str, BaseGeometry]
    files: Mapping[str, str]
    warnings: tuple[str, ...]

    @property
    def name(self) -> str:
        """The site's name."""
        return self.description.site.name

    @property
    def sha256(self) -> str:
        """One hash over all input files."""
        text = "\n".join(f"{name} {digest}" for name, digest in sorted(self.files.items()))
        return hashlib.sha256(text.encode()).hexdigest()


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
    tables, lines = loaded
    description = read_description(tables, lines, path.name, faults)
    faults.raise_if_any()
    assert description is not None
    site = _read_data(path, description, faults)
    for index, fault in enumerate(faults.faults):
        if fault.file == path.name and fault.line is None:
            faults.faults[index] = _with_line(fault, lines)
    faults.raise_if_any()
    assert site is not None
    return site


def read_description(
    tables: Mapping[str, Any], lines: Mapping[str, int], file: str, faults: FaultLog
) -> SiteDescription | None:
    """The site description of parsed TOML tables, or None with faults added."""
    try:
        description = SiteDescription.model_validate(tables)
    except ValidationError as error:
        _explain(error, tables, lines, file, faults)
        return None
    check_rules(description, file, lines, faults)
    refuse_unsupported(description, file, lines, faults)
    return description


def _with_line(fault: Any, lines: Mapping[str, int]) -> Any:
    from dataclasses import replace

    return replace(fault, line=line_of(fault.place, lines))


def _read_data(path: Path, description: SiteDescription, faults: FaultLog) -> Site | None:
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
        area=outline,
        ground=ground.at if ground is not None else None,
    )
    piezometers = None
    if description.water.piezometers is not None:
        piezometers = read_piezometers(
            description.water.piezometers, folder, site_crs, description.soils, faults, file
        )
    geometries = _read_geometries(description, where)
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
        files=MappingProxyType(_hashes(path, description)),
        warnings=tuple(faults.warnings),
    )


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
            if isinstance(drainage, DeepWells):
                place = f"schemes.{number}.drainage.{index}"
                put(place, _drainage_shape(drainage, place, where))
    for place, wall in walls:
        if wall.line != "outline":
            put(place, read_line(wall.line, *where, f"{place}.line"))
    return found


def _drainage_shape(drainage: DeepWells, place: str, where: Where) -> BaseGeometry | None:
    if drainage.line is not None:
        return read_line(drainage.line.along, *where, f"{place}.line.along")
    if drainage.points is not None:
        xy = read_points(drainage.points, *where, f"{place}.points")
        return None if xy is None else MultiPoint(shapely.points(xy))
    return None


def _explain(
    error: ValidationError,
    tables: Mapping[str, Any],
    lines: Mapping[str, int],
    file: str,
    faults: FaultLog,
) -> None:
    """Turn pydantic's findings into faults, one a place."""
    seen: set[str] = set()
    for item in error.errors(include_url=False):
        location, model = _place(item["loc"], tables)
        place = ".".join(location)
        if place in seen:
            continue
        seen.add(place)
        line, value = line_of(place, lines), item["input"]
        if item["type"] == "extra_forbidden":
            faults.add(
                file, place, None, "a key this table knows", nearest(location[-1], model), line
            )
        elif item["type"] == "missing":
            faults.add(file, place, None, "to be given", _what(item["loc"]), line)
        elif item["type"] in ("union_tag_invalid", "union_tag_not_found"):
            tag = item.get("ctx", {})
            known = str(tag.get("expected_tags", "")).replace("'", "").split(", ")
            key = str(tag.get("discriminator", "kind")).strip("'")
            given = value.get(key) if isinstance(value, Mapping) else value
            faults.add(
                file,
                f"{place}.{key}",
                given,
                f"one of {', '.join(known)}",
                nearest(str(given), known),
                line,
            )
        else:
            message = item["msg"].removeprefix("Value error, ").removeprefix("expected ")
            shown = None if isinstance(value, Mapping | list | tuple | BaseModel) else value
            faults.add(file, place, shown, _sentence(message), "", line)


def _sentence(message: str) -> str:
    text = message.removeprefix("Input should be ")
    return text[0].lower() + text[1:] if text else "another value"


def _what(location: tuple[int | str, ...]) -> str:
    return f"Add the key '{location[-1]}'."


def _place(location: tuple[int | str, ...], tables: Any) -> tuple[list[str], list[str]]:
    """The dotted place of an error without pydantic's union tags, and the keys known there."""
    here: Any = tables
    place: list[str] = []
    for index, part in enumerate(location):
        last = index == len(location) - 1
        if isinstance(here, Mapping) and (part in here or last):
            here = here.get(part)
            place.append(str(part))
        elif isinstance(here, list | tuple) and isinstance(part, int):
            here = here[part] if part < len(here) else None
            place.append(str(part))
    return place or [str(location[0])], _known_keys(location)


def _known_keys(location: tuple[int | str, ...]) -> list[str]:
    """Keys of the table type an unknown key was found in."""
    import typing

    model: Any = SiteDescription
    for part in location[:-1]:
        if not isinstance(part, str):
            continue
        fields = getattr(model, "model_fields", {})
        if part in fields:
            models = list(_models(fields[part].annotation, typing))
            if models:
                model = models[0] if len(models) == 1 else _Either(models)
        elif isinstance(model, _Either):
            model = model.tagged(part)
    return list(getattr(model, "model_fields", {}))


class _Either:
    """Several table types, told apart by their kind or method."""

    def __init__(self, models: list[type[BaseModel]]):
        self.models = models

    def tagged(self, tag: str) -> type[BaseModel]:
        for model in self.models:
            for key in ("kind", "method"):
                field = model.model_fields.get(key)
                if field is not None and tag in getattr(field.annotation, "__args__", ()):
                    return model
        return self.models[0]


def _models(annotation: Any, typing: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
        return
    for part in typing.get_args(annotation):
        yield from _models(part, typing)


def _hashes(path: Path, description: SiteDescription) -> dict[str, str]:
    """SHA-256 of the site file and of every file it names."""
    names = {path.name, *_file_names(description)}
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
        if isinstance(boundary, Recharge):
            candidates.append(boundary.rate)
    walls = [*description.walls, *(w for s in description.schemes for w in s.walls or ())]
    candidates += [wall.line for wall in walls]
    for scheme in description.schemes:
        for drainage in scheme.drainage:
            if isinstance(drainage, DeepWells):
                candidates.append(drainage.points)
                candidates.append(drainage.line.along if drainage.line else None)
    candidates += [neighbour.file for neighbour in description.neighbours]
    yield from (item for item in candidates if isinstance(item, str) and item != "outline")
