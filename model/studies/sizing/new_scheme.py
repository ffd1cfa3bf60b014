"""The result as a scheme of its own, in a copy of the site file beside it."""

from __future__ import annotations

import copy
import json
import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.faults import FaultLog
from wellring.inputs.read_site import read_site
from wellring.model.studies.sizing.rows import Candidate
from wellring.model.studies.sizing.sized_site import written

Floats = NDArray[np.float64]

HEAD = "# Written by wellring size from "
"""How a file begins beside which another may be written."""


def sized_scheme(
    scheme: Mapping[str, Any],
    name: str,
    candidates: Sequence[Candidate],
    stages: Sequence[str],
    flows: Floats,
    metres_per_unit: float,
    system: str,
) -> dict[str, Any]:
    """The table of a scheme whose candidates are those that run, each asked for its flows.

    Parameters
    ----------
    scheme : its table as the site file has it.
    flows : (S, C) [m³/s].
    """
    made: dict[str, Any] = copy.deepcopy(dict(scheme))
    made["name"] = name
    empty = []
    for number in sorted({candidate.table for candidate in candidates}):
        table = made["drainage"][number]
        own = [i for i, c in enumerate(candidates) if c.table == number and flows[:, i].any()]
        if not own:
            empty.append(number)
            continue
        for key in ("ring", "line", "rate", "points"):
            table.pop(key, None)
        table["points"] = [
            [round(candidates[i].point.x / metres_per_unit, 3),
             round(candidates[i].point.y / metres_per_unit, 3)]
            for i in own
        ]  # fmt: skip
        table["rates"] = {
            stage: [written(float(flows[s, i]), system) for i in own]
            for s, stage in enumerate(stages)
            if flows[s, own].any()
        }
    for number in reversed(empty):
        del made["drainage"][number]
    return made


def free_name(wanted: str, taken: Sequence[str]) -> str:
    """A scheme's name that no other has."""
    name, number = wanted[:80], 2
    while name in taken:
        name, number = f"{wanted[:74]} {number}", number + 1
    return name


def check_target(site_file: Path, target: Path) -> None:
    """Refuse a file for the new scheme that cannot be taken, before anything is solved.

    Raises
    ------
    InputFaults : `target` is a file that wellring size did not write, or lies in another folder.
    """
    faults = FaultLog()
    if target.exists():
        begins = target.read_text(encoding="utf-8-sig", errors="replace")[: len(HEAD)]
        if begins != HEAD:
            faults.add(target, "the file", None, "no file, or one that wellring size wrote",
                       "Name another with --write.")  # fmt: skip
    if target.parent.resolve() != site_file.parent.resolve():
        faults.add(target, "--write", target.name, f"a file in {site_file.parent}",
                   "Paths in a site file count from its folder.")  # fmt: skip
    faults.raise_if_any()


def write_site(site_file: Path, target: Path, scheme: Mapping[str, Any], note: str) -> Path:
    """A copy of the site file with one more scheme, which must read as a site.

    A file that stands there already, of another sizing or changed by the user since, is kept: the
    new one is then called ``<target>_2``, and so on.

    Returns
    -------
    The file written, or the one of the same text that stood there.

    Raises
    ------
    InputFaults : as :func:`check_target`.
    """
    check_target(site_file, target)
    text = site_file.read_text(encoding="utf-8-sig").replace("\r\n", "\n")
    block = toml_block("schemes", scheme)
    whole = f"{HEAD}{site_file.name}: {note}\n{text.rstrip()}\n\n{block}"
    number, free = 2, target
    while free.exists():
        if free.read_text(encoding="utf-8", errors="replace") == whole:
            return free
        free, number = target.with_name(f"{target.stem}_{number}{target.suffix}"), number + 1
    partial = target.with_name(f".{target.stem}.partial-{os.getpid()}.toml")
    try:
        partial.write_text(whole, encoding="utf-8")
        read_site(partial)
        partial.replace(free)
    finally:
        partial.unlink(missing_ok=True)
    return free


def toml_block(heading: str, table: Mapping[str, Any]) -> str:
    """A table as [[heading]], lists of tables in it as [[heading.key]]."""
    nested = {k: v for k, v in table.items() if _is_tables(v)}
    lines = [f"[[{heading}]]"]
    lines += [f"{_key(k)} = {_value(v)}" for k, v in table.items() if k not in nested]
    blocks = ["\n".join(lines) + "\n"]
    for key, tables in nested.items():
        blocks += [toml_block(f"{heading}.{_key(key)}", item) for item in tables]
    return "\n".join(blocks)


def _is_tables(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and isinstance(value[0], Mapping)


def _key(key: str) -> str:
    plain = key.replace("-", "").replace("_", "").isalnum() and key.isascii()
    return key if plain else json.dumps(key, ensure_ascii=False)


def _value(value: Any) -> str:
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{_key(k)} = {_value(v)}" for k, v in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_value(item) for item in value) + "]"
    if isinstance(value, bool | str):
        return json.dumps(value, ensure_ascii=False)
    return repr(value) if isinstance(value, int | float) else str(value)
