"""A sump: the floor is graded to low points and what comes in is pumped from there.

It adds no points to the model: the floor's drains are there in every scheme. What it cannot do
is told: no clearance under the floor, and fines that wash out where water rises through them.
"""

from __future__ import annotations

from collections.abc import Sequence

from wellring.inputs.drainage import Sump
from wellring.model.drainage.method import Method, Placement, Range
from wellring.model.drainage.points import GridPoint

FINE = 1e-4
"""kh [m/s] below which uniform soil at the floor washes out easily (common practice)."""


def sump_points(table: Sump, place: Placement) -> list[GridPoint]:
    """No points: the floor's drains do the work."""
    return []


def _notes(table: Sump, place: Placement) -> Sequence[str]:
    said = [
        "a sump drains the floor to formation at best: it gives no clearance under the floor and "
        "the ground there stays wet"
    ]
    inside = place.grid.inside(place.outline).ravel()
    middle = place.ground.layers.mid[:, inside]
    at_floor = (middle < place.formations[-1]) & (middle > place.formations[-1] - 2.0)
    k = place.ground.kh[:, inside][at_floor & place.ground.active[:, inside]]
    if k.size and ((k < FINE) & (k > 1e-7)).any():
        said.append(
            "fine soil lies at the floor: water rising into a sump washes it out; a graded filter "
            "or another method is needed there"
        )
    return said


METHOD = Method(
    Sump,
    sump_points,
    Range(1e-3, None, 0.0, "value from memory", "finer soils wash out into a sump"),
    _notes,
)
