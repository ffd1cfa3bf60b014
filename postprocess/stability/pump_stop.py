"""May the pumps stop once a slab is cast: all of them, and the points of one drainage table alone.

Judged by the heads that come back (`recovered_heads`) against
the weight of every plug and of the slab. Relief wells that are left open when no pump works any
more pass the head of their aquifer on to the slab's underside, since nothing takes their water.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stability.enclosed_water import enclosed_head
from wellring.postprocess.stability.floor_check import FloorCheck, check_floor
from wellring.postprocess.stability.stability import FloorStability, recovered_heads, stabilities
from wellring.postprocess.stage_results import StageResult
from wellring.postprocess.water.drainage_groups import DrainageGroup, drainage_groups, sump_of

Floats = NDArray[np.float64]

ALL = "all pumps"
SEALED, OPEN = "sealed", "open"
"""State of the relief wells."""


@dataclass(frozen=True)
class StopCheck:
    """What happens to one stage's floor when something stops.

    Parameters
    ----------
    result : the stage.
    stops : label of the drainage table that stops; :data:`ALL` for all pumps.
    relief : state of the relief wells then; "" where there are none or they stay as they are.
    check : the floor under the heads it was judged by.
    holds : None where those heads do not decide; `why` then says why.
    """

    result: StageResult
    stops: str
    relief: str
    check: FloorCheck
    holds: bool | None
    why: str = ""

    def text(self, run: RunFolder) -> str:
        """What was found, in words."""
        return self.why or self.check.text(run)


@dataclass(frozen=True)
class PumpStop:
    """Whether the pumps may stop, for every stage with a slab in order.

    Parameters
    ----------
    stages : by stage, what happens when all pumps stop: relief wells sealed first, then left open.
    groups : the same when the points of one drainage table stop alone.
    """

    stages: list[list[StopCheck]]
    groups: list[StopCheck]

    @staticmethod
    def _holds(checks: Sequence[StopCheck]) -> bool | None:
        """With relief wells sealed, which is how pumping ends."""
        return checks[0].holds

    @property
    def since(self) -> int | None:
        """Number of the first of `stages` from which on all hold; None where there is none."""
        found = None
        for number in reversed(range(len(self.stages))):
            if self._holds(self.stages[number]) is not True:
                break
            found = number
        return found

    @property
    def holds(self) -> bool | None:
        """Whether the pumps may stop in the end; None where that is not judged."""
        return self._holds(self.stages[-1])

    @property
    def must_seal(self) -> bool:
        """Whether relief wells that are left open would lift what holds when they are sealed."""
        return self.since is not None and any(
            check.holds is not True for checks in self.stages[self.since :] for check in checks[1:]
        )

    @property
    def decisive(self) -> StopCheck:
        """The check that decides: the closest one of those that hold, else the last that fails."""
        if self.since is None:
            return self.stages[-1][0]
        held = [checks[0] for checks in self.stages[self.since :]]
        return max(held, key=lambda check: check.check.utilisation or 0.0)


def pump_stop(run: RunFolder, results: Sequence[StageResult]) -> PumpStop | None:
    """Judge all stages with a slab; None where none is cast. Found once and kept."""
    natural = results[0]
    if natural.pump_stop is None:
        found = [
            (result, stable)
            for result, stable in zip(results, stabilities(run, results), strict=True)
            if stable is not None and stable.slab is not None
        ]
        if found:
            stages = [_all_stop(run, natural, *pair) for pair in found]
            natural.pump_stop = PumpStop(
                stages,
                [
                    item
                    for pair, everything in zip(found, stages, strict=True)
                    for item in _groups_stop(run, natural, *pair, everything)
                ],
            )
    return natural.pump_stop


def _all_stop(
    run: RunFolder, natural: StageResult, result: StageResult, stable: FloorStability
) -> list[StopCheck]:
    number = run.ledger.stages.index(result.entry)
    relief = [
        group
        for group in drainage_groups(run)
        if group.table.method == "relief wells" and group.stands(number)
    ]
    sealed = _enclosed(run, natural, result, stable, SEALED if relief else "")
    if not relief:
        return [sealed]
    # Open wells join their aquifer to the water under the slab: that head acts there.
    head = max(_natural_head(run, natural, result, group) for group in relief)
    joined = check_floor(
        run, result, recovered_heads(natural, result), stable.rules, stable.slab,
        lightest=stable.columns, under_slab=head,
    )  # fmt: skip
    return [sealed, StopCheck(result, ALL, OPEN, joined, joined.holds)]


def _enclosed(
    run: RunFolder, natural: StageResult, result: StageResult, stable: FloorStability, relief: str
) -> StopCheck:
    """All pumps out and no relief well open."""
    check = stable.recovered
    head = enclosed_head(run, natural, result, stable.columns)
    if check.holds is True and head is not None:
        raised = check_floor(
            run, result, recovered_heads(natural, result), stable.rules, stable.slab,
            lightest=stable.columns, under_slab=head,
        )  # fmt: skip
        if raised.holds is not True:
            return StopCheck(
                result, ALL, relief, raised, None,
                f"walls close the ground under the slab off, and the pressure beneath may raise "
                f"the water in it up to {head:.2f} m (leakage of walls against that of the plug); "
                f"then {raised.text(run)}",
            )  # fmt: skip
    why = "" if check.complete else "the natural head is not known in every cell under the floor"
    return StopCheck(result, ALL, relief, check, check.holds, why if check.holds is None else "")


def _natural_head(
    run: RunFolder, natural: StageResult, result: StageResult, group: DrainageGroup
) -> float:
    """The highest head [m] that comes back in the cells that a table's wells reach."""
    heads = recovered_heads(natural, result).reshape(-1)
    nodes = np.concatenate([np.asarray(well.nodes, dtype=np.intp) for well in group.wells])
    found = heads[nodes[np.isfinite(heads[nodes])]]
    return float(found.max()) if found.size else np.inf


def _groups_stop(
    run: RunFolder,
    natural: StageResult,
    result: StageResult,
    stable: FloorStability,
    everything: Sequence[StopCheck],
) -> list[StopCheck]:
    """Each drainage table alone out of work, all others going on."""
    number = run.ledger.stages.index(result.entry)
    working = [
        group
        for group in drainage_groups(run)
        if group.stands(number) and not group.table.method.startswith("recharge")
    ]
    sump = sump_of(run)
    reached = {id(group): _units(run, group) for group in working}
    found = []
    for group in working:
        passive = group.table.method == "relief wells"
        own = reached[id(group)]
        others = [reached[id(item)] for item in working if item is not group]
        found.append(
            _one_stops(
                run, natural, result, stable, everything, group.label, own,
                any(own & units for units in others), SEALED if passive else "",
            )
        )  # fmt: skip
    if sump is not None and working:
        first, column = stable.columns.first, np.arange(stable.columns.plan.size)
        own = set(np.unique(stable.columns.unit[first, column]).tolist())
        for group in working:
            if group.table.method == "relief wells":
                own |= reached[id(group)]  # the sump takes their water
        found.append(
            _one_stops(
                run, natural, result, stable, everything, sump.name or "sump", own, False, ""
            )
        )
    return found


def _one_stops(
    run: RunFolder,
    natural: StageResult,
    result: StageResult,
    stable: FloorStability,
    everything: Sequence[StopCheck],
    label: str,
    own: set[int],
    shared: bool,
    relief: str,
) -> StopCheck:
    """Yes where even the end of all pumping holds, no where the own aquifers' heads lift something.

    `own` are the units that the table drains, `shared` says whether another one drains them too.
    """
    if all(check.holds is True for check in everything):
        worst = max(everything, key=lambda item: item.check.utilisation or 0.0)
        return StopCheck(result, label, relief, worst.check, True)
    back = recovered_heads(natural, result)
    heads = np.where(np.isin(run.unit, list(own)), back, result.heads)
    check = check_floor(run, result, heads, stable.rules, stable.slab, lightest=stable.columns)
    if check.holds is False and not shared:
        return StopCheck(result, label, relief, check, False)
    why = (
        "it depends on how far the head comes back while the others work: wellring outage with "
        "--pump solves that"
    )
    return StopCheck(result, label, relief, check, None, why)


def _units(run: RunFolder, group: DrainageGroup) -> set[int]:
    """Units that the points of a table reach."""
    nodes = [node for well in group.wells for node in well.nodes]
    return set(np.unique(run.unit.reshape(-1)[np.asarray(nodes, dtype=np.intp)]).tolist())
