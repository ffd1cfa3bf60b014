"""One variant from its overrides to its answers, in a work folder that is removed again."""

from __future__ import annotations

import shutil
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.faults import InputFaults, SolverFailed
from wellring.model.grid.plan_grid import PlanGrid
from wellring.model.layouts.layout import Layout, lay_out
from wellring.model.mf6.build import StageModel, write_stage
from wellring.model.mf6.stage_copies import write_like
from wellring.model.runs.make_ledger import make_ledger
from wellring.model.runs.stages import SolvedStage, solve_scheme
from wellring.model.runs.transient import SolvedPhase, solve_in_time
from wellring.model.studies.base_case import BaseCase, BaseScheme
from wellring.model.studies.variants import Outcome, Variant
from wellring.postprocess.answers import make_answers
from wellring.postprocess.run.run_folder import DESCRIPTION_FILE, MODEL_FOLDER, RunFolder
from wellring.postprocess.stage_results import StageResult, read_results
from wellring.postprocess.water.observed import computed

Floats = NDArray[np.float64]


def solve_variant(
    base: BaseCase, variant: Variant, work: Path, progress: Callable[[str], None] | None = None
) -> Outcome:
    """Solve one variant and post-process it.

    In time only where the base case is; no side studies, no figures. A variant that the input
    checks refuse or the solver does not answer comes back with `failed` saying why.

    Parameters
    ----------
    work : folder for the solver's files; removed afterwards.
    progress : called now and then while the solver works; raising in it stops the work.
    """
    began = time.perf_counter()
    try:
        site, alike = base.site_of(variant)
        outcome = _answers(base.schemes[variant.scheme], base, site, alike, work, progress)
    except (InputFaults, SolverFailed) as failure:
        outcome = Outcome(failed=_in_short(failure))
    except (ValueError, ArithmeticError, LookupError) as failure:
        # A value no check foresaw: it is the variant that is odd, the study goes on.
        outcome = Outcome(failed=f"{type(failure).__name__}: {failure}")
    finally:
        shutil.rmtree(work, ignore_errors=True)
    outcome.seconds = time.perf_counter() - began
    return outcome


def _in_short(failure: Exception) -> str:
    if isinstance(failure, InputFaults):
        return "; ".join(str(fault) for fault in failure.faults)
    return str(failure).partition(". Its files")[0]


def _answers(
    scheme: BaseScheme,
    base: BaseCase,
    site: Any,
    alike: bool,
    work: Path,
    progress: Callable[[str], None] | None,
) -> Outcome:
    own = scheme.layout.scheme
    if site.description.schemes:
        own = site.description.schemes[scheme.number]
    frame = scheme.layout.frame if alike else None
    layout = lay_out(site, own, scheme.number, frame=frame)
    same = layout.frame is scheme.layout.frame
    write = _writer(scheme) if same and scheme.patterns else write_stage
    starts = scheme.heads if same and base.warm and scheme.heads else None
    stages = solve_scheme(
        layout, work / MODEL_FOLDER, base.solver.path, progress, starts=starts, write=write
    )
    phases = solve_in_time(layout, stages, work / MODEL_FOLDER, base.solver.path, progress)
    run = as_run(layout, stages, base, work, phases)
    results = read_results(run)
    answers = make_answers(run, results)
    fields = _fields(results, layout.plan, scheme.layout.plan)
    if base.controls:
        from wellring.model.studies.sizing.controls import control_fields

        fields |= control_fields(run, stages, results)
    values = computed(run, results, base.observations)
    return Outcome(
        answers=answers.as_json(),
        fields=fields,
        computed=[float(value) if np.isfinite(value) else None for value in values],
        warnings=answers.warnings,
        solver_seconds=sum(stage.solution.seconds for stage in stages)
        + sum(attempt.seconds for phase in phases for attempt in phase.attempts),
    )


def _writer(scheme: BaseScheme) -> Callable[[StageModel, Path], None]:
    def write(stage: StageModel, folder: Path) -> None:
        pattern = scheme.patterns.get(folder.name)
        if pattern is None or not pattern.folder.is_dir():
            write_stage(stage, folder)
        else:
            write_like(pattern, stage, folder)

    return write


def as_run(
    layout: Layout,
    stages: list[SolvedStage],
    base: BaseCase,
    folder: Path,
    phases: Sequence[SolvedPhase] = (),
) -> RunFolder:
    """Solved stages as a run folder that has its ledger and provenance in memory only."""
    run = RunFolder(folder)
    described = layout.site.description.model_dump_json(exclude_none=True)
    (folder / DESCRIPTION_FILE).write_text(described, encoding="utf-8")
    run.__dict__["unit"] = layout.ground.layers.unit
    run.__dict__["ledger"] = make_ledger(layout, stages, phases=phases)
    run.__dict__["description"] = layout.site.description
    run.__dict__["receptors"] = layout.site.neighbours
    run.__dict__["provenance"] = {
        "stages": [
            {
                "name": stage.name,
                "settled": stage.settled.settled if stage.settled else True,
                "mass_balance_percent": stage.solution.discrepancy,
            }
            for stage in stages
        ],
        "assumptions": layout.assumptions,
        "warnings": [*layout.site.warnings, *layout.warnings],
        "side_studies": {},
        "finished": True,
    }
    return run


def _fields(
    results: Sequence[StageResult], plan: PlanGrid, base: PlanGrid
) -> dict[str, NDArray[Any]]:
    """Drawdown and, where assessed, settlement of every stage on the base case's plan cells."""
    found: dict[str, list[Floats]] = {}
    for result in results[1:]:
        if result.fall is not None:
            found.setdefault("drawdown", []).append(result.fall.largest)
        if result.settlement is not None:
            found.setdefault("settlement", []).append(result.settlement.final)
    stages = len(results) - 1
    return {
        name: np.stack([_on_base(item, plan, base) for item in values]).astype(np.float32)
        for name, values in found.items()
        if len(values) == stages
    }


def _on_base(values: Floats, plan: PlanGrid, base: PlanGrid) -> Floats:
    """A plan field (n,) on the base case's cells: bilinear between cell centres, NaN outside."""
    if plan is base or (
        np.array_equal(plan.x_edges, base.x_edges) and np.array_equal(plan.y_edges, base.y_edges)
    ):
        return values
    from scipy.interpolate import RegularGridInterpolator

    x, y = (axis.ravel() for axis in base.centres)
    local_x, local_y = plan.to_local(x, y)
    xs = 0.5 * (plan.x_edges[1:] + plan.x_edges[:-1])
    ys = 0.5 * (plan.y_edges[1:] + plan.y_edges[:-1])
    field = values.reshape(plan.shape)
    if ys[0] > ys[-1]:
        ys, field = ys[::-1], field[::-1]
    read = RegularGridInterpolator((ys, xs), field, bounds_error=False, fill_value=np.nan)
    return np.asarray(read(np.column_stack([local_y, local_x])))
