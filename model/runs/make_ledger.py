"""Write down what cells and faces are called: the ledger of a solved scheme."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.site.site import NamedPoint
from wellring.model.grid.excavation import Drains
from wellring.model.grid.walls import wall_leakage
from wellring.model.layouts.layout import Layout, scheme_walls
from wellring.model.runs.stages import SolvedStage
from wellring.model.runs.transient import SolvedPhase
from wellring.postprocess.run.ledger import (
    BoringEntry,
    BoundaryEntry,
    DrainEntry,
    GridEntry,
    Ledger,
    PhaseEntry,
    PointEntry,
    SoilEntry,
    StageEntry,
    UnitEntry,
    WallEntry,
    WellEntry,
)

Floats = NDArray[np.float64]


def make_ledger(
    layout: Layout,
    stages: list[SolvedStage],
    unsolved: list[StageEntry] | None = None,
    phases: Sequence[SolvedPhase] = (),
) -> Ledger:
    """The ledger of a layout and its solved stages (natural state first) and phases.

    `unsolved` are entries to use instead where nothing was solved.
    """
    site, plan = layout.site, layout.plan
    description = site.description
    nrow, ncol = plan.shape
    return Ledger(
        site=site.name,
        scheme=layout.scheme.name,
        crs=site.crs.text,
        metres_per_unit=site.crs.metres_per_unit,
        show=description.site.show,
        invented=description.site.invented,
        clearance=description.excavation.clearance,
        source_distance=layout.source_distance,
        source_basis=layout.source_basis,
        outline=_coordinates(site.outline.exterior.coords),
        grid=GridEntry(
            nlay=layout.ground.layers.present.shape[0],
            nrow=nrow,
            ncol=ncol,
            origin=plan.origin,
            rotation=math.degrees(plan.rotation),
            x_edges=plan.x_edges.tolist(),
            y_edges=plan.y_edges.tolist(),
        ),
        units=[UnitEntry(unit.label, unit.soil) for unit in layout.strata.units],
        soils={
            name: SoilEntry(v.kh, v.kv, v.ss, v.sy, v.weight) for name, v in layout.soils.items()
        },
        stages=unsolved or [_stage(layout, stage, index) for index, stage in enumerate(stages)],
        inside=np.flatnonzero(layout.inside).tolist(),
        rim=list(zip(layout.rim.first.tolist(), layout.rim.second.tolist(), strict=True)),
        walls=_walls(layout),
        wells=_wells(layout, stages),
        boundaries=_boundaries(layout),
        borings=[
            BoringEntry(
                b.id, b.x, b.y, b.ground, b.final, [(i.top, i.bottom, i.soil) for i in b.intervals]
            )
            for b in site.logs.borings
        ],
        points=[_point(p, site.crs.to_metres(np.array([p.x, p.y]))) for p in description.points],
        phases=[_phase(solved) for solved in phases],
    )


def _phase(solved: SolvedPhase) -> PhaseEntry:
    phase = solved.phase
    return PhaseEntry(
        name=phase.name,
        folder=solved.folder,
        stage=phase.stage + 1,
        formation=phase.formation,
        begins=phase.begins,
        ends=phase.ends,
        rung=solved.rung,
        discrepancy=solved.discrepancy,
        seconds=sum(attempt.seconds for attempt in solved.attempts),
        points=solved.points,
    )


def _point(point: NamedPoint, xy: Floats) -> PointEntry:
    return PointEntry(point.name, float(xy[0]), float(xy[1]), point.level)


def _coordinates(coords: object) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y, *_ in coords]  # type: ignore[attr-defined]


def _stage(layout: Layout, stage: SolvedStage, index: int) -> StageEntry:
    given = layout.site.description.excavation.stages
    own = given[index - 1] if index else None
    drains = {}
    if stage.dig is not None:
        for name in ("floor", "faces", "wall"):
            part: Drains = getattr(stage.dig, name)
            drains[name] = DrainEntry(part.node.tolist(), part.level.tolist())
    return StageEntry(
        name=stage.name,
        folder=stage.folder,
        formation=stage.formation,
        day=own.day if own else None,
        lasts=own.lasts if own else None,
        floor=stage.dig.floor_plan.tolist() if stage.dig else [],
        drains=drains,
        rung=stage.solution.rung,
        discrepancy=stage.solution.discrepancy,
        seconds=sum(attempt.seconds for attempt in stage.attempts),
    )


def _walls(layout: Layout) -> list[WallEntry]:
    standing = iter(layout.walls)  # those that hold water, in the order of the site file
    number = (
        list(layout.site.description.schemes).index(layout.scheme)
        if (layout.scheme in layout.site.description.schemes)
        else 0
    )
    found = []
    for place, name, wall in scheme_walls(layout.site, number, layout.scheme):
        at = next(standing) if wall.holds_water else None
        line = (
            layout.site.outline.exterior
            if wall.line == "outline"
            else layout.site.geometries[place]
        )
        leakage = wall_leakage(wall) if wall.holds_water else None
        basis = (
            leakage.basis + (" (assumed)" if leakage.assumed else "")
            if leakage
            else ("holds soil, not water: no barrier")
        )
        found.append(
            WallEntry(
                name=name,
                kind=wall.kind,
                holds_water=wall.holds_water,
                line=_coordinates(line.coords),
                leakage=leakage.conductance if leakage else None,
                basis=basis,
                from_stage=at.from_stage if at else 0,
                faces=list(zip(at.faces.first.tolist(), at.faces.second.tolist(), strict=True))
                if at
                else [],
                toes=at.toe.tolist() if at else [],
                tops=at.top.tolist() if at else [],
            )
        )
    return found


def _wells(layout: Layout, stages: list[SolvedStage]) -> list[WellEntry]:
    found = []
    for index, point in enumerate(layout.points):
        drives = [s.settled.drives[index] for s in stages if s.settled is not None]
        states = [s.settled.states[index] for s in stages if s.settled is not None]
        sign = point.sign
        within = [point.level_within(state) for state in states]
        levels = [sign * level if math.isfinite(level) else None for level in within]
        found.append(
            WellEntry(
                name=point.name,
                method=point.method,
                x=point.x,
                y=point.y,
                screen=point.screen,
                radius=point.radius,
                nodes=point.node.tolist(),
                lowest=sign * point.lowest,
                wanted=point.wanted,
                pump_capacity=point.pump_capacity,
                screen_capacity=[
                    None,
                    *(
                        point.screen_capacity(level)
                        if level is not None and not point.injects
                        else None
                        for level in levels
                    ),
                ],
                governing=["not used", *(drive.governing for drive in drives)],
                level=[None, *levels],
                flow=[0.0, *(sign * state.flow for state in states)],
            )
        )
    return found


def _boundaries(layout: Layout) -> list[BoundaryEntry]:
    found = []
    for index, item in enumerate(layout.water.exchanges):
        package = f"ghb_{index + 1}" if item.floor is None else f"riv_{index + 1}"
        found.append(BoundaryEntry(item.name, package, item.kind, item.node.tolist()))
    for index, held in enumerate(layout.water.held):
        found.append(BoundaryEntry(held.name, f"chd_{index + 1}", "fixed head", held.node.tolist()))
    if layout.water.recharge is not None:
        found.append(BoundaryEntry("recharge", "rch", "recharge", []))
    return found
