"""Limits that points share: a header's pump, and recharge that returns what is discharged.

A header whose pump is at its limit can no longer hold its vacuum: the level of all its points
rises alike until they give what the pump takes. Recharge wells return a share of the discharge,
which itself grows with what they return. Both are met by settling the points again and again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from wellring.model.drainage.points import GridPoint, PointDrive
from wellring.model.limits import FLOW_TOLERANCE, Settled, Solve, first_drive, settle

_MOST_TURNS = 20
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
        assert self.low is not None
        if self.high is None:
            return max(2.0 * self.low[0], _FIRST_RISE)
        (a, above), (b, beneath) = self.low, self.high
        share = (above - self.capacity) / max(above - beneath, 1e-15)
        return a + (b - a) * min(max(share, 0.05), 0.95)


def settle_groups(points: Sequence[GridPoint], solve: Solve) -> Settled:
    """Find drives that respect the limits of every point and of every group.

    Parameters
    ----------
    solve : solves the stage for given drives and returns what each point then does.
    """
    headers = _headers(points)
    shares = [index for index, point in enumerate(points) if point.share is not None]
    wanted = dict.fromkeys(shares, 1e-9)
    drives: list[PointDrive] | None = None
    rounds = 0
    for _ in range(_MOST_TURNS):
        now = _adjusted(points, headers, wanted)
        settled = settle(now, solve, None if drives is None else _moved(now, drives))
        drives, rounds = settled.drives, rounds + settled.rounds
        changed = False
        for header in headers:
            total = sum(settled.states[index].flow for index in header.members)
            changed |= header.improve(total)
        changed |= _share_out(points, settled, wanted)
        if not changed:
            named = _named(settled.drives, headers)
            return Settled(named, settled.states, rounds, settled.settled)
    return Settled(_named(settled.drives, headers), settled.states, rounds, False)


def _headers(points: Sequence[GridPoint]) -> list[_Header]:
    found: dict[str, _Header] = {}
    for index, point in enumerate(points):
        if point.group is not None and point.group_capacity is not None:
            header = found.setdefault(point.group, _Header([], point.group_capacity))
            header.members.append(index)
    return list(found.values())


def _adjusted(
    points: Sequence[GridPoint], headers: list[_Header], wanted: dict[int, float]
) -> list[GridPoint]:
    """The points with their headers' levels risen and their shares asked of them."""
    now = list(points)
    for header in headers:
        for index in header.members:
            now[index] = replace(points[index], lowest=points[index].lowest + header.rise)
    for index, flow in wanted.items():
        now[index] = replace(now[index], wanted=flow)
    return now


def _moved(points: Sequence[GridPoint], drives: Sequence[PointDrive]) -> list[PointDrive]:
    """The drives of the last turn as a start for points whose levels have moved."""
    return [
        replace(drive, held=point.lowest)
        if drive.held is not None
        else (first_drive(point) if drive.governing == "no inflow" else drive)
        for point, drive in zip(points, drives, strict=True)
    ]


def _share_out(points: Sequence[GridPoint], settled: Settled, wanted: dict[int, float]) -> bool:
    """Ask of every sharing point its part of the present discharge; whether that changed."""
    if not wanted:
        return False
    taken = sum(
        state.flow for point, state in zip(points, settled.states, strict=True) if not point.injects
    )
    changed = False
    for index in wanted:
        group = [i for i in wanted if points[i].group == points[index].group]
        target = max((points[index].share or 0.0) * taken / len(group), 1e-9)
        if abs(target - wanted[index]) > 0.5 * FLOW_TOLERANCE * target:
            wanted[index] = target
            changed = True
    return changed


def _named(drives: Sequence[PointDrive], headers: list[_Header]) -> list[PointDrive]:
    """Drives with the header's pump named as what governs, where it does."""
    named = list(drives)
    for header in headers:
        for index in header.members:
            if header.rise > 0 and drives[index].held is not None:
                named[index] = replace(drives[index], governing="header pump")
    return named
