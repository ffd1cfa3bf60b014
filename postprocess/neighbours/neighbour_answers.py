"""What is told of the neighbours: the worst of each kind, who exceeds a limit, tables, cautions."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from wellring.postprocess.neighbours.building_damage import DAMAGE, RANKIN
from wellring.postprocess.neighbours.neighbour_marks import neighbour_marks
from wellring.postprocess.neighbours.neighbour_tables import CRITERIA, amount, by_stage, worst_first
from wellring.postprocess.neighbours.neighbours import Effects, StageEffects, effects_on_neighbours
from wellring.postprocess.run.answer import Answer, Part
from wellring.postprocess.run.run_folder import RunFolder

if TYPE_CHECKING:
    from wellring.postprocess.stage_results import StageResult

Floats = NDArray[np.float64]

_LARGEST = {
    "building": ("settlement", "drawdown"),
    "utility": ("settlement", "drawdown"),
    "well": ("drawdown",),
    "surface_water": ("depletion", "drawdown"),
    "wetland": ("drawdown",),
}
"""What is told of a kind's worst even without a limit."""
_PLURAL = {
    "building": "Buildings",
    "utility": "Utilities",
    "well": "Wells of others",
    "surface_water": "Surface water",
    "wetland": "Wetlands",
}
_MEASURE = {
    "settlement": "settlement_most",
    "drawdown": "drawdown_most",
    "depletion": "depletion",
}
_METHOD = {
    "building": "of the water table or the head in any layer, whichever falls most",
    "utility": "of the water table or the head in any layer, whichever falls most",
    "well": "of the head in the layer it draws most from",
    "surface_water": "of the water table along it",
    "wetland": "of the water table within it",
}
SCREENING = (
    "neighbours: classes of damage are screening; they know nothing of a building's state, joints "
    "and stiffness. Local codes and a licensed engineer decide; survey before the work, measure "
    "during it"
)


def assess_neighbours(run: RunFolder, results: Sequence[StageResult]) -> Part:
    """Answers, tables, warnings and assumptions on the neighbours; nothing where there are none."""
    effects = effects_on_neighbours(run, results)
    if effects is None:
        return Part()
    part = Part(assumptions=_assumptions(effects), warnings=_warnings(effects), title="Neighbours")
    part.marks += neighbour_marks(effects)
    _overall(effects, part)
    for kind in _LARGEST:
        if effects.receptors.is_kind(kind).any():
            _kind_answers(effects, kind, part)
    part.tables["neighbours"] = worst_first(run, effects)
    part.tables["neighbours_by_stage"] = by_stage(effects)
    return part


def _overall(effects: Effects, part: Part) -> None:
    over, judged = effects.over, effects.judged
    part.answers["neighbours.over_limit"] = Answer(
        float(over.sum()),
        "1",
        f"{int(judged.sum())} of {len(effects.receptors)} neighbours have a limit that could be "
        "compared; steady state and final settlement of every stage",
        "Neighbours over a limit",
        "count",
        0.0 if judged.any() else None,
        not bool(over.any()) if judged.any() else None,
    )
    _in_time(effects, part)
    first = int(effects.order[0])
    stage = effects.stages[effects.worst_stage[first]]
    text = _worst_text(effects, stage, first)
    part.answers["neighbours.worst"] = Answer(
        text, "", "largest part of a limit taken up, else most settlement and drawdown",
        "Worst neighbour", "text", None, None,
    )  # fmt: skip


def _in_time(effects: Effects, part: Part) -> None:
    """How many exceed a limit within the days followed, and who first."""
    found = effects.in_time
    if found is None:
        return
    there = np.isfinite(found.day)
    basis = "drawdown, settlement and rivers' flows from the model's own heads in time"
    part.answers["neighbours.over_limit_in_time"] = Answer(
        float(there.sum()),
        "1",
        f"{basis}, up to day {found.until:g}",
        "… within the days followed",
        "count",
        0.0 if effects.judged.any() else None,
        not bool(there.any()) if effects.judged.any() else None,
    )
    first = int(np.nanargmin(found.day)) if there.any() else -1
    part.answers["neighbours.first_exceedance"] = Answer(
        float(found.day[first]) if there.any() else f"none by day {found.until:g}",
        "day" if there.any() else "",
        f"{basis}; " + (
            f"{effects.receptors.name[first]}" if there.any() else "no limit is exceeded"
        ),
        "First day on which a neighbour exceeds a limit",
        "day" if there.any() else "text",
    )  # fmt: skip


def _worst_text(effects: Effects, stage: StageEffects, place: int) -> str:
    name = f"{effects.receptors.name[place]} ({effects.receptors.kind[place].replace('_', ' ')})"
    which = int(stage.governing[place])
    if which < 0:
        return f"{name}, {stage.entry.name}"
    check = stage.checks[which]
    return (
        f"{name}: {CRITERIA[check.name][0]} {amount(check.name, check.value[place])} of "
        f"{amount(check.name, check.limit[place])} allowed, {stage.entry.name}"
    )


def _kind_answers(effects: Effects, kind: str, part: Part) -> None:
    """The worst of one kind by every criterion with a limit, and by what is told in any case."""
    own = effects.receptors.is_kind(kind)
    told: set[str] = set()
    for name, (called, unit, how) in CRITERIA.items():
        best: tuple[float, int, StageEffects, int] | None = None
        for stage in effects.stages:
            for number, check in enumerate(stage.checks):
                use = np.where(own, check.use, np.nan)
                if check.name == name and np.isfinite(check.value[own]).any():
                    at = int(np.nanargmax(np.where(np.isnan(use), -np.inf, use)))
                    if best is None or use[at] > best[0]:
                        best = float(use[at]), at, stage, number
        if best is None:
            continue
        told.add(name)
        _, at, stage, number = best
        check = stage.checks[number]
        part.answers[f"neighbours.{kind}.{name}"] = Answer(
            float(check.value[at]),
            unit,
            f"{effects.receptors.name[at]}, {stage.entry.name}{_how(kind, name)}",
            f"{_PLURAL[kind]}: worst {called}",
            how,
            float(check.limit[at]),
            not bool(check.over[at]),
        )
    for name in _LARGEST[kind]:
        values = np.stack(
            [np.where(own, s.measures[_MEASURE[name]], np.nan) for s in effects.stages]
        )
        if name in told or not np.isfinite(values).any():
            continue
        number, at = divmod(int(np.nanargmax(values)), values.shape[1])
        called, unit, how = CRITERIA[name]
        part.answers[f"neighbours.{kind}.{name}"] = Answer(
            float(values[number, at]),
            unit,
            f"{effects.receptors.name[at]}, {effects.stages[number].entry.name}"
            f"{_how(kind, name)}; no limit given",
            f"{_PLURAL[kind]}: most {called}",
            how,
        )
    if kind == "building":
        _class_answers(effects, part)


def _how(kind: str, name: str) -> str:
    return f"; {_METHOD[kind]}" if name in ("drawdown", "available") else ""


def _class_answers(effects: Effects, part: Part) -> None:
    for name, words, source, label in (
        ("rankin", RANKIN, "Rankin (1988), by greatest settlement and slope", "Rankin class"),
        (
            "damage",
            DAMAGE,
            "Boscardin and Cording (1989), by tensile strain from angular distortion and, where "
            "the height is given, bending as a deep beam (Burland and Wroth 1974)",
            "damage category",
        ),
    ):
        values = np.stack([stage.measures[name] for stage in effects.stages])
        if not np.isfinite(values).any():
            continue
        number, at = divmod(int(np.nanargmax(values)), values.shape[1])
        worst = np.nanmax(values)
        count = int((np.fmax.reduce(values) == worst).sum())
        part.answers[f"neighbours.building.{name}"] = Answer(
            words[int(worst)],
            "",
            f"{source}; {count} building{'s' if count > 1 else ''}, one is "
            f"{effects.receptors.name[at]} in {effects.stages[number].entry.name}",
            f"Buildings: worst {label}",
            "text",
        )


def _assumptions(effects: Effects) -> list[str]:
    said = ["neighbours: judged by the steady state and the final settlement of each stage"]
    said[0] += (
        "; the day of first exceedance is the day on which that stage begins"
        if effects.in_time is None
        else ", and by every step in time, which gives the day of first exceedance"
    )
    building = effects.receptors.is_kind("building")
    if building.any():
        height = effects.receptors.numbers["height"][building]
        strain = effects.receptors.numbers["strain"][building]
        if np.isnan(height).any():
            said.append(
                f"{int(np.isnan(height).sum())} of {height.size} buildings have no height: their "
                "damage category is by angular distortion alone (Boscardin and Cording 1989)"
            )
        if np.isnan(strain).any():
            said.append(
                "horizontal strain of the ground is taken as 0 where no strain attribute gives it: "
                "a wide trough of lowered water stretches the ground little, moving walls do more"
            )
    wells = effects.receptors.is_kind("well")
    bare = wells & np.isnan(effects.receptors.numbers["own_drawdown"])
    if bare.any():
        said.append(
            f"{int(bare.sum())} neighbours' wells have no own_drawdown: the water that their own "
            "pumping needs is taken as 0"
        )
    return said


def _warnings(effects: Effects) -> list[str]:
    names, said = effects.receptors.name, list(effects.notes)
    for which, text in (
        (effects.outside, "outside the modelled ground and not assessed"),
        (effects.partly, "partly outside the modelled ground, assessed by the part inside"),
    ):
        if which.any():
            said.append(f"neighbours {text}: {_some(names[which])}")
    wells = effects.receptors.is_kind("well") & ~effects.outside
    blind = wells & np.isnan(effects.worst("available"))
    if blind.any():
        said.append(
            f"neighbours' wells without pump_level, bottom or depth, whose available water is not "
            f"judged: {_some(names[blind])}"
        )
    last = effects.stages[-1].measures["pile_cover"]
    before = last + effects.stages[-1].measures["table_fall"]
    with np.errstate(invalid="ignore"):
        dry = before < 0
    if dry.any():
        said.append(
            f"the water lies below the heads of wood piles before the work: {_some(names[dry])}"
        )
    severe = effects.worst("damage") >= 3
    if effects.receptors.is_kind("building").any():
        said.append(SCREENING)
    if severe.any():
        said.append(
            f"damage of category moderate or worse is reckoned for {_some(names[severe])}: "
            "screening is not enough there"
        )
    return said


def _some(names: NDArray[np.object_]) -> str:
    listed = ", ".join(f"'{name}'" for name in names[:5])
    return f"{listed} and {names.size - 5} more" if names.size > 5 else listed
