"""Which grid is cheaper for the same accuracy: graded rows and columns, or nested squares?

The same pit is solved by the real MODFLOW 6 on

* DIS: structured, spacing graded away from walls and wells (what wellring builds);
* DISV: square cells halved again and again towards the same walls and wells, neighbours at most
  2:1, hanging nodes listed in both cells; with and without XT3D,

with the same layers, boundaries, well losses and solver settings. Column "slope" is the growth of
DIS cells less one, and for DISV the growth of the allowed size with the distance from a key, which
asks for about the same; nested squares can only halve, so they come out up to twice as fine.

Run it with ``python tests/bench/grid_kinds.py``; it prints the table and, for a few target errors,
the cheapest case of each kind. ``--sizes`` and ``--reference`` shrink it. It is
no test: it asserts nothing but the grids' own soundness. One solver runs at a time.

The pit is invented: 60 × 40 m, 9 m deep, water 1.5 m below ground, fill 1e-5, sand 2e-4, clay
1e-8 and gravel 1e-3 m/s, a sheet pile to 14 m that ends in the sand (1e-7 1/s), six wells held at
one level inside, drains on the floor, levels fixed on the sides of a square 610 m from the pit's
long walls. Errors are against a DIS far finer in plan with the same layers, so they are errors of
the plan grid only.

Measured once (MODFLOW 6.4.1, a busy machine, user CPU ± 40 %; 20 layers; reference of 1.04 M cells,
130.0 m³/h; error = largest of flow, lowering in the middle, drawdown 100 m off):

=========  =====  ======  =======  =======  ======  =====  =======
kind       slope  cell m    cells  error %  flow %  cpu s  flopy s
=========  =====  ======  =======  =======  ======  =====  =======
DIS         0.25   2.5      56000      1.9   -1.56   0.98      0.4
DIS         0.25   1.25     91980      0.8   -0.57   2.13      0.4
DIS         0.50   0.625    71500      1.0   -0.45   1.52      0.6
DIS         0.25   0.625   138600      0.3   -0.16   3.77      0.4
DISV        0.25   2.5      38900      2.2   -1.28   0.42      0.6
DISV        0.50   1.25     39500      0.9   +0.01   0.39      0.5
DISV        0.25   1.25     68780      0.9   -0.00   0.75      0.7
DISV        0.25   0.625   124220      0.5   +0.32   2.25      0.8
DISV        0.10   0.625   322040      0.3   +0.02   8.56      4.4
DISV XT3D   0.50   1.25     39500      0.8   -0.58   2.46      0.7
DISV XT3D   0.50   0.625    69440      0.4   -0.33   5.11      1.3
DISV XT3D   0.25   0.625   124220      0.3   -0.17   9.46      1.2
=========  =====  ======  =======  =======  ======  =====  =======

At 1 % nested squares take a quarter of the solver's time, with flopy's about half of the whole.
Finer than that their hanging nodes leave a bias: at slopes 0.25 and 0.5 the flow climbs past the
reference as the cells shrink. A slope of 0.1 or XT3D mends it, at more time than the graded grid,
which goes on converging.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import shlex
import subprocess
import tempfile
import time
from dataclasses import dataclass
from itertools import product
from pathlib import Path

import numpy as np
from grid_kinds_model import (
    HALF_X,
    HALF_Y,
    LEVELS,
    REST,
    Floats,
    PlanCells,
    graded_cells,
    nested_cells,
    write_case,
)

from wellring.inputs.basics.units import DAY
from wellring.model.mf6.budget_errors import budget_error
from wellring.model.mf6.build import MODEL
from wellring.model.mf6.rungs import LADDER, settings_text
from wellring.model.mf6.solve import read_heads
from wellring.model.mf6.solver import find_solver

CENTRE, FAR = (0.0, 0.0), (HALF_X + 100.0, 0.0)
LOOK_AT = -12.5
"""Level [m] at which heads are compared: saturated everywhere."""
TIME_LIMIT_S = 180.0
"""Processor time allowed for one solve; the clock may show four times as much."""


REPEATED_S = 2.0
XT3D_FROM_SLOPE = 0.2
"""XT3D is left out on the gentlest slope, where it only takes long."""


@dataclass(frozen=True)
class Case:
    kind: str
    cell: float
    slope: float
    xt3d: bool = False


@dataclass
class Answer:
    """What a case gave [m³/s, m] and cost [s, MB]."""

    case: Case
    plan: int
    cells: int
    flow: float
    centre: float
    drawdown: float
    cpu: float
    memory: float
    build: float
    write: float
    rung: str
    balance: float
    floor_flow: float


def run(solver: Path, folder: Path) -> tuple[bool, float, float]:
    """Run MODFLOW 6: whether it ended normally, its user CPU time [s], its peak memory [MB].

    The peak is the kernel's high-water mark, looked at while the solver runs (Linux; elsewhere
    NaN): the one in its resource usage would count this script's own memory at the fork.
    """
    peak, deadline = float("nan"), time.monotonic() + 4 * TIME_LIMIT_S
    limit = f"ulimit -t {TIME_LIMIT_S:.0f}; exec {shlex.quote(str(solver))}"
    with open(folder / "mf6.out", "wb") as output:
        process = subprocess.Popen(["sh", "-c", limit], cwd=folder, stdout=output, stderr=output)
        try:
            while True:
                pid, status, usage = os.wait4(process.pid, os.WNOHANG)
                if pid:
                    break
                with contextlib.suppress(OSError):
                    text = Path(f"/proc/{process.pid}/status").read_text()
                    marks = [row.split()[1] for row in text.splitlines() if "VmHWM" in row]
                    peak = float(marks[0]) / 1024 if marks else peak
                if time.monotonic() > deadline:
                    process.kill()
                time.sleep(0.01)
        except BaseException:
            process.kill()
            raise
    process.returncode = os.waitstatus_to_exitcode(status)
    normal = "Normal termination" in (folder / "mf6.out").read_text(errors="replace")
    return normal and process.returncode == 0, usage.ru_utime, peak


def at_point(plan: PlanCells, heads: Floats, point: tuple[float, float]) -> float:
    """Head at a plan point, interpolated smoothly between cells on its side of the wall [m]."""
    from scipy.interpolate import CloughTocher2DInterpolator

    x, y = 0.5 * (plan.x0 + plan.x1), 0.5 * (plan.y0 + plan.y1)
    in_pit = (np.abs(x) < HALF_X) & (np.abs(y) < HALF_Y)
    inside = abs(point[0]) < HALF_X and abs(point[1]) < HALF_Y
    near = np.hypot(x - point[0], y - point[1]) < (1e9 if inside else 90.0)
    use = near & (in_pit == inside)
    smooth = CloughTocher2DInterpolator(np.column_stack([x[use], y[use]]), heads[use])
    return float(smooth([point])[0])


def solve_case(case: Case, solver: Path, folder: Path, tight: bool = False) -> Answer | None:
    """Build, write and solve one case; None when no rung answers within the limit.

    Short runs are repeated and the fastest counts: the machine may be busy with other things.
    """
    import flopy

    began = time.perf_counter()
    plan = (graded_cells if case.kind == "DIS" else nested_cells)(case.cell, case.slope)
    gridded = time.perf_counter() - began
    folder.mkdir(parents=True, exist_ok=True)
    build, write = write_case(plan, case.xt3d, folder)
    for rung in LADDER[:3]:
        (folder / f"{MODEL}.ims").write_text(
            settings_text(rung, *((0.002, 1e-5) if tight else (0.02, 1e-4)))
        )
        runs = [run(solver, folder)]
        if runs[0][0]:
            break
        if runs[0][1] > 0.9 * TIME_LIMIT_S:
            return None
    else:
        return None
    if runs[0][1] < REPEATED_S:
        runs += [run(solver, folder) for _ in range(2)]
    heads = read_heads(folder).reshape(LEVELS.size - 1, plan.n)
    layer = int(np.argmax(LEVELS[1:] <= LOOK_AT))
    with flopy.utils.CellBudgetFile(str(folder / f"{MODEL}.bud"), precision="double") as budget:
        flow = float(budget.get_data(text="GHB")[0]["q"].sum()) / DAY
        floor_flow = -float(budget.get_data(text="DRN")[0]["q"].sum()) / DAY
    return Answer(
        case,
        plan.n,
        plan.n * (LEVELS.size - 1),
        flow,
        at_point(plan, heads[layer], CENTRE),
        REST - at_point(plan, heads[layer], FAR),
        min(cpu for _, cpu, _ in runs),
        runs[0][2],
        gridded + build,
        write,
        rung.name,
        budget_error(folder / f"{MODEL}.lst")[0],
        floor_flow,
    )


def line(answer: Answer, true: Answer) -> str:
    case = answer.case
    kind = case.kind + (" XT3D" if case.xt3d else "")
    return (
        f"{kind:9} {case.slope:5.2f} {case.cell:6.3g} {answer.plan:7d} {answer.cells:8d} "
        f"{100 * (answer.flow / true.flow - 1):+7.2f} {answer.centre - true.centre:+8.3f} "
        f"{answer.drawdown - true.drawdown:+8.3f} {answer.cpu:7.2f} {answer.memory:6.0f} "
        f"{answer.build:6.2f} {answer.write:6.2f}  {answer.balance:+.2f} {answer.rung}"
    )


HEADER = (
    "kind      slope   cell    plan    cells  flow_%  centre_m  at100_m   cpu_s     MB  "
    "build  write  balance_% rung"
)


def error(answer: Answer, true: Answer) -> float:
    """Largest relative error [%] of flow, lowering in the middle and drawdown 100 m off.

    The largest of three, because a single one passes through zero by luck.
    """
    return 100 * max(
        abs(answer.flow / true.flow - 1),
        abs((answer.centre - true.centre) / (REST - true.centre)),
        abs(answer.drawdown / true.drawdown - 1),
    )


def cheapest(answers: list[Answer], true: Answer, target: float) -> list[str]:
    """For each kind the case of least CPU time that stays within `target` [%].

    A case counts when all finer ones of its kind and slope stay within the target as well.
    """
    rows = []
    for kind in dict.fromkeys((answer.case.kind, answer.case.xt3d) for answer in answers):
        own = [answer for answer in answers if (answer.case.kind, answer.case.xt3d) == kind]
        good = [
            answer
            for answer in own
            if all(
                error(other, true) <= target
                for other in own
                if other.case.slope == answer.case.slope and other.case.cell <= answer.case.cell
            )
        ]
        name = f"{kind[0]}{' XT3D' * kind[1]}"
        if not good:
            rows.append(f"{name:9} not reached")
            continue
        best = min(good, key=lambda answer: answer.cpu)
        rows.append(
            f"{name:9} {best.cpu:6.2f} s, {best.cells} cells: slope {best.case.slope:g}, "
            f"{best.case.cell:.3g} m, error {error(best, true):.2f} %"
        )
    return rows


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--solver", help="the MODFLOW 6 executable")
    parser.add_argument(
        "--sizes",
        type=float,
        nargs="+",
        default=[10 / n for n in (2, 4, 8, 16)],
        help="cells at the wall [m]",
    )
    parser.add_argument("--reference", type=float, nargs=2, default=[0.3, 0.06])
    parser.add_argument("--slopes", type=float, nargs="+", default=[0.1, 0.25, 0.5])
    chosen = parser.parse_args()
    solver = find_solver(chosen.solver).path
    with tempfile.TemporaryDirectory() as scratch:
        true = solve_case(Case("DIS", *chosen.reference), solver, Path(scratch) / "reference", True)
        if true is None:
            raise SystemExit("the reference was not solved within the limit")
        print(
            f"reference: {3600 * true.flow:.2f} m3/h, of which {3600 * true.floor_flow:.2f} by the "
            f"floor's drains; level in the middle {true.centre:.3f} m, drawdown 100 m off "
            f"{true.drawdown:.3f} m\n{HEADER}\n{line(true, true)}",
            flush=True,
        )
        answers: list[Answer] = []
        kinds = (("DIS", False), ("DISV", False), ("DISV", True))
        for (kind, xt3d), slope, cell in product(kinds, chosen.slopes, chosen.sizes):
            if xt3d and slope < XT3D_FROM_SLOPE:
                continue
            folder = Path(scratch) / f"case_{len(answers)}"
            answer = solve_case(Case(kind, cell, slope, xt3d), solver, folder)
            if answer is None:
                print(f"{kind}{' XT3D' * xt3d} {slope:g} {cell:g}: not solved", flush=True)
                continue
            answers.append(answer)
            print(line(answer, true), flush=True)
        for target in (3.0, 2.0, 1.0, 0.5, 0.3):
            print(f"all within {target:g} %:")
            print("\n".join(f"  {row}" for row in cheapest(answers, true, target)))


if __name__ == "__main__":
    main()
