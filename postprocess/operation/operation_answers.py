"""Answers, limits, warnings and tables of what it takes to run a scheme."""

from __future__ import annotations

from collections.abc import Sequence

from wellring.postprocess.operation.operations import StageOperation, prices_of
from wellring.postprocess.operation.pump_power import weekly_energy
from wellring.postprocess.operation.settling_tank import STOKES_REYNOLDS
from wellring.postprocess.run.answer import Answer, Part, counted, yes_no
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.water.drainage_groups import sump_of

FIRST_DAYS = 1.3
"""Flow of the first days over that of the steady state, as a rule (UFC 3-220-05, 2004, para. 4-1f:
about 30 percent larger)."""
NO_QUOTATION = "from the prices in [operations]; an estimate, no quotation"


def fill(run: RunFolder, stages: Sequence[StageOperation], part: Part) -> None:
    """Add everything on operation to `part`."""
    for stage in stages:
        _stage_answers(run, stage, part)
        _discharge_answers(run, stage, part)
        _tank_answers(stage, part)
        part.warnings += [f"{stage.entry.name}: {text}" for text in stage.made.warnings]
        _pump_warnings(run, stage, part)
    _totals(run, stages, part)
    _cost_notes(run, stages, part)
    part.tables["operations"] = _operations_table(stages)
    part.tables["pumps"] = _pumps_table(stages)
    part.tables["headers"] = _headers_table(stages)
    part.tables["costs"] = _costs_table(run, stages)


def _stage_answers(run: RunFolder, stage: StageOperation, part: Part) -> None:
    key, name, made = stage.entry.folder, stage.entry.name, stage.made

    def add(word: str, value: float | None, unit: str, basis: str, label: str, kind: str) -> None:
        part.answers[f"{key}.{word}"] = Answer(value, unit, basis, f"{name}: {label}", kind)

    kinds: dict[str, int] = {}
    for duty in made.duties:
        kinds[duty.kind] = kinds.get(duty.kind, 0) + duty.pumps
    listed = ", ".join(f"{count} for {kind}" for kind, count in kinds.items()) or "none"
    add("pumps", made.pumps, "pumps", f"running at the steady state: {listed}",
        "pumps that run", "count")  # fmt: skip
    add("standby_pumps", stage.standby_pumps, "pumps", "beside those that run", "standby pumps",
        "count")  # fmt: skip
    few, many = stage.operators_range
    add("operators", stage.operators, "operators",
        f"posts at any hour; {few} at 6 pumps each, {many} at 4 (common practice, no source)",
        "operators on duty", "count")  # fmt: skip
    add("operator_hours", stage.operator_hours, "h/week", "posts × 168 hours a week",
        "operators' hours a week", "count")  # fmt: skip
    add("power", made.power / 1e3, "kW", "ρ g Q H over efficiencies of pump and motor, all pumps",
        "power", "number")  # fmt: skip
    add("energy_week", weekly_energy(made.power), "kWh/week", "power × 168 h", "energy a week",
        "count")  # fmt: skip
    if stage.energy_total is not None:
        add("energy", stage.energy_total, "kWh", f"power × {stage.water.days:g} days",
            "energy", "count")  # fmt: skip
    if any(item.price is not None for item in stage.items):
        unit = _currency(run)
        add("cost_a_week", stage.cost.week, f"{unit}/week", NO_QUOTATION, "cost a week", "count")
        if stage.cost.total is not None:
            add("cost", stage.cost.total, unit, f"{NO_QUOTATION}; what is paid once included",
                "cost", "count")  # fmt: skip


def _discharge_answers(run: RunFolder, stage: StageOperation, part: Part) -> None:
    key, name, water = stage.entry.folder, stage.entry.name, stage.water
    limit = prices_of(run).discharge_limit
    part.answers[f"{key}.discharge_steady"] = Answer(
        water.steady,
        "m3/s",
        "all water to pump less what is returned, steady state",
        f"{name}: discharge",
        "flow",
        limit,
        None if limit is None else water.steady <= limit,
    )
    if water.peak is not None:
        part.answers[f"{key}.discharge_peak"] = Answer(
            water.peak,
            "m3/s",
            "largest of all time steps of the stage",
            f"{name}: peak discharge",
            "flow",
            limit,
            None if limit is None else water.peak <= limit,
        )
    if water.volume is not None:
        how = "sum over the time steps" if water.followed else "steady discharge over its days"
        part.answers[f"{key}.discharge_volume"] = Answer(
            water.volume, "m3", how, f"{name}: water discharged", "volume"
        )


def _tank_answers(stage: StageOperation, part: Part) -> None:
    tank, key, name = stage.tank, stage.entry.folder, stage.entry.name
    if tank is None:
        return
    part.answers[f"{key}.tank_area_needed"] = Answer(
        tank.area_needed,
        "m2",
        f"discharge over the grain's settling speed of {tank.speed * 1e3:.2f} mm/s; the tank has "
        f"{tank.area:.1f} m2, its surface load is {tank.load * 1e3:.2f} mm/s, it keeps grains "
        f"from {tank.smallest * 1e3:.3f} mm on, water stays {tank.minutes:.0f} min",
        f"{name}: settling tank's area needed",
        "area",
        tank.area,
        tank.keeps,
    )
    if tank.velocity_limit is not None:
        part.answers[f"{key}.tank_velocity"] = Answer(
            tank.forward,
            "m/s",
            "discharge over width × depth",
            f"{name}: velocity through the tank",
            "number",
            tank.velocity_limit,
            tank.forward <= tank.velocity_limit,
        )
    if tank.reynolds > STOKES_REYNOLDS:
        part.warnings.append(
            f"{name}: the grain sinks at a Reynolds number of {tank.reynolds:.2g}, beyond Stokes' "
            f"range ({STOKES_REYNOLDS:g}); its speed is slowed after Schiller and Naumann"
        )


def _pump_warnings(run: RunFolder, stage: StageOperation, part: Part) -> None:
    weak = [duty for duty in stage.made.duties if duty.ok is False]
    if weak:
        worst = max(weak, key=lambda duty: duty.head - (duty.rated or 0.0))
        part.warnings.append(
            f"{stage.entry.name}: {counted(len(weak), 'pumps')} without the head needed, worst "
            f"'{worst.name}' with {worst.head:.1f} m needed, {worst.rated:.1f} m made at its flow"
        )
    sump = sump_of(run)
    given = None if sump is None else sump.pump_capacity
    for duty in stage.made.duties:
        if duty.kind == "sump" and given is not None and duty.flow > given:
            part.warnings.append(
                f"{stage.entry.name}: {duty.flow * 3600:.1f} m³/h come to the sump, whose pumps "
                f"give {given * 3600:.1f} m³/h: the pit floods"
            )


def _totals(run: RunFolder, stages: Sequence[StageOperation], part: Part) -> None:
    given = prices_of(run)
    unknown = [stage.entry.name for stage in stages if stage.water.days is None]
    if unknown:
        said = ", ".join(f"'{name}'" for name in unknown)
        part.warnings.append(
            f"operation: how long {said} is pumped is not known, so it is told by the week only "
            "and there is no total; give the stages' day, and lasts in the last one"
        )
        return
    volume = sum(stage.water.volume or 0.0 for stage in stages)
    limit = given.volume_limit
    part.answers["discharge_volume"] = Answer(
        volume,
        "m3",
        "sum of the stages",
        "Water discharged in all",
        "volume",
        limit,
        None if limit is None else volume <= limit,
    )
    energy = sum(stage.energy_total or 0.0 for stage in stages)
    part.answers["energy"] = Answer(energy, "kWh", "sum of the stages", "Energy in all", "count")
    hours = sum(stage.operator_hours * (stage.water.days or 0.0) / 7 for stage in stages)
    part.answers["operator_hours"] = Answer(
        hours, "h", "sum of the stages", "Operators' hours in all", "count"
    )
    if any(item.price is not None for stage in stages for item in stage.items):
        cost = sum(stage.cost.total or 0.0 for stage in stages)
        part.answers["cost"] = Answer(cost, _currency(run), NO_QUOTATION, "Cost in all", "count")


def _cost_notes(run: RunFolder, stages: Sequence[StageOperation], part: Part) -> None:
    if run.description.operations is None:
        return
    items = [item for stage in stages for item in stage.items]
    missing = dict.fromkeys(f"{i.item} ({i.key})" for i in items if i.price is None)
    if missing and any(item.price is not None for item in items):
        part.warnings.append(f"not in the cost, for want of a price: {', '.join(missing)}")
    given = run.description.operations
    limit = given.discharge_limit
    steady = [stage for stage in stages if stage.water.peak is None]
    if limit is not None and steady:
        beyond = [
            stage.entry.name
            for stage in steady
            if stage.water.steady <= limit < FIRST_DAYS * stage.water.steady
        ]
        part.warnings.append(
            "the discharge limit is held against the steady state; the first days give more, about "
            f"{FIRST_DAYS - 1:.0%} as a rule (UFC 3-220-05, para. 4-1f)"
            + (f", which would exceed it in {', '.join(beyond)}" if beyond else "")
            + ": add [time] to know the peak"
        )


def _currency(run: RunFolder) -> str:
    return prices_of(run).currency or "money"


def _operations_table(stages: Sequence[StageOperation]) -> tuple[list[str], list[Sequence[object]]]:
    head = [
        "stage", "days", "pumps", "standby pumps", "operators on duty", "operators at 6 pumps each",
        "operators at 4 pumps each", "operator hours [h/week]", "overtime [h/week]", "power [kW]",
        "standby power [kW]", "energy [kWh/week]", "energy [kWh]", "discharge steady [m3/s]",
        "discharge peak [m3/s]", "discharge [m3]", "header [m]",
    ]  # fmt: skip
    rows: list[Sequence[object]] = [
        [
            s.entry.name, s.water.days, s.made.pumps, s.standby_pumps, s.operators,
            *s.operators_range, s.operator_hours, s.operators * s.manning.overtime,
            s.made.power / 1e3, s.standby_power / 1e3, weekly_energy(s.made.power), s.energy_total,
            s.water.steady, s.water.peak, s.water.volume, s.made.header_length,
        ]
        for s in stages
    ]  # fmt: skip
    return head, rows


def _pumps_table(stages: Sequence[StageOperation]) -> tuple[list[str], list[Sequence[object]]]:
    head = [
        "stage", "pump", "for", "pumps", "points", "flow [m3/s]", "static lift [m]",
        "riser and outfall loss [m]", "header loss [m]", "head [m]", "head its pump makes [m]",
        "enough", "efficiency with motor [-]", "power [W]",
    ]  # fmt: skip
    rows: list[Sequence[object]] = [
        [
            s.entry.name, d.name, d.kind, d.pumps, d.points, d.flow, d.static, d.riser, d.header,
            d.head, d.rated, yes_no(d.ok), d.efficiency, d.power,
        ]
        for s in stages
        for d in s.made.duties
    ]  # fmt: skip
    return head, rows


def _headers_table(stages: Sequence[StageOperation]) -> tuple[list[str], list[Sequence[object]]]:
    head = [
        "stage", "header", "carries", "point", "along [m]", "inner diameter [m]",
        "flow in the pipe [m3/s]", "head lost to the station [m]", "station stands here",
    ]  # fmt: skip
    rows: list[Sequence[object]] = [
        [
            s.entry.name, name, kind, point, float(h.along[i]), h.diameter, float(h.carried[i]),
            float(h.loss[i]), yes_no(i == h.station),
        ]
        for s in stages
        for name, kind, h in s.made.headers
        for i, point in enumerate(h.names)
    ]  # fmt: skip
    return head, rows


def _costs_table(
    run: RunFolder, stages: Sequence[StageOperation]
) -> tuple[list[str], list[Sequence[object]]]:
    unit = _currency(run)
    head = [
        "stage", "item", "price from", "quantity", "unit", "paid", f"price [{unit}]",
        f"a week or once [{unit}]", "quantity over the stage", "its unit",
        f"over the stage [{unit}]",
    ]  # fmt: skip
    rows: list[Sequence[object]] = [
        [
            s.entry.name, i.item, f"{i.table}.{i.key}", i.quantity, i.unit,
            "each week" if i.weekly else "once", i.price, i.money, i.total_quantity,
            i.total_unit, i.total,
        ]
        for s in stages
        for i in s.items
    ]  # fmt: skip
    return head, rows
