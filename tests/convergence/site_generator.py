"""Seeded random sites, as a user would write them: a site file and boring logs in CSV.

The ranges are those the solver is proven on: hydraulic conductivity 1e-9 to 1e-2 m/s, 1 to 8
soils, pits of 10 to 150 m, drawdown 1 to 20 m, no wall, a hanging wall or a wall into clay, 0 to
40 wells. The ground is random, not likely: a bed of silt may lie between two gravels.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.random import Generator
from shapely.geometry import Polygon

Table = tuple[str, dict[str, Any]]
"""Heading and keys of a table of the site file."""
WALLS = ("none", "hanging", "into clay")
CENTRE = (500_000.0, 5_600_000.0)
"""Site coordinates of the pit's middle [m]."""


@dataclass(frozen=True)
class Column:
    """The mean soil column: bottoms below ground (n,) [m, positive down], kh and kv (n,) [m/s]."""

    bottom: np.ndarray
    kh: np.ndarray
    kv: np.ndarray

    @property
    def depth(self) -> float:
        """Depth of the borings [m]."""
        return float(self.bottom[-1])


@dataclass(frozen=True)
class Ranges:
    """How wide a draw is: powers of ten of kh [m/s], most soils, lowering [m], pit's length [m]."""

    decades: tuple[float, float] = (-9.0, -2.0)
    soils: int = 8
    lowering: tuple[float, float] = (1.0, 20.0)
    size: float = 150.0


WIDEST = Ranges()


@dataclass(frozen=True)
class RandomSite:
    """What a seed stands for (levels and lengths in m, conductivities in m/s)."""

    seed: int
    outline: Polygon
    shape: str
    ground: float
    water: float
    formations: tuple[float, ...]
    column: Column
    wall: str
    toe: float | None
    wells: int
    source_distance: float

    @property
    def drawdown(self) -> float:
        """Natural level above the deepest formation [m]."""
        return self.water - self.formations[-1]

    @property
    def size(self) -> float:
        """Longer side of the pit's smallest rectangle [m]."""
        return float(max(sides_of(self.outline)))


def write_site(seed: int, folder: Path) -> RandomSite:
    """Write the site of `seed` into `folder`: `site.toml`, `collars.csv`, `layers.csv`."""
    rng = np.random.default_rng([20_240, seed])
    site = draw_site(seed, rng)
    write_files(site, rng, folder, _well_tables)
    return site


def write_files(
    site: RandomSite,
    rng: Generator,
    folder: Path,
    drainage: Callable[[RandomSite, Generator], list[Table]],
    most_rain: float = np.inf,
) -> None:
    """Write a drawn site into `folder`; `drainage` draws the tables of its scheme.

    Recharge is at most `most_rain` [m/s]: in tight ground more would stand high above it.
    """
    folder.mkdir(parents=True, exist_ok=True)
    _write_borings(site, rng, folder)
    (folder / "site.toml").write_text(_site_text(site, rng, drainage, most_rain), encoding="utf-8")


def draw_site(seed: int, rng: Generator, ranges: Ranges = WIDEST) -> RandomSite:
    """Geometry, ground and water of a seed; walls and numbers of soils take turns."""
    wall = WALLS[seed % 3]
    soils = 1 + (seed // 3) % ranges.soils
    if wall == "into clay":
        soils = max(soils, 2)
    ground = round(float(rng.uniform(0.0, 60.0)), 2)
    water = round(ground - float(rng.uniform(0.3, 3.0)), 2)
    drawdown = float(np.exp(rng.uniform(*np.log(ranges.lowering))))
    stages = int(rng.integers(1, 4))
    formations = tuple(round(water - drawdown * (index + 1) / stages, 2) for index in range(stages))
    dug = ground - formations[-1]
    depth = float(dug * rng.uniform(1.4, 2.5) + rng.uniform(2.0, 8.0))
    column = _column(rng, soils, depth, dug, ranges.decades, clay=wall == "into clay")
    shape, outline = _outline(rng, ranges.size)
    return RandomSite(
        seed,
        outline,
        shape,
        ground,
        water,
        formations,
        column,
        wall,
        _toe(rng, wall, column, ground, dug),
        0 if seed % 5 == 4 else round(float(np.exp(rng.uniform(0.0, np.log(40.0))))),
        round(float(np.exp(rng.uniform(np.log(100.0), np.log(1500.0)))), 1),
    )


def _column(
    rng: Generator,
    soils: int,
    depth: float,
    dug: float,
    decades: tuple[float, float],
    clay: bool,
) -> Column:
    """Soils from the top down; with `clay` the lowest but one or lowest is clay below the dig."""
    kh = 10.0 ** rng.uniform(*decades, soils)
    kv = np.maximum(kh / 10.0 ** rng.uniform(0.0, 1.0, soils), 1e-10)
    thinnest = min(0.8, 0.5 * depth / soils)
    share = rng.dirichlet(np.full(soils, 2.0))
    bottom = np.cumsum(thinnest + share * (depth - thinnest * soils))
    if clay:
        at = soils - 1 if soils == 2 or rng.random() < 0.5 else soils - 2
        kh[at] = 10.0 ** rng.uniform(-9.0, -7.5)
        kv[at] = kh[at] / float(rng.uniform(1.0, 10.0))
        top = dug + float(rng.uniform(0.25, 0.6)) * (depth - dug)
        above = bottom[:at]
        bottom[:at] = above * top / above[-1]
        if at == soils - 2:
            bottom[at] = 0.5 * (top + depth)
    bottom[-1] = depth
    return Column(bottom, kh, kv)


def _toe(rng: Generator, wall: str, column: Column, ground: float, dug: float) -> float | None:
    if wall == "none":
        return None
    if wall == "hanging":
        return round(ground - dug - float(rng.uniform(0.15, 0.7)) * (column.depth - dug), 2)
    clay = int(np.flatnonzero((column.kh <= 10**-7.5) & (column.bottom > dug))[-1])
    top = float(column.bottom[clay - 1])
    thickness = float(column.bottom[clay]) - top
    return round(ground - top - min(0.6 * thickness, 1.5 + 0.1 * thickness), 2)


def _outline(rng: Generator, size: float) -> tuple[str, Polygon]:
    """A rectangle, an L or a skew quadrilateral of 10 m to `size`, turned at random."""
    length = float(np.exp(rng.uniform(np.log(10.0), np.log(size))))
    width = max(10.0, length * float(rng.uniform(0.25, 1.0)))
    length = max(length, width)
    kind = ("rectangle", "L", "skew")[int(rng.integers(0, 3))]
    corners = np.array([[0.0, 0.0], [length, 0.0], [length, width], [0.0, width]])
    if kind == "L" and width > 14.0:
        a, b = length * float(rng.uniform(0.4, 0.7)), width * float(rng.uniform(0.4, 0.7))
        corners = np.array(
            [[0, 0], [length, 0], [length, b], [a, b], [a, width], [0, width]], dtype=float
        )
    elif kind == "skew":
        inward = np.sign(np.array([length, width]) / 2 - corners)
        corners += inward * rng.uniform(0.0, 0.24, corners.shape) * width
    polygon = shapely.affinity.rotate(Polygon(corners), float(rng.uniform(0.0, 90.0)))
    x, y = polygon.centroid.coords[0]
    moved = shapely.affinity.translate(polygon, CENTRE[0] - x, CENTRE[1] - y)
    return kind, shapely.set_precision(moved, 0.01)


def sides_of(outline: Polygon) -> np.ndarray:
    xy = shapely.get_coordinates(shapely.oriented_envelope(outline))
    return np.hypot(*np.diff(xy[:3], axis=0).T)


def _write_borings(site: RandomSite, rng: Generator, folder: Path) -> None:
    """3 to 8 borings around the pit; soils undulate, and one of four or more may pinch out."""
    count = int(rng.integers(3, 9))
    reach = 0.5 * site.size + float(rng.uniform(10.0, 60.0))
    turn = 2 * np.pi * (np.arange(count) + rng.uniform(-0.3, 0.3, count)) / count
    radius = reach * np.sqrt(rng.uniform(0.1, 1.0, count))
    x, y = CENTRE[0] + radius * np.cos(turn), CENTRE[1] + radius * np.sin(turn)
    thick = np.diff(site.column.bottom, prepend=0.0)
    soils = thick.size
    wave = rng.normal(0.0, 1.0, (soils, 4))
    u, v = (x - CENTRE[0]) / reach, (y - CENTRE[1]) / reach
    # Each boundary tilts and waves by at most a third of the thinner soil beside it.
    room = np.minimum(thick, np.append(thick[1:], np.inf)) / 3.0
    shift = wave[:, :1] * u + wave[:, 1:2] * v + wave[:, 2:3] * np.sin(3 * u) + wave[:, 3:] * u * v
    shift = np.clip(0.5 * shift, -1.0, 1.0) * np.minimum(room, 2.0)[:, None]
    shift[-1] = 0.0
    bottom = site.column.bottom[:, None] + shift
    if soils >= 4 and rng.random() < 0.6:
        gone = int(rng.integers(1, soils - 2))
        where = u * np.cos(wave[gone, 0]) + v * np.sin(wave[gone, 0]) > 0.1
        bottom[gone, where] = bottom[gone - 1, where]
    ground = site.ground + np.round(rng.uniform(-0.15, 0.15, count), 2)
    with open(folder / "collars.csv", "w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["id", "x", "y", "ground", "final_depth"])
        for index in range(count):
            writer.writerow(
                [
                    f"B{index + 1}",
                    f"{x[index]:.2f}",
                    f"{y[index]:.2f}",
                    f"{ground[index]:.2f}",
                    f"{site.column.depth:.2f}",
                ]
            )
    with open(folder / "layers.csv", "w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["id", "top_depth", "bottom_depth", "soil"])
        for index in range(count):
            top = 0.0
            for soil in range(soils):
                end = round(float(bottom[soil, index]), 2)
                if end > top:
                    writer.writerow(
                        [f"B{index + 1}", f"{top:.2f}", f"{end:.2f}", f"soil {soil + 1}"]
                    )
                    top = end


def _site_text(
    site: RandomSite,
    rng: Generator,
    drainage: Callable[[RandomSite, Generator], list[Table]],
    most_rain: float,
) -> str:
    tables: list[Table] = [
        (
            "[site]",
            {
                "name": f"seed {site.seed}",
                "crs": "EPSG:32633",
                "ground": site.ground,
                "invented": True,
            },
        ),
        (
            "[borings]",
            {
                "files": ["collars.csv", "layers.csv"],
                "surfaces": ("kriging", "linear", "nearest")[int(rng.integers(0, 3))],
                "base": round(site.ground - site.column.depth, 2),
            },
        ),
    ]
    for index, (kh, kv) in enumerate(zip(site.column.kh, site.column.kv, strict=True)):
        tables.append(
            (f'[soils."soil {index + 1}"]', {"kh": float(f"{kh:.3g}"), "kv": float(f"{kv:.3g}")})
        )
    tables += _water_tables(site, rng, most_rain)
    corners = shapely.get_coordinates(site.outline.exterior)[:-1]
    tables.append(("[excavation]", {"corners": np.round(corners, 2).tolist(), "clearance": 0.5}))
    tables += [
        ("[[excavation.stages]]", {"name": f"dig {index + 1}", "formation": formation})
        for index, formation in enumerate(site.formations)
    ]
    tables += _wall_tables(site, rng)
    tables.append(("[[schemes]]", {"name": "random"}))
    tables += drainage(site, rng)
    return (
        "\n\n".join(
            "\n".join([head, *(f"{key} = {_toml(value)}" for key, value in table.items())])
            for head, table in tables
        )
        + "\n"
    )


def _water_tables(site: RandomSite, rng: Generator, most_rain: float) -> list[Table]:
    water: dict[str, Any] = {"source_distance": site.source_distance}
    if rng.random() < 0.4:
        water["plane"] = {
            "point": list(CENTRE),
            "level": site.water,
            "gradient": round(float(10.0 ** rng.uniform(-4.0, -2.3)), 6),
            "toward": round(float(rng.uniform(0.0, 360.0)), 1),
        }
    else:
        water["level"] = site.water
    if site.column.kh.size > 2 and rng.random() < 0.25:
        # A lower aquifer with a pressure of its own.
        water["levels"] = {
            f"soil {site.column.kh.size}": round(site.water + float(rng.uniform(-2.0, 2.0)), 2)
        }
    tables = [("[water]", water)]
    if rng.random() < 0.3:
        away = float(rng.uniform(0.3, 0.9)) * site.source_distance + 0.5 * site.size
        turn = float(rng.uniform(0.0, 2 * np.pi))
        along, across = (
            np.array([np.cos(turn), np.sin(turn)]),
            np.array([-np.sin(turn), np.cos(turn)]),
        )
        line = [
            np.round(np.array(CENTRE) + away * across + side * 3000.0 * along, 2).tolist()
            for side in (-1.0, 1.0)
        ]
        stage = round(site.water + float(rng.uniform(-0.5, 0.2)), 2)
        tables.append(
            (
                "[[water.boundary]]",
                {
                    "kind": "river",
                    "line": line,
                    "stage": stage,
                    "bed": round(stage - 1.5, 2),
                    "width": 15.0,
                    "bed_conductance": float(f"{10.0 ** rng.uniform(-8.0, -5.0):.2g}"),
                },
            )
        )
    if rng.random() < 0.4:
        rain = min(10.0 ** rng.uniform(-9.5, -8.0), most_rain)
        tables.append(("[[water.boundary]]", {"kind": "recharge", "rate": float(f"{rain:.2g}")}))
    return tables


def _wall_tables(site: RandomSite, rng: Generator) -> list[Table]:
    if site.toe is None:
        return []
    kind = ("sheet pile", "secant pile", "slurry")[int(rng.integers(0, 3))]
    wall: dict[str, Any] = {"kind": kind, "toe": site.toe}
    if kind == "sheet pile":
        wall["joint_resistance"] = float(f"{10.0 ** rng.uniform(-9.0, -6.0):.2g}")
    return [("[[walls]]", wall)]


def _well_tables(site: RandomSite, rng: Generator) -> list[Table]:
    if not site.wells:
        return []
    formation, base = site.formations[-1], site.ground - site.column.depth
    low = round(formation - float(rng.uniform(0.5, 0.85)) * (formation - base), 2)
    high = round(low + float(rng.uniform(0.4, 1.0)) * (site.water - low), 2)
    inside = site.wall != "none" and rng.random() < 0.7
    inward = -float(min(2.0, 0.15 * min(sides_of(site.outline))))
    offset = inward if inside else float(rng.uniform(1.0, 5.0))
    wells: dict[str, Any] = {
        "method": "deep wells",
        "ring": {"offset": round(offset, 2), "count": site.wells},
        "screen": [low, high],
        "diameter": round(float(rng.uniform(0.15, 0.6)), 2),
    }
    if rng.random() < 0.7:
        deepest = low + 0.3
        wells["hold"] = round(deepest + float(rng.uniform(0.0, 1.0)) * (formation - deepest), 2)
    else:
        wells["rate"] = float(f"{10.0 ** rng.uniform(-4.5, -1.7):.3g}")
    if rng.random() < 0.7:
        wells["pump"] = {"capacity": float(f"{10.0 ** rng.uniform(-4.0, -1.7):.3g}")}
    if rng.random() < 0.3:
        wells["skin"] = {"thickness": 0.05, "k": float(f"{10.0 ** rng.uniform(-7.0, -3.0):.2g}")}
    elif rng.random() < 0.3:
        wells["efficiency"] = round(float(rng.uniform(0.5, 0.95)), 2)
    if len(site.formations) > 1 and rng.random() < 0.3:
        wells["from_stage"] = "dig 2"
    return [("[[schemes.drainage]]", wells)]


def _toml(value: Any) -> str:
    """A value as TOML text (inline tables for mappings)."""
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{json.dumps(k)} = {_toml(v)}" for k, v in value.items()) + " }"
    if isinstance(value, bool | str):
        return json.dumps(value)
    if isinstance(value, Sequence):
        return "[" + ", ".join(_toml(item) for item in value) + "]"
    return repr(value)
