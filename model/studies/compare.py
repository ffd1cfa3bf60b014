"""All schemes of a site, solved at the same time and put side by side."""

from __future__ import annotations

import json
from collections.abc import Callable
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Any

from wellring.inputs.faults import SolverFailed
from wellring.inputs.read_site import read_site
from wellring.model.layout import lay_out_schemes
from wellring.model.result_folders import safe_name
from wellring.model.run import run, runs_folder, schemes_of
from wellring.model.run_outage import outage
from wellring.model.solver import find_solver
from wellring.model.studies.workers import cores
from wellring.postprocess.comparison import (
    Comparison,
    SchemeRow,
    add_flood,
    compare_rows,
    scheme_row,
)
from wellring.postprocess.flood_answers import FloodAnswers
from wellring.postprocess.result_set import result_set
from wellring.postprocess.tables import write_frame

COMPARE_FOLDER = "compare"
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
    """What a scheme's process tells: why there is no run, why no outage, the outage."""

    failed: str = ""
    no_flood: str = ""
    flood: FloodAnswers | None = None
    coarse: bool = False


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

    Each scheme gets its normal run folder; beside them stands "compare" with the table, the
    ranking and figures: plans side by side, what each costs. A scheme that the solver does not
    answer is listed last, with the reason.

    Parameters
    ----------
    outages : also stop all pumps in each scheme's last stage and follow the water; an outage that
        the solver does not answer leaves its time open and is told by `say`.

    Raises
    ------
    InputFaults, SolverMissing : see :mod:`wellring.inputs.faults`.
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
    import multiprocessing

    names = [scheme.name for _, scheme in schemes]
    at_once = min(workers or cores(), len(names))
    with ProcessPoolExecutor(at_once, mp_context=multiprocessing.get_context("spawn")) as pool:

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
                if not failed:
                    row = scheme_row(runs / safe_name(name))
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
            from wellring.postprocess.compare_page import write_compare_page
            from wellring.postprocess.figures.cost_bars import draw_costs
            from wellring.postprocess.figures.side_by_side import draw_side_by_side

            tell("drawing the schemes side by side")
            draw_side_by_side([row.folder for row in comparison.rows if row.folder], place)
            draw_costs(comparison.rows, place)
            tell("writing the report")
            write_compare_page(comparison, place)
        for name in DRAWN:  # of a comparison before this one
            if not (place / name).exists():
                (folder / name).unlink(missing_ok=True)
    return Compared(comparison, folder)


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
    """In a process of its own: run one scheme and let its pumps stop."""
    try:
        (done,) = run(
            site_file, name, out, solver=solver, figures=figures, side_studies=side_studies
        )
    except SolverFailed as failure:
        return _Done(str(failure))
    if not outages:
        return _Done()
    try:
        followed = outage(
            done.folder,
            single_wells=False,
            solver=solver,
            figures=figures,
            coarser=COARSER if coarse else 1.0,
        )
    except SolverFailed as failure:
        return _Done(no_flood=str(failure))
    return _Done("", "", followed.answers, coarse)
