"""How the points are driven in the first solve of a stage, from which their limits are sought.

Each holds its lowest level, or takes the flow asked of it; where the solver finds no way to that,
see :mod:`wellring.model.approach`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Protocol

from wellring.model.drainage.points import GridPoint, PointDrive, PointState
from wellring.model.limited_rates import most_flow


class Solve(Protocol):
    """Solves a stage for given drives, each time from the last heads.

    Returns what each point then does; the level of a shut one is that of the water around it.
    """

    def __call__(self, drives: Sequence[PointDrive], /) -> list[PointState]:
        """By every way there is."""

    def quick(self, drives: Sequence[PointDrive], /, slowed: bool = False) -> list[PointState]:
        """By the way that worked last alone, or also the slow one; a failure changes nothing."""

    def at_rest(self) -> list[float]:
        """Level [m] of the water around each point before anything is pumped; NaN where dry."""


def lowest_drive(point: GridPoint) -> PointDrive:
    """Hold the lowest level, or stay shut: no screened cell takes part, or nothing is asked."""
    if point.idle:
        return PointDrive(None, None, "not used")
    if point.node.size == 0:
        return PointDrive(None, None, "dry")
    return PointDrive(point.lowest, None, "level")


def first_drive(point: GridPoint) -> PointDrive:
    """Take the flow asked for where pump and full screen give it; otherwise the lowest level.

    A well that is drawn down to its lowest level only to be throttled afterwards costs the
    solver most of its time: 3 to 10 times that of starting from the flow.
    """
    if point.node.size and point.wanted is not None and not point.idle:
        limit, name = most_flow(point, point.screen[1])
        if name == "rate":
            return PointDrive(None, limit, "rate")
    return lowest_drive(point)


def gentle_drive(point: GridPoint, rest: float) -> PointDrive:
    """Take a flow that grows from nothing at the lowest level to the limit at rest.

    `rest` is the level [m] of the water around it before. A point without a limit, one that gives
    water, and one that stands dry are driven as :func:`lowest_drive` and :func:`first_drive` say.
    """
    drive = lowest_drive(point)
    if drive.held is None or not rest > point.lowest:
        return drive
    if point.injects:
        return first_drive(point)
    limit, name = most_flow(point, rest)
    if math.isinf(limit) or limit <= 0.0:
        return drive
    return PointDrive(None, limit, name, limit / (rest - point.lowest), point.lowest)
