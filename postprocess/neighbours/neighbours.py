"""What the work does to each neighbour in each stage: drawdown, settlement, slope, damage, limits.

Everything is read from the run folder: the features it keeps, the heads, the settlement. Limits
are compared with the stage's steady state and final settlement, however short the stage, and with
every step where the run was followed in time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.geodata.receptors import Receptors
from wellring.postprocess.neighbours.building_damage import (
    beam_strain,
    damage_category,
    distortion_strain,
    longest_side,
    rankin_class,
    tilts,
)
from wellring.postprocess.neighbours.neighbour_water import NeighbourWater
from wellring.postprocess.neighbours.neighbours_in_time import Exceedance, first_exceedance
from wellring.postprocess.run.answer import HELD
from wellring.postprocess.run.heads import Drawdowns
from wellring.postprocess.run.ledger import StageEntry
from wellring.postprocess.run.plan_sampling import PlanSampler, points_on
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.settlement.settlement import not_assessed, settlements

if TYPE_CHECKING:
    from wellring.postprocess.stage_results import StageResult

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Check:
    """One criterion over all features: `use` is the part of what is allowed that is taken up.

    Parameters
    ----------
    name : of :data:`wellring.postprocess.neighbours.neighbour_tables.CRITERIA`.
    value, limit, use : (n,); NaN where the criterion does not apply or has no limit.
    """

    name: str
    value: Floats
    limit: Floats
    use: Floats

    @property
    def over(self) -> Flags:
        """(n,) whether the limit is exceeded (by more than rounding)."""
        with np.errstate(invalid="ignore"):
            return np.asarray(self.use > HELD)


@dataclass(frozen=True)
class StageEffects:
    """One dug stage: measures (n,) by name in SI, and the criteria with a limit somewhere."""

    entry: StageEntry
    measures: dict[str, Floats]
    checks: list[Check]

    @cached_property
    def use(self) -> Floats:
        """(n,) largest part of any limit taken up, NaN where none was given."""
        if not self.checks:
            return np.full(self.measures["drawdown_most"].shape, np.nan)
        return np.fmax.reduce([check.use for check in self.checks])

    @cached_property
    def over(self) -> Flags:
        """(n,) whether any limit is exceeded."""
        none = np.zeros(self.use.shape, bool)
        return np.logical_or.reduce([none, *(check.over for check in self.checks)])

    @cached_property
    def governing(self) -> Ints:
        """(n,) index in `checks` of the criterion used most, -1 where none applies."""
        if not self.checks:
            return np.full(self.use.shape, -1)
        uses = np.stack([np.where(np.isnan(c.use), -np.inf, c.use) for c in self.checks])
        return np.where(np.isnan(self.use), -1, np.argmax(uses, axis=0))


@dataclass(frozen=True)
class Effects:
    """The effects of a run's dug stages on its neighbours.

    Parameters
    ----------
    outside, partly : (n,) features that lie, all or in part, beyond the modelled ground.
    in_time : what the days ask of them, where the run was followed in time.
    """

    receptors: Receptors
    stages: list[StageEffects]
    outside: Flags
    partly: Flags
    notes: list[str] = field(default_factory=list)
    in_time: Exceedance | None = None

    @cached_property
    def worst_stage(self) -> Ints:
        """(n,) index of the stage that asks most of each feature."""
        asked = [
            np.nan_to_num(s.use, nan=0.0, posinf=1e9) + 1e-6 * np.nan_to_num(_severity(s))
            for s in self.stages
        ]
        return np.asarray(np.argmax(np.stack(asked), axis=0))

    @cached_property
    def order(self) -> Ints:
        """(n,) features, the worst first: by use of limits, then by what they bear."""
        use = np.nan_to_num(self.worst("use"), nan=-1.0, posinf=1e9)
        severity = np.nan_to_num(np.fmax.reduce([_severity(s) for s in self.stages]))
        return np.asarray(np.lexsort((-severity, -use)))

    @cached_property
    def over(self) -> Flags:
        """(n,) whether a limit is exceeded in any stage, or on any day followed."""
        passing = [] if self.in_time is None else [np.isfinite(self.in_time.day)]
        return np.logical_or.reduce([*(stage.over for stage in self.stages), *passing])

    @cached_property
    def judged(self) -> Flags:
        """(n,) whether any limit could be compared in any stage."""
        return np.logical_or.reduce([np.isfinite(s.use) | s.over for s in self.stages])

    def worst(self, measure: str) -> Floats:
        """(n,) a measure, or "use", in each feature's worst stage."""
        rows = [s.use if measure == "use" else s.measures[measure] for s in self.stages]
        return np.stack(rows)[self.worst_stage, np.arange(len(self.receptors))]

    def first_over(self) -> Ints:
        """(n,) index of the first stage that exceeds a limit, -1 where none does.

        Where the run was followed in time, the stage of the day on which a limit is exceeded.
        """
        over = np.stack([stage.over for stage in self.stages])
        steady = np.where(over.any(axis=0), np.argmax(over, axis=0), -1)
        if self.in_time is None:
            return steady
        return np.where(np.isfinite(self.in_time.day), self.in_time.stage, steady)

    def first_day(self) -> Floats:
        """(n,) day from which a limit is exceeded, NaN where none is or the day is not known.

        That of the stage's beginning, or within a run followed in time the day itself.
        """
        if self.in_time is not None:
            return self.in_time.day
        days = [np.nan if s.entry.day is None else float(s.entry.day) for s in self.stages]
        return np.array([*days, np.nan])[self.first_over()]


def _severity(stage: StageEffects) -> Floats:
    """One number (n,) to order features without limits: centimetres of settlement and metres."""
    settled = np.nan_to_num(stage.measures["settlement_most"]) * 100
    return settled + np.nan_to_num(stage.measures["drawdown_most"])


def effects_on_neighbours(run: RunFolder, results: Sequence[StageResult]) -> Effects | None:
    """The effects of all dug stages; None without neighbours. Computed once, kept in `results`.

    Parameters
    ----------
    results : all stages, the natural state first.
    """
    receptors = run.receptors
    if receptors is None or not len(receptors) or len(results) < 2:
        return None
    if results[0].effects is None:
        results[0].effects = Assessor(run, results, receptors).assess()
    return results[0].effects


class Assessor:
    """Points on all features, and what is the same in all stages and on all days."""

    def __init__(self, run: RunFolder, results: Sequence[StageResult], receptors: Receptors):
        self.run, self.results, self.receptors = run, results, receptors
        self.count = len(receptors)
        xy, self.owner = points_on(run, receptors.shapes)
        self.starts = np.searchsorted(self.owner, np.arange(self.count))
        usable = ~not_assessed(run, results)
        self.sampler = PlanSampler(run, xy, usable)
        modelled = np.asarray(results[0].grid.active.any(axis=0))
        cell = self.sampler.cell
        self.there = np.asarray((cell >= 0) & modelled[cell], dtype=bool)
        parts = np.add.reduceat(self.there.astype(int), self.starts)
        total = np.bincount(self.owner, minlength=self.count)
        self.outside, self.partly = parts == 0, (parts > 0) & (parts < total)
        self.local = np.column_stack(run.to_local(xy[:, 0], xy[:, 1]))
        building = receptors.is_kind("building")
        self.length = receptors.numbers["length"].copy()
        ask = building & np.isnan(self.length)
        self.length[ask] = longest_side(receptors.shapes[ask])
        self.building = building
        self.water = NeighbourWater(run, results, receptors, cell[self.starts])

    def assess(self) -> Effects:
        """The effects of every stage and, where the run was followed in time, of every day."""
        settled = settlements(self.run, self.results)
        stages = []
        for number in range(1, len(self.results)):
            own = settled[number - 1] if settled else None
            stages.append(
                self._stage(
                    number,
                    None if own is None else own.final,
                    None if own is None else own.at_stage_end,
                )
            )
        return Effects(
            self.receptors,
            stages,
            self.outside,
            self.partly,
            self.water.notes,
            first_exceedance(self),
        )

    @property
    def columns(self) -> Ints:
        """(k,) plan cells on which anything that is told of a feature depends, ascending."""
        own = self.water.cell[self.water.wells]
        return np.unique(np.concatenate([self.sampler.cells_read, own]))

    def use(self, found: dict[str, Floats]) -> Floats:
        """(n,) largest part of any limit that measures take up, NaN where none was given."""
        uses = [check.use for check in _checks(self.receptors, found)]
        return np.fmax.reduce([np.full(self.count, np.nan), *uses])

    def _stage(self, number: int, final: Floats | None, at_end: Floats | None) -> StageEffects:
        result = self.results[number]
        assert result.fall is not None
        found = self.measures(result.fall, final, self.water.depletion(number))
        found["settlement_at_end"] = (
            np.full(self.count, np.nan) if at_end is None else self._most(self._read(at_end))
        )
        return StageEffects(result.entry, found, _checks(self.receptors, found))

    def measures(
        self, drawdown: Drawdowns, settled: Floats | None, depletion: Floats
    ) -> dict[str, Floats]:
        """Measures (n,) of all features by name.

        Parameters
        ----------
        drawdown, settled : over the plan [m], values needed on :attr:`columns` alone.
        depletion : flow (n,) [m³/s] that streams lose.
        """
        kinds = {
            kind: self.receptors.is_kind(kind) for kind in ("well", "surface_water", "wetland")
        }
        table = self._read(drawdown.table)
        any_head = self._read(drawdown.largest)
        by_table = (kinds["surface_water"] | kinds["wetland"])[self.owner]
        fall = np.where(by_table, table, any_head)
        found: dict[str, Floats] = {
            "drawdown_least": self._least(fall),
            "drawdown_most": self._most(fall),
            "table_fall": self._most(table),
            "table_lowest": self._least(self._read(self.results[0].table) - table),
        }
        own = self.water.well_falls(drawdown)
        for name in ("drawdown_least", "drawdown_most"):
            found[name] = np.where(kinds["well"] & np.isfinite(own), own, found[name])
        found |= self._settled(settled)
        return found | self.water.measures(found, depletion)

    def _settled(self, final: Floats | None) -> dict[str, Floats]:
        names = ("settlement_least", "settlement_most", "differential", "slope", "distortion")
        more = ("deflection", "strain", "rankin", "damage")
        if final is None or not np.isfinite(final).any():
            return {name: np.full(self.count, np.nan) for name in (*names, *more)}
        at = self._read(final)
        gradient = np.where(self.there[:, None], self.sampler.slopes(final), np.nan)
        tilt, residual = tilts(self.local, at, self.owner, self.count)
        residual = np.where(self.there, residual, np.nan)
        least, most = self._least(at), self._most(at)
        slope = self._most(np.hypot(*gradient.T))
        distortion = self._most(np.hypot(*(gradient - tilt[self.owner]).T))
        point = self.receptors.is_kind("well")
        slope[point] = np.nan
        distortion[~self.building] = np.nan
        deflection = (self._most(residual) - self._least(residual)) / self.length
        given = np.nan_to_num(self.receptors.numbers["strain"])
        height = self.receptors.numbers["height"]
        bent = beam_strain(deflection, self.length, height, given)
        strain = np.where(
            self.building, np.fmax(distortion_strain(distortion, given), bent), np.nan
        )
        rankin = rankin_class(np.where(self.building, most, np.nan), slope).astype(float)
        damage = damage_category(strain).astype(float)
        return {
            "settlement_least": least,
            "settlement_most": most,
            "differential": np.where(point, np.nan, most - least),
            "slope": slope,
            "distortion": distortion,
            "deflection": deflection,
            "strain": strain,
            "rankin": np.where(rankin < 0, np.nan, rankin),
            "damage": np.where(damage < 0, np.nan, damage),
        }

    def _read(self, plan: Floats) -> Floats:
        return np.where(self.there, self.sampler.values(plan), np.nan)

    def _least(self, at: Floats) -> Floats:
        return np.asarray(np.fmin.reduceat(at, self.starts))

    def _most(self, at: Floats) -> Floats:
        return np.asarray(np.fmax.reduceat(at, self.starts))


def _checks(receptors: Receptors, found: dict[str, Floats]) -> list[Check]:
    """All criteria of one stage that apply to some feature."""
    limits = receptors.numbers
    pairs = {
        "settlement": (found["settlement_most"], limits["limit_settlement"]),
        "differential": (found["differential"], limits["limit_differential"]),
        "slope": (found["slope"], limits["limit_slope"]),
        "distortion": (found["distortion"], limits["limit_distortion"]),
        "drawdown": (found["drawdown_most"], limits["limit_drawdown"]),
        "depletion": (found["depletion"], limits["limit_depletion"]),
        "share": (found["share"], limits["limit_share"]),
        "available": (found["drawdown_most"], found["available"]),
        "cover": (found["table_fall_allowed_used"], found["table_fall_allowed"]),
    }
    checks = []
    for name, (value, limit) in pairs.items():
        known = np.isfinite(value) & np.isfinite(limit)
        if not known.any():
            continue
        with np.errstate(divide="ignore", invalid="ignore"):
            # Nothing is allowed where the limit was passed before the work: any change exceeds it.
            use = np.where(limit > 0, value / limit, np.where(value > 1e-3, np.inf, 1.0))
        checks.append(
            Check(
                name,
                np.where(known, value, np.nan),
                np.where(known, limit, np.nan),
                np.where(known, use, np.nan),
            )
        )
    return checks
