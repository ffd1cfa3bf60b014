"""All schemes of a site, solved at the same time and put side by side."""

from __future__ import annotations

import json
from collections.abc import Callable
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from typing import Any

from wellring.inputs.basics.faults import NotAssessed, SolverFailed
from wellring.inputs.read_site import read_site
from wellring.model.layouts.layout import lay_out_schemes
from wellring.model.mf6.child_process import end_with_parent
from wellring.model.mf6.solver import find_solver
from wellring.model.outage.run_outage import outage
from wellring.model.runs.finished_run import usable_run
from wellring.model.runs.result_folders import safe_name
from wellring.model.runs.run import report, run, runs_folder, schemes_of
from wellring.model.studies.workers import cores
from wellring.postprocess.comparison.comparison import (
    Comparison,
    SchemeRow,
    add_flood,
    compare_rows,
    scheme_row,
)
from wellring.postprocess.not_written import NotWritten
from wellring.postprocess.operation.flood_answers import FloodAnswers
from wellring.postprocess.report.report_page import REPORT_FILE
from wellring.postprocess.run.result_set import result_set
from wellring.postprocess.run.tables import write_frame

COMPARE_FOLDER = "compare"
BESIDE = ".compare"
"""End of the folder of a scheme's run where another finished run stands in that of `run`."""
DRAWN = ("compare.png", "compare.svg", "costs.png", "costs.svg", "report.html")
"""What is not there after every comparison."""
FULL_GRID, COARSER = 60_000, 2.0
"""Cells of the largest scheme up to which outages are followed on the runs' own grids, and how much
coarser beyond. On the example (254,000 cells) it takes 30 s instead of 6 to 8 min, and 22.2 h
instead of 22.3, or 9.4 instead of 8.3."""


@dataclass
class Compared:
    """The comparison and the folder that its tables, figure and report are in."""

    comparison: Comparison
    folder: Path
    not_written: list[str] = field(default_factory=list)
    """Figures, layers and pages that could not be written, one sentence each."""

    def text(self) -> str:
        """The ranking for a terminal."""
        return self.comparison.text()

    def as_json(self) -> Any:
        """The ranking as data."""
        return self.comparison.as_json()

    @property
    def exit_code(self) -> int:
        """0 where a scheme keeps all limits, 1 where none does, 3 where none was solved."""
        if all(row.failed for row in self.comparison.rows):
            return 3
        return 0 if self.comparison.best else 1


@dataclass(frozen=True)
class _Done:
    """A scheme's run: its folder, or why there is none; its outage, or why there is none."""

    folder: Path | None = None
    failed: str = ""
    no_flood: str = ""
    flood: FloodAnswers | None = None
    coarse: bool = False
    not_written: tuple[str, ...] = ()


def compare(
    site_file: str | Path,
    out: str | Path | None = None,
    *,
    workers: int | None = None,
    solver: str | Path | None = None,
    say: Callable[[str], None] | None = None,
    figures: bool = True,
    side_studies: bool = False,
    outages: bool = True,
) -> Compared:
    """Run all schemes of a site at the same time and compare them.

    A finished run of the same inputs, wellring and MODFLOW 6 is used as it is; it only gets a
    report where it has none and `figures` are asked for. Any other finished run stays untouched,
    and the scheme's new run is written beside it. "compare" holds the table, the ranking and
    figures: plans side by side, what each costs. A scheme that the solver does not answer is
    listed last, with the reason.

    Parameters
    ----------
    outages : also stop all pumps in each scheme's last stage and follow the water; an outage that
        the solver does not answer leaves its time open and is told by `say`.

    Raises
    ------
    InputFaults, SolverMissing : see :mod:`wellring.inputs.basics.faults`.
    """
    tell = say or (lambda text: None)
    site = read_site(site_file)
    schemes = schemes_of(site)
    found = find_solver(solver, say=tell)
    layouts = lay_out_schemes(site, schemes)  # faults of all before the first is solved
    # Times to flood of two grids differ by some percent: all are followed alike.
    coarse = any(layout.ground.layers.unit.size > FULL_GRID for layout in layouts)
    del layouts
    runs = runs_folder(site_file, out)
    rows: list[SchemeRow] = []
    not_written: list[str] = []
    import multiprocessing

    names = [scheme.name for _, scheme in schemes]
    at_once = min(workers or cores(), len(names))
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(at_once, context, initializer=end_with_parent) as pool:

        def begin(name: str) -> Future[_Done]:
            return pool.submit(
                _run_scheme,
                str(site_file),
                name if site.description.schemes else None,
                str(runs),
                str(found.path),
                figures,
                side_studies,
                outages,
                coarse,
            )

        # One a worker: what waits in the pool's own queue is solved even after Ctrl-C.
        jobs = {begin(name): name for name in names[:at_once]}
        waiting = iter(names[at_once:])
        try:
            while jobs:
                job = next(iter(wait(jobs, return_when=FIRST_COMPLETED).done))
                name, done = jobs.pop(job), job.result()
                for following in islice(waiting, 1):
                    jobs[begin(following)] = following
                failed = done.failed
                row = SchemeRow(name, None, failed)
                if done.folder is not None:
                    row = scheme_row(done.folder)
                not_written += [f"{name}: {item}" for item in done.not_written]
                if done.flood is not None:
                    add_flood(row, done.flood, done.coarse)
                if done.no_flood:
                    tell(f"{name}: time to flood not known: {done.no_flood}")
                rows.append(row)
                tell(f"{name}: {'not solved' if failed else 'done'}, {len(rows)} of {len(names)}")
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise
    comparison = compare_rows(site.name, rows, site.description.site.show)
    folder = runs / COMPARE_FOLDER
    folder.mkdir(parents=True, exist_ok=True)
    with result_set(folder) as place:
        write_frame(place / "compare.csv", comparison.frame())
        text = json.dumps(comparison.as_json(), ensure_ascii=False, indent=1, allow_nan=False)
        (place / "compare.json").write_text(text, encoding="utf-8")
        (place / "compare.txt").write_text(comparison.text(), encoding="utf-8")
        if figures:
            not_written += _draw(comparison, place, tell)
        for name in DRAWN:  # of a comparison before this one
            if not (place / name).exists():
                (folder / name).unlink(missing_ok=True)
    return Compared(comparison, folder, not_written)


def _draw(comparison: Comparison, place: Path, tell: Callable[[str], None]) -> list[str]:
    """Figures and page of a comparison; gives back what could not be written."""
    from wellring.postprocess.figures.cost_bars import draw_costs
    from wellring.postprocess.figures.side_by_side import draw_side_by_side
    from wellring.postprocess.report.compare_page import write_compare_page

    failed = NotWritten()
    tell("drawing the schemes side by side")
    with failed.item("figure compare"):
        draw_side_by_side([row.folder for row in comparison.rows if row.folder], place)
    with failed.item("figure costs"):
        draw_costs(comparison.rows, place)
    tell("writing the report")
    with failed.item(REPORT_FILE):
        write_compare_page(comparison, place)
    return failed.items


def _run_scheme(
    site_file: str,
    name: str | None,
    out: str,
    solver: str,
    figures: bool,
    side_studies: bool,
    outages: bool,
    coarse: bool,
) -> _Done:
    """In a process of its own: run one scheme, or take its finished run, and let its pumps stop."""
    try:
        folder, not_written = _scheme_folder(site_file, name, out, solver, figures, side_studies)
    except (SolverFailed, NotAssessed) as failure:
        return _Done(failed=str(failure))
    if not outages:
        return _Done(folder, not_written=not_written)
    try:
        followed = outage(
            folder,
            single_wells=False,
            solver=solver,
            figures=figures,
            coarser=COARSER if coarse else 1.0,
            suffix=BESIDE,
        )
    except SolverFailed as failure:
        return _Done(folder, no_flood=str(failure), not_written=not_written)
    items = (*not_written, *(f"outage: {item}" for item in followed.not_written))
    return _Done(folder, "", "", followed.answers, coarse, items)


def _scheme_folder(
    site_file: str, name: str | None, out: str, solver: str, figures: bool, side_studies: bool
) -> tuple[Path, tuple[str, ...]]:
    """The folder of a scheme's finished run, solved where there is none to be used again."""
    site, found = read_site(site_file), find_solver(solver)
    ((_, scheme),) = schemes_of(site, name)
    plain = runs_folder(site_file, out) / safe_name(scheme.name)
    beside = plain.with_name(f"{plain.name}{BESIDE}")
    there = usable_run((plain, beside), site, scheme.name, found, side_studies)
    if there is not None and (not figures or (there.path / REPORT_FILE).is_file()):
        return there.path, ()
    if there is not None:
        done = report(there.path)
    else:
        suffix = BESIDE if plain.exists() else ""
        (done,) = run(
            site_file, name, out, solver=solver, figures=figures, side_studies=side_studies,
            suffix=suffix,
        )  # fmt: skip
    return done.folder, tuple(done.answers.not_written)
