"""All schemes of a site, solved at the same time and put side by side."""

from __future__ import annotations

import json
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass
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
from wellring.postprocess.tables import write_frame

COMPARE_FOLDER = "compare"
FULL_GRID, COARSER = 60_000, 2.0
"""Cells up to which an outage is followed on the run's own grid, and how much coarser beyond. On
the example (254,000 cells) it takes 30 s instead of 6 to 8 min, and 22.2 h instead of 22.3, or 9.4
instead of 8.3."""


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
    lay_out_schemes(site, schemes)  # faults of all schemes before the first is solved
    runs = runs_folder(site_file, out)
    rows: list[SchemeRow] = []
    import multiprocessing

    names = [scheme.name for _, scheme in schemes]
    with ProcessPoolExecutor(
        min(workers or cores(), len(names)), mp_context=multiprocessing.get_context("spawn")
    ) as pool:
        jobs = {
            pool.submit(
                _run_scheme,
                str(site_file),
                name if site.description.schemes else None,
                str(runs),
                str(found.path),
                figures,
                side_studies,
                outages,
            ): name
            for name in names
        }
        try:
            for job in as_completed(jobs):
                name, done = jobs[job], job.result()
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
    write_frame(folder / "compare.csv", comparison.frame())
    text = json.dumps(comparison.as_json(), ensure_ascii=False, indent=1, allow_nan=False)
    (folder / "compare.json").write_text(text, encoding="utf-8")
    (folder / "compare.txt").write_text(comparison.text(), encoding="utf-8")
    if figures:
        from wellring.postprocess.figures.cost_bars import draw_costs
        from wellring.postprocess.figures.side_by_side import draw_side_by_side

        tell("drawing the schemes side by side")
        draw_side_by_side([row.folder for row in comparison.rows if row.folder], folder)
        draw_costs(comparison.rows, folder)
        tell("writing the report")
        from wellring.postprocess.compare_page import write_compare_page

        write_compare_page(comparison, folder)
    return Compared(comparison, folder)


def _run_scheme(
    site_file: str,
    name: str | None,
    out: str,
    solver: str,
    figures: bool,
    side_studies: bool,
    outages: bool,
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
        coarse = done.reader.area.size * done.reader.ledger.grid.nlay > FULL_GRID
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
