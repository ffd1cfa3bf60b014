"""Other neighbours for a finished run: a vector file of one kind, or a TOML file of tables."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import shapely
from pydantic import Field

from wellring.inputs.basics.faults import FaultLog, nearest
from wellring.inputs.basics.table import Table
from wellring.inputs.basics.toml_table import read_table
from wellring.inputs.geodata.crs import SiteCrs
from wellring.inputs.geodata.read_neighbours import read_neighbours
from wellring.inputs.geodata.receptors import Receptors
from wellring.inputs.site.neighbours import KINDS, Neighbour


class NeighbourFile(Table):
    """A TOML file of [[neighbours]] tables, written as in a site file."""

    neighbours: Annotated[tuple[Neighbour, ...], Field(min_length=1)]


def read_other_neighbours(
    path: str | Path,
    kind: str | None,
    tables: Sequence[Neighbour],
    crs: SiteCrs,
    pit: shapely.Polygon,
) -> tuple[Receptors, list[str], str]:
    """Features to assess a finished run by, warnings, and the SHA-256 of the file at `path`.

    Parameters
    ----------
    path : a TOML file with [[neighbours]] tables, or a vector file (``file.gpkg#layer`` too).
    kind : of a vector file; not of a TOML file, which says so itself.
    tables : the run's own [[neighbours]]: the first of the same kind says what the columns of a
        vector file are called and what its features may bear.

    Raises
    ------
    InputFaults : the file cannot be read, or something in it is wrong.
    """
    path = Path(path)
    faults: FaultLog = FaultLog()
    if path.suffix.lower() == ".toml":
        given, faults = _from_toml(path, kind)
    else:
        given = (_one_layer(path, kind, tables, faults),)
    shown = path.name
    found = read_neighbours(given, path.parent, crs, faults, shown, pit)
    faults.raise_if_any()
    assert found is not None
    data = Path(str(path).split("#")[0]).read_bytes()
    return found, list(faults.warnings), hashlib.sha256(data).hexdigest()


def _from_toml(path: Path, kind: str | None) -> tuple[tuple[Neighbour, ...], FaultLog]:
    faults = FaultLog()
    if kind is not None:
        faults.add("--kind", "kind", kind, "no kind beside a TOML file", "Its tables say it.")
    read, own = read_table(path, NeighbourFile, faults)
    return read.neighbours, own


def _one_layer(
    path: Path, kind: str | None, tables: Sequence[Neighbour], faults: FaultLog
) -> Neighbour:
    kinds = sorted({table.kind for table in tables})
    chosen = kind or (kinds[0] if len(kinds) == 1 else None)
    if chosen not in KINDS:
        remedy = nearest(kind, KINDS) if kind else f"It is one of {', '.join(KINDS)}."
        faults.add("--kind", "kind", kind, "the kind of the neighbours", remedy)
        faults.raise_if_any()
    like = next((table for table in tables if table.kind == chosen), None)
    own = {"file": path.name, "name": None}
    if like is None:
        return Neighbour.model_validate({"file": path.name, "kind": chosen})
    return like.model_copy(update=own)
