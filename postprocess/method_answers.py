"""Whether a sump's pumps take what comes to it."""

from __future__ import annotations

from collections.abc import Sequence

from wellring.inputs.drainage import Sump
from wellring.inputs.site import Scheme
from wellring.inputs.units import shown
from wellring.postprocess.answer import Answer, Part
from wellring.postprocess.run_folder import RunFolder
from wellring.postprocess.stage_results import StageResult


def assess_methods(run: RunFolder, results: Sequence[StageResult]) -> Part:
    """Sump pumps against the inflow."""
    part = Part()
    if run.scheme is not None:
        _sumps(run, run.scheme, results, part)
    return part


def _sumps(run: RunFolder, scheme: Scheme, results: Sequence[StageResult], part: Part) -> None:
    """What runs into the dig against what the sump pumps can take."""
    sumps = [table for table in scheme.drainage if isinstance(table, Sump)]
    capacities = [table.pump_capacity for table in sumps if table.pump_capacity is not None]
    if not sumps or len(capacities) < len(sumps):
        if sumps:
            part.assumptions.append(
                "sump pumps are taken to keep up with whatever runs in: no pump_capacity is given"
            )
        return
    limit, flow = sum(capacities), shown("flow", run.ledger.show)
    for result in results[1:]:
        if result.inflow is None:
            continue
        needed = result.inflow.excavation + _relieved(run, result)
        part.answers[f"{result.entry.folder}.sump"] = Answer(
            needed,
            "m3/s",
            "MODFLOW 6 cell-by-cell flows into the dig and from relief wells, against the sump "
            "pumps' capacity",
            f"{result.entry.name}: to be pumped from the sump",
            "flow",
            limit,
            needed <= limit,
        )
        if needed > limit:
            part.warnings.append(
                f"{result.entry.name}: {flow.text(needed)} come to the sump, its pumps take "
                f"{flow.text(limit)}: the floor floods"
            )


def _relieved(run: RunFolder, result: StageResult) -> float:
    """What relief wells bring up to the floor [m³/s], which the sump must take too."""
    stage = run.ledger.stages.index(result.entry)
    wells = run.ledger.wells
    return sum(max(w.flow[stage], 0.0) for w in wells if w.method == "relief wells")
