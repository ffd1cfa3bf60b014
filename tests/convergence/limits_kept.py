"""What is wrong with a solved random scheme: every limit, read again from its site file.

Limits are worked out here from the tables a user wrote, not from the builder's points: level held,
flow asked, pump, curve and lift, well losses, screen, suction, header, nozzle, head limit. Flows
are kept to 0.1 % and levels to 1 mm.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from chain import SiteOutcome

from wellring.model.drainage.points import GridPoint, PointDrive, PointState
from wellring.model.mf6.build import MODEL
from wellring.model.mf6.solve import MASS_BALANCE_LIMIT
from wellring.model.runs.stages import SolvedStage

FLOW, LEVEL = 1e-3, 1e-3
"""Relative, and [m]."""
LITTLE = 2e-9
"""[m³/s]; flows below two tenths of a litre a day are not told apart."""
NEARLY = 1.0 + 1e-6
"""Rounding of what is read from the solver's tables."""


@dataclass(frozen=True)
class Seen:
    """One point of one stage: its table, how it is driven, and what it does.

    `level` [m] is that of the water in it, `flow` [m³/s] what it takes from the ground, both as
    they are (not mirrored); `around` [m] the level before losses within the well.
    """

    table: Any
    point: GridPoint
    drive: PointDrive
    level: float
    flow: float
    around: float

    def __str__(self) -> str:
        return (
            f"{self.point.name} ({self.drive.governing}): level {self.level:.4f} m, "
            f"flow {self.flow:.4e} m³/s"
        )


def faults_of(outcome: SiteOutcome) -> list[str]:
    """Everything that does not hold in any stage of a scheme; empty where all is well."""
    if outcome.failure:
        return [outcome.failure]
    found = []
    for stage in outcome.stages:
        if abs(stage.solution.discrepancy) > MASS_BALANCE_LIMIT:
            found.append(f"{stage.name}: budget open by {stage.solution.discrepancy} %")
        if stage.settled is None:
            continue
        if not stage.settled.settled:
            found.append(f"{stage.name}: limits not settled in {stage.settled.rounds} rounds")
        points = _seen(outcome, stage)
        levels = _lowest_levels(points, stage.formation or 0.0)
        where = outcome.folder / "mf6" / stage.folder
        told = [*_balance(where, points), *_shared(outcome, points)]
        for one, lowest in zip(points, levels, strict=True):
            told += [f"{one}: {why}" for why in _broken(one, lowest)]
        found += [f"{stage.name}: {why}" for why in told]
    return found


def _seen(outcome: SiteOutcome, stage: SolvedStage) -> list[Seen]:
    tables = outcome.read.description.schemes[0].drainage
    by_name = {getattr(table, "name", None): table for table in tables}
    assert stage.settled is not None
    found = []
    for point, drive, state in zip(
        stage.points, stage.settled.drives, stage.settled.states, strict=True
    ):
        table = by_name[point.name.rpartition(" ")[0]]
        found.append(_one(table, point, drive, state))
    return found


def _one(table: Any, point: GridPoint, drive: PointDrive, state: PointState) -> Seen:
    sign = -1.0 if table.method.startswith("recharge") else 1.0
    flow, around = sign * state.flow, sign * state.level
    loss = table.well_loss.c if getattr(table, "well_loss", None) else 0.0
    return Seen(table, point, drive, around - loss * max(flow, 0.0) ** 2, flow, around)


def _lowest_levels(points: Sequence[Seen], formation: float) -> list[float]:
    """Lowest level [m] of each point: its own, what friction in its header leaves, and how far all
    points of a header whose pump is at its limit have risen alike."""
    found = []
    for one in points:
        low = _lowest(one.table, formation)
        if one.table.method == "wellpoints":
            low = max(low, _full_lift(one.table) + _friction(one, points))
        found.append(low)
    risen = {
        one.table.name: max(one.level - low, 0.0)
        for one, low in zip(points, found, strict=True)
        if one.drive.governing == "header pump"
    }
    return [
        low + risen.get(getattr(one.table, "name", None), 0.0)
        for one, low in zip(points, found, strict=True)
    ]


def _friction(one: Seen, points: Sequence[Seen]) -> float:
    """Lift [m] that the point's header takes beyond 0.5 m, for the flows that were found."""
    mine = [other for other in points if other.table.name == one.table.name]
    flows = np.array([other.flow for other in mine])
    numbers = [other.point.number for other in mine]
    assert one.point.header is not None
    off = one.point.header.taken_off(numbers, flows)
    return float(off[numbers.index(one.point.number)])


def _broken(one: Seen, lowest: float) -> Iterator[str]:
    """Limits of the point's own that do not hold."""
    if one.drive.governing in ("not used", "dry"):
        if one.flow != 0.0:
            yield "flows all the same"
        return
    if one.table.method.startswith("recharge"):
        yield from _broken_giving(one)
        return
    most, why = _most_flow(one)
    if one.flow < -LITTLE:
        yield "feeds the ground"
    if one.drive.shut:
        if one.around > lowest + 0.011:
            yield f"shut, though water stands {one.around - lowest:.3f} m above {lowest:.2f} m"
        return
    if one.level < lowest - LEVEL * NEARLY:
        yield f"below its lowest level {lowest:.4f} m"
    if one.flow > most * (1 + FLOW) * NEARLY + LITTLE and not _within_a_millimetre(one):
        yield f"more than its {why} gives, {most:.4e} m³/s"
    # Nothing holds it back: it must then give all it can.
    free = one.level > lowest + 2 * LEVEL and not _within_a_millimetre(one)
    if free and one.flow < most * (1 - FLOW) / NEARLY - LITTLE:
        yield (
            f"gives less than its {why} could, {most:.4e} m³/s, "
            f"{one.level - lowest:.3f} m above its lowest level"
        )


def _broken_giving(one: Seen) -> Iterator[str]:
    if one.flow > LITTLE:
        yield "takes water instead of giving it"
    if not one.drive.shut and one.level > one.table.head_limit + LEVEL * NEARLY:
        yield f"above its head limit {one.table.head_limit:.3f} m"


def _lowest(table: Any, formation: float) -> float:
    """Level [m] below which the water in a point of this table cannot be drawn."""
    if table.method.startswith("recharge"):
        return -math.inf
    bottom, top = table.screen
    if table.method == "deep wells":
        return table.hold if table.hold is not None else bottom + 0.5
    if table.method == "ejectors":
        return max(table.nozzle, bottom)
    if table.method == "relief wells":
        return max(formation, bottom)
    assert table.method == "wellpoints"
    return float(max(_full_lift(table), bottom if table.vacuum else top))


def _full_lift(table: Any) -> float:
    """Level [m] to which the whole lift of a tier draws the water."""
    return float(table.header - (_lift(table) if table.lift is None else table.lift))


def _lift(table: Any) -> float:
    """Air pressure (ISO 2533) less vapour pressure (Magnus), less 4.5 m of common practice [m]."""
    pressure = 101325.0 * (1.0 - 2.25577e-5 * table.altitude) ** 5.25588
    vapour = 610.94 * math.exp(17.625 * table.temperature / (table.temperature + 243.04))
    # Density of water at 5, 10, 15, 20 and 25 °C (handbook table, values from memory).
    known = np.polyfit([5, 10, 15, 20, 25], [999.97, 999.70, 999.10, 998.21, 997.05], 3)
    return (pressure - vapour) / (float(np.polyval(known, table.temperature)) * 9.80665) - 4.5


def _most_flow(one: Seen, above: float = 0.0) -> tuple[float, str]:
    """The least of a point's flow limits [m³/s] with its water `above` where it stands [m]."""
    table, level = one.table, one.level + above
    limits = [(_screen(one.point, level), "screen")]
    if table.method == "deep wells":
        if table.rate is not None:
            limits.append((table.rate, "rate"))
        if table.pump is not None:
            limits.append((_pump(one, level), "pump"))
    elif table.method == "wellpoints":
        limits.append((table.capacity or 1e-3, "capacity"))
    elif table.method == "ejectors":
        limits.append((_jet(table), "jet"))
    return min(limits)


def _within_a_millimetre(one: Seen) -> bool:
    """Whether the flow is one of those its limit allows within the millimetre of its level.

    A screen that just reaches a coarse soil takes in some per cent more for each millimetre.
    """
    least, most = _most_flow(one, -LEVEL)[0], _most_flow(one, LEVEL)[0]
    return least * (1 - FLOW) <= one.flow <= most * (1 + FLOW)


def _screen(point: GridPoint, level: float) -> float:
    """Sichardt (1928): v ≤ √k/15 into the wetted part of the borehole's wall."""
    wetted = np.clip(level - point.screen_bottom, 0.0, point.screen_top - point.screen_bottom)
    return float((2 * np.pi * point.radius * wetted * np.sqrt(point.screen_k) / 15.0).sum())


def _pump(one: Seen, level: float) -> float:
    pump = one.table.pump
    # Where no level is given the water is lifted to the ground, flat within 0.15 m: as built.
    lift = one.point.delivery - level
    if pump.curve:
        flow, head = zip(*pump.curve, strict=True)
        return float(np.interp(-lift, -np.array(head), flow))
    if pump.head is None:
        return float(pump.capacity)
    return float(pump.capacity * _falling(lift / pump.head))


def _falling(ratio: float) -> float:
    """Q/Q_r of H = 4/3·H_r − 1/3·H_r·(Q/Q_r)², read from twenty straight pieces or more."""
    return 1.0 if ratio <= 1.0 else math.sqrt(max(4.0 - 3.0 * ratio, 0.0))


def _jet(table: Any) -> float:
    """Q_s = Q_n·η/N with N = (H_d − H_s)/(H_n − H_d): nozzle 0.5 L/s and η 0.25 where not said."""
    if table.capacity is not None:
        return float(table.capacity)
    lift = table.outlet - table.nozzle
    return 0.5e-3 * 0.25 * (table.supply_pressure / 9810.0) / lift


def _shared(outcome: SiteOutcome, points: Sequence[Seen]) -> Iterator[str]:
    """Limits that the points of one table share: header pump, flow given back."""
    taken = sum(one.flow for one in points if not one.table.method.startswith("recharge"))
    for table in outcome.read.description.schemes[0].drainage:
        mine = [one for one in points if one.table is table]
        total = sum(one.flow for one in mine)
        if getattr(table, "pump_capacity", None) and mine:
            limited = any(one.drive.governing == "header pump" for one in mine)
            if total > table.pump_capacity * (1 + FLOW) * NEARLY:
                yield f"{table.name}: {total:.4e} m³/s, more than its header's pump gives"
            if limited and total < table.pump_capacity * (1 - FLOW) / NEARLY:
                yield f"{table.name}: {total:.4e} m³/s, its header's pump could give more"
        if table.method.startswith("recharge"):
            asked = (
                table.rate * (1 if table.method.endswith("trench") else len(mine))
                if (table.rate is not None)
                else table.share * taken
            )
            full = all(
                one.drive.shut or one.level > table.head_limit - LEVEL * NEARLY for one in mine
            )
            if -total > asked * (1 + FLOW) * NEARLY + LITTLE * len(mine):
                yield f"{table.name}: gives {-total:.4e}, more than the {asked:.4e} m³/s asked"
            below = [o for o in mine if not o.drive.shut and o.level < table.head_limit - LEVEL]
            each = asked / max(len(mine), 1)
            for one in [] if full else below:
                if -one.flow < each * (1 - FLOW) / NEARLY - LITTLE:
                    yield f"{one}: gives less than its {each:.4e} m³/s, below its head limit"


def _balance(where: Path, points: Sequence[Seen]) -> Iterator[str]:
    """What the points report is what the solver's own water budget says left the ground.

    Net: within a screen over several soils water may pass from one to another.
    """
    told = sum(one.flow for one in points)
    into, out = _budget_of_wells(where / f"{MODEL}.lst")
    booked = (out - into) / 86400.0
    if abs(booked - told) > FLOW * sum(abs(one.flow) for one in points) + LITTLE * len(points):
        yield f"{told:.4e} m³/s by the points, {booked:.4e} in the solver's budget"


def _budget_of_wells(listing: Path) -> tuple[float, float]:
    """Last rates [m³/day] (into the ground, out of it) of all wells in a solver's listing."""
    lines = [line for line in listing.read_text().splitlines() if line.strip().startswith("MAW")]
    rates = [float(line.split("=")[-1].split()[0]) for line in lines if "=" in line]
    return (0.0, 0.0) if len(rates) < 2 else next(reversed([*pairwise(rates)]))
