"""`wellring outage`: from a stage of a scheme the pumps stop; when is the floor under water?

The steady stage is taken from a finished run of the same inputs where there is one, else solved.
The outage's folder stands beside the runs and is put in place when it is done.
"""

from __future__ import annotations

import math
import shutil
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, get_args

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.faults import FaultLog, SolverFailed, nearest
from wellring.inputs.read_site import Site, read_site
from wellring.model.drainage.points import Governing, PointDrive, PointState
from wellring.model.grid.grid_sizes import Fineness
from wellring.model.layouts.layout import Layout, lay_out
from wellring.model.mf6.solver import Solver, find_solver
from wellring.model.outage.one_out import (
    MOST_UNITS,
    Kind,
    heads_of,
    one_out,
    steady_without,
    tables,
    units,
)
from wellring.model.outage.outage import Outage, follow_outage, stopping
from wellring.model.outage.outage_judge import End, Judge, all_stop
from wellring.model.outage.outage_result import OutageRun, may_not_fail
from wellring.model.runs.make_ledger import make_ledger
from wellring.model.runs.result_folders import fresh_folder, keep_failed, put_in_place, safe_name
from wellring.model.runs.review import site_folder
from wellring.model.runs.run import provenance_of, runs_folder, schemes_of, write_ground, write_json
from wellring.model.runs.stages import dug_model, solve_scheme
from wellring.postprocess.not_written import NotWritten
from wellring.postprocess.operation.flood_answers import flood_answers
from wellring.postprocess.operation.flooding import (
    COLUMNS,
    flooding_rows,
    outage_heads,
    read_flooding,
)
from wellring.postprocess.operation.standby import standby_need
from wellring.postprocess.report.report_page import REPORT_FILE
from wellring.postprocess.run.run_folder import (
    DESCRIPTION_FILE,
    MODEL_FOLDER,
    RUN_FILE,
    RunFolder,
)
from wellring.postprocess.run.tables import write_table
from wellring.postprocess.stability.bursting import plug_bursts
from wellring.postprocess.stability.stability import stabilities
from wellring.postprocess.stage_results import read_results

Floats = NDArray[np.float64]
Say = Callable[[str], None]

COARSE = (
    "Followed on a grid coarser than the run's: good for comparing schemes, not for what must "
    "stand by. An outage on the run's own grid tells that."
)
DAYS = 7.0
DEPTHS = (0.1, 0.5, 1.0)
"""Depths of water over the floor [m] whose time is told where none are asked for."""


def outage(
    path: str | Path,
    *,
    scheme: str | None = None,
    stage: str | None = None,
    pumps: Sequence[str] = (),
    days: float = DAYS,
    depths: Sequence[float] = DEPTHS,
    standby: float | None = None,
    single_wells: bool | None = None,
    out: str | Path | None = None,
    solver: str | Path | None = None,
    figures: bool = True,
    say: Say | None = None,
    coarser: float = 1.0,
    suffix: str = "",
) -> OutageRun:
    """Stop pumps in a stage and follow the water; then take one well out at a time.

    The outage's folder is named by scheme, stage, pumps that stop and grid, so that it replaces
    only an earlier answer to the same question, and keeps its figures if that had some.

    Parameters
    ----------
    path : a site file, or the folder of a finished run.
    scheme, stage : names; the only scheme, the last stage where left out.
    pumps : names of wells, or of groups; all pumps where there are none.
    days : how long it is followed.
    depths : of water over the floor [m].
    standby : hours in which standby power starts.
    single_wells : solve the stage with one unit out at a time; for None where there are few.
    coarser : factor on all sizes of the grid; the steady stages are then solved on that grid too.
    suffix : what the folder's name ends with.

    Raises
    ------
    InputFaults, SolverFailed, SolverMissing
    """
    tell = say or (lambda text: None)
    _check_numbers(days, depths, standby)
    site, given = _site_of(Path(path))
    name = given.ledger.scheme if given is not None and scheme is None else scheme
    number, chosen = _one_scheme(site, name)
    found = find_solver(solver, say=tell)
    layout = lay_out(site, chosen, number, Fineness(coarser))
    index = _stage_index(site, stage)
    if given is not None and out is None:
        runs = given.path.absolute().parent
    else:
        runs = runs_folder(site.file, out)
    entry_name = f"{index + 1:02d} {site.description.excavation.stages[index].name}"
    which = f" {safe_name(', '.join(sorted(pumps)))}" if pumps else ""
    grid = "" if coarser == 1.0 else " on a coarse grid"
    question = f"{safe_name(entry_name)}{which}{grid}{suffix}"
    final = runs / f"{safe_name(chosen.name)}.outage {question}"
    figures = figures or (final / REPORT_FILE).is_file()
    partial = fresh_folder(runs, final.name)
    try:
        base = given or RunFolder(runs_folder(site.file, out) / safe_name(chosen.name))
        if not _same_case(base, layout):
            base = _solve_base(layout, partial, found, tell)
        else:
            tell(f"the steady stage is that of {base.path}")
        done = _outage_of(
            layout, index, base, partial, found, tell, pumps, days, depths, standby,
            single_wells, figures, [COARSE] if coarser > 1.0 else [],
        )  # fmt: skip
    except SolverFailed as failure:
        kept = keep_failed(partial, final.with_name(f"{final.name}.failed"))
        raise SolverFailed(failure.stage, failure.why, kept) from None
    except BaseException:
        shutil.rmtree(partial, ignore_errors=True)
        raise
    put_in_place(partial, final)
    return replace(done, folder=final)


def _outage_of(
    layout: Layout,
    index: int,
    base: RunFolder,
    partial: Path,
    solver: Solver,
    tell: Say,
    pumps: Sequence[str],
    days: float,
    depths: Sequence[float],
    standby: float | None,
    single_wells: bool | None,
    figures: bool,
    cautions: Sequence[str],
) -> OutageRun:
    entry = base.ledger.stages[index + 1]
    results = read_results(base)
    heads = results[index + 1].heads
    stable = stabilities(base, results)[index + 1]
    assert stable is not None
    judge = Judge(base, results[index + 1], stable)
    before = np.where(np.isfinite(heads), heads, 1e30)
    dug = dug_model(layout, index, entry.name, entry.formation, before)
    working = [
        works and point.node.size > 0 for works, point in zip(dug.working, dug.points, strict=True)
    ]
    stops = stopping(dug.points, working, pumps, layout.site.file.name)
    drives, states = _as_driven(base, layout, index + 1)
    place = partial / MODEL_FOLDER / "outage"
    took = sum(s.flow for s, stop in zip(states, stops, strict=True) if stop and s.flow > 0)
    goes_on = [w and not stop for w, stop in zip(working, stops, strict=True)]
    passive = [i for i, on in enumerate(goes_on) if on and dug.points[i].follows_floor]
    alone = len(passive) == sum(goes_on)
    end = all_stop(base, results, entry, stable)
    if any(goes_on):
        # What goes on gives more as the water rises: its limits are those of the stage without
        # the pumps that stop.
        halted = {i for i, stop in enumerate(stops) if stop}
        left, then = steady_without(
            dug, "the others at work", halted, place.with_name("others"), solver.path, tell
        )
        for at, i in enumerate(left):
            drives[i], states[i] = then.settled.drives[at], then.settled.states[at]
        if not (alone and stable.slab):
            check = judge.check(heads_of(then, judge.result.grid))
            end = End(check, check.holds if then.settled.settled else None, check.text(base))
    followed = follow_outage(
        layout, index, before, drives, states, stops, days, place, solver.path, tell
    )
    flooding = read_flooding(base, entry, place)
    # Under a slab relief wells have no outlet once no pump works: the open pit of the model has.
    shut_in = bool(stable.slab and alone and passive)
    bursts = plug_bursts(
        base,
        judge.result,
        stable,
        end.check,
        () if shut_in else outage_heads(place, judge.result.grid),
        [w for i, w in enumerate(base.ledger.wells) if stops[i] or (shut_in and i in passive)],
        trusted=not passive,
    )
    answers = flood_answers(
        base, entry, flooding, followed.stopped, followed.running, days, tuple(depths), standby,
        took,
        followed.discrepancy, [*_cautions(layout, index, followed), *cautions],
        bursts, end.holds, end.text,
    )  # fmt: skip
    singles = None
    single = units(dug.points, working)
    if single and (single_wells or (single_wells is None and len(single) <= MOST_UNITS)):
        out: list[tuple[Kind, str, Sequence[int]]] = [("unit", *item) for item in single.items()]
        out += [("table", *item) for item in tables(base, dug.points, working).items()]
        place = partial / MODEL_FOLDER
        singles = one_out(layout, index, judge, before, place, solver.path, out, tell)
    pumped = None if singles is None else [item for item in singles if not item.passive]
    need = standby_need(base, index + 1, answers, may_not_fail(pumped))
    done = OutageRun(partial, answers, singles, need)
    write_json(partial / "outage.json", done.as_json())
    write_table(partial / "outage.csv", COLUMNS, flooding_rows(flooding))
    if figures:
        from wellring.model.outage.outage_page import outage_page
        from wellring.postprocess.figures.flooding_course import write_flooding_course

        failed = NotWritten()
        with failed.item("figure of the flooding"):
            write_flooding_course(base, entry, flooding, answers, partial)
        tell("writing the report")
        with failed.item(REPORT_FILE):
            page = outage_page(base, entry, flooding, answers, singles, need)
            page.write(partial / REPORT_FILE)
        done.not_written = failed.items
    (partial / "outage.txt").write_text(done.text(), encoding="utf-8")
    return done


def _check_numbers(days: float, depths: Sequence[float], standby: float | None) -> None:
    faults = FaultLog()
    if not (math.isfinite(days) and 0.01 <= days <= 3650.0):
        faults.add("command line", "--for", days, "a number of days from 0.01 to 3650")
    for depth in depths:
        if not (math.isfinite(depth) and depth > 0.0):
            faults.add("command line", "--depth", depth, "a depth above 0 m")
    if standby is not None and not (math.isfinite(standby) and standby >= 0.0):
        faults.add("command line", "--standby", standby, "a number of hours, 0 or more")
    faults.raise_if_any()


def _site_of(path: Path) -> tuple[Site, RunFolder | None]:
    """The site of a site file, or of a finished run whose inputs have not changed since."""
    if not path.is_dir():
        return read_site(path), None
    run, faults = RunFolder(path), FaultLog()
    try:
        finished = run.provenance["finished"] is True
        folder = site_folder(run) if finished else None
        files = run.provenance["inputs"]["files"] if finished else {}
    except (OSError, ValueError, KeyError, TypeError):
        finished, folder, files = False, None, {}
    if not finished:
        faults.add(path, RUN_FILE, None, "a finished run folder, or a site file")
        faults.raise_if_any()
    run.ledger  # noqa: B018  (raises where it cannot be read, or a newer wellring wrote it)
    tomls = [name for name in files if name.endswith(".toml")]
    sites = [] if folder is None else [read_site(folder / name) for name in tomls[:1]]
    if not sites or sites[0].sha256 != run.provenance["inputs"]["sha256"]:
        faults.add(
            path,
            RUN_FILE,
            None,
            "a run whose site file and logs are still there, and unchanged since",
            "Run the site again, or name the site file instead.",
        )
        faults.raise_if_any()
    return sites[0], run


def _one_scheme(site: Site, name: str | None) -> tuple[int, Any]:
    chosen = schemes_of(site, name)
    if len(chosen) > 1:
        faults = site.fault_log()
        known = ", ".join(f"'{scheme.name}'" for _, scheme in chosen)
        faults.add(site.file.name, "--scheme", None, "the name of one scheme", f"Known: {known}.")
        faults.raise_if_any()
    return chosen[0]


def _stage_index(site: Site, name: str | None) -> int:
    names = [stage.name for stage in site.description.excavation.stages]
    if name is None:
        return len(names) - 1
    if name not in names:
        faults = site.fault_log()
        faults.add(site.file.name, "--stage", name, "the name of a stage", nearest(name, names))
        faults.raise_if_any()
    return names.index(name)


def _same_case(run: RunFolder, layout: Layout) -> bool:
    """Whether a run is finished, of the same inputs, and on the same grid."""
    try:
        if run.provenance["finished"] is not True:
            return False
        if run.provenance["inputs"]["sha256"] != layout.site.sha256:
            return False
        grid, names = run.ledger.grid, [well.name for well in run.ledger.wells]
    except (OSError, ValueError, KeyError, TypeError):
        return False
    same_grid = (grid.nlay, grid.nrow * grid.ncol) == layout.ground.active.shape
    return same_grid and names == [point.name for point in layout.points]


def _solve_base(layout: Layout, folder: Path, solver: Solver, tell: Say) -> RunFolder:
    """Solve all steady stages into `folder`, and write down what they are."""
    stages = solve_scheme(layout, folder / MODEL_FOLDER, solver.path, tell)
    make_ledger(layout, stages).write(folder)
    write_ground(layout, folder)
    (folder / DESCRIPTION_FILE).write_text(
        layout.site.description.model_dump_json(exclude_none=True), encoding="utf-8"
    )
    write_json(folder / RUN_FILE, provenance_of(layout.site, layout, stages, [], solver, {}))
    return RunFolder(folder)


def _as_driven(
    run: RunFolder, layout: Layout, stage: int
) -> tuple[list[PointDrive], list[PointState]]:
    """How each point is driven in a steady stage, and what it takes, from the run's ledger."""
    drives, states = [], []
    known: tuple[str, ...] = get_args(Governing)
    for well, point in zip(run.ledger.wells, layout.points, strict=True):
        governing = well.governing[stage]
        assert governing in known
        flow = point.sign * well.flow[stage]
        level = well.level[stage]
        drives.append(PointDrive(None, None, governing))  # type: ignore[arg-type]
        states.append(PointState(float("nan") if level is None else level, flow))
    return drives, states


def _cautions(layout: Layout, index: int, followed: Outage) -> list[str]:
    found = []
    slabs = [s.name for s in layout.site.description.excavation.stages[: index + 1] if s.slab]
    if slabs:
        found.append(
            f"The slab cast in '{slabs[-1]}' is left out of the model in time, in which the floor "
            "is open ground; its weight counts in the judgement of plugs, and its own flotation in "
            "that of the end."
        )
    if followed.running:
        found.append("Water that runs over floor and faces is no longer pumped, by any pump.")
    if followed.relief:
        found.append(
            f"{len(followed.relief)} passive wells go on flowing, now into "
            "the pit, without the limit of their screens; whether the floor holds is judged with "
            "that limit."
        )
    if layout.site.series:
        found.append("Rivers, levels and rain stay at their usual values, as in the steady stage.")
    return found
