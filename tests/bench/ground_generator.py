"""Invented ground with known layers, and the borings that a survey would sink in it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from wellring.inputs.logs.borings import Boring, Interval

SIDE = 160.0
"""Side of the square that is surveyed [m]."""
FLOOR = -30.0
Floats = np.ndarray
Field = Callable[[Floats, Floats], Floats]


@dataclass(frozen=True)
class TrueGround:
    """Units from the top down and the level of each contact below the ground at 0 m."""

    soils: tuple[str, ...]
    bottoms: Callable[[Floats, Floats], list[Floats]]
    """Bottoms of all units but the last at points (n,); the last goes down to the floor."""

    def contacts(self, x: Floats, y: Floats) -> Floats:
        """Ground, bottoms and floor, shape (units + 1, n) [m], never increasing downward."""
        levels = np.vstack([np.zeros((1, x.size)), self.bottoms(x, y), np.full((1, x.size), FLOOR)])
        return np.maximum(np.minimum.accumulate(levels, axis=0), FLOOR)


def smooth(rng: np.random.Generator, mean: float, std: float, shortest: float = 80.0) -> Field:
    """A smooth Gaussian surface with a dip of about 1 %: 60 waves of `shortest` to 500 m."""
    length = 1.0 / rng.uniform(1.0 / 500.0, 1.0 / shortest, 60)
    bearing, phase = rng.uniform(0.0, 2.0 * np.pi, (2, 60))
    kx, ky = 2.0 * np.pi / length * np.array([np.cos(bearing), np.sin(bearing)])
    height = std * np.sqrt(2.0 / 60)
    dip = rng.normal(0.0, 0.007 * std, 2)

    def levels(x: Floats, y: Floats) -> Floats:
        waves = np.cos(np.outer(x, kx) + np.outer(y, ky) + phase).sum(axis=1)
        return mean + height * waves + dip[0] * (x - SIDE / 2) + dip[1] * (y - SIDE / 2)

    return levels


def across_a_line(rng: np.random.Generator) -> Field:
    """Signed distance [m] to a winding line through the middle part of the site."""
    bearing = rng.uniform(0.0, 2.0 * np.pi)
    middle = rng.uniform(0.3, 0.7, 2) * SIDE
    winding = smooth(rng, 0.0, 10.0)
    return lambda x, y: (
        (x - middle[0]) * np.cos(bearing) + (y - middle[1]) * np.sin(bearing) + winding(x, y)
    )


def even(rng: np.random.Generator) -> TrueGround:
    """Four soils one on the other everywhere."""
    fill, clay, sand = smooth(rng, -2, 0.5), smooth(rng, -8, 1.0), smooth(rng, -16, 1.5)
    return TrueGround(
        ("fill", "clay", "sand", "rock"), lambda x, y: [fill(x, y), clay(x, y), sand(x, y)]
    )


def lateral(rng: np.random.Generator) -> TrueGround:
    """Clay gives way to sand along a line, as a step or interfingering over up to 40 m."""
    fill, rock, line = smooth(rng, -3, 0.4), smooth(rng, -16, 0.8), across_a_line(rng)
    width = max(float(rng.uniform(-10.0, 40.0)), 0.1)

    def bottoms(x: Floats, y: Floats) -> list[Floats]:
        top, bottom = fill(x, y), rock(x, y)
        return [top, top - (top - bottom) * np.clip(0.5 + line(x, y) / width, 0, 1), bottom]

    return TrueGround(("fill", "clay", "sand", "rock"), bottoms)


def channel(rng: np.random.Generator) -> TrueGround:
    """A gravel channel 40 to 90 m wide cut into clay."""
    fill, sand, line = smooth(rng, -2, 0.4), smooth(rng, -15, 0.8), across_a_line(rng)
    deep, half = rng.uniform(3.0, 8.0), rng.uniform(20.0, 45.0)

    def bottoms(x: Floats, y: Floats) -> list[Floats]:
        top = fill(x, y)
        return [top, top - deep * np.maximum(0, 1 - (line(x, y) / half) ** 2), sand(x, y)]

    return TrueGround(("fill", "gravel", "clay", "sand"), bottoms)


def weathering(rng: np.random.Generator) -> TrueGround:
    """Weathered rock of changing thickness, missing in places, on rock with some relief."""
    fill, clay = smooth(rng, -2, 0.4), smooth(rng, -9, 1.0)
    thick = smooth(rng, rng.uniform(0.5, 3.0), 2.5)

    def bottoms(x: Floats, y: Floats) -> list[Floats]:
        top = clay(x, y)
        return [fill(x, y), top, top - np.maximum(0.0, thick(x, y))]

    return TrueGround(("fill", "clay", "weathered rock", "rock"), bottoms)


def lens(rng: np.random.Generator) -> TrueGround:
    """A silt lens 60 to 140 m across in sand."""
    fill, clay, middle = smooth(rng, -2, 0.4), smooth(rng, -16, 1.0), smooth(rng, -9, 0.7)
    at, radius = rng.uniform(0.3, 0.7, 2) * SIDE, rng.uniform(30.0, 70.0, 2)
    thick = rng.uniform(1.0, 4.0)

    def bottoms(x: Floats, y: Floats) -> list[Floats]:
        away = ((x - at[0]) / radius[0]) ** 2 + ((y - at[1]) / radius[1]) ** 2
        half = 0.5 * thick * np.sqrt(np.maximum(0.0, 1.0 - away))
        level = middle(x, y)
        return [fill(x, y), level + half, level - half, clay(x, y)]

    return TrueGround(("fill", "sand", "silt", "sand", "clay"), bottoms)


def alluvium(rng: np.random.Generator) -> TrueGround:
    """Four soils that interfinger between two even surfaces, each missing in places."""
    fill, rock = smooth(rng, -2, 0.4), smooth(rng, -17, 0.8)
    shares = [smooth(rng, 0.3, 0.6) for _ in range(4)]

    def bottoms(x: Floats, y: Floats) -> list[Floats]:
        top, bottom = fill(x, y), rock(x, y)
        parts = np.array([np.maximum(0.02, share(x, y)) for share in shares])
        parts = np.where(parts <= 0.02, 1e-9, parts)
        below = np.cumsum(parts, axis=0) / parts.sum(axis=0)
        return [top, *(top - (top - bottom) * below)]

    return TrueGround(("fill", "peat", "clay", "silt", "gravel", "rock"), bottoms)


def short_holes(rng: np.random.Generator) -> TrueGround:
    """Clay under fill of changing depth (docks filled in), gravel between them in places."""
    clay, rock = smooth(rng, -7, 0.8), smooth(rng, -16, 1.0)
    gravel, dock = smooth(rng, 0.5, 1.5), smooth(rng, 0.0, 1.0)

    def bottoms(x: Floats, y: Floats) -> list[Floats]:
        top = clay(x, y)
        deep = 4.0 * np.maximum(0.0, dock(x, y) - 0.8)
        return [np.minimum(-3.0 - deep, top + gravel(x, y).clip(0)), top, rock(x, y)]

    return TrueGround(("fill", "gravel", "clay", "rock"), bottoms)


CLASSES: dict[str, tuple[Callable[[np.random.Generator], TrueGround], float]] = {
    "even layers": (even, 0.2),
    "lateral change": (lateral, 0.2),
    "channel": (channel, 0.2),
    "weathering": (weathering, 0.2),
    "lens": (lens, 0.2),
    "alluvium": (alluvium, 0.2),
    "short holes": (short_holes, 0.5),
}
"""Kinds of ground, and the share of borings that end short."""


def survey(rng: np.random.Generator, ground: TrueGround, short: float) -> list[Boring]:
    """9 to 25 borings on a shifted grid; a share `short` of them ends anywhere on the way down."""
    rows = int(rng.integers(3, 6))
    cell = SIDE / rows
    column, row = (part.ravel() for part in np.meshgrid(np.arange(rows), np.arange(rows)))
    x = (column + rng.uniform(0.15, 0.85, column.size)) * cell
    y = (row + rng.uniform(0.15, 0.85, row.size)) * cell
    contacts = ground.contacts(x, y).round(2)
    borings = []
    for number in range(x.size):
        end = rng.uniform(-14.0, -4.0) if rng.random() < short else -24.0
        beds: list[Interval] = []
        for soil, top, bottom in zip(
            ground.soils, contacts[:-1, number], contacts[1:, number], strict=True
        ):
            if top - bottom < 0.05 or top <= end:
                continue  # too thin to be logged
            start = beds[-1].bottom if beds else 0.0
            beds.append(Interval(start, float(max(bottom, end)), soil))
        borings.append(
            Boring(
                f"B{number}", float(x[number]), float(y[number]), 0.0, beds[-1].bottom, tuple(beds)
            )
        )
    return borings
