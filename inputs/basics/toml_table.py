"""A TOML file that is one table of its own, beside a site file: read and checked as a whole."""

from __future__ import annotations

from pathlib import Path
from typing import TypeVar

from pydantic import ValidationError

from wellring.inputs.basics.explain import explain
from wellring.inputs.basics.faults import FaultLog, InputFaults
from wellring.inputs.basics.table import Table
from wellring.inputs.basics.toml_text import TomlFaults, load_toml

Read = TypeVar("Read", bound=Table)


def read_table(
    path: Path, kind: type[Read], faults: FaultLog | None = None
) -> tuple[Read, TomlFaults]:
    """The file at `path` as a table of this kind, and a log for faults found later.

    Parameters
    ----------
    faults : found before; told together with a file that is no TOML.

    Raises
    ------
    InputFaults : the file cannot be read, or holds other keys or values.
    """
    faults = FaultLog() if faults is None else faults
    loaded = load_toml(path, faults)
    faults.raise_if_any()
    assert loaded is not None
    tables, lines = loaded
    own = TomlFaults(file=path.name, lines=lines)
    try:
        return kind.model_validate(tables), own
    except ValidationError as error:
        explain(error, kind, tables, path.name, own)
        raise InputFaults(own.faults) from None
