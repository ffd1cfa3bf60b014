"""The neighbours as marks that tell about themselves on the report's plan."""

from __future__ import annotations

import numpy as np
import shapely

from wellring.postprocess.neighbours.neighbour_tables import CRITERIA, amount, state_of
from wellring.postprocess.neighbours.neighbours import Effects, StageEffects
from wellring.postprocess.run.answer import PlanMark

MOST = 300
"""Marks on the plan, the worst neighbours."""


def neighbour_marks(effects: Effects) -> list[PlanMark]:
    """The worst neighbours, each with what it feels in every stage."""
    receptors, state = effects.receptors, state_of(effects)
    marks = []
    for place in effects.order[:MOST]:
        parts = shapely.get_parts(receptors.shapes[place])
        largest = parts[int(np.argmax(shapely.length(parts)))]
        ring = shapely.get_exterior_ring(largest)
        corners = shapely.get_coordinates(ring if ring is not None else largest)
        notes = {"": f"{state[place]}"}
        notes |= {stage.entry.folder: _note(stage, int(place)) for stage in effects.stages}
        kind = str(receptors.kind[place]).replace("_", " ")
        marks.append(PlanMark(str(receptors.name[place]), kind, corners, notes))
    return marks


def _note(stage: StageEffects, place: int) -> str:
    said = []
    for name, measure in (("drawdown", "drawdown_most"), ("settlement", "settlement_most")):
        value = stage.measures[measure][place]
        if np.isfinite(value):
            said.append(f"{CRITERIA[name][0]} {amount(name, value)}")
    which = int(stage.governing[place])
    if which >= 0:
        check = stage.checks[which]
        said.append(
            f"{CRITERIA[check.name][0]} {amount(check.name, check.value[place])} of "
            f"{amount(check.name, check.limit[place])} allowed"
        )
    return "; ".join(said)
