"""How far the screens of widely spaced wells reach into the ground that is to be drained."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from wellring.inputs.site.drainage import Placed
from wellring.model.drainage.method import Placement
from wellring.model.drainage.points import GridPoint

LEAST_SHARE = 0.25
"""Least part of the aquifer below the floor that screens reach through, where it is deep and wells
stand wide apart (UFC 3-220-05, 2004, para. 4-2b(6))."""
TIGHT = 0.01
"""A cell ends the aquifer where its kh is less than this part of the best screened kh."""


def penetration(point: GridPoint, place: Placement) -> tuple[float, float] | None:
    """Screened length and thickness [m] of a point's aquifer below the last floor.

    The aquifer is all ground between tight soils that the screen opens to. None where it ends above
    that floor.
    """
    edges = place.ground.layers.edges
    count = edges.shape[1]
    plan = int(point.node[0]) % count
    kh, active = place.ground.kh[:, plan], place.ground.active[:, plan]
    pervious = active & (kh >= TIGHT * point.screen_k.max())
    # Cells of one run between tight ones share a number; cells of no height part nothing.
    run = np.cumsum(active & ~pervious)
    screened = point.node // count
    own = pervious & np.isin(run, run[screened[pervious[screened]]])
    floor = place.formations[-1]
    top, bottom = edges[:-1, plan], edges[1:, plan]
    thickness = (np.minimum(top, floor) - bottom)[own].clip(0.0).sum()
    if thickness <= 0.0:
        return None
    low, high = np.maximum(bottom, point.screen[0]), np.minimum(top, point.screen[1])
    return float((np.minimum(high, floor) - low)[own].clip(0.0).sum()), float(thickness)


def short_screens(table: Placed, place: Placement, points: Sequence[GridPoint]) -> list[str]:
    """What to tell of one table's wells that reach through less than :data:`LEAST_SHARE`."""
    if table.until_stage is not None:
        return []  # an upper tier, that does not serve the last floor
    found = [one for point in points if (one := penetration(point, place)) is not None]
    short = [(length, thick) for length, thick in found if length < LEAST_SHARE * thick - 1e-6]
    if not short:
        return []
    length, thick = min(short, key=lambda one: one[0] / one[1])
    return [
        f"the screens of {len(short)} of {len(points)} wells reach through little of the ground "
        f"below the last floor, the least through {length:.1f} m of {thick:.1f} m "
        f"({length / thick:.0%}): in deep ground with wells wide apart {LEAST_SHARE:.0%} are usual "
        "(UFC 3-220-05, para. 4-2b(6)); see the levels between the wells, or make screens longer"
    ]
