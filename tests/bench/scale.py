"""Where the time goes from 10 k to 3 M cells: prints a table and slopes, asserts nothing.

Run ``python tests/bench/scale.py [10000 ... 3000000]``. The site is the invented
start site with finer and finer grids, each in a process of its own, every phase measured as CPU
seconds of that process or, for the solver, of its children; peak memory likewise. The slope is
that of a line through the logarithms of seconds and cells: 1 where cost grows as the cells do.
"""

from __future__ import annotations

import json
import math
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np

import wellring.model.start_site as start_module

SIZES = {
    10_000: (12.0, 8.0, 1.8),
    20_000: (8.0, 8.0, 2.0),
    50_000: (2.0, 1.6, 1.4),
    250_000: (0.5, 0.28, 1.125),
    1_000_000: (0.27, 0.12, 1.06),
    3_000_000: (0.14, 0.09, 1.04),
}
"""Cells wanted: (plan cell [m], sublayer [m], growth) that give about as many."""


@contextmanager
def cpu(times: dict[str, float], name: str, who: int = resource.RUSAGE_SELF) -> Iterator[None]:
    """Add the CPU seconds spent inside to `times[name]`."""
    before = resource.getrusage(who)
    yield
    after = resource.getrusage(who)
    spent = after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime
    times[name] = times.get(name, 0.0) + spent


def sized_site(folder: Path, cell: float, sublayer: float, growth: float) -> Path:
    """The start site with a grid of its own."""
    site = start_module.start_site(folder)
    text = site.read_text(encoding="utf-8")
    site.write_text(f"{text}\n[grid]\ncell = {cell}\nsublayer = {sublayer}\ngrowth = {growth}\n")
    return site


def measure(size: tuple[float, float, float], work: Path) -> dict[str, float]:
    """CPU seconds of every phase of one run, its cells and peak memory [MB]."""
    from wellring.inputs.read_site import read_site
    from wellring.model.layouts.layout import lay_out
    from wellring.model.mf6.solver import find_solver
    from wellring.model.runs import stages as stage_module
    from wellring.model.runs.make_ledger import make_ledger
    from wellring.model.runs.run import provenance_of, write_ground, write_json
    from wellring.postprocess.answers import make_answers
    from wellring.postprocess.figures import draw_figures
    from wellring.postprocess.gis.gis_layers import write_layers
    from wellring.postprocess.run.run_folder import DESCRIPTION_FILE, RUN_FILE, RunFolder
    from wellring.postprocess.run.tables import write_tables
    from wellring.postprocess.stage_results import read_results

    times: dict[str, float] = {}
    solver = find_solver()
    write = stage_module.write_stage

    def timed_write(*args: object) -> None:
        with cpu(times, "write"):
            write(*args)  # type: ignore[arg-type]

    stage_module.write_stage = timed_write  # type: ignore[assignment]
    try:
        with cpu(times, "build"):
            site = read_site(sized_site(work / "site", *size))
            layout = lay_out(site, site.description.schemes[0], 0)
        folder = work / "run"
        wall = time.perf_counter()
        with cpu(times, "solve", resource.RUSAGE_CHILDREN), cpu(times, "drive"):
            solved = stage_module.solve_scheme(layout, folder / "mf6", solver.path)
        times["wall of stages"] = time.perf_counter() - wall
        times["drive"] -= times["write"]
        with cpu(times, "ledger"):
            make_ledger(layout, solved).write(folder)
            write_ground(layout, folder)
            write_json(folder / RUN_FILE, provenance_of(site, layout, solved, [], solver, {}))
            (folder / DESCRIPTION_FILE).write_text(
                site.description.model_dump_json(exclude_none=True), encoding="utf-8"
            )
        run = RunFolder(folder)
        with cpu(times, "read"):
            results = read_results(run)
        with cpu(times, "post-process"):
            make_answers(run, results).write(folder)
            write_tables(run, results)
        with cpu(times, "GIS layers"):
            write_layers(run, results, folder / "layers")
        with cpu(times, "figures"):
            draw_figures(run, results, folder / "figures")
    finally:
        stage_module.write_stage = write
    kilobytes = {
        "own memory MB": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss,
        "solver memory MB": resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss,
    }
    times |= {name: value / 1024 for name, value in kilobytes.items()}
    times["cells"] = float(layout.ground.active.sum())
    times["stages"] = len(solved)
    return times


def in_its_own_process(wanted: int) -> dict[str, float]:
    """:func:`measure` of one size, so that its peak memory is its own."""
    with tempfile.TemporaryDirectory() as folder:
        command = [sys.executable, __file__, "--one", str(wanted), folder]
        told = subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True).stdout
    print(told.strip(), file=sys.stderr, flush=True)
    return dict(json.loads(told))


OWN = ("build", "write", "drive", "ledger", "read", "post-process", "GIS layers", "figures")
"""Phases in which this program works, not the solver."""


def slope(rows: list[dict[str, float]], name: str) -> float:
    """Exponent b of seconds = a · cells^b, by least squares of the logarithms; nan of one row."""
    if len(rows) < 2:
        return math.nan
    cells, seconds = ([max(row[key], 1e-3) for row in rows] for key in ("cells", name))
    return float(np.polyfit(np.log(cells), np.log(seconds), 1)[0])


def main(wanted: list[int]) -> None:
    """Print the table."""
    rows = [in_its_own_process(size) for size in wanted]
    for row in rows:
        row["all but the solver"] = sum(row[name] for name in OWN)
    names = [name for name in rows[0] if name not in ("cells", "stages")]
    head = ["CPU seconds", *(f"{row['cells']:,.0f} cells" for row in rows), "slope"]
    print("| " + " | ".join(head) + " |")
    print("| --- " * len(head) + "|")
    for name in names:
        numbers = [f"{row[name]:.1f}" for row in rows]
        print("| " + " | ".join([name, *numbers, f"{slope(rows, name):.2f}"]) + " |")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--one"]:
        print(json.dumps(measure(SIZES[int(sys.argv[2])], Path(sys.argv[3]))))
    else:
        main([int(text) for text in sys.argv[1:]] or list(SIZES))
