"""The neighbours as vector layers: areas, lines and points, each in its worst stage."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from wellring.postprocess.neighbours.building_damage import DAMAGE, RANKIN
from wellring.postprocess.neighbours.neighbour_tables import CRITERIA, state_of
from wellring.postprocess.neighbours.neighbours import effects_on_neighbours
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.run.site_layer import site_layer

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from wellring.postprocess.stage_results import StageResult

_FORMS = {"areas": 2, "lines": 1, "points": 0}
"""Layers by the dimension of what they hold."""
_MEASURES = {
    "drawdown_least_m": ("drawdown_least", 1.0),
    "drawdown_most_m": ("drawdown_most", 1.0),
    "settled_least_mm": ("settlement_least", 1e3),
    "settled_most_mm": ("settlement_most", 1e3),
    "differential_mm": ("differential", 1e3),
    "slope": ("slope", 1.0),
    "distortion": ("distortion", 1.0),
    "strain": ("strain", 1.0),
    "available_m": ("available", 1.0),
    "pile_cover_m": ("pile_cover", 1.0),
    "flow_lost_m3_s": ("depletion", 1.0),
    "share_lost": ("share", 1.0),
}


def neighbour_layers(run: RunFolder, results: Sequence[StageResult]) -> dict[str, GeoDataFrame]:
    """Layers `neighbours_areas`, `neighbours_lines` and `neighbours_points`, worst first.

    `rank` counts from 1, the worst, over all layers; values are those of each one's worst stage.
    """
    effects = effects_on_neighbours(run, results)
    if effects is None:
        return {}
    receptors, order = effects.receptors, effects.order
    stages = effects.stages
    first = effects.first_over()
    criterion = [_criterion(stages[k], i) for i, k in enumerate(effects.worst_stage)]
    columns: dict[str, Any] = {
        "rank": np.argsort(order) + 1,
        "name": receptors.name,
        "kind": receptors.kind,
        "of": receptors.layer,
        "state": state_of(effects),
        "criterion": np.array(criterion, dtype=object),
        "part_of_limit": effects.worst("use"),
        "stage": np.array([stages[k].entry.name for k in effects.worst_stage], dtype=object),
        "over_from_stage": np.array(
            [stages[k].entry.name if k >= 0 else "" for k in first], dtype=object
        ),
        "over_from_day": effects.first_day(),
        "rankin": _words(RANKIN, effects.worst("rankin")),
        "damage": _words(DAMAGE, effects.worst("damage")),
        **{key: effects.worst(name) * factor for key, (name, factor) in _MEASURES.items()},
    }
    dimension = shapely.get_dimensions(receptors.shapes)
    found = {}
    for form, wanted in _FORMS.items():
        own = order[dimension[order] == wanted]
        if own.size:
            chosen = {key: values[own] for key, values in columns.items()}
            found[f"neighbours_{form}"] = site_layer(run, chosen, receptors.shapes[own])
    return found


def _criterion(stage: Any, place: int) -> str:
    which = int(stage.governing[place])
    return "" if which < 0 else CRITERIA[stage.checks[which].name][0]


def _words(words: Sequence[str], places: Any) -> Any:
    return np.array([words[int(p)] if np.isfinite(p) else "" for p in places], dtype=object)
