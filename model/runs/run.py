"""Run a scheme from site file to finished run folder.

The folder is written beside its final name and renamed at the end, so that a killed run leaves
nothing that looks finished.
"""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from wellring.inputs.basics.faults import (
    FaultLog,
    NotAssessed,
    SolverFailed,
    WellringError,
    nearest,
)
from wellring.inputs.geodata.neighbour_file import read_other_neighbours
from wellring.inputs.geodata.receptors import RECEPTORS_FILE
from wellring.inputs.read_site import Site, read_site
from wellring.inputs.site.site import Scheme
from wellring.inputs.site.stiffness_file import read_stiffness
from wellring.model.layouts.layout import Layout, lay_out_schemes
from wellring.model.mf6.solver import Solver, find_solver
from wellring.model.runs.finished_run import held_by
from wellring.model.runs.make_ledger import make_ledger
from wellring.model.runs.own_version import own_version
from wellring.model.runs.phases import phase_assumptions
from wellring.model.runs.readable_run import check_readable
from wellring.model.runs.result_folders import fresh_folder, keep_failed, put_in_place, safe_name
from wellring.model.runs.stages import SolvedStage, solve_scheme
from wellring.model.runs.transient import SolvedPhase, solve_in_time
from wellring.postprocess.answers import Answers
from wellring.postprocess.fields import site_crs
from wellring.postprocess.not_written import NotWritten, reason
from wellring.postprocess.post_process import post_process
from wellring.postprocess.run.answer import counted
from wellring.postprocess.run.result_set import finish_set
from wellring.postprocess.run.run_folder import (
    DESCRIPTION_FILE,
    GROUND_FILE,
    MODEL_FOLDER,
    RUN_FILE,
    RunFolder,
)

if TYPE_CHECKING:
    from wellring.model.runs.review import Review
    from wellring.postprocess.comparison.run_difference import Difference

NO_SCHEME = Scheme(name="open pit, no pumping", drainage=())
"""What is run where a site names no scheme: drains on floor and faces alone."""

Say = Callable[[str], None]


@dataclass
class Run:
    """A finished run: its folder and its answers; review and difference where asked for."""

    folder: Path
    answers: Answers
    review: Review | None = None
    difference: Difference | None = None

    @property
    def answers_name(self) -> str:
        """The scheme's name."""
        return self.reader.ledger.scheme

    @property
    def reader(self) -> RunFolder:
        """Access to heads, flows and the ledger."""
        return RunFolder(self.folder)


def schemes_of(site: Site, name: str | None = None) -> list[tuple[int, Scheme]]:
    """(index, scheme) of the schemes to run: all of them, or the one called `name`.

    Raises
    ------
    InputFaults : no scheme has that name, or two would be written to the same folder.
    """
    schemes = list(enumerate(site.description.schemes)) or [(0, NO_SCHEME)]
    faults = site.fault_log()
    taken: dict[str, str] = {}
    for index, scheme in schemes:
        other = taken.setdefault(safe_name(scheme.name).casefold(), scheme.name)
        if other != scheme.name:
            faults.add(
                site.file.name,
                f"schemes.{index}.name",
                scheme.name,
                f"a name whose folder differs from that of '{other}'",
                "Only letters, digits, spaces and hyphens count, and the first 60 of them.",
            )
    faults.raise_if_any()
    if name is None:
        return schemes
    chosen = [item for item in schemes if item[1].name == name]
    if not chosen:
        known = [scheme.name for _, scheme in schemes]
        faults.add(site.file.name, "--scheme", name, "the name of a scheme", nearest(name, known))
        faults.raise_if_any()
    return chosen


def report(
    run_folder: str | Path,
    *,
    soils: str | Path | None = None,
    neighbours: str | Path | None = None,
    kind: str | None = None,
    verify: bool = False,
    against: str | Path | None = None,
    cells: bool = False,
    solver: str | Path | None = None,
    say: Say | None = None,
    figures: bool = True,
) -> Run:
    """Post-process a finished run again, without solving.

    Parameters
    ----------
    verify : first check hashes and numbers again, with `solver` in a copy of the folder.
    against : another finished run, to tell what differs in inputs and answers.
    cells : also write every cell's soil and head into "layers", as NetCDF, UGRID and VTU.
    soils : a TOML file with other [soils.NAME] compression tables; its hash goes to run.json.
    neighbours : a vector file of one `kind`, or a TOML file of [[neighbours]], to assess instead.

    Raises
    ------
    InputFaults : a folder holds no finished run or a damaged one, or the soils' file is wrong.
    SolverMissing : `solver` is no MODFLOW 6.
    """
    folder = Path(run_folder)
    if folder.is_dir():
        finish_set(folder)
    reader = RunFolder(folder)
    finished = False
    with contextlib.suppress(OSError, ValueError, KeyError, TypeError):
        finished = reader.provenance["finished"] is True and bool(reader.ledger.stages)
    if not finished:
        faults = FaultLog()
        faults.add(
            folder,
            RUN_FILE,
            None,
            "a finished run folder",
            "Name the folder of one scheme that 'wellring run' wrote, in SITE's name + .runs.",
        )
        faults.raise_if_any()
    check_readable(reader)
    if against is not None:
        check_readable(RunFolder(against), answers=True)
    reader.provenance.pop("reassessed", None)
    if soils is not None:
        description, digest = read_stiffness(soils, reader.description)
        source = {"file": Path(soils).name, "sha256": digest}
        reader = reader.reassessed(description, {"soils": source})
    if neighbours is not None:
        reader = _with_neighbours(reader, neighbours, kind)
    review = None
    if verify:
        from wellring.model.runs.review import verify as verify_run

        review = verify_run(reader, solver, say)
    answers = post_process(reader, figures=figures, cells=cells, say=say)
    unlike = None
    if against is not None:
        from wellring.postprocess.comparison.run_difference import difference

        unlike = difference(reader, RunFolder(against))
    if figures and (review or unlike):
        from wellring.postprocess.report.report import write_report
        from wellring.postprocess.report.report_review import review_sections

        failed = NotWritten()
        with failed.item("the report with its review"):
            write_report(reader, answers, extra=review_sections(review, unlike))
        answers.not_written += failed.items
    return Run(folder, answers, review, unlike)


def _with_neighbours(reader: RunFolder, path: str | Path, kind: str | None) -> RunFolder:
    pit = shapely.Polygon(reader.ledger.outline)
    tables = reader.description.neighbours
    found, told, digest = read_other_neighbours(path, kind, tables, site_crs(reader), pit)
    source = {"file": Path(path).name, "sha256": digest, "warnings": told}
    return reader.with_receptors(found, {"neighbours": source})


def runs_folder(site_file: str | Path, out: str | Path | None = None) -> Path:
    """Where the runs of a site file go: `out`, or ``<site>.runs`` beside it."""
    path = Path(site_file)
    return Path(out) if out is not None else path.parent / f"{path.stem}.runs"


def run(
    site_file: str | Path,
    scheme: str | None = None,
    out: str | Path | None = None,
    *,
    solver: str | Path | None = None,
    say: Say | None = None,
    figures: bool = True,
    side_studies: bool = True,
    suffix: str = "",
) -> list[Run]:
    """Build, solve and post-process the schemes of a site file.

    A run replaces an older one of its scheme. Where that is of the same inputs, the new one gets
    figures, side studies and files of cells if the old one has them, asked for or not.

    Parameters
    ----------
    scheme : run only the scheme of this name.
    out : folder for the run folders (default ``<site>.runs`` beside the site file).
    solver : path of MODFLOW 6; otherwise it is looked for.
    say : gets one line of progress at a time.
    figures : also draw figures and write GIS layers.
    side_studies : also solve a coarser grid and a farther source, to say how sure the grid is.
    suffix : what the run folders' names end with, after the scheme's.

    Raises
    ------
    InputFaults, SolverMissing, SolverFailed, NotAssessed : see `faults`.
    """
    tell = say or (lambda text: None)
    site = read_site(site_file)
    chosen = schemes_of(site, scheme)
    found = find_solver(solver, say=tell)
    folder = runs_folder(site_file, out)
    layouts = lay_out_schemes(site, chosen)
    return [
        _run_one(site, layout, number, found, folder, suffix, tell, figures, side_studies)
        for (number, _), layout in zip(chosen, layouts, strict=True)
    ]


def _run_one(
    site: Site,
    layout: Layout,
    number: int,
    solver: Solver,
    runs: Path,
    suffix: str,
    say: Say,
    figures: bool,
    side_studies: bool,
) -> Run:
    name = f"{safe_name(layout.scheme.name)}{suffix}"
    final = runs / name
    held = held_by(final, site, layout.scheme.name)
    if (held.figures and not figures) or (held.side_studies and not side_studies):
        say(f"{layout.scheme.name}: figures and side studies of the run in place are kept up")
    figures, side_studies = figures or held.figures, side_studies or held.side_studies
    partial = fresh_folder(runs, name)
    say(
        f"{layout.scheme.name}: {counted(layout.ground.active.sum(), 'cells')} in "
        f"{counted(layout.ground.layers.present.shape[0], 'layers')}"
    )
    began = time.perf_counter()
    try:
        stages = solve_scheme(layout, partial / MODEL_FOLDER, solver.path, say)
        phases = solve_in_time(layout, stages, partial / MODEL_FOLDER, solver.path, say)
        solved = time.perf_counter()
        sides = _side_studies(site, layout, number, solver, partial, say) if side_studies else {}
        ledger = make_ledger(layout, stages, phases=phases)
        ledger.write(partial)
        write_ground(layout, partial)
        if site.neighbours is not None:
            site.neighbours.write(partial / RECEPTORS_FILE, site.crs)
        (partial / DESCRIPTION_FILE).write_text(
            site.description.model_dump_json(exclude_none=True), encoding="utf-8"
        )
        provenance = provenance_of(site, layout, stages, phases, solver, sides)
        with contextlib.suppress(ValueError):  # another drive
            provenance["inputs"]["folder"] = os.path.relpath(site.file.parent, final)
        provenance["timings"] = {
            "solve": solved - began,
            "side_studies": time.perf_counter() - solved,
        }
        write_json(partial / RUN_FILE, provenance)
        answers = _assessed(partial, final, provenance, figures, held.cells, say)
        provenance["timings"]["total"] = time.perf_counter() - began
        if answers.not_written:
            provenance["not_written"] = answers.not_written
        write_json(partial / RUN_FILE, {**provenance, "finished": True})
    except SolverFailed as failure:
        kept = keep_failed(partial, runs / f"{name}.failed")
        raise SolverFailed(failure.stage, failure.why, kept / MODEL_FOLDER) from None
    except BaseException:
        shutil.rmtree(partial, ignore_errors=True)
        raise
    put_in_place(partial, final)
    return Run(final, answers)


def _assessed(
    partial: Path, final: Path, provenance: dict[str, Any], figures: bool, cells: bool, say: Say
) -> Answers:
    """Post-process a solved run; one whose answers cannot be made is kept for `report`."""
    try:
        return post_process(RunFolder(partial), figures=figures, cells=cells, say=say)
    except (OSError, WellringError):
        raise
    except Exception as error:
        write_json(partial / RUN_FILE, {**provenance, "finished": True})
        kept = keep_failed(partial, final.with_name(f"{final.name}.not assessed"))
        raise NotAssessed(provenance["scheme"], reason(error), kept) from error


def _side_studies(
    site: Site, layout: Layout, number: int, solver: Solver, partial: Path, say: Say
) -> dict[str, Any]:
    """The deepest stage on a grid twice as coarse, and there with the source twice as far."""
    from wellring.model.runs.grid_check import grid_check

    return grid_check(site, layout.scheme, number, solver.path, partial / "side", say)


def write_ground(layout: Layout, folder: Path) -> None:
    """Write the ground's arrays into a run folder."""
    np.savez(folder / GROUND_FILE, unit=layout.ground.layers.unit)


def provenance_of(
    site: Site,
    layout: Layout,
    stages: list[SolvedStage],
    phases: list[SolvedPhase],
    solver: Solver,
    sides: dict[str, Any],
) -> dict[str, Any]:
    """What run.json holds: inputs, solver, how each stage was solved, assumptions."""
    return {
        "site": site.name,
        "scheme": layout.scheme.name,
        "invented": site.description.site.invented,
        "wellring": own_version(),
        "solver": {
            "name": "MODFLOW 6",
            "version": solver.version,
            "origin": solver.origin,
            "sha256": solver.sha256,
        },
        "inputs": {"sha256": site.sha256, "files": dict(site.files)},
        "cells": int(layout.ground.active.sum()),
        "layers": int(layout.ground.layers.present.shape[0]),
        "stages": [
            {
                "name": stage.name,
                "rung": stage.solution.rung,
                "mass_balance_percent": stage.solution.discrepancy,
                "solver_seconds": sum(attempt.seconds for attempt in stage.attempts),
                "rounds": stage.settled.rounds if stage.settled else 0,
                "settled": stage.settled.settled if stage.settled else True,
                "attempts": [asdict(attempt) for attempt in stage.attempts],
            }
            for stage in stages
        ],
        "phases": [
            {
                "name": solved.phase.name,
                "rung": solved.rung,
                "mass_balance_percent": solved.discrepancy,
                "solver_seconds": sum(attempt.seconds for attempt in solved.attempts),
                "attempts": [asdict(attempt) for attempt in solved.attempts],
            }
            for solved in phases
        ],
        "source_distance": {"value": layout.source_distance, "basis": layout.source_basis},
        "assumptions": [*layout.assumptions, *phase_assumptions(site)],
        "warnings": [*site.warnings, *layout.warnings],
        "side_studies": sides,
        "finished": False,
    }


def write_json(path: Path, content: dict[str, Any]) -> None:
    """Write a JSON file in one go: what stands there is whole, the old one or the new one."""
    partial = path.with_name(f"{path.name}.partial")
    partial.write_text(json.dumps(content, ensure_ascii=False, indent=1), encoding="utf-8")
    os.replace(partial, path)
