"""The solver ladder against MODFLOW 6's own presets on the random sites.

``python tests/convergence/presets.py [SITES] [--seconds S] [--rungs]`` solves the sites with the
ladder on a coarse grid and then solves each deepest stage again, from natural heads, with the
.ims file reduced to COMPLEXITY SIMPLE, MODERATE or COMPLEX: their defaults as they come. With
--rungs each rung of the ladder is tried alone as well. Prints Markdown tables.
"""

from __future__ import annotations

import argparse
import shutil
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from chain import SITE_HEAD, rung_counts, site_row, solve_site

from wellring.inputs.basics.faults import SolverFailed
from wellring.model.mf6.binary_arrays import read_array, write_array
from wellring.model.mf6.budget_errors import budget_error
from wellring.model.mf6.build import MODEL
from wellring.model.mf6.rungs import LADDER, Rung, time_text
from wellring.model.mf6.solve import run_solver, solve_stage
from wellring.model.mf6.solver import find_solver

COARSER = 2.0
PRESETS = {
    "SIMPLE": "",
    "SIMPLE with BICGSTAB": "BEGIN LINEAR\n  LINEAR_ACCELERATION BICGSTAB\nEND LINEAR\n",
    "MODERATE": "",
    "COMPLEX": "",
}
"""Preset and what stands beside it. SIMPLE's own conjugate gradients refuse Newton's matrix."""


@dataclass
class Trial:
    """One way tried on one stage: wall seconds, and why it failed ("" when it converged)."""

    way: str
    seconds: float
    why: str


def preset_trial(preset: str, folder: Path, solver: Path, limit: float) -> Trial:
    """Run a written stage with a preset's defaults alone; it converges if its budget closes."""
    (folder / f"{MODEL}.ims").write_text(
        f"BEGIN OPTIONS\n  COMPLEXITY {preset.split()[0]}\n"
        f"  CSV_OUTER_OUTPUT FILEOUT outer.csv\nEND OPTIONS\n{PRESETS[preset]}"
    )
    (folder / f"{MODEL}.tdis").write_text(time_text(LADDER[0]))
    began = time.perf_counter()
    why = run_solver(folder, solver, preset, None, limit)
    seconds = time.perf_counter() - began
    if not why:
        percent, _ = budget_error(folder / f"{MODEL}.lst")
        if not abs(percent) < 1.0:
            why = f"its water budget does not close ({percent:g} %)"
    return Trial(preset, seconds, why)


def rung_trial(rung: Rung, folder: Path, solver: Path, start: np.ndarray, limit: float) -> Trial:
    """Run a written stage with one rung of the ladder alone."""
    began = time.perf_counter()
    try:
        solve_stage("trial", folder, solver, start, rungs=(rung,), time_limit=limit)
        why = ""
    except SolverFailed as failure:
        why = str(failure)
    return Trial(rung.name, time.perf_counter() - began, why)


def trials(
    stage: Path, natural: Path, shape: tuple[int, ...], solver: Path, limit: float, with_rungs: bool
) -> list[Trial]:
    """All ways on the stage in folder `stage`, each from the natural state's start heads."""
    start = read_array(natural, "start", shape)
    found = []
    with tempfile.TemporaryDirectory() as place:
        ways: list[tuple[str, Callable[[Path], Trial]]] = [
            (name, lambda folder, name=name: preset_trial(name, folder, solver, limit))
            for name in PRESETS
        ]
        if with_rungs:
            ways += [
                (
                    rung.name,
                    lambda folder, rung=rung: rung_trial(rung, folder, solver, start, limit),
                )
                for rung in LADDER
            ]
        for number, (_, run) in enumerate(ways):
            folder = Path(place) / str(number)
            shutil.copytree(stage, folder, ignore=shutil.ignore_patterns("*.hds", "*.bud", "*.lst"))
            write_array(folder, "start", start)
            found.append(run(folder))
            shutil.rmtree(folder)
    return found


def main() -> None:
    """Solve, compare, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("sites", type=int, nargs="?", default=60)
    parser.add_argument("--seconds", type=float, default=60.0, help="wall time for each trial")
    parser.add_argument("--rungs", action="store_true", help="also each rung alone")
    chosen = parser.parse_args()
    solver = find_solver().path
    outcomes, found = [], []
    print(SITE_HEAD)
    for seed in range(chosen.sites):
        with tempfile.TemporaryDirectory() as place:
            outcome = solve_site(seed, Path(place), solver, COARSER)
            print(site_row(outcome), flush=True)
            outcomes.append(outcome)
            if outcome.failure:
                continue
            natural = outcome.folder / "mf6" / outcome.stages[0].folder
            shape = outcome.stages[0].heads.shape
            found.append(
                trials(outcome.last_stage, natural, shape, solver, chosen.seconds, chosen.rungs)
            )
    counts = rung_counts(outcomes)
    print("\n| rung | stages solved |\n| --- | --- |")
    for rung in LADDER:
        print(f"| {rung.name} | {counts.get(rung.name, 0)} |")
    good = sum(outcome.good for outcome in outcomes)
    print(f"\nwhole ladder: {good} of {len(outcomes)} sites\n")
    print(
        "| deepest stage, from rest | converged | of | seconds in all |\n| --- | --- | --- | --- |"
    )
    for column in zip(*found, strict=True):
        converged = sum(not trial.why for trial in column)
        print(
            f"| {column[0].way} | {converged} | {len(column)} "
            f"| {sum(trial.seconds for trial in column):.0f} |"
        )


if __name__ == "__main__":
    main()
