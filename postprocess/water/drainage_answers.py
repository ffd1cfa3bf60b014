"""How the drainage does: why a stage is not dry, and what would help."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

import numpy as np

from wellring.inputs.basics.units import shown
from wellring.postprocess.run.answer import Part
from wellring.postprocess.run.heads import saturated
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stage_results import StageResult
from wellring.postprocess.water.drainage_groups import DrainageGroup, drainage_groups, sump_of
from wellring.postprocess.water.dryness import Dryness

_WORDS = {
    "level": ("hold their lowest level and draw no deeper", "closer points or a lower level"),
    "pump": ("give all that they can lift", "more points or stronger ones"),
    "screen": ("take in all that their screens can", "more points or longer screens"),
    "rate": ("give the flow asked of them", "a larger flow"),
    "header pump": ("are held back by their header's pump", "a stronger pump or more headers"),
    "dry": ("stand in ground that is dug away or dry", "deeper screens"),
    "no inflow": ("are shut, since no water stands above their level", "a lower level"),
}
"""What governs a point, in words, and what would help."""


def assess_drainage(run: RunFolder, results: Sequence[StageResult]) -> Part:
    """The reason for every stage that is not dry."""
    part = Part(title="Drainage")
    groups, sump = drainage_groups(run), sump_of(run)
    for result in results[1:]:
        if result.dryness is not None and result.dryness.dry is False:
            part.warnings.append(_why_not_dry(run, result, groups, sump is not None))
        part.warnings += _too_fast(run, result, groups)
    return part


def _too_fast(
    run: RunFolder, result: StageResult, groups: Sequence[DrainageGroup]
) -> Iterator[str]:
    """Passive wells that count for less than would flow freely."""
    stage = run.ledger.stages.index(result.entry)
    flow, length = (shown(kind, run.ledger.show) for kind in ("flow", "length"))
    for group in groups:
        if group.table.method != "relief wells":
            continue
        capped = [well for well in group.wells if well.governing[stage] == "screen"]
        if not capped:
            continue
        left = [
            (level - well.lowest, well)
            for well in capped
            if (level := well.level[stage]) is not None
        ]
        most, worst = max(left, key=lambda item: item[0])
        yield (
            f"{result.entry.name}: {len(capped)} of {len(group.wells)} of {group.label} count with "
            "the flow that their screens can take without sand (Sichardt 1928), at worst "
            f"'{worst.name}' with {flow.text(worst.flow[stage])}: the head in it stays "
            f"{length.text(most)} above its outlet, and uplift is judged with that head. Flowing "
            "freely they would give more, but fast water carries sand: more or wider wells, longer "
            "screens, or a filter designed for this speed"
        )


def _why_not_dry(
    run: RunFolder, result: StageResult, groups: Sequence[DrainageGroup], sump: bool
) -> str:
    dry = result.dryness
    assert dry is not None
    assert dry.margin is not None
    length = shown("length", run.ledger.show)
    state = (
        f"{length.text(dry.margin)} below formation of {length.text(dry.needed)} needed"
        if dry.margin >= 0
        else f"{length.text(-dry.margin)} above formation"
    )
    stage = run.ledger.stages.index(result.entry)
    reasons, remedies = _what_governs(groups, stage)
    if sump:
        reasons.insert(0, "a sump lowers no water below the floor it drains")
        remedies.insert(0, "wells or wellpoints beside the sump")
    elif not reasons:
        reasons.append("no drainage point is at work")
        remedies.append("points that work in this stage")
    perched = _perched_on(run, result, dry)
    if perched is not None:
        reasons.append(f"the water there is perched on {perched}, beneath which it is dry")
        remedies.append("points that end on that soil, or a sump for what stays")
    return (
        f"{result.entry.name} is not dry: water stands {state} at ({dry.x:.1f}, {dry.y:.1f}). "
        f"Why: {'; '.join(reasons)}. "
        f"What would help: {'; '.join(dict.fromkeys(remedies))}"
    )


def _what_governs(groups: Sequence[DrainageGroup], stage: int) -> tuple[list[str], list[str]]:
    """For each group at work, what most of its points are limited by, and what would help."""
    reasons, remedies = [], []
    for group in groups:
        if not group.stands(stage) or group.table.method.startswith("recharge"):
            continue
        counts = Counter(well.governing[stage] for well in group.wells)
        passive = group.table.method == "relief wells"
        for governing, count in counts.most_common():
            if governing not in _WORDS or (passive and governing == "level"):
                continue
            words, remedy = _WORDS[governing]
            reasons.append(f"{count} of {len(group.wells)} of {group.label} {words}")
            if governing != "rate":
                remedies.append(remedy)
    return reasons, remedies


def _perched_on(run: RunFolder, result: StageResult, dry: Dryness) -> str | None:
    """The soil on which the highest water under the floor stands, where it is dry below that."""
    grid, heads = result.grid, result.heads
    cell = int(dry.plan[int(np.nanargmin(dry.depth_below))])
    wet, active = saturated(grid, heads)[:, cell], grid.active[:, cell]
    if not wet.any():
        return None
    first = int(np.argmax(wet))
    below = np.flatnonzero(active & ~wet)
    below = below[below > first]
    if not below.size:
        return None
    bed = np.flatnonzero(wet[: below[0]])[-1]
    return run.ledger.units[int(run.unit[bed, cell])].soil
