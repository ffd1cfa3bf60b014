"""What it takes to run a scheme: pumps, operators, power, water and money, stage by stage."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from wellring.inputs.site.drainage import Ejectors, ReliefWells
from wellring.inputs.site.operations import Operations
from wellring.postprocess.operation.costs import CostItem, Quantities, StageCost, cost_items, summed
from wellring.postprocess.operation.crew import Manning, people_per_post, posts
from wellring.postprocess.operation.pump_power import weekly_energy
from wellring.postprocess.operation.pump_stations import EFFICIENCY, Plant, StagePumps, stage_pumps
from wellring.postprocess.operation.settling_tank import Settling, settle
from wellring.postprocess.run.answer import Part
from wellring.postprocess.run.ledger import StageEntry
from wellring.postprocess.run.run_folder import DESCRIPTION_FILE, RunFolder
from wellring.postprocess.water.discharge import Discharge, discharge_of
from wellring.postprocess.water.drainage_groups import DrainageGroup, drainage_groups, sump_of
from wellring.postprocess.water.pipe_losses import PipeLaw
from wellring.postprocess.water.wall_areas import wall_areas

if TYPE_CHECKING:
    from wellring.postprocess.stage_results import StageResult

PUMPS_PER_OPERATOR = 5
"""Pumps one operator can mind (common practice is 4 to 6, no source)."""
SHIFT_HOURS, NIGHT_HOURS, WEEK_HOURS = 8.0, 8.0, 40.0
MOTOR_EFFICIENCY = 0.85
STANDBY_PER = 10
"""One spare for each so many running pumps of a kind begun (common practice, no source)."""
VELOCITY, ROUGHNESS, PIPE_C = 1.5, 1e-4, 120.0


@dataclass(frozen=True)
class StageOperation:
    """All that running one stage takes."""

    entry: StageEntry
    made: StagePumps
    operators: int
    operators_range: tuple[int, int]
    manning: Manning
    standby_pumps: int
    standby_power: float
    water: Discharge
    tank: Settling | None
    items: list[CostItem]
    cost: StageCost

    @property
    def operator_hours(self) -> float:
        """Of a week: every post is manned 168 hours."""
        return 168.0 * self.operators

    @property
    def energy_total(self) -> float | None:
        """[kWh] over the stage; None while its days are not known."""
        if self.water.days is None:
            return None
        return self.made.power / 1e3 * 24 * self.water.days


def prices_of(run: RunFolder) -> Operations:
    """[operations] of the site; all defaults where there is none."""
    return run.description.operations or Operations()


def manning_of(given: Operations) -> Manning:
    """How a post is manned, with the defaults."""
    shift = given.shift_hours or SHIFT_HOURS
    return Manning(
        shift_hours=shift,
        week_hours=given.week_hours or WEEK_HOURS,
        people=given.people_per_post or people_per_post(shift),
        night_hours=given.night_hours or NIGHT_HOURS,
        night_rate=given.night_rate or 1.0,
        overtime_rate=given.overtime_rate or 1.0,
    )


def pipe_law(given: Operations) -> PipeLaw:
    """Friction and sizing of all pipes, with the defaults."""
    return PipeLaw(
        given.friction,
        given.pipe_roughness or ROUGHNESS,
        given.pipe_c or PIPE_C,
        given.temperature,
        given.pipe_velocity or VELOCITY,
    )


def plant_of(run: RunFolder, results: Sequence[StageResult], groups: list[DrainageGroup]) -> Plant:
    """Discharge level, pipes and motors, with the defaults."""
    given = prices_of(run)
    level = given.discharge_level
    if level is None:
        ground = results[0].grid.top[0]
        cells = [run.plan_cell(well.x, well.y) for group in groups for well in group.wells]
        places = [cell for cell in cells if cell is not None] or run.ledger.inside
        level = float(np.nanmax(ground[places]))
    pipes = pipe_law(given)
    motor = given.motor_efficiency or MOTOR_EFFICIENCY
    return Plant(level, given.outfall_distance or 0.0, pipes, motor, given.header_diameter)


def operate(run: RunFolder, results: Sequence[StageResult]) -> list[StageOperation]:
    """What every dug stage of a run takes."""
    given = prices_of(run)
    groups = drainage_groups(run)
    plant, manning = plant_of(run, results, groups), manning_of(given)
    numbers = list(range(1, len(results)))
    found: list[StageOperation] = []
    stood: set[str] = set()
    ground = results[0].grid.top[0]
    walls = wall_areas(run, ground)
    for number in numbers:
        result = results[number]
        flow, entry = result.inflow, result.entry
        assert flow is not None
        made = stage_pumps(plant, groups, number, numbers, flow.excavation, entry.formation)
        each = given.pumps_per_operator or PUMPS_PER_OPERATOR
        water = discharge_of(run, number, max(flow.total - flow.returned, 0.0))
        kinds = {duty.kind for duty in made.duties}
        spares = [math.ceil(made_of(made, kind) / STANDBY_PER) for kind in kinds]
        standby = given.standby_pumps if given.standby_pumps is not None else sum(spares)
        share = 1.0 if given.standby_power is None else given.standby_power
        operators = posts(made.pumps, each)
        drilled, points = 0.0, 0
        for group in groups:
            if not group.stands(number) or group.label in stood:
                continue
            stood.add(group.label)
            points += len(group.wells)
            for well in group.wells:
                cell = run.plan_cell(well.x, well.y)
                top = plant.level if cell is None else float(ground[cell])
                drilled += max(top - well.screen[0], 0.0)
        standby_power = share * made.power
        items = cost_items(
            given,
            Quantities(
                operators * manning.paid_hours,
                weekly_energy(made.power),
                made.pumps,
                standby,
                standby_power / 1e3,
                made.header_length,
                given.tank is not None and water.steady > 0,
                drilled,
                points,
                number == 1,
                tuple(wall for wall in walls if wall.stage == number),
            ),
            water,
        )
        rate = max(water.steady, water.peak or 0.0)
        tank = settle(given.tank, rate, given.temperature) if given.tank and rate > 0 else None
        found.append(
            StageOperation(
                entry,
                made,
                operators,
                (posts(made.pumps, 6), posts(made.pumps, 4)),
                manning,
                standby,
                standby_power,
                water,
                tank,
                items,
                summed(items),
            )
        )
    return found


def made_of(made: StagePumps, kind: str) -> int:
    """Running pumps of one kind."""
    return sum(duty.pumps for duty in made.duties if duty.kind == kind)


def assess_operations(run: RunFolder, results: Sequence[StageResult]) -> Part:
    """Answers, tables, warnings and assumptions on operation."""
    from wellring.postprocess.operation.drained_pores import stored_warnings
    from wellring.postprocess.operation.operation_answers import fill

    if len(results) < 2 or not (run.path / DESCRIPTION_FILE).is_file():
        return Part()
    part = Part(title="What it takes to run", assumptions=assumptions(run, results))
    stages = operate(run, results)
    fill(run, stages, part)
    part.warnings += stored_warnings(run, results, stages)
    return part


def assumptions(run: RunFolder, results: Sequence[StageResult]) -> list[str]:
    """Every default that operation takes for what the user did not give."""
    given, groups = prices_of(run), drainage_groups(run)
    plant, manning = plant_of(run, results, groups), manning_of(given)
    said = []

    def unless(key: str, text: str) -> None:
        if getattr(given, key) is None:
            said.append(text)

    unless(
        "pumps_per_operator",
        f"one operator minds {PUMPS_PER_OPERATOR} pumps (4 to 6: common practice, no source)",
    )
    people = (
        f"posts are manned 168 h a week in shifts of {manning.shift_hours:g} h by "
        f"{manning.people} people of {manning.week_hours:g} h: {manning.overtime:g} h of overtime "
        "a week and post"
    )
    said.append(people)
    if given.wage is not None:
        unless("night_rate", "hours of the night are paid as the day's")
        unless("overtime_rate", "overtime is paid as normal hours")
        if given.night_rate is not None:
            unless("night_hours", f"{NIGHT_HOURS:g} hours of each day are paid as night")
    unless("discharge_level", f"water is lifted to {plant.level:.2f} m, the highest ground there")
    unless("outfall_distance", "the outfall is at the header's end: no pipe beyond it is counted")
    unless("motor_efficiency", f"motors of efficiency {MOTOR_EFFICIENCY:g} (common practice)")
    said.append("pumps take the power of the head they need; throttled ones take more")
    kinds = {g.table.method for g in groups if not isinstance(g.table, ReliefWells)} | {"sump"}
    bare = sorted(kinds - _with_efficiency(groups))
    if bare:
        listed = ", ".join(f"{kind} {EFFICIENCY[kind]:g}" for kind in bare)
        said.append(f"efficiency of pumps where none is given: {listed} (common practice)")
    law = plant.pipes
    friction = (
        f"Hazen and Williams, C = {law.c:g}"
        if law.law == "hazen-williams"
        else f"Darcy and Weisbach with Colebrook, roughness {law.roughness * 1e3:g} mm"
    )
    said.append(
        f"pipes: {friction}; nominal sizes by a velocity of {law.fastest:g} m/s at most; "
        f"{law.fittings:.0%} more for fittings (common practice); headers run straight from point "
        "to point, a suction header's pump in its middle, a discharge header's end at its first "
        "point"
    )
    unless("standby_pumps", f"one standby pump for each {STANDBY_PER} of a kind begun (practice)")
    unless("standby_power", "standby power for all running pumps")
    if any(isinstance(group.table, Ejectors) for group in groups):
        said.append("what ejectors return flows off by itself; only their supply takes power")
    if sump_of(run) is None:
        said.append("what runs into the dig is lifted by one sump pump")
    return [f"operation: {text}" for text in said]


def _with_efficiency(groups: list[DrainageGroup]) -> set[str]:
    """Methods all of whose tables give the pumps' efficiency."""
    found: dict[str, bool] = {}
    for group in groups:
        pump = getattr(group.table, "pump", None)
        given = (pump is not None and pump.efficiency is not None) or (
            getattr(group.table, "pump_efficiency", None) is not None
        )
        found[group.table.method] = found.get(group.table.method, True) and given
    return {method for method, given in found.items() if given}
