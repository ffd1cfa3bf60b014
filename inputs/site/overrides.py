"""Change a site by the dotted paths of its file: ``soils.sand.kh``, ``walls.0.toe``.

Members of lists are named by number (from 0) or by their name ("walls.street side.toe"). Beside
the keys of the file there is ``soils.NAME.anisotropy``, the ratio kh/kv, which sets kv. A name
with dots in it stands in quotes.
"""

from __future__ import annotations

import copy
import re
from collections.abc import Iterator, Mapping
from typing import Any

from pydantic import BaseModel

from wellring.inputs.basics.faults import FaultLog, nearest
from wellring.inputs.site.site import SiteDescription, Soil

ANISOTROPY = "anisotropy"
Keys = tuple[str | int, ...]
_PART = re.compile(r"""(?:"[^"]*"|'[^']*'|[^."'])+""")


def find_path(
    path: str, description: SiteDescription, file: str, place: str, faults: FaultLog
) -> Keys | None:
    """The keys of a path, or None with a fault that suggests the nearest path.

    Parameters
    ----------
    file, place : where the path was given, for the fault.
    """
    found: list[str | int] = []
    at: Any = description
    parts = [part.strip().strip("\"'") for part in _PART.findall(path)]
    for depth, part in enumerate(parts):
        last = depth == len(parts) - 1
        if isinstance(at, Soil) and part == ANISOTROPY and last:
            return (*found, ANISOTROPY)
        key, at = _step(at, part)
        if key is None or (at is None and not last):
            faults.add(
                file,
                place,
                path,
                "the path of a value of this site file",
                nearest(path, known_paths(description)),
            )
            return None
        found.append(key)
    if isinstance(at, BaseModel | dict):
        inside = [name for name in known_paths(description) if name.startswith(path + ".")]
        faults.add(file, place, path, "the path of a single value, not of a table",
                   f"In it: {', '.join(inside[:8])}." if inside else "")  # fmt: skip
        return None
    return tuple(found)


def _step(at: Any, part: str) -> tuple[str | int | None, Any]:
    if isinstance(at, BaseModel):
        return (part, getattr(at, part)) if part in type(at).model_fields else (None, None)
    if isinstance(at, Mapping):
        return (part, at[part]) if part in at else (None, None)
    if isinstance(at, tuple):
        if part.isdigit():
            return (int(part), at[int(part)]) if int(part) < len(at) else (None, None)
        for index, item in enumerate(at):
            if getattr(item, "name", None) == part:
                return index, item
    return None, None


def known_paths(description: SiteDescription) -> list[str]:
    """All paths to single values of a site, those left out of the file too."""
    return list(_leaves(description, ""))


def _leaves(at: Any, prefix: str) -> Iterator[str]:
    items: Iterator[tuple[str, Any]]
    if isinstance(at, BaseModel):
        items = ((name, getattr(at, name)) for name in type(at).model_fields)
        if isinstance(at, Soil):
            yield f"{prefix}{ANISOTROPY}"
    elif isinstance(at, Mapping):
        items = ((str(key), value) for key, value in at.items())
    else:
        items = ((str(index), value) for index, value in enumerate(at))
    for name, value in items:
        tables = isinstance(value, tuple) and any(isinstance(v, BaseModel) for v in value)
        if isinstance(value, BaseModel | Mapping) or tables:
            yield from _leaves(value, f"{prefix}{name}.")
        else:
            yield f"{prefix}{name}"


def value_at(description: SiteDescription, keys: Keys) -> Any:
    """What stands at a path, in SI; None where it is left out."""
    at: Any = description
    for key in keys:
        if key == ANISOTROPY and isinstance(at, Soil):
            return at.horizontal_k / at.kv if at.kv is not None else None
        at = getattr(at, str(key)) if isinstance(at, BaseModel) else at[key]
    return at


def with_values(
    tables: Mapping[str, Any], description: SiteDescription, values: Mapping[Keys, Any]
) -> dict[str, Any]:
    """A copy of a site file's tables with other values at some paths.

    `values` are as the file may give them: numbers in SI, or text with a unit.
    """
    changed: dict[str, Any] = copy.deepcopy(dict(tables))
    ratios = {keys: value for keys, value in values.items() if keys[-1] == ANISOTROPY}
    for keys, value in values.items():
        if keys not in ratios:
            _put(changed, keys, value)
    for keys, ratio in ratios.items():
        soil = keys[:-1]
        kh = values.get((*soil, "kh"))
        if not isinstance(kh, int | float):
            at = value_at(description, soil)
            assert isinstance(at, Soil)
            kh = at.horizontal_k
        _put(changed, (*soil, "kv"), kh / float(ratio))
    return changed


def _put(tables: dict[str, Any], keys: Keys, value: Any) -> None:
    at: Any = tables
    for key in keys[:-1]:
        at = at.setdefault(key, {}) if isinstance(at, dict) else at[key]
    if isinstance(at, tuple):
        raise TypeError("tables hold lists")
    at[keys[-1]] = value
