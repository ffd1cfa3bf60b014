"""Limits that points share: a header's pump and friction, recharge that returns what is discharged.

Friction in a suction header takes some of the lift of the points far from its pump. A header whose
pump is at its limit can no longer hold its vacuum: the level of all its points rises alike until
they give what the pump takes. Recharge wells return a share of the discharge, which itself grows
with what they return. All are met by finding the points' limits again and again, on the linear
response of the stage (:mod:`wellring.model.limits.linear_response`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from wellring.model.drainage.points import GridPoint, PointDrive, PointState
from wellring.model.drainage.suction_header import SuctionHeader
from wellring.model.limits.first_drives import Solve, first_drive
from wellring.model.limits.flow_limits import FLOW_TOLERANCE, LEAST_FLOW, LEVEL_TOLERANCE
from wellring.model.limits.limits import Settled, limits_hold, settle

Floats = NDArray[np.float64]

_MOST_TURNS = 60
_FIRST_RISE = 0.5
"""[m]."""


@dataclass
class _Header:
    """How far a header's level has risen [m], and between what rises its pump's limit lies."""

    members: list[int]
    capacity: float
    rise: float = 0.0
    low: tuple[float, float] | None = None
    high: tuple[float, float] | None = None

    def improve(self, total: float) -> bool:
        """Choose another rise for the flow [m³/s] seen at this one; False where it fits."""
        if total <= self.capacity * (1 + FLOW_TOLERANCE) and (
            self.rise == 0.0 or total >= self.capacity * (1 - FLOW_TOLERANCE)
        ):
            return False
        if total > self.capacity:
            self.low = (self.rise, total)
        else:
            self.high = (self.rise, total)
        before = self.rise
        self.rise = self._between()
        return abs(self.rise - before) > 1e-4

    def _between(self) -> float:
        if self.low is None:  # less than the pump takes at this rise: nearer to none at all
            return 0.5 * self.rise if self.rise > 1e-3 else 0.0
        if self.high is None:
            return max(2.0 * self.low[0], _FIRST_RISE)
        (a, above), (b, beneath) = self.low, self.high
        share = (above - self.capacity) / max(above - beneath, 1e-15)
        return a + (b - a) * min(max(share, 0.05), 0.95)


@dataclass
class _Suction:
    """What friction in its header takes off each point's lift [m], which lessens the flow itself.

    More friction, less flow, less friction: found by steps that Aitken's rule damps (Irons and
    Tuck 1969), since where friction takes much it answers more than once to a step.
    """

    members: list[int]
    header: SuctionHeader
    numbers: list[int]
    off: Floats
    damping: float = 0.5
    missed: Floats | None = None

    def improve(self, flows: Floats) -> bool:
        """Choose other losses for the flows (m,) [m³/s] seen with these; False where they fit."""
        due = self.header.taken_off(self.numbers, flows)
        if np.all(np.abs(due - self.off) <= LEVEL_TOLERANCE):
            return False
        miss = due - self.off
        if self.missed is not None:
            change = miss - self.missed
            size = float(change @ change)
            if size > 0.0:
                self.damping *= -float(self.missed @ change) / size
            self.damping = min(max(self.damping, 0.1), 1.0)
        self.missed = miss
        self.off = self.off + self.damping * miss
        return True


@dataclass
class _Returned:
    """What each point of a table gives back [m³/s]: its part of a discharge that grows with it.

    Nothing at first, the points shut: a trickle into dry ground has no level that a solver finds.
    Found by secants; taking each turn's share as it comes would need dozens of turns where most
    of what is given back is pumped again.
    """

    members: list[int]
    share: float
    each: float = 0.0
    before: tuple[float, float] | None = None
    """What was given each, and what should have been, in the turn before."""

    def improve(self, discharge: float) -> bool:
        """Choose another flow for the discharge [m³/s] seen with this one; False where it fits."""
        due = self.share * discharge / len(self.members)
        if due < LEAST_FLOW:
            due = 0.0
        if abs(due - self.each) <= 0.5 * FLOW_TOLERANCE * due:
            return False
        chosen = due
        if self.before is not None:
            slope = (due - self.before[1]) / (self.each - self.before[0])
            if 0.0 < slope < 1.0:
                chosen = max((due - slope * self.each) / (1.0 - slope), 0.0)
        self.before, self.each = (self.each, due), chosen
        return True


class SharedLimits:
    """The limits of all points of a stage, those that they share included."""

    def __init__(self, points: Sequence[GridPoint]):
        self.points = points
        self.headers = _headers(points)
        self.suctions = _suctions(points)
        self.returns = _returns(points)

    def adjusted(self) -> list[GridPoint]:
        """The points with what their groups take of their levels and ask of their flows now."""
        now = list(self.points)
        for suction in self.suctions:
            for index, off in zip(suction.members, suction.off, strict=True):
                low = max(self.points[index].lowest, suction.header.level + float(off))
                now[index] = replace(now[index], lowest=low)
        for header in self.headers:
            for index in header.members:
                now[index] = replace(now[index], lowest=now[index].lowest + header.rise)
        for back in self.returns:
            for index in back.members:
                now[index] = replace(now[index], wanted=back.each)
        return now

    def meet(
        self,
        solve: Solve,
        drives: Sequence[PointDrive] | None = None,
        states: Sequence[PointState] | None = None,
    ) -> tuple[Settled, bool]:
        """Find drives that respect every limit, begun with `drives`.

        Returns
        -------
        (found, kept) : what was found, and whether `drives` and the `states` they gave keep all
            limits themselves.
        """
        for header in self.headers:
            header.low = header.high = None
        for suction in self.suctions:
            suction.missed = None
        for back in self.returns:
            back.before = None
        rounds, kept = 0, False
        for turn in range(_MOST_TURNS):
            now = self.adjusted()
            found = settle(now, solve, None if drives is None else _moved(now, drives))
            begun, drives, rounds = drives, found.drives, rounds + found.rounds
            if not self._improve(found):
                if turn == 0 and begun is not None and states is not None:
                    kept = limits_hold(now, begun, states)
                named = _named(found.drives, self.headers)
                return Settled(named, found.states, rounds, found.settled), kept
        return Settled(_named(found.drives, self.headers), found.states, rounds, False), False

    def _improve(self, found: Settled) -> bool:
        """Choose better rises, losses and shares for these states; False where all fit."""
        changed = False
        for header in self.headers:
            total = sum(found.states[index].flow for index in header.members)
            changed |= header.improve(total)
        for suction in self.suctions:
            flows = np.array([found.states[index].flow for index in suction.members])
            changed |= suction.improve(flows)
        discharge = _discharge(self.points, found)
        for back in self.returns:
            changed |= back.improve(discharge)
        return changed


def _headers(points: Sequence[GridPoint]) -> list[_Header]:
    found: dict[str, _Header] = {}
    for index, point in enumerate(points):
        if point.group is not None and point.group_capacity is not None:
            header = found.setdefault(point.group, _Header([], point.group_capacity))
            header.members.append(index)
    return list(found.values())


def _suctions(points: Sequence[GridPoint]) -> list[_Suction]:
    found: dict[str, list[int]] = {}
    for index, point in enumerate(points):
        if point.header is not None and point.group is not None:
            found.setdefault(point.group, []).append(index)
    made = []
    for members in found.values():
        header = points[members[0]].header
        assert header is not None
        numbers = [points[index].number for index in members]
        made.append(_Suction(members, header, numbers, np.zeros(len(members))))
    return made


def _moved(points: Sequence[GridPoint], drives: Sequence[PointDrive]) -> list[PointDrive]:
    """The drives of the last turn as a start for points whose levels have moved."""
    return [
        replace(drive, held=point.lowest)
        if drive.held is not None
        else (first_drive(point) if drive.governing in ("no inflow", "not used") else drive)
        for point, drive in zip(points, drives, strict=True)
    ]


def _returns(points: Sequence[GridPoint]) -> list[_Returned]:
    found: dict[str | None, _Returned] = {}
    for index, point in enumerate(points):
        if point.share is not None:
            found.setdefault(point.group, _Returned([], point.share)).members.append(index)
    return list(found.values())


def _discharge(points: Sequence[GridPoint], settled: Settled) -> float:
    """What all points take together [m³/s]; what others give back is not taken off."""
    return sum(
        state.flow for point, state in zip(points, settled.states, strict=True) if not point.injects
    )


def _named(drives: Sequence[PointDrive], headers: list[_Header]) -> list[PointDrive]:
    """Drives with the header's pump named as what governs, where it does."""
    named = list(drives)
    for header in headers:
        for index in header.members:
            if header.rise > 0 and drives[index].held is not None:
                named[index] = replace(drives[index], governing="header pump")
    return named
