"""Draw what `wellring check` would model: plan, sections and logs, before anything is run."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from wellring.model.grid.grid_sizes import formations
from wellring.model.layouts.layout import Layout
from wellring.model.runs.make_ledger import make_ledger
from wellring.postprocess.figures import draw_ground
from wellring.postprocess.not_written import NotWritten
from wellring.postprocess.run.heads import water_table
from wellring.postprocess.run.ledger import Ledger, StageEntry
from wellring.postprocess.run.run_folder import RunFolder, StageGrid
from wellring.postprocess.stage_results import StageResult


class _LaidOut(RunFolder):
    """A layout read as if it were a run folder: ledger and ground, but no solve."""

    def __init__(self, layout: Layout, ledger: Ledger, folder: Path):
        super().__init__(folder)
        # Cached properties give way to values put in their place.
        self.__dict__["ledger"] = ledger
        self.__dict__["unit"] = layout.ground.layers.unit
        self.__dict__["provenance"] = {}
        self.__dict__["description"] = layout.site.description
        self.__dict__["receptors"] = layout.site.neighbours


def draw_layout(layout: Layout, folder: Path, failed: NotWritten | None = None) -> list[Path]:
    """Draw plan, sections and logs of a layout into `folder`; returns the PNGs.

    `failed` collects what cannot be drawn; without it the first error passes.

    Raises
    ------
    OSError : the folder cannot be written.
    """
    natural = StageEntry("before the work", "natural", None, None, None, [], {}, "", 0.0, 0.0)
    given = layout.site.description.excavation.stages
    stages = [natural] + [
        StageEntry(stage.name, "", level, stage.day, stage.lasts, [], {}, "", 0.0, 0.0)
        for stage, level in zip(given, formations(layout.site), strict=True)
    ]
    ledger = make_ledger(layout, [], stages)
    grid = StageGrid(layout.ground.layers.edges, layout.ground.active)
    heads = np.where(layout.ground.active, layout.natural_heads, np.nan)
    result = StageResult(natural, grid, heads, water_table(grid, heads))
    run = _LaidOut(layout, ledger, folder)
    return draw_ground(run, [result], folder, failed)
