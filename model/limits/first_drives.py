"""How a drainage point is driven before its limits are known."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from wellring.model.drainage.points import GridPoint, PointDrive, PointState
from wellring.model.limits.flow_limits import most_flow


class Solve(Protocol):
    """Solves a stage, or a model of it, for given drives."""

    def __call__(self, drives: Sequence[PointDrive], /) -> list[PointState]:
        """What each point then does; the level of a shut one is that of the water around it."""


def lowest_drive(point: GridPoint) -> PointDrive:
    """Hold the lowest level, or stay shut: no screened cell takes part, or nothing is asked."""
    if point.idle:
        return PointDrive(None, None, "not used")
    if point.node.size == 0:
        return PointDrive(None, None, "dry")
    return PointDrive(point.lowest, None, "level")


def first_drive(point: GridPoint) -> PointDrive:
    """Take the flow asked for where pump and full screen give it; otherwise the lowest level."""
    if point.node.size and point.wanted is not None and not point.idle:
        limit, name = most_flow(point, point.screen[1])
        if name == "rate":
            return PointDrive(None, limit, "rate")
    return lowest_drive(point)
