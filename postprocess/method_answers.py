"""What a scheme's sumps and walls mean beside its numbers: pump room, windows, soil walls."""

from __future__ import annotations

from collections.abc import Sequence

from wellring.inputs.drainage import Sump
from wellring.inputs.site import Scheme
from wellring.inputs.units import shown
from wellring.inputs.walls import Wall
from wellring.postprocess.answer import Answer, Part
from wellring.postprocess.run_folder import RunFolder
from wellring.postprocess.stage_results import StageResult


def assess_methods(run: RunFolder, results: Sequence[StageResult]) -> Part:
    """Sump pumps against the inflow, and what the walls' windows and kinds mean."""
    part = Part()
    scheme = _scheme(run)
    if scheme is not None:
        _sumps(run, scheme, results, part)
    own = scheme.walls if scheme is not None else None
    walls = own if own is not None else run.description.walls
    for index, wall in enumerate(walls):
        _wall(run, wall, wall.name or f"{wall.kind} {index + 1}", part)
    return part


def _scheme(run: RunFolder) -> Scheme | None:
    """The scheme as described; None where a site has none and its open pit was run."""
    named = [s for s in run.description.schemes if s.name == run.ledger.scheme]
    return named[0] if named else None


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
        needed = result.inflow.excavation
        part.answers[f"{result.entry.folder}.sump"] = Answer(
            needed,
            "m3/s",
            "MODFLOW 6 cell-by-cell flows into the dig, against the sump pumps' capacity",
            f"{result.entry.name}: to be pumped from the sump",
            "flow",
            limit,
            needed <= limit,
        )
        if needed > limit:
            part.warnings.append(
                f"{result.entry.name}: {flow.text(needed)} run into the dig, the sump pumps take "
                f"{flow.text(limit)}: the floor floods"
            )


def _wall(run: RunFolder, wall: Wall, name: str, part: Part) -> None:
    length = shown("length", run.ledger.show)
    for window in wall.windows:
        part.warnings.append(
            f"what-if: '{name}' leaks {window.factor:g} times as much from "
            f"{length.text(window.start)} to {length.text(window.end)} along its line; compare "
            "with a run without that window"
        )
    if not wall.holds_water and wall.kind != "none":
        part.warnings.append(
            f"'{name}' ({wall.kind}) holds soil but not water: water that is not drained before "
            "the dig seeps through it and washes soil out unless it is filtered, and the ground "
            "outside is lowered and may settle as beside an open pit (common practice)"
        )
