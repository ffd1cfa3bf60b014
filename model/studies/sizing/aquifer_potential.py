"""Water levels as discharge potentials, in which an unconfined aquifer answers linearly.

For Dupuit flow over a level base b the potential Φ = ½(h − b)², above the aquifer's top t
½(t − b)² + (t − b)(h − t), obeys Laplace's equation (Girinskii 1946; Strack 1989, Groundwater
Mechanics, ch. 2: values from memory), so that what wells do adds up in Φ where it does not in h.
Real ground is layered and its base uneven: Φ is only the better straight line, the true model
confirms every step.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wellring.model.grid.ground import Ground
from wellring.postprocess.water.dryness import TIGHT

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

_LEAST = 0.05
"""Least water [m] over the base that a slope is taken at."""


@dataclass(frozen=True)
class Potential:
    """Base and top (m,) [m] of the aquifer in m columns, and a level (m,) [m] there.

    Potentials are divided by their slope at that level: they are metres of head about it.
    """

    base: Floats
    top: Floats
    about: Floats

    def of(self, level: Floats) -> Floats:
        """Potential (m,) [m] of levels [m]."""
        return self._potential(level) / self._slope(self.about)

    def slope(self, level: Floats) -> Floats:
        """Its derivative (m,) [-] at levels [m]."""
        return np.asarray(self._slope(level) / self._slope(self.about))

    def inverse(self, value: Floats) -> Floats:
        """Levels (m,) [m] of potentials (m,) [m], by Newton's steps, which the convex Φ brings
        home."""
        found = self.about + (value - self.of(self.about))
        for _ in range(30):
            found = found + (value - self.of(found)) / self.slope(found)
        return np.asarray(found)

    def _potential(self, level: Floats) -> Floats:
        wet = np.clip(level, self.base, self.top) - self.base
        thick = np.where(np.isfinite(self.top), self.top, self.base) - self.base
        above = np.maximum(level - self.top, 0.0) * thick
        below = np.minimum(level - self.base, 0.0) * _LEAST
        return np.asarray(0.5 * wet**2 + above + below)

    def _slope(self, level: Floats) -> Floats:
        return np.maximum(np.minimum(level, self.top) - self.base, _LEAST)


def potential_at(ground: Ground, plan: Ints, level: Floats, about: Floats) -> Potential:
    """The aquifer around `level` (m,) [m] in plan cells `plan` (m,).

    It is the run of cells that are not tight (kv not below 1e-7 m/s) around the first present
    cell below that level; without tight ground above it has no top.
    """
    edges, there = ground.layers.edges[:, plan], ground.active[:, plan]
    tight = there & (ground.kv[:, plan] < TIGHT)
    nlay = there.shape[0]
    layers = np.arange(nlay)[:, None]
    first = np.argmax(there & (edges[1:] < level - 1e-6), axis=0)
    beneath = tight & (layers >= first)
    stop = np.where(beneath.any(axis=0), np.argmax(beneath, axis=0), nlay)
    over = tight & (layers < first)
    last = np.where(over.any(axis=0), nlay - 1 - np.argmax(over[::-1], axis=0), -1)
    column = np.arange(plan.size)
    top = np.where(last >= 0, edges[last + 1, column], np.inf)
    return Potential(edges[stop, column], top, np.maximum(about, edges[stop, column] + _LEAST))
