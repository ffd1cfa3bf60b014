"""What pydantic finds wrong in the tables of a site file, in words a user can act on."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from wellring.inputs.basics.faults import FaultLog, nearest
from wellring.inputs.basics.table import Misfit

_TO_ADD = {
    "name": 'name = "…"',
    "crs": 'crs = "EPSG:32633", the projected system of the site',
    "ground": 'ground = 4.0, or ground = "ground.tif"',
    "files": 'files = ["collars.csv", "layers.csv"]',
    "stages": "a table [[excavation.stages]] with name and formation",
    "point": "point = [x, y]",
    "level": "level = 2.5",
    "gradient": "gradient = 0.002",
    "toward": "toward = 180",
    "stage": "stage = 2.2, the level of the river",
    "bed_conductance": 'bed_conductance = "1e-6 1/s", the bed\'s conductivity over its thickness',
    "head": "head = 2.5",
    "rate": 'rate = "200 mm/year"',
    "line": 'line = "line.geojson", or points [[x, y], [x, y]]',
    "start": "start = 5.0, from the beginning of the line",
    "end": "end = 8.0, from the beginning of the line",
    "factor": "factor = 10",
    "offset": "offset = 2.0",
    "along": 'along = "row.geojson", or points [[x, y], [x, y]]',
    "screen": "screen = [bottom level, top level]",
    "diameter": 'diameter = "300 mm"',
    "thickness": "thickness = 0.1",
    "k": 'k = "1e-4 m/s"',
    "weight": 'weight = "18 kPa"',
    "file": 'file = "buildings.gpkg"',
    "observations": 'observations = "measured.csv"',
    "x": "x = 466045.0",
    "y": "y = 5918010.0",
}
"""How the keys that some table cannot do without are written."""


def explain(
    error: ValidationError,
    model: type[BaseModel],
    tables: Mapping[str, Any],
    file: str,
    faults: FaultLog,
) -> None:
    """Add a fault for every place that `error` found wrong in `tables`, read as a `model`."""
    seen: set[str] = set()
    for item in error.errors(include_url=False):
        location, kinds = _located(item["loc"], tables, model)
        cause = item.get("ctx", {}).get("error")
        if isinstance(cause, Misfit) and cause.key:
            location.append(cause.key)
        place = ".".join(location) or "the file"
        if place in seen:
            continue
        seen.add(place)
        value, expected, remedy = _words(item, location, kinds, cause)
        if item["type"].startswith("union_tag"):
            place = f"{place}.{_discriminator(item)}"
        faults.add(file, place, shown(value), expected, remedy)


def shown(value: Any) -> str | None:
    """`value` as it is written in TOML; None for tables, which are too long to show."""
    if value is None or isinstance(value, Mapping | BaseModel):
        return None
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list | tuple):
        inner = [shown(item) or "{…}" for item in value[:6]]
        return f"[{', '.join([*inner, *(['…'] if len(value) > 6 else [])])}]"
    return "(empty text)" if value == "" else str(value)


def _words(
    item: Any, location: list[str], kinds: list[type[BaseModel]], cause: Any
) -> tuple[Any, str, str]:
    """The value, what was expected and the remedy for one of pydantic's findings."""
    kind, value, key = item["type"], item["input"], location[-1] if location else ""
    if isinstance(cause, Misfit):
        return (cause.value if cause.key else value), cause.expected, cause.remedy
    if kind == "extra_forbidden":
        known = sorted({name for model in kinds for name in model.model_fields})
        return None, "a key this table knows", nearest(key, known)
    if kind == "missing":
        return (
            None,
            "this key, which is missing",
            f"Add {_TO_ADD.get(key, _described(key, kinds))}.",
        )
    if kind.startswith("union_tag"):
        known = [str(tag) for model in kinds for tag in _tags(model, _discriminator(item))]
        given = value.get(_discriminator(item)) if isinstance(value, Mapping) else None
        close = nearest(given, known) if isinstance(given, str) else ""
        if given is None:
            return None, "this key, which is missing", f"It is one of {_choice(known)}."
        return given, f"one of {_choice(known)}", close if close.startswith("Did") else ""
    if kind == "literal_error":
        known = [word.strip("'") for word in _literals(item)]
        close = nearest(value, known) if isinstance(value, str) else ""
        return value, f"one of {_choice(known)}", close if close.startswith("Did") else ""
    if kind in ("tuple_type", "list_type"):
        if isinstance(value, Mapping):
            header = ".".join(part for part in location if not part.isdigit())
            return None, "a list of tables", f"Write [[{header}]] with two brackets."
        return value, "a list in square brackets", ""
    if kind in ("model_type", "model_attributes_type", "dict_type"):
        if isinstance(value, list):
            return None, "one table", f"Write [{'.'.join(location)}] with one bracket, and once."
        keys = [name for model in kinds for name in model.model_fields]
        return value, f"a table of {', '.join(keys)}" if keys else "a table of tables", ""
    if kind == "too_short":
        return None, "at least one entry", ""
    return value, str(item["msg"]).removeprefix("Value error, "), ""


def _described(key: str, kinds: list[type[BaseModel]]) -> str:
    """How to add a key that :data:`_TO_ADD` does not hold: a table, or one of some words."""
    for model in kinds:
        annotation = model.model_fields[key].annotation if key in model.model_fields else None
        words = [word for word in get_args(annotation) if isinstance(word, str)]
        if words:
            return f'{key} = "…", one of {_choice(words)}'
        if annotation is not None and list(_models(annotation)):
            return f"a table [{key}]"
    return f"the key {key}"


def _choice(words: list[str]) -> str:
    quoted = [f'"{word}"' for word in words]
    return f"{', '.join(quoted[:-1])} or {quoted[-1]}" if len(quoted) > 1 else "".join(quoted)


def _literals(item: Any) -> list[str]:
    return str(item["ctx"]["expected"]).replace(" or ", ", ").split(", ")


def _discriminator(item: Any) -> str:
    return str(item["ctx"]["discriminator"]).strip("'")


def _located(
    location: tuple[int | str, ...], tables: Any, model: type[BaseModel]
) -> tuple[list[str], list[type[BaseModel]]]:
    """The dotted place of a finding, without pydantic's union tags, and the table types there.

    The types are those of the table that holds the place's last key, or, where the place is a
    table itself, those it could have.
    """
    here: Any = tables
    place: list[str] = []
    kinds: list[type[BaseModel]] = [model]
    for number, part in enumerate(location):
        last = number == len(location) - 1
        fields = [m.model_fields[str(part)] for m in kinds if str(part) in m.model_fields]
        if isinstance(part, int):
            place.append(str(part))
            here = here[part] if isinstance(here, list | tuple) and part < len(here) else None
        elif fields or (isinstance(here, Mapping) and part in here):
            place.append(part)
            here = here.get(part) if isinstance(here, Mapping) else None
            inner = [m for field in fields for m in _models(field.annotation)]
            leaf = last and not (inner and isinstance(here, Mapping | list | int | float | str))
            kinds = kinds if leaf or not fields else inner
        else:
            tagged = [m for m in kinds if part in _all_tags(m)]
            kinds = tagged or kinds
    return place, kinds


def _all_tags(model: type[BaseModel]) -> list[str]:
    return [*_tags(model, "kind"), *_tags(model, "method"), model.__name__.lower()]


def _tags(model: type[BaseModel], discriminator: str) -> list[str]:
    field = model.model_fields.get(discriminator)
    return [] if field is None else [str(word) for word in get_args(field.annotation)]


def _models(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
        return
    for part in get_args(annotation):
        yield from _models(part)
