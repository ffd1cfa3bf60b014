"""A sump: the floor is graded to low points and what comes in is pumped from there.

It adds no points to the model: the floor's drains are there in every scheme. What it cannot do
is told: no clearance under the floor, and fines that wash out where water rises through them.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.site.drainage import Sump
from wellring.model.drainage.method import Method, Placement, Range
from wellring.model.drainage.points import GridPoint

Floats = NDArray[np.float64]

FINE = 1e-4
"""kh [m/s] below which uniform soil at the floor washes out easily (common practice, no source);
by Hazen's formula that of d10 = 0.1 mm."""
TIGHT = 1e-7
"""kh [m/s] below which water hardly rises through the floor (common practice, no source)."""


def sump_points(table: Sump, place: Placement) -> list[GridPoint]:
    """No points: the floor's drains do the work."""
    return []


def _notes(table: Sump, place: Placement) -> Sequence[str]:
    said = [
        "a sump drains the floor to formation at best: it gives no clearance under the floor and "
        "the ground there stays wet"
    ]
    k = _floor_k(place)
    if k.size and ((k < FINE) & (k > TIGHT)).any():
        share = float(((k < FINE) & (k > TIGHT)).mean())
        said.append(
            f"fine soil lies at {share:.0%} of the floor (kh below {FINE:.0e} m/s, as of sand with "
            "d10 below 0.1 mm by Hazen; common practice): water rising into a sump washes it out; "
            "a graded filter or another method is needed there"
        )
    return said


def _floor_k(place: Placement) -> Floats:
    """kh [m/s] of the ground just below the last formation, one value a cell of the floor."""
    inside = np.flatnonzero(place.grid.inside(place.outline).ravel())
    below = place.ground.layers.mid[:, inside] < place.formations[-1]
    found = below & place.ground.active[:, inside]
    there = found.any(axis=0)
    first = found.argmax(axis=0)[there]
    return np.asarray(place.ground.kh[first, inside[there]])


def _mean_floor_k(place: Placement, points: Sequence[GridPoint]) -> float | None:
    k = _floor_k(place)
    k = k[k > TIGHT]  # tight soil brings a sump no water, and needs none
    return float(k.mean()) if k.size else None


METHOD = Method(
    Sump,
    sump_points,
    Range(1e-3, None, None, "value from memory", "finer soils wash out into a sump"),
    _notes,
    screened_k=_mean_floor_k,
)
