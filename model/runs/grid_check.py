"""How much of the answer is grid and edge: the deepest stage again, coarser, and farther fed.

The coarse solve costs a fraction of the run. Its difference from the fine answer estimates what
is left of the fine grid's own error (first order: half the size, half the error, so the fine
error is about the difference). The farther source shows how much the answer hangs on a distance
that nobody knows well.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from wellring.inputs.basics.faults import InputFaults, SolverFailed
from wellring.inputs.read_site import Site
from wellring.inputs.site.site import Scheme
from wellring.model.grid.grid_sizes import Fineness
from wellring.model.layouts.layout import Layout, lay_out
from wellring.model.runs.make_ledger import make_ledger
from wellring.model.runs.stages import SolvedStage, solve_scheme
from wellring.postprocess.run.run_folder import MODEL_FOLDER, RunFolder
from wellring.postprocess.water.dryness import dryness


def grid_check(
    site: Site,
    scheme: Scheme,
    number: int,
    solver: Path,
    folder: Path,
    say: Callable[[str], None],
) -> dict[str, Any]:
    """Solve the deepest stage at half fineness, and so again with twice the source distance.

    Returns
    -------
    dict : "coarse" and "farther", each with "cells", "inflow" [m³/s, all water taken from the
        ground], "floor_level" [m, highest water under the floor as dryness judges it, or None];
        or {"why": …} where a side solve gave no answer, which never stops the run itself.
    """
    found: dict[str, Any] = {}
    for name, fineness in (
        ("coarse", Fineness(2.0, 1.0)),
        ("farther", Fineness(2.0, 2.0)),
    ):
        say(f"side study: {name}")
        try:
            layout = lay_out(site, scheme, number, fineness)
            stages = solve_scheme(layout, folder / name / MODEL_FOLDER, solver, None, True)
            found[name] = _summary(layout, stages, folder / name)
        except (SolverFailed, InputFaults) as failure:
            found[name] = {"why": str(failure).splitlines()[0]}
    shutil.rmtree(folder, ignore_errors=True)
    return found


def _summary(layout: Layout, stages: list[SolvedStage], folder: Path) -> dict[str, Any]:
    from dataclasses import replace

    last = stages[-1]
    ledger = make_ledger(layout, stages)
    folder.mkdir(parents=True, exist_ok=True)
    ledger.write(folder)
    np.savez(folder / "ground.npz", unit=layout.ground.layers.unit)
    reader = RunFolder(folder)
    entry = replace(reader.ledger.stages[-1])
    taken = 0.0
    for package in ("drn_floor", "drn_faces", "drn_wall"):
        taken -= float(reader.package_flows(entry, package)[1].sum())
    assert last.settled is not None
    pumped = sum(state.flow for state in last.settled.states)
    judged = dryness(reader, entry, reader.grid_of(entry), reader.heads(entry))
    return {
        "cells": int(layout.ground.active.sum()),
        "inflow": taken + pumped,
        "floor_level": judged.level,
    }
