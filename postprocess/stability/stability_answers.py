"""What is told of stability: uplift, exit gradient, heave and flotation of every stage."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from wellring.inputs.basics.units import WATER_UNIT_WEIGHT
from wellring.postprocess.run.answer import HELD, Answer, Part
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stability.stability import FloorStability, stabilities
from wellring.postprocess.stability.stability_in_time import add_stability_in_time
from wellring.postprocess.stability.stability_tables import stability_tables
from wellring.postprocess.stability.stability_warnings import stability_warnings
from wellring.postprocess.stage_results import StageResult

SAYS = "stability: "
ASSUMED = (
    SAYS + "friction of walls and strength of the plug are left out; pressure beneath the model's "
    "floor is not seen; each stage is judged in its steady state, and day by day where the run is "
    "followed in time",
    SAYS + "a soil above the water weighs its saturated weight less the water of its sy; a soil "
    "of kv below 1e-7 m/s keeps its water (common practice, no source)",
)
SLAB = (
    SAYS + "a slab's underside lies at formation and the floor under it stays drained while the "
    "pumps run; without pumps the water under it is that of before the work, which holds once "
    "all pumps and drains have stopped; floods above that are not counted"
)


def assess_stability(run: RunFolder, results: Sequence[StageResult]) -> Part:
    """Answers, tables, warnings and assumptions on stability of the floor and of slabs."""
    part = Part()
    found = [
        (result, stable)
        for result, stable in zip(results, stabilities(run, results), strict=True)
        if stable is not None
    ]
    if not found:
        return part
    part.assumptions += [*ASSUMED, *found[0][1].rules.assumptions]
    if any(stable.flotation is not None for _, stable in found):
        part.assumptions.append(SLAB)
    for result, stable in found:
        _uplift(run, result, stable, part)
        if stable.heave is not None:
            _exit_gradient(run, result, stable, part)
            _heave(run, result, stable, part)
        _flotation(result, stable, part)
    part.tables |= stability_tables(run, found)
    part.warnings += stability_warnings(run, found)
    add_stability_in_time(run, found, part)
    return part


def place_text(run: RunFolder, cell: int) -> str:
    """A plan cell's place in the site's coordinates."""
    x, y = run.place(cell)
    return f"x {x:.1f}, y {y:.1f}"


def _uplift(run: RunFolder, result: StageResult, stable: FloorStability, part: Part) -> None:
    key, name, columns = result.entry.folder, result.entry.name, stable.columns
    if not stable.uplift.boundaries:
        part.answers[f"{key}.uplift"] = Answer(
            None, "1", "no soil boundary lies under the floor", f"{name}: uplift", "ratio"
        )
        return
    worst = stable.uplift.boundaries[0]
    upper, lower = (run.ledger.units[index].label for index in (worst.upper, worst.lower))
    where = (
        f"at the base of {upper} over {lower}, level {worst.level:.2f} m, "
        f"{place_text(run, int(columns.plan[worst.column]))}"
    )
    part.answers[f"{key}.uplift"] = Answer(
        worst.utilisation,
        "1",
        f"share used of the weight that holds the floor down; {stable.rules.text('uplift')}; "
        f"{where}: weight {worst.stress / 1e3:.1f} kPa, water {worst.pressure / 1e3:.1f} kPa "
        f"(head {worst.head:.2f} m)",
        f"{name}: uplift",
        "ratio",
        1.0,
        worst.utilisation <= HELD,
    )
    part.answers[f"{key}.uplift_factor"] = Answer(
        worst.factor,
        "1",
        f"weight over water pressure, no partial factors, {where}",
        f"{name}: weight over uplift",
        "ratio",
    )
    part.answers[f"{key}.uplift_head_to_reach"] = Answer(
        worst.head_allowed,
        "m",
        f"head in {lower} at which the rules just hold, {where}; the model has {worst.head:.2f} m",
        f"{name}: … head it may have",
        "level",
    )
    part.answers[f"{key}.uplift_relief"] = Answer(
        max(item.relief for item in stable.uplift.boundaries),
        "m",
        "largest lowering of head still needed at any soil boundary under the floor",
        f"{name}: … head still to be relieved",
        "length",
    )


def _exit_gradient(run: RunFolder, result: StageResult, stable: FloorStability, part: Part) -> None:
    assert stable.heave is not None
    key, name, used = result.entry.folder, result.entry.name, stable.gradient_used
    if np.isnan(used).all():
        part.answers[f"{key}.exit_gradient"] = Answer(
            None,
            "1",
            "the floor is tight soil, which uplift judges, or the foot of open faces",
            f"{name}: exit gradient",
            "ratio",
        )
        return
    worst = int(np.nanargmax(used))
    factor = stable.rules.factors["exit_gradient_factor"]
    critical = float(stable.heave.critical[worst])
    where = place_text(run, int(stable.columns.plan[worst]))
    part.answers[f"{key}.exit_gradient"] = Answer(
        float(stable.heave.gradient[worst]),
        "1",
        "upward gradient between the floor and the middle of the first cell, "
        f"{where if used[worst] > 0 else 'no water rises to the floor'}; critical {critical:.3f} "
        f"(submerged over water's weight), over the factor {factor:g}",
        f"{name}: exit gradient",
        "ratio",
        critical / factor,
        bool(used[worst] <= HELD),
    )


def _heave(run: RunFolder, result: StageResult, stable: FloorStability, part: Part) -> None:
    heave = stable.heave
    assert heave is not None
    key, name, columns = result.entry.folder, result.entry.name, stable.columns
    text = stable.rules.text("heave")
    if np.isnan(heave.judged).all():
        part.answers[f"{key}.heave"] = Answer(
            None,
            "1",
            "the floor is tight soil, which uplift judges, or the foot of open faces",
            f"{name}: seepage heave",
            "ratio",
        )
        return
    worst = int(np.nanargmax(heave.judged))
    basis = f"share used of the submerged weight over single columns; {text}"
    if heave.prisms is not None:
        prism = int(np.argmax(heave.prisms.utilisation))
        wall = run.ledger.walls[int(heave.prisms.wall[prism])].name
        cell = int(columns.plan[heave.prisms.column[prism]])
        basis = (
            "share used of the submerged weight, over the prism of half the embedment along "
            f"walls and single columns elsewhere; {text}; worst prism at '{wall}', "
            f"{place_text(run, cell)}: {heave.prisms.embedment[prism]:.2f} m deep, "
            f"{heave.prisms.width[prism]:.2f} m wide, submerged weight "
            f"{heave.prisms.weight[prism] / 1e3:.1f} kPa, seepage "
            f"{heave.prisms.seepage[prism] / 1e3:.1f} kPa"
        )
        part.answers[f"{key}.heave_prism"] = Answer(
            float(heave.prisms.utilisation[prism]),
            "1",
            basis,
            f"{name}: … of the worst prism at a wall",
            "ratio",
        )
    part.answers[f"{key}.heave"] = Answer(
        float(heave.judged[worst]),
        "1",
        f"{basis}; governing at {place_text(run, int(columns.plan[worst]))}",
        f"{name}: seepage heave",
        "ratio",
        1.0,
        bool(heave.judged[worst] <= HELD),
    )
    _total_stress(run, result, stable, part)
    column = int(np.nanargmax(heave.column))
    part.answers[f"{key}.heave_column"] = Answer(
        float(heave.column[column]),
        "1",
        f"the worst single column of cells, {place_text(run, int(columns.plan[column]))}, down "
        f"to {heave.level[column]:.2f} m; not judged at walls, where the prism is, "
        "nor at the foot of open faces",
        f"{name}: … of the worst single column",
        "ratio",
    )


def _total_stress(run: RunFolder, result: StageResult, stable: FloorStability, part: Part) -> None:
    """Heave by EN 1997-1, expression (2.9a), beside (2.9b); without a verdict of its own."""
    assert stable.heave is not None
    if np.isnan(stable.heave.total).all():
        return
    worst = int(np.nanargmax(stable.heave.total))
    factors = stable.rules.factors
    part.answers[f"{result.entry.folder}.heave_total_stress"] = Answer(
        float(stable.heave.total[worst]),
        "1",
        "EN 1997-1 HYD, expression (2.9a): pore water pressure against total stress at the base "
        f"of prisms and columns, factors {factors['heave_destabilising']:g} and "
        f"{factors['heave_stabilising']:g}; governing at "
        f"{place_text(run, int(stable.columns.plan[worst]))}. EN 1997-1 allows either form, and "
        "this one factors the hydrostatic pressure too: see the national annex. The verdict is "
        "that of (2.9b), seepage force against submerged weight",
        f"{result.entry.name}: … in total stresses (2.9a)",
        "ratio",
    )


def _flotation(result: StageResult, stable: FloorStability, part: Part) -> None:
    found = stable.flotation
    if found is None:
        return
    key, name, text = result.entry.folder, result.entry.name, stable.rules.text("flotation")
    now, without = found.now, found.without
    state = "with the stage's pumps" if found.pumped else "no pump works in this stage"
    part.answers[f"{key}.flotation"] = Answer(
        now.utilisation,
        "1",
        f"share used of what holds the slab down, {state}; {text}; held {now.held / 1e3:.1f} "
        f"kPa, water {now.pressure / 1e3:.1f} kPa over the floor",
        f"{name}: flotation of the slab",
        "ratio",
        1.0,
        now.utilisation <= HELD,
    )
    part.answers[f"{key}.flotation_without_pumps"] = Answer(
        without.utilisation,
        "1",
        f"as above once all pumps have stopped: water {without.pressure / 1e3:.1f} kPa, level "
        f"{without.head:.2f} m as before the work",
        f"{name}: … with all pumps stopped",
        "ratio",
    )
    part.answers[f"{key}.flotation_head_allowed"] = Answer(
        now.head_allowed,
        "m",
        f"formation + {now.held / 1e3:.1f} kPa / {WATER_UNIT_WEIGHT / 1e3:.2f} kN/m³",
        f"{name}: … water may rise to",
        "level",
    )
