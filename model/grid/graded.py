"""One-dimensional graded spacing: fine at keys, growing away from them, through fixed lines."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_NOISE = 1e-6
"""Added before numbers are cut to whole ones: the last digits of a level decide no cell count."""


@dataclass(frozen=True)
class Key:
    """Cells are `size` wide from `low` to `high` and grow away from there [m]."""

    low: float
    high: float
    size: float


def spacing_at(x: Floats, keys: tuple[Key, ...], growth: float, largest: float) -> Floats:
    """Wanted cell width [m] at positions `x` (any shape) [m].

    Cells that divide ∫dx/w(x) evenly grow by the factor g where w = s + ln(g)·d at the distance d
    from a key of size s: one such cell at d is ∫ = 1, or (s + ln(g)·d)·(g − 1)/ln(g) wide.
    """
    width = np.full(x.shape, float(largest))
    slope = np.log(growth)
    for key in keys:
        distance = np.maximum(np.maximum(key.low - x, x - key.high), 0.0)
        np.minimum(width, key.size + slope * distance, out=width)
    return width


def graded_edges(
    low: float,
    high: float,
    keys: tuple[Key, ...],
    fixed: tuple[float, ...] = (),
    growth: float = 1.25,
    largest: float = np.inf,
) -> Floats:
    """Ascending cell edges from `low` to `high` with an edge exactly at every `fixed` position.

    Between two fixed positions the edges divide ∫dx/width evenly, so neighbouring cells differ by
    about `growth` at most, except across a fixed line that stands closer than a cell to another.

    Returns
    -------
    ndarray (n+1,) : strictly ascending.
    """
    inner = [position for position in sorted(set(fixed)) if low < position < high]
    lines = [low, *inner, high]
    pieces = [np.array([low])]
    for start, end in pairwise(lines):
        pieces.append(_divide(start, end, keys, growth, largest))
    return np.concatenate(pieces)


def _divide(
    start: float, end: float, keys: tuple[Key, ...], growth: float, largest: float
) -> Floats:
    smallest = min([key.size for key in keys] + [largest, end - start])
    samples = int(np.clip(8 * (end - start) / smallest + _NOISE, 64, 60_000))
    x = np.linspace(start, end, samples + 1)
    density = 1.0 / spacing_at(x, keys, growth, largest)
    steps = 0.5 * (density[1:] + density[:-1]) * np.diff(x)
    cumulative = np.concatenate([[0.0], np.cumsum(steps)])
    count = max(1, int(cumulative[-1] + 0.5 + _NOISE))
    edges = np.interp(np.linspace(0.0, cumulative[-1], count + 1), cumulative, x)
    edges[-1] = end
    return edges[1:]


def merged_lines(values: list[float], closest: float) -> tuple[float, ...]:
    """Fixed lines with those nearer than `closest` to an earlier one left out."""
    kept: list[float] = []
    for value in sorted(values):
        if not kept or value - kept[-1] >= closest:
            kept.append(float(value))
    return tuple(kept)
