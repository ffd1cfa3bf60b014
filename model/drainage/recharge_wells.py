"""Recharge wells: water given back to the ground, to spare what lies beyond the site."""

from __future__ import annotations

from collections.abc import Sequence

from wellring.inputs.site.drainage import RechargeWells
from wellring.model.drainage.method import Method, Placement, Range
from wellring.model.drainage.points import GridPoint
from wellring.model.drainage.screens import screened_points


def recharge_points(table: RechargeWells, place: Placement) -> list[GridPoint]:
    """Recharge wells on the grid.

    Each gives its share of what the scheme discharges, or its rate, as far as the level in it
    stays under the head limit. A clogging factor F makes a screen F times as hard to enter.

    Raises
    ------
    ValueError : a well stands outside the grid, or its screen meets no modelled ground.
    """
    factor = table.clogging
    points = screened_points(
        place.positions(table),
        place.label,
        place.grid,
        place.ground,
        table.screen,
        0.5 * table.diameter,
        lambda kh: 0.0 * kh,
        method=table.method,
        lowest=-table.head_limit,
        wanted=table.rate,
        pump_capacity=None,
        injects=True,
        group=place.label,
        share=table.share,
    )
    return [point.clogged(factor) for point in points]


def _notes(table: RechargeWells, place: Placement) -> Sequence[str]:
    if table.clogging == 1.0:
        return [f"{place.label}: clean screens assumed; recharge wells clog (clogging = 1)"]
    return []


RECHARGE_RANGE = Range(
    1e-5,
    None,
    None,
    "common practice, no source",
    "finer ground takes little water and clogs soon",
)
"""Where giving water back works, whatever it is given by."""

METHOD = Method(
    RechargeWells,
    recharge_points,
    RECHARGE_RANGE,
    _notes,
)
