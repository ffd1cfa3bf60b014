"""Whether a sump's pumps take what comes to it."""

from __future__ import annotations

from collections.abc import Sequence

from wellring.inputs.basics.units import shown
from wellring.postprocess.run.answer import Answer, Part
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stage_results import StageResult
from wellring.postprocess.water.drainage_groups import sump_of
from wellring.postprocess.water.in_time import follow
from wellring.postprocess.water.sump_load import sump_capacity


def assess_methods(run: RunFolder, results: Sequence[StageResult]) -> Part:
    """What runs into the pit against what the sump pumps can take."""
    part = Part()
    limit, flow = sump_capacity(run), shown("flow", run.ledger.show)
    if limit is None:
        if sump_of(run) is not None:
            part.assumptions.append(
                "sump pumps are taken to keep up with whatever runs in: no pump_capacity is given"
            )
        return part
    for result in results[1:]:
        load = result.sump
        if load is None:
            continue
        part.answers[f"{result.entry.folder}.sump"] = Answer(
            load.flow,
            "m3/s",
            "MODFLOW 6 cell-by-cell flows into the pit and from relief wells, against the sump "
            "pumps' capacity",
            f"{result.entry.name}: to be pumped from the sump",
            "flow",
            load.capacity,
            not load.floods,
        )
        if load.floods:
            part.warnings.append(
                f"{result.entry.name}: {flow.text(load.flow)} come to the sump, its pumps take "
                f"{flow.text(load.capacity)}: the floor floods"
            )
    course = follow(run, results)
    if course is not None and (course.excavation > limit).any():
        over = course.excavation > limit
        part.warnings.append(
            f"in time up to {flow.text(float(course.excavation.max()))} run into the pit, over the "
            f"sump pumps' {flow.text(limit)} for {float(course.length[over].sum()):.1f} days in "
            "all (the model digs each stage at once): the floor stands under water then"
        )
    return part
