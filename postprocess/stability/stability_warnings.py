"""Where a stability answer fails or leaves its method's range."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from wellring.postprocess.run.answer import HELD
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stability.face_seepage import FOOT
from wellring.postprocess.stability.stability import FloorStability
from wellring.postprocess.stage_results import StageResult

FEW_CELLS = 3
"""Cells across a prism below which its mean is coarse (own choice)."""
MATTERS = 0.2
"""Share used from which it is told that a prism is coarse (own choice)."""
TOE_CELLS = 20
"""Parts of the embedment that a cell at the toe may be at most (measured at sheet piles against the
exact solutions: with a tenth the flow is 2.3 % and the exit gradient 5 % too small)."""


def stability_warnings(
    run: RunFolder, found: Sequence[tuple[StageResult, FloorStability]]
) -> list[str]:
    """Sentences for the user, in order of the stages."""
    stages: dict[str, list[str]] = {}
    for result, stable in found:
        for text in [*_uplift(run, stable), *_seepage(run, stable), *_slab(stable)]:
            stages.setdefault(text, []).append(result.entry.name)
    return [f"{', '.join(names)}: {text}" for text, names in stages.items()]


def _uplift(run: RunFolder, stable: FloorStability) -> list[str]:
    said, columns = [], stable.columns
    for item in stable.uplift.boundaries:
        if item.utilisation > HELD:
            upper, lower = (run.ledger.units[i].label for i in (item.upper, item.lower))
            said.append(
                f"the floor HEAVES by uplift: {lower} under {upper} must be relieved by "
                f"{item.relief:.2f} m at its worst place; the head there is {item.head:.2f} m "
                f"and may be {item.head_allowed:.2f} m"
            )
    with np.errstate(invalid="ignore"):
        dry = columns.tight & (columns.heads < columns.bottom + 0.9 * columns.thickness)
    if dry.any():
        labels = dict.fromkeys(run.ledger.units[int(i)].label for i in np.unique(columns.unit[dry]))
        told = ", ".join(f"'{label}'" for label in labels)
        said.append(
            f"the water falls into {told} under the floor: a plug that dries may crack and then "
            "no longer holds water back; it is reckoned with its saturated weight"
        )
    return said


def _seepage(run: RunFolder, stable: FloorStability) -> list[str]:
    heave, said = stable.heave, []
    if stable.faces is not None:
        face = stable.faces
        said.append(
            f"water seeps from open faces up to level {face.top:.2f} m (gradient up to "
            f"{face.gradient:.2f}): loose soil washes out there. Lower the water further, or "
            "cover the face with a filter, flatten it or hold it by a wall; the slope's own "
            "stability is not judged"
        )
    if heave is None:
        return said
    at_foot = np.where(heave.foot, heave.gradient / heave.critical, 0.0)
    if np.nanmax(at_foot, initial=0.0) > 0.05:
        said.append(
            f"water rises within {FOOT:g} m of the foot of open faces (gradient "
            f"{np.nanmax(at_foot, initial=0.0):.2f} of the critical one, more in finer cells): "
            "loose soil boils and washes out there. It is not judged; weight it with a filter or "
            "lower the water further"
        )
    if heave.into_tight:
        said.append(
            "a wall's toe stands in or under tight soil: there heave by seepage is not judged; "
            "uplift of the tight soil is"
        )
    prisms = heave.prisms
    if prisms is not None:
        matters = prisms.utilisation > MATTERS
        few = matters & (prisms.cells < FEW_CELLS)
        if few.any():
            said.append(
                f"the prism at a wall is only {int(prisms.cells[few].min())} cells wide somewhere: "
                "its mean is coarse; make grid.cell smaller"
            )
        coarse = matters & (_toe_height(stable) > prisms.embedment / TOE_CELLS)
        if coarse.any():
            said.append(
                f"a wall's toe stands only {float(prisms.embedment[coarse].min()):.1f} m below the "
                "floor, which is few cells: exit gradient and seepage force come up to 5 % too "
                "small there; make grid.sublayer and grid.cell smaller"
            )
        if prisms.cut.any():
            said.append(
                "the pit is narrower than the prisms at its walls, which end at the opposite "
                "wall or at tight soil: the seepage force is the mean of what is there"
            )
        if _corners(prisms.column):
            said.append(
                "in the corners of the walls the gradient is larger than along a straight wall. "
                "The model is in three dimensions and holds that rise, as finely as its cells: "
                "sums by hand for a long straight wall give less"
            )
    return said


def _toe_height(stable: FloorStability) -> np.ndarray:
    """Height (k,) [m] of the cell above the toe beside each prism."""
    assert stable.heave is not None
    assert stable.heave.prisms is not None
    columns, prisms = stable.columns, stable.heave.prisms
    away = np.abs(columns.bottom[:, prisms.column] - prisms.toe)
    layer = np.argmin(np.where(columns.active[:, prisms.column], away, np.inf), axis=0)
    return columns.thickness[layer, prisms.column]


def _corners(column: np.ndarray) -> bool:
    """Whether a floor column touches walls on two sides."""
    return np.unique(column).size < column.size


def _slab(stable: FloorStability) -> list[str]:
    slab = stable.flotation
    if slab is None:
        return []
    if not slab.pumped:
        return [
            "no pump works in this stage, so the slab is judged against the water as it was "
            "before the work; the model still drains the floor, so this stage's inflow and "
            "levels are not those without pumps"
        ]
    if slab.without.utilisation > HELD:
        return [
            f"pumps must keep the water under the slab below {slab.without.head_allowed:.2f} m: it "
            f"would float when they stop (natural level {slab.without.head:.2f} m)"
        ]
    return []
