"""Long pits and pits with many points: what cells cost and what they change. Asserts nothing.

Run ``python tests/bench/long_sites.py``; ``--sites``, ``--factors`` and ``--grid`` choose. Each
site is invented and turned against the axes of its map. Its one stage is solved on grids of the
default sizes times each factor; the smallest factor is the reference that the others are compared
with. Printed are cells, the solver's processor time (all solves until the limits of the points
hold), the total pumping rate, the least margin under the floor and the drawdown at a point 60 m
beside the pit.

Points hold a level in ground that gives them enough, so that no limit but the level governs them
and the rates are the model's, not a pump's.

Measured (MODFLOW 6.4.1, one busy core; "lines" is the grid with lines for every point and a
fortieth of the width as cell; the reference has the same sizes times 0.75, 0.6 or 0.7):

==========================  =========  =========  =====  =========  ========  =====
site                        grid           cells  CPU s  flow m3/h  margin m  far m
==========================  =========  =========  =====  =========  ========  =====
trench, 140 points          lines      1,091,516   27.1     183.06     1.114  2.771
..                          this         334,107    7.0     183.54     1.108  2.777
..                          reference  2,168,846   86.6     183.21     1.120  2.774
trench, 140 points, no w.   lines        915,823   23.2     183.10     1.169  2.772
..                          this         231,221    5.0     183.37     1.149  2.776
..                          reference  2,187,439   73.8     183.18     1.170  2.773
trench, 24 wells            lines        498,841   11.2     220.58     1.776  3.388
..                          this         347,046    8.1     220.42     1.743  3.386
..                          reference  1,053,981   31.8     220.44     1.746  3.386
trench, sump                lines        285,342    6.4      66.86    -0.063  1.058
..                          this         274,978    4.4      66.86    -0.063  1.058
..                          reference  1,295,562   48.9      66.98    -0.033  1.059
pit, 309 points             lines        158,587    2.6     266.99     1.361  3.681
..                          this         133,437    2.7     265.81     1.363  3.679
..                          reference    527,232    9.7     265.83     1.359  3.681
==========================  =========  =========  =====  =========  ========  =====

The first reference is the old grid's, so it has not converged either: from 1 to 0.75 its flow
climbs by 0.08 %.
"""

from __future__ import annotations

import argparse
import resource
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from wellring.inputs.read_site import read_site
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

EAST, NORTH, TURNED = 466000.0, 5918000.0, np.radians(23.0)

Place = tuple[float, float]


@dataclass(frozen=True)
class LongSite:
    """A site of the bench; places in metres from the pit's first corner, along its long side.

    `drainage` are TOML tables; `toe` the level [m] of sheet piles around the pit, or None.
    """

    length: float
    width: float
    formation: float
    drainage: Sequence[str]
    toe: float | None = None
    held: str = ""

    @property
    def far(self) -> Place:
        """The point whose drawdown is printed, 60 m beside the middle of the long side."""
        return 0.5 * self.length, -60.0


def points(offset: float, count: int, hold: float, screen: str, diameter: float = 0.2) -> str:
    """A ring of points that hold a level, `offset` [m] outside the outline."""
    return (
        f'[[schemes.drainage]]\nmethod = "deep wells"\nring = {{ offset = {offset}, count = '
        f"{count} }}\nscreen = {screen}\ndiameter = {diameter}\nhold = {hold}\n"
    )


SUMP = '[[schemes.drainage]]\nmethod = "sump"\n'

SITES = {
    "trench, 140 points": LongSite(
        180.0, 6.0, -2.5, [points(1.5, 140, -3.8, "[-8.0, -3.5]")], toe=-6.5
    ),
    "trench, sump": LongSite(180.0, 6.0, -2.5, [SUMP], toe=-6.5),
    "trench, 140 points, no wall": LongSite(
        180.0, 6.0, -2.5, [points(1.5, 140, -3.8, "[-8.0, -3.5]")]
    ),
    "pit, 309 points": LongSite(
        110.0,
        60.0,
        -4.0,
        [points(4.0, 175, -5.4, "[-9.0, -5.0]"), points(-1.0, 134, -5.4, "[-9.0, -5.0]")],
    ),
    "trench, 24 wells": LongSite(
        180.0, 6.0, -2.5, [points(2.0, 24, -5.0, "[-10.0, -3.0]", 0.4)], toe=-6.5
    ),
}


def write_site(site: LongSite, folder: Path, grid: Sequence[str]) -> Path:
    """The site's files in a folder."""
    cos, sin = np.cos(TURNED), np.sin(TURNED)

    def turned(place: Place) -> list[float]:
        x, y = place
        return [
            round(float(EAST + cos * x - sin * y), 4),
            round(float(NORTH + sin * x + cos * y), 4),
        ]

    corners = [(0.0, 0.0), (site.length, 0.0), (site.length, site.width), (0.0, site.width)]
    folder.mkdir(parents=True, exist_ok=True)
    collars, layers = ["id,x,y,ground,final_depth"], ["id,top_depth,bottom_depth,soil"]
    for number, place in enumerate([(0.0, -15.0), (90.0, 25.0), (180.0, -15.0)]):
        x, y = turned(place)
        collars.append(f"B{number},{x},{y},2.0,16.0")
        deep = 0.4 * number
        for top, bottom, soil in (
            (0.0, 2.0, "fill"),
            (2.0, 7.0 + deep, "sand"),
            (7.0 + deep, 14.0 - deep, "gravel"),
            (14.0 - deep, 16.0, "clay"),
        ):
            layers.append(f"B{number},{top},{bottom},{soil}")
    (folder / "collars.csv").write_text("\n".join(collars) + "\n")
    (folder / "layers.csv").write_text("\n".join(layers) + "\n")
    soils = (
        ("fill", 2e-5, 1e-5),
        ("sand", 1e-4, 4e-5),
        ("gravel", 5e-4, 2e-4),
        ("clay", 1e-8, 1e-8),
    )
    far = turned(site.far)
    wall = (
        f'[[walls]]\nkind = "sheet pile"\nline = "outline"\ntoe = {site.toe}\n'
        'joint_resistance = "3e-7 m/s"\npile_width = 0.6\n'
    )
    text = [
        '[site]\nname = "Long"\ncrs = "EPSG:32633"\nground = 2.0\ninvented = true\n',
        '[borings]\nfiles = ["collars.csv", "layers.csv"]\nsurfaces = "linear"\nbase = -14.0\n',
        *(f"[soils.{n}]\nkh = {kh}\nkv = {kv}\nsy = 0.2\nss = 1e-5\n" for n, kh, kv in soils),
        "[water]\nlevel = 0.5\nsource_distance = 250.0\n",
        site.held,
        f"[excavation]\ncorners = {[turned(place) for place in corners]}\nclearance = 0.3\n",
        f'[[excavation.stages]]\nname = "formation"\nformation = {site.formation}\n',
        wall if site.toe is not None else "",
        "[grid]\n" + "\n".join(grid) + "\n",
        f'[[points]]\nname = "far"\nx = {far[0]}\ny = {far[1]}\nlevel = -5.0\n',
        '[[schemes]]\nname = "scheme"\n',
        *site.drainage,
    ]
    path = folder / "site.toml"
    path.write_text("\n".join(text), encoding="utf-8")
    return path


@dataclass(frozen=True)
class Row:
    """One grid's answers: flow [m³/h], margin and far drawdown [m], processor time [s]."""

    factor: float
    shape: tuple[int, int, int]
    cells: int
    smallest: float
    cpu: float
    flow: float
    margin: float
    far: float
    solves: int
    governing: str


def solve(
    site: LongSite, factor: float, grid: Sequence[str], progress: Callable[[str], None]
) -> Row:
    """Answers of one site on one grid."""
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        read = read_site(write_site(site, folder, grid))
        layout = lay_out(read, read.description.schemes[0], 0, Fineness(factor))
        plan, nlay = layout.plan, layout.ground.layers.present.shape[0]
        shape = (*plan.shape, nlay)
        active = int(layout.ground.active.sum())
        smallest = float(min(plan.delr.min(), plan.delc.min()))
        progress(f"factor {factor:g}: {shape}, {active} active, smallest {smallest:.2f} m")
        before = resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime
        stages = solve_scheme(
            layout, folder / MODEL_FOLDER, find_solver().path, None, only_last=True
        )
        cpu = resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime - before
        make_ledger(layout, stages).write(folder)
        write_ground(layout, folder)
        run = RunFolder(folder)
        entry, natural = run.ledger.stages[-1], run.ledger.stages[0]
        heads, cells = run.heads(entry), run.grid_of(entry)
        rest_heads, rest_cells = run.heads(natural), run.grid_of(natural)
        dry = dryness(run, entry, cells, heads)
        point = run.ledger.points[0]
        levels = [
            float(level_at_point(run, g, h, water_table(g, h), point))
            for g, h in ((rest_cells, rest_heads), (cells, heads))
        ]
        kinds = [well.governing[-1] for well in run.ledger.wells]
        return Row(
            factor,
            shape,
            active,
            smallest,
            cpu,
            inflow(run, entry).total * 3600,
            float("nan") if dry.margin is None else dry.margin,
            levels[0] - levels[1],
            len(stages[-1].attempts),
            ", ".join(f"{kinds.count(kind)} {kind}" for kind in dict.fromkeys(kinds)),
        )


HEAD = (
    "| factor | rows, columns, layers | cells | smallest m | solver CPU s | flow m3/h | "
    "margin m | far drawdown m | flow % | margin cm | far cm | solves | governed by |\n"
    + "| --- " * 13
    + "|"
)


def line(row: Row, true: Row) -> str:
    """A row of the table, with its differences to the reference."""
    return (
        f"| {row.factor:g} | {row.shape[0]} x {row.shape[1]} x {row.shape[2]} | {row.cells:,} | "
        f"{row.smallest:.2f} | {row.cpu:.1f} | {row.flow:.2f} | {row.margin:.3f} | {row.far:.3f} | "
        f"{100 * (row.flow / true.flow - 1):+.2f} | {100 * (row.margin - true.margin):+.1f} | "
        f"{100 * (row.far - true.far):+.1f} | {row.solves} | {row.governing} |"
    )


def main() -> None:
    """Solve the sites chosen and print a table of each."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--sites", nargs="+", default=list(SITES), choices=list(SITES))
    parser.add_argument("--factors", nargs="+", type=float, default=[2.0, 1.0, 0.6])
    parser.add_argument("--grid", nargs="*", default=[], help="lines of [grid], such as cell=0.2")
    chosen = parser.parse_args()
    for name in chosen.sites:
        rows = [
            solve(SITES[name], factor, chosen.grid, lambda text: print(text, flush=True))
            for factor in sorted(chosen.factors, reverse=True)
        ]
        print(f"\n{name}\n\n{HEAD}")
        print("\n".join(line(row, rows[-1]) for row in rows) + "\n", flush=True)


if __name__ == "__main__":
    main()
