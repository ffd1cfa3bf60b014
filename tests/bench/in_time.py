"""What following the dig in time costs against steady solves: prints a table, asserts nothing.

Run ``python tests/bench/in_time.py [cell size ...]``. The site is the invented start site; the
pumps start two weeks before the dig. Goal: sixty steps for less than twenty-five steady solves.
"""

from __future__ import annotations

import resource
import sys
import tempfile
from pathlib import Path

from wellring.inputs.read_site import read_site
from wellring.model.layouts.layout import lay_out
from wellring.model.mf6.solver import find_solver
from wellring.model.runs.stages import solve_scheme
from wellring.model.runs.transient import solve_in_time
from wellring.model.start_site import start_site


def solver_seconds() -> float:
    """CPU seconds of all children so far: the solver."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def measure(cell: float, folder: Path) -> list[float]:
    """Cells, CPU s of one steady solve of the last stage from rest, of all steps, and their number.

    The steady solve includes finding what limits the wells.
    """
    site_file = start_site(folder)
    text = site_file.read_text(encoding="utf-8")
    site_file.write_text(f"{text}\n[grid]\ncell = {cell}\n\n[time]\npumping_starts = -14\n")
    site = read_site(site_file)
    layout = lay_out(site, site.description.schemes[0], 0)
    solver = find_solver().path
    stages = solve_scheme(layout, folder / "steady", solver)
    begun = solver_seconds()
    solve_scheme(layout, folder / "cold", solver, only_last=True)
    cold = solver_seconds() - begun
    begun = solver_seconds()
    phases = solve_in_time(layout, stages, folder / "mf6", solver)
    spent = solver_seconds() - begun
    steps = 0
    for phase in phases:
        with open(folder / "mf6" / phase.folder / "budget.csv", encoding="ascii") as file:
            steps += sum(1 for _ in file) - 1
    return [float(layout.ground.active.sum()), cold, spent, steps]


def main(cells: list[float]) -> None:
    """Print the table."""
    print("| cells | steady s | steps | all steps s | 60 steps s | 25 steady s |")
    print("| --- " * 6 + "|")
    for cell in cells:
        with tempfile.TemporaryDirectory() as folder:
            count, cold, spent, steps = measure(cell, Path(folder) / "site")
        print(
            f"| {count:,.0f} | {cold:.1f} | {steps:.0f} | {spent:.1f} "
            f"| {60 * spent / steps:.1f} | {25 * cold:.1f} |"
        )


if __name__ == "__main__":
    main([float(text) for text in sys.argv[1:]] or [2.0, 1.0, 0.5])
