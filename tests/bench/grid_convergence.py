"""How the example's answers change with the grid: prints tables, asserts nothing.

Run ``python tests/bench/grid_convergence.py [factors ...]``; factors multiply every default size
(plan cells, their growth, sublayers), the default being 1. Two variants of the ring of wells are
solved at its last stage:

- "as it stands": pumps and rates set most of the flow whatever the grid, so levels tell;
- "levels held": no pump, the wells in the gravel hold a level too, so the flow tells.

Observed order of a triple of equal ratio r (Richardson's extrapolation as in P. J. Roache 1994,
"Perspective: a method for uniform reporting of grid refinement studies", J. Fluids Eng. 116):
p = ln((f3 − f2)/(f2 − f1))/ln r, f1 the finest; where the differences change sign there is none.
Where triples do not agree, cells snap to other places on each grid and scatter hides the order: the
default grid's error is then read from a straight line in the factor through all grids up to 2
(first order, least squares: common practice, no source), with what the grids scatter about it.
"""

from __future__ import annotations

import math
import sys
import tempfile
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from wellring.inputs.read_site import Site, read_site
from wellring.inputs.site.drainage import DeepWells
from wellring.inputs.site.site import Scheme
from wellring.model.grid.grid_sizes import Fineness
from wellring.model.layouts.layout import lay_out
from wellring.model.mf6.solver import find_solver
from wellring.model.runs.make_ledger import make_ledger
from wellring.model.runs.run import write_ground
from wellring.model.runs.stages import solve_scheme
from wellring.postprocess.run.heads import level_at_point, water_table
from wellring.postprocess.run.inflow import inflow
from wellring.postprocess.run.run_folder import MODEL_FOLDER, RunFolder
from wellring.postprocess.water.dryness import dryness

EXAMPLE = Path(__file__).parents[2] / "examples" / "millrace_yard" / "site.toml"
FACTORS = tuple(2 ** (n / 2) for n in (4, 3, 2, 1, 0, -1))
GRAVEL_LEVEL = -3.0
"""Level held in the gravel where levels are held [m]."""


@dataclass
class Solved:
    """Answers of one grid: flow in m³/h, levels in m."""

    factor: float
    cells: int
    values: dict[str, float] = field(default_factory=dict)
    governing: str = ""


def levels_held(scheme: Scheme) -> Scheme:
    """The scheme with no pump to limit a well, and wells without a level holding one."""
    wells = []
    for item in scheme.drainage:
        assert isinstance(item, DeepWells)
        level = item.hold if item.hold is not None else GRAVEL_LEVEL
        wells.append(item.model_copy(update={"pump": None, "rate": None, "hold": level}))
    return scheme.model_copy(update={"drainage": tuple(wells)})


def solve(site: Site, scheme: Scheme, factor: float, solver: Path, folder: Path) -> Solved:
    """The last stage on one grid."""
    layout = lay_out(site, scheme, 0, Fineness(factor))
    stages = solve_scheme(layout, folder / MODEL_FOLDER, solver, None, only_last=True)
    make_ledger(layout, stages).write(folder)
    write_ground(layout, folder)
    run = RunFolder(folder)
    entry = run.ledger.stages[-1]
    grid, heads = run.grid_of(entry), run.heads(entry)
    found = Solved(factor, int(layout.ground.active.sum()))
    flow, dry = inflow(run, entry), dryness(run, entry, grid, heads)
    assert dry.margin is not None
    found.values = {"all water": flow.total * 3600, "least margin": dry.margin}
    table = water_table(grid, heads)
    for point in run.ledger.points:
        level = level_at_point(run, grid, heads, table, point)
        found.values[f"level: {point.name}"] = float(level)
    reasons = Counter(well.governing[-1] for well in run.ledger.wells)
    found.governing = ", ".join(f"{count} {reason}" for reason, count in reasons.items())
    return found


def order(coarse: float, middle: float, fine: float, ratio: float) -> float:
    """Observed order of three answers; nan where they do not come nearer to one another."""
    first, second = middle - coarse, fine - middle
    if second == 0 or first / second <= 1:
        return math.nan
    return math.log(first / second) / math.log(ratio)


def line(solved: list[Solved], name: str) -> tuple[float, float, float]:
    """Value without cells, error of the default grid, and scatter (standard error) of a line."""
    near = [item for item in solved if item.factor < 2.01]
    factor = np.array([item.factor for item in near])
    value = np.array([item.values[name] for item in near])
    (slope, limit) = np.polyfit(factor, value, 1)
    left = value - (limit + slope * factor)
    return limit, slope, float(np.sqrt((left**2).sum() / max(len(near) - 2, 1)))


def triples(solved: list[Solved]) -> list[tuple[Solved, Solved, Solved, float]]:
    """All triples of equal ratio, coarse to fine, with the ratio."""
    found = []
    for i, coarse in enumerate(solved):
        for middle in solved[i + 1 :]:
            ratio = coarse.factor / middle.factor
            for fine in solved:
                if math.isclose(middle.factor / fine.factor, ratio, rel_tol=0.02):
                    found.append((coarse, middle, fine, ratio))
    return found


def tell(name: str, solved: list[Solved]) -> None:
    """Print one variant's answers, orders and the default grid's error."""
    names = list(solved[0].values)
    print(f"\n{name}\n")
    print("| factor | cells | " + " | ".join(names) + " | what governs wells |")
    print("| --- " * (len(names) + 3) + "|")
    for item in solved:
        numbers = " | ".join(f"{item.values[key]:.4f}" for key in names)
        print(f"| {item.factor:.3g} | {item.cells:,} | {numbers} | {item.governing} |")
    print("\n| observed order of | " + " | ".join(names) + " |")
    print("| --- " * (len(names) + 1) + "|")
    for coarse, middle, fine, ratio in triples(solved):
        found = [order(*(t.values[key] for t in (coarse, middle, fine)), ratio) for key in names]
        label = f"{coarse.factor:.3g}, {middle.factor:.3g}, {fine.factor:.3g}"
        words = ("none" if math.isnan(p) else f"{p:.1f}" for p in found)
        print(f"| {label} | " + " | ".join(words) + " |")
    if sum(item.factor < 2.01 for item in solved) < 3:
        return
    print(
        "\nError of the default grid by a line in the factor (0: no cells left); and its scatter.\n"
    )
    for key in names:
        limit, error, scatter = line(solved, key)
        share = f" ({error / limit:+.2%})" if key == "all water" else ""
        print(
            f"- {key}: {limit:.4f} without cells, error {error:+.4f}{share}, scatter {scatter:.4f}"
        )


def main(factors: list[float]) -> None:
    """Solve both variants on every grid, coarse to fine, and print."""
    site = read_site(EXAMPLE)
    solver = find_solver().path
    scheme = site.description.schemes[0]
    for name, variant in (("As it stands", scheme), ("Levels held", levels_held(scheme))):
        solved = []
        for factor in factors:
            with tempfile.TemporaryDirectory() as folder:
                solved.append(solve(site, variant, factor, solver, Path(folder)))
            last = solved[-1]
            print(name, f"{factor:.3g}", last.cells, last.values, file=sys.stderr, flush=True)
        tell(name, solved)


if __name__ == "__main__":
    main(sorted((float(text) for text in sys.argv[1:]), reverse=True) or list(FACTORS))
