"""Water above the ground: a sign that less soaks in, or that the model lacks a ditch or a spring.

The model's ground has no surface that drains: recharge that tight soil cannot carry away, or what
recharge wells give too much of, raises its water table out of the ground without an end.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.units import shown
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stage_results import StageResult

ABOVE = 0.1
"""Water [m] above the ground that is worth a warning."""


def flooded_ground(run: RunFolder, results: Sequence[StageResult]) -> Iterator[str]:
    """Sentences on where, and by how much, water stands above the ground; none under rivers.

    Before the work, and in each stage where the work itself raised it.
    """
    natural = results[0]
    ground = natural.grid.top.max(axis=0, where=natural.grid.active, initial=-np.inf)
    dry_land = np.ones(ground.size, dtype=bool)
    for boundary in run.ledger.boundaries:
        if boundary.kind != "recharge":
            dry_land[np.asarray(boundary.nodes, dtype=np.intp) % ground.size] = False
    rains = any(boundary.kind == "recharge" for boundary in run.ledger.boundaries)
    before = _over(natural, ground, dry_land)
    if before is not None:
        yield _told(
            run,
            "before the work",
            before,
            "more rain is given than this ground takes and carries off: lower the recharge "
            "(paved or tight ground lets little in), or add the ditch or river that takes it"
            if rains
            else "check the levels given, or add the ditch, spring or river that takes it",
        )
    rest = np.fmax(natural.table, ground)
    for result in results[1:]:
        risen = _over(result, rest, dry_land)
        if risen is not None:
            yield _told(
                run, result.entry.name, risen, "what is given back floods the surface: give less, "
                "lower the head limit, or spread it over more points",
            )  # fmt: skip


def _over(
    result: StageResult, ground: NDArray[np.float64], where: NDArray[np.bool_]
) -> NDArray[np.float64] | None:
    """Water (n,) [m] above `ground`, 0 elsewhere; None where there is none."""
    over = np.nan_to_num(np.where(where, result.table - ground, 0.0))
    return over if over.max() > ABOVE else None


def _told(run: RunFolder, when: str, over: NDArray[np.float64], remedy: str) -> str:
    length = shown("length", run.ledger.show)
    worst = int(np.argmax(over))
    x, y = run.centres
    metres = run.ledger.metres_per_unit
    share = float(run.area[over > ABOVE].sum() / run.area.sum())
    return (
        f"{when}: the water stands up to {length.text(float(over[worst]))} above the ground, worst "
        f"at x {x[worst] / metres:.1f}, y {y[worst] / metres:.1f}, on {share:.0%} of the modelled "
        f"land; {remedy}"
    )
