"""The layout of a study as a run folder that holds no solve: for plans over its grid."""

from __future__ import annotations

from pathlib import Path

from wellring.model.grid.grid_sizes import formations
from wellring.model.layouts.layout import Layout
from wellring.model.runs.make_ledger import make_ledger
from wellring.model.runs.stages import stage_folder_name
from wellring.postprocess.run.ledger import StageEntry
from wellring.postprocess.run.run_folder import RunFolder


def unsolved_run(layout: Layout, folder: Path) -> RunFolder:
    """A run folder with the ledger of a layout, its dug stages without any solve, in memory."""
    stages = layout.site.description.excavation.stages
    entries = [
        StageEntry(
            name=stage.name,
            folder=stage_folder_name(index + 1, stage.name),
            formation=formation,
            day=None,
            lasts=None,
            floor=[],
            drains={},
            rung="",
            discrepancy=0.0,
            seconds=0.0,
        )
        for index, (stage, formation) in enumerate(
            zip(stages, formations(layout.site), strict=True)
        )
    ]
    run = RunFolder(folder)
    run.__dict__["ledger"] = make_ledger(layout, [], entries)
    return run
