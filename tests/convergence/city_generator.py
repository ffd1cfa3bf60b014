"""Seeded random sites harsher than `site_generator`'s: city ground, every method, a third in time.

Five kinds of ground take turns: a closed box in gravel over clay, clay over an artesian aquifer,
water perched on a thin bed over drained sand, thin beds whose conductivities are 1e3 to 1e6 apart,
and the random one. Pits are long, round or any; soils pinch out; rivers and recharge are frequent.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import shapely
from method_generator import MIXES, mix_of
from numpy.random import Generator
from shapely.geometry import Polygon
from site_generator import CENTRE, Column, RandomSite, draw_site, write_files


@dataclass(frozen=True)
class Ground:
    """Soils from the top down, and where a wall's toe stands in them.

    Parameters
    ----------
    column : of the ground.
    toe : depth of the wall's toe [m below ground], None without a wall of its own.
    artesian : number of the soil (from 1) whose water stands above the rest, None without.
    """

    column: Column
    toe: float | None = None
    artesian: int | None = None


def _gravel_box(rng: Generator, dug: float) -> Ground:
    """Fill, alluvium, gravel over clay; the wall closes the gravel."""
    clay = dug + float(rng.uniform(1.0, 5.0))
    bottom = np.array([0.2 * dug, 0.45 * dug, clay, clay + 12.0])
    kh = np.array([1e-5, 10 ** rng.uniform(-9, -7), 10 ** rng.uniform(-3.5, -2.3), 1e-10])
    return Ground(Column(bottom, kh, kh / np.array([2, 5, 3, 1])), clay + 2.0)


def _artesian(rng: Generator, dug: float) -> Ground:
    """Sand, clay that the dig ends in, gravel below."""
    plug = dug + float(rng.uniform(1.0, 4.0))
    bottom = np.array([0.5 * dug, plug, plug + float(rng.uniform(4.0, 15.0))])
    kh = 10 ** np.array([rng.uniform(-5, -3.5), rng.uniform(-9.5, -8), rng.uniform(-4, -2.5)])
    return Ground(Column(bottom, kh, kh / 3.0), artesian=3)


def _perched(rng: Generator, dug: float) -> Ground:
    """Sand over a thin tight bed over sand that is drained, on clay."""
    bed = 0.35 * dug
    bottom = np.array([bed, bed + float(rng.uniform(0.3, 1.5)), dug + 5.0, dug + 12.0])
    kh = 10 ** np.array([rng.uniform(-5, -4), rng.uniform(-9, -7), rng.uniform(-4, -3), -9.5])
    return Ground(Column(bottom, kh, kh / 2.0))


def _laminated(rng: Generator, dug: float) -> Ground:
    """Eight beds, pervious and tight in turn."""
    depth = 1.8 * dug + 4.0
    bottom = np.cumsum(0.8 + rng.dirichlet(np.full(8, 2.0)) * (depth - 6.4))
    tight = np.arange(8) % 2 == int(rng.integers(0, 2))
    kh = 10 ** np.where(tight, rng.uniform(-9, -7, 8), rng.uniform(-4.5, -2.5, 8))
    return Ground(Column(bottom, kh, np.maximum(kh / 10 ** rng.uniform(0, 1, 8), 1e-10)))


GROUNDS: tuple[Callable[[Generator, float], Ground] | None, ...] = (
    _gravel_box,
    _artesian,
    _perched,
    _laminated,
    None,
)


def in_time(seed: int) -> bool:
    """Whether the site of a seed is also followed in time."""
    return seed % 3 == 0


def write_city(seed: int, folder: Path) -> RandomSite:
    """Write the site of `seed` into `folder`."""
    ranges, draw = MIXES[mix_of(seed // len(GROUNDS))]
    rng = np.random.default_rng([50_260, seed])
    site = draw_site(seed, rng, ranges)
    make = GROUNDS[seed % len(GROUNDS)]
    artesian = None
    if make is not None:
        ground = make(rng, site.ground - site.formations[-1])
        artesian = ground.artesian
        wall, toe = site.wall, site.toe
        deepest = site.ground - ground.column.depth
        if ground.toe is not None:
            wall, toe = "into clay", round(site.ground - ground.toe, 2)
        elif toe is not None:
            toe = max(toe, round(deepest + 0.5, 2))
        site = replace(site, column=ground.column, wall=wall, toe=toe)
    site = replace(site, outline=_outline(rng, site.outline))
    write_files(
        site,
        rng,
        folder,
        lambda drawn, again: [("[[schemes.drainage]]", keys) for keys in draw(drawn, again)],
        1e-8,
    )
    _finish(folder / "site.toml", site, rng, artesian, in_time(seed))
    return site


def _outline(rng: Generator, drawn: Polygon) -> Polygon:
    """The drawn pit, a long one or a round one, turned."""
    kind = int(rng.integers(0, 3))
    if kind == 0:
        return drawn
    x, y = CENTRE
    if kind == 1:
        width = float(rng.uniform(5.0, 12.0))
        pit = shapely.box(x - 0.5 * width * rng.uniform(4.0, 16.0), y - 0.5 * width, x, y)
        pit = shapely.affinity.rotate(pit, float(rng.uniform(0.0, 90.0)))
        moved = shapely.affinity.translate(pit, x - pit.centroid.x, y - pit.centroid.y)
    else:
        moved = shapely.Point(x, y).buffer(float(rng.uniform(6.0, 25.0)), quad_segs=8)
    return shapely.set_precision(moved, 0.01)


def _finish(
    path: Path, site: RandomSite, rng: Generator, artesian: int | None, timed: bool
) -> None:
    """What the plain site files do not say: a head of the lower aquifer, and days."""
    text = path.read_text(encoding="utf-8")
    if artesian is not None:
        text = re.sub(r"(?m)^levels = .*\n", "", text)
        level = round(site.water + float(rng.uniform(0.5, 4.0)), 2)
        text = text.replace("[water]\n", f'[water]\nlevels = {{"soil {artesian}" = {level}}}\n', 1)
    if timed:
        days = iter(np.arange(len(site.formations)) * 20)
        text = re.sub(r"(?m)^(formation = .*)$", lambda m: f"{m[1]}\nday = {next(days)}", text)
        head, _, rest = text.rpartition("day = ")
        day, _, tail = rest.partition("\n")
        text = f"{head}day = {day}\nlasts = 40\n{tail}"
        text += "\n[time]\npumping_starts = -10\n"
    path.write_text(text, encoding="utf-8")
