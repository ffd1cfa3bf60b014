"""Pumps of each stage and their duty points: flow, lift, losses, power."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import assert_never

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.units import GRAVITY
from wellring.inputs.site.drainage import (
    DeepWells,
    Ejectors,
    Pump,
    RechargeTrench,
    RechargeWells,
    ReliefWells,
    Sump,
    Wellpoints,
)
from wellring.postprocess.operation.pump_power import pump_power
from wellring.postprocess.water.drainage_groups import TRICKLE, DrainageGroup
from wellring.postprocess.water.header_network import Header, lay_header
from wellring.postprocess.water.pipe_losses import PipeLaw, water_density

Floats = NDArray[np.float64]

EFFICIENCY = {
    "deep wells": 0.55,
    "wellpoints": 0.35,
    "ejectors": 0.6,
    "sump": 0.4,
    "recharge wells": 0.6,
    "recharge trench": 0.6,
}
"""Of pumps whose efficiency is not given (common practice, no source); that of wellpoint pumps
holds their vacuum pump."""
NOZZLE_FLOW = 0.5e-3
"""Supply of one nozzle [m³/s] where none is said, as the model has it (common practice)."""
COUNTED = 0.5
"""Loss [m] in a suction header that a practical lift counts already (common practice, no source);
what is beyond is taken off each point's lift in the model."""
PRESSURE_SHARE = 0.05
"""Share of the supply pressure that a header may take unwarned (common practice, no source)."""


@dataclass(frozen=True)
class Duty:
    """One pump or one station at work: `head` [m] is lift, friction and all; power in W.

    `rated` is the head [m] the pump given makes at this flow, None where none is.
    """

    name: str
    kind: str
    pumps: int
    points: int
    flow: float
    static: float
    riser: float
    header: float
    head: float
    efficiency: float
    power: float
    rated: float | None = None

    @property
    def ok(self) -> bool | None:
        """Whether the pump given makes the head; None where no head is given."""
        return None if self.rated is None else self.head <= self.rated + 1e-6


@dataclass(frozen=True)
class Plant:
    """What all duties share: discharge level [m], outfall pipe [m], pipes, motors."""

    level: float
    outfall: float
    pipes: PipeLaw
    motor: float
    header_diameter: float | None


@dataclass
class StagePumps:
    """All duties, headers (kind and header) and warnings of one stage."""

    duties: list[Duty] = field(default_factory=list)
    headers: list[tuple[str, str, Header]] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)

    @property
    def pumps(self) -> int:
        """Pumps that run."""
        return sum(duty.pumps for duty in self.duties)

    @property
    def power(self) -> float:
        """Of all pumps [W]."""
        return sum(duty.power for duty in self.duties)

    @property
    def header_length(self) -> float:
        """Of all headers [m]."""
        return sum(header.length for _, _, header in self.headers)


def stage_pumps(
    plant: Plant,
    groups: list[DrainageGroup],
    stage: int,
    dug: list[int],
    excavation: float,
    formation: float | None,
) -> StagePumps:
    """Pumps of one stage.

    Parameters
    ----------
    stage : index in the ledger; `dug` are all of them, by whose largest flow pipes are sized.
    excavation : flow into the dig [m³/s], which sump pumps lift from `formation` [m].
    """
    made = StagePumps()
    into_dig = excavation
    for group in groups:
        if not group.stands(stage):
            continue
        if isinstance(group.table, ReliefWells):
            into_dig += float(np.clip(group.flow(stage), 0, None).sum())
        elif isinstance(group.table, DeepWells):
            _deep_wells(plant, group, group.table, stage, dug, made)
        elif isinstance(group.table, Wellpoints):
            _wellpoints(plant, group, group.table, stage, dug, made)
        elif isinstance(group.table, Ejectors):
            _ejectors(plant, group, group.table, stage, dug, made)
        elif isinstance(group.table, RechargeWells | RechargeTrench):
            _recharge(plant, group, group.table, stage, dug, made)
        elif not isinstance(group.table, Sump):  # a sump pumps what comes into the dig
            assert_never(group.table)
    if into_dig > TRICKLE and formation is not None:
        lift = plant.level - formation
        riser = plant.pipes.diameter(into_dig)
        loss = float(plant.pipes.loss(into_dig, riser, max(lift, 0.0) + plant.outfall))
        made.duties.append(_duty(plant, "sump", "sump", 1, 0, into_dig, lift, loss, 0.0))
    return made


def _duty(
    plant: Plant,
    name: str,
    kind: str,
    pumps: int,
    points: int,
    flow: float,
    static: float,
    riser: float,
    header: float,
    *,
    efficiency: float | None = None,
    rated: float | None = None,
) -> Duty:
    head = max(static, 0.0) + riser + header
    overall = (efficiency or EFFICIENCY[kind]) * plant.motor
    power = pump_power(flow, head, overall, plant.pipes.temperature)
    return Duty(name, kind, pumps, points, flow, static, riser, header, head, overall, power, rated)


def _header(
    plant: Plant, names: list[str], xy: Floats, flows: list[Floats], now: Floats, end: bool
) -> Header:
    """A header for the flow `now`, sized by the largest of all `flows`."""
    station = 0 if end else None
    sizes = [lay_header(names, xy, f, plant.pipes, station=station).diameter for f in flows]
    inner = plant.header_diameter or max(sizes)
    return lay_header(names, xy, now, plant.pipes, station=station, diameter=inner)


def _outfall(plant: Plant, flow: float, diameter: float) -> float:
    return float(plant.pipes.loss(flow, max(diameter, plant.pipes.diameter(flow)), plant.outfall))


def _deep_wells(
    plant: Plant,
    group: DrainageGroup,
    table: DeepWells,
    stage: int,
    dug: list[int],
    made: StagePumps,
) -> None:
    flows = [np.clip(group.flow(number), 0, None) for number in dug]
    now = np.clip(group.flow(stage), 0, None)
    names = [well.name for well in group.wells]
    header = _header(plant, names, group.places, flows, now, end=True)
    made.headers.append((group.label, "discharge", header))
    outfall = _outfall(plant, float(now.sum()), header.diameter)
    riser = plant.pipes.diameter(max(float(f.max()) for f in flows))
    pump = table.pump
    top = plant.level
    if pump is not None and pump.discharge_level is not None:
        top = pump.discharge_level
    for index, well in enumerate(group.wells):
        level = well.level[stage]
        if now[index] <= TRICKLE or level is None:
            continue
        length = max(top - table.screen[0], 0.0)
        made.duties.append(
            _duty(
                plant,
                well.name,
                table.method,
                1,
                1,
                float(now[index]),
                top - level,
                float(plant.pipes.loss(now[index], riser, length)),
                float(header.loss[index]) + outfall,
                efficiency=pump.efficiency if pump else None,
                rated=None if pump is None else head_made(pump, float(now[index])),
            )
        )


def head_made(pump: Pump, flow: float) -> float | None:
    """Head [m] a pump makes at `flow` [m³/s]: from its curve, or the one through its rated point
    that the model takes too, H = 4/3 H_r − 1/3 H_r (Q/Q_r)²; its head where that is all known."""
    if pump.curve:
        flows, heads = np.array(pump.curve).T
        return float(np.interp(flow, flows, heads))
    if pump.head is None or pump.capacity is None:
        return pump.head
    return pump.head * (4.0 - (flow / pump.capacity) ** 2) / 3.0


def _parts(group: DrainageGroup, count: int) -> list[NDArray[np.intp]]:
    return np.array_split(np.arange(len(group.wells)), count)


def _wellpoints(
    plant: Plant,
    group: DrainageGroup,
    table: Wellpoints,
    stage: int,
    dug: list[int],
    made: StagePumps,
) -> None:
    count = math.ceil(len(group.wells) / table.points_per_pump)
    now = np.clip(group.flow(stage), 0, None)
    levels = np.array([w.level[stage] if w.level[stage] is not None else np.nan
                       for w in group.wells], dtype=float)  # fmt: skip
    for number, part in enumerate(_parts(group, count), start=1):
        name = f"{group.label} pump {number}"
        flows = [np.clip(group.flow(n), 0, None)[part] for n in dug]
        names = [group.wells[i].name for i in part]
        header = _header(plant, names, group.places[part], flows, now[part], end=False)
        made.headers.append((name, "suction", header))
        flow = float(now[part].sum())
        runs = now[part] > TRICKLE
        if not runs.any():
            continue
        level = float(np.average(levels[part][runs], weights=now[part][runs]))
        outfall = _outfall(plant, flow, header.diameter)
        made.duties.append(
            _duty(
                plant,
                name,
                table.method,
                1,
                int(runs.sum()),
                flow,
                plant.level - level,
                0.0,
                header.worst + outfall,
            )
        )
        _lift_lost(name, header, made)


def _lift_lost(name: str, header: Header, made: StagePumps) -> None:
    """Tell where a suction header takes more of the lift than is counted anyway."""
    pairs = zip(header.names, header.loss, strict=True)
    far = [point for point, loss in pairs if loss > COUNTED]
    if not far:
        return
    shown = ", ".join(f"'{point}'" for point in far[:6]) + (" …" if len(far) > 6 else "")
    made.warnings.append(
        f"{name}: the suction header ({header.diameter * 1e3:.0f} mm) takes up to "
        f"{header.worst:.2f} m of the lift at {len(far)} points ({shown}). What is beyond "
        f"{COUNTED:g} m is taken off their lift in the model: a wider header or more pumps give "
        "it back"
    )


def _ejectors(
    plant: Plant,
    group: DrainageGroup,
    table: Ejectors,
    stage: int,
    dug: list[int],
    made: StagePumps,
) -> None:
    count = math.ceil(len(group.wells) / table.points_per_station)
    each = table.nozzle_flow or NOZZLE_FLOW
    weight = float(water_density(plant.pipes.temperature)) * GRAVITY
    head = table.supply_pressure / weight
    drawn = [np.clip(group.flow(n), 0, None) for n in dug]
    now = np.clip(group.flow(stage), 0, None)
    for number, part in enumerate(_parts(group, count), start=1):
        name = f"{group.label} station {number}"
        names, xy = [group.wells[i].name for i in part], group.places[part]
        feed = np.full(len(part), each)
        supply = _header(plant, names, xy, [feed], feed, end=False)
        back = _header(plant, names, xy, [d[part] + each for d in drawn], now[part] + each, False)
        made.headers += [(name, "supply", supply), (name, "return", back)]
        made.duties.append(
            _duty(
                plant,
                name,
                table.method,
                1,
                len(part),
                float(feed.sum()),
                head,
                0.0,
                0.0,
                efficiency=table.pump_efficiency,
            )
        )
        if supply.worst > PRESSURE_SHARE * head:
            made.warnings.append(
                f"{name}: the far nozzle gets {supply.worst * weight / 1e3:.0f} kPa less than the "
                f"station's {table.supply_pressure / 1e3:.0f} kPa, which the model does not take "
                "off its yield: widen the supply header or raise the pressure"
            )
        if back.worst > PRESSURE_SHARE * head:
            made.warnings.append(
                f"{name}: the return header holds back {back.worst:.1f} m at the far ejector, "
                "which the model does not add to its lift: widen it"
            )


def _recharge(
    plant: Plant,
    group: DrainageGroup,
    table: RechargeWells | RechargeTrench,
    stage: int,
    dug: list[int],
    made: StagePumps,
) -> None:
    flows = [np.clip(-group.flow(n), 0, None) for n in dug]
    now = np.clip(-group.flow(stage), 0, None)
    if now.sum() <= TRICKLE:
        return
    names = [well.name for well in group.wells]
    header = _header(plant, names, group.places, flows, now, end=True)
    made.headers.append((group.label, "recharge", header))
    made.duties.append(
        _duty(
            plant,
            f"{group.label} pump",
            table.method,
            1,
            int((now > TRICKLE).sum()),
            float(now.sum()),
            table.head_limit - plant.level,
            0.0,
            header.worst,
        )
    )
