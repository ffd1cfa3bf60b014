"""Write a stage that differs from a written one in values: its files again, changed where needed.

The model's geometry, options and package list are those of the stage that stands as a pattern
(written by `write_stage`). Arrays that are the same are linked, lists
and conductivities are written anew; that takes a twentieth of the time of building all of it.
"""

from __future__ import annotations

import os
import re
import shutil
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.units import DAY
from wellring.model.mf6.binary_arrays import array_file, write_array
from wellring.model.mf6.build import StageModel, point_rows, write_stage
from wellring.model.mf6.file_edits import counted_from_one, with_block, with_rows
from wellring.model.mf6.stage_lists import StageList, stage_lists

Floats = NDArray[np.float64]

_SAME = re.compile(r"(bottom|idomain|top)\.bin|gwf\.(dis|npf|ic|oc)|.*\.obs")
"""Files that hang on geometry alone."""
_REWRITTEN = ("gwf.nam", "mfsim.nam")
"""Files that the solver's ladder changes: copied, never linked."""
_OUTPUT = re.compile(
    r"gwf\.(hds|bud|lst|dis\.grb|ims|tdis)|mfsim\.lst|mf6\.out|.*\.csv|start\.bin|pseudo_time\..*"
)
"""Files that a solve leaves or writes anew, no part of a pattern."""


@dataclass(frozen=True)
class StagePattern:
    """A written stage to copy from, with the conductivities it was written with [m/s]."""

    folder: Path
    kh: Floats
    kv: Floats


def is_output(name: str) -> bool:
    """Whether a solve leaves a file of that name, or writes it anew."""
    return bool(_OUTPUT.fullmatch(name))


def strip_to_pattern(folder: Path) -> None:
    """Take what a solve wrote out of a stage's folder; the input stays."""
    for path in folder.iterdir():
        if is_output(path.name):
            path.unlink()


def write_like(pattern: StagePattern, stage: StageModel, folder: Path) -> None:
    """Write `stage` into `folder`, like :func:`write_stage`, from a pattern of the same geometry.

    Where the packages are others than the pattern's (an inflow that vanished), all is built.
    """
    lists = {item.file: _rows(stage, item) for item in stage_lists(stage)}
    held = {path.name for path in pattern.folder.iterdir() if _is_list(path.name)}
    if held != set(lists) | _fixed_lists(stage):
        write_stage(stage, folder)
        return
    folder.mkdir(parents=True, exist_ok=True)
    for path in pattern.folder.iterdir():
        if _SAME.fullmatch(path.name):
            link_or_copy(path, folder / path.name)
    for name in _REWRITTEN:
        shutil.copyfile(pattern.folder / name, folder / name)
    for stem, now, before in (
        ("kh", stage.ground.kh, pattern.kh),
        ("kv", stage.ground.kv, pattern.kv),
    ):
        _write_changed(pattern.folder, folder, stem, now, before, stage.shape3)
    for name, rows in lists.items():
        text = (pattern.folder / name).read_text()
        (folder / name).write_text(with_rows(text, rows))
    if stage.water.recharge is not None:
        _write_recharge(pattern.folder, folder, stage)
    if stage.points:
        _write_points(pattern.folder, folder, stage)


def link_or_copy(source: Path, target: Path) -> None:
    """A hard link where the file system has them, else a copy."""
    try:
        os.link(source, target)
    except OSError:
        shutil.copyfile(source, target)


def _is_list(name: str) -> bool:
    return name.endswith((".dat", ".hfb", ".rcha"))


def _fixed_lists(stage: StageModel) -> set[str]:
    found = set()
    if stage.water.recharge is not None:
        found.add("gwf.rcha")
    if stage.points:
        found.add("maw.dat")
    return found


def _rows(stage: StageModel, item: StageList) -> str:
    cells = [index + 1 for node in item.nodes for index in np.unravel_index(node, stage.shape3)]
    form = " %d" * len(cells) + " %.12g" * len(item.values)
    values = zip(*(column.tolist() for column in [*cells, *item.values]), strict=True)
    return "\n".join([form % row for row in values])


def _write_changed(
    source: Path, folder: Path, stem: str, now: Floats, before: Floats, shape: tuple[int, int, int]
) -> None:
    if np.array_equal(now, before):
        link_or_copy(source / array_file(stem), folder / array_file(stem))
        return
    write_array(folder, stem, (now * DAY).reshape(shape))


def _write_recharge(source: Path, folder: Path, stage: StageModel) -> None:
    assert stage.water.recharge is not None
    rate = np.where(stage.active.any(axis=0), stage.water.recharge, 0.0) * DAY
    write_array(folder, "recharge", rate.reshape(stage.grid.shape))
    text = (source / "gwf.rcha").read_text()
    rows = f"  recharge\n    OPEN/CLOSE  '{array_file('recharge')}'  FACTOR  1.0  (BINARY)"
    (folder / "gwf.rcha").write_text(with_block(text, r"period\s+1", rows))


def _write_points(source: Path, folder: Path, stage: StageModel) -> None:
    packages, connections, periods = point_rows(stage)
    text = (source / "maw.dat").read_text()
    blocks = (
        ("packagedata", packages, 1),
        ("connectiondata", connections, 2),
        (r"period\s+1", periods, 1),
    )
    for name, rows, indices in blocks:
        lines = [counted_from_one(row, indices) for row in rows]
        text = with_block(text, name, "\n".join(lines))
    (folder / "maw.dat").write_text(text)
