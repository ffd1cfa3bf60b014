"""The headline answers of a run: every number with its unit, its limit, and where it comes from."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

from wellring.inputs.basics.units import shown
from wellring.postprocess.operation.flooded_ground import flooded_ground
from wellring.postprocess.run.answer import MASS_BALANCE_LIMIT, Answer, Part, number
from wellring.postprocess.run.heads import level_at_point
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stage_results import REACH_DRAWDOWN, StageResult

Subject = Callable[[RunFolder, Sequence[StageResult]], Part]


def subjects() -> tuple[Subject, ...]:
    """What is assessed beside water and dryness; each adds a :class:`Part`."""
    from wellring.postprocess.neighbours.neighbour_answers import assess_neighbours
    from wellring.postprocess.operation.operations import assess_operations
    from wellring.postprocess.settlement.settlement_answers import assess_settlement
    from wellring.postprocess.stability.pump_stop_answers import assess_pump_stop
    from wellring.postprocess.stability.stability_answers import assess_stability
    from wellring.postprocess.travel.travel_answers import assess_travel
    from wellring.postprocess.water.drainage_answers import assess_drainage
    from wellring.postprocess.water.in_time import assess_time
    from wellring.postprocess.water.influence import assess_influence
    from wellring.postprocess.water.method_answers import assess_methods
    from wellring.postprocess.water.wall_answers import assess_walls

    return (
        assess_drainage,
        assess_walls,
        assess_stability,
        assess_pump_stop,
        assess_methods,
        assess_time,
        assess_settlement,
        assess_influence,
        assess_operations,
        assess_neighbours,
        assess_travel,
    )


@dataclass
class Answers:
    """The answers of a run by name, and the warnings that go with them."""

    answers: dict[str, Answer]
    warnings: list[str] = field(default_factory=list)
    stages: list[StageResult] = field(default_factory=list)
    parts: list[Part] = field(default_factory=list)
    not_written: list[str] = field(default_factory=list)
    """Figures, layers and pages that could not be written, one sentence each."""

    @property
    def all_ok(self) -> bool:
        """Whether every limit holds."""
        return all(answer.ok is not False for answer in self.answers.values())

    @property
    def all_warnings(self) -> list[str]:
        """Warnings, each once, in order, and what could not be written."""
        return list(dict.fromkeys([*self.warnings, *self.not_written]))

    @property
    def assumptions(self) -> list[str]:
        """What the parts assumed, each with its source."""
        return [text for part in self.parts for text in part.assumptions]

    def as_json(self) -> dict[str, Any]:
        """What answers.json holds."""
        return {name: asdict(answer) for name, answer in self.answers.items()}

    def text(self) -> str:
        """The text of answers.json."""
        return json.dumps(self.as_json(), ensure_ascii=False, indent=1, allow_nan=False)


def make_answers(run: RunFolder, results: list[StageResult]) -> Answers:
    """The headline numbers of all stages."""
    answers: dict[str, Answer] = {}
    for result in results[1:]:
        answers |= _stage_answers(run, result)
    worst = max((abs(stage.discrepancy) for stage in run.ledger.stages), default=0.0)
    answers["mass_balance_error"] = Answer(
        worst,
        "%",
        "largest of all stages, from MODFLOW 6's own budget",
        "Mass balance error",
        "percent",
        MASS_BALANCE_LIMIT,
        worst <= MASS_BALANCE_LIMIT,
    )
    answers |= _side_answers(run, results)
    answers |= _unmet_limits(run, results)
    for point in run.ledger.points:
        for result in results:
            value = number(level_at_point(run, result.grid, result.heads, result.table, point))
            answers[f"{result.entry.folder}.level.{point.name}"] = Answer(
                value,
                "m",
                "water table" if point.level is None else f"head at level {point.level:g} m",
                f"{result.entry.name}: water level at {point.name}",
                "level",
            )
    parts = []
    for assess in subjects():
        part = assess(run, results)
        part.title = part.title or _title(assess)
        answers |= part.answers
        parts.append(part)
    warnings = [*_warnings(run, results), *(text for part in parts for text in part.warnings)]
    return Answers(answers, warnings, results, parts)


def _title(assess: Subject) -> str:
    """A subject's heading from its function's name: assess_base_stability → Base stability."""
    name = getattr(assess, "__name__", "More").removeprefix("assess_")
    return name.replace("_", " ").capitalize()


def _stage_answers(run: RunFolder, result: StageResult) -> dict[str, Answer]:
    entry, key = result.entry, result.entry.folder
    assert result.inflow is not None
    assert result.dryness is not None
    flow, dry = result.inflow, result.dryness
    budget = "MODFLOW 6 cell-by-cell flows"
    found = {
        f"{key}.dry_margin": Answer(
            dry.margin,
            "m",
            "least depth of the water below formation over the floor"
            + (
                f"; {dry.tight_share:.0%} of the floor is tight soil and not judged"
                if dry.tight_share
                else ""
            )
            + _flooded(run, result),
            f"{entry.name}: water below formation",
            "length",
            dry.needed,
            result.stays_dry,
        ),
        f"{key}.inflow_total": Answer(
            flow.total, "m3/s", budget, f"{entry.name}: all water to pump", "flow"
        ),
        f"{key}.inflow_excavation": Answer(
            flow.excavation, "m3/s", budget, f"{entry.name}: into the excavation", "flow"
        ),
        f"{key}.inflow_floor": Answer(
            flow.floor, "m3/s", budget, f"{entry.name}: … through the floor", "flow"
        ),
        f"{key}.inflow_faces": Answer(
            flow.faces, "m3/s", budget, f"{entry.name}: … through open faces", "flow"
        ),
        f"{key}.inflow_wall": Answer(
            flow.wall, "m3/s", budget, f"{entry.name}: … through walls above formation", "flow"
        ),
        f"{key}.wells_total": Answer(
            flow.wells, "m3/s", budget, f"{entry.name}: pumped by wells", "flow"
        ),
        f"{key}.returned": Answer(
            flow.returned,
            "m3/s",
            budget,
            f"{entry.name}: returned by recharge wells",
            "flow",
        ),
        f"{key}.through_wall_below": Answer(
            flow.through_wall,
            "m3/s",
            budget,
            f"{entry.name}: through walls below formation",
            "flow",
        ),
        f"{key}.under_toe": Answer(
            flow.under_toe, "m3/s", budget, f"{entry.name}: under the walls' toes", "flow"
        ),
        f"{key}.reach": Answer(
            result.reach,
            "m",
            f"greatest distance from the pit's edge with {REACH_DRAWDOWN:g} m drawdown or more",
            f"{entry.name}: reach of {REACH_DRAWDOWN:g} m drawdown",
            "length",
        ),
    }
    if result.estimate is not None:
        estimate = result.estimate
        found[f"{key}.closed_form"] = Answer(
            estimate.flow,
            "m3/s",
            "equivalent well in level layers (Girinskii's potential), "
            f"radius {estimate.radius:.1f} m, source at {estimate.source:.0f} m, water from "
            f"{estimate.natural:.2f} to {estimate.lowered:.2f} m, base {estimate.base:.2f} m; "
            "differs because " + "; ".join(estimate.differs),
            f"{entry.name}: closed-form inflow",
            "flow",
        )
    return found


def _flooded(run: RunFolder, result: StageResult) -> str:
    """A remark where the sump cannot keep up; the model drains the floor as if it could."""
    if result.sump is None or not result.sump.floods:
        return ""
    flow = shown("flow", run.ledger.show)
    return (
        f"; as if the sump took all of the {flow.text(result.sump.flow)} that come to it: it takes "
        f"{flow.text(result.sump.capacity)}, so that the pit floods"
    )


def _unmet_limits(run: RunFolder, results: list[StageResult]) -> dict[str, Answer]:
    """A limit that fails for every stage whose wells' limits were not found together: no yes."""
    told = zip(run.provenance.get("stages", []), results, strict=False)
    return {
        f"{result.entry.folder}.limits_met": Answer(
            "no",
            "",
            "after as many solves as are allowed; flows and levels of this stage are not proven",
            f"{result.entry.name}: limits of wells and pumps met",
            ok=False,
        )
        for stage, result in told
        if not stage["settled"]
    }


def _side_answers(run: RunFolder, results: list[StageResult]) -> dict[str, Answer]:
    """What the coarser grid and the farther source said about the deepest stage."""
    side = run.provenance.get("side_studies", {})
    last = results[-1]
    if not side or last.inflow is None:
        return {}
    found: dict[str, Answer] = {}
    coarse, farther = side.get("coarse", {}), side.get("farther", {})
    if "inflow" in coarse and last.inflow.total > 0:
        fixed = _fixed_share(run, last)
        error = abs(last.inflow.total - coarse["inflow"]) / last.inflow.total * 100
        found["grid_error"] = Answer(
            error,
            "%",
            "difference of the last stage's total inflow to a grid of twice the cell "
            "size; the fine grid's own error is about as large at first order, less beyond" + fixed,
            "Estimated discretisation error of the inflow",
            "percent",
        )
        extrapolated = 2 * last.inflow.total - coarse["inflow"]
        if extrapolated > 0 and not fixed:
            found["inflow_extrapolated"] = Answer(
                extrapolated,
                "m3/s",
                "2·q(h) - q(2h), from this grid and one of twice the cell size: what is left at "
                "cells of no size where the error falls with their size (Richardson). No verdict "
                "rests on it. Where drains take the water it was nearer to exact solutions than "
                "q(h); beside single wells it need not be",
                f"{last.entry.name}: inflow, extrapolated to fine cells",
                "flow",
            )
        assert last.dryness is not None
        if last.dryness.level is not None and coarse.get("floor_level") is not None:
            found["grid_error_level"] = Answer(
                abs(coarse["floor_level"] - last.dryness.level),
                "m",
                "difference of the highest water under the floor to the coarser grid",
                "Estimated discretisation error of the water level",
                "length",
            )
    if "inflow" in coarse and "inflow" in farther and coarse["inflow"] > 0:
        change = (farther["inflow"] / coarse["inflow"] - 1.0) * 100
        found["farther_source_inflow"] = Answer(
            change,
            "%",
            f"source at {2 * run.ledger.source_distance:.0f} m instead of "
            f"{run.ledger.source_distance:.0f} m, both on the coarser grid",
            "Change of inflow when the source is twice as far",
            "percent",
        )
        levels = (coarse.get("floor_level"), farther.get("floor_level"))
        found["farther_source_level"] = Answer(
            None if None in levels else farther["floor_level"] - coarse["floor_level"],
            "m",
            "change of the highest water under the floor, both on the coarser grid",
            "Change of the water under the floor when the source is twice as far",
            "length",
        )
    return found


def _fixed_share(run: RunFolder, last: StageResult) -> str:
    """A remark where rates and pumps set the flow: a grid can then not be told by it."""
    number = run.ledger.stages.index(last.entry)
    fixed = sum(
        well.flow[number]
        for well in run.ledger.wells
        if well.governing[number] in ("rate", "pump", "header pump")
    )
    if last.inflow is None or fixed < 0.5 * last.inflow.total:
        return ""
    return (
        f"; {fixed / last.inflow.total:.0%} of this flow is set by rates and pumps whatever the "
        "grid, so judge the grid by the water level"
    )


def _warnings(run: RunFolder, results: list[StageResult]) -> list[str]:
    found = list(run.provenance.get("warnings", []))
    for stage in run.provenance.get("stages", []):
        if not stage["settled"]:
            found.append(
                f"{stage['name']}: the wells' limits did not settle; "
                "their flows may be off by more than 0.1 %"
            )
        if abs(stage["mass_balance_percent"]) > MASS_BALANCE_LIMIT:
            found.append(
                f"{stage['name']}: the mass balance is off by {stage['mass_balance_percent']:g} %"
            )
    for name, study in run.provenance.get("side_studies", {}).items():
        if "why" in study:
            found.append(f"the side study '{name}' gave no answer: {study['why']}")
    found += flooded_ground(run, results)
    for result in results[1:]:
        found += _well_warnings(run, result)
        if result.dryness is not None and result.dryness.tight_share > 0:
            found.append(
                f"{result.entry.name}: {result.dryness.tight_share:.0%} of the floor lies in "
                "tight soil, which dryness does not judge; its safety is that against uplift"
            )
        if result.reach is not None and result.reach > 0.9 * run.ledger.source_distance:
            found.append(
                f"{result.entry.name}: the drawdown reaches the model's edge; "
                "the inflow depends on the source distance"
            )
    return found


def _well_warnings(run: RunFolder, result: StageResult) -> list[str]:
    number = run.ledger.stages.index(result.entry)
    by_reason: dict[str, list[str]] = {}
    for well in run.ledger.wells:
        by_reason.setdefault(well.governing[number], []).append(well.name)
    words = {
        "pump": "cannot be drawn down further: the pump gives no more",
        "screen": "cannot be drawn down further: the screen takes in no more",
        "header pump": "cannot be drawn down further: their header's pump gives no more",
        "dry": "stand in ground that is dug away or dry",
        "no inflow": "are shut: their level lies above the water around them",
    }
    return [
        f"{result.entry.name}: {_named(by_reason[reason])} {text}"
        for reason, text in words.items()
        if reason in by_reason
    ]


def _named(names: list[str]) -> str:
    """Names of points, the first few where there are many."""
    if len(names) <= 8:
        return ", ".join(names)
    return f"{', '.join(names[:3])} … {names[-1]} ({len(names)} points)"
