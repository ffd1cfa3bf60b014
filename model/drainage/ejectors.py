"""Ejectors: many small wells, each drawn by a jet of water from one station under pressure."""

from __future__ import annotations

from collections.abc import Sequence

from wellring.inputs.site.drainage import Ejectors
from wellring.model.drainage.ejector_hydraulics import head_of_pressure, station, yield_capacity
from wellring.model.drainage.method import Method, Placement, Range
from wellring.model.drainage.points import GridPoint
from wellring.model.drainage.screens import ring_skin, screened_points

EFFICIENCY = 0.25
"""Hydraulic efficiency η = M·N where none is said (value from memory: 0.1 to 0.3)."""
NOZZLE_FLOW = 0.5e-3
"""Supply of one nozzle [m³/s] where none is said (common practice, no source)."""
PUMP_EFFICIENCY = 0.6
"""Of the station's pump where none is said (common practice, no source)."""


def ejector_points(table: Ejectors, place: Placement) -> list[GridPoint]:
    """Ejectors on the grid: each holds the water at its nozzle as far as its yield goes.

    Raises
    ------
    ValueError : a point stands outside the grid, its screen meets no modelled ground, or the
        supply pressure does not lift the water out.
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
        lowest=max(table.nozzle, table.screen[0]),
        wanted=None,
        pump_capacity=capacity_of(table),
        group=place.label,
    )


def capacity_of(table: Ejectors) -> float:
    """The most one ejector draws [m³/s]: given, or from supply pressure, lift and efficiency."""
    if table.capacity is not None:
        return table.capacity
    lift = table.outlet - table.nozzle
    supply = head_of_pressure(table.supply_pressure) + lift
    return yield_capacity(
        table.nozzle_flow or NOZZLE_FLOW, lift, 0.0, supply, table.efficiency or EFFICIENCY
    )


def _notes(table: Ejectors, place: Placement) -> Sequence[str]:
    said = []
    if table.capacity is None:
        said.append(
            f"{place.label}: an ejector draws at most {capacity_of(table) * 1e3:.2f} L/s, from "
            f"{table.supply_pressure / 1e3:.0f} kPa supply, {table.outlet - table.nozzle:.1f} m "
            f"lift and an efficiency of {table.efficiency or EFFICIENCY:g}"
            + ("" if table.efficiency else " (assumed)")
        )
    count = len(place.positions(table))
    each = table.nozzle_flow or NOZZLE_FLOW
    pump = table.pump_efficiency or PUMP_EFFICIENCY
    made = station(count, each, count * capacity_of(table), table.supply_pressure, pump)
    said.append(
        f"{place.label}: {count} ejectors need a supply of {made.supply * 3600:.1f} m³/h at "
        f"{made.pressure / 1e3:.0f} kPa, {made.power / 1e3:.1f} kW at the station (pump efficiency "
        f"{pump:g}); at full yield {made.returned * 3600:.1f} m³/h come back"
    )
    return said


METHOD = Method(
    Ejectors,
    ejector_points,
    Range(
        1e-8,
        1e-5,
        30.5,
        "value from memory; lowering as much as 100 ft, UFC 3-220-05 ch. 2",
        "ground more pervious than that gives more than ejectors can draw",
    ),
    _notes,
    lowering=lambda table: table.outlet - max(table.nozzle, table.screen[0]),
)
