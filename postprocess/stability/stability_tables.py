"""Tables of stability: soil boundaries, walls and slabs by stage."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from wellring.postprocess.run.answer import HELD, Table, yes_no
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stability.stability import FloorStability
from wellring.postprocess.stage_results import StageResult

Found = Sequence[tuple[StageResult, FloorStability]]


def stability_tables(run: RunFolder, found: Found) -> dict[str, Table]:
    """`stability` (soil boundaries), `stability_walls` and `stability_slab`, those with rows."""
    tables = {
        "stability": _boundaries(run, found),
        "stability_walls": _walls(run, found),
        "stability_slab": _slab(found),
    }
    return {name: table for name, table in tables.items() if table[1] or name == "stability"}


def _boundaries(run: RunFolder, found: Found) -> Table:
    """The worst place of each soil boundary under the floor, the governing one of a stage first."""
    head = [
        "stage",
        "above",
        "beneath",
        "x",
        "y",
        "level [m]",
        "weight above [Pa]",
        "water pressure [Pa]",
        "head [m]",
        "head it may have [m]",
        "largest lowering still needed [m]",
        "weight over pressure [-]",
        "used [-]",
        "holds",
        "rules",
    ]
    rows: list[Sequence[object]] = []
    for result, stable in found:
        for item in stable.uplift.boundaries:
            cell = int(stable.columns.plan[item.column])
            rows.append(
                [
                    result.entry.name,
                    run.ledger.units[item.upper].label,
                    run.ledger.units[item.lower].label,
                    *run.place(cell),
                    item.level,
                    item.stress,
                    item.pressure,
                    item.head,
                    item.head_allowed,
                    item.relief,
                    item.factor,
                    item.utilisation,
                    yes_no(item.utilisation <= HELD),
                    stable.rules.text("uplift"),
                ]
            )
    return head, rows


def _walls(run: RunFolder, found: Found) -> Table:
    """The worst prism at each wall that hangs in pervious soil."""
    head = [
        "stage",
        "wall",
        "x",
        "y",
        "embedment [m]",
        "prism's width [m]",
        "submerged weight [Pa]",
        "seepage force [Pa]",
        "submerged weight over seepage [-]",
        "used [-]",
        "holds",
        "used in total stresses, EN 1997-1 (2.9a) [-]",
        "exit gradient [-]",
        "critical gradient [-]",
        "rules",
    ]
    rows: list[Sequence[object]] = []
    for result, stable in found:
        if stable.heave is None or stable.heave.prisms is None:
            continue
        prisms = stable.heave.prisms
        for number in np.unique(prisms.wall):
            own = np.flatnonzero(prisms.wall == number)
            worst = own[int(np.argmax(prisms.utilisation[own]))]
            column = int(prisms.column[worst])
            cell = int(stable.columns.plan[column])
            seepage, weight = float(prisms.seepage[worst]), float(prisms.weight[worst])
            used = float(prisms.utilisation[worst])
            rows.append(
                [
                    result.entry.name,
                    run.ledger.walls[int(number)].name,
                    *run.place(cell),
                    float(prisms.embedment[worst]),
                    float(prisms.width[worst]),
                    weight,
                    seepage,
                    weight / seepage if seepage > 0 else None,
                    used,
                    yes_no(used <= HELD),
                    float(prisms.total[worst]) if stable.rules.partial else None,
                    float(stable.heave.gradient[column]),
                    float(stable.heave.critical[column]),
                    stable.rules.text("heave"),
                ]
            )
    return head, rows


def _slab(found: Found) -> Table:
    head = [
        "stage",
        "weight [Pa]",
        "tension [Pa]",
        "held with factors [Pa]",
        "water under it with pumps [Pa]",
        "without [Pa]",
        "used with pumps [-]",
        "without [-]",
        "water may rise to [m]",
        "level before the work [m]",
        "rules",
    ]
    rows: list[Sequence[object]] = []
    for result, stable in found:
        slab = stable.flotation
        if slab is not None:
            now, without = slab.with_pumps, slab.without
            rows.append(
                [
                    result.entry.name,
                    now.slab.weight,
                    now.slab.tension,
                    now.held,
                    now.pressure if slab.pumped else None,
                    without.pressure,
                    now.utilisation if slab.pumped else None,
                    without.utilisation,
                    now.head_allowed,
                    without.head,
                    stable.rules.text("flotation"),
                ]
            )
    return head, rows
