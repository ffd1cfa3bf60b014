"""Tables of the neighbours: the worst of each first, and every stage."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from wellring.postprocess.neighbours.building_damage import DAMAGE, RANKIN
from wellring.postprocess.neighbours.neighbours import Effects, StageEffects
from wellring.postprocess.run.answer import Table, number, yes_no
from wellring.postprocess.run.run_folder import RunFolder

CRITERIA = {
    "settlement": ("settlement", "m", "settlement"),
    "differential": ("differential settlement", "m", "settlement"),
    "slope": ("slope", "1", "slope"),
    "distortion": ("angular distortion", "1", "slope"),
    "drawdown": ("drawdown", "m", "fall"),
    "depletion": ("flow lost", "m3/s", "flow"),
    "share": ("share lost", "1", "share"),
    "available": ("drawdown against the water over its pump or bottom", "m", "fall"),
    "cover": ("fall of the water table against what the pile heads allow", "m", "fall"),
}
"""What each criterion is called, its unit and how it is shown."""


def amount(name: str, value: float) -> str:
    """A value of a criterion as text."""
    kind = CRITERIA[name][2]
    if kind == "settlement":
        return f"{value * 1e3:.1f} mm"
    if kind == "slope":
        return f"1 in {1 / value:,.0f}" if value > 1e-6 else "0"
    if kind == "flow":
        return f"{value * 3600:.1f} m³/h"
    return f"{value:.0%}" if kind == "share" else f"{value:.2f} m"


def state_of(effects: Effects) -> NDArray[np.object_]:
    """(n,) "over a limit", "within limits", "no limit given" or "not assessed"."""
    found = np.where(effects.judged, "within limits", "no limit given").astype(object)
    found[effects.over] = "over a limit"
    found[effects.outside] = "not assessed"
    return found


_COLUMNS = (
    ("drawdown least [m]", "drawdown_least"),
    ("drawdown most [m]", "drawdown_most"),
    ("fall of water table [m]", "table_fall"),
    ("settlement least [m]", "settlement_least"),
    ("settlement most [m]", "settlement_most"),
    ("settlement most at stage end [m]", "settlement_at_end"),
    ("differential settlement [m]", "differential"),
    ("slope [-]", "slope"),
    ("angular distortion [-]", "distortion"),
    ("deflection ratio [-]", "deflection"),
    ("tensile strain [-]", "strain"),
    ("available water [m]", "available"),
    ("water over pile heads [m]", "pile_cover"),
    ("flow lost [m3/s]", "depletion"),
    ("share lost [-]", "share"),
)


def worst_first(run: RunFolder, effects: Effects) -> Table:
    """One row a neighbour in its worst stage, the worst neighbour first."""
    receptors, state, first = effects.receptors, state_of(effects), effects.first_over()
    day, how = effects.first_day(), _told_by(effects)
    head = [
        "name", "kind", "layer", "state", "governing criterion", "value", "limit", "part of limit",
        "stage", "over a limit from stage", "over a limit from day", "day by", "Rankin class",
        "damage category", *(heading for heading, _ in _COLUMNS), "nearest to pit [m]",
    ]  # fmt: skip
    distance = shapely.distance(receptors.shapes, shapely.Polygon(run.ledger.outline))
    rankin, damage = effects.worst("rankin"), effects.worst("damage")
    measures = [effects.worst(name) for _, name in _COLUMNS]
    rows: list[Sequence[object]] = []
    for i in effects.order:
        stage = effects.stages[effects.worst_stage[i]]
        since = effects.stages[first[i]].entry if first[i] >= 0 else None
        rows.append(
            [
                receptors.name[i],
                receptors.kind[i],
                receptors.layer[i],
                state[i],
                *_governing(stage, int(i)),
                stage.entry.name,
                since.name if since else None,
                number(day[i]),
                how[i] if since else None,
                _word(RANKIN, rankin[i]),
                _word(DAMAGE, damage[i]),
                *(number(values[i]) for values in measures),
                float(distance[i]),
            ]
        )
    return head, rows


def _told_by(effects: Effects) -> NDArray[np.object_]:
    """(n,) how the day of the first exceedance is known."""
    count = len(effects.receptors)
    if effects.in_time is None:
        return np.full(count, "the stage begins, its steady state", dtype=object)
    late = f"not by day {effects.in_time.until:g}, in the steady state"
    there = np.isfinite(effects.in_time.day)
    return np.where(there, "followed in time", late).astype(object)


def _governing(stage: StageEffects, place: int) -> list[object]:
    which = int(stage.governing[place])
    if which < 0:
        return [None, None, None, None]
    check = stage.checks[which]
    values = (check.value[place], check.limit[place], check.use[place])
    return [CRITERIA[check.name][0], *(number(value) for value in values)]


def by_stage(effects: Effects) -> Table:
    """One row a neighbour and stage, for those that feel a millimetre of settlement or 1 cm."""
    head = ["stage", "day", "name", "kind", "over a limit", *(h for h, _ in _COLUMNS)]
    rows: list[Sequence[object]] = []
    receptors = effects.receptors
    for stage in effects.stages:
        with np.errstate(invalid="ignore"):
            felt = (stage.measures["settlement_most"] >= 1e-3) | (
                stage.measures["drawdown_most"] >= 0.01
            )
        measures = [stage.measures[name] for _, name in _COLUMNS]
        for i in effects.order[(felt | stage.over)[effects.order]]:
            rows.append(
                [
                    stage.entry.name,
                    stage.entry.day,
                    receptors.name[i],
                    receptors.kind[i],
                    yes_no(bool(stage.over[i]) if np.isfinite(stage.use[i]) else None),
                    *(number(values[i]) for values in measures),
                ]
            )
    return head, rows


def _word(words: Sequence[str], place: float) -> str | None:
    return words[int(place)] if np.isfinite(place) else None
