"""Suction wellpoints: many small screens on one header, drawn by the air's pressure."""

from __future__ import annotations

from collections.abc import Sequence

from wellring.inputs.site.drainage import Wellpoints
from wellring.model.drainage.method import Method, Placement, Range
from wellring.model.drainage.points import GridPoint
from wellring.model.drainage.screens import ring_skin, screened_points
from wellring.model.drainage.suction import PRACTICAL_LOSSES, practical_lift, theoretical_lift
from wellring.model.drainage.suction_header import SuctionHeader
from wellring.postprocess.operation.operations import pipe_law

POINT_CAPACITY = 1e-3
"""The most one wellpoint gives [m³/s] where none is said (about 1 L/s; value from memory)."""


def wellpoint_points(table: Wellpoints, place: Placement) -> list[GridPoint]:
    """One tier of wellpoints on the grid.

    The water is drawn no lower than the practical lift below the header, nor below the top of
    the screen, where a point begins to draw air; with vacuum in a sealed filter the point may be
    drawn to its screen's bottom.

    Raises
    ------
    ValueError : a point stands outside the grid, or its screen meets no modelled ground.
    """
    bottom, top = table.screen
    end = bottom if table.vacuum else top
    return screened_points(
        place.positions(table),
        place.label,
        place.grid,
        place.ground,
        table.screen,
        0.5 * table.diameter,
        ring_skin(table.skin, 0.5 * table.diameter),
        method=table.method,
        lowest=max(table.header - lift_of(table), end),
        wanted=None,
        pump_capacity=table.capacity or POINT_CAPACITY,
        group=place.label,
        group_capacity=table.pump_capacity,
        header=SuctionHeader(
            table.header - lift_of(table),
            place.positions(table),
            table.points_per_pump,
            pipe_law(place.operations),
            place.operations.header_diameter,
        ),
    )


def lift_of(table: Wellpoints) -> float:
    """Practical lift [m] of a tier: given, or the air's limit at its altitude less losses."""
    if table.lift is not None:
        return table.lift
    losses = PRACTICAL_LOSSES if table.losses is None else table.losses
    return practical_lift(table.altitude, table.temperature, losses)


def _notes(table: Wellpoints, place: Placement) -> Sequence[str]:
    said = []
    if table.lift is None:
        limit = theoretical_lift(table.altitude, table.temperature)
        said.append(
            f"{place.label}: practical lift {lift_of(table):.1f} m below the header, of "
            f"{limit:.1f} m the air allows at {table.altitude:g} m altitude and "
            f"{table.temperature:g} °C, less losses (common practice)"
        )
    if table.capacity is None:
        said.append(
            f"{place.label}: {POINT_CAPACITY * 1e3:g} L/s assumed as the most a point gives"
        )
    if table.vacuum:
        said.append(
            f"{place.label}: vacuum assumed to hold in a sealed sand filter, so that points are "
            "drawn to their screens' bottom; meant for kh of 1e-7 to 1e-5 m/s (UFC 3-220-05)"
        )
    return said


_WITH_VACUUM = Range(
    1e-7,
    1e-5,
    6.0,
    "UFC 3-220-05 ch. 2 for the ground; 6 m from memory",
    "tighter ground gives nothing even so, more pervious ground lets the vacuum escape",
)
METHOD = Method(
    Wellpoints,
    wellpoint_points,
    Range(
        1e-6,
        5e-4,
        6.0,
        "value from memory; with vacuum 1e-7 to 1e-5 m/s, UFC 3-220-05 ch. 2",
        "finer ground needs vacuum, coarser ground gives more than the points can draw",
    ),
    _notes,
    other_range=lambda table: _WITH_VACUUM if table.vacuum else None,
    lowering=lambda table: table.lift,
)
