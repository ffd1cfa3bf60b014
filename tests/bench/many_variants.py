"""Throughput of a study against the solver alone: prints a table, asserts nothing.

Run ``python tests/bench/many_variants.py [variants] [workers]``. The site is the invented example
at about 50 k cells; k of its sand and gravel varies. The solver alone is timed in the same run, on
the very files of some of the variants, one process a worker at the same time. On a busy machine
wall times say little: the share of all CPU time that the solver's own processes had is printed too.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from wellring.model.studies import solve_variant as module
from wellring.model.studies.engine import open_study
from wellring.model.studies.variants import Variant

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "millrace_yard"
SCHEME = "ring of deep wells"
GRID = "\n[grid]\ncell = 2.0\nsublayer = 1.0\ngrowth = 1.7\nlargest = 60.0\n"


def main(count: int, workers: int) -> None:
    """Solve `count` variants, then the solver alone on copies of what it solved."""
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        shutil.copytree(EXAMPLE, work / "site")
        site = work / "site" / "site.toml"
        site.write_text(site.read_text(encoding="utf-8") + GRID, encoding="utf-8")
        study = open_study(site, work / "study", scheme=SCHEME, workers=workers)
        layout = study.base.schemes[SCHEME].layout
        rng = np.random.default_rng(1)
        variants = [
            Variant({"soils.sand.kh": 1.5e-4 * a, "soils.gravel.kh": 8e-4 * b}, SCHEME)
            for a, b in np.exp(rng.normal(0.0, 0.4, (count, 2)))
        ]
        own, solvers = _cpu()
        progress = study.solve(variants)
        own, solvers = (
            after - before for after, before in zip(_cpu(), (own, solvers), strict=True)
        )
        throughput = count / progress.seconds
        alone = solver_alone(study, variants[: max(2, min(6, count // 4))], workers, work)
        print(f"| cells | {layout.ground.active.sum():,} |")
        print(f"| variants, failed | {count}, {progress.failed} |")
        print(f"| workers | {progress.workers} {progress.kind} |")
        print(f"| variants an hour | {3600 * throughput:.0f} |")
        print(f"| the same of the solver alone | {3600 / alone:.0f} |")
        print(f"| share of the ideal | {throughput * alone:.0%} |")
        print(f"| CPU seconds of solvers a variant | {solvers / count:.2f} |")
        print(f"| CPU seconds of all else a variant | {own / count:.2f} |")
        print(f"| solver's share of all CPU | {solvers / (solvers + own):.0%} |")


def _cpu() -> tuple[float, float]:
    """CPU seconds of this process and of the solvers it has started (workers are threads)."""
    told = os.times()
    return told.user + told.system, told.children_user + told.children_system


def solver_alone(study: object, variants: list[Variant], workers: int, work: Path) -> float:
    """Seconds a variant of the solver alone, `workers` chains of its runs at the same time."""
    kept: list[Path] = []
    remove = module.shutil.rmtree
    module.shutil.rmtree = lambda path, **_: kept.append(Path(path))  # type: ignore[assignment]
    try:
        for index, variant in enumerate(variants):
            module.solve_variant(study.base, variant, work / f"kept{index}")  # type: ignore[attr-defined]
    finally:
        module.shutil.rmtree = remove  # type: ignore[assignment]
    solver = study.base.solver.path  # type: ignore[attr-defined]
    chains = [sorted((path / "mf6").iterdir()) for path in kept]
    began = time.perf_counter()
    for first in range(0, len(chains), workers):
        for stages in zip(*chains[first : first + workers], strict=True):
            running = [
                subprocess.Popen([solver], cwd=stage, stdout=subprocess.DEVNULL) for stage in stages
            ]
            for process in running:
                process.wait()
    return (time.perf_counter() - began) / len(chains)


if __name__ == "__main__":
    numbers = [int(text) for text in sys.argv[1:]]
    main(*(numbers + [16, 2][len(numbers) :]))
