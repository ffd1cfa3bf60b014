"""Relief wells: passive, they let water under pressure rise to the floor of the dig."""

from __future__ import annotations

from collections.abc import Sequence

import shapely

from wellring.inputs.site.drainage import ReliefWells
from wellring.model.drainage.method import Method, Placement, Range
from wellring.model.drainage.points import GridPoint
from wellring.model.drainage.screens import ring_skin, screened_points


def relief_points(table: ReliefWells, place: Placement) -> list[GridPoint]:
    """Relief wells on the grid: they flow at the formation of each stage, never less.

    Raises
    ------
    ValueError : a well stands outside the grid, or its screen meets no modelled ground.
    """
    return screened_points(
        place.positions(table),
        place.label,
        place.grid,
        place.ground,
        table.screen,
        0.5 * table.diameter,
        ring_skin(table.skin, 0.5 * table.diameter),
        method=table.method,
        lowest=place.formations[-1],
        wanted=None,
        pump_capacity=None,
        follows_floor=True,
    )


def _notes(table: ReliefWells, place: Placement) -> Sequence[str]:
    outside = int((~shapely.contains_xy(place.outline, place.positions(table))).sum())
    if not outside:
        return []
    return [
        f"{place.label}: {outside} stand outside the pit, where no floor takes their water; they "
        "are modelled as if a pipe led it to formation level: move them into the pit, or give "
        "them pumps as deep wells"
    ]


METHOD = Method(
    ReliefWells,
    relief_points,
    Range(
        1e-6,
        None,
        None,
        "common practice, no source",
        "tighter ground gives a passive well nothing",
    ),
    _notes,
)
